"""What must hold of dose and change for any people: order, unit of dose, shift of the outcome."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.dose_response import (
    curve_shortlist,
    left_out_prediction,
    repeated_measures_correlation,
    within_person_association,
)
from outcomes.models import limb_change, visit_model

SEEDS = st.integers(0, 10_000)
FEW = settings(max_examples=15, deadline=None, derandomize=True)


def cohort(seed: int, people: int = 12) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    first = 50 + 4 * rng.normal(size=people)
    dose = rng.uniform(100, 2000, size=people)
    return dose, 0.001 * dose + rng.normal(size=people), first


def visits(seed: int, people: int = 12) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    person, week = np.repeat(np.arange(people), 4), np.tile([0.0, 4.0, 8.0, 12.0], people)
    dose = np.cumsum(np.column_stack([np.zeros(people), rng.choice([0.0, 400.0], (people, 3))]), axis=1).ravel()
    value = 50 + (3 * rng.normal(size=people))[person] + 0.001 * dose + rng.normal(size=4 * people)
    return person, week, dose, value


def within(person: np.ndarray, week: np.ndarray, dose: np.ndarray, value: np.ndarray, per: float = 600.0):
    return within_person_association(person, week, dose, value, dose_unit="min", per=per, outcome_unit="cm")


@FEW
@given(SEEDS)
def test_curves_do_not_depend_on_the_order_of_people_the_unit_of_dose_or_the_zero_of_the_outcome(seed: int) -> None:
    dose, change, first = cohort(seed)
    order = np.random.default_rng(seed + 1).permutation(len(dose))
    options = {"dose_unit": "min", "outcome_unit": "cm"}
    plain = curve_shortlist(dose, change, baseline=first, **options)
    for other in (
        curve_shortlist(dose[order], change[order], baseline=first[order], **options),
        curve_shortlist(dose / 60, change, baseline=first, **options),
        curve_shortlist(dose, change + 7, baseline=first - 50, **options),
    ):
        weights = [curve.weight.value for curve in other.curves]
        assert weights == pytest.approx([curve.weight.value for curve in plain.curves], rel=1e-5)
        assert (other.ed50 is None) == (plain.ed50 is None)


@FEW
@given(SEEDS)
def test_the_within_person_association_scales_with_the_unit_of_dose_and_nothing_else(seed: int) -> None:
    person, week, dose, value = visits(seed)
    order = np.random.default_rng(seed + 1).permutation(len(dose))
    plain = within(person, week, dose, value)
    for other in (
        within(person[order], week[order], dose[order], value[order] - 40),
        within(person, week + 3, dose / 60, value, per=10.0),
    ):
        assert (other.within is None) == (plain.within is None)
        if plain.within is not None:
            assert other.within.value == pytest.approx(plain.within.value, rel=1e-4, abs=1e-6)
            assert other.within.test.p == pytest.approx(plain.within.test.p, rel=1e-3)


@FEW
@given(SEEDS)
def test_prediction_and_correlation_move_with_no_unit(seed: int) -> None:
    dose, change, first = cohort(seed)
    plain = left_out_prediction(dose, change, first, outcome_unit="cm")
    other = left_out_prediction(dose / 60, 10 * change + 3, 10 * first, outcome_unit="mm")
    assert other.gain.value == pytest.approx(plain.gain.value, rel=1e-6, abs=1e-9)
    assert other.dose_error.value == pytest.approx(10 * plain.dose_error.value)
    person, _, dose, value = visits(seed)
    r = repeated_measures_correlation(person, dose, value).correlation.value
    assert repeated_measures_correlation(person, dose / 60, 3 - value).correlation.value == pytest.approx(-r)


@FEW
@given(SEEDS)
def test_limbs_and_visits_shift_and_scale_with_the_outcome(seed: int) -> None:
    rng = np.random.default_rng(seed)
    person, limb = np.repeat(np.arange(8), 2), np.tile(["left", "right"], 8)
    change = np.repeat(rng.normal(size=8), 2) + 0.3 * rng.normal(size=16)
    kept = np.arange(16) != 5
    plain = limb_change(change[kept], person[kept], limb[kept], unit="cm").modelled
    other = limb_change(10 * change[kept] + 3, person[kept], limb[kept], unit="mm").modelled
    assert other.value == pytest.approx(10 * plain.value + 3)
    assert other.interval.high == pytest.approx(10 * plain.interval.high + 3, rel=1e-6)
    who, when = np.repeat(np.arange(8), 3), np.tile(["a", "b", "c"], 8)
    value = rng.normal(size=8)[who] + rng.normal(size=24)
    seen = np.arange(24) != 7
    options = {"visits": "abc", "compare": ("a", "c"), "unit": "cm"}
    one = visit_model(value[seen], who[seen], when[seen], **options).change
    two = visit_model(5 - value[seen], who[seen], when[seen], **options).change
    assert two.value == pytest.approx(-one.value, abs=1e-9)
