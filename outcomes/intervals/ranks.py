"""Ranks, and the Hodges-Lehmann estimate with its interval from Walsh averages."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from outcomes.intervals.quantiles import check_level, normal_quantile
from outcomes.matrices import Vector, finite_vector, snapped
from outcomes.result import Interval, Result

MOST_EXACT = 300
"""Values up to which the null distribution of the signed-rank sum is exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HodgesLehmann(Result):
    """Result of `hodges_lehmann`.

    Parameters
    ----------
    value : float
        Median of the Walsh averages, in the unit of the values.
    interval : Interval, optional
        None where no interval reaches the level.
    attained_level : float
        Coverage that the interval has for values without ties, at least the nominal one; without an interval, the
        highest that can be had.
    n_people, n_averages : int
        Values, and their Walsh averages.
    reasons : dict of str to str
        Why the interval is absent.
    """

    value: float
    interval: Interval | None
    attained_level: float
    n_people: int
    n_averages: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return value and interval, rounded."""
        i = self.interval
        limits = "no interval" if i is None else f"{self.attained_level:.1%} interval {i.low:.4g} to {i.high:.4g}"
        return f"Hodges-Lehmann estimate {self.value:.4g} ({limits}, n = {self.n_people})"


def hodges_lehmann(values: ArrayLike, *, level: float = 0.95) -> HodgesLehmann:
    """Hodges-Lehmann estimate of the middle of a symmetric distribution, with its interval.

    Parameters
    ----------
    values : array of shape (n,)
        One change per participant; zeros stay; no missing values.
    level : float
        Nominal coverage.

    Returns
    -------
    HodgesLehmann

    Raises
    ------
    DesignError
        No values, or a missing one.

    Notes
    -----
    Walsh averages are (x_i + x_j)/2 for i <= j. The ends are the k-th lowest and k-th highest of them, k from the exact
    null distribution of the signed-rank sum (normal approximation with continuity correction above 300 values). With
    ties the attained level is approximate.

    References
    ----------
    Hodges & Lehmann (1963) Ann Math Stat 34:598-611; Hollander & Wolfe (1999) Nonparametric Statistical Methods,
    3.2-3.3.

    Examples
    --------
    >>> found = hodges_lehmann([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    >>> found.value, found.interval.low, found.interval.high, found.attained_level
    (3.5, 1.0, 6.0, 0.96875)
    """
    check_level(level)
    x = np.sort(finite_vector(values, name="values"))
    n = len(x)
    first, second = np.triu_indices(n)
    averages = np.sort((x[first] + x[second]) / 2)
    m = len(averages)
    k, attained = _order(n, (1 - level) / 2)
    interval, reasons = None, {}
    if k >= 1:
        method = "Walsh averages, exact" if n <= MOST_EXACT else "Walsh averages, normal approximation"
        interval = Interval(float(averages[k - 1]), float(averages[m - k]), level, method)
    else:
        reasons["interval"] = f"no {level:.0%} interval exists for n = {n}; the widest reaches {attained:.1%}"
    return HodgesLehmann(
        value=float(np.median(averages)),
        interval=interval,
        attained_level=attained,
        n_people=n,
        n_averages=m,
        reasons=reasons,
    )


def midranks(values: Vector) -> Vector:
    """Return ranks from 1, equal values sharing their mean rank.

    Parameters
    ----------
    values : array of shape (n,)
        Values that differ by floating-point dust only count as equal.

    Returns
    -------
    array of shape (n,)

    Examples
    --------
    >>> midranks(np.array([2.0, 1.0, 2.0]))
    array([2.5, 1. , 2.5])
    """
    _, place, counts = np.unique(snapped(values), return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    ranks: Vector = (last - (counts - 1) / 2)[place]
    return ranks


def _order(n: int, tail: float) -> tuple[int, float]:
    """Return how far in from both ends the interval lies, and the level that it attains (0 and the highest if none)."""
    total = n * (n + 1) // 2
    from scipy.special import ndtr

    if n > MOST_EXACT:
        sd = math.sqrt(n * (n + 1) * (2 * n + 1) / 24)
        k = math.floor(total / 2 + 0.5 + normal_quantile(tail) * sd)
        return k, 1 - 2 * float(ndtr((k - 0.5 - total / 2) / sd))
    chance = np.zeros(total + 1)
    chance[0] = 1.0
    for rank in range(1, n + 1):
        moved = np.zeros_like(chance)
        moved[rank:] = chance[:-rank]
        chance = (chance + moved) / 2
    below = np.cumsum(chance)
    # P(W <= k - 1) must not exceed the tail: k counts the values of W that are left out at each end.
    k = int(np.searchsorted(below, tail * (1 + 1e-12), side="right"))
    return k, 1 - 2 * float(below[k - 1]) if k >= 1 else 1 - 2 * float(below[0])
