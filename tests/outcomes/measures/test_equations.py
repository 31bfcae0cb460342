"""Reference equations: the printed examples, and refusal outside what they were derived from."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.errors import DesignError, UsageError
from outcomes.measures import (
    age_predicted_peak_heart_rate,
    at_or_above,
    muscle_size,
    six_minute_walk_reference,
    spirometry_reference,
    target_heart_rate,
)

MAN: dict[str, Any] = {"sex": "male", "age_years": 60, "height_cm": 175, "body_mass_kg": 80}
WOMAN: dict[str, Any] = {"sex": "female", "age_years": 60, "height_cm": 162, "body_mass_kg": 65}
OLDER_WOMAN: dict[str, Any] = {"sex": "female", "age_years": 75, "height_cm": 158, "body_mass_kg": 70}
HOUSH = {"mid_thigh_girth": 50, "anterior_thigh_skinfold": 10}


@pytest.mark.parametrize(
    ("person", "distance", "predicted", "percent"),
    [
        # worked out from the coefficients in Singh et al. (2014) Eur Respir J, table 5
        pytest.param(MAN, 402, 573.75, 70.07, id="sixmwt_01"),
        pytest.param(WOMAN, 402, 513.17, 78.34, id="sixmwt_02"),
        pytest.param(OLDER_WOMAN, 250, 406.58, 61.49, id="sixmwt_04"),
    ],
)
def test_the_walk_of_a_healthy_person(
    person: dict[str, Any], distance: float, predicted: float, percent: float
) -> None:
    found = six_minute_walk_reference(**person)
    assert found.predicted == pytest.approx(predicted, abs=0.005)
    assert found.percent(distance) == pytest.approx(percent, abs=0.005)
    assert found.status == "VERIFIED"


def test_the_lower_limit_of_the_walk_is_said_to_be_from_memory() -> None:
    found = six_minute_walk_reference(**MAN)
    assert found.lower_limit == pytest.approx(573.75 - 153)
    assert any("from memory" in caveat for caveat in found.caveats)
    with pytest.raises(DesignError, match="no standard error"):
        found.z(402)


def test_an_age_for_which_it_was_not_derived_is_refused_or_said_to_be_extrapolated() -> None:
    young = MAN | {"age_years": 30, "height_cm": 180}
    with pytest.raises(DesignError, match="age 30 lies outside 40 to 80 years"):
        six_minute_walk_reference(**young)
    found = six_minute_walk_reference(**young, extrapolate=True)
    # 7.57 x 180 - 5.02 x 30 - 1.76 x 80 - 309
    assert found.predicted == pytest.approx(762.2, abs=0.005)
    assert "extrapolated: age 30 lies outside 40 to 80 years" in found.caveats[-1]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"height_cm": 1.75}, "height_cm: found 1.75, expected 120 to 230"),
        ({"sex": "other"}, "expected female or male"),
        ({"body_mass_kg": 8}, "body_mass_kg: found 8"),
    ],
)
def test_metres_and_what_has_no_equation_are_faults_of_use(change: dict[str, Any], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        six_minute_walk_reference(**(MAN | change))


def test_volumes_of_the_canadian_equation() -> None:
    # worked out from (2011) Can Respir J 18:321-326, table 4
    person: dict[str, Any] = {"sex": "male", "age_years": 40, "height_cm": 178}
    capacity = spirometry_reference("fvc", **person)
    assert capacity.predicted == pytest.approx(5.26177, abs=5e-6)
    assert capacity.percent(2.9) == pytest.approx(55.1145, abs=5e-5)
    assert capacity.lower_limit == pytest.approx(4.21626, abs=5e-6)
    assert capacity.z(2.9) == pytest.approx(-3.716, abs=5e-4)
    assert spirometry_reference("fev1", **person).predicted == pytest.approx(4.16629, abs=5e-6)
    with pytest.raises(DesignError, match="age 19 lies outside 20 to 90"):
        spirometry_reference("fvc", sex="male", age_years=19, height_cm=178)


def test_volumes_of_the_european_equation_say_that_they_are_from_memory() -> None:
    # worked out from coefficients that are themselves from memory
    found = spirometry_reference("fvc", sex="male", age_years=40, height_cm=178, equation="europe_1993")
    assert found.predicted == pytest.approx(4.8728, abs=5e-5)
    assert (found.status, found.caveats[0][:11]) == ("MEMORY", "from memory")
    found = spirometry_reference("fev1", sex="male", age_years=40, height_cm=178, equation="europe_1993")
    assert found.predicted == pytest.approx(4.004, abs=5e-4)
    young = [
        spirometry_reference("fvc", sex="female", age_years=age, height_cm=165, equation="europe_1993").predicted
        for age in (18, 25)
    ]
    assert young[0] == young[1]
    with pytest.raises(UsageError, match="no equation for fev1_of_fvc of europe_1993"):
        spirometry_reference("fev1_of_fvc", sex="female", age_years=40, height_cm=165, equation="europe_1993")


@pytest.mark.parametrize(("equation", "peak"), [("fox", 180), ("tanaka", 180)])
def test_peak_heart_rate_from_age(equation: Any, peak: float) -> None:
    # 220 - 40 and 208 - 0.7 x 40 (Robergs & Landwehr 2002, as quoted)
    found = age_predicted_peak_heart_rate(age_years=40, neurological_level="", equation=equation)
    assert found.predicted == pytest.approx(peak)


@pytest.mark.parametrize("level", ["C4", "T1", "T6", "c8"])
def test_no_peak_heart_rate_is_predicted_at_or_above_t6(level: str) -> None:
    with pytest.raises(DesignError, match="lesion at or above T6"):
        age_predicted_peak_heart_rate(age_years=40, neurological_level=level)
    assert age_predicted_peak_heart_rate(age_years=40, neurological_level="T7").predicted == pytest.approx(180)


@pytest.mark.parametrize("level", ["C9", "T13", "X1", "6"])
def test_a_level_that_is_none_is_refused(level: str) -> None:
    with pytest.raises(UsageError, match="neurological level"):
        at_or_above(level)
    assert at_or_above("S4-5") is False


def test_a_share_of_the_reserve() -> None:
    assert target_heart_rate(rest=60, peak=120, share=0.5) == 90  # 60 + 0.5 (120 - 60)
    for rest, peak, share in ((60, 60, 0.5), (60, 120, 50)):
        with pytest.raises(UsageError):
            target_heart_rate(rest=rest, peak=peak, share=share)


def test_muscle_size_is_that_of_the_catalogue_and_refused_where_it_does_not_hold() -> None:
    assert muscle_size("thigh_csa_housh", HOUSH)["quadriceps"] == pytest.approx(68.37)  # 2.52 x 50 - 1.25 x 10 - 45.13
    with pytest.raises(DesignError, match="does not hold below a spinal cord injury"):
        muscle_size("thigh_csa_housh", HOUSH, spinal_cord_injury=True)
    with pytest.raises(DesignError, match="is outside 0 to 400"):
        muscle_size("thigh_csa_housh", {"mid_thigh_girth": 30, "anterior_thigh_skinfold": 40})
    with pytest.raises(DesignError, match="must be checked on Knapik"):
        muscle_size("thigh_csa_knapik", {"thigh_girth": 55, "quadriceps_skinfold": 1.2, "epicondyle_breadth": 9.5})
    with pytest.raises(UsageError, match="no equation 'limb_girth'"):
        muscle_size("limb_girth", {})
