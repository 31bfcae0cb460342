"""Intervals that follow from a distribution: a mean, a share, a standard deviation, a correlation."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import check_level, chi_square_quantile, normal_quantile, t_quantile
from outcomes.matrices import all_equal, finite_vector
from outcomes.result import Interval


def t_interval(values: ArrayLike, *, level: float = 0.95) -> Interval:
    """Student t interval of a mean.

    Parameters
    ----------
    values : array of shape (n,)
        One value per participant; no missing values.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        In the unit of the values.

    Raises
    ------
    DesignError
        Fewer than two values, a missing value, or all values are equal.

    Notes
    -----
    mean ± t(1 - (1 - level)/2; n - 1) · SD / √n, SD with n - 1.

    References
    ----------
    Student (1908) Biometrika 6:1-25.

    Examples
    --------
    >>> found = t_interval([1.0, 2.0, 3.0])
    >>> round(found.low, 4), round(found.high, 4)
    (-0.4841, 4.4841)
    """
    check_level(level)
    x = finite_vector(values, name="values", at_least=2)
    if all_equal(x):
        raise DesignError("all values are equal, so their spread is not known")
    half = t_quantile((1 + level) / 2, len(x) - 1) * float(np.std(x, ddof=1)) / math.sqrt(len(x))
    mean = float(np.mean(x))
    return Interval(mean - half, mean + half, level, "Student t")


def wilson_interval(count: float, n: int, *, level: float = 0.95) -> Interval:
    """Score interval of a share, without continuity correction.

    Parameters
    ----------
    count : float
        Participants with the property; a tie may count a half.
    n : int
        All participants.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Between 0 and 1.

    Raises
    ------
    DesignError
        n is 0, or count is not between 0 and n.

    Notes
    -----
    (2·count + z² ± z·√(z² + 4·count·(1 - count/n))) / (2·(n + z²)). With halves the interval is wider than the level
    asks, as a half varies less than a whole.

    References
    ----------
    Wilson (1927) J Am Stat Assoc 22:209-212; Newcombe (1998) Stat Med 17:857-872.

    Examples
    --------
    >>> found = wilson_interval(0, 20)
    >>> found.low, round(found.high, 4)
    (0.0, 0.1611)
    """
    check_level(level)
    if n < 1:
        raise DesignError("a share of no people is not defined")
    if not 0 <= count <= n:
        raise DesignError(f"{count:g} of {n} is no share")
    z = normal_quantile((1 + level) / 2)
    centre, root = 2 * count + z * z, z * math.sqrt(z * z + 4 * count * (1 - count / n))
    low = 0.0 if count == 0 else (centre - root) / (2 * (n + z * z))
    high = 1.0 if count == n else (centre + root) / (2 * (n + z * z))
    return Interval(low, high, level, "Wilson score")


def clopper_pearson_interval(count: int, n: int, *, level: float = 0.95) -> Interval:
    """Exact interval of a share: never holds the truth less often than the level says, mostly more often.

    Parameters
    ----------
    count : int
        Participants with the property.
    n : int
        All participants.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Between 0 and 1.

    Raises
    ------
    DesignError
        n is 0, or count is no whole number between 0 and n.

    Notes
    -----
    The shares under which neither so few nor so many would have a chance below (1 - level)/2: quantiles of the beta
    distributions (count, n - count + 1) and (count + 1, n - count).

    References
    ----------
    Clopper & Pearson (1934) Biometrika 26:404-413; compared with others: Newcombe (1998) Stat Med 17:857-872.

    Examples
    --------
    >>> found = clopper_pearson_interval(0, 20)
    >>> found.low, round(found.high, 4)
    (0.0, 0.1684)
    """
    from scipy.special import betaincinv

    check_level(level)
    if n < 1:
        raise DesignError("a share of no people is not defined")
    if not 0 <= count <= n or count != int(count):
        raise DesignError(f"{count:g} of {n} is no share of whole people")
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, n - count + 1, tail))
    high = 1.0 if count == n else float(betaincinv(count + 1, n - count, 1 - tail))
    return Interval(low, high, level, "Clopper-Pearson")


def standard_deviation_interval(sd: float, df: float, *, level: float = 0.95) -> Interval:
    """Chi-square interval of a standard deviation.

    Parameters
    ----------
    sd : float
        Standard deviation, above 0.
    df : float
        Degrees of freedom that it was estimated with, above 0.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        In the unit of `sd`.

    Raises
    ------
    DesignError
        `sd` or `df` is not above 0.

    Notes
    -----
    sd·√(df / χ²), with the upper and lower chi-square quantiles; assumes normal errors.

    References
    ----------
    Hopkins (2000) Sports Med 30:1-15.

    Examples
    --------
    >>> found = standard_deviation_interval(7.55692681301, 7)
    >>> round(found.low, 4), round(found.high, 4)
    (4.9964, 15.3804)
    """
    check_level(level)
    if not (sd > 0 and math.isfinite(sd)):
        raise DesignError("a standard deviation of 0 has no interval")
    if not df > 0:
        raise DesignError("a standard deviation without degrees of freedom has no interval")
    tail = (1 - level) / 2
    low = sd * math.sqrt(df / chi_square_quantile(1 - tail, df))
    lowest = chi_square_quantile(tail, df)
    high = sd * math.sqrt(df / lowest) if lowest > 0 else math.inf
    return Interval(low, high, level, "chi-square")


def fisher_interval(r: float, error: float, quantile: float, *, level: float) -> Interval | None:
    """Interval of a coefficient within -1 to 1 on Fisher's scale, from its standard error.

    Parameters
    ----------
    r, error : float
        Coefficient and its standard error, without unit.
    quantile : float
        Of the normal or the t distribution, for `level`.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval or None
        tanh(atanh r ± quantile · error/(1 - r²)); None at -1 and 1, and without a standard error above 0.

    References
    ----------
    Fisher (1921) Metron 1:3-32 (the scale, from memory); standard error on it by the delta method.

    Examples
    --------
    >>> found = fisher_interval(0.5, 0.1, 2.0, level=0.95)
    >>> round(found.low, 3), round(found.high, 3)
    (0.275, 0.673)
    """
    if not (abs(r) < 1 and 0 < error < math.inf):
        return None
    return around_fisher(r, quantile * error / (1 - r * r), level=level, method="Fisher z")


def around_fisher(r: float, half: float, *, level: float, method: str) -> Interval:
    """Return tanh(atanh r ± half), half the width on Fisher's scale, for a coefficient between -1 and 1."""
    middle = math.atanh(r)
    return Interval(math.tanh(middle - half), math.tanh(middle + half), level, method)


def correlation_interval(r: float, n: int, *, controls: int = 0, ranks: bool = False, level: float = 0.95) -> Interval:
    """Interval of a correlation by Fisher's transformation.

    Parameters
    ----------
    r : float
        Correlation, or partial correlation.
    n : int
        Participants.
    controls : int
        Variables held constant.
    ranks : bool
        Whether `r` is Spearman's; then the variance is widened by 1 + r²/2.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Between -1 and 1.

    Raises
    ------
    DesignError
        Too few participants, or a correlation of -1 or 1.

    Notes
    -----
    tanh(atanh r ± z·√(v / (n - controls - 3))), v = 1, or 1 + r²/2 for ranks. For partial rank correlations the last is
    an approximation.

    References
    ----------
    Fisher (1921) Metron 1:3-32; Bonett & Wright (2000) Psychometrika 65:23-28 (ranks).

    Examples
    --------
    >>> found = correlation_interval(0.5, 28)
    >>> round(found.low, 4), round(found.high, 4)
    (0.156, 0.7358)
    """
    check_level(level)
    if n - controls <= 3:
        raise DesignError(f"a correlation of {n} people has no interval")
    if not abs(r) < 1 - 1e-12:
        raise DesignError("a correlation of -1 or 1 has no interval")
    variance = (1 + r * r / 2 if ranks else 1.0) / (n - controls - 3)
    half = normal_quantile((1 + level) / 2) * math.sqrt(variance)
    name = "Fisher z, Bonett-Wright variance" if ranks else "Fisher z"
    return around_fisher(r, half, level=level, method=name)


def newcombe_interval(count: int, n: int, other_count: int, other_n: int, *, level: float = 0.95) -> Interval:
    """Interval of the difference of two shares of different people.

    Parameters
    ----------
    count, n : int
        Participants with the property, and all, of the group that is looked at.
    other_count, other_n : int
        The same of the group that is subtracted.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Between -1 and 1.

    Raises
    ------
    DesignError
        A group of nobody, or a count that is not between 0 and its group.

    Notes
    -----
    With Wilson intervals (l1, u1) and (l2, u2) of the shares p1 and p2, the ends are
    d - √((p1 - l1)² + (u2 - p2)²) and d + √((u1 - p1)² + (p2 - l2)²) (method 10, without continuity correction).

    References
    ----------
    Newcombe (1998) Stat Med 17:873-890.

    Examples
    --------
    >>> found = newcombe_interval(56, 70, 48, 80)
    >>> round(found.low, 4), round(found.high, 4)
    (0.0524, 0.3339)
    """
    one, two = wilson_interval(count, n, level=level), wilson_interval(other_count, other_n, level=level)
    p, q = count / n, other_count / other_n
    low = p - q - math.hypot(p - one.low, two.high - q)
    high = p - q + math.hypot(one.high - p, q - two.low)
    return Interval(low, high, level, "Newcombe method 10")
