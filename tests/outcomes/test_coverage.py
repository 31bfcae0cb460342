"""What the table of simulated coverage says about an interval, as a record quotes it."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest

from outcomes.coverage import LEAST, SHAPES, TABLE, coverage_shortfall, shortfall_sentences, simulated_coverage
from outcomes.errors import DesignError
from outcomes.reliability import intraclass_correlations
from outcomes.result import Estimate, Interval

with TABLE.open(encoding="utf-8", newline="") as stream:
    ROWS = [row for row in csv.DictReader(stream) if row["kind"] == "interval"]
LEVEL = 0.95


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
        ("concordance", "Fisher z with t, concordance", 100, 60),
        ("mdc95", "chi-square, standard error of agreement and MDC", 12, 12),
        ("ac2", "Fisher z linearised, AC2", 26, 24),
    ],
)
def test_a_caveat_quotes_the_row_of_about_as_many_people(method: str, name: str, n: int, nearest: int) -> None:
    found = coverage_shortfall(method, LEVEL, n)
    assert found is not None
    assert found.caveat == f"coverage_1x{nearest}"
    (sentence,) = shortfall_sentences([found, found]).values()
    assert sentence.startswith(
        f"In simulated studies of {nearest} people these 95% intervals held the truth too seldom"
    )
    assert sentence.count(name) == 1
    for shape, share in held(name, nearest).items():
        assert f"{share:.0f}% ({SHAPES[shape]})" in sentence


def test_of_two_groups_the_table_counts_the_people_of_each() -> None:
    assert {row.groups for row in simulated_coverage("noncentral t, d_second", 12)} == {2}
    found = coverage_shortfall("d_second", LEVEL, 27)
    assert found is not None
    assert found.caveat == "coverage_2x12"
    assert "of 2 groups of 12 people" in shortfall_sentences([found])["coverage_2x12"]


@pytest.mark.parametrize("method", sorted({method for row in ROWS for method in row["methods"].split()}))
@pytest.mark.parametrize("n", [8, 12, 24, 60])
def test_an_interval_has_its_caveat_where_a_shape_of_data_falls_short_and_only_there(method: str, n: int) -> None:
    rows = [row for row in ROWS if method in row["methods"].split()]
    groups = int(rows[0]["groups"])
    sizes = sorted({int(row["n"]) for row in rows})
    low = min(held(rows[0]["interval"], max((size for size in sizes if size <= n), default=sizes[0])).values())
    found = coverage_shortfall(method, LEVEL, n * groups)
    if low >= 100 * LEAST:
        assert found is None
    elif low < 100 * LEAST - 10:  # beyond two Monte-Carlo standard errors of 100 replicates
        assert found is not None


def test_another_level_and_an_unknown_method_have_no_caveat() -> None:
    assert coverage_shortfall("icc_a_1", 0.9, 12) is None
    assert coverage_shortfall("count", LEVEL, 12) is None


def test_the_coverage_of_what_was_not_simulated_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(DesignError, match=r"was not simulated.*Student t, mean"):
        simulated_coverage("Student t, means", 12)


SCORES = np.random.default_rng(7).normal(size=(12, 1)) + np.random.default_rng(8).normal(0, 0.3, size=(12, 2))


def test_the_result_of_a_function_carries_the_caveat_and_its_sentence() -> None:
    found = intraclass_correlations(SCORES)
    assert found.icc_a_1.caveats[-1] == "coverage_1x12"
    (sentence,) = found.shortfalls().values()
    shares = held("F, ICC(A,1)", 12)
    assert f"F, ICC(A,1) {shares['normal']:.0f}% (near normal data)" in sentence
    assert f"{shares['skewed']:.0f}% (skewed data)" in sentence
    assert sentence in found._repr_html_()
    assert found.summary() in found._repr_html_()


def test_a_result_at_another_level_says_nothing_of_it() -> None:
    found = intraclass_correlations(SCORES, level=0.9)
    assert found.shortfalls() == {}
    assert not any(caveat.startswith("coverage_") for caveat in found.icc_a_1.caveats)


def test_a_number_that_is_formed_from_another_carries_what_holds_of_itself() -> None:
    one = Estimate(
        value=0.5, unit="1", method="icc_a_1", n_people=12, n_values=24, interval=Interval(0.2, 0.8, 0.95, "any"),
        caveats=("other",),
    )  # fmt: skip
    assert one.caveats == ("other", "coverage_1x12")
    assert replace(one, n_people=30).caveats == ("other", "coverage_1x24")
    assert replace(one, interval=None).caveats == replace(one, method="mean_change_count").caveats == ("other",)
    assert replace(one, caveats=()).caveats == ("coverage_1x12",)
