"""Interval of the noncentrality of t, on which intervals of standardised mean changes rest."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import check_level
from outcomes.matrices import Vector
from outcomes.result import Interval

_NODES = 160
_REACH = 9.0
"""Standard normal values beyond this have a probability of 1e-19."""


def noncentral_t_interval(t: float, df: float, *, level: float = 0.95) -> Interval:
    """Interval of the noncentrality parameter of a t value.

    Parameters
    ----------
    t : float
        Observed t. Divided by √n, the ends are those of the standardised mean.
    df : float
        Degrees of freedom, at least 1.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Without unit.

    Raises
    ------
    DesignError
        t is not finite (no spread), or df is below 1.

    Notes
    -----
    The ends are the parameters under which the observed t is the upper and the lower (1 - level)/2 quantile. They are
    found for ``|t|`` and turned over for a negative t, so that an effect and its mirror image have mirrored intervals.
    The distribution function is integrated here (Gauss-Legendre), as library versions return nan for some parameters.

    References
    ----------
    Steiger & Fouladi (1997) in Harlow, Mulaik & Steiger, What if there were no significance tests?, 221-257;
    Cumming & Finch (2001) Educ Psychol Meas 61:532-574.

    Examples
    --------
    >>> found = noncentral_t_interval(1.5 * 10**0.5, 9)
    >>> round(found.low / 10**0.5, 4), round(found.high / 10**0.5, 4)
    (0.5605, 2.4034)
    """
    check_level(level)
    if not math.isfinite(t):
        raise DesignError("without spread there is no standardised change")
    if not df >= 1:
        raise DesignError("a t value needs at least 1 degree of freedom")
    size, tail = abs(t), (1 - level) / 2
    probability = _distribution(size, df)
    high = _solve(probability, tail, size, df)
    low = -high if t == 0 else _solve(probability, 1 - tail, size, df)
    if t < 0:
        low, high = -high, -low
    return Interval(low, high, level, "noncentral t")


def noncentral_t_quantile(p: float, df: float, noncentrality: float) -> float:
    """Return the quantile of the noncentral t distribution, where it is not below 0.

    Parameters
    ----------
    p : float
        Probability below it.
    df : float
        Degrees of freedom, at least 1.
    noncentrality : float
        Not negative.

    Returns
    -------
    float
        Without unit.

    Raises
    ------
    DesignError
        A quantile below 0, or df below 1.

    Notes
    -----
    The distribution function is the one behind `noncentral_t_interval`, so that both agree.

    Examples
    --------
    R 4.2.2 gives ``qt(0.975, 9, 1.96 * sqrt(10))`` as 12.01971:

    >>> round(noncentral_t_quantile(0.975, 9, 1.96 * 10**0.5), 5)
    12.01971
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    if not df >= 1:
        raise DesignError("a t value needs at least 1 degree of freedom")
    if float(ndtr(-noncentrality)) > p:
        raise DesignError("this quantile of the noncentral t distribution lies below 0")
    high = 2.0 * (noncentrality + 1)
    while _distribution(high, df)(noncentrality) < p:
        high *= 2
    return float(brentq(lambda t: _distribution(t, df)(noncentrality) - p, 1e-9, high, xtol=1e-12, rtol=1e-13))


@cache
def _legendre() -> tuple[Vector, Vector]:
    return np.polynomial.legendre.leggauss(_NODES)


def _distribution(t: float, df: float) -> Callable[[float], float]:
    """Return P(T <= t) as a function of the noncentrality, for t >= 0.

    T = (Z + noncentrality) / S with S² = chi-square / df. Whichever of S and Z leaves the smoother integrand is
    integrated numerically.
    """
    from scipy.special import chdtrc, ndtr

    nodes, weights = _legendre()
    if t < math.sqrt(2 * df):
        s, weight = _spread_nodes(df, nodes, weights)
        return lambda centre: float(np.sum(weight * ndtr(t * s - centre)))

    def by_normal(centre: float) -> float:
        start = max(-centre, -_REACH)
        if start >= _REACH:
            return float(ndtr(-centre))
        half = (_REACH - start) / 2
        z = start + half * (nodes + 1)
        density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
        above = chdtrc(df, df * ((z + centre) / t) ** 2)
        return float(ndtr(-centre)) + float(half * np.sum(weights * density * above))

    return by_normal


def _spread_nodes(df: float, nodes: Vector, weights: Vector) -> tuple[Vector, Vector]:
    """Return values of S = √(chi-square / df) and their probabilities, for integration."""
    from scipy.special import chdtri, gammaln

    low, high = math.sqrt(float(chdtri(df, 1 - 1e-15)) / df), math.sqrt(float(chdtri(df, 1e-18)) / df)
    if math.isnan(low):
        low = 0.0
    half = (high - low) / 2
    s = low + half * (nodes + 1)
    log_density = (
        math.log(2) + df / 2 * math.log(df / 2) - float(gammaln(df / 2)) + (df - 1) * np.log(s) - df * s**2 / 2
    )
    return s, half * weights * np.exp(log_density)


def _solve(probability: Callable[[float], float], p: float, t: float, df: float) -> float:
    """Return the noncentrality at which `probability`, which falls with it, is p: bisection between sure bounds."""
    step = 2.0 + t / math.sqrt(df)
    low = high = t
    while probability(low) < p:
        low, step = low - step, 2 * step
    step = 2.0 + t / math.sqrt(df)
    while probability(high) > p:
        high, step = high + step, 2 * step
    while True:
        middle = (low + high) / 2
        if high - low <= 1e-14 * max(abs(low), abs(high)) or middle in (low, high):
            return middle
        if probability(middle) > p:
            low = middle
        else:
            high = middle
