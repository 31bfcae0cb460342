"""Phases of one person: counts by hand, exact lots by enumeration, decided edges, what holds for any series."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DesignError
from outcomes.intervals import normal_quantile, pairs_interval
from outcomes.single_case import multiple_baseline_test, phase_overlap, phase_start_test, phase_trend

A, B = [20, 20, 26, 25, 22, 23], [28, 25, 24, 27, 30, 30, 29]
often = settings(max_examples=60, deadline=None, derandomize=True)
phase = st.lists(st.integers(-20, 20).map(lambda i: i / 10), min_size=2, max_size=9)


def lot(**changed: Any) -> Any:
    given_ = {"values": A + B, "start": 7, "possible_starts": range(4, 11), "better": "higher", "unit": "1"}
    return phase_start_test(**{**given_, **changed})


# ------------------------------------------------------------------------------------------------------- overlap


@often
@given(phase, phase)
def test_overlap_turns_over_with_the_phases_and_with_the_direction(a: list[float], b: list[float]) -> None:
    there, back = phase_overlap(a, b, better="higher"), phase_overlap(b, a, better="higher")
    lower = phase_overlap(-np.array(a), -np.array(b), better="lower")
    assert there.nap.value == pytest.approx(1 - float(back.nap.value), abs=1e-12)
    assert there.nap.interval.low == pytest.approx(1 - back.nap.interval.high, abs=1e-9)  # type: ignore[union-attr]
    assert (lower.nap.value, lower.pnd.value) == (there.nap.value, there.pnd.value)
    assert there.tau.value == pytest.approx(2 * float(there.nap.value) - 1)
    assert 0 <= there.nap.interval.low <= there.nap.value <= there.nap.interval.high <= 1  # type: ignore


@often
@given(phase, phase, st.randoms(use_true_random=False))
def test_overlap_knows_no_order_and_no_unit(a: list[float], b: list[float], random: Any) -> None:
    found = phase_overlap(a, b, better="higher")
    mixed = random.sample(a, len(a)), random.sample(b, len(b))
    turned = phase_overlap(*(1000 * np.array(one) + 3 for one in mixed), better="higher")
    assert (turned.nap.value, turned.pnd.value) == (found.nap.value, found.pnd.value)


def test_dust_is_a_tie_and_phases_that_are_alike_overlap_by_half() -> None:
    found = phase_overlap([0.1 + 0.2, 0.3], [0.3, 0.3], better="higher")
    assert (found.nap.value, found.tau.value, found.pnd.value) == (0.5, 0, 0)


def test_phases_apart_keep_an_end_away_from_the_bound() -> None:
    found = phase_overlap([1, 2, 3], [4, 5, 6, 7], better="higher")
    assert (found.nap.value, found.pnd.value, found.nap.interval.high) == (1, 1, 1)  # type: ignore[union-attr]
    assert 0 < found.nap.interval.low < 1  # type: ignore[union-attr]
    assert phase_overlap([1, 2, 3], [4, 5, 6, 7], better="lower").nap.value == 0


@pytest.mark.parametrize(("share", "m", "n"), [(0.9, 8, 8), (0.5, 3, 12), (0.62, 40, 10), (1.0, 5, 6), (0.0, 5, 6)])
@pytest.mark.parametrize("level", [0.9, 0.95])
def test_the_ends_solve_the_equation_of_newcombes_method_5(share: float, m: int, n: int, level: float) -> None:
    found, z = pairs_interval(share, m, n, level=level), normal_quantile((1 + level) / 2)
    for end in (found.low, found.high):
        if 0 < end < 1:
            tilt = 1 + ((m + n) / 2 - 1) * ((1 - end) / (2 - end) + end / (1 + end))
            assert (share - end) ** 2 == pytest.approx(z * z * end * (1 - end) * tilt / (m * n), rel=1e-8)
        else:
            assert end == share


@pytest.mark.parametrize(("share", "m", "n"), [(1.1, 3, 3), (math.nan, 3, 3), (0.5, 0, 3)])
def test_what_is_no_share_of_pairs_has_no_interval(share: float, m: int, n: int) -> None:
    with pytest.raises(DesignError, match="pairs"):
        pairs_interval(share, m, n)


BAD = [
    ({"baseline": []}, "first phase: 0 values"),
    ({"baseline": [1]}, "first phase: 1 value; at least 2"),
    ({"treatment": [1, math.nan]}, "second phase: 1 of 2 values missing"),
    ({"treatment": [1, math.inf]}, "infinite"),
    ({"treatment": ["x", "y"]}, "not all numbers"),
    ({"treatment": [[1, 2]]}, "one row"),
    ({"better": "more"}, "neither 'higher' nor 'lower'"),
]


@pytest.mark.parametrize("function", [phase_overlap, phase_trend])
@pytest.mark.parametrize(("changed", "reason"), BAD)
def test_what_is_no_pair_of_phases_is_refused(function: Any, changed: dict[str, Any], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        function(**{"baseline": A, "treatment": B, "better": "higher", **changed})


@pytest.mark.parametrize("function", [phase_overlap, phase_trend])
def test_constant_phases_have_an_answer(function: Any) -> None:
    assert function([2, 2], [2, 2], better="higher").tau.value == 0
    assert function([2, 2], [3, 3], better="higher").tau.value == 1


# --------------------------------------------------------------------------------------------------------- trend


@often
@given(phase, phase)
def test_every_variant_is_the_count_of_pairs_by_definition(a: list[float], b: list[float]) -> None:
    found, m, n = phase_trend(a, b, better="higher"), len(a), len(b)

    def pairs(values: list[float]) -> int:
        return sum(int(np.sign(y - x)) for x, y in itertools.combinations(values, 2))

    whole = pairs(a + b)
    assert found.between_phases + found.within_first + found.within_second == whole
    alike = phase_overlap(a, b, better="higher").tau.value
    assert found.tau.value == pytest.approx(alike, abs=1e-12)
    counted = found.between_phases - found.within_first
    assert found.minus_first_over_between.value == pytest.approx(counted / (m * n))
    assert found.minus_first_over_counted.value == pytest.approx(counted / (m * n + m * (m - 1) / 2))
    assert abs(float(found.minus_first_over_counted.value)) <= 1
    assert found.plus_second_over_all.value == pytest.approx((whole - 2 * pairs(a)) / ((m + n) * (m + n - 1) / 2))


@often
@given(phase, phase)
def test_trend_turns_over_with_the_direction(a: list[float], b: list[float]) -> None:
    up, down = phase_trend(a, b, better="higher"), phase_trend(a, b, better="lower")
    for one in ("tau", "minus_first_over_between", "minus_first_over_counted", "plus_second_over_all"):
        assert getattr(up, one).value == pytest.approx(-getattr(down, one).value)


def test_parkers_variant_can_pass_one() -> None:
    assert float(phase_trend([5, 4, 3, 2], [6, 7, 8], better="higher").minus_first_over_between.value) == 1.5


# ---------------------------------------------------------------------------------------------------------- lots


def test_without_a_p_that_can_reach_alpha_there_is_none_but_the_difference_stands() -> None:
    found = lot()
    assert found.test is None
    assert found.difference.test is None
    assert found.reasons["test"] == "7 possible draws allow no p below 0.14, so none of at most 0.05"
    assert found.difference.value == pytest.approx(4.9047619)
    assert "no p" in found.summary()
    given_ = lot(alpha=None)
    assert given_.test.p == pytest.approx(2 / 7)
    assert given_.difference.caveats == ("lot_cannot_reach",)


def test_twenty_possible_starts_reach_five_percent() -> None:
    values = [0.0] * 12 + [5.0] * 12
    found = phase_start_test(values, 13, range(3, 23), better="higher", unit="cm")
    assert (found.test.p, found.smallest_p, found.difference.caveats) == (0.05, 0.05, ())  # type: ignore[union-attr]


def test_the_difference_is_never_turned_but_p_is() -> None:
    up, down = lot(alpha=None), lot(alpha=None, better="lower")
    assert up.difference.value == down.difference.value
    assert (up.n_as_good, down.n_as_good) == (2, 6)
    assert lot(alpha=None, sides="two").test.p == up.test.p


def test_nothing_but_ties_gives_a_p_of_one() -> None:
    assert lot(values=[0.1 + 0.2, 0.3] + [0.3] * 11, alpha=None).test.p == 1


@often
@given(
    st.lists(st.integers(-30, 30), min_size=6, max_size=14),
    st.sampled_from(["higher", "lower"]),
    st.sampled_from(["one", "two"]),
    st.integers(0, 100),
)
def test_p_is_at_least_one_draw_and_the_unit_is_nothing(values: list[int], better: Any, sides: Any, pick: int) -> None:
    starts = range(3, len(values))
    start = starts[pick % len(starts)]
    rules: dict[str, Any] = {"better": better, "sides": sides, "alpha": None}
    found = phase_start_test(values, start, starts, unit="1", **rules)
    assert found.test is not None
    assert found.smallest_p <= found.test.p <= 1
    assert found.smallest_p == 1 / len(starts)
    moved = phase_start_test(np.array(values) * 0.1 + 7, start, starts, unit="cm", **rules)
    assert moved.test is not None
    assert moved.test.p == found.test.p


def test_under_every_draw_as_the_true_one_p_keeps_its_level() -> None:
    values, starts = [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7], range(3, 13)
    found = [phase_start_test(values, s, starts, better="higher", unit="1", alpha=None).test.p for s in starts]  # type: ignore[union-attr]
    assert all(sum(p <= level for p in found) <= level * len(starts) + 1e-9 for level in np.arange(1, 11) / 10)


SERIES = [[2, 3, 2, 6, 7, 6, 7, 6], [4, 3, 4, 3, 4, 8, 9, 8], [1, 2, 1, 2, 1, 2, 1, 6]]


def by_hand(starts: tuple[int, ...]) -> float:
    return float(np.mean([np.mean(y[s - 1 :]) - np.mean(y[: s - 1]) for y, s in zip(SERIES, starts, strict=True)]))


def test_fixed_starts_dealt_to_people_are_all_ways_to_deal_them() -> None:
    found = multiple_baseline_test(SERIES, [4, 6, 8], better="higher", unit="1", alpha=None)
    all_ways = [by_hand(way) for way in itertools.permutations((4, 6, 8))]
    assert found.difference.value == pytest.approx(by_hand((4, 6, 8)))
    assert (found.n_assignments, found.n_as_good) == (6, sum(x >= by_hand((4, 6, 8)) - 1e-9 for x in all_ways))
    assert found.difference.n_people == 3
    twice = multiple_baseline_test(SERIES, [4, 4, 8], better="higher", unit="1", alpha=None)
    assert twice.n_assignments == 3


def test_starts_of_their_own_are_every_combination() -> None:
    possible = [[3, 4, 5], [5, 6, 7], [6, 7, 8]]
    found = multiple_baseline_test(SERIES, [4, 6, 8], possible, better="higher", unit="1")
    every = [by_hand(way) for way in itertools.product(*possible)]
    assert (found.n_assignments, found.smallest_p) == (27, 1 / 27)
    assert found.test.p == pytest.approx(sum(x >= by_hand((4, 6, 8)) - 1e-9 for x in every) / 27)  # type: ignore[union-attr]


def test_the_order_of_people_is_nothing() -> None:
    possible = [[3, 4, 5], [5, 6, 7], [6, 7, 8]]
    there = multiple_baseline_test(SERIES, [4, 6, 8], possible, better="higher", unit="1")
    back = multiple_baseline_test(SERIES[::-1], [8, 6, 4], possible[::-1], better="higher", unit="1")
    assert (back.n_as_good, back.n_assignments) == (there.n_as_good, there.n_assignments)


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"start": 3}, "the start at value 3 is none of the possible ones"),
        ({"start": 7.5}, "counted from 1"),
        ({"start": "seven"}, "counted from 1"),
        ({"possible_starts": [7, 7, 8]}, "given twice"),
        ({"possible_starts": [1, 7]}, "leaves a phase without values"),
        ({"possible_starts": [7, 14]}, "leaves a phase without values"),
        ({"possible_starts": []}, "none of the possible ones"),
        ({"values": [*A, *B[:-1], math.nan]}, "series 1: 1 of 13 values missing"),
        ({"values": [*A, *B[:-1], math.inf]}, "infinite"),
        ({"values": ["x"] * 13}, "not all numbers"),
        ({"values": []}, "series 1: 0 values"),
        ({"alpha": 0}, "an alpha of 0"),
        ({"alpha": math.nan}, "an alpha of nan"),
        ({"sides": "both"}, "neither 'one' nor 'two'"),
        ({"better": "up"}, "neither 'higher' nor 'lower'"),
    ],
)
def test_what_no_lot_could_have_drawn_is_refused(changed: dict[str, Any], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        lot(**changed)


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda: multiple_baseline_test([], [], better="higher", unit="1"), "0 series and 0 starts"),
        (lambda: multiple_baseline_test(SERIES, [4, 6], better="higher", unit="1"), "3 series and 2 starts"),
        (
            lambda: multiple_baseline_test(SERIES, [4, 6, 8], [[4]], better="higher", unit="1"),
            "3 series and 1 lists of possible starts",
        ),
        (
            lambda: multiple_baseline_test([range(30)] * 5, [9] * 5, [range(3, 28)] * 5, better="higher", unit="1"),
            "more than 2,000,000 possible draws",
        ),
        (
            lambda: multiple_baseline_test([range(30)] * 12, range(9, 21), better="higher", unit="1"),
            "more than 2,000,000 possible draws",
        ),
    ],
)
def test_lots_that_do_not_fit_the_people_are_refused(call: Any, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        call()
