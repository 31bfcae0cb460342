"""Between persons: whether people with more dose changed more, with the first value held constant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from outcomes.dose_response.linear import Fit, fit, leave_one_out, permutation_test
from outcomes.errors import DesignError
from outcomes.intervals import check_level, correlation_interval, midranks, t_quantile
from outcomes.matrices import Matrix, Vector, all_equal, finite_vector
from outcomes.result import Estimate, HypothesisTest, Interval, Result

FEWEST = 10
"""People with whom an association is looked for; fewer are described only (common practice, no source)."""

_FREEDMAN_LANE = "Freedman & Lane (1983) J Bus Econ Stat 1:292"


@dataclass(frozen=True, slots=True, kw_only=True)
class BetweenPersonAssociation(Result):
    """Result of `between_person_association`; slopes in the unit of the outcome, for the stated amount of dose.

    Parameters
    ----------
    slope : Estimate
        Change per amount of dose given the first value, with t interval and permutation test.
    raw_slope : Estimate
        The same without the first value.
    partial_correlation : Estimate
        Of dose and change given the first value; without unit.
    rank : Estimate, optional
        Partial rank correlation given the first value, with permutation test; without unit.
    leave_one_out_low, leave_one_out_high : Estimate, optional
        Lowest and highest slope with one person left out.
    per : float
        Amount of dose that the slopes are for.
    dose_unit : str
        UCUM code of `per`.
    n_people : int
        People.
    reasons : dict of str to str
        Why a field is None.
    """

    slope: Estimate
    raw_slope: Estimate
    partial_correlation: Estimate
    rank: Estimate | None
    leave_one_out_low: Estimate | None
    leave_one_out_high: Estimate | None
    per: float
    dose_unit: str
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the slope with unit, interval, p and n, rounded."""
        unit = "" if self.slope.unit == "1" else f" {self.slope.unit}"
        interval, test = self.slope.interval, self.slope.test
        limits = f" ({interval.low:.3g} to {interval.high:.3g})" if interval else ""
        p = f", permutation p = {test.p:.2g}" if test else ""
        return (
            f"{self.slope.value:.3g}{limits}{unit} of change per {self.per:g} {self.dose_unit} of dose given the first "
            f"value{p} (n = {self.n_people}); an association"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RankAssociation(Result):
    """Result of `rank_association`.

    Parameters
    ----------
    rank : Estimate
        Partial rank correlation of dose and change given the first value, with permutation test; without unit.
    n_people : int
        People.
    """

    rank: Estimate
    n_people: int

    def summary(self) -> str:
        """Return the rank correlation with p and n, rounded."""
        p = f", permutation p = {self.rank.test.p:.2g}" if self.rank.test else ""
        return f"partial rank correlation {self.rank.value:.2f}{p} (n = {self.n_people}); an association"


def between_person_association(
    dose: ArrayLike,
    change: ArrayLike,
    baseline: ArrayLike,
    *,
    dose_unit: str,
    per: float,
    outcome_unit: str,
    level: float = 0.95,
    rng: np.random.Generator,
    covariates: ArrayLike | None = None,
    resamples: int = 9_999,
    min_people: int = FEWEST,
) -> BetweenPersonAssociation:
    """Slope of change on dose between persons, the first value held constant.

    Parameters
    ----------
    dose : array of shape (n_participants,)
        Delivered dose of each person up to the later visit, in `dose_unit`; no missing values.
    change : array of shape (n_participants,)
        later - earlier, in `outcome_unit`.
    baseline : array of shape (n_participants,)
        The earlier value, in `outcome_unit`.
    dose_unit, outcome_unit : str
        UCUM codes.
    per : float
        Amount of dose that slopes are given for, such as 600 min.
    level : float
        Nominal coverage of the intervals.
    rng : numpy.random.Generator
        For the permutations.
    covariates : array of shape (n_participants, k), optional
        Held constant besides the first value, such as a column of 0 and 1 for the group; no missing values.
    resamples : int
        Permutations; all orders are counted where there are no more of them.
    min_people : int
        Fewer people than this are described only.

    Returns
    -------
    BetweenPersonAssociation
        Associations. A baseline that is the same for everybody is left out, with a caveat.

    Raises
    ------
    DesignError
        Fewer than `min_people` (or 5) people, different lengths, a missing value, constant dose or change, or a first
        value that dose or change follows without rest.

    Notes
    -----
    change = b0 + b1·dose + b2·baseline (+ covariates); b1·per is the slope, with t(n - 3 - k). Test: the residuals of
    change on what is held are permuted over participants. Never pass work as the
    dose of a power outcome: work contains it.

    References
    ----------
    Freedman & Lane (1983) J Bus Econ Stat 1:292-298; Winkler et al (2014) NeuroImage 92:381-397; Bonett & Wright (2000)
    Psychometrika 65:23-28.

    Examples
    --------
    >>> dose, first = np.arange(12.0) * 100, np.array([5, 3, 6, 4, 5, 7, 4, 6, 5, 3, 4, 6.0])
    >>> change = 0.002 * dose - 0.1 * first + np.array([0.1, -0.1] * 6)
    >>> found = between_person_association(
    ...     dose, change, first, dose_unit="min", per=600.0, outcome_unit="cm", rng=np.random.default_rng(1)
    ... )
    >>> round(found.slope.value, 2), found.slope.test.p
    (1.17, 0.0001)
    """
    check_level(level)
    d, c, held = checked_columns(dose, change, baseline, covariates, min_people)
    if not per > 0:
        raise DesignError("the amount of dose that slopes are for must be above 0")
    n = len(d)
    adjusted, raw = fit(d, c, held), fit(d, c, held[:, 1:])
    constant = ("baseline_constant",) if all_equal(held[:, 0]) else ()
    reasons: dict[str, str] = {}
    test = permutation_test(adjusted, resamples=resamples, rng=rng)
    caveats = ("association", *constant)
    slope = _slope(adjusted, "dose_slope", per, outcome_unit, level, caveats)
    low, high = _left_out(adjusted, per, outcome_unit, caveats, reasons)
    return BetweenPersonAssociation(
        slope=_with_test(slope, test, _FREEDMAN_LANE),
        raw_slope=_slope(raw, "dose_slope_raw", per, outcome_unit, level, ("association",)),
        partial_correlation=_correlation(adjusted, "dose_partial_correlation", level, caveats, ranks=False),
        rank=_rank(d, c, held, level, rng, resamples, reasons),
        leave_one_out_low=low,
        leave_one_out_high=high,
        per=float(per),
        dose_unit=dose_unit,
        n_people=n,
        reasons=reasons,
    )


def rank_association(
    dose: ArrayLike,
    change: ArrayLike,
    baseline: ArrayLike,
    *,
    level: float = 0.95,
    rng: np.random.Generator,
    covariates: ArrayLike | None = None,
    resamples: int = 9_999,
    min_people: int = FEWEST,
) -> RankAssociation:
    """Partial rank correlation of dose and change given the first value: the association of an ordinal outcome.

    Parameters
    ----------
    dose, change, baseline : array of shape (n_participants,)
        As for `between_person_association`; change of grade counts in grades.
    level : float
        Nominal coverage of the interval.
    rng : numpy.random.Generator
        For the permutations.
    covariates : array of shape (n_participants, k), optional
        Held constant besides the first value, as they are, not ranked.
    resamples : int
        Permutations.
    min_people : int
        Fewer people than this are described only.

    Returns
    -------
    RankAssociation
        Between -1 and 1.

    Raises
    ------
    DesignError
        As for `between_person_association`.

    Notes
    -----
    Pearson's partial correlation of the mid-ranks of dose and change given those of the first value; permutation as for
    the slope, on ranks. The interval is an approximation.

    References
    ----------
    Freedman & Lane (1983) J Bus Econ Stat 1:292-298; Bonett & Wright (2000) Psychometrika 65:23-28.

    Examples
    --------
    >>> dose, first = np.arange(10.0), np.array([2, 3, 2, 3, 1, 2, 3, 2, 1, 3])
    >>> found = rank_association(
    ...     dose, [0, 0, -1, 0, 0, -1, -1, -1, -1, -2], first, rng=np.random.default_rng(1)
    ... )
    >>> round(found.rank.value, 2), found.rank.test.p < 0.05
    (-0.79, True)
    """
    check_level(level)
    d, c, held = checked_columns(dose, change, baseline, covariates, min_people)
    reasons: dict[str, str] = {}
    rank = _rank(d, c, held, level, rng, resamples, reasons)
    if rank is None:
        raise DesignError(reasons["rank"])
    return RankAssociation(rank=rank, n_people=len(d))


def checked_columns(
    dose: ArrayLike, change: ArrayLike, baseline: ArrayLike, covariates: ArrayLike | None, min_people: int
) -> tuple[Vector, Vector, Matrix]:
    """Return dose, change, and what is held constant (the first value, then the covariates), or refuse.

    Parameters
    ----------
    dose, change, baseline : array of shape (n_participants,)
    covariates : array of shape (n_participants, k), optional
    min_people : int

    Returns
    -------
    tuple of two vectors and a matrix of 1 + k columns

    Raises
    ------
    DesignError
        As `between_person_association`.
    """
    d = finite_vector(dose, name="dose", at_least=0)
    c = finite_vector(change, name="change", at_least=0)
    b = finite_vector(baseline, name="first values", at_least=0)
    if not len(d) == len(c) == len(b):
        raise DesignError(f"{len(d)} doses, {len(c)} changes and {len(b)} first values")
    if len(d) < min_people:
        raise DesignError(f"{len(d)} people with dose and change; fewer than {min_people} are described only")
    if len(d) < 5:
        raise DesignError(f"{len(d)} people are too few for an association")
    if all_equal(d):
        raise DesignError("everybody had the same dose")
    if all_equal(c, scale=float(max(np.abs(b).max(), np.abs(c).max()))):
        raise DesignError("everybody changed by the same amount")
    more = [] if covariates is None else list(np.asarray(covariates, dtype=float).reshape(len(d), -1).T)
    return d, c, np.column_stack([b, *(finite_vector(one, name="covariates") for one in more)])


def _slope(found: Fit, method: str, per: float, unit: str, level: float, caveats: tuple[str, ...]) -> Estimate:
    n = len(found.dose_rest)
    interval = None
    if found.standard_error > 0:
        half = t_quantile((1 + level) / 2, found.df) * found.standard_error * per
        interval = Interval(found.slope * per - half, found.slope * per + half, level, "Student t")
    else:
        caveats = (*caveats, "perfect_fit")
    return Estimate(
        value=found.slope * per,
        unit=unit,
        method=method,
        n_people=n,
        n_values=n,
        interval=interval,
        caveats=caveats,
    )


def _with_test(estimate: Estimate, test: HypothesisTest, source: str) -> Estimate:
    return replace(estimate, test=test, source=source)


def _correlation(found: Fit, method: str, level: float, caveats: tuple[str, ...], *, ranks: bool) -> Estimate:
    n, r = len(found.dose_rest), found.partial_correlation
    try:
        interval = correlation_interval(r, n, controls=found.basis.shape[1] - 1, ranks=ranks, level=level)
    except DesignError:
        interval = None
    return Estimate(value=r, unit="1", method=method, n_people=n, n_values=n, interval=interval, caveats=caveats)


def _rank(
    dose: Vector,
    change: Vector,
    held: Matrix,
    level: float,
    rng: np.random.Generator,
    resamples: int,
    reasons: dict[str, str],
) -> Estimate | None:
    try:
        found = fit(midranks(dose), midranks(change), np.column_stack([midranks(held[:, 0]), held[:, 1:]]))
    except DesignError as refusal:
        reasons["rank"] = f"by rank, {refusal.reason}"
        return None
    caveats = ("association", "baseline_constant") if all_equal(held[:, 0]) else ("association",)
    estimate = _correlation(found, "dose_rank", level, caveats, ranks=True)
    return _with_test(estimate, permutation_test(found, resamples=resamples, rng=rng), _FREEDMAN_LANE)


def _left_out(
    found: Fit, per: float, unit: str, caveats: tuple[str, ...], reasons: dict[str, str]
) -> tuple[Estimate | None, Estimate | None]:
    slopes = leave_one_out(found)
    if slopes is None:
        names = ("leave_one_out_low", "leave_one_out_high")
        reasons |= dict.fromkeys(names, "without one of the people the slope cannot be estimated")
        return None, None
    n = len(slopes)

    def extreme(value: float) -> Estimate:
        return Estimate(
            value=float(value) * per,
            unit=unit,
            method="dose_leave_one_out",
            n_people=n - 1,
            n_values=n - 1,
            source="Belsley, Kuh & Welsch (1980) Regression Diagnostics, chapter 2",
            caveats=caveats,
        )

    return extreme(slopes.min()), extreme(slopes.max())
