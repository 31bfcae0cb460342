"""What the table of simulated coverage says about an interval, as a record quotes it."""

from __future__ import annotations

import csv

import pytest

from outcomes.errors import DesignError
from outcomes.intervals import coverage_shortfall, shortfall_sentence, simulated_coverage
from outcomes.intervals.coverage import LEAST, SHAPES, TABLE
from outcomes.result import Interval

with TABLE.open(encoding="utf-8", newline="") as stream:
    ROWS = [row for row in csv.DictReader(stream) if row["kind"] == "interval"]
ENDS = Interval(0.5, 0.9, 0.95, "any")


def held(name: str, n: int) -> dict[str, int]:
    """Return the percentage of one interval for each shape, as the table has it."""
    found = {}
    for row in ROWS:
        if row["interval"] == name and int(row["n"]) == n:
            found[row["shape"]] = 100 * int(row["held"]) / (int(row["replicates"]) - int(row["refused"]))
    return found


@pytest.mark.parametrize(
    ("method", "name", "n", "nearest"),
    [
        ("icc_a_1", "F, ICC(A,1)", 30, 24),
        ("icc_c_k", "F, ICC(C,1)", 5, 8),
        ("concordance", "Fisher z, concordance", 100, 60),
        ("mdc95", "chi-square, standard error of agreement and MDC", 12, 12),
        ("kappa_quadratic", "normal, kappa, quadratic", 9, 8),
    ],
)
def test_a_caveat_quotes_the_row_of_about_as_many_people(method: str, name: str, n: int, nearest: int) -> None:
    found = coverage_shortfall(method, ENDS, n)
    assert found is not None
    assert found.caveat == f"coverage_1x{nearest}"
    sentence = shortfall_sentence([found, found])
    assert sentence.startswith(
        f"In simulated studies of {nearest} people these 95% intervals held the truth too seldom"
    )
    assert sentence.count(name) == 1
    for shape, share in held(name, nearest).items():
        assert f"{share:.0f}% ({SHAPES[shape]})" in sentence


def test_of_two_groups_the_table_counts_the_people_of_each() -> None:
    assert {row.groups for row in simulated_coverage("noncentral t, d_second", 12)} == {2}
    found = coverage_shortfall("d_second", ENDS, 27)
    assert found is not None
    assert found.caveat == "coverage_2x12"
    assert "of 2 groups of 12 people" in shortfall_sentence([found])


@pytest.mark.parametrize("method", sorted({method for row in ROWS for method in row["methods"].split()}))
@pytest.mark.parametrize("n", [8, 12, 24, 60])
def test_an_interval_has_its_caveat_where_a_shape_of_data_falls_short_and_only_there(method: str, n: int) -> None:
    rows = [row for row in ROWS if method in row["methods"].split()]
    groups = int(rows[0]["groups"])
    sizes = sorted({int(row["n"]) for row in rows})
    low = min(held(rows[0]["interval"], max((size for size in sizes if size <= n), default=sizes[0])).values())
    found = coverage_shortfall(method, ENDS, n * groups)
    if low >= 100 * LEAST:
        assert found is None
    elif low < 100 * LEAST - 10:  # beyond two Monte-Carlo standard errors of 100 replicates
        assert found is not None


def test_another_level_no_interval_and_an_unknown_method_have_no_caveat() -> None:
    assert coverage_shortfall("icc_a_1", Interval(0.5, 0.9, 0.9, "any"), 12) is None
    assert coverage_shortfall("icc_a_1", None, 12) is None
    assert coverage_shortfall("count", ENDS, 12) is None


def test_the_coverage_of_what_was_not_simulated_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(DesignError, match=r"was not simulated.*Student t, mean"):
        simulated_coverage("Student t, means", 12)
