"""Units: exact factors, no conversion between kinds, every suffix of the vocabulary known."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.errors import DesignError
from outcomes.units import SUFFIX_UNITS, column_unit, conversion_factor, printed_unit, unit_code

FACTORS = [
    # International yard and pound agreement, 1959: 1 yd = 0.9144 m, 1 lb = 0.45359237 kg, both exact.
    ("in", "cm", 2.54),
    ("ft", "in", 12.0),
    ("lb", "kg", 0.45359237),
    ("mi", "km", 1.609344),
    # Standard gravity, 9.80665 m/s2 exactly (General Conference on Weights and Measures, 1901).
    ("kgf", "N", 9.80665),
    ("lbf", "kgf", 0.45359237),
    # Thermochemical calorie, 4.184 J exactly (NIST SP 811, appendix B.8).
    ("kcal", "kJ", 4.184),
    # SI prefixes and units accepted with the SI (BIPM SI Brochure, 9th ed., tables 7 and 8).
    ("h", "min", 60.0),
    ("d", "h", 24.0),
    ("Wh", "kJ", 3.6),
    ("mC", "C", 0.001),
    ("us", "ms", 0.001),
    ("km/h", "m/s", 0.277777777777778),
    ("in2", "cm2", 6.4516),
    ("%", "1", 0.01),
    ("a", "mo", 12.0),
]


@pytest.mark.parametrize(("given_unit", "wanted", "factor"), FACTORS)
def test_factors_are_those_of_the_standards(given_unit: str, wanted: str, factor: float) -> None:
    assert conversion_factor(given_unit, wanted) == factor


@pytest.mark.parametrize(("given_unit", "wanted"), [row[:2] for row in FACTORS])
def test_there_and_back_again_is_one(given_unit: str, wanted: str) -> None:
    there, back = conversion_factor(given_unit, wanted), conversion_factor(wanted, given_unit)
    assert there * back == pytest.approx(1, rel=1e-14)


@pytest.mark.parametrize(
    ("spelling", "code"),
    [("inches", "in"), (" LBS ", "lb"), ("µs", "us"), ("μs", "us"), ("Minutes", "min"), ("kJ", "kJ"), ("percent", "%")],
)
def test_a_clinic_may_spell_a_unit_its_own_way(spelling: str, code: str) -> None:
    assert unit_code(spelling) == code


def test_milli_and_mega_are_never_confused() -> None:
    with pytest.raises(DesignError, match="'MA' is not known"):
        conversion_factor("MA", "mA")


def test_an_unknown_unit_is_refused_with_a_near_word() -> None:
    with pytest.raises(DesignError, match=r"unit 'kcall' is not known; did you mean 'kcal'\?"):
        conversion_factor("kcall", "kJ")


def test_a_unit_of_another_kind_is_refused() -> None:
    with pytest.raises(DesignError, match="'cm' cannot be turned into 'kg'"):
        conversion_factor("cm", "kg")


@given(st.sampled_from(sorted(set(SUFFIX_UNITS.values()))))
def test_every_unit_of_the_vocabulary_converts_to_itself(unit: str) -> None:
    assert conversion_factor(unit, unit) == 1.0


def test_a_column_ends_in_its_unit() -> None:
    assert column_unit("active_minutes") == "min"
    assert column_unit("electrode_area_cm2") == "cm2"
    assert column_unit("months_since_onset") == "mo"
    assert column_unit("minutes") == ""
    assert column_unit("neurological_level") == ""


def test_units_are_printed_as_readers_know_them() -> None:
    assert printed_unit("us") == "µs"
    assert printed_unit("1") == ""
    assert printed_unit("cm") == "cm"
