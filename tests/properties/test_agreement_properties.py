"""What holds for any repeat tests: order, unit and names do not matter, what is undefined is refused, nothing is
nan."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from outcomes.errors import DesignError
from outcomes.reliability import (
    cohen_kappa,
    gwet_agreement,
    incomplete_intraclass_correlations,
    krippendorff_alpha,
    limits_of_agreement,
    precision_error,
    replicate_limits_of_agreement,
    retest_tally,
)

often, seldom = settings(max_examples=60), settings(max_examples=15)
readings = st.integers(-500, 500).map(lambda i: i / 10)
gaps = st.one_of(readings, st.just(math.nan))


@st.composite
def tables(draw: st.DrawFn, values: Any = readings, most: int = 4) -> np.ndarray:
    n, k = draw(st.integers(1, 10)), draw(st.integers(1, most))
    return np.array(draw(st.lists(st.lists(values, min_size=k, max_size=k), min_size=n, max_size=n)))


def attempt(call: Any) -> Any:
    """Return the result, or None where it is refused with a reason."""
    try:
        return call()
    except DesignError:
        return None


@seldom
@given(tables(gaps, most=2))
def test_correlations_with_gaps_are_at_most_1_and_never_nan(table: np.ndarray) -> None:
    found = attempt(lambda: incomplete_intraclass_correlations(table))
    if found is None:
        return
    for name in ("icc_1_1", "icc_a_1", "icc_c_1"):
        estimate = getattr(found, name)
        assert estimate is None or (math.isfinite(estimate.value) and estimate.value <= 1 + 1e-9)
        assert estimate is not None or found.reasons[name]


@often
@given(tables(most=2), st.sampled_from([0.1, 2.54, 60.0]), st.randoms(use_true_random=False))
def test_limits_scale_with_the_unit_turn_with_the_order_and_ignore_that_of_people(
    table: np.ndarray, factor: float, random: Any
) -> None:
    assume(table.shape[1] == 2)
    first, second = table.T
    here = attempt(lambda: limits_of_agreement(first, second, unit="cm"))
    if here is None:
        return
    order = list(range(len(table)))
    random.shuffle(order)
    there = limits_of_agreement(factor * second[order], factor * first[order], unit="mm")
    assert there.upper.value == pytest.approx(-factor * here.lower.value, rel=1e-9, abs=1e-9)
    assert here.lower.interval.low < here.lower.value < here.bias.value < here.upper.value < here.upper.interval.high


@often
@given(tables(gaps), tables(gaps))
def test_limits_from_replicates_hold_their_values_or_are_refused(first: np.ndarray, second: np.ndarray) -> None:
    n = min(len(first), len(second))
    found = attempt(lambda: replicate_limits_of_agreement(first[:n], second[:n], unit="cm"))
    if found is not None:
        for estimate in (found.bias, found.standard_deviation, found.lower, found.upper):
            assert estimate.interval.low <= estimate.value <= estimate.interval.high


@often
@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=1, max_size=20),
    st.sampled_from(["plain", "linear", "quadratic"]),
)
def test_kappa_is_the_same_both_ways_and_for_a_scale_turned_over(pairs: list, weights: str) -> None:
    first, second = zip(*pairs, strict=True)
    here = attempt(lambda: cohen_kappa(first, second, grades=range(5), weights=weights))
    back = attempt(lambda: cohen_kappa(second, first, grades=range(5), weights=weights))
    turned = attempt(lambda: cohen_kappa(first, second, grades=range(4, -1, -1), weights=weights))
    assert (here is None) == (back is None) == (turned is None)
    if here is not None:
        assert here.kappa.value <= 1
        assert back.kappa.value == pytest.approx(here.kappa.value, abs=1e-12)
        assert turned.kappa.value == pytest.approx(here.kappa.value, abs=1e-12)
        assert here.kappa.test is None or 0 < here.kappa.test.p <= 1


@often
@given(tables(st.one_of(st.integers(0, 4).map(float), st.just(math.nan))), st.randoms(use_true_random=False))
def test_agreement_of_several_ignores_the_order_of_raters_and_people(table: np.ndarray, random: Any) -> None:
    rows, columns = list(range(table.shape[0])), list(range(table.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    moved = table[rows][:, columns]
    for call in (
        lambda t: gwet_agreement(t, grades=range(5)),
        lambda t: gwet_agreement(t, grades=range(5), weights="quadratic"),
        lambda t: krippendorff_alpha(t, grades=range(5)),
        lambda t: krippendorff_alpha(t, grades=range(5), metric="nominal"),
    ):
        here, there = attempt(lambda c=call: c(table)), attempt(lambda c=call: c(moved))
        assert (here is None) == (there is None)
        if here is not None:
            assert here.coefficient.value <= 1 + 1e-12
            assert there.coefficient.value == pytest.approx(here.coefficient.value, abs=1e-9)


@often
@given(tables(gaps), st.sampled_from([0.1, 1000.0]))
def test_a_precision_error_scales_with_the_unit(table: np.ndarray, factor: float) -> None:
    here = attempt(lambda: precision_error(table, unit="kg"))
    if here is not None:
        there = precision_error(factor * table, unit="g")
        assert there.precision_error.value == pytest.approx(factor * here.precision_error.value, rel=1e-9)
        assert here.precision_error.value < here.upper_bound


@often
@given(st.integers(2, 200), st.integers(2, 5), st.floats(0.05, 1.0))
def test_more_people_know_the_error_better(n: int, occasions: int, margin: float) -> None:
    few, more = (retest_tally(k, margin=margin, occasions=occasions) for k in (n, n + 1))
    assert more.high_ratio < few.high_ratio
    assert few.low_ratio < 1 < few.high_ratio
    assert (few.n_missing == 0) == (few.high_ratio <= 1 + margin)
