"""``case_index.toml`` leads from the name of every worked case of a measure to the tests that hold it.

Where a test is run with many cases, the one that is meant bears the name of the case, or its name and a number
(``mas_1.2``).
"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SCORED = "tests/published/test_measure_cases.py::test_a_measure_gives_the_score_of_its_source"
INDEX: dict[str, list[str]] = tomllib.loads((HERE / "case_index.toml").read_text(encoding="utf-8"))
ROWS = [(case, test) for case, tests in INDEX.items() for test in tests]


@pytest.fixture(scope="module")
def collected() -> list[str]:
    """Every test of the files that the index names, as pytest collects them."""
    files = sorted({test.partition("::")[0] for _, test in ROWS})
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider", "-n", "0", *files]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return [line for line in done.stdout.splitlines() if "::" in line]


def named(case: str, test: str, node: str) -> bool:
    """Whether a collected test is the one that is meant."""
    function, _, name = node.rstrip("]").partition("[")
    return function == test and (not name or case in (name, name.rpartition(".")[0]))


def test_every_case_has_tests_that_exist(collected: list[str]) -> None:
    missing = [(case, test) for case, test in ROWS if not any(named(case, test, node) for node in collected)]
    assert missing == []


def test_no_test_is_double_and_the_cases_are_in_order() -> None:
    assert sorted(set(ROWS)) == ROWS
    assert len(INDEX) == 215
    assert all(INDEX.values())


def test_no_test_of_a_case_bears_its_name_twice(collected: list[str]) -> None:
    assert len(set(collected)) == len(collected)


def test_every_named_case_of_the_files_is_in_the_index() -> None:
    files = sorted((HERE / "cases").glob("measures_*.toml"))
    names = [one["case"] for f in files for one in tomllib.loads(f.read_text("utf-8"))["cases"] if "case" in one]
    assert len(set(names)) == len(names)
    indexed = {case for case, test in ROWS if test == SCORED}
    assert {name if name in indexed else name.rpartition(".")[0] for name in names} == indexed
