"""Intraclass correlations where ratings are missing, through variance components."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import BcaInterval, bca_interval_of_sums, check_level
from outcomes.matrices import Matrix
from outcomes.reliability.components import ROUGH, STEPS, person_parts, variance_components
from outcomes.reliability.correlations import FORMS
from outcomes.result import Estimate, Result

_SOURCE = "Searle, Casella & McCulloch (1992) Variance Components; McGraw & Wong (1996) Psychol Methods 1:30"
Array = NDArray[np.float64]


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
    scores: ArrayLike, *, level: float = 0.95, resamples: int = 2_000, rng: np.random.Generator | None = None
) -> IncompleteCorrelations:
    """Six intraclass correlations of repeated scores with gaps, from variance components; nobody is left out.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In the measure's unit; columns are occasions or raters; a missing score is nan. A person with one score still
        tells about people and occasions.
    level : float
        Nominal coverage of the intervals.
    resamples : int
        Bootstrap resamples of people, at least 1000.
    rng : numpy.random.Generator, optional
        Source of random numbers; without it there are no intervals.

    Returns
    -------
    IncompleteCorrelations
        For a complete table the values of `intraclass_correlations`, whose intervals are to be preferred.

    Raises
    ------
    DesignError
        Fewer than two people with two scores, a person or an occasion without any score, an infinite score, all scores
        equal, or no error at all.

    Notes
    -----
    Variances p, o, e of people, occasions and error by restricted maximum likelihood of score = mean + person +
    occasion + error, negative ones kept; b, w of the one-way model. ICC(1,1) = b/(b + w); ICC(A,1) = p/(p + o + e);
    ICC(C,1) = p/(p + e); of a mean of k with w/k, (o + e)/k and e/k. Right where scores are missing for reasons that
    the seen scores tell, not where people with more error stay away. Intervals: bias-corrected bootstrap over people,
    occasions as they are; too narrow for fewer than about 25 people (coverage table of tests/studies).

    References
    ----------
    Searle, Casella & McCulloch (1992) Variance Components, chapter 6 (from memory); McGraw & Wong (1996) Psychol
    Methods 1:30-46.

    Examples
    --------
    Scores of table 2 of Shrout & Fleiss (1979), one of them lost:

    >>> scores = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, np.nan, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> found = incomplete_intraclass_correlations(scores)
    >>> round(found.icc_a_1.value, 2), found.n_incomplete
    (0.28, 1)
    """
    check_level(level)
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
    drawn = _intervals(parts, k, level, resamples, rng)
    values = _values(parts.sum(axis=0), k, STEPS)
    for name, value in values.items():
        if not np.isfinite(value):
            estimates[name], reasons[name] = None, "the estimated variance of the scores is not above 0"
            continue
        boot = drawn[name]
        if isinstance(boot, str):
            reasons[f"{name}.interval"] = boot
        estimates[name] = Estimate(
            value=float(value), unit="1", method=f"{name}_incomplete", n_people=n, n_values=n_scores, source=_SOURCE,
            interval=None if isinstance(boot, str) else boot.interval,
            caveats=("no_interval_bootstrap",) if isinstance(boot, str) else ("few_resampled",) if n < 25 else (),
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


def _intervals(
    parts: Matrix, k: int, level: float, resamples: int, rng: np.random.Generator | None
) -> dict[str, BcaInterval | str]:
    """Return the bootstrap of every form, or why there is none; all forms share the same resamples."""
    if rng is None:
        return dict.fromkeys(FORMS, "no random numbers were given")
    kept: list[dict[str, Array]] = []
    seed = int(rng.integers(2**63))
    found: dict[str, BcaInterval | str] = {}
    for name in FORMS:
        calls = iter(range(1_000))

        def statistic(sums: Array, name: str = name, calls: object = calls) -> Array:
            call = next(calls)  # type: ignore[call-overload]
            if call >= len(kept):
                kept.append(_values(sums, k, STEPS if sums.ndim == 1 else ROUGH))
            return np.asarray(kept[call][name])

        try:
            found[name] = bca_interval_of_sums(
                parts, statistic, level=level, resamples=resamples, rng=np.random.default_rng(seed)
            )
        except DesignError as refusal:
            found[name] = refusal.reason
    return found
