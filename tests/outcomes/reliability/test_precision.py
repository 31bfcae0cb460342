"""Precision error, detectable change of other units, own against published, and how many people to measure twice."""

from __future__ import annotations

import math

import numpy as np
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.reliability import (
    CAVEATS,
    METHODS,
    PublishedError,
    detectable_change,
    measurement_error,
    own_against_published,
    people_to_retest,
    precision_error,
    retest_tally,
    root_mean_square_error,
)

NAN = np.nan


def scores(n: int, k: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 50 + 4 * rng.normal(size=(n, 1)) + 2 * rng.normal(size=(n, k))


def test_precision_error_of_equal_repeats_is_the_within_person_standard_deviation() -> None:
    table = scores(20, 3, 1)
    found, error = precision_error(table, unit="g/cm2"), measurement_error(table, unit="g/cm2")
    assert found.precision_error.value == pytest.approx(error.within_person_standard_deviation.value)
    assert found.precision_error.interval.high == pytest.approx(error.within_person_standard_deviation.interval.high)
    assert found.degrees_of_freedom == 40
    assert found.enough


def test_people_measured_once_are_left_out_and_counted() -> None:
    table = np.column_stack([scores(6, 2, 2), [NAN] * 6])
    table[0] = [50.0, NAN, NAN]
    found = precision_error(table, unit="kg")
    assert (found.n_people, found.n_single, found.degrees_of_freedom, found.enough) == (5, 1, 5, False)
    assert "few_retested" in found.precision_error.caveats


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([[1, NAN], [2, NAN]], "nobody was measured twice"),
        ([[1, 1], [2, 2]], "identical"),
        ([[1, math.inf], [2, 2]], "infinite"),
        ([["a", 1], [2, 2]], "not all numbers"),
        ([1, 2, 3], "rows"),
    ],
)
def test_repeats_without_a_precision_error_are_refused(table: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        precision_error(table, unit="kg")


def test_percent_forms_are_for_positive_ratio_scores() -> None:
    assert "ratio scales only" in precision_error(scores(5, 2, 3), unit="kg").reasons["precision_error_percent"]
    below = precision_error(scores(5, 2, 3) - 60, unit="kg", scale="ratio")
    assert "not above 0" in below.reasons["least_significant_change_percent"]
    with pytest.raises(DesignError, match="neither"):
        precision_error(scores(5, 2, 3), unit="kg", scale="nominal")


def test_a_root_mean_square_is_refused_where_it_means_nothing() -> None:
    for sds, repeats, reason in (
        ([1, -1], 2, "below 0"),
        ([], 2, "at least 1"),
        ([1], 1, "at least 2"),
        ([0], 2, "of 0"),
    ):
        with pytest.raises(DesignError, match=reason):
            root_mean_square_error(sds, unit="deg", repeats=repeats)


def test_detectable_change_of_trials_and_groups_shrinks_with_the_root_and_says_for_whom() -> None:
    error = measurement_error(scores(12, 2, 4), unit="cm")
    found = detectable_change(error, trials=4, people=25)
    assert found.mean_of_trials.value == pytest.approx(error.mdc95.value / 2)
    assert found.group.value == pytest.approx(error.mdc95.value / 5)
    assert found.group.interval.high == pytest.approx(error.mdc95.interval.high / 5)
    assert "one person" in found.summary()
    assert "25 people" in found.summary()
    with pytest.raises(DesignError, match="at least one"):
        detectable_change(error, trials=0)


def test_the_detectable_change_of_a_group_says_that_a_shift_between_occasions_stays() -> None:
    shifted = measurement_error(scores(12, 2, 5) + np.array([0.0, 6.0]), unit="cm")
    assert "occasions_in_group" in detectable_change(shifted, people=9).group.caveats
    assert "occasions_in_group" not in detectable_change(shifted, people=1).group.caveats


def test_own_and_published_stand_side_by_side_with_what_differs() -> None:
    own = measurement_error(scores(12, 2, 6), unit="cm").mdc95
    near = PublishedError(mdc95=own.value * 1.01, unit="cm", population="adults", source="A (2001)")
    far = PublishedError(
        mdc95=own.value * 9, unit="cm", population="children", source="B (2002)", mismatch="population"
    )
    first, second = own_against_published(own, [near, far])
    assert first.within_interval
    assert first.verdict == "not told apart from the published one"
    assert second.verdict == "smaller than the published one, which differs: population"
    assert "children" in second.summary()
    with pytest.raises(DesignError, match="own value is in cm"):
        own_against_published(own, [PublishedError(mdc95=1, unit="kg", population="", source="")])
    with pytest.raises(DesignError, match="does not exist"):
        own_against_published(own, [PublishedError(mdc95=0, unit="cm", population="", source="")])


@pytest.mark.parametrize("margin", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("occasions", [2, 3])
def test_the_people_to_retest_are_the_fewest_whose_interval_lies_within_the_margin(
    margin: float, occasions: int
) -> None:
    n = people_to_retest(margin=margin, occasions=occasions).n_needed
    assert retest_tally(n, margin=margin, occasions=occasions).high_ratio <= 1 + margin
    assert retest_tally(n - 1, margin=margin, occasions=occasions).high_ratio > 1 + margin


def test_a_tally_says_what_is_known_now() -> None:
    none, some, all_ = (retest_tally(n, margin=0.25) for n in (0, 12, 60))
    assert none.low_ratio is None
    assert some.n_missing == some.n_needed - 12
    assert all_.n_missing == 0
    assert "to go" in some.summary()


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"margin": 0}, "not above 0"),
        ({"margin": 1e-4}, "more than"),
        ({"occasions": 1}, "at least 2"),
        ({"level": 2}, "level"),
    ],
)
def test_plans_that_mean_nothing_are_refused(more: dict, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        people_to_retest(**more)


def test_every_method_and_caveat_has_its_sentence() -> None:
    found = precision_error(scores(5, 2, 7), unit="kg", scale="ratio")
    change = detectable_change(measurement_error(scores(5, 2, 7) + np.array([0.0, 9.0]), unit="kg"), people=4, trials=2)
    names = [
        (found, ("precision_error", "precision_error_percent", "least_significant_change")),
        (found, ("least_significant_change_percent", "least_significant_change_exact")),
        (change, ("person", "mean_of_trials", "group")),
    ]
    estimates = [getattr(result, name) for result, fields in names for name in fields]
    assert {e.method for e in estimates} <= set(METHODS)
    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)
