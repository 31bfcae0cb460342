"""Reference equations: what a healthy person of that sex, age and size would reach, and for whom each holds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from outcomes.errors import DesignError, UsageError
from outcomes.result import Result

Sex = Literal["female", "male"]


@dataclass(frozen=True, slots=True)
class _Linear:
    """One published equation: predicted = constant + sum of coefficient x size, for one sex."""

    constant: float
    age_years: float
    height_cm: float = 0.0
    body_mass_kg: float = 0.0
    below: float | None = None
    error: float | None = None


@dataclass(frozen=True, slots=True)
class _Equation:
    """One published equation with the people that it holds for."""

    name: str
    unit: str
    by_sex: Mapping[str, _Linear]
    ages: tuple[float, float]
    source: str
    status: str
    caveats: tuple[str, ...] = ()


_ERJ = "by way of Singh et al. (2014) Eur Respir J, table 5"
_WALK = _Equation(
    name="Enright and Sherrill 1998",
    unit="m",
    by_sex={
        "male": _Linear(constant=-309, height_cm=7.57, age_years=-5.02, body_mass_kg=-1.76, below=153),
        "female": _Linear(constant=667, height_cm=2.11, age_years=-5.78, body_mass_kg=-2.29, below=139),
    },
    ages=(40, 80),
    source=f"Enright PL, Sherrill DL (1998) Am J Respir Crit Care Med 158:1384-1387, {_ERJ}",
    status="VERIFIED",
    caveats=(
        "117 healthy men, 173 healthy women; after spinal cord injury the percentage is a distance from a healthy norm",
        "the lower limit (153 m and 139 m below) is from memory",
    ),
)

_CANADA = {
    "source": "Canadian adults, n = 1656 (2011) Can Respir J 18:321-326, table 4",
    "status": "VERIFIED",
    "ages": (20.0, 90.0),
    "name": "Canada 2011",
}
_EUROPE = {
    "source": "European Community for Steel and Coal (1993), coefficients from memory",
    "status": "MEMORY",
    "ages": (18.0, 70.0),
    "name": "Europe 1993",
    "caveats": (
        "from memory, check before use: all coefficients",
        "underestimates both volumes in people who never smoked (Kuster SP et al. 2008 Eur Respir J 31:860-868)",
    ),
}


def _lungs(unit: str, about: Mapping[str, object], male: _Linear, female: _Linear) -> _Equation:
    return _Equation(unit=unit, by_sex={"male": male, "female": female}, **about)  # type: ignore[arg-type]


_SPIROMETRY: Mapping[tuple[str, str], _Equation] = {
    ("canada_2011", "fev1"): _lungs(
        "L",
        _CANADA,
        _Linear(constant=-2.06961, height_cm=0.04215, age_years=-0.03167, error=0.50586),
        _Linear(constant=-1.68697, height_cm=0.03557, age_years=-0.02773, error=0.36973),
    ),
    ("canada_2011", "fvc"): _lungs(
        "L",
        _CANADA,
        _Linear(constant=-5.39383, height_cm=0.06500, age_years=-0.02286, error=0.63557),
        _Linear(constant=-4.11886, height_cm=0.05310, age_years=-0.02124, error=0.49381),
    ),
    ("canada_2011", "fev1_of_fvc"): _lungs(
        "%",
        _CANADA,
        _Linear(constant=122.0893, height_cm=-0.17794, age_years=-0.27977, error=5.48656),
        _Linear(constant=120.59691, height_cm=-0.16531, age_years=-0.30805, error=5.68808),
    ),
    ("europe_1993", "fvc"): _lungs(
        "L",
        _EUROPE,
        _Linear(constant=-4.34, height_cm=0.0576, age_years=-0.026, error=0.61),
        _Linear(constant=-2.89, height_cm=0.0443, age_years=-0.026, error=0.43),
    ),
    ("europe_1993", "fev1"): _lungs(
        "L",
        _EUROPE,
        _Linear(constant=-2.49, height_cm=0.0430, age_years=-0.029, error=0.51),
        _Linear(constant=-2.60, height_cm=0.0395, age_years=-0.025, error=0.38),
    ),
}
_NORMAL_95_ONE_SIDED = 1.645
_YOUNGEST_OF_EUROPE = 25.0

_SIZES = {"height_cm": (120.0, 230.0), "body_mass_kg": (25.0, 300.0)}
"""Sizes of adults; outside them the unit is wrong (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference(Result):
    """What an equation predicts for one person.

    Parameters
    ----------
    predicted : float
        In `unit`; never rounded.
    lower_limit : float, optional
        Lower limit of normal, where the publication gives one.
    error : float, optional
        Standard error of the estimate, where the publication gives one.
    unit, equation, source, status : str
    caveats : tuple of str
        For whom the equation holds, and what was extrapolated.
    """

    predicted: float
    lower_limit: float | None
    error: float | None
    unit: str
    equation: str
    source: str
    status: str
    caveats: tuple[str, ...]

    def percent(self, observed: float) -> float:
        """Return an observed value in percent of the predicted one.

        Parameters
        ----------
        observed : float
            In the same unit.
        """
        return 100 * observed / self.predicted

    def z(self, observed: float) -> float:
        """Return how many standard errors an observed value lies above the predicted one.

        Raises
        ------
        DesignError
            The publication gives no standard error.
        """
        if self.error is None:
            raise DesignError(f"{self.equation} gives no standard error, so no z score")
        return (observed - self.predicted) / self.error

    def summary(self) -> str:
        """Return the predicted value with its equation."""
        return f"predicted {self.predicted:.4g} {self.unit} ({self.equation}; {self.status})"


def six_minute_walk_reference(
    *, sex: Sex, age_years: float, height_cm: float, body_mass_kg: float, extrapolate: bool = False
) -> Reference:
    """Distance that a healthy person of that sex, age and size walks in six minutes.

    Parameters
    ----------
    sex : {"female", "male"}
    age_years : float
        From 40 to 80.
    height_cm, body_mass_kg : float
    extrapolate : bool
        Whether an age outside these limits gives a number with a caveat instead of a refusal.

    Returns
    -------
    Reference
        In m.

    Raises
    ------
    UsageError
        A sex that has no equation; a height or mass that is not in cm or kg.
    DesignError
        An age for which the equation was not derived.

    Notes
    -----
    Men: 7.57 height - 5.02 age - 1.76 mass - 309. Women: 2.11 height - 5.78 age - 2.29 mass + 667.

    References
    ----------
    Enright PL, Sherrill DL (1998) Am J Respir Crit Care Med 158:1384-1387, in Singh et al. (2014) Eur Respir J.

    Examples
    --------
    >>> found = six_minute_walk_reference(sex="male", age_years=60, height_cm=175, body_mass_kg=80)
    >>> round(found.predicted, 2), round(found.percent(402), 2)
    (573.75, 70.07)
    """
    sizes = {"age_years": age_years, "height_cm": height_cm, "body_mass_kg": body_mass_kg}
    return _predict(_WALK, sex, sizes, extrapolate)


def spirometry_reference(
    volume: Literal["fvc", "fev1", "fev1_of_fvc"],
    *,
    sex: Sex,
    age_years: float,
    height_cm: float,
    equation: Literal["canada_2011", "europe_1993"] = "canada_2011",
    extrapolate: bool = False,
) -> Reference:
    """Lung volume that a healthy person of that sex, age and height has.

    Parameters
    ----------
    volume : {"fvc", "fev1", "fev1_of_fvc"}
        Forced capacity, one-second volume (both L), or one in percent of the other.
    sex : {"female", "male"}
    age_years : float
        From 20 to 90 (Canada), from 18 to 70 (Europe; 18 to 25 count as 25).
    height_cm : float
        Arm span where standing is impossible (common practice, no source).
    equation : {"canada_2011", "europe_1993"}
        Never changed within a series. The coefficients of Europe are from memory.
    extrapolate : bool
        Whether an age outside these limits gives a number with a caveat instead of a refusal.

    Returns
    -------
    Reference
        With the lower limit of normal, 1.645 standard errors below.

    Raises
    ------
    UsageError
        An equation, volume or sex that is not there; a height that is not in cm.
    DesignError
        An age for which the equation was not derived.

    References
    ----------
    (2011) Can Respir J 18:321-326, table 4.

    Examples
    --------
    >>> found = spirometry_reference("fvc", sex="male", age_years=40, height_cm=178)
    >>> round(found.predicted, 5), round(found.lower_limit, 5), round(found.z(2.9), 3)
    (5.26177, 4.21626, -3.716)
    """
    known = _SPIROMETRY.get((equation, volume))
    if known is None:
        there = ", ".join(f"{volume} of {name}" for name, volume in _SPIROMETRY)
        raise UsageError(f"no equation for {volume} of {equation}; known: {there}")
    age = max(age_years, _YOUNGEST_OF_EUROPE) if equation == "europe_1993" and age_years >= known.ages[0] else age_years
    return _predict(known, sex, {"age_years": age, "height_cm": height_cm}, extrapolate)


def _predict(equation: _Equation, sex: str, sizes: Mapping[str, float], extrapolate: bool) -> Reference:
    line = equation.by_sex.get(sex)
    if line is None:
        raise UsageError(
            f"sex: found '{sex}', expected {' or '.join(sorted(equation.by_sex))}: no other equation exists"
        )
    for name, (low, high) in _SIZES.items():
        if name in sizes and not low <= sizes[name] <= high:
            raise UsageError(f"{name}: found {sizes[name]:g}, expected {low:g} to {high:g}")
    low, high = equation.ages
    caveats, age = list(equation.caveats), sizes["age_years"]
    if not low <= age <= high:
        outside = f"age {age:g} lies outside {low:g} to {high:g} years, for which {equation.name} was derived"
        if not extrapolate:
            raise DesignError(f"{outside}; no reference is given")
        caveats.append(f"extrapolated: {outside}")
    predicted = line.constant + sum(getattr(line, name) * size for name, size in sizes.items())
    if predicted <= 0:
        raise DesignError(
            f"{equation.name} gives {predicted:.3g} {equation.unit} here: it does not hold for this person"
        )
    below = _NORMAL_95_ONE_SIDED * line.error if line.error is not None else line.below
    return Reference(
        predicted=predicted,
        lower_limit=None if below is None else predicted - below,
        error=line.error,
        unit=equation.unit,
        equation=equation.name,
        source=equation.source,
        status=equation.status,
        caveats=tuple(caveats),
    )


_PEAK = {"fox": (220.0, 1.0, "Fox 1971"), "tanaka": (208.0, 0.7, "Tanaka 2001")}
_LEVEL = re.compile(r"([CTLS])([1-9][0-9]?)(?:-[0-9])?")
_SEGMENTS = {"C": 8, "T": 12, "L": 5, "S": 5}


def at_or_above(level: str, limit: str = "T6") -> bool:
    """Return whether a neurological level lies at or above another.

    Parameters
    ----------
    level : str
        Such as ``C5``; an empty text is no lesion.
    limit : str

    Raises
    ------
    UsageError
        No level of the spine.

    Examples
    --------
    >>> at_or_above("C8"), at_or_above("T6"), at_or_above("T7"), at_or_above("")
    (True, True, False, False)
    """
    return bool(level.strip()) and _rank(level) <= _rank(limit)


def _rank(level: str) -> int:
    """Return the place of a segment on the way down."""
    found = _LEVEL.fullmatch(level.strip().upper())
    if found is None or int(found[2]) > _SEGMENTS[found[1]]:
        raise UsageError(
            f"neurological level: found '{level}', expected one of C1 to C8, T1 to T12, L1 to L5, S1 to S5"
        )
    before = {"C": 0, "T": 8, "L": 20, "S": 25}
    return before[found[1]] + int(found[2])


def age_predicted_peak_heart_rate(
    *, age_years: float, neurological_level: str, equation: Literal["fox", "tanaka"] = "tanaka"
) -> Reference:
    """Peak heart rate that the age of a person predicts; refused where the lesion lies at or above T6.

    Parameters
    ----------
    age_years : float
        From 18 to 90 (adults; common practice, no source).
    neurological_level : str
        Such as ``T8``; empty for a person without a spinal cord injury. It must be said.
    equation : {"fox", "tanaka"}
        220 - age, or 208 - 0.7 age.

    Returns
    -------
    Reference
        In beats per minute, without a lower limit.

    Raises
    ------
    UsageError
        An equation that is not there; no level of the spine.
    DesignError
        A lesion at or above T6, or an age for which nothing is predicted.

    Notes
    -----
    After a cervical injury measured peaks were 102 (SD 34) per minute without sport and 161 (SD 20) in athletes (2015,
    Med Sci Sports Exerc 47:1259-1264). From T3 to T6 heart rate still followed oxygen uptake (Bar-On ZH, Nene AV 1990,
    Paraplegia 28:87-95), so the rule is cautious there, not a finding. A measured peak is always better.

    References
    ----------
    Robergs RA, Landwehr R (2002) JEPonline 5(2):1-10, as quoted: both equations miss by 7 to 11 per minute or more.

    Examples
    --------
    >>> age_predicted_peak_heart_rate(age_years=40, neurological_level="T10").predicted
    180.0
    """
    if equation not in _PEAK:
        raise UsageError(f"no equation '{equation}' of peak heart rate; known: {', '.join(_PEAK)}")
    if at_or_above(neurological_level):
        raise DesignError(
            f"no peak heart rate is predicted from age for a lesion at or above T6 ({neurological_level}): "
            "use a measured peak"
        )
    if not 18 <= age_years <= 90:
        raise DesignError(f"no peak heart rate is predicted for an age of {age_years:g} years; expected 18 to 90")
    start, step, name = _PEAK[equation]
    return Reference(
        predicted=start - step * age_years,
        lower_limit=None,
        error=None,
        unit="{beat}/min",
        equation=name,
        source="Robergs RA, Landwehr R (2002) JEPonline 5(2):1-10, as quoted",
        status="VERIFIED",
        caveats=("misses by 7 to 11 per minute or more", "a measured peak is better; beta-blockers lower it"),
    )


def target_heart_rate(*, rest: float, peak: float, share: float) -> float:
    """Heart rate at a share of the reserve between rest and peak.

    Parameters
    ----------
    rest, peak : float
        Beats per minute; the peak measured, or predicted where `age_predicted_peak_heart_rate` gives one.
    share : float
        From 0 to 1.

    Raises
    ------
    UsageError
        A peak that is not above rest, or a share outside 0 to 1.

    Notes
    -----
    rest + share (peak - rest): arithmetic for describing a session, no prescription.

    Examples
    --------
    >>> target_heart_rate(rest=60, peak=120, share=0.5)
    90.0
    """
    if not peak > rest > 0:
        raise UsageError(f"peak heart rate: found {peak:g}, expected more than the {rest:g} of rest")
    if not 0 <= share <= 1:
        raise UsageError(f"share of the reserve: found {share:g}, expected 0 to 1")
    return rest + share * (peak - rest)


def muscle_size(measure: str, answers: Mapping[str, object], *, spinal_cord_injury: bool = False) -> dict[str, float]:
    """Muscle size from girths and skinfolds, by one of the equations of the catalogue.

    Parameters
    ----------
    measure : str
        "thigh_csa_housh", "arm_muscle_area" or "muscle_mass_martin"; their cards say for whom each holds.
    answers : dict
        Items of that measure.
    spinal_cord_injury : bool
        Whether the limb lies below a spinal cord injury, for which neither thigh nor whole body was derived.

    Returns
    -------
    dict of str to float
        Every scale of the measure.

    Raises
    ------
    UsageError
        Another measure.
    DataError
        An impossible answer.
    DesignError
        People for whom the equation does not hold, a missing answer, or a result outside what it was derived from.

    Examples
    --------
    >>> found = muscle_size("thigh_csa_housh", {"mid_thigh_girth": 50, "anterior_thigh_skinfold": 10})
    >>> round(found["total"], 2)
    132.11
    """
    from outcomes.measures.catalogue import Catalogue
    from outcomes.measures.scoring import score

    known = ("thigh_csa_housh", "thigh_csa_knapik", "arm_muscle_area", "muscle_mass_martin")
    if measure not in known:
        raise UsageError(f"no equation '{measure}' of muscle size; known: {', '.join(known)}")
    if spinal_cord_injury and measure != "arm_muscle_area":
        people = ", ".join(Catalogue.packaged().get(measure).populations)
        raise DesignError(f"{measure} was derived in {people}: it does not hold below a spinal cord injury")
    scored = score(measure, answers)
    if scored.reasons:
        raise DesignError("; ".join(dict.fromkeys(scored.reasons.values())))
    return {key: value for key, value in scored.scales.items() if value is not None}
