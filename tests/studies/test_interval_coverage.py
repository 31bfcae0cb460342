"""The committed table of coverage meets its bars, and a block of it drawn again gives the same counts."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent
CAVEATS_FOR_SMALL = {
    "normal, kappa, plain": 30,
    "normal, kappa, linear": 30,
    "normal, kappa, quadratic": 30,
    "Student t linearised, AC1": 30,
    "bootstrap over people, ICC(C,1)": 25,
    "bootstrap over people, ordinal alpha": 25,
    "percentile bootstrap, limit by size": 30,
    "Fisher z, concordance": 12,
    "1999 formula, limit of agreement": 30,
}
"""Intervals that may fall short below so many people: they carry a caveat there."""


def study() -> ModuleType:
    spec = importlib.util.spec_from_file_location("interval_coverage", HERE / "interval_coverage.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


STUDY = study()
ROWS = STUDY.read_table()
RERUN = [
    ("Student t, mean", "skewed", 12),
    ("Wilson, share", "share 0.2", 8),
    ("Newcombe, difference of shares", "shares 0.5, 0.3", 24),
    ("chi-square, standard error of consistency", "normal", 8),
    ("F, ICC(C,1)", "normal", 12),
]


def margin(row: dict) -> float:
    """Two Monte-Carlo standard errors of a share of 95 %."""
    return 2 * math.sqrt(0.95 * 0.05 / max(1, row["replicates"] - row["refused"]))


def test_the_table_holds_every_interval_shape_and_number_of_people() -> None:
    assert [(r["interval"], r["shape"], r["n"]) for r in ROWS] == list(STUDY.cells())
    for row in ROWS:
        assert row["replicates"] == STUDY.STUDIES[row["interval"]].replicates
        assert row["held"] + row["below"] + row["above"] + row["refused"] == row["replicates"]


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["kind"] == "test"], ids=lambda r: f"{r['interval']} {r['shape']} {r['n']}"
)
def test_a_test_finds_what_is_not_there_in_at_most_5_percent(row: dict) -> None:
    assert row["above"] / row["replicates"] <= 0.05 + margin(row)


@pytest.mark.parametrize(
    "row",
    [r for r in ROWS if r["kind"] == "interval" and r["shape"] in ("normal", "shifted")],
    ids=lambda r: f"{r['interval']} {r['shape']} {r['n']}",
)
def test_an_interval_holds_the_truth_in_93_percent_of_near_normal_data_or_has_its_caveat(row: dict) -> None:
    share = row["held"] / (row["replicates"] - row["refused"])
    assert share >= 0.93 - margin(row) or row["n"] < CAVEATS_FOR_SMALL.get(row["interval"], 0)


@pytest.mark.parametrize(("name", "shape", "n"), RERUN)
def test_the_first_block_drawn_again_gives_the_committed_count(name: str, shape: str, n: int) -> None:
    (row,) = [r for r in ROWS if (r["interval"], r["shape"], r["n"]) == (name, shape, n)]
    assert STUDY.block(name, shape, n, 0)["held"] == row["first_block"]
