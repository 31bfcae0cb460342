"""Cohen's kappa of two raters or occasions, plain and weighted, on the whole declared scale."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, normal_quantile
from outcomes.matrices import Matrix
from outcomes.reliability.grades import MISSING, WeightWord, agreement_weights, grade_codes
from outcomes.result import Estimate, HypothesisTest, Interval, Result

_SOURCE = "Fleiss, Cohen & Everitt (1969) Psychol Bull 72:323"
FEW = 30
"""Below this many people the normal interval carries a caveat (coverage table of tests/studies)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa(Result):
    """Result of `cohen_kappa` and `kappa_of_table`; without unit.

    Parameters
    ----------
    kappa : Estimate
        At most 1; with a normal interval and the test of no agreement beyond chance.
    standard_error, null_standard_error : float
        For the interval, and under no agreement beyond chance for the test.
    observed, expected : float
        Weighted share of agreement, seen and by chance.
    counts : tuple of tuple of int or float
        First rating in rows, second in columns, in the order of the grades.
    grades : tuple
        The whole declared scale.
    weights : str
        "plain", "linear", "quadratic" or "free".
    n_people : int
        Rated pairs.
    """

    kappa: Estimate
    standard_error: float
    null_standard_error: float
    observed: float
    expected: float
    counts: tuple[tuple[float, ...], ...]
    grades: tuple[Hashable, ...]
    weights: str
    n_people: int

    def summary(self) -> str:
        """Return kappa, rounded, with interval, weights and n."""
        found = self.kappa
        limits = "no interval" if found.interval is None else f"{found.interval.low:.2f} to {found.interval.high:.2f}"
        name = "kappa" if self.weights == "plain" else f"{self.weights} weighted kappa"
        return f"{name} {found.value:.2f} ({limits}; {self.n_people} people, {len(self.grades)} grades)"


def cohen_kappa(
    first: Sequence[object] | ArrayLike,
    second: Sequence[object] | ArrayLike,
    *,
    grades: Sequence[Hashable],
    weights: WeightWord | ArrayLike = "plain",
    weights_are: Literal["agreement", "disagreement"] = "agreement",
    level: float = 0.95,
) -> Kappa:
    """Agreement of two ratings of the same people beyond chance.

    Parameters
    ----------
    first, second : sequence of length n_participants
        Grades, same order; no missing values.
    grades : sequence
        Every grade of the scale, lowest first, whether used or not: weights are counted over all of them.
    weights : {"plain", "linear", "quadratic"} or array of shape (n_grades, n_grades)
        How much of an agreement two different grades are.
    weights_are : {"agreement", "disagreement"}
        What free weights mean.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    Kappa
        Negative values are kept; perfect agreement is 1. No interval where everybody's two ratings agree alike.

    Raises
    ------
    DesignError
        Fewer than two people, lengths differ, a missing rating, a rating outside the scale, or one grade only, so that
        chance alone agrees.

    Notes
    -----
    κ = (po - pe)/(1 - pe), po = Σ w·p, pe = Σ w·(row share)·(column share). Standard errors of Fleiss, Cohen & Everitt:
    for the interval κ ± z·se, and another under κ = 0 for the test. The interval may pass 1, and is rough below 30
    people. Linear weights lean on the number of grades: a grade that nobody used still counts.

    References
    ----------
    Cohen (1960) Educ Psychol Meas 20:37-46; Cohen (1968) Psychol Bull 70:213-220; Fleiss, Cohen & Everitt (1969)
    Psychol Bull 72:323-327.

    Examples
    --------
    >>> found = cohen_kappa([0, 1, 1, 2, 2, 3], [0, 1, 2, 2, 2, 3], grades=range(5), weights="quadratic")
    >>> round(found.kappa.value, 3)
    0.909
    """
    codes = [grade_codes(np.asarray(list(r), dtype=object), grades, name="ratings") for r in (first, second)]  # type: ignore[arg-type]
    if len(codes[0]) != len(codes[1]):
        raise DesignError(f"{len(codes[0])} first and {len(codes[1])} second ratings")
    missing = int(sum((one == MISSING).sum() for one in codes))
    if missing:
        raise DesignError(f"{missing} ratings missing; leave incomplete people out and count them")
    counts = np.zeros((len(grades), len(grades)))
    np.add.at(counts, (codes[0], codes[1]), 1)
    return kappa_of_table(counts, grades=grades, weights=weights, weights_are=weights_are, level=level)


def kappa_of_table(
    counts: ArrayLike,
    *,
    grades: Sequence[Hashable] = (),
    weights: WeightWord | ArrayLike = "plain",
    weights_are: Literal["agreement", "disagreement"] = "agreement",
    level: float = 0.95,
) -> Kappa:
    """Kappa from the table of counts of first against second ratings.

    Parameters
    ----------
    counts : array of shape (n_grades, n_grades)
        People; first rating in rows.
    grades : sequence, optional
        Names of the grades; 1, 2, ... by default.
    weights, weights_are, level
        As in `cohen_kappa`.

    Returns
    -------
    Kappa

    Raises
    ------
    DesignError
        No square table of counts, and what `cohen_kappa` refuses.

    References
    ----------
    As `cohen_kappa`.

    Examples
    --------
    The table of Fleiss, Cohen & Everitt (1969):

    >>> found = kappa_of_table([[106, 10, 4], [22, 28, 10], [2, 12, 6]])
    >>> round(found.kappa.value, 3), round(found.standard_error, 4)
    (0.429, 0.0537)
    """
    check_level(level)
    table = np.asarray(counts, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or len(table) < 2:
        raise DesignError("counts need a square table of at least two grades")
    if not np.isfinite(table).all() or (table < 0).any():
        raise DesignError("counts are finite and not below 0")
    n, q = float(table.sum()), len(table)
    if n < 2:
        raise DesignError(f"{n:g} rated people; kappa needs at least 2")
    w = agreement_weights(weights, q, weights_are=weights_are)
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = float((w * p).sum()), float(rows @ w @ columns)
    if 1 - expected <= 1e-12:
        raise DesignError("every rating is the same grade, so chance alone agrees and kappa is not defined")
    value = (observed - expected) / (1 - expected)
    error, null = _standard_errors(w, p, n, observed, expected)
    word = weights if isinstance(weights, str) else "free"
    alike = float(np.ptp(w[p > 0])) < 1e-12
    estimate = _estimate(value, 0.0 if alike else error, null, n, word, level)
    return Kappa(
        kappa=estimate,
        standard_error=error,
        null_standard_error=null,
        observed=observed,
        expected=expected,
        counts=tuple(tuple(float(c) for c in row) for row in table),
        grades=tuple(grades) if len(grades) else tuple(range(1, q + 1)),
        weights=word,
        n_people=int(n),
    )


def _standard_errors(w: Matrix, p: Matrix, n: float, observed: float, expected: float) -> tuple[float, float]:
    """Return the standard error of kappa, and that under no agreement beyond chance (equations 12 and 13 of the paper,
    numbers from memory)."""
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    means = (w @ columns)[:, None] + (rows @ w)[None, :]
    spread = (p * (w * (1 - expected) - means * (1 - observed)) ** 2).sum()
    spread -= (observed * expected - 2 * expected + observed) ** 2
    null = (np.outer(rows, columns) * (w - means) ** 2).sum() - expected**2
    error = math.sqrt(max(0.0, float(spread)) / n) / (1 - expected) ** 2
    return error, math.sqrt(max(0.0, float(null)) / n) / (1 - expected)


def _estimate(value: float, error: float, null: float, n: float, word: str, level: float) -> Estimate:
    from scipy.special import ndtr

    half = normal_quantile((1 + level) / 2) * error
    perfect, flat = abs(value - 1) < 1e-12, error < 1e-9
    caveats: tuple[str, ...] = () if n >= FEW else ("few_rated",)
    if perfect or flat:
        caveats += ("perfect_agreement",) if perfect else ("no_interval_variance",)
    interval = None if perfect or flat else Interval(value - half, value + half, level, "normal")
    test = None
    if null > 1e-12:
        p = 2 * float(ndtr(-abs(value) / null))
        test = HypothesisTest(name="no agreement beyond chance, normal", p=max(p, 1e-300), statistic=value / null)
    return Estimate(
        value=1.0 if perfect else value,
        unit="1",
        method={"plain": "kappa", "linear": "kappa_linear", "quadratic": "kappa_quadratic"}.get(word, "kappa_free"),
        n_people=int(n),
        n_values=int(2 * n),
        interval=interval,
        test=test,
        source=_SOURCE,
        caveats=caveats,
    )
