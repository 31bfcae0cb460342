"""Energy and internal load, with the assumption in the name; and the weeks that meet published exercise guidelines."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Literal

from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose.timeline import Tables
    from protocols import Protocol

STANDARD_MET = 3.5
"""Oxygen uptake of a standard MET in mL/kg/min."""

SCI_MET = 2.7
"""Oxygen uptake of a MET after spinal cord injury in mL/kg/min (Collins et al. 2010, Med Sci Sports Exerc 42:691)."""

GRAVITY = 9.80665

BANISTER = {"male": (0.64, 1.92), "female": (0.86, 1.67)}
"""Weights of heart-rate reserve by sex (from memory)."""

GUIDELINES = {
    "fitness": (2, 20.0, "2 sessions of at least 20 active minutes a week (the aerobic part; strength is apart)"),
    "cardiometabolic": (3, 30.0, "3 sessions of at least 30 active minutes a week"),
}
"""Sessions a week, minutes of each, in words (Martin Ginis et al. 2018). The guidelines mean moderate to vigorous
effort, which a session row does not say."""

GUIDELINE_SOURCE = "Martin Ginis et al. 2018 (scientific exercise guidelines for adults with spinal cord injury)"
GUIDELINE_COLUMNS = ("participant_id", "guideline", "weeks", "weeks_met", "percent_of_weeks", "sessions_unknown")


def power_from_torque(torque_nm: float, cadence_rpm: float) -> float:
    """Return the power of a torque at a cadence.

    Parameters
    ----------
    torque_nm, cadence_rpm : float
        A negative torque is the motor's.

    Returns
    -------
    float
        W: torque x 2 pi x rpm / 60.

    Examples
    --------
    >>> round(power_from_torque(2, 50), 6)
    10.471976
    """
    return torque_nm * 2 * math.pi * cadence_rpm / 60


def power_from_friction(resistance_kp: float, metres_per_revolution: float, cadence_rpm: float) -> float:
    """Return the power on a friction flywheel, as older papers give it.

    Parameters
    ----------
    resistance_kp : float
        Resistance in kilopond.
    metres_per_revolution : float
        Way of the rim in a revolution of the crank; of many ergometers 6 m (from memory).
    cadence_rpm : float

    Returns
    -------
    float
        W: kp x 9.80665 x m x rpm / 60.

    Examples
    --------
    >>> round(power_from_friction(0.125, 6, 50), 6)
    6.129156
    """
    return resistance_kp * GRAVITY * metres_per_revolution * cadence_rpm / 60


def standard_mets(vo2_ml_kg_min: float) -> float:
    """Return oxygen uptake in standard METs of 3.5 mL/kg/min.

    Parameters
    ----------
    vo2_ml_kg_min : float

    Returns
    -------
    float

    Raises
    ------
    DesignError
        The uptake is missing or negative.

    Examples
    --------
    >>> round(standard_mets(3), 6)
    0.857143
    """
    return _usable(vo2_ml_kg_min, "oxygen uptake") / STANDARD_MET


def sci_mets(vo2_ml_kg_min: float) -> float:
    """Return oxygen uptake in METs of people with spinal cord injury, 2.7 mL/kg/min.

    Parameters
    ----------
    vo2_ml_kg_min : float

    Returns
    -------
    float

    Raises
    ------
    DesignError
        The uptake is missing or negative.

    References
    ----------
    Collins et al. 2010, Med Sci Sports Exerc 42:691.

    Examples
    --------
    >>> round(sci_mets(3), 6)
    1.111111
    """
    return _usable(vo2_ml_kg_min, "oxygen uptake") / SCI_MET


def met_minutes(mets: float, minutes: float) -> float:
    """Return MET-minutes; say beside them which MET was meant.

    Parameters
    ----------
    mets, minutes : float

    Returns
    -------
    float

    Raises
    ------
    DesignError
        A value is missing or negative.

    Examples
    --------
    >>> met_minutes(2, 30)
    60.0
    """
    return float(_usable(mets, "METs") * _usable(minutes, "minutes"))


def hours_for_energy(target_kcal: float, kcal_per_hour: float) -> float:
    """Return how long a measured expenditure takes to reach a target.

    Parameters
    ----------
    target_kcal : float
    kcal_per_hour : float
        Measured, above 0.

    Returns
    -------
    float
        Hours, not rounded.

    Raises
    ------
    DesignError
        A value is missing or negative, or the expenditure is 0.

    Examples
    --------
    >>> round(hours_for_energy(1000, 288), 3)
    3.472
    """
    if _usable(kcal_per_hour, "expenditure") == 0:
        raise DesignError("at no expenditure no target is reached")
    return _usable(target_kcal, "target") / kcal_per_hour


def session_rpe_load(rpe: float, minutes: float, *, scale: Literal["0-10", "6-20"]) -> float:
    """Return the session-RPE load: perceived exertion times minutes. Loads of the two scales cannot be compared.

    Parameters
    ----------
    rpe : float
        Exertion of the whole session, on `scale`.
    minutes : float
        Minutes that the rating is about.
    scale : {"0-10", "6-20"}

    Returns
    -------
    float
        Arbitrary units.

    Raises
    ------
    DesignError
        A value is missing, negative or outside its scale. Without feeling below the lesion the effort of stimulated
        muscles may not be perceived: the rating is then of something else.

    Examples
    --------
    >>> session_rpe_load(4, 30, scale="0-10")
    120.0
    """
    low, high = (0, 10) if scale == "0-10" else (6, 20)
    if not low <= _usable(rpe, "exertion") <= high:
        raise DesignError(f"exertion {rpe:g} is not on the scale {scale}")
    return float(rpe * _usable(minutes, "minutes"))


def at_or_above_t6(level: str) -> bool | None:
    """Return whether a lesion lies at or above T6, where the heart's answer to effort may be blunted; None if unknown.

    Examples
    --------
    >>> at_or_above_t6("C5"), at_or_above_t6("T6"), at_or_above_t6("T7"), at_or_above_t6("")
    (True, True, False, None)
    """
    found = re.fullmatch(r"([CTLS])(\d+)", level)
    if found is None:
        return None
    return found[1] == "C" or (found[1] == "T" and int(found[2]) <= 6)


def heart_rate_load(
    minutes: float,
    mean_bpm: float,
    *,
    rest_bpm: float,
    peak_bpm: float,
    peak: str,
    sex: str,
    level: str = "",
) -> float:
    """Return the heart-rate load of a session: minutes weighted by the share of the heart-rate reserve in use.

    Parameters
    ----------
    minutes, mean_bpm : float
        Length and mean heart rate of the session.
    rest_bpm, peak_bpm : float
        The person's own.
    peak : {"measured", "predicted"}
        Whether the peak was measured in this person or predicted, for example from age.
    sex : {"male", "female"}
        Chooses the weights.
    level : str
        Neurological level, such as ``"T4"``; empty where there is no lesion or it is not known.

    Returns
    -------
    float
        Arbitrary units.

    Raises
    ------
    DesignError
        A predicted peak: at or above T6 the peak lies far below any prediction (measured 102, SD 34, to 161, SD 20, in
        cervical lesions), and elsewhere it is one of the best known errors of this load. A sex for which there are no
        weights, a value that is missing, or rates in the wrong order.

    Notes
    -----
    minutes x r x a exp(b r) with r = (mean - rest) / (peak - rest); a, b = 0.64, 1.92 (male), 0.86, 1.67 (female),
    from memory.

    Examples
    --------
    >>> round(heart_rate_load(30, 100, rest_bpm=70, peak_bpm=130, peak="measured", sex="male", level="T4"), 2)
    25.07
    """
    if peak != "measured":
        where = at_or_above_t6(level)
        reason = "for a lesion at or above T6" if where else "where the level is not known" if where is None else ""
        raise DesignError(f"a heart-rate load needs a measured peak {reason}".rstrip() + "; a predicted one misleads")
    if sex not in BANISTER:
        raise DesignError("the weights of a heart-rate load are known for female and male people only")
    rates = [_usable(value, "heart rate") for value in (rest_bpm, mean_bpm, peak_bpm)]
    if not rates[0] < rates[2] or not rates[0] <= rates[1] <= rates[2]:
        raise DesignError("the mean heart rate does not lie between rest and peak")
    a, b = BANISTER[sex]
    reserve = (rates[1] - rates[0]) / (rates[2] - rates[0])
    return float(_usable(minutes, "minutes") * reserve * a * math.exp(b * reserve))


def weeks_meeting_guidelines(tables: Tables, protocol: Protocol) -> pd.DataFrame:
    """Return in how many weeks each person's sessions reached the published exercise guidelines.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        As `dose_by_visit` takes them.
    protocol : Protocol
        Its programme, and how long a person is planned for, say which weeks count.

    Returns
    -------
    DataFrame
        A row per person and guideline, columns `GUIDELINE_COLUMNS`. `weeks` are the programme's weeks until the person
        left; a session without active minutes reaches nothing and is counted in `sessions_unknown`. Empty without a
        sessions table or a programme.

    References
    ----------
    Martin Ginis et al. 2018.
    """
    import numpy as np
    import pandas as pd

    from outcomes.dose.items import read_items
    from outcomes.dose.timeline import codes_of, numbers, table_of

    items = read_items(tables, protocol)
    kinds = {name: "str" if name in GUIDELINE_COLUMNS[:2] else "float64" for name in GUIDELINE_COLUMNS}
    if items is None or protocol.training is None:
        return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})
    weeks = np.full(len(items.people), float(protocol.training.weeks))
    people = table_of(tables, "participants")
    if people is not None:
        code = codes_of(people, items.people)
        left = numbers(people, "left_day")
        known = (code >= 0) & ~np.isnan(left)
        weeks[code[known]] = np.clip(np.floor(left[known] / 7), 0, protocol.training.weeks)
    minutes = items.values["active_minutes"]
    rows: list[tuple[object, ...]] = []
    bounds = np.searchsorted(items.code, np.arange(len(items.people) + 1))
    for i, person in enumerate(items.people):
        part = slice(bounds[i], bounds[i + 1])
        week, done = items.week[part], minutes[part]
        mine = items.delivered[part] & (week >= 0) & (week < weeks[i])
        unknown = int((mine & np.isnan(done)).sum())
        for name, (sessions, least, _) in GUIDELINES.items():
            long = week[mine & (done >= least)]
            met = int((np.bincount(long, minlength=1) >= sessions).sum())
            share = 100 * met / weeks[i] if weeks[i] else np.nan
            rows.append((person, name, weeks[i], met, share, unknown))
    return pd.DataFrame(rows, columns=list(GUIDELINE_COLUMNS)).astype(kinds)


def _usable(value: float, name: str) -> float:
    if math.isnan(value) or value < 0:
        raise DesignError(f"{name} is missing or negative")
    return value
