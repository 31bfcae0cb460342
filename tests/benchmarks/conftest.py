"""Benchmarks are collected only when they are asked for: ``pytest tests/benchmarks --benchmark-only``."""

from __future__ import annotations

import pytest


def pytest_ignore_collect(config: pytest.Config) -> bool | None:
    """Leave the folder out of a plain run, so that no test is skipped there."""
    return None if config.getoption("benchmark_only") else True
