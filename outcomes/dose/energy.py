"""Work, power and energy of one session, with the assumption in the name."""

from __future__ import annotations

import math

from outcomes.errors import DesignError
from outcomes.units import conversion_factor

KJ_PER_KCAL = conversion_factor("kcal", "kJ")
"""Kilojoules in a thermochemical kilocalorie: 4.184."""


def work_from_mean_power(mean_power_w: float, active_s: float) -> float:
    """Return the mechanical work of a mean power held over a time.

    Parameters
    ----------
    mean_power_w : float
        Mean power in W over the active time; not negative (negative power is the motor's).
    active_s : float
        Active time in s.

    Returns
    -------
    float
        Work in kJ.

    Raises
    ------
    DesignError
        A value is missing or negative.

    Notes
    -----
    work = power x time.

    Examples
    --------
    >>> work_from_mean_power(10, 1800)
    18.0
    """
    return _usable(mean_power_w, "mean power") * _usable(active_s, "active time") / 1000


def work_rate(work_kj: float, active_minutes: float) -> float:
    """Return work per hour of active time.

    Parameters
    ----------
    work_kj : float
        Work in kJ.
    active_minutes : float
        Active time in min, above 0.

    Returns
    -------
    float
        kJ/h; 1 W of mean power is 3.6 kJ/h.

    Raises
    ------
    DesignError
        A value is missing or negative, or the time is 0.

    Examples
    --------
    >>> work_rate(18, 30)
    36.0
    """
    if _usable(active_minutes, "active time") == 0:
        raise DesignError("no active time")
    return _usable(work_kj, "work") * 60 / active_minutes


def mechanical_kcal(work_kj: float) -> float:
    """Return mechanical work in kcal: what the crank received, not what the body spent.

    Parameters
    ----------
    work_kj : float
        Work in kJ.

    Returns
    -------
    float
        kcal, at 4.184 kJ each.

    Raises
    ------
    DesignError
        The work is missing or negative.

    Examples
    --------
    >>> round(mechanical_kcal(18), 2)
    4.3
    """
    return _usable(work_kj, "work") / KJ_PER_KCAL


def metabolic_kcal(work_kj: float, *, gross_efficiency: float) -> float:
    """Return the energy that the body spent for some mechanical work, at an assumed gross efficiency.

    Parameters
    ----------
    work_kj : float
        Work in kJ.
    gross_efficiency : float
        Work done / energy spent, in (0, 1]. There is no default: it is an assumption, and stimulated cycling has about
        a third of the efficiency of voluntary cycling (Berry et al. 2012).

    Returns
    -------
    float
        kcal.

    Raises
    ------
    DesignError
        The work is missing or negative, or the efficiency is not in (0, 1].

    Notes
    -----
    energy = work / efficiency / 4.184.

    Examples
    --------
    >>> round(metabolic_kcal(18, gross_efficiency=0.08), 1)
    53.8
    """
    if not 0 < gross_efficiency <= 1:
        raise DesignError(f"gross efficiency is a fraction above 0 and at most 1, not {gross_efficiency}")
    return mechanical_kcal(work_kj) / gross_efficiency


def _usable(value: float, name: str) -> float:
    if math.isnan(value) or value < 0:
        raise DesignError(f"{name} is missing or negative")
    return value
