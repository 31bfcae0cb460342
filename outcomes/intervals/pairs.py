"""Interval of the share of pairs, one value of each of two groups, in which the second is the higher."""

from __future__ import annotations

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import check_level, normal_quantile
from outcomes.result import Interval


def pairs_interval(share: float, m: int, n: int, *, level: float = 0.95) -> Interval:
    """Newcombe's interval of a share of pairs of independent values, ties counting a half.

    Parameters
    ----------
    share : float
        Of the m n pairs; the Mann-Whitney count divided by their number.
    m, n : int
        Values of the two groups.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        Between 0 and 1.

    Raises
    ------
    DesignError
        A group without values, or a share that is not between 0 and 1.

    Notes
    -----
    All x with (share - x)² ≤ z² x (1 - x) (1 + h ((1 - x)/(2 - x) + x/(1 + x)))/(m n), h = (m + n)/2 - 1 (method 5).
    It has an end away from the bound where no pair overlaps, and assumes that all values are independent.

    References
    ----------
    Newcombe (2006) Stat Med 25:559-573.

    Examples
    --------
    >>> found = pairs_interval(1.0, 8, 8)
    >>> round(found.low, 4), found.high
    (0.7556, 1.0)
    """
    check_level(level)
    if m < 1 or n < 1:
        raise DesignError(f"{m} and {n} values make no pairs; each group needs one or more")
    if not 0 <= share <= 1:
        raise DesignError(f"{share:g} is no share of pairs")
    z = normal_quantile((1 + level) / 2)
    low, high = _lower_end(share, m, n, z), 1 - _lower_end(1 - share, m, n, z)
    return Interval(min(low, share), max(high, share), level, "Newcombe method 5 of pairs")


def _lower_end(share: float, m: int, n: int, z: float) -> float:
    from scipy.optimize import brentq

    if share == 0:
        return 0.0
    h = (m + n) / 2 - 1

    def beyond(x: float) -> float:
        inner = 2 + h + (1 + 2 * h) * x * (1 - x)
        return float(m * n * (share - x) ** 2 * (2 - x) * (1 + x) - z * z * x * (1 - x) * inner)

    return float(brentq(beyond, 0.0, min(share, 1 - 1e-12), xtol=1e-14))
