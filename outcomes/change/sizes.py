"""Effect sizes of a paired change; the divisor is part of the name."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from outcomes.errors import DesignError
from outcomes.intervals import bca_interval, noncentral_t_interval
from outcomes.matrices import Vector
from outcomes.result import Estimate, Interval

FROM_PEOPLE = 20
"""People from which bootstrap intervals are given."""


def hedges_correction(df: float, *, form: Literal["exact", "approximate"] = "exact") -> float:
    """Return the factor that takes the small-sample bias out of a standardised mean difference.

    Parameters
    ----------
    df : float
        Degrees of freedom of the standard deviation it was divided by, above 1.
    form : {"exact", "approximate"}
        By the gamma function, or the short form that most papers print.

    Returns
    -------
    float
        Between 0 and 1.

    Raises
    ------
    DesignError
        df is not above 1, or another word for `form`.

    Notes
    -----
    J = Γ(df/2) / (√(df/2) Γ((df - 1)/2)), exact; the approximate 1 - 3/(4 df - 1) is 1.3 % off at df = 2.

    References
    ----------
    Hedges (1981) J Educ Stat 6:107-128.

    Examples
    --------
    >>> round(hedges_correction(10), 6)
    0.922746
    """
    if form not in ("exact", "approximate"):
        raise DesignError(f"form '{form}' is neither 'exact' nor 'approximate'")
    if not df > 1:
        raise DesignError("the small-sample correction needs more than 1 degree of freedom")
    if form == "approximate":
        return 1 - 3 / (4 * df - 1)
    return math.exp(math.lgamma(df / 2) - math.lgamma((df - 1) / 2)) / math.sqrt(df / 2)


def standardised(changes: Vector, *, level: float) -> tuple[Estimate, Estimate | None]:
    """Return d_z and Hedges' g of changes that are not all equal; g is None for two people.

    Parameters
    ----------
    changes : array of shape (n_participants,)
    level : float
        Nominal coverage.

    Returns
    -------
    tuple of Estimate and Estimate or None
    """
    n = len(changes)
    d = float(np.mean(changes) / np.std(changes, ddof=1))
    centre = noncentral_t_interval(d * math.sqrt(n), n - 1, level=level)
    interval = scaled(centre, 1 / math.sqrt(n))
    d_z = Estimate(
        value=d,
        unit="1",
        method="d_z",
        n_people=n,
        n_values=2 * n,
        interval=interval,
        source="Lakens (2013) Front Psychol 4:863",
    )
    if n < 3:
        return d_z, None
    j = hedges_correction(n - 1)
    g = replace(
        d_z, value=d * j, method="hedges_g", interval=scaled(interval, j), source="Hedges (1981) J Educ Stat 6:107"
    )
    return d_z, g


def sd_from_standard_error(standard_error: float, n: int) -> float:
    """Return the standard deviation behind a printed standard error of a mean.

    Parameters
    ----------
    standard_error : float
        As a paper prints it, in the unit of the values.
    n : int
        People behind the mean.

    Returns
    -------
    float
        Same unit: standard error x sqrt(n).

    Raises
    ------
    DesignError
        The standard error is missing or negative, or there is nobody.

    Examples
    --------
    >>> round(sd_from_standard_error(2.3, 11), 4)
    7.6282
    """
    if not standard_error >= 0 or n < 1:
        raise DesignError(f"a standard deviation needs a standard error of at least 0 and people, not {standard_error} "
                          f"and {n}")  # fmt: skip
    return float(standard_error * math.sqrt(n))


def average_standardised(
    before: Vector, after: Vector, *, level: float, resamples: int, rng: np.random.Generator
) -> Estimate:
    """Return d_av, the mean change divided by the mean of both standard deviations.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        Not both constant.
    level : float
        Nominal coverage.
    resamples : int
        Of the interval, which is given from 20 people.
    rng : numpy.random.Generator

    Returns
    -------
    Estimate
    """
    n = len(before)
    interval, caveats = None, ("below_bootstrap",) if n < FROM_PEOPLE else ()
    if n >= FROM_PEOPLE:
        try:
            interval = bca_interval([before, after], _d_av, level=level, resamples=resamples, rng=rng).interval
        except DesignError:
            caveats = ("no_bootstrap",)
    return Estimate(
        value=float(_d_av(before, after)),
        unit="1",
        method="d_av",
        n_people=n,
        n_values=2 * n,
        interval=interval,
        source="Lakens (2013) Front Psychol 4:863",
        caveats=caveats,
    )


def _d_av(before: NDArray[np.float64], after: NDArray[np.float64]) -> NDArray[np.float64]:
    spread = (before.std(axis=-1, ddof=1) + after.std(axis=-1, ddof=1)) / 2
    return np.asarray((after.mean(axis=-1) - before.mean(axis=-1)) / spread)


def scaled(interval: Interval, factor: float) -> Interval:
    """Return an interval times a factor above 0.

    Parameters
    ----------
    interval : Interval
    factor : float

    Returns
    -------
    Interval
    """
    return Interval(interval.low * factor, interval.high * factor, interval.level, interval.method)
