"""What the small functions refuse; their values are in the published cases."""

from __future__ import annotations

import math

import pytest

from outcomes.dose import (
    difference_over_sum,
    left_share,
    mechanical_kcal,
    metabolic_kcal,
    paretic_share,
    percent_asymmetry,
    symmetry_angle,
    symmetry_index,
    weak_over_strong,
    work_from_mean_power,
    work_rate,
)
from outcomes.errors import DesignError

INDICES = (
    left_share,
    paretic_share,
    difference_over_sum,
    symmetry_index,
    percent_asymmetry,
    weak_over_strong,
    symmetry_angle,
)


@pytest.mark.parametrize("index", INDICES)
def test_nothing_on_both_sides_or_an_unknown_side_is_missing(index) -> None:
    assert math.isnan(index(0.0, 0.0))
    assert math.isnan(index(math.nan, 8.0))
    assert math.isnan(index(12.0, math.nan))


@pytest.mark.parametrize("index", INDICES)
def test_a_motor_driven_side_is_refused(index) -> None:
    with pytest.raises(DesignError, match="motor"):
        index(-1.0, 8.0)
    with pytest.raises(DesignError, match="motor"):
        index(8.0, -1.0)


@pytest.mark.parametrize(
    ("index", "even", "left_alone"),
    [
        (left_share, 50, 100),
        (paretic_share, 50, 100),
        (difference_over_sum, 0, 100),
        (symmetry_index, 0, 200),
        (percent_asymmetry, 0, 100),
        (weak_over_strong, 100, 0),
        (symmetry_angle, 0, -50),
    ],
)
def test_even_sides_and_one_side_alone(index, even, left_alone) -> None:
    # the ends of each formula, by hand
    assert index(10.0, 10.0) == even
    assert index(10.0, 0.0) == left_alone


@pytest.mark.parametrize("efficiency", [0, -0.1, 1.01, 8, math.nan])
def test_an_impossible_efficiency_is_refused(efficiency) -> None:
    with pytest.raises(DesignError, match="gross efficiency"):
        metabolic_kcal(18, gross_efficiency=efficiency)


@pytest.mark.parametrize("value", [-1.0, math.nan])
def test_motor_driven_or_missing_values_are_refused(value) -> None:
    for call in (
        lambda: work_from_mean_power(value, 60),
        lambda: work_from_mean_power(10, value),
        lambda: work_rate(value, 30),
        lambda: work_rate(18, value),
        lambda: mechanical_kcal(value),
    ):
        with pytest.raises(DesignError, match="missing or negative"):
            call()


def test_work_in_no_time_has_no_rate() -> None:
    with pytest.raises(DesignError, match="no active time"):
        work_rate(18, 0)
