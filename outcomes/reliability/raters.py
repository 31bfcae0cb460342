"""Agreement of several raters or occasions on a declared scale: Fleiss' kappa, AC1 and AC2, Krippendorff's alpha."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import bca_interval_of_sums, check_level, fisher_interval, t_quantile
from outcomes.matrices import Matrix, Vector
from outcomes.reliability.grades import MISSING, WeightWord, agreement_weights, grade_codes
from outcomes.reliability.kappa import FEW, KappaInterval, check_interval
from outcomes.result import Estimate, Interval, Result

Metric = Literal["nominal", "ordinal", "interval", "ratio"]
_SOURCES = {
    "fleiss_kappa": "Fleiss (1971) Psychol Bull 76:378",
    "ac1": "Gwet (2008) Br J Math Stat Psychol 61:29",
    "ac2": "Gwet (2014) Handbook of Inter-Rater Reliability, 4th ed",
    "krippendorff": "Krippendorff (2011) Computing Krippendorff's alpha-reliability",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RaterAgreement(Result):
    """Result of `fleiss_kappa`, `gwet_agreement` and `krippendorff_alpha`; without unit.

    Parameters
    ----------
    coefficient : Estimate
        At most 1, with its interval.
    standard_error : float, optional
        Over people; None where there is none.
    observed, expected : float
        Share of agreement seen and by chance; for alpha 1 - observed and 1 - expected disagreement, scaled by the
        largest of the metric's distances.
    name : str
        What the coefficient is called.
    n_people, n_used, n_ratings : int
        People; those with at least two ratings; ratings that are there.
    reason : str
        Why there is no interval; empty where there is one.
    """

    coefficient: Estimate
    standard_error: float | None
    observed: float
    expected: float
    name: str
    n_people: int
    n_used: int
    n_ratings: int
    reason: str = ""

    def summary(self) -> str:
        """Return the coefficient, rounded, with interval and n."""
        found = self.coefficient
        limits = "no interval" if found.interval is None else f"{found.interval.low:.2f} to {found.interval.high:.2f}"
        return f"{self.name} {found.value:.2f} ({limits}; {self.n_used} people)"


def _counts(ratings: ArrayLike, grades: Sequence[Hashable]) -> Matrix:
    """Return how often each person (rows) was given each grade (columns)."""
    codes = grade_codes(ratings, grades, name="ratings")
    if codes.ndim != 2:
        raise DesignError("ratings need people in rows and raters or occasions in columns")
    if not (codes != MISSING).any():
        raise DesignError("no rating is there")
    return np.stack([(codes == grade).sum(axis=1) for grade in range(len(grades))], axis=1).astype(float)


def fleiss_kappa(
    ratings: ArrayLike, *, grades: Sequence[Hashable], level: float = 0.95, interval: KappaInterval = "fisher"
) -> RaterAgreement:
    """Agreement of the same number of ratings of each person beyond chance, whoever gave them.

    Parameters
    ----------
    ratings : array of shape (n_participants, n_raters)
        Grades; no missing ratings.
    grades : sequence
        Every grade of the scale.
    level : float
        Nominal coverage of the interval.
    interval : {"fisher", "plain"}
        On Fisher's scale; or kappa ± t standard errors.

    Returns
    -------
    RaterAgreement

    Raises
    ------
    DesignError
        Fewer than two people or ratings, a missing rating, one outside the scale, or one grade only.

    Notes
    -----
    κ = (P - Pe)/(1 - Pe), P the mean share of agreeing pairs of ratings of a person, Pe = Σ p², p the share of each
    grade over all ratings. Grades are names here: an agreement by one grade less counts as none. Standard error by
    linearising over people (Gwet 2021, Educ Psychol Meas 81:781), Student's t with n - 1; the interval tanh(atanh κ ±
    t·se/(1 - κ²)), or κ ± t·se.

    References
    ----------
    Fleiss (1971) Psychol Bull 76:378-382.

    Examples
    --------
    >>> found = fleiss_kappa([[1, 1, 1], [1, 1, 2], [2, 2, 2], [2, 2, 2]], grades=(1, 2))
    >>> round(found.coefficient.value, 3)
    0.657
    """
    counts = _counts(ratings, grades)
    given = counts.sum(axis=1)
    if (given != given[0]).any() or given[0] < np.asarray(ratings, dtype=object).shape[1]:
        raise DesignError("Fleiss' kappa needs every rating of every person; gwet_agreement takes missing ones")
    if given[0] < 2:
        raise DesignError("one rating a person; at least 2 are needed")
    shares = counts / given[:, None]
    pi = shares.mean(axis=0)
    chance = (shares * pi).sum(axis=1)
    return _chance_corrected(
        "fleiss_kappa", "Fleiss' kappa", counts, np.eye(len(grades)), float((pi**2).sum()), chance, level, interval
    )


def gwet_agreement(
    ratings: ArrayLike,
    *,
    grades: Sequence[Hashable],
    weights: WeightWord | ArrayLike = "plain",
    level: float = 0.95,
    interval: KappaInterval = "fisher",
) -> RaterAgreement:
    """Agreement beyond chance that does not collapse where one grade is common: AC1, with weights AC2.

    Parameters
    ----------
    ratings : array of shape (n_participants, n_raters)
        Grades; missing ones are None, nan or empty. A person with one rating counts for the chance agreement only.
    grades : sequence
        Every grade of the scale, lowest first.
    weights : {"plain", "linear", "quadratic"} or array of shape (n_grades, n_grades)
        "plain" is AC1, any other AC2.
    level : float
        Nominal coverage of the interval.
    interval : {"fisher", "plain"}
        On Fisher's scale; or the coefficient ± t standard errors, too narrow for few people and weights.

    Returns
    -------
    RaterAgreement

    Raises
    ------
    DesignError
        Fewer than two people with two ratings, a rating outside the scale, or an interval that is none of those.

    Notes
    -----
    (pa - pe)/(1 - pe): pa the mean weighted share of agreeing pairs of a person's ratings, pe = Σw/(q(q - 1)) · Σ p(1 -
    p), p the mean share of each grade. Standard error by linearising over people, Student's t with n - 1; the interval
    tanh(atanh A ± t·se/(1 - A²)), or A ± t·se. That Fisher's scale serves has no source here but the coverage table of
    tests/studies.

    References
    ----------
    Gwet (2008) Br J Math Stat Psychol 61:29-48; Gwet (2014) Handbook of Inter-Rater Reliability, 4th ed.

    Examples
    --------
    >>> found = gwet_agreement([[1, 1, 1], [1, 1, 2], [2, 2, None], [2, 2, 2]], grades=(1, 2))
    >>> round(found.coefficient.value, 3)
    0.676
    """
    counts = _counts(ratings, grades)
    given, q = counts.sum(axis=1), len(grades)
    w = agreement_weights(weights, q)
    counts, given = counts[given > 0], given[given > 0]
    shares = counts / given[:, None]
    pi = shares.mean(axis=0)
    scale = float(w.sum()) / (q * (q - 1))
    expected = scale * float((pi * (1 - pi)).sum())
    chance = scale * (shares * (1 - pi)).sum(axis=1)
    key, name = ("ac1", "AC1") if isinstance(weights, str) and weights == "plain" else ("ac2", "AC2")
    return _chance_corrected(key, name, counts, w, expected, chance, level, interval)


def _chance_corrected(
    key: str, name: str, counts: Matrix, w: Matrix, expected: float, chance: Vector, level: float, interval: str
) -> RaterAgreement:
    """Return (pa - pe)/(1 - pe) with its standard error; `chance` is what each person adds to the expected
    agreement.
    """
    check_level(level)
    check_interval(interval)
    given = counts.sum(axis=1)
    n, used = len(counts), given >= 2
    if used.sum() < 2:
        raise DesignError(f"{int(used.sum())} people with two ratings; at least 2 are needed")
    if 1 - expected <= 1e-12:
        raise DesignError("every rating is the same grade, so chance alone agrees and the coefficient is not defined")
    pairs = (counts * (counts @ w - 1)).sum(axis=1)[used] / (given * (given - 1))[used]
    observed = float(pairs.mean())
    value = (observed - expected) / (1 - expected)
    own = np.zeros(n)
    own[used] = (n / used.sum()) * (pairs - observed) / (1 - expected)
    spread = own - 2 * (1 - value) * (chance - expected) / (1 - expected)
    error = math.sqrt(float((spread**2).sum()) / (n * (n - 1)))
    t = t_quantile((1 + level) / 2, n - 1)
    perfect, alike = abs(value - 1) < 1e-12, float(np.ptp(pairs)) < 1e-12
    caveats: tuple[str, ...] = () if n >= FEW else ("few_rated",)
    if perfect or alike:
        caveats += ("perfect_agreement",) if perfect else ("no_interval_variance",)
    ends = None
    if not (perfect or alike):
        plain = Interval(value - t * error, value + t * error, level, "Student t, linearised")
        ends = plain if interval == "plain" else fisher_interval(value, error, t, level=level)
    estimate = Estimate(
        value=1.0 if perfect else value, unit="1", method=key, n_people=n, n_values=int(given.sum()),
        interval=ends, source=_SOURCES[key], caveats=caveats,
    )  # fmt: skip
    return RaterAgreement(
        coefficient=estimate, standard_error=error, observed=observed, expected=expected, name=name, n_people=n,
        n_used=int(used.sum()), n_ratings=int(given.sum()),
        reason="" if ends else "the ratings of all people agree alike, so their spread is not known",
    )  # fmt: skip


def krippendorff_alpha(
    ratings: ArrayLike,
    *,
    metric: Metric = "ordinal",
    grades: Sequence[Hashable] | None = None,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator | None = None,
) -> RaterAgreement:
    """Krippendorff's alpha of any number of raters, with missing ratings; ordinal by default.

    Parameters
    ----------
    ratings : array of shape (n_participants, n_raters)
        Grades, or numbers for the interval and the ratio metric; missing ones are None, nan or empty. A person with one
        rating adds nothing.
    metric : {"nominal", "ordinal", "interval", "ratio"}
        How far two grades are apart.
    grades : sequence, optional
        Every grade of the scale, lowest first; needed unless ratings are numbers.
    level : float
        Nominal coverage of the interval.
    resamples : int
        Bootstrap resamples of people, at least 1000.
    rng : numpy.random.Generator, optional
        Source of random numbers; without it there is no interval.

    Returns
    -------
    RaterAgreement

    Raises
    ------
    DesignError
        Fewer than two people with two ratings, a rating outside the scale, ratings that are all equal, or numbers below
        0 with the ratio metric.

    Notes
    -----
    Coincidences o of the pairs of ratings of each person, weighted 1/(ratings of the person - 1), with margins m and
    total n: alpha = 1 - (n - 1) Σ o·d²/Σ m·m'·d². d² is 0 or 1 (nominal); (sum of the margins from grade to grade,
    those of both ends half)² (ordinal); (difference)² (interval); (difference/sum)² (ratio). A grade that nobody used
    changes nothing. Other programs' "ordinal" weights are another statistic. Interval: bias-corrected bootstrap over
    people; the ordinal distances are made anew in every resample.

    References
    ----------
    Krippendorff (2011) Computing Krippendorff's alpha-reliability, section D.

    Examples
    --------
    >>> found = krippendorff_alpha([[1, 1], [2, 2], [3, 3], [3, 2], [4, 4]])
    >>> round(found.coefficient.value, 3)
    0.895
    """
    check_level(level)
    values = _values(ratings) if grades is None else tuple(grades)
    numeric = _distances(values, metric)
    counts = _counts(ratings, values)
    given = counts.sum(axis=1)
    used = counts[given >= 2]
    if len(used) < 2:
        raise DesignError(f"{len(used)} people with two ratings; at least 2 are needed")
    parts = _coincidences(used)

    def alpha(sums: NDArray[np.float64]) -> NDArray[np.float64]:
        seen, chance = _disagreements(sums, len(values), metric, numeric)
        return 1 - seen / chance

    with np.errstate(divide="ignore", invalid="ignore"):
        seen, chance = (float(part) for part in _disagreements(parts.sum(axis=0), len(values), metric, numeric))
    if not chance > 0:
        raise DesignError("every rating is the same, so chance alone agrees and alpha is not defined")
    interval, error, reason = None, None, "no random numbers were given"
    caveats: tuple[str, ...] = ()
    if rng is not None:
        try:
            boot = bca_interval_of_sums(parts, alpha, level=level, resamples=resamples, rng=rng)
            interval, error, reason = boot.interval, boot.standard_error, ""
        except DesignError as refusal:
            reason, caveats = refusal.reason, ("no_interval_bootstrap",)
    if seen == 0:
        interval, reason, caveats = None, "no disagreement was seen", ("perfect_agreement",)
    largest = float(numeric.max()) if numeric is not None else chance
    n_ratings = int(used.sum())
    estimate = Estimate(
        value=1 - seen / chance, unit="1", method=f"krippendorff_{metric}", n_people=len(used), n_values=n_ratings,
        interval=interval, source=_SOURCES["krippendorff"], caveats=caveats,
    )  # fmt: skip
    return RaterAgreement(
        coefficient=estimate, standard_error=error, observed=1 - seen / largest, expected=1 - chance / largest,
        name=f"Krippendorff's alpha, {metric}", n_people=len(counts), n_used=len(used), n_ratings=n_ratings,
        reason=reason,
    )  # fmt: skip


def _values(ratings: ArrayLike) -> tuple[float, ...]:
    """Return the numbers that occur, sorted."""
    try:
        numbers = np.asarray(ratings, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError("ratings that are no numbers need the grades of their scale") from error
    if np.isinf(numbers).any():
        raise DesignError("ratings hold an infinite value")
    found = np.unique(numbers[~np.isnan(numbers)])
    if len(found) == 1:
        raise DesignError("every rating is the same, so chance alone agrees and alpha is not defined")
    return tuple(float(x) for x in found)


def _distances(values: tuple[Hashable, ...], metric: str) -> Matrix | None:
    """Return the squared distance of every two values; None for ordinal ones, which depend on the ratings."""
    if metric == "ordinal":
        return None
    if metric == "nominal":
        return 1 - np.eye(len(values))
    if metric not in ("interval", "ratio"):
        raise DesignError(f"metric '{metric}' is none of nominal, ordinal, interval, ratio")
    try:
        x = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError(f"the {metric} metric needs numbers, not names of grades") from error
    difference = np.subtract.outer(x, x)
    if metric == "interval":
        return np.asarray(difference**2)
    if x.min() < 0:
        raise DesignError("the ratio metric needs numbers that are not below 0")
    total = np.add.outer(x, x)
    return np.asarray(np.divide(difference, total, out=np.zeros_like(difference), where=total > 0) ** 2)


def _coincidences(counts: Matrix) -> Matrix:
    """Return what each person adds to the table of coincidences, as one row."""
    given = counts.sum(axis=1)
    pairs = counts[:, :, None] * counts[:, None, :]
    q = counts.shape[1]
    pairs[:, np.arange(q), np.arange(q)] -= counts
    return np.asarray((pairs / (given - 1)[:, None, None]).reshape(len(counts), q * q))


def _disagreements(
    sums: NDArray[np.float64], q: int, metric: str, numeric: Matrix | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return observed and expected disagreement from coincidences along the last axis."""
    table = sums.reshape(*sums.shape[:-1], q, q)
    margins = table.sum(axis=-1)
    n = margins.sum(axis=-1)
    if numeric is None:
        up = np.cumsum(margins, axis=-1) - margins / 2
        squared = (up[..., :, None] - up[..., None, :]) ** 2
    else:
        squared = numeric
    seen = (table * squared).sum(axis=(-2, -1)) / n
    chance = (margins[..., :, None] * margins[..., None, :] * squared).sum(axis=(-2, -1)) / (n * (n - 1))
    return seen, chance
