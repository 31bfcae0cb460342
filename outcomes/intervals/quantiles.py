"""Quantiles of the t, F and chi-square distributions, as plain floats.

They come from ``scipy.special``, whose import costs a third of that of ``scipy.stats``.
"""

from __future__ import annotations

import math
import sys

from outcomes.errors import DesignError


def check_level(level: float) -> float:
    """Return the level of an interval if it is between 0 and 1.

    Parameters
    ----------
    level : float
        Nominal coverage, such as 0.95.

    Returns
    -------
    float

    Raises
    ------
    DesignError
        Any other number.

    Examples
    --------
    >>> check_level(0.95)
    0.95
    """
    if not 0 < level < 1:
        raise DesignError(f"an interval of level {level} does not exist; give one between 0 and 1, such as 0.95")
    return float(level)


def normal_quantile(p: float) -> float:
    """Return the quantile of the standard normal distribution.

    Examples
    --------
    >>> round(normal_quantile(0.975), 6)
    1.959964
    """
    from scipy.special import ndtri

    return float(ndtri(p))


def t_quantile(p: float, df: float) -> float:
    """Return the quantile of Student's t distribution.

    Parameters
    ----------
    p : float
        Probability below it.
    df : float
        Degrees of freedom, above 0.

    Returns
    -------
    float

    Examples
    --------
    >>> round(t_quantile(0.975, 9), 4)
    2.2622
    """
    from scipy.special import stdtrit

    return float(stdtrit(df, p))


def t_two_sided(t: float, df: float | None) -> float:
    """Return the probability that Student's t is at least as far from 0 as `t`, both sides together.

    Parameters
    ----------
    t : float
        A value of t; its sign does not matter.
    df : float, optional
        Degrees of freedom; None for the normal distribution.

    Returns
    -------
    float
        Between 0 and 1; above 0 unless it is below the smallest double.

    Examples
    --------
    >>> round(t_two_sided(-2.262157, 9), 6), round(t_two_sided(1.959964, None), 6)
    (0.05, 0.05)
    """
    from scipy.special import ndtr, stdtr

    return float(2 * (ndtr(-abs(t)) if df is None else stdtr(df, -abs(t))))


def possible_p(p: float) -> float:
    """Return p where a double can hold it, else the smallest double or 1: no probability is 0.

    Examples
    --------
    >>> possible_p(0.0) > 0, possible_p(0.3)
    (True, 0.3)
    """
    return min(1.0, max(p, sys.float_info.min))


def f_quantile(p: float, df1: float, df2: float) -> float:
    """Return the quantile of the F distribution; infinite where it cannot be represented.

    Parameters
    ----------
    p : float
        Probability below it.
    df1, df2 : float
        Degrees of freedom of numerator and denominator, above 0.

    Returns
    -------
    float

    Examples
    --------
    >>> round(f_quantile(0.975, 5, 18), 4)
    3.382
    """
    from scipy.special import betaincinv

    # x = df1 F / (df1 F + df2) has a beta distribution; the complement keeps digits where x is near 1.
    share = float(betaincinv(df2 / 2, df1 / 2, 1 - p))
    if math.isnan(share) or share <= 0:
        return math.inf
    return float(df2 * (1 - share) / (df1 * share))


def chi_square_quantile(p: float, df: float) -> float:
    """Return the quantile of the chi-square distribution.

    Examples
    --------
    >>> round(chi_square_quantile(0.975, 7), 4)
    16.0128
    """
    from scipy.special import chdtri

    return float(chdtri(df, 1 - p))
