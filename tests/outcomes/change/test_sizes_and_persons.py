"""Effect sizes, percent change and single persons: second opinions, directions, decided edges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from outcomes.change import (
    cutoff_between,
    hedges_correction,
    paired_effect_sizes,
    paired_rank_sizes,
    percent_change,
    reliable_change,
    standard_error_of,
)
from outcomes.errors import DesignError
from outcomes.intervals import t_quantile

DRAW = np.random.default_rng(1)
BEFORE = np.round(45 + 4 * DRAW.normal(size=24), 1)
AFTER = np.round(BEFORE + 0.8 + 1.5 * DRAW.normal(size=24), 1)
NAMES = ("d_z", "hedges_g", "d_av", "d_rms", "d_rm", "d_before", "g_before")


def sizes(before: object = BEFORE, after: object = AFTER):
    return paired_effect_sizes(before, after, rng=np.random.default_rng(2))  # type: ignore[arg-type]


def test_every_size_is_the_mean_change_over_the_spread_that_its_name_says() -> None:
    found, change = sizes(), AFTER - BEFORE
    sd = [float(np.std(x, ddof=1)) for x in (BEFORE, AFTER, change)]
    r = np.corrcoef(BEFORE, AFTER)[0, 1]
    expected = {
        "d_z": sd[2],
        "d_av": (sd[0] + sd[1]) / 2,
        "d_rms": math.sqrt((sd[0] ** 2 + sd[1] ** 2) / 2),
        "d_rm": sd[2] / math.sqrt(2 * (1 - r)),
        "d_before": sd[0],
    }
    for name, spread in expected.items():
        assert getattr(found, name).value == pytest.approx(change.mean() / spread), name
    assert found.g_before.value == pytest.approx(found.d_before.value * hedges_correction(23))


def test_every_size_turns_over_with_the_sign_of_the_change() -> None:
    there, mirrored = sizes(), sizes(-BEFORE, -AFTER)
    for name in NAMES:
        one, other = getattr(there, name), getattr(mirrored, name)
        assert other.value == pytest.approx(-one.value), name
        assert (other.interval.low, other.interval.high) == pytest.approx((-one.interval.high, -one.interval.low))


def test_a_strong_fall_has_the_interval_that_the_library_cannot_find() -> None:
    found = sizes([10, 11, 12, 13, 15], [5, 6.1, 6.8, 8.2, 9.9]).d_z
    assert found.interval.low < found.value < found.interval.high < 0
    low, high = (-end * math.sqrt(5) for end in (found.interval.high, found.interval.low))
    assert stats.nct.sf(-found.value * math.sqrt(5), 4, low) == pytest.approx(0.025, abs=1e-8)
    assert stats.nct.cdf(-found.value * math.sqrt(5), 4, high) == pytest.approx(0.025, abs=1e-8)


def test_a_divisor_of_zero_leaves_that_size_out_and_the_others_stand() -> None:
    flat = sizes([5, 5, 5, 5], [6, 7, 8, 9])
    assert flat.d_before is flat.g_before is flat.d_rm is None
    assert flat.reasons["d_before"] == "the values of the first visit are all equal"
    assert flat.d_z is not None
    assert flat.d_av is not None
    same = sizes([1, 2, 3], [2, 3, 4])
    assert same.d_z is same.d_rm is None
    assert same.d_before.value == 1
    nothing = sizes([2, 2], [2, 2])
    assert [getattr(nothing, name) for name in NAMES] == [None] * 7
    assert set(nothing.reasons) == set(NAMES)


def test_below_twenty_people_only_the_exact_intervals_are_given() -> None:
    few = sizes(BEFORE[:10], AFTER[:10])
    assert few.d_z.interval is not None
    for name in ("d_av", "d_rms", "d_rm", "d_before", "g_before"):
        assert getattr(few, name).interval is None
        assert getattr(few, name).caveats == ("below_bootstrap",)


@pytest.mark.parametrize("level", [0, 1, 1.2, math.nan])
def test_a_level_that_is_none_is_refused(level: float) -> None:
    with pytest.raises(DesignError, match="level"):
        paired_effect_sizes(BEFORE, AFTER, level=level, rng=np.random.default_rng(1))


# -------------------------------------------------------------------------------------------------------- grades


@pytest.mark.parametrize("sign", [1, -1])
def test_a_rank_biserial_at_its_bound_has_a_one_sided_interval(sign: int) -> None:
    found = paired_rank_sizes([sign, 2 * sign, sign, 0])
    assert found.rank_biserial.value == sign
    z2 = 1.959963984540054**2
    ends = sorted([sign, sign * (3 - z2) / (3 + z2)])
    assert [found.rank_biserial.interval.low, found.rank_biserial.interval.high] == pytest.approx(ends)
    assert "one way" in found.rank_biserial.interval.method


def test_by_the_null_standard_error_a_rank_biserial_at_its_bound_has_no_interval() -> None:
    found = paired_rank_sizes([1, 2, 1, 0], interval="null")
    assert found.rank_biserial.interval is None
    assert found.reasons["rank_biserial.interval"] == "all who changed went one way"


def test_changes_that_turn_round_turn_the_interval_of_the_rank_biserial_round() -> None:
    x = np.array([1, 2, -1, 0, 3, -2, 4.0])
    there, back = (paired_rank_sizes(s * x).rank_biserial.interval for s in (1, -1))
    assert (back.low, back.high) == pytest.approx((-there.high, -there.low))


def test_the_jackknife_of_a_rank_biserial_is_that_of_leaving_each_person_out() -> None:
    x = np.array([3.0, -1, 2, 2, -2, 4, 0, 1, 5, -1])
    moved = x[x != 0]
    m = len(moved)
    d = float(paired_rank_sizes(x).rank_biserial.value)
    left_out = [float(paired_rank_sizes(np.delete(moved, i)).rank_biserial.value) for i in range(m)]
    half = t_quantile(0.975, m - 1) * math.sqrt((m - 1) / m * sum((one - np.mean(left_out)) ** 2 for one in left_out))
    away = half * math.sqrt((1 - d**2) ** 2 + half**2)
    ends = [(d - d**3 + side * away) / (1 - d**2 + half**2) for side in (-1, 1)]
    found = paired_rank_sizes(x).rank_biserial.interval
    assert [found.low, found.high] == pytest.approx([max(ends[0], -1), min(ends[1], 1)])


def test_an_interval_of_the_rank_biserial_that_is_none_is_refused() -> None:
    with pytest.raises(DesignError, match="'bca' is none of jackknife, null"):
        paired_rank_sizes([1, 2, -1], interval="bca")


def test_the_probability_of_a_rise_of_all_has_an_interval_that_ends_below_one() -> None:
    found = paired_rank_sizes([1, 2, 1, 0])
    assert found.probability_of_rise.value == 0.875
    assert found.probability_of_rise.interval.high < 1


def test_nobody_changed_is_a_probability_of_a_half() -> None:
    found = paired_rank_sizes([0, 0, 0])
    assert found.rank_biserial is None
    assert found.probability_of_rise.value == 0.5


# ------------------------------------------------------------------------------------------------------- percent


def test_three_percent_changes_are_three_numbers() -> None:
    found = percent_change([50, 40, 60], [51, 42, 60], scale="ratio")
    assert found.mean_percent.value == pytest.approx((2 + 5 + 0) / 3)
    assert found.percent_of_mean.value == pytest.approx(2)
    logs = np.log([51 / 50, 42 / 40, 1])
    assert found.geometric.value == pytest.approx(100 * (math.exp(logs.mean()) - 1))
    ends = stats.ttest_1samp(logs, 0).confidence_interval()
    assert found.geometric.interval.high == pytest.approx(100 * math.expm1(ends.high))


@pytest.mark.parametrize(
    ("before", "after", "scale", "reason"),
    [
        ([1, 2], [2, 3], "interval", "needs a ratio scale"),
        ([1, 2], [2, 3], "ordinal", "needs a ratio scale"),
        ([0, 2], [2, 3], "ratio", "not above 0"),
        ([1, 2], [-2, 3], "ratio", "below 0"),
    ],
)
def test_only_a_ratio_scale_has_percentages(before: list, after: list, scale: str, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        percent_change(before, after, scale=scale)


def test_a_later_zero_has_no_geometric_mean_and_the_others_stand() -> None:
    found = percent_change([1, 2], [0, 2], scale="ratio")
    assert found.geometric is None
    assert found.reason == "a later value is 0, which has no logarithm"
    assert found.mean_percent.value == -50


# ------------------------------------------------------------------------------------------------------- persons


def test_practice_is_taken_off_before_a_change_is_held_against_error() -> None:
    plain = reliable_change([10, 10], [13.0, 7.0], standard_error=1.0)
    adjusted = reliable_change([10, 10], [13.0, 7.0], standard_error=1.0, practice=1.0)
    assert (plain.form, adjusted.form) == ("classic", "practice adjusted")
    assert plain.classes == ("better", "other")
    assert adjusted.classes == ("within", "other")
    assert adjusted.index == pytest.approx((2 / math.sqrt(2), -4 / math.sqrt(2)))
    # Jacobson & Truax (1991): 1.96
    assert plain.smallest_change == pytest.approx(1.96 * math.sqrt(2))


def test_with_few_degrees_of_freedom_error_alone_puts_more_than_five_percent_beyond() -> None:
    known, few = (reliable_change([0.0], [3.0], standard_error=1.0, degrees_of_freedom=df) for df in (None, 7))
    assert few.smallest_change == known.smallest_change == pytest.approx(1.96 * math.sqrt(2))
    assert known.expected_by_error.value == pytest.approx(0.05, abs=1e-4)
    assert few.expected_by_error.value == pytest.approx(2 * stats.t.sf(1.96, 7))
    assert known.expected_by_error.interval is None
    ends = [2 * stats.norm.sf(1.96 * math.sqrt(stats.chi2.ppf(q, 7) / 7)) for q in (0.975, 0.025)]
    assert (few.expected_by_error.interval.low, few.expected_by_error.interval.high) == pytest.approx(ends)
    ninety = reliable_change([0.0], [3.0], standard_error=1.0, level=0.9)
    assert ninety.smallest_change == pytest.approx(stats.norm.ppf(0.95) * math.sqrt(2))


def test_a_fall_counts_as_better_where_lower_is() -> None:
    found = reliable_change([10, 10, 10], [5, 15, 10], standard_error=1.0, better="lower")
    assert found.classes == ("better", "other", "within")
    assert (found.better.value, found.within.value, found.other.value) == (1, 1, 1)
    assert found.index[0] < 0


@pytest.mark.parametrize("error", [0, -1, math.nan, math.inf])
def test_without_an_error_nobody_is_classed(error: float) -> None:
    with pytest.raises(DesignError, match="above 0"):
        reliable_change([1.0], [2.0], standard_error=error)


def test_the_standard_error_and_the_cutoff_refuse_what_they_cannot_hold() -> None:
    with pytest.raises(DesignError, match="leaves no error"):
        standard_error_of(5, 1)
    with pytest.raises(DesignError, match="above 0"):
        standard_error_of(0, 0.5)
    with pytest.raises(DesignError, match="same mean"):
        cutoff_between(5, 1, 5, 1)
    # unequal spreads: nearer to the narrower one, (2 x 20 + 8 x 10)/10 (Jacobson & Truax 1991, formula)
    assert cutoff_between(10, 2, 20, 8) == 12
