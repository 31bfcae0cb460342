"""Limits of agreement in every form: what they are, what they refuse, and what a person may not be told by them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.reliability import (
    CAVEATS,
    METHODS,
    acceptable_agreement,
    limits_of_agreement,
    limits_of_agreement_by_size,
    ratio_limits_of_agreement,
    replicate_limits_of_agreement,
    varying_limits_of_agreement,
)

NAN = np.nan


def pair(n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    true = 50 + 8 * rng.normal(size=n)
    return true + rng.normal(size=n), true + 1 + rng.normal(size=n)


def replicated(n: int, m: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    true = 50 + 8 * rng.normal(size=(n, 1))
    own = rng.normal(size=(n, 1))
    return true + rng.normal(size=(n, m)), true + own + rng.normal(size=(n, m))


@pytest.mark.parametrize("interval", ["approximate", "exact", "1986"])
def test_limits_lie_around_the_bias_and_their_intervals_around_them(interval: str) -> None:
    found = limits_of_agreement(*pair(20, 1), unit="cm", interval=interval)
    half = 1.96 * found.standard_deviation.value
    assert (found.lower.value, found.upper.value) == pytest.approx((found.bias.value - half, found.bias.value + half))
    for limit in (found.lower, found.upper):
        assert limit.interval.low < limit.value < limit.interval.high


def test_the_exact_interval_reaches_farther_outwards_than_inwards_and_nears_the_formula_of_1999() -> None:
    few = limits_of_agreement(*pair(12, 2), unit="cm", interval="exact").upper
    assert few.interval.high - few.value > few.value - few.interval.low
    exact, formula = (
        limits_of_agreement(*pair(2000, 3), unit="cm", interval=i).upper for i in ("exact", "approximate")
    )
    assert exact.interval.high == pytest.approx(formula.interval.high, abs=0.005)


def test_swapping_first_and_second_turns_the_limits_over() -> None:
    first, second = pair(15, 4)
    here, there = (limits_of_agreement(a, b, unit="cm") for a, b in ((first, second), (second, first)))
    assert there.upper.value == pytest.approx(-here.lower.value)
    assert there.upper.interval.high == pytest.approx(-here.lower.interval.low)


def test_limits_scale_with_the_unit_and_ratios_do_not_know_it() -> None:
    first, second = pair(15, 5)
    here, there = limits_of_agreement(first, second, unit="cm"), limits_of_agreement(10 * first, 10 * second, unit="mm")
    assert there.upper.value == pytest.approx(10 * here.upper.value)
    ratio, same = ratio_limits_of_agreement(first, second), ratio_limits_of_agreement(10 * first, 10 * second)
    assert same.upper.value == pytest.approx(ratio.upper.value)
    assert ratio.lower.unit == "1"


def test_a_ratio_turns_into_its_inverse_with_the_order() -> None:
    first, second = pair(15, 6)
    here, there = ratio_limits_of_agreement(first, second), ratio_limits_of_agreement(second, first)
    assert there.upper.value == pytest.approx(1 / here.lower.value)


def test_replicates_of_one_are_the_plain_limits() -> None:
    first, second = pair(15, 7)
    once = replicate_limits_of_agreement(
        np.column_stack([first, np.append(first[0], [NAN] * 14)]), second[:, None], unit="cm"
    )
    plain = limits_of_agreement(first, second, unit="cm")
    assert once.standard_deviation.value == pytest.approx(plain.standard_deviation.value)
    assert once.lower.value == pytest.approx(plain.lower.value)


def test_limits_for_single_measurements_are_wider_than_those_of_means() -> None:
    first, second = replicated(30, 3, 8)
    single = replicate_limits_of_agreement(first, second, unit="cm")
    means = limits_of_agreement(first.mean(axis=1), second.mean(axis=1), unit="cm")
    assert single.upper.value - single.lower.value > means.upper.value - means.lower.value
    assert single.bias.value == pytest.approx(means.bias.value)
    assert single.form == "single measurements from 3 replicates, true value constant"


def test_unequal_replicates_are_taken_as_they_are_and_said() -> None:
    first, second = replicated(30, 3, 9)
    first[::2, 2] = NAN
    found = replicate_limits_of_agreement(first, second, unit="cm")
    assert "unequal replicates" in found.form
    assert found.upper.n_values == 30 * 6 - 15


def test_pairs_that_belong_together_follow_the_variance_components_by_hand() -> None:
    # By hand: differences 1, 2 / 1, 0 / -1, 1; mean squares 7/6 between and 1 within; 1/12 + 1.
    first = [[10.0, 14.0], [20.0, 26.0], [33.0, 30.0]]
    second = [[11.0, 16.0], [21.0, 26.0], [32.0, 31.0]]
    found = varying_limits_of_agreement(first, second, unit="cm")
    assert found.standard_deviation.value == pytest.approx(math.sqrt(13 / 12))
    assert found.n_pairs == 6


def test_a_negative_variance_between_people_counts_as_0_with_a_caveat() -> None:
    first = np.zeros((4, 2))
    second = np.array([[1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [-1.0, 1.1]])
    found = varying_limits_of_agreement(first, second, unit="cm")
    assert "between_variance_negative" in found.upper.caveats
    assert found.standard_deviation.interval.low <= found.standard_deviation.value


def test_by_size_finds_a_spread_that_grows_and_none_that_does_not() -> None:
    rng = np.random.default_rng(10)
    size = rng.uniform(10, 100, size=120)
    grows = limits_of_agreement_by_size(size, size + 0.1 * size * rng.normal(size=120), unit="cm")
    flat = limits_of_agreement_by_size(size, size + rng.normal(size=120), unit="cm")
    assert (grows.spread_grows, flat.spread_grows) == (True, False)
    widths = [high.value - low.value for low, high in zip(grows.lower, grows.upper, strict=True)]
    assert widths[0] < widths[1] < widths[2]
    assert all(e.interval.low < e.value < e.interval.high for e in (*grows.lower, *grows.upper))


def test_one_far_size_leaves_the_slope_of_the_spread_unknown() -> None:
    rng = np.random.default_rng(3)
    size = np.array([*range(10, 19), 100.0])
    found = limits_of_agreement_by_size(size, size + rng.normal(size=10), unit="cm", at=[14.0])
    assert (found.spread_slope.interval.low, found.spread_slope.interval.high) == (-math.inf, math.inf)
    assert found.spread_grows is False
    assert found.bias_slope.interval.low < found.bias_slope.value < found.bias_slope.interval.high


def test_a_size_that_one_person_alone_has_is_refused() -> None:
    first = np.array([10.0] * 9 + [50.0])
    change = np.array([1.0, -1, 2, -2, 0.5, -0.5, 1.5, -1.5, 0, 3])
    with pytest.raises(DesignError, match="one person alone"):
        limits_of_agreement_by_size(first - change / 2, first + change / 2, unit="cm", at=[20.0])


def test_by_size_gives_no_limits_where_nothing_was_measured() -> None:
    first, second = pair(30, 11)
    with pytest.raises(DesignError, match="outside what was measured"):
        limits_of_agreement_by_size(first, second, unit="cm", at=[200.0])


@pytest.mark.parametrize(
    ("first", "second", "reason"),
    [
        ([1, 2], [2, 3], "at least 3"),
        ([1, 2, 3], [2, 3], "3 first and 2 second"),
        ([1, 2, 3], [2, 3, 4], "all equal"),
        ([5, 5, 5], [5, 5, 5], "all equal"),
        ([1, 2, NAN], [2, 3, 4], "missing"),
        ([1, 2, math.inf], [2, 3, 4], "infinite"),
        (["a", 2, 3], [2, 3, 4], "not all numbers"),
    ],
)
def test_what_has_no_limits_is_refused_with_its_reason(first: list, second: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        limits_of_agreement(first, second, unit="cm")


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda: ratio_limits_of_agreement([1, 2, 0], [1, 2, 3]), "not above 0"),
        (lambda: limits_of_agreement([1, 2, 4], [2, 3, 4], unit="cm", interval="2001"), "none of"),
        (lambda: limits_of_agreement([1, 2, 4], [2, 3, 4], unit="cm", multiplier=-1), "sets no limits"),
        (lambda: replicate_limits_of_agreement([[1], [2], [3]], [[1], [2], [4]], unit="cm"), "nobody has replicates"),
        (lambda: replicate_limits_of_agreement([[NAN, NAN]] * 3, [[1, 2]] * 3, unit="cm"), "no first measurement"),
        (lambda: varying_limits_of_agreement([[1, NAN]] * 3, [[1, 2]] * 3, unit="cm"), "both measurements"),
        (lambda: varying_limits_of_agreement([[1], [2], [3]], [[1], [2], [4]], unit="cm"), "two pairs"),
        (lambda: replicate_limits_of_agreement([[1, 2]] * 4, [[1, 2]] * 3, unit="cm"), "4 people measured first"),
    ],
)
def test_what_has_no_such_form_is_refused(call: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        call()


@pytest.mark.parametrize(("share", "verdict"), [(1.001, "within"), (0.999, "undecided")])
def test_limits_are_within_only_with_their_whole_intervals(share: float, verdict: str) -> None:
    first, second = pair(30, 4)
    found = limits_of_agreement(first, second, unit="cm", interval="exact")
    outermost = max(-found.lower.interval.low, found.upper.interval.high)
    held = acceptable_agreement(first, second, acceptable=share * outermost, unit="cm")
    assert held.verdict.value == verdict
    assert held.n_within == int((abs(second - first) <= share * outermost).sum())


def test_a_limit_whose_whole_interval_lies_outside_is_beyond() -> None:
    first, second = pair(30, 4)
    found = limits_of_agreement(first, second, unit="cm", interval="exact")
    inner = max(-found.lower.interval.high, found.upper.interval.low)
    assert acceptable_agreement(first, second, acceptable=inner * 0.999, unit="cm").verdict.value == "beyond"
    assert acceptable_agreement(first, second, acceptable=inner * 1.001, unit="cm").verdict.value == "undecided"


def test_the_share_within_has_the_interval_of_statsmodels() -> None:
    from statsmodels.stats.proportion import proportion_confint

    first, second = pair(30, 4)
    held = acceptable_agreement(first, second, acceptable=1.5, unit="cm")
    low, high = proportion_confint(held.n_within, 30, method="wilson")
    assert (held.share.interval.low, held.share.interval.high) == pytest.approx((low, high), abs=1e-9)
    assert "of 30 people" in held.summary()


@pytest.mark.parametrize("acceptable", [0, -1, math.nan, math.inf])
def test_an_acceptable_difference_is_above_nought(acceptable: float) -> None:
    with pytest.raises(DesignError, match="is not above 0"):
        acceptable_agreement(*pair(30, 4), acceptable=acceptable, unit="cm")


def test_a_difference_of_exactly_the_acceptable_one_is_acceptable() -> None:
    held = acceptable_agreement([0.1, 0.2, 5.0], [0.3, 0.2, 4.8], acceptable=0.2, unit="cm")
    assert held.n_within == 3


def test_every_method_and_caveat_has_its_sentence() -> None:
    results = [
        limits_of_agreement(*pair(20, 1), unit="cm"),
        ratio_limits_of_agreement(*pair(20, 1)),
        replicate_limits_of_agreement(*replicated(20, 2, 1), unit="cm"),
        varying_limits_of_agreement(*replicated(20, 2, 1), unit="cm"),
    ]
    estimates = [getattr(r, name) for r in results for name in ("bias", "standard_deviation", "lower", "upper")]
    by_size = limits_of_agreement_by_size(*pair(40, 1), unit="cm")
    estimates += [*by_size.lower, *by_size.bias, by_size.bias_slope, by_size.spread_slope]
    assert {e.method for e in estimates} <= set(METHODS)
    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)
    assert all("agreement" in r.summary() for r in (*results, by_size))
