"""Time that the kernel takes for a million samples in Parquet; ``traces_peers.py`` compares it with other ways."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest

from outcomes.dose import TraceRules
from outcomes.intake import TraceSource
from outcomes.study import Traces


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    spec = importlib.util.spec_from_file_location("traces_data", Path(__file__).with_name("traces_data.py"))
    assert spec is not None
    assert spec.loader is not None
    data = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(data)
    made: list[Path] = data.make(tmp_path_factory.mktemp("traces"), 999_000)
    return made


def test_a_million_samples(benchmark: Any, files: list[Path]) -> None:
    traces = Traces(tuple(TraceSource(path, path.name) for path in files), (), TraceRules())
    found = benchmark.pedantic(traces.summary, rounds=3, warmup_rounds=1).sessions
    assert len(found) == 370
    assert found["samples"].sum() == 999_000
    # 45 s without a sample in every session, of which 5 s are held
    assert found["unrecorded_s"].eq(41).all()
