"""Intraclass correlations where ratings are missing, through variance components."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import bca_interval_of_sums, check_level, jackknife_error, t_quantile
from outcomes.matrices import Matrix
from outcomes.reliability.components import ROUGH, STEPS, person_parts, variance_components
from outcomes.reliability.correlations import FORMS, mean_of_k
from outcomes.result import Estimate, Interval, Result

_SOURCE = "Searle, Casella & McCulloch (1992) Variance Components; McGraw & Wong (1996) Psychol Methods 1:30"
Array = NDArray[np.float64]
FEW = 25
"""People below which an interval by bootstrap carries a caveat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IncompleteCorrelations(Result):
    """Result of `incomplete_intraclass_correlations`; an estimate that is not defined is None, with its reason.

    Parameters
    ----------
    icc_1_1, icc_a_1, icc_c_1 : Estimate, optional
        Of one score: one-way, absolute agreement, consistency. Without unit, at most 1.
    icc_1_k, icc_a_k, icc_c_k : Estimate, optional
        Of the mean of scores of all k occasions.
    variance_people, variance_occasions, variance_error : float
        Of the two-way model, in the squared unit; negative ones are kept.
    variance_people_one_way, variance_within : float
        Of the one-way model.
    n_people, n_occasions, n_scores, n_incomplete : int
        Rows, columns, scores that are there, people without all of them.
    reasons : dict of str to str
        Why a field, or its interval, is None.
    """

    icc_1_1: Estimate | None
    icc_a_1: Estimate | None
    icc_c_1: Estimate | None
    icc_1_k: Estimate | None
    icc_a_k: Estimate | None
    icc_c_k: Estimate | None
    variance_people: float
    variance_occasions: float
    variance_error: float
    variance_people_one_way: float
    variance_within: float
    n_people: int
    n_occasions: int
    n_scores: int
    n_incomplete: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return absolute agreement of one score, rounded, with interval and n."""
        icc = self.icc_a_1
        if icc is None:
            return f"ICC(A,1) not estimable: {self.reasons['icc_a_1']}"
        limits = "no interval" if icc.interval is None else f"{icc.interval.low:.2f} to {icc.interval.high:.2f}"
        return (
            f"ICC(A,1) = {icc.value:.2f} ({limits}; {self.n_people} people, {self.n_incomplete} of them incomplete, "
            f"{self.n_occasions} occasions)"
        )


def incomplete_intraclass_correlations(
    scores: ArrayLike,
    *,
    level: float = 0.95,
    interval: Literal["jackknife", "bootstrap"] = "jackknife",
    resamples: int = 2_000,
    rng: np.random.Generator | None = None,
) -> IncompleteCorrelations:
    """Six intraclass correlations of repeated scores with gaps, from variance components; nobody is left out.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In the measure's unit; columns are occasions or raters; a missing score is nan. A person with one score still
        tells about people and occasions.
    level : float
        Nominal coverage of the intervals.
    interval : {"jackknife", "bootstrap"}
        From the values that leave one person out; or bias-corrected by drawing people anew, narrower and with few
        people too narrow.
    resamples : int
        Bootstrap resamples of people, at least 1000.
    rng : numpy.random.Generator, optional
        Source of random numbers of the bootstrap; without it that gives no interval.

    Returns
    -------
    IncompleteCorrelations
        For a complete table the values of `intraclass_correlations`, whose intervals are to be preferred.

    Raises
    ------
    DesignError
        Fewer than two people with two scores, a person or an occasion without any score, an infinite score, all scores
        equal, no error at all, or an interval that is none of those.

    Notes
    -----
    Variances p, o, e of people, occasions and error by restricted maximum likelihood of score = mean + person +
    occasion + error, negative ones kept; b, w of the one-way model. ICC(1,1) = b/(b + w); ICC(A,1) = p/(p + o + e);
    ICC(C,1) = p/(p + e); of a mean of k with w/k, (o + e)/k and e/k. Right where scores are missing for reasons that
    the seen scores tell, not where people with more error stay away. Intervals take the occasions as they are: how much
    others would differ is not in them. "jackknife": on Fisher's scale z = ½ log((1 + (k - 1) r)/(1 - r)), z ± t √((n -
    1)/n · Σ(z_(i) - mean)²) with the z_(i) that leave one of n people out and t of n - 1 degrees of freedom, turned
    back; those of a mean of k by the Spearman-Brown formula.

    References
    ----------
    Searle, Casella & McCulloch (1992) Variance Components, chapter 6 (from memory); McGraw & Wong (1996) Psychol
    Methods 1:30-46; Efron & Stein (1981) Ann Stat 9:586-596 (jackknife variance); Miller (1974) Biometrika 61:1-15
    (jackknife of a transformed value with t, from memory).

    Examples
    --------
    Scores of table 2 of Shrout & Fleiss (1979), one of them lost:

    >>> scores = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, np.nan, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> found = incomplete_intraclass_correlations(scores)
    >>> round(found.icc_a_1.value, 2), found.n_incomplete
    (0.28, 1)
    """
    check_level(level)
    if interval not in ("jackknife", "bootstrap"):
        raise DesignError(f"interval '{interval}' is none of jackknife, bootstrap")
    matrix = _checked(scores)
    n, k = matrix.shape
    parts = person_parts(matrix - np.nanmean(matrix))
    total = variance_components(parts.sum(axis=0), k)
    least = 1e-8 * float(np.nanvar(matrix))
    if bool(total.at_edge) or not min(float(total.error), float(total.within)) > least:
        raise DesignError("no error is seen between the scores of one person, so the variances cannot be told apart")
    estimates: dict[str, Estimate | None] = {}
    reasons: dict[str, str] = {}
    n_scores = int((~np.isnan(matrix)).sum())
    values = _values(parts.sum(axis=0), k, STEPS)
    if interval == "bootstrap":
        ends = _bootstrap(parts, k, level, resamples, rng)
    elif int(((~np.isnan(matrix)).sum(axis=1) >= 2).sum()) < 3:
        ends = dict.fromkeys(FORMS, "fewer than three people have two scores")
    else:
        ends = _jackknife(parts, values, k, level)
    why = "no_interval_bootstrap" if interval == "bootstrap" else "no_interval_jackknife"
    for name, value in values.items():
        if not np.isfinite(value):
            estimates[name], reasons[name] = None, "the estimated variance of the scores is not above 0"
            continue
        found = ends[name]
        caveats: tuple[str, ...] = ("few_resampled",) if interval == "bootstrap" and n < FEW else ()
        if isinstance(found, str):
            reasons[f"{name}.interval"], caveats = found, (why,)
        estimates[name] = Estimate(
            value=float(value), unit="1", method=f"{name}_incomplete", n_people=n, n_values=n_scores, source=_SOURCE,
            interval=None if isinstance(found, str) else found, caveats=caveats,
        )  # fmt: skip
    return IncompleteCorrelations(
        **estimates,
        variance_people=float(total.people),
        variance_occasions=float(total.occasions),
        variance_error=float(total.error),
        variance_people_one_way=float(total.one_way_people),
        variance_within=float(total.within),
        n_people=n,
        n_occasions=k,
        n_scores=n_scores,
        n_incomplete=int(np.isnan(matrix).any(axis=1).sum()),
        reasons=reasons,
    )


def _checked(scores: ArrayLike) -> Matrix:
    """Return people in rows with nan for gaps, refusing what tells nothing."""
    try:
        matrix = np.asarray(scores, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError("scores are not all numbers") from error
    if matrix.ndim != 2:
        raise DesignError("scores must have participants in rows and occasions in columns")
    if np.isinf(matrix).any():
        raise DesignError("scores: an infinite value")
    there = ~np.isnan(matrix)
    if matrix.shape[1] < 2:
        raise DesignError(f"{matrix.shape[1]} occasion; at least 2 are needed")
    if not there.any(axis=1).all():
        raise DesignError(f"{int((~there.any(axis=1)).sum())} people have no score; leave them out and count them")
    if not there.any(axis=0).all():
        raise DesignError(f"occasion {int(np.flatnonzero(~there.any(axis=0))[0]) + 1} has no score")
    again = int((there.sum(axis=1) >= 2).sum())
    if again < 2:
        raise DesignError(f"{again} people have two scores; at least 2 are needed to tell error from people")
    seen = matrix[there]
    if float(np.ptp(seen)) <= 1e-12 * float(np.abs(seen).max()):
        raise DesignError("all scores are equal, so people cannot be told apart")
    return matrix


def _values(sums: Array, k: int, steps: int) -> dict[str, Array]:
    """Return every form from sums over people; nan where its denominator is not above 0."""
    try:
        c = variance_components(sums, k, steps=steps)
    except np.linalg.LinAlgError as error:
        raise DesignError("the variances cannot be told apart") from error
    both = c.occasions + c.error
    pairs = {
        "icc_1_1": (c.one_way_people, c.within), "icc_a_1": (c.people, both), "icc_c_1": (c.people, c.error),
        "icc_1_k": (c.one_way_people, c.within / k), "icc_a_k": (c.people, both / k),
        "icc_c_k": (c.people, c.error / k),
    }  # fmt: skip
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            name: np.where(between + rest > 1e-12 * np.abs(between), between / (between + rest), np.nan)
            for name, (between, rest) in pairs.items()
        }


def _jackknife(parts: Matrix, values: dict[str, Array], k: int, level: float) -> dict[str, Interval | str]:
    """Return the interval of every form from the values that leave one person out, or why there is none."""
    n = len(parts)
    t = t_quantile((1 + level) / 2, n - 1)
    left_out = _values(parts.sum(axis=0) - parts, k, ROUGH)
    found: dict[str, Interval | str] = {}
    for single, mean in (("icc_1_1", "icc_1_k"), ("icc_a_1", "icc_a_k"), ("icc_c_1", "icc_c_k")):
        with np.errstate(divide="ignore", invalid="ignore"):
            middle, others = (np.log1p(k * r / (1 - r)) / 2 for r in (values[single], left_out[single]))
        if not (np.isfinite(middle) and np.isfinite(others).all()):
            found[single] = found[mean] = "the correlation is not defined, or is 1, without one of the people"
            continue
        half = t * jackknife_error(others)
        low, high = (math.expm1(2 * end) / (math.expm1(2 * end) + k) for end in (float(middle) - half, middle + half))
        found[single] = Interval(low, high, level, "jackknife over people, Fisher z")
        found[mean] = Interval(mean_of_k(low, k), mean_of_k(high, k), level, "jackknife over people, Fisher z")
    return found


def _bootstrap(
    parts: Matrix, k: int, level: float, resamples: int, rng: np.random.Generator | None
) -> dict[str, Interval | str]:
    """Return the bootstrap of every form, or why there is none; all forms share the same resamples."""
    if rng is None:
        return dict.fromkeys(FORMS, "no random numbers were given")
    kept: list[dict[str, Array]] = []
    seed = int(rng.integers(2**63))
    found: dict[str, Interval | str] = {}
    for name in FORMS:
        calls = iter(range(1_000))

        def statistic(sums: Array, name: str = name, calls: object = calls) -> Array:
            call = next(calls)  # type: ignore[call-overload]
            if call >= len(kept):
                kept.append(_values(sums, k, STEPS if sums.ndim == 1 else ROUGH))
            return np.asarray(kept[call][name])

        try:
            found[name] = bca_interval_of_sums(
                parts, statistic, level=level, levels="expanded", resamples=resamples, rng=np.random.default_rng(seed)
            ).interval
        except DesignError as refusal:
            found[name] = refusal.reason
    return found
