"""Consistency of the items of a total: Cronbach's alpha."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, f_quantile
from outcomes.matrices import Matrix
from outcomes.result import Estimate, Interval, Result

Missing = Literal["listwise", "pairwise"]
_SOURCE = "Cronbach (1951) Psychometrika 16:297"


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemConsistency(Result):
    """Result of `cronbach_alpha`; without unit.

    Parameters
    ----------
    alpha : Estimate
        At most 1; negative values are kept.
    missing : str
        How missing answers were treated.
    n_people, n_items, n_incomplete : int
        People that count; items; people with a missing answer.
    """

    alpha: Estimate
    missing: str
    n_people: int
    n_items: int
    n_incomplete: int

    def summary(self) -> str:
        """Return alpha, rounded, with interval, n and the rule for missing answers."""
        found = self.alpha
        limits = "no interval" if found.interval is None else f"{found.interval.low:.2f} to {found.interval.high:.2f}"
        return (
            f"Cronbach's alpha {found.value:.2f} ({limits}; {self.n_people} people, {self.n_items} items, "
            f"{self.n_incomplete} incomplete, {self.missing})"
        )


def item_matrix(items: ArrayLike, *, least_items: int) -> Matrix:
    """Return people in rows and items in columns, nan where an answer is missing.

    Raises
    ------
    DesignError
        No such matrix, an infinite value, or too few items.
    """
    try:
        matrix = np.asarray(items, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError("items are not all numbers") from error
    if matrix.ndim != 2:
        raise DesignError("items need people in rows and items in columns")
    if np.isinf(matrix).any():
        raise DesignError("items hold an infinite value")
    if matrix.shape[1] < least_items:
        raise DesignError(f"{matrix.shape[1]} items; at least {least_items} are needed")
    return matrix


def cronbach_alpha(items: ArrayLike, *, missing: Missing = "listwise", level: float = 0.95) -> ItemConsistency:
    """Cronbach's alpha of items that are added to a total.

    Parameters
    ----------
    items : array of shape (n_participants, n_items)
        Item scores, all in the same direction; a missing answer is nan.
    missing : {"listwise", "pairwise"}
        People with a missing answer are left out and counted; or every covariance is taken from the people who have
        both items, which other programs do unasked and which has no interval where answers are missing.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    ItemConsistency

    Raises
    ------
    DesignError
        Fewer than two items or three people, a total that does not vary, or an infinite value.

    Notes
    -----
    k/(k - 1)·(1 - Σ variances of items/variance of the total). Interval of Feldt: 1 - (1 - alpha)·F quantiles with n -
    1 and (n - 1)(k - 1). It says how alike items rank people here, not that they measure one thing, and rises with the
    number of items.

    References
    ----------
    Cronbach (1951) Psychometrika 16:297-334; Feldt, Woodruff & Salih (1987) Appl Psychol Meas 11:93-103 (interval).

    Examples
    --------
    >>> found = cronbach_alpha([[1, 2, 1], [2, 2, 3], [3, 4, 3], [4, 4, 5], [5, 6, 5]])
    >>> round(found.alpha.value, 3)
    0.96
    """
    check_level(level)
    matrix = item_matrix(items, least_items=2)
    k = matrix.shape[1]
    gaps = np.isnan(matrix).any(axis=1)
    if missing == "listwise":
        matrix = matrix[~gaps]
    elif missing != "pairwise":
        raise DesignError(f"missing '{missing}' is neither 'listwise' nor 'pairwise'")
    else:
        matrix = matrix[~np.isnan(matrix).all(axis=1)]
    n = len(matrix)
    if n < 3:
        raise DesignError(f"{n} people with every item; at least 3 are needed")
    covariance = _covariance(matrix)
    total = float(covariance.sum())
    if not total > 1e-12 * max(1e-300, float(np.abs(covariance).max())):
        raise DesignError("the total does not vary between people, so alpha is not defined")
    value = k / (k - 1) * (1 - float(np.trace(covariance)) / total)
    exact = not np.isnan(matrix).any() and value < 1 - 1e-12
    interval = None
    if exact:
        tail, df = (1 - level) / 2, (n - 1, (n - 1) * (k - 1))
        low = 1 - (1 - value) * f_quantile(1 - tail, *df)
        interval = Interval(low, 1 - (1 - value) / f_quantile(1 - tail, df[1], df[0]), level, "Feldt F")
    caveat = "perfect_agreement" if value >= 1 - 1e-12 else "pairwise_no_interval"
    estimate = Estimate(
        value=value, unit="1", method="cronbach_alpha", n_people=n, n_values=int((~np.isnan(matrix)).sum()),
        interval=interval, source=_SOURCE, caveats=() if interval else (caveat,),
    )  # fmt: skip
    return ItemConsistency(alpha=estimate, missing=missing, n_people=n, n_items=k, n_incomplete=int(gaps.sum()))


def _covariance(matrix: Matrix) -> Matrix:
    """Return covariances with divisor n - 1, each from the people who have both items."""
    k = matrix.shape[1]
    out = np.empty((k, k))
    for i in range(k):
        for j in range(i, k):
            both = ~np.isnan(matrix[:, i]) & ~np.isnan(matrix[:, j])
            if both.sum() < 3:
                raise DesignError(
                    f"{int(both.sum())} people have both items {i + 1} and {j + 1}; at least 3 are needed"
                )
            a, b = matrix[both, i], matrix[both, j]
            out[i, j] = out[j, i] = float(((a - a.mean()) * (b - b.mean())).sum()) / (both.sum() - 1)
    return out
