"""Start-up, measured in fresh processes against this machine's own `import pandas, scipy.stats, matplotlib`.

Off by default; ``pytest tests/benchmarks --benchmark-only`` runs it.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

LIBRARIES = "import pandas, scipy.stats, matplotlib"
ROUNDS = 7

IMPORT_LIMIT_S = 0.050
HELP_LIMIT_S = 0.25
CHECK_LIMIT = 2.0
ANALYSE_LIMIT = 3.0
DEMO_LIMIT_S = 60.0
"""The limits that the project has set itself; the ratios are to the import time of the three libraries."""


def seconds(*words: str) -> float:
    """Return the wall time of one fresh Python process."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], capture_output=True, check=True)
    return time.perf_counter() - start


def medians(*commands: tuple[str, ...]) -> list[float]:
    """Return the median wall time of each command; rounds are interleaved, so that all meet the same load."""
    rounds = [[seconds(*command) for command in commands] for _ in range(ROUNDS)]
    return [statistics.median(column) for column in zip(*rounds, strict=True)]


def fastest(*commands: tuple[str, ...]) -> list[float]:
    """Return the smallest wall time of each command: what it takes when the machine does nothing else."""
    rounds = [[seconds(*command) for command in commands] for _ in range(2 * ROUNDS)]
    return [min(column) for column in zip(*rounds, strict=True)]


def once(benchmark: Any, measure: Callable[[], Any]) -> Any:
    """Let the benchmark run one measurement, which repeats by itself."""
    return benchmark.pedantic(measure, rounds=1, iterations=1)


def test_an_import_of_the_package(benchmark: Any) -> None:
    bare, package = once(benchmark, lambda: fastest(("-c", "pass"), ("-c", "import outcomes")))
    benchmark.extra_info["beyond_interpreter_ms"] = round((package - bare) * 1000, 1)
    assert package - bare < IMPORT_LIMIT_S


def test_the_help(benchmark: Any) -> None:
    bare, shown = once(benchmark, lambda: fastest(("-c", "pass"), ("-m", "outcomes", "--help")))
    benchmark.extra_info["bare_ms"], benchmark.extra_info["help_ms"] = round(bare * 1000), round(shown * 1000)
    assert shown < HELP_LIMIT_S


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """The default demo and the seconds that it took."""
    folder = tmp_path_factory.mktemp("demo") / "demo_study"
    return folder, seconds("-m", "outcomes", "demo", str(folder))


def test_the_demo(benchmark: Any, demo: tuple[Path, float]) -> None:
    took = once(benchmark, lambda: demo[1])
    benchmark.extra_info["demo_s"] = round(took, 1)
    assert took < DEMO_LIMIT_S


@pytest.mark.parametrize(("command", "limit"), [("check", CHECK_LIMIT), ("analyse", ANALYSE_LIMIT)])
def test_a_command_against_the_libraries(
    benchmark: Any, demo: tuple[Path, float], tmp_path: Path, command: str, limit: float
) -> None:
    study = tmp_path / "study"
    shutil.copytree(demo[0], study, ignore=shutil.ignore_patterns("results", "reports"))
    libraries, took = once(benchmark, lambda: medians(("-c", LIBRARIES), ("-m", "outcomes", command, str(study))))
    benchmark.extra_info["libraries_s"], benchmark.extra_info[f"{command}_s"] = round(libraries, 2), round(took, 2)
    benchmark.extra_info["ratio"] = round(took / libraries, 2)
    assert took < limit * libraries
