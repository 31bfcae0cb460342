"""Cohen's kappa of two raters or occasions, plain and weighted, on the whole declared scale."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, fisher_interval, normal_quantile, t_quantile
from outcomes.matrices import Matrix
from outcomes.reliability.grades import MISSING, WeightWord, agreement_weights, grade_codes
from outcomes.result import Estimate, HypothesisTest, Interval, Result

KappaInterval = Literal["fisher", "plain"]
INTERVALS = ("fisher", "plain")
"""On Fisher's scale with t; or value ± quantile times the published standard error, which may pass 1."""

_SOURCE = "Fleiss, Cohen & Everitt (1969) Psychol Bull 72:323"
FEW = 30
"""Below this many people the interval carries a caveat (coverage table of tests/studies)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa(Result):
    """Result of `cohen_kappa` and `kappa_of_table`; without unit.

    Parameters
    ----------
    kappa : Estimate
        At most 1; with an interval and the test of no agreement beyond chance.
    standard_error, null_standard_error : float
        Of kappa as published, and under no agreement beyond chance for the test.
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
    interval: KappaInterval = "fisher",
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
    interval : {"fisher", "plain"}
        On Fisher's scale with a jackknife standard error; or kappa ± z standard errors as published, too narrow for
        few people.

    Returns
    -------
    Kappa
        Negative values are kept; perfect agreement is 1. No interval where everybody's two ratings agree alike, or
        where kappa is not defined without one of the people.

    Raises
    ------
    DesignError
        Fewer than two people, lengths differ, a missing rating, a rating outside the scale, or one grade only, so that
        chance alone agrees; an interval that is none of those.

    Notes
    -----
    κ = (po - pe)/(1 - pe), po = Σ w·p, pe = Σ w·(row share)·(column share). Standard errors of Fleiss, Cohen & Everitt:
    for κ ± z·se ("plain"), and another under κ = 0 for the test. "fisher": tanh(atanh κ ± t·s/(1 - κ²)), s² = (n - 1)/n
    · Σ(κ_(i) - mean)² over the κ_(i) that leave one of n people out, t with n - 1 degrees of freedom. Linear weights
    lean on the number of grades: a grade that nobody used still counts.

    References
    ----------
    Cohen (1960) Educ Psychol Meas 20:37-46; Cohen (1968) Psychol Bull 70:213-220; Fleiss, Cohen & Everitt (1969)
    Psychol Bull 72:323-327; Efron & Stein (1981) Ann Stat 9:586-596 (jackknife variance). That Fisher's scale serves
    kappa has no source here but the coverage table of tests/studies.

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
    return kappa_of_table(
        counts, grades=grades, weights=weights, weights_are=weights_are, level=level, interval=interval
    )


def kappa_of_table(
    counts: ArrayLike,
    *,
    grades: Sequence[Hashable] = (),
    weights: WeightWord | ArrayLike = "plain",
    weights_are: Literal["agreement", "disagreement"] = "agreement",
    level: float = 0.95,
    interval: KappaInterval = "fisher",
) -> Kappa:
    """Kappa from the table of counts of first against second ratings.

    Parameters
    ----------
    counts : array of shape (n_grades, n_grades)
        People; first rating in rows.
    grades : sequence, optional
        Names of the grades; 1, 2, ... by default.
    weights, weights_are, level, interval
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
    check_interval(interval)
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
    observed, expected = (float(part) for part in _agreements(w, p))
    if 1 - expected <= 1e-12:
        raise DesignError("every rating is the same grade, so chance alone agrees and kappa is not defined")
    value = (observed - expected) / (1 - expected)
    error, null = _standard_errors(w, p, n, observed, expected)
    word = weights if isinstance(weights, str) else "free"
    alike = float(np.ptp(w[p > 0])) < 1e-12
    ends: Interval | None = None
    caveats: tuple[str, ...] = () if n >= FEW else ("few_rated",)
    if abs(value - 1) < 1e-12:
        caveats += ("perfect_agreement",)
    elif alike or error < 1e-9:
        caveats += ("no_interval_variance",)
    elif interval == "plain":
        half = normal_quantile((1 + level) / 2) * error
        ends = Interval(value - half, value + half, level, "normal")
    else:
        ends = fisher_interval(value, _left_out_error(w, table, n), t_quantile((1 + level) / 2, n - 1), level=level)
        caveats += () if ends else ("no_interval_jackknife",)
    estimate = _estimate(value, ends, null, n, word, caveats)
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


def check_interval(interval: str) -> None:
    """Raise a DesignError unless the interval of a coefficient of agreement is a known one."""
    if interval not in INTERVALS:
        raise DesignError(f"interval '{interval}' is none of {', '.join(INTERVALS)}")


def _agreements(w: Matrix, p: Matrix) -> tuple[Matrix, Matrix]:
    """Return the observed and the expected agreement of tables of shares along the last two axes."""
    return (w * p).sum(axis=(-2, -1)), np.einsum("...i,ij,...j->...", p.sum(axis=-1), w, p.sum(axis=-2))


def _left_out_error(w: Matrix, table: Matrix, n: float) -> float:
    """Return the jackknife standard error of kappa; nan where it is not defined without one of the people."""
    cells = np.argwhere(table > 0)
    counts = table[tuple(cells.T)]
    left = np.repeat(table[None], len(cells), axis=0)
    left[(np.arange(len(cells)), *cells.T)] -= 1
    observed, expected = _agreements(w, left / (n - 1))
    if (1 - expected <= 1e-12).any():
        return math.nan
    kappas = (observed - expected) / (1 - expected)
    mean = float(counts @ kappas) / n
    return math.sqrt((n - 1) / n * float(counts @ (kappas - mean) ** 2))


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


def _estimate(
    value: float, interval: Interval | None, null: float, n: float, word: str, caveats: tuple[str, ...]
) -> Estimate:
    from scipy.special import ndtr

    test = None
    if null > 1e-12:
        p = 2 * float(ndtr(-abs(value) / null))
        test = HypothesisTest(name="no agreement beyond chance, normal", p=max(p, 1e-300), statistic=value / null)
    return Estimate(
        value=1.0 if abs(value - 1) < 1e-12 else value,
        unit="1",
        method={"plain": "kappa", "linear": "kappa_linear", "quadratic": "kappa_quadratic"}.get(word, "kappa_free"),
        n_people=int(n),
        n_values=int(2 * n),
        interval=interval,
        test=test,
        source=_SOURCE,
        caveats=caveats,
    )
