"""What holds for any change: swaps turn signs over, units scale, order does not matter, p is never 0, no nan."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from outcomes.change import (
    analysis_of_covariance,
    difference_of_changes,
    distribution_based_change,
    important_change,
    number_needed_to_treat,
    paired_effect_sizes,
    paired_rank_sizes,
    percent_change,
    pre_post_control,
    rank_comparison,
    reliable_change,
    two_group_effect_sizes,
)
from outcomes.errors import DesignError
from outcomes.intervals import bca_of_two_groups, newcombe_interval, participant_slope

often = settings(max_examples=50, deadline=None, derandomize=True)
seldom = settings(max_examples=15, deadline=None, derandomize=True)
readings = st.integers(-200, 200).map(lambda i: i / 10)
grades = st.integers(0, 5)


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def lists(of: st.SearchStrategy[Any], low: int, high: int) -> st.SearchStrategy[np.ndarray]:
    return st.lists(of, min_size=low, max_size=high).map(lambda found: np.array(found, dtype=float))


@st.composite
def pairs(draw: st.DrawFn, low: int = 2, high: int = 12) -> tuple[np.ndarray, np.ndarray]:
    n = draw(st.integers(low, high))
    return tuple(np.array(draw(st.lists(readings, min_size=n, max_size=n))) for _ in range(2))  # type: ignore[return-value]


def attempt(call: Any) -> Any:
    """Return the result, or None if the data are refused with a reason."""
    try:
        return call()
    except DesignError:
        return None


def numbers(result: Any) -> list[float]:
    """Return every number in a result, however deep."""
    if isinstance(result, bool | str) or result is None:
        return []
    if isinstance(result, int | float):
        return [float(result)]
    if isinstance(result, dict):
        return [x for value in result.values() for x in numbers(value)]
    if isinstance(result, tuple | list):
        return [x for value in result for x in numbers(value)]
    assert dataclasses.is_dataclass(result), type(result)
    return [x for f in dataclasses.fields(result) for x in numbers(getattr(result, f.name))]


def p_values(result: Any) -> list[float]:
    """Return every p in a result, however deep."""
    if isinstance(result, dict):
        return [p for value in result.values() for p in p_values(value)]
    if not dataclasses.is_dataclass(result):
        return []
    own = [result.p] if hasattr(result, "p") else []  # type: ignore[attr-defined]
    return own + [p for f in dataclasses.fields(result) for p in p_values(getattr(result, f.name))]


@seldom
@given(pairs(2, 9), pairs(2, 9))
def test_nothing_is_nan_and_no_p_is_0(one: tuple, two: tuple) -> None:
    before, after = one
    group = ["a", "b"] * len(before)
    flags = np.arange(len(before)) % 2 == 0
    calls = [
        lambda: paired_effect_sizes(before, after, rng=rng(), resamples=1000),
        lambda: paired_rank_sizes(after - before),
        lambda: percent_change(before, after, scale="ratio"),
        lambda: reliable_change(before, after, standard_error=0.5, degrees_of_freedom=4),
        lambda: two_group_effect_sizes(one[0], two[0]),
        lambda: rank_comparison(one[0], two[0]),
        lambda: difference_of_changes(one[0], two[0], unit="cm"),
        lambda: pre_post_control(*one, *two, rng=rng(), resamples=1000),
        lambda: analysis_of_covariance(before, after, group[: len(before)], reference="a", unit="cm"),
        lambda: analysis_of_covariance(before, after, group[: len(before)], reference="a", unit="cm", spread="hc3"),
        lambda: important_change(before, flags, unit="cm", rng=rng(), resamples=1000),
        lambda: distribution_based_change(before, unit="cm"),
    ]
    for call in calls:
        result = attempt(call)
        if result is not None:
            assert not [x for x in numbers(result) if math.isnan(x)]
            assert all(0 < p <= 1 for p in p_values(result))
            assert "nan" not in result.summary()


@often
@given(lists(readings, 3, 10), lists(readings, 3, 10))
def test_swapping_two_groups_turns_every_size_over(first: np.ndarray, second: np.ndarray) -> None:
    there, back = (
        attempt(lambda a=a, b=b: two_group_effect_sizes(a, b)) for a, b in ((first, second), (second, first))
    )
    if there is not None and back is not None:
        assert math.isclose(back.d_s.value, -there.d_s.value, abs_tol=1e-9)
        assert math.isclose(back.d_s.interval.low, -there.d_s.interval.high, rel_tol=1e-9, abs_tol=1e-9)
    forward, reverse = rank_comparison(first, second), rank_comparison(second, first)
    assert math.isclose(reverse.cliff_dominance.value, -forward.cliff_dominance.value, abs_tol=1e-12)
    assert math.isclose(reverse.common_language.value, 1 - forward.common_language.value, abs_tol=1e-12)
    assert math.isclose(reverse.cliff_dominance.test.p, forward.cliff_dominance.test.p, rel_tol=1e-9)
    assert -1 <= forward.cliff_dominance.interval.low <= forward.cliff_dominance.value + 1e-12
    assert forward.cliff_dominance.interval.high <= 1


@often
@given(lists(grades, 2, 8), lists(grades, 2, 8))
def test_a_rank_sum_p_is_at_least_the_smallest_that_the_groups_allow(first: np.ndarray, second: np.ndarray) -> None:
    found = rank_comparison(first, second)
    assert found.cliff_dominance.test.p >= found.smallest_p * (1 - 1e-9)
    assert found.smallest_p >= 1 / math.comb(len(first) + len(second), len(first)) * (1 - 1e-9)


@often
@given(pairs(6, 14), st.integers(0, 1000), st.sampled_from([0.01, 10.0, 1000.0]))
def test_a_comparison_given_the_first_value_knows_units_and_no_order(one: tuple, seed: int, factor: float) -> None:
    before, after = one
    group = np.array((["a", "b"] * len(before))[: len(before)])
    fit = attempt(lambda: analysis_of_covariance(before, after, group, reference="a", unit="cm"))
    assume(fit is not None)
    of_change = attempt(lambda: analysis_of_covariance(before, after - before, group, reference="a", unit="cm"))
    assert of_change is not None
    scale = max(1.0, abs(fit.slope.value))
    assert math.isclose(of_change.slope.value, fit.slope.value - 1, abs_tol=1e-7 * scale)
    size = max(abs(fit.difference["b"].value), 1.0)
    assert math.isclose(of_change.difference["b"].value, fit.difference["b"].value, abs_tol=1e-7 * size)
    order = np.random.default_rng(seed).permutation(len(before))
    mixed = analysis_of_covariance(before[order], after[order], group[order], reference="a", unit="cm")
    assert math.isclose(mixed.difference["b"].value, fit.difference["b"].value, abs_tol=1e-7 * size)
    other = analysis_of_covariance(before * factor, after * factor, group, reference="a", unit="mm")
    assert math.isclose(other.difference["b"].value, fit.difference["b"].value * factor, abs_tol=1e-7 * size * factor)
    assert math.isclose(other.difference["b"].test.p, fit.difference["b"].test.p, rel_tol=1e-5, abs_tol=1e-300)


@often
@given(pairs(3, 12), st.sampled_from([0.1, 10.0, -1.0, -3.0]))
def test_sizes_have_no_unit_and_turn_over_with_the_scale(one: tuple, factor: float) -> None:
    here = paired_effect_sizes(*one, rng=rng())
    there = paired_effect_sizes(one[0] * factor, one[1] * factor, rng=rng())
    for name in ("d_z", "hedges_g", "d_av", "d_rms", "d_rm", "d_before", "g_before"):
        a, b = getattr(here, name), getattr(there, name)
        assert (a is None) is (b is None)
        if a is not None:
            assert math.isclose(b.value, math.copysign(1, factor) * a.value, rel_tol=1e-6, abs_tol=1e-9)


@often
@given(st.integers(1, 40), st.integers(1, 40), st.data())
def test_a_difference_of_shares_lies_in_its_interval_and_the_number_is_its_inverse(
    n: int, m: int, data: st.DataObject
) -> None:
    a, b = data.draw(st.integers(0, n)), data.draw(st.integers(0, m))
    interval = newcombe_interval(a, n, b, m)
    assert -1 <= interval.low <= a / n - b / m + 1e-12
    assert a / n - b / m - 1e-12 <= interval.high <= 1
    found, back = number_needed_to_treat(a, n, b, m), number_needed_to_treat(b, m, a, n)
    assert found.straddles is (interval.low <= 0 <= interval.high)
    assert ("infin" in found.summary()) is found.straddles
    if found.number is None:
        assert a * m == b * n
    else:
        assert math.isclose(found.number.value * found.difference.value, 1)
        assert math.isclose(back.number.value, -found.number.value)


@seldom
@given(lists(readings, 4, 12), lists(readings, 4, 12))
def test_a_bootstrap_of_a_difference_stays_within_what_the_data_allow(first: np.ndarray, second: np.ndarray) -> None:
    def difference(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.asarray(a.mean(axis=-1) - b.mean(axis=-1))

    found = attempt(lambda: bca_of_two_groups([first], [second], difference, resamples=1000, rng=rng()))
    if found is not None:
        assert first.min() - second.max() - 1e-9 <= found.interval.low
        assert found.interval.high <= first.max() - second.min() + 1e-9


@seldom
@given(st.integers(3, 8), st.integers(0, 1000))
def test_the_slope_over_participants_knows_no_order_of_rows(people: int, seed: int) -> None:
    draw = np.random.default_rng(seed)
    who, when = np.repeat(np.arange(people), 3), np.tile([0.0, 4.0, 8.0], people)
    value = np.round(50 + 0.1 * when + draw.normal(size=3 * people), 1)
    order = draw.permutation(3 * people)
    found = participant_slope(who, when, value, rng=rng(), resamples=1000)
    mixed = participant_slope(who[order], when[order], value[order], rng=rng(), resamples=1000)
    assert math.isclose(found.value, mixed.value, rel_tol=1e-9, abs_tol=1e-12)
    assert math.isclose(found.interval.low, mixed.interval.low, rel_tol=1e-9, abs_tol=1e-9)
    assert math.isclose(found.value, np.polyfit(when, value, 1)[0], rel_tol=1e-9, abs_tol=1e-9)


@often
@given(pairs(2, 10), st.floats(0.1, 20))
def test_a_larger_error_never_makes_more_people_change_reliably(one: tuple, error: float) -> None:
    small, large = (reliable_change(*one, standard_error=error * k) for k in (1, 1.5))
    assert large.better.value <= small.better.value
    assert large.other.value <= small.other.value
    assert small.better.value + small.within.value + small.other.value == small.n_people
