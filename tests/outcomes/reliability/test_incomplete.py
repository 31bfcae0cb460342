"""Correlations with missing scores, bootstrap over people, consistency of items: same as what they generalise."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import DesignError
from outcomes.intervals import bca_interval, bca_interval_of_sums
from outcomes.intervals.bootstrap import tails
from outcomes.reliability import (
    CAVEATS,
    METHODS,
    bootstrap_estimate,
    coefficient_of_variation,
    concordance_correlation,
    cronbach_alpha,
    error_from_correlation,
    incomplete_intraclass_correlations,
    intraclass_correlations,
    limits_of_agreement,
    mcdonald_omega,
    measurement_error,
    participant_bootstrap,
)
from outcomes.reliability.resampled import FORMULAS

NAN = np.nan
ICCS = ("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k")


def scores(n: int, k: int, seed: int, people: float = 4.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 50 + people * rng.normal(size=(n, 1)) + rng.normal(size=(1, k)) + 2 * rng.normal(size=(n, k))


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


@pytest.mark.parametrize(
    ("n", "k", "seed", "people"), [(20, 2, 1, 4.0), (12, 3, 2, 4.0), (8, 4, 3, 0.1), (10, 2, 4, 0.1)]
)
def test_a_complete_table_gives_the_values_of_the_analysis_of_variance(
    n: int, k: int, seed: int, people: float
) -> None:
    table = scores(n, k, seed, people)
    ours, exact = incomplete_intraclass_correlations(table), intraclass_correlations(table)
    for name in ICCS:
        if getattr(exact, name) is not None and abs(getattr(exact, name).value) < 5:
            assert getattr(ours, name).value == pytest.approx(getattr(exact, name).value, abs=2e-5), name
    assert ours.variance_error == pytest.approx(exact.ms_error, rel=1e-6)
    assert ours.variance_occasions == pytest.approx((exact.ms_occasions - exact.ms_error) / n, abs=1e-5)


@pytest.mark.parametrize("k", [2, 3, 4])
def test_occasions_of_exactly_one_mean_give_the_values_of_the_analysis_of_variance(k: int) -> None:
    table = scores(8, k, 9)
    for level in (table - table.mean(axis=0) + 50, np.round(table) - np.round(table)[::-1] + 50):
        assert np.ptp(level.mean(axis=0)) < 1e-12
        ours, exact = incomplete_intraclass_correlations(level), intraclass_correlations(level)
        for name in ICCS[:3]:
            assert getattr(ours, name).value == pytest.approx(getattr(exact, name).value, abs=2e-5), name
        assert ours.variance_occasions == pytest.approx(-exact.ms_error / 8, rel=1e-4)


def test_nobody_is_left_out_and_a_gap_moves_the_values_a_little() -> None:
    table = scores(30, 3, 5)
    gaps = table.copy()
    gaps[[1, 7, 12], [0, 1, 2]] = NAN
    ours, whole = incomplete_intraclass_correlations(gaps), incomplete_intraclass_correlations(table)
    assert (ours.n_people, ours.n_incomplete, ours.n_scores) == (30, 3, 87)
    assert ours.icc_a_1.value == pytest.approx(whole.icc_a_1.value, abs=0.1)
    assert ours.icc_a_1.value != whole.icc_a_1.value


def test_correlations_with_gaps_ignore_unit_shift_and_order() -> None:
    table = scores(15, 3, 6)
    table[2, 1] = table[8, 0] = NAN
    here = incomplete_intraclass_correlations(table)
    there = incomplete_intraclass_correlations(2.54 * table[::-1, ::-1] - 100)
    for name in ICCS:
        assert getattr(there, name).value == pytest.approx(getattr(here, name).value, abs=1e-6)


def test_the_bootstrap_of_every_form_has_an_interval_and_without_random_numbers_a_reason() -> None:
    table = scores(30, 2, 7)
    table[4, 1] = NAN
    found = incomplete_intraclass_correlations(table, interval="bootstrap", resamples=1000, rng=rng())
    assert all(getattr(found, name).interval.low < getattr(found, name).value for name in ICCS)
    assert {getattr(found, name).method for name in ICCS} <= set(METHODS)
    without = incomplete_intraclass_correlations(table, interval="bootstrap")
    assert without.reasons["icc_a_1.interval"] == "no random numbers were given"
    assert "no_interval_bootstrap" in CAVEATS


def test_a_resample_without_an_occasion_leaves_the_value_and_takes_the_interval() -> None:
    table = np.column_stack([scores(8, 1, 9)[:, 0], [NAN] * 8])
    table[:2, 1] = table[:2, 0] + [0.5, -0.3]
    found = incomplete_intraclass_correlations(table, interval="bootstrap", resamples=1000, rng=rng())
    assert 0 < found.icc_a_1.value <= 1
    assert found.icc_a_1.interval is None
    assert "resamples" in found.reasons["icc_a_1.interval"]
    plain = incomplete_intraclass_correlations(table)
    assert plain.icc_a_1.interval is None
    assert plain.reasons["icc_a_1.interval"] == "fewer than three people have two scores"
    assert plain.icc_a_1.caveats == ("no_interval_jackknife",)


@pytest.mark.parametrize("k", [2, 3])
def test_the_interval_with_gaps_is_that_of_leaving_each_person_out_by_hand(k: int) -> None:
    table = scores(14, k, 21)
    table[3, 1] = table[9, 0] = NAN
    found = incomplete_intraclass_correlations(table)
    # without random numbers: values alone
    rest = [incomplete_intraclass_correlations(np.delete(table, i, axis=0), interval="bootstrap") for i in range(14)]
    for name in ("icc_1_1", "icc_a_1", "icc_c_1"):
        whole = getattr(found, name)
        r = np.array([whole.value, *(getattr(one, name).value for one in rest)])
        z = np.log((1 + (k - 1) * r) / (1 - r)) / 2
        half = 2.1603686564627917 * math.sqrt(13 / 14 * ((z[1:] - z[1:].mean()) ** 2).sum())  # t, 13 df: R 4.2.2 qt
        ends = [(math.exp(2 * e) - 1) / (math.exp(2 * e) + k - 1) for e in (z[0] - half, z[0] + half)]
        # those that leave one out are found to a ratio of one part in 4,000: half of that on the scale, of each person
        near = 2.17 * math.sqrt(13) / 8_000
        assert [whole.interval.low, whole.interval.high] == pytest.approx(ends, abs=near)
        mean = getattr(found, name.replace("_1", "_k") if name != "icc_1_1" else "icc_1_k").interval
        assert [mean.low, mean.high] == pytest.approx([k * e / (1 + (k - 1) * e) for e in ends], abs=k * near)


def test_an_interval_with_gaps_that_is_none_is_refused() -> None:
    with pytest.raises(DesignError, match="'bca' is none of jackknife, bootstrap"):
        incomplete_intraclass_correlations(scores(9, 2, 1), interval="bca")


def test_levels_that_are_none_are_refused_and_expanded_ones_widen() -> None:
    x = np.random.default_rng(2).normal(size=8)
    mean = lambda v: v.mean(axis=-1)  # noqa: E731
    with pytest.raises(DesignError, match="levels 'wide' are none of nominal, expanded"):
        bca_interval([x], mean, levels="wide", rng=rng())
    plain, wide = (bca_interval([x], mean, levels=word, rng=rng()).interval for word in ("nominal", "expanded"))
    assert wide.low < plain.low < plain.high < wide.high
    # share below -√(8/7) t of 7 degrees of freedom at 0.975: R 4.2.2, pnorm(-sqrt(8/7) * qt(0.975, 7))
    assert tails(0.95, "expanded", 8)[0] == pytest.approx(0.005737520517, abs=1e-10)


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([[1, NAN], [NAN, 2], [3, NAN]], "0 people have two scores"),
        ([[1, 2], [3, NAN]], "1 people have two scores"),
        ([[1, 2], [NAN, NAN], [3, 4]], "have no score"),
        ([[1, NAN], [2, NAN]], "occasion 2 has no score"),
        ([[5, 5], [5, 5], [5, NAN]], "all scores are equal"),
        ([[1, 1], [2, 2], [5, 5]], "no error is seen"),
        ([[1, 2], [2, 3], [6, 7]], "no error is seen"),
        ([[1, math.inf], [2, 2]], "infinite"),
        ([["a", 1], [2, 2]], "not all numbers"),
        ([1, 2], "rows"),
        ([[1], [2]], "1 occasion"),
    ],
)
def test_what_tells_nothing_about_error_is_refused(table: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        incomplete_intraclass_correlations(table)


@pytest.mark.parametrize("statistic", sorted(FORMULAS))
def test_every_bootstrapped_statistic_is_the_one_of_its_own_function(statistic: str) -> None:
    table = scores(25, 2, 8)
    found = participant_bootstrap(table, statistic, resamples=1000, rng=rng())
    results = [intraclass_correlations(table), measurement_error(table, unit="cm"), concordance_correlation(table)]
    limits = limits_of_agreement(*table.T, unit="cm")
    known = {"bias": limits.bias.value, "lower_limit": limits.lower.value, "upper_limit": limits.upper.value}
    known["cronbach_alpha"] = cronbach_alpha(table).alpha.value
    known |= {n: getattr(r, n).value for r in results for n in FORMULAS if hasattr(r, n) and n not in known}
    assert found.value == pytest.approx(known[statistic], rel=1e-9)
    assert found.interval.low < found.value < found.interval.high


def test_bootstrapped_spreads_and_correlations_have_notes_of_their_own() -> None:
    table = scores(25, 2, 8)
    names = {
        statistic: bootstrap_estimate(table, statistic, unit="1", resamples=1000, rng=rng()).method
        for statistic in ("icc_a_1", "mdc95")
    }
    assert names == {"icc_a_1": "participant_bootstrap", "mdc95": "participant_bootstrap_spread"}
    assert set(names.values()) <= set(METHODS)


def test_the_bootstrap_by_sums_is_that_of_drawing_people() -> None:
    x = np.random.default_rng(2).normal(size=30)
    parts = np.column_stack([np.ones(30), x])
    by_sums = bca_interval_of_sums(parts, lambda s: s[..., 1] / s[..., 0], rng=rng())
    drawn = bca_interval([x], lambda v: v.mean(axis=-1), rng=rng())
    assert by_sums.interval.low == pytest.approx(drawn.interval.low, rel=1e-9)
    assert by_sums.interval.high == pytest.approx(drawn.interval.high, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda: participant_bootstrap(scores(9, 2, 1), "icc_2_1", rng=rng()), "did you mean"),
        (lambda: participant_bootstrap(scores(9, 3, 1), "concordance", rng=rng()), "compares two"),
        (lambda: participant_bootstrap(scores(9, 2, 1), "mdc95", resamples=10, rng=rng()), "too few"),
        (lambda: participant_bootstrap([[1, 2], [3, 4]], "mdc95", rng=rng()), "at least 3"),
        (lambda: participant_bootstrap([[1, NAN]] * 4, "mdc95", rng=rng()), "missing"),
        (lambda: bca_interval_of_sums(np.ones((2, 1)), lambda s: s[..., 0], rng=rng()), "at least 3"),
    ],
)
def test_what_cannot_be_resampled_is_refused(call: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        call()


def items(n: int, seed: int) -> np.ndarray:
    draw = np.random.default_rng(seed)
    return np.round(3 + draw.normal(size=(n, 1)) + 0.8 * draw.normal(size=(n, 4)))


@pytest.mark.parametrize("missing", ["listwise", "pairwise"])
def test_pingouin_gives_the_same_alpha_when_told_how_to_treat_missing_answers(missing: str) -> None:
    import pingouin

    table = items(30, 1)
    table[[2, 9], [0, 3]] = NAN
    value, _ = pingouin.cronbach_alpha(pd.DataFrame(table), nan_policy=missing)
    found = cronbach_alpha(table, missing=missing)
    assert found.alpha.value == pytest.approx(value, rel=1e-9)
    assert (found.n_incomplete, found.alpha.interval is None) == (2, missing == "pairwise")


def test_people_with_a_missing_answer_are_left_out_unless_said_otherwise() -> None:
    table = items(30, 2)
    table[0, 0] = NAN
    assert cronbach_alpha(table).alpha.value == cronbach_alpha(table[1:]).alpha.value
    assert "1 incomplete, listwise" in cronbach_alpha(table).summary()


@pytest.mark.parametrize(
    ("table", "more", "reason"),
    [
        ([[1, 2], [2, 1]], {}, "2 people"),
        ([[1], [2], [3]], {}, "1 items"),
        ([[1, 1], [1, 1], [1, 1]], {}, "does not vary"),
        ([[1, -1], [2, -2], [3, -3]], {}, "does not vary"),
        ([[1, 2], [2, NAN], [NAN, 1]], {"missing": "pairwise"}, "both items"),
        ([[1, 2], [2, 3], [3, 5]], {"missing": "guess"}, "neither"),
        ([["a", 2], [2, 3], [3, 5]], {}, "not all numbers"),
        ([[math.inf, 2], [2, 3], [3, 5]], {}, "infinite"),
    ],
)
def test_items_without_an_alpha_are_refused(table: list, more: dict, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        cronbach_alpha(table, **more)


def test_identical_items_are_perfectly_consistent_without_interval() -> None:
    found = cronbach_alpha([[1, 1], [2, 2], [4, 4]])
    assert (found.alpha.value, found.alpha.interval) == (pytest.approx(1.0), None)
    assert found.alpha.caveats == ("perfect_agreement",)


def test_omega_is_alpha_where_all_loadings_are_equal() -> None:
    draw = np.random.default_rng(3)
    table = draw.normal(size=(4000, 1)) + 0.9 * draw.normal(size=(4000, 5))
    assert mcdonald_omega(table).omega["total"].value == pytest.approx(cronbach_alpha(table).alpha.value, abs=0.002)


def test_resamples_without_an_omega_are_left_out_and_said_and_too_many_leave_no_interval() -> None:
    table = scores(12, 3, seed=4)
    table[:, 0] = [1] * 3 + [0] * 9  # (9/12)^12 = 3 % of the resamples miss all three
    few = mcdonald_omega(table, rng=rng())
    assert few.omega["total"].interval is not None
    assert "resamples_without_fit" in few.omega["total"].caveats
    assert few.reasons == {}
    table[:, 0] = [1] + [0] * 11  # (11/12)^12 = 35 % of the resamples miss the one
    none = mcdonald_omega(table, rng=rng())
    assert none.omega["total"].interval is None
    assert "no_interval_bootstrap" in none.omega["total"].caveats
    assert re.fullmatch(r"3\d% of the resamples have no value", none.reasons["total"])


def test_omega_does_not_know_the_unit_of_the_whole_and_has_an_interval() -> None:
    table = items(60, 4)
    found = mcdonald_omega(table, resamples=200, rng=rng())
    omega = found.omega["total"]
    assert omega.interval.low < omega.value < omega.interval.high
    assert mcdonald_omega(10 * table).omega["total"].value == pytest.approx(omega.value, rel=1e-6)
    assert omega.method in METHODS
    assert "own_variance_zero" in CAVEATS


@pytest.mark.parametrize(
    ("table", "scales", "reason"),
    [
        (np.ones((9, 2)), None, "2 items"),
        (np.ones((9, 3)), None, "does not vary"),
        (np.ones((3, 3)), None, "more than the 3"),
        (items(20, 5), {"a": [0, 1], "b": [1, 2]}, "two scales"),
        (items(20, 5), {"a": [0, 1], "b": [2]}, "1 items"),
        (items(20, 5), {"a": [0, 1, 2]}, "stands in no scale"),
        (items(20, 5), {"a": [0, 1, 9]}, "does not exist"),
    ],
)
def test_items_without_an_omega_are_refused(table: np.ndarray, scales: dict | None, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        mcdonald_omega(table, scales=scales)


def test_errors_from_a_correlation_and_in_percent_are_refused_where_they_mean_nothing() -> None:
    for sd, icc in ((0.0, 0.5), (math.inf, 0.5), (1.0, -0.1), (1.0, 1.1), (1.0, NAN)):
        with pytest.raises(DesignError):
            error_from_correlation(sd, icc, unit="cm")
    for table, reason in (([[1, 0], [2, 3]], "not above 0"), ([[1, 2], [2, 4], [4, 8]], "differ alike")):
        with pytest.raises(DesignError, match=reason):
            coefficient_of_variation(table)
