"""Bootstrap over participants for any statistic of a people x occasions table, in one matrix product."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError, near_word
from outcomes.intervals import BcaInterval, bca_interval_of_sums, check_level
from outcomes.matrices import complete_matrix
from outcomes.reliability.error import Z90, Z95
from outcomes.result import Estimate

Array = NDArray[np.float64]


def _moments(sums: Array, k: int) -> tuple[Array, Array, Array, Array, Array, Array, Array]:
    """Return the mean squares P, O, E, W, the number of people, the means and the covariances (divisor n)."""
    n = sums[..., 0]
    means = sums[..., 1 : k + 1] / n[..., None]
    cross = sums[..., k + 1 :].reshape(*sums.shape[:-1], k, k)
    covariance = cross / n[..., None, None] - means[..., :, None] * means[..., None, :]
    own = np.einsum("...ii->...", covariance)
    joint = covariance.sum(axis=(-2, -1)) / k
    people = n * joint / (n - 1)
    error = np.maximum(n * (own - joint), 0.0) / ((n - 1) * (k - 1))
    centre = means.mean(axis=-1, keepdims=True)
    occasions = n * ((means - centre) ** 2).sum(axis=-1) / (k - 1)
    within = (error * (n - 1) + occasions) / n
    return people, occasions, error, within, n, means, covariance


def _agreement(o: Array, e: Array, n: Array) -> Array:
    return np.asarray(np.sqrt(e + np.maximum(0.0, (o - e) / n)))


def _concordance(means: Array, c: Array) -> Array:
    shift = (means[..., 0] - means[..., 1]) ** 2
    return np.asarray(2 * c[..., 0, 1] / (c[..., 0, 0] + c[..., 1, 1] + shift))


def _spread(c: Array, n: Array) -> Array:
    """Return the standard deviation of second - first."""
    variance = c[..., 0, 0] + c[..., 1, 1] - 2 * c[..., 0, 1]
    return np.asarray(np.sqrt(np.maximum(variance, 0.0) * n / (n - 1)))


Formula = Callable[[Array, Array, Array, Array, Array, Array, Array, int], Array]

FORMULAS: dict[str, Formula] = {
    "icc_1_1": lambda p, o, e, w, n, m, c, k: (p - w) / (p + (k - 1) * w),
    "icc_a_1": lambda p, o, e, w, n, m, c, k: (p - e) / (p + (k - 1) * e + k * (o - e) / n),
    "icc_c_1": lambda p, o, e, w, n, m, c, k: (p - e) / (p + (k - 1) * e),
    "icc_1_k": lambda p, o, e, w, n, m, c, k: (p - w) / p,
    "icc_a_k": lambda p, o, e, w, n, m, c, k: (p - e) / (p + (o - e) / n),
    "icc_c_k": lambda p, o, e, w, n, m, c, k: (p - e) / p,
    "standard_error_agreement": lambda p, o, e, w, n, m, c, k: _agreement(o, e, n),
    "standard_error_consistency": lambda p, o, e, w, n, m, c, k: np.sqrt(e),
    "within_person_standard_deviation": lambda p, o, e, w, n, m, c, k: np.sqrt(w),
    "mdc95": lambda p, o, e, w, n, m, c, k: Z95 * math.sqrt(2) * _agreement(o, e, n),
    "mdc90": lambda p, o, e, w, n, m, c, k: Z90 * math.sqrt(2) * _agreement(o, e, n),
    "mdc95_consistency": lambda p, o, e, w, n, m, c, k: Z95 * math.sqrt(2) * np.sqrt(e),
    "cronbach_alpha": lambda p, o, e, w, n, m, c, k: (p - e) / p,
    "concordance": lambda p, o, e, w, n, m, c, k: _concordance(m, c),
    "bias": lambda p, o, e, w, n, m, c, k: m[..., 1] - m[..., 0],
    "lower_limit": lambda p, o, e, w, n, m, c, k: m[..., 1] - m[..., 0] - 1.96 * _spread(c, n),
    "upper_limit": lambda p, o, e, w, n, m, c, k: m[..., 1] - m[..., 0] + 1.96 * _spread(c, n),
}
"""Statistic to its value from mean squares (p, o, e, w), people (n), means (m), covariances (c) and occasions (k)."""

SPREADS = (
    "standard_error_agreement", "standard_error_consistency", "within_person_standard_deviation", "mdc95", "mdc90",
    "mdc95_consistency", "lower_limit", "upper_limit",
)  # fmt: skip
"""Statistics that grow with the spread of the scores, whose bootstrap intervals hold the truth less often."""

TWO = ("concordance", "bias", "lower_limit", "upper_limit")
"""Statistics that compare two occasions."""


def participant_bootstrap(
    scores: ArrayLike,
    statistic: str,
    *,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> BcaInterval:
    """Bootstrap interval over participants of a reliability statistic, for data that the exact intervals do not fit.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In the measure's unit; no missing values; at least three people and two occasions.
    statistic : str
        A name of `outcomes.reliability.resampled.FORMULAS`: an intraclass correlation, a standard error of measurement,
        a detectable change, the concordance, bias or a limit of agreement, or Cronbach's alpha (occasions are items).
    level : float
        Nominal coverage.
    resamples : int
        Resamples of people to draw, at least 1000.
    rng : numpy.random.Generator
        Source of random numbers.

    Returns
    -------
    BcaInterval
        In the unit of the statistic.

    Raises
    ------
    DesignError
        An unknown statistic, one of two occasions for more of them, a missing score, or a statistic that is undefined
        in a resample.

    Notes
    -----
    Every statistic here depends on sums over people of the scores and of their products, so that all resamples are one
    matrix of how often each person was drawn, times what each adds. Occasions
    stay as they are: how much other occasions would differ is not in the interval. Bias-corrected and accelerated, with
    levels expanded for few people; of standard errors, detectable changes and limits it is too narrow all the same
    (coverage table of tests/studies), and the F and chi-square intervals are to be preferred for scores that are near
    normal.

    References
    ----------
    Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14; Hesterberg (2014) arXiv 1411.5279 (expanded
    levels).

    Examples
    --------
    >>> scores = [[9, 8], [6, 5], [8, 8], [7, 6], [10, 9], [6, 7], [3, 4]]
    >>> found = participant_bootstrap(scores, "icc_a_1", rng=np.random.default_rng(1))
    >>> found.interval.low < found.value < found.interval.high < 1
    True
    """
    check_level(level)
    if statistic not in FORMULAS:
        known = ", ".join(FORMULAS)
        raise DesignError(f"statistic '{statistic}' is none of {known}{near_word(statistic, FORMULAS)}")
    matrix = complete_matrix(scores, at_least=(3, 2))
    k = matrix.shape[1]
    if statistic in TWO and k != 2:
        raise DesignError(f"{k} occasions; {statistic.replace('_', ' ')} compares two")
    centre = float(matrix.mean())
    formula = FORMULAS[statistic]

    def value(sums: Array) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(formula(*_moments(sums, k), k))

    return bca_interval_of_sums(
        _parts(matrix - centre), value, level=level, levels="expanded", resamples=resamples, rng=rng
    )


FEW = 25
"""People below which an interval by bootstrap carries a caveat."""


def bootstrap_estimate(
    scores: ArrayLike,
    statistic: str,
    *,
    unit: str,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> Estimate:
    """Return what `participant_bootstrap` finds as one estimate, with its caveat.

    Parameters
    ----------
    scores, statistic, level, resamples, rng
        As in `participant_bootstrap`.
    unit : str
        UCUM code of the statistic.

    Returns
    -------
    Estimate

    Raises
    ------
    DesignError
        As `participant_bootstrap`.

    References
    ----------
    Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14.

    Examples
    --------
    >>> scores = [[9, 8], [6, 5], [8, 8], [7, 6], [10, 9], [6, 7], [3, 4]]
    >>> bootstrap_estimate(scores, "icc_a_1", unit="1", rng=np.random.default_rng(1)).caveats
    ('few_resampled',)
    """
    found = participant_bootstrap(scores, statistic, level=level, resamples=resamples, rng=rng)
    return Estimate(
        value=found.value, unit=unit, n_people=found.n_people,
        method="participant_bootstrap_spread" if statistic in SPREADS else "participant_bootstrap",
        n_values=int(np.size(np.asarray(scores))), interval=found.interval,
        source="Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14",
        caveats=("few_resampled",) if found.n_people < FEW else (),
    )  # fmt: skip


def _parts(centred: Array) -> Array:
    """Return what each person adds: one, the scores, their products."""
    n, k = centred.shape
    products = (centred[:, :, None] * centred[:, None, :]).reshape(n, k * k)
    return np.concatenate([np.ones((n, 1)), centred, products], axis=1)
