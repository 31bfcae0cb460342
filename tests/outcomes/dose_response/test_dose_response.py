"""Dose and change: second opinions of numpy and pingouin, refusals, time held apart."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pandas as pd
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.dose_response import (
    CAVEATS,
    METHODS,
    between_person_association,
    describe,
    dose_time_collinearity,
    rank_association,
)
from outcomes.dose_response.linear import fit, permutation_test
from outcomes.errors import DesignError
from outcomes.result import Estimate

_RNG = np.random.default_rng(6)
N = 24
BASELINE = 45 + 4 * _RNG.normal(size=N)
DOSE = 600 + 200 * _RNG.normal(size=N) - 10 * (BASELINE - 45)
CHANGE = 0.002 * DOSE - 0.1 * BASELINE + _RNG.normal(size=N)


def associated(dose: object = DOSE, change: object = CHANGE, baseline: object = BASELINE, **options: object):
    options = {"dose_unit": "min", "per": 600.0, "outcome_unit": "cm", "rng": np.random.default_rng(1)} | options
    return between_person_association(dose, change, baseline, **options)  # type: ignore[arg-type]


def ranked(dose: object = DOSE, change: object = CHANGE, baseline: object = BASELINE, **options: object):
    return rank_association(dose, change, baseline, rng=np.random.default_rng(1), **options)  # type: ignore[arg-type]


def test_the_slope_is_that_of_least_squares_for_the_stated_amount() -> None:
    design = np.column_stack([np.ones(N), DOSE, BASELINE])
    assert associated().slope.value == pytest.approx(600 * np.linalg.lstsq(design, CHANGE)[0][1])
    assert associated().slope.unit == "cm"
    assert associated(per=60.0).slope.value == pytest.approx(associated().slope.value / 10)
    assert associated(per=60.0).slope.test == associated().slope.test


def test_pingouin_gives_the_same_partial_correlations() -> None:
    frame = pd.DataFrame({"dose": DOSE, "change": CHANGE, "baseline": BASELINE})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)
        import pingouin

        pearson = pingouin.partial_corr(frame, x="dose", y="change", covar="baseline").iloc[0]
        spearman = pingouin.partial_corr(frame, x="dose", y="change", covar="baseline", method="spearman").iloc[0]
    found = associated()
    assert found.partial_correlation.value == pytest.approx(pearson["r"], abs=1e-9)
    interval = found.partial_correlation.interval
    assert (interval.low, interval.high) == pytest.approx(tuple(pearson["CI95"]), abs=0.00501)
    assert found.rank.value == pytest.approx(spearman["r"], abs=1e-9)


def test_pingouin_gives_the_same_repeated_measures_correlation() -> None:
    rng = np.random.default_rng(3)
    frame = pd.DataFrame({"who": np.repeat(list("abcdef"), 8), "week": np.tile(np.arange(8.0), 6)})
    frame["dose"] = 60 * frame["week"] + 90 * rng.normal(size=48)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)
        import pingouin

        theirs = pingouin.rm_corr(frame, x="week", y="dose", subject="who").iloc[0]
    found = dose_time_collinearity(frame["who"], frame["week"], frame["dose"])
    assert found.within_person_r.value == pytest.approx(theirs["r"], abs=1e-9)
    assert found.vif.value == pytest.approx(1 / (1 - theirs["r"] ** 2))


def test_the_raw_slope_leaves_the_first_value_out() -> None:
    design = np.column_stack([np.ones(N), DOSE])
    assert associated().raw_slope.value == pytest.approx(600 * np.linalg.lstsq(design, CHANGE)[0][1])
    assert associated().raw_slope.test is None


def test_the_leave_one_out_range_is_that_of_refitting() -> None:
    slopes = []
    for left in range(N):
        kept = np.arange(N) != left
        design = np.column_stack([np.ones(N - 1), DOSE[kept], BASELINE[kept]])
        slopes.append(600 * np.linalg.lstsq(design, CHANGE[kept])[0][1])
    found = associated()
    assert found.leave_one_out_low.value == pytest.approx(min(slopes))
    assert found.leave_one_out_high.value == pytest.approx(max(slopes))
    assert found.leave_one_out_low.n_people == N - 1


def test_all_orders_are_counted_where_they_are_few() -> None:
    found = fit(DOSE[:6], CHANGE[:6], BASELINE[:6])
    test = permutation_test(found, resamples=9_999, rng=np.random.default_rng(1))
    design = np.column_stack([np.ones(6), DOSE[:6], BASELINE[:6]])
    reduced = design[:, [0, 2]]
    fitted = reduced @ np.linalg.lstsq(reduced, CHANGE[:6])[0]
    as_far = 0
    for order in itertools.permutations(range(6)):
        permuted = fitted + (CHANGE[:6] - fitted)[list(order)]
        as_far += abs(fit(DOSE[:6], permuted, BASELINE[:6]).partial_correlation) >= abs(test.statistic) - 1e-9
    assert test.exact
    assert test.p == pytest.approx(as_far / 720)


def test_random_permutations_count_the_observed_order_and_carry_their_error() -> None:
    test = associated(resamples=999).slope.test
    assert not test.exact
    assert test.p >= 1 / 1000
    assert test.error == pytest.approx((test.p * (1 - test.p) / 999) ** 0.5)
    assert associated(resamples=999).slope.test == test


def test_fewer_than_ten_people_are_described_only() -> None:
    with pytest.raises(DesignError, match="9 people with dose and change; fewer than 10 are described only"):
        associated(DOSE[:9], CHANGE[:9], BASELINE[:9])
    with pytest.raises(DesignError, match="described only"):
        ranked(DOSE[:9], CHANGE[:9], BASELINE[:9])
    told = describe(DOSE[:9], CHANGE[:9], dose_unit="min", outcome_unit="cm")
    assert told.n_people == 9
    assert told.dose_low.value <= told.dose_median.value <= told.dose_high.value
    assert told.change_median.unit == "cm"


@pytest.mark.parametrize(
    ("dose", "change", "baseline", "reason"),
    [
        (np.full(N, 300.0), CHANGE, BASELINE, "same dose"),
        (DOSE, np.full(N, 0.1), BASELINE, "changed by the same amount"),
        (DOSE, (BASELINE + 0.1) - BASELINE, BASELINE, "changed by the same amount"),
        (2 * BASELINE + 3, CHANGE, BASELINE, "cannot be told apart"),
        (DOSE, 5 - 0.5 * BASELINE, BASELINE, "explains the change without rest"),
        (DOSE[:-1], CHANGE, BASELINE, "23 doses, 24 changes and 24 first values"),
        (np.where(np.arange(N) == 3, np.nan, DOSE), CHANGE, BASELINE, "dose: 1 of 24 values missing"),
    ],
)
def test_what_has_no_slope_is_refused(dose: object, change: object, baseline: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        associated(dose, change, baseline)


def test_a_first_value_that_is_the_same_for_all_is_left_out_and_said() -> None:
    found = associated(baseline=np.zeros(N))
    assert found.slope.value == pytest.approx(found.raw_slope.value)
    assert "baseline_constant" in found.slope.caveats


def test_a_perfect_line_has_no_interval_but_a_p_above_0() -> None:
    found = associated(change=0.01 * DOSE - 0.1 * BASELINE)
    assert found.slope.interval is None
    assert "perfect_fit" in found.slope.caveats
    assert found.slope.test.p == pytest.approx(1 / 10_000)
    assert found.partial_correlation.interval is None


def test_one_person_who_alone_had_training_decides_the_slope_and_that_is_said() -> None:
    dose = np.where(np.arange(N) == 5, 900.0, 300.0)
    found = associated(dose)
    assert found.leave_one_out_low is found.leave_one_out_high is None
    assert "without one of the people" in found.reasons["leave_one_out_low"]


def test_doses_in_the_same_order_as_first_values_have_a_slope_but_no_partial_rank() -> None:
    baseline = np.sort(BASELINE)
    dose = np.exp(baseline / 10)
    found = associated(dose, CHANGE, baseline)
    assert found.rank is None
    assert found.reasons["rank"].startswith("by rank")
    with pytest.raises(DesignError, match="by rank"):
        ranked(dose, CHANGE, baseline)


def test_the_rank_association_does_not_change_with_a_rising_scale() -> None:
    assert ranked(np.exp(DOSE / 500)).rank == ranked().rank
    assert ranked().rank.value == associated().rank.value


def test_every_method_and_caveat_has_its_sentence() -> None:
    results = [associated(), associated(baseline=np.zeros(N)), describe(DOSE, CHANGE)]
    weeks = np.tile(np.arange(6.0), 4)
    results.append(dose_time_collinearity(np.repeat(range(4), 6), weeks, 60 * weeks + np.sin(np.arange(24.0))))
    estimates = [getattr(r, name) for r in results for name in r.__slots__]
    estimates = [e for e in estimates if isinstance(e, Estimate)]
    assert {e.method for e in estimates} <= set(METHODS)
    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)


def test_a_dose_that_rises_with_time_cannot_be_told_from_it() -> None:
    weeks = np.tile(np.arange(1.0, 17.0), 12)
    person = np.repeat([f"P{i}" for i in range(12)], 16)
    minutes = np.random.default_rng(2).uniform(60, 120, size=(12, 16)).cumsum(axis=1).ravel()
    found = dose_time_collinearity(person, weeks, minutes)
    assert found.within_person_r.value > 0.95
    assert found.vif.value > 10
    assert not found.separable
    assert found.vif.caveats == ("dose_is_time",)
    assert "cannot be told" in found.summary()


def test_a_dose_that_comes_and_goes_can_be_told_from_time() -> None:
    weeks = np.tile(np.arange(8.0), 5)
    dose = np.tile([0, 5, 5, 0, 0, 5, 5, 0.0], 5) + np.random.default_rng(2).normal(size=40)
    found = dose_time_collinearity(np.repeat(range(5), 8), weeks, dose)
    assert found.separable
    assert found.vif.caveats == ()


@pytest.mark.parametrize(
    ("person", "time", "dose", "reason"),
    [
        (["a", "b"], [1, 1], [5, 6], "nobody has two values"),
        (["a", "a"], [1, 1], [5, 6], "time does not pass"),
        (["a", "a"], [1, 2], [5, 5], "dose does not change"),
        (["a", "a", "b", "b"], [1, 2, 1, 2], [5, 6, 7, 8], "exact step with time"),
        (["a", "a"], [1, 2, 3], [5, 5], "differ in number"),
        ([], [], [], "nobody has two values"),
        (["a", "a"], [1, np.nan], [5, 5], "missing"),
    ],
)
def test_what_shows_nothing_within_persons_is_refused(person: list, time: list, dose: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        dose_time_collinearity(person, time, dose)


def test_people_with_two_values_only_have_no_correlation_of_their_own() -> None:
    found = dose_time_collinearity(["a", "a", "b", "b"], [1, 2, 1, 2], [5, 6, 7, 9])
    assert found.median_person_r is None
    assert "three values" in found.reasons["median_person_r"]


def test_people_with_one_row_add_nothing() -> None:
    with_one = dose_time_collinearity(["a", "a", "a", "b"], [1, 2, 3, 1], [5, 6, 9, 1000])
    without = dose_time_collinearity(["a", "a", "a"], [1, 2, 3], [5, 6, 9])
    assert with_one == without
    assert with_one.n_people == 1


def test_results_say_that_they_are_associations() -> None:
    assert associated().summary().endswith("an association")
    assert ranked().summary().endswith("an association")
    assert associated().slope.caveats[0] == "association"
