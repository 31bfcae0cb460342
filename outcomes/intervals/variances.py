"""Interval of a sum of variances that were estimated apart, each with its own degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import check_level, chi_square_quantile
from outcomes.result import Interval


@dataclass(frozen=True, slots=True)
class VariancePart:
    """One estimated variance with its weight in a sum.

    Parameters
    ----------
    weight : float
        Not negative.
    variance : float
        Mean square, in a squared unit; not negative.
    df : float
        Degrees of freedom, above 0.
    """

    weight: float
    variance: float
    df: float


def variance_interval(parts: Sequence[VariancePart], *, level: float = 0.95) -> Interval:
    """Interval of a weighted sum of independent mean squares, by recovering the variance of each from its interval.

    Parameters
    ----------
    parts : sequence of VariancePart
        Independent mean squares of normal values, with weights that are not negative.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval
        In the squared unit; that of one part is the chi-square interval.

    Raises
    ------
    DesignError
        No variance above 0, or no degrees of freedom.

    Notes
    -----
    With terms t = weight · variance and their own chi-square limits l, u: total - √Σ(t - l)² to total + √Σ(u - t)².

    References
    ----------
    Zou (2013) Stat Methods Med Res 22:630-642; Graybill & Wang (1980) J Am Stat Assoc 75:869-873. Formula from memory;
    its coverage is in the table of tests/studies.

    Examples
    --------
    >>> found = variance_interval([VariancePart(1.0, 4.0, 9)])
    >>> round(found.low, 3), round(found.high, 3)
    (1.892, 13.331)
    """
    check_level(level)
    tail = (1 - level) / 2
    total = sum(part.weight * part.variance for part in parts)
    if not total > 0:
        raise DesignError("a variance of 0 has no interval")
    below = above = 0.0
    for part in parts:
        term = part.weight * part.variance
        if term == 0:
            continue
        if not part.df > 0:
            raise DesignError("a variance without degrees of freedom has no interval")
        lowest = chi_square_quantile(tail, part.df)
        below += (term * (1 - part.df / chi_square_quantile(1 - tail, part.df))) ** 2
        above += (term * (part.df / lowest - 1)) ** 2 if lowest > 0 else math.inf
    return Interval(total - math.sqrt(below), total + math.sqrt(above), level, "recovered variances")
