"""How well a change tells two kinds of people apart: ROC area, its interval, and the best cut-point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from outcomes.errors import DesignError
from outcomes.intervals import midranks, normal_quantile
from outcomes.matrices import Vector
from outcomes.result import Interval

Flags = NDArray[np.bool_]


def youden_cuts(values: Vector, flag: Flags) -> tuple[float, float, float, tuple[float, ...]]:
    """Return the cut-point with the largest sensitivity + specificity, and every one as good.

    Parameters
    ----------
    values : array of shape (n,)
        Not all equal.
    flag : array of bool of shape (n,)
        Of both kinds.

    Returns
    -------
    cut, sensitivity, specificity : float
        A value of at least `cut` counts as flagged.
    equally_good : tuple of float
        Upward; `cut` is the one nearest to the middle of the first and the last, of two the lower.

    Notes
    -----
    Cut-points are midpoints between adjacent observed values, so that a unit of measurement never decides ">" or ">=".

    Examples
    --------
    >>> youden_cuts(np.array([1.0, 2.0, 3.0, 4.0]), np.array([False, False, True, True]))
    (2.5, 1.0, 1.0, (2.5,))
    """
    order = np.argsort(values, kind="stable")
    x, kind = values[order], flag[order]
    yes, no = np.cumsum(kind), np.cumsum(~kind)
    ends = np.flatnonzero(x[1:] > x[:-1])
    missed, kept = yes[ends], no[ends]
    # as whole numbers, so that equally good cut-points are equal: (n_yes - missed)/n_yes + kept/n_no
    gain = kept * int(yes[-1]) - missed * int(no[-1])
    best = np.flatnonzero(gain == gain.max())
    cuts = (x[ends] + x[ends + 1]) / 2
    good = cuts[best]
    chosen = int(best[np.argmin(np.abs(good - (good[0] + good[-1]) / 2))])
    return (
        float(cuts[chosen]),
        float(1 - missed[chosen] / yes[-1]),
        float(kept[chosen] / no[-1]),
        tuple(float(cut) for cut in good),
    )


def area(values: Vector, flag: Flags) -> float:
    """Return the area under the ROC curve: the chance that a flagged value is the higher one, ties counting a half.

    Examples
    --------
    >>> area(np.array([1.0, 2.0, 2.0, 4.0]), np.array([False, False, True, True]))
    0.875
    """
    n, m = int(flag.sum()), int((~flag).sum())
    return float((midranks(values)[flag].sum() - n * (n + 1) / 2) / (n * m))


def delong_interval(values: Vector, flag: Flags, *, level: float = 0.95) -> Interval | None:
    """Return the DeLong interval of the area; None where both kinds do not overlap, so that its variance is 0.

    Parameters
    ----------
    values : array of shape (n,)
    flag : array of bool of shape (n,)
        At least two of each kind.
    level : float
        Nominal coverage.

    Returns
    -------
    Interval or None
        Cut at 0 and 1, which no area can pass.

    Raises
    ------
    DesignError
        Fewer than two people of one kind.

    References
    ----------
    DeLong et al. (1988) Biometrics 44:837-845; Sun & Xu (2014) IEEE Signal Process Lett 21:1389-1393 (by ranks).
    """
    yes, no = values[flag], values[~flag]
    if min(len(yes), len(no)) < 2:
        raise DesignError("an area under the curve needs two people of each kind for an interval")
    ranks = midranks(values)
    above = (ranks[flag] - midranks(yes)) / len(no)
    below = 1 - (ranks[~flag] - midranks(no)) / len(yes)
    variance = float(np.var(above, ddof=1) / len(yes) + np.var(below, ddof=1) / len(no))
    if variance <= 0:
        return None
    middle, half = area(values, flag), normal_quantile((1 + level) / 2) * variance**0.5
    return Interval(max(middle - half, 0.0), min(middle + half, 1.0), level, "DeLong")
