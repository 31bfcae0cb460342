"""How well a change tells two kinds of people apart: ROC area, its interval, and the best cut-point."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import midranks, normal_quantile, wilson_interval
from outcomes.matrices import Vector
from outcomes.result import Interval

Flags = NDArray[np.bool_]
Rule = Literal["youden", "corner"]


def best_cuts(values: Vector, flag: Flags, rule: Rule = "youden") -> tuple[float, float, float, tuple[float, ...]]:
    """Return the cut-point that tells both kinds apart best, and every one as good.

    Parameters
    ----------
    values : array of shape (n,)
        Not all equal.
    flag : array of bool of shape (n,)
        Of both kinds.
    rule : {"youden", "corner"}
        Largest sensitivity + specificity; or the point of the curve that is nearest to sensitivity = specificity = 1.

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
    >>> best_cuts(np.array([1.0, 2.0, 3.0, 4.0]), np.array([False, False, True, True]))
    (2.5, 1.0, 1.0, (2.5,))
    """
    cuts, missed, kept, equal = _cuts(values[None, :], flag[None, :], rule)
    good = tuple(float(cut) for cut in equal[0][np.isfinite(equal[0])])
    return float(cuts[0]), float(1 - missed[0]), float(kept[0]), good


def best_rows(values: NDArray[np.float64], flag: Flags, rule: Rule = "youden") -> Vector:
    """Return the cut-point of `best_cuts` for every row; nan where a row is of one kind, or all equal.

    Parameters
    ----------
    values : array of shape (n_rows, n)
    flag : array of bool of shape (n_rows, n)
    rule : {"youden", "corner"}

    Returns
    -------
    array of shape (n_rows,)
    """
    return _cuts(values, flag, rule)[0]


def _cuts(values: NDArray[np.float64], flag: Flags, rule: Rule) -> tuple[Vector, Vector, Vector, NDArray[np.float64]]:
    """Return, by row, the cut-point, the shares missed and kept at it, and every cut-point as good (nan elsewhere)."""
    known, code = np.unique(values, return_inverse=True)
    rows, size = len(values), len(known)
    place = (np.arange(rows)[:, None] * size + code.reshape(values.shape)).ravel()
    there = np.bincount(place, minlength=rows * size).reshape(rows, size)
    yes = np.bincount(place, weights=flag.ravel(), minlength=rows * size).reshape(rows, size)
    missed, kept = np.cumsum(yes, axis=1), np.cumsum(there - yes, axis=1)
    n_yes, n_no = missed[:, -1:], kept[:, -1:]
    # next higher value of the row, infinite above its highest
    upward = np.where(there > 0, known, np.inf)
    later = np.minimum.accumulate(upward[:, ::-1], axis=1)[:, ::-1]
    following = np.concatenate([later[:, 1:], np.full((rows, 1), np.inf)], axis=1)
    able = (there > 0) & np.isfinite(following) & (n_yes > 0) & (n_no > 0)
    # in whole numbers, so that equally good cut-points are equal
    if rule == "youden":
        gain = np.where(able, kept * n_yes - missed * n_no, -np.inf)
    else:
        gain = np.where(able, -((missed * n_no) ** 2) - ((n_no - kept) * n_yes) ** 2, -np.inf)
    best = gain.max(axis=1, keepdims=True)
    equal = np.where(able & (gain == best), (known + np.where(np.isfinite(following), following, 0)) / 2, np.nan)
    some = able.any(axis=1)
    cuts, lost, held = (np.full(rows, np.nan) for _ in range(3))
    good = equal[some]
    middle = (np.nanmin(good, axis=1) + np.nanmax(good, axis=1)) / 2
    chosen = np.nanargmin(np.abs(good - middle[:, None]), axis=1)
    pick = np.arange(len(good)), chosen
    cuts[some] = good[pick]
    lost[some] = missed[some][pick] / n_yes[some, 0]
    held[some] = kept[some][pick] / n_no[some, 0]
    return cuts, lost, held, equal


def area(values: Vector, flag: Flags) -> float:
    """Return the area under the ROC curve: the chance that a flagged value is the higher one, ties counting a half.

    Examples
    --------
    >>> area(np.array([1.0, 2.0, 2.0, 4.0]), np.array([False, False, True, True]))
    0.875
    """
    n, m = int(flag.sum()), int((~flag).sum())
    return float((midranks(values)[flag].sum() - n * (n + 1) / 2) / (n * m))


def placements(values: Vector, flag: Flags) -> tuple[Vector, Vector]:
    """Return, of each flagged value, the share of the others below it, and of each other that of the flagged above it.

    Examples
    --------
    >>> placements(np.array([1.0, 2.0, 2.0, 4.0]), np.array([False, False, True, True]))
    (array([0.75, 1.  ]), array([1.  , 0.75]))
    """
    ranks, yes, no = midranks(values), values[flag], values[~flag]
    return (ranks[flag] - midranks(yes)) / len(no), 1 - (ranks[~flag] - midranks(no)) / len(yes)


def placement_variance(above: Vector, below: Vector) -> float:
    """Return DeLong's variance of an area from its placements, or of a difference of two from those of theirs."""
    return float(np.var(above, ddof=1) / len(above) + np.var(below, ddof=1) / len(below))


def checked_flags(values: ArrayLike, n: int, name: str) -> Flags:
    """Return which of n people are flagged.

    Raises
    ------
    DesignError
        Not one for each of them, or one that is missing or neither true nor false.
    """
    try:
        numbers = np.asarray(values, dtype=object).astype(float)
    except (TypeError, ValueError) as error:
        raise DesignError(f"{name} are true or false") from error
    if numbers.shape != (n,):
        raise DesignError(f"{n} people and {numbers.size} {name}: lengths differ")
    if not np.isin(numbers, (0, 1)).all():
        raise DesignError(f"{name} are true or false, and none is missing")
    flags: Flags = numbers == 1
    return flags


def area_interval(
    values: Vector, flag: Flags, *, level: float = 0.95, interval: Literal["logit", "delong"] = "logit"
) -> Interval | None:
    """Return the interval of the area from DeLong's variance.

    Parameters
    ----------
    values : array of shape (n,)
    flag : array of bool of shape (n,)
        At least two of each kind.
    level : float
        Nominal coverage.
    interval : {"logit", "delong"}
        On the logit scale; or area ± z standard errors, as the 1988 paper has it, which is cut at 0 and 1 and too
        narrow for few people.

    Returns
    -------
    Interval or None
        None where all are tied; of "delong" also where both kinds do not overlap, so that the variance is 0.

    Raises
    ------
    DesignError
        Fewer than two people of one kind, or an interval that is none of those.

    Notes
    -----
    logit A ± z √v/(A (1 - A)), v the variance of DeLong et al. Where the kinds do not overlap, m the smaller number of
    people of a kind: from m/(m + z²) to 1, or its mirror image, as Feng & Cliff do it.

    References
    ----------
    DeLong et al. (1988) Biometrics 44:837-845; Sun & Xu (2014) IEEE Signal Process Lett 21:1389-1393 (by ranks); Pohar
    Perme & Manevski (2018) Stat Methods Med Res, doi 10.1177/0962280218814556 (logit scale); Feng & Cliff (2004) J Mod
    Appl Stat Methods 3:322-332.

    Examples
    --------
    >>> rated = np.array([False, False, True, False, True, True])
    >>> found = area_interval(np.array([1.0, 2, 3, 4, 5, 6]), rated)
    >>> round(found.low, 3), round(found.high, 3)
    (0.261, 0.995)
    """
    if interval not in ("logit", "delong"):
        raise DesignError(f"interval '{interval}' of an area is none of logit, delong")
    yes, no = values[flag], values[~flag]
    if min(len(yes), len(no)) < 2:
        raise DesignError("an area under the curve needs two people of each kind for an interval")
    variance = placement_variance(*placements(values, flag))
    middle, z = area(values, flag), normal_quantile((1 + level) / 2)
    if interval == "logit" and middle in (0.0, 1.0):
        few = min(len(yes), len(no))
        share = wilson_interval(few * middle, few, level=level)
        return Interval(share.low, share.high, level, "Feng-Cliff, no overlap")
    if variance <= 0:
        return None
    half = z * math.sqrt(variance)
    if interval == "delong":
        return Interval(max(middle - half, 0.0), min(middle + half, 1.0), level, "DeLong")
    odds, factor = middle / (1 - middle), math.exp(half / (middle * (1 - middle)))
    return Interval(odds / (odds + factor), odds * factor / (1 + odds * factor), level, "DeLong, logit scale")
