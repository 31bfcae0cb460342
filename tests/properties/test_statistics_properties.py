"""What holds for every data set: units scale, shifts and order do not matter, p is never 0, nothing is nan."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from outcomes.change import (
    benjamini_hochberg,
    benjamini_yekutieli,
    bonferroni,
    change_classes,
    holm,
    ordinal_change,
    paired_change,
    sign_flip_test,
    transition_table,
    wilcoxon_signed_rank,
)
from outcomes.dose_response import between_person_association, dose_time_collinearity
from outcomes.errors import DesignError
from outcomes.intervals import bca_interval, hodges_lehmann, noncentral_t_interval, wilson_interval
from outcomes.reliability import intraclass_correlations, measurement_error
from outcomes.result import Estimate

often = settings(max_examples=60, deadline=None, derandomize=True)
seldom = settings(max_examples=25, deadline=None, derandomize=True)

ICCS = ("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k")
ERRORS = (
    "standard_error_agreement",
    "standard_error_consistency",
    "within_person_standard_deviation",
    "mdc95",
    "mdc90",
)
readings = st.integers(-200, 200).map(lambda i: i / 10)


@st.composite
def tables(draw: st.DrawFn) -> np.ndarray:
    n, k = draw(st.integers(2, 7)), draw(st.integers(2, 4))
    return np.array(draw(st.lists(st.lists(readings, min_size=k, max_size=k), min_size=n, max_size=n)))


def vectors(low: int = 2, high: int = 14) -> st.SearchStrategy[np.ndarray]:
    return st.lists(readings, min_size=low, max_size=high).map(np.array)


@st.composite
def pairs(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    n = draw(st.integers(2, 12))
    return tuple(np.array(draw(st.lists(readings, min_size=n, max_size=n))) for _ in range(2))  # type: ignore[return-value]


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


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


def attempt(call: Any) -> Any:
    """Return the result, or None if the data are refused with a reason."""
    try:
        return call()
    except DesignError:
        return None


@often
@given(tables())
def test_no_table_gives_nan_and_what_is_undefined_has_a_reason(table: np.ndarray) -> None:
    icc = attempt(lambda: intraclass_correlations(table))
    error = attempt(lambda: measurement_error(table, unit="cm", scale="ratio"))
    for result in (icc, error):
        if result is None:
            continue
        assert not any(math.isnan(x) for x in numbers(result))
        for f in dataclasses.fields(result):
            if getattr(result, f.name) is None and not f.name.startswith("f_"):
                assert result.reasons[f.name]
    if icc is not None:
        assert all(getattr(icc, name) is None or getattr(icc, name).value <= 1 + 1e-12 for name in ICCS[:3])


@often
@given(tables(), st.sampled_from([0.1, 2.54, 1000.0]), st.integers(-50, 50))
def test_correlations_ignore_unit_and_shift_and_errors_scale_with_the_unit(
    table: np.ndarray, factor: float, shift: int
) -> None:
    first = attempt(lambda: intraclass_correlations(table))
    assume(first is not None)
    again = intraclass_correlations(table * factor + shift)
    for name in ICCS:
        a, b = getattr(first, name), getattr(again, name)
        assert (a is None) == (b is None)
        if a is not None:
            assert b.value == pytest.approx(a.value, rel=1e-6, abs=1e-6)
    error = attempt(lambda: measurement_error(table, unit="cm"))
    if error is not None:
        scaled = measurement_error(table * factor, unit="cm")
        for name in ERRORS:
            assert getattr(scaled, name).value == pytest.approx(factor * getattr(error, name).value, rel=1e-9)


@often
@given(tables(), st.randoms(use_true_random=False))
def test_the_order_of_people_and_occasions_does_not_matter(table: np.ndarray, random: Any) -> None:
    rows, columns = list(range(table.shape[0])), list(range(table.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    first, again = (attempt(lambda t=t: measurement_error(t, unit="cm")) for t in (table, table[rows][:, columns]))
    assert (first is None) == (again is None)
    if first is not None:
        for name in ERRORS:
            assert getattr(again, name).value == pytest.approx(getattr(first, name).value, rel=1e-9, abs=1e-9)


@often
@given(pairs())
def test_a_change_has_no_nan_and_every_gap_a_reason(both: tuple[np.ndarray, np.ndarray]) -> None:
    found = paired_change(*both, unit="cm", rng=rng())
    assert not any(math.isnan(x) or math.isinf(x) for x in numbers(found))
    for f in dataclasses.fields(found):
        if getattr(found, f.name) is None:
            assert found.reasons[f.name]
    assert found.mean.test.p >= 2.0 ** (1 - found.n_people)
    if found.mean.interval is None:
        assert found.reasons["mean.interval"]
    else:
        assert found.mean.interval.low <= found.mean.value <= found.mean.interval.high


@often
@given(pairs(), st.sampled_from([0.1, 2.54, 60.0]))
def test_swapping_the_visits_turns_over_and_a_unit_scales(both: tuple[np.ndarray, np.ndarray], factor: float) -> None:
    before, after = both
    there = paired_change(before, after, unit="cm", rng=rng())
    back = paired_change(after, before, unit="cm", rng=rng())
    scaled = paired_change(before * factor, after * factor, unit="mm", rng=rng())
    assert back.mean.value == pytest.approx(-there.mean.value, abs=1e-9)
    assert scaled.mean.value == pytest.approx(factor * there.mean.value, rel=1e-9, abs=1e-9)
    assert back.mean.test.p == scaled.mean.test.p == there.mean.test.p
    if there.d_z is not None:
        for name in ("d_z", "d_av"):
            value = getattr(there, name).value
            assert getattr(back, name).value == pytest.approx(-value, rel=1e-9, abs=1e-9)
            assert getattr(scaled, name).value == pytest.approx(value, rel=1e-6, abs=1e-9)


@often
@given(pairs(), st.randoms(use_true_random=False))
def test_the_order_of_people_does_not_matter_to_a_change(both: tuple[np.ndarray, np.ndarray], random: Any) -> None:
    order = list(range(len(both[0])))
    random.shuffle(order)
    first = paired_change(*both, unit="cm", rng=rng())
    again = paired_change(both[0][order], both[1][order], unit="cm", rng=rng())
    assert again.mean.value == pytest.approx(first.mean.value, abs=1e-9)
    assert (again.mean.interval is None) == (first.mean.interval is None)
    assert again.mean.test.p == pytest.approx(first.mean.test.p, rel=1e-9)


@often
@given(vectors(1, 16))
def test_a_sign_flip_p_is_a_count_of_sign_assignments(changes: np.ndarray) -> None:
    found = sign_flip_test(changes)
    assert found.test.exact
    assert found.smallest_p <= found.test.p + 1e-12
    assert found.test.p * found.n_assignments == pytest.approx(round(found.test.p * found.n_assignments), abs=1e-6)
    assert found.test.p <= 2 * min(found.p_higher, 1) + 1e-12 or found.test.p == 1 or changes.sum() < 0
    assert sign_flip_test(-changes).test.p == pytest.approx(found.test.p, rel=1e-12)


@often
@given(vectors(1, 16))
def test_rank_tests_turn_over_with_the_sign(changes: np.ndarray) -> None:
    there, back = (attempt(lambda c=c: wilcoxon_signed_rank(c)) for c in (changes, -changes))
    if there is None:
        assert not np.any(changes)
        return
    assert back.rank_biserial == -there.rank_biserial
    assert back.test.p == pytest.approx(there.test.p, rel=1e-12)
    assert there.rank_sum_rises + there.rank_sum_falls == pytest.approx(
        (len(changes) - there.n_zeros) * (len(changes) - there.n_zeros + 1) / 2
    )


@often
@given(vectors(1, 20))
def test_the_hodges_lehmann_interval_holds_its_estimate_and_lies_within_the_data(values: np.ndarray) -> None:
    found = hodges_lehmann(values)
    assert values.min() <= found.value <= values.max()
    if found.interval is not None:
        assert values.min() <= found.interval.low <= found.value <= found.interval.high <= values.max()
        assert found.attained_level >= 0.95 - 1e-12


@given(vectors(4, 20))
@seldom
def test_a_bca_interval_of_a_mean_lies_within_the_data(values: np.ndarray) -> None:
    found = attempt(lambda: bca_interval([values], lambda x: x.mean(axis=-1), resamples=1000, rng=rng()))
    if found is None:
        return
    dust = 1e-9
    assert values.min() - dust <= found.interval.low <= found.interval.high <= values.max() + dust


@given(st.floats(-60, 60), st.integers(1, 200))
@seldom
def test_the_noncentral_interval_mirrors_and_rises_with_t(t: float, df: int) -> None:
    here, mirrored = noncentral_t_interval(t, df), noncentral_t_interval(-t, df)
    assert (mirrored.low, mirrored.high) == (-here.high, -here.low)
    higher = noncentral_t_interval(t + 0.5, df)
    assert here.low < higher.low
    assert here.high < higher.high


@often
@given(st.integers(1, 300), st.data())
def test_a_wilson_interval_holds_its_share_and_mirrors(n: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, n))
    found, other = wilson_interval(count, n), wilson_interval(n - count, n)
    assert 0 <= found.low <= count / n <= found.high <= 1
    assert found.low == pytest.approx(1 - other.high, abs=1e-12)


@often
@given(st.lists(st.integers(0, 5), min_size=2, max_size=15), st.data())
def test_grades_add_up_and_turn_over(before: list[int], data: st.DataObject) -> None:
    after = data.draw(st.lists(st.integers(0, 5), min_size=len(before), max_size=len(before)))
    there = ordinal_change(before, after, levels=range(6))
    back = ordinal_change(after, before, levels=range(6))
    assert there.lower.value + there.same.value + there.higher.value == len(before)
    assert (back.lower.value, back.higher.value) == (there.higher.value, there.lower.value)
    assert back.hodges_lehmann.value == -there.hodges_lehmann.value
    counts = np.array(transition_table(before, after, levels=range(6)).counts)
    assert counts.sum() == len(before)
    np.testing.assert_array_equal(counts.T, transition_table(after, before, levels=range(6)).counts)
    assert not any(math.isnan(x) for x in numbers(there))


@often
@given(vectors(1, 20), st.integers(1, 100))
def test_classes_add_up_and_swap_with_the_direction(changes: np.ndarray, tenths: int) -> None:
    higher = change_classes(changes, mdc=tenths / 10, better="higher")
    lower = change_classes(changes, mdc=tenths / 10, better="lower")
    assert higher.better.value + higher.within.value + higher.other.value == len(changes)
    assert (lower.better.value, lower.other.value) == (higher.other.value, higher.better.value)
    beyond = np.round(np.abs(changes) * 10).astype(int) >= tenths
    assert higher.better.value + higher.other.value == beyond.sum()


@often
@given(st.lists(st.floats(1e-9, 1.0), min_size=1, max_size=20))
def test_adjusted_p_values_keep_order_and_bounds(p: list[float]) -> None:
    by_holm, by_bh = holm(p), benjamini_hochberg(p)
    for raw, strict, mild in zip(p, by_holm, by_bh, strict=True):
        assert raw <= mild <= strict * (1 + 1e-12)
        assert strict <= min(1.0, len(p) * raw * (1 + 1e-12))
    order = np.argsort(p)
    assert np.all(np.diff(np.array(by_holm)[order]) >= 0)
    assert np.all(np.diff(np.array(by_bh)[order]) >= 0)
    for mild, strict in ((by_bh, benjamini_yekutieli(p)), (by_holm, bonferroni(p))):
        assert all(a <= b * (1 + 1e-12) <= 1 + 1e-12 for a, b in zip(mild, strict, strict=True))
        assert np.all(np.diff(np.array(strict)[order]) >= 0)


@given(st.integers(10, 20), st.data())
@seldom
def test_a_dose_slope_scales_with_its_units_and_ignores_the_order_of_people(n: int, data: st.DataObject) -> None:
    dose, change, baseline = (np.array(data.draw(st.lists(readings, min_size=n, max_size=n))) for _ in range(3))
    options: dict[str, Any] = {"dose_unit": "min", "outcome_unit": "cm", "resamples": 199}
    first = attempt(lambda: between_person_association(dose, change, baseline, per=1.0, rng=rng(), **options))
    assume(first is not None)
    assert not any(math.isnan(x) for x in numbers(first))
    assert first.slope.test.p >= 1 / 200
    scaled = between_person_association(60 * dose, 10 * change, 10 * baseline, per=60.0, rng=rng(), **options)
    assert scaled.slope.value == pytest.approx(10 * first.slope.value, rel=1e-6, abs=1e-9)
    order = np.argsort(dose, kind="stable")
    again = between_person_association(dose[order], change[order], baseline[order], per=1.0, rng=rng(), **options)
    assert again.slope.value == pytest.approx(first.slope.value, rel=1e-6, abs=1e-9)
    assert isinstance(again.slope, Estimate)


@often
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 9), readings), min_size=1, max_size=30))
def test_dose_and_time_are_correlated_or_refused_and_never_nan(rows: list[tuple[int, int, float]]) -> None:
    person, time, dose = zip(*rows, strict=True)
    found = attempt(lambda: dose_time_collinearity(person, time, dose))
    if found is None:
        return
    assert -1 <= found.within_person_r.value <= 1
    assert found.vif.value >= 1
    assert found.separable == (found.vif.value <= 10)
    assert not any(math.isnan(x) for x in numbers(found))
