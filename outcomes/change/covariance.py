"""Difference between groups given the first value: analysis of covariance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, possible_p, t_quantile, t_two_sided
from outcomes.matrices import Matrix, Vector, all_equal, paired
from outcomes.models import InformationCriteria, information_criteria, least_squares_log_likelihood
from outcomes.result import Estimate, HypothesisTest, Interval, Result

_SOURCE = "Senn (2006) Stat Med 25:4334; Vickers & Altman (2001) BMJ 323:1123"
Spread = Literal["equal", "hc3"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisOfCovariance(Result):
    """Result of `analysis_of_covariance`; in the unit of the values unless said otherwise.

    Parameters
    ----------
    difference : dict of str to Estimate
        By group: its later values minus those of the reference group, given the first value.
    unadjusted : dict of str to Estimate
        By group: its mean change minus that of the reference group, with the spread of all groups.
    slope : Estimate
        Later value per unit of the first value, within groups; without unit.
    groups_differ : HypothesisTest
        F test that the adjusted means of the groups are not all the same.
    slopes_differ : HypothesisTest, optional
        F test that the slope is not the same in all groups; None where a group is too small.
    criteria : InformationCriteria
        Of the fit with one residual variance, which counts among its parameters.
    spread : {"equal", "hc3"}
        What the standard errors assume.
    reference : str
    n_by_group : dict of str to int
    degrees_of_freedom : float
        Of the adjusted differences.
    """

    difference: Mapping[str, Estimate]
    unadjusted: Mapping[str, Estimate]
    slope: Estimate
    groups_differ: HypothesisTest
    slopes_differ: HypothesisTest | None
    criteria: InformationCriteria
    spread: str
    reference: str
    n_by_group: Mapping[str, int]
    degrees_of_freedom: float
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return every adjusted difference with its interval and p, rounded."""
        said = []
        for group, one in self.difference.items():
            i, p = one.interval, one.test
            ends = f" ({i.low:.3g} to {i.high:.3g})" if i is not None else ""
            said.append(f"{group} minus {self.reference} {one.value:.3g}{ends}{f', p = {p.p:.2g}' if p else ''}")
        return f"given the first value: {'; '.join(said)} (n = {sum(self.n_by_group.values())})"


def analysis_of_covariance(
    before: ArrayLike,
    after: ArrayLike,
    groups: Sequence[str],
    *,
    reference: str,
    unit: str,
    level: float = 0.95,
    spread: Spread = "equal",
) -> AnalysisOfCovariance:
    """Difference of the later values of groups of different people, given the first value.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One value per participant at each visit, in `unit`; no missing values.
    groups : sequence of str of shape (n_participants,)
        Group of each participant.
    reference : str
        Group that the others are compared with.
    unit : str
        UCUM code.
    level : float
        Nominal coverage.
    spread : {"equal", "hc3"}
        One residual variance for all groups, or standard errors that allow each person another (HC3).

    Returns
    -------
    AnalysisOfCovariance

    Raises
    ------
    DesignError
        Fewer than two groups, a group of fewer than two people, no reference group, all first values equal, no degree
        of freedom left, or no spread about the model.

    Notes
    -----
    after = b0 + b1 before + Σ d_g [group g]; each d_g with a Student t interval, n - groups - 1 degrees of freedom.
    With change in place of the later value every d_g is the same and the slope smaller by exactly 1. The F test of
    different groups is that of the standard errors asked for. The F test of
    different slopes is a note on the model, not a step that chooses it. Where people chose their group the adjusted
    and the unadjusted difference answer different questions (Lord's paradox): both are given.

    References
    ----------
    Vickers & Altman (2001) BMJ 323:1123-1124; Senn (2006) Stat Med 25:4334-4344; MacKinnon & White (1985) J Econom
    29:305-325 (HC3).

    Examples
    --------
    >>> before, after = [50.0, 48, 52, 47, 51, 49, 53, 46], [52.1, 50.2, 54.4, 48.7, 51.2, 49.4, 52.8, 46.5]
    >>> group = ["trained"] * 4 + ["waiting"] * 4
    >>> found = analysis_of_covariance(before, after, group, reference="waiting", unit="cm")
    >>> round(found.difference["trained"].value, 3)
    1.863
    """
    check_level(level)
    first, second = paired(before, after)
    names, codes = _coded(groups, len(first), reference)
    if all_equal(first):
        raise DesignError("all first values are equal, so nothing can be adjusted for")
    if spread not in ("equal", "hc3"):
        raise DesignError(f"spread '{spread}' is neither 'equal' nor 'hc3'")
    dummies = (codes[:, None] == np.arange(1, len(names))[None, :]).astype(np.float64)
    centred = first - first.mean()
    design = np.column_stack([np.ones(len(first)), centred, dummies])
    fit = _fit(design, second, spread)
    plain = _fit(np.column_stack([np.ones(len(first)), dummies]), second - first, spread)
    counts = {name: int(np.sum(codes == i)) for i, name in enumerate(names)}
    slope = _estimate(fit, 1, "ancova_slope", "1", level, test=False)
    method = "ancova" if spread == "equal" else "ancova_hc3"
    return AnalysisOfCovariance(
        difference={name: _estimate(fit, 1 + i, method, unit, level) for i, name in enumerate(names) if i},
        unadjusted={
            name: _estimate(plain, i, "change_difference_pooled", unit, level) for i, name in enumerate(names) if i
        },
        slope=slope,
        groups_differ=_groups_differ(fit),
        slopes_differ=_slopes_differ(design, dummies * centred[:, None], second, counts),
        criteria=information_criteria(
            least_squares_log_likelihood(fit.squares, fit.n), n_parameters=len(names) + 2, n_values=fit.n,
            n_people=fit.n, method="ancova_information",
        ),
        spread=spread,
        reference=reference,
        n_by_group=counts,
        degrees_of_freedom=fit.df,
    )  # fmt: skip


def _coded(groups: Sequence[str], n: int, reference: str) -> tuple[list[str], np.ndarray]:
    """Return the groups, the reference first, and the number of each participant's group."""
    given = [str(group) for group in groups]
    if len(given) != n:
        raise DesignError(f"{n} people with both values and {len(given)} groups: lengths differ")
    names = [reference, *(name for name in dict.fromkeys(given) if name != reference)]
    counts = {name: given.count(name) for name in names}
    if len(names) < 2:
        raise DesignError("there is only one group, so nothing to compare")
    small = [name for name, count in counts.items() if count < 2]
    if small:
        have = counts[small[0]]
        raise DesignError(f"group {small[0]} has {have} {'person' if have == 1 else 'people'}; at least 2 are needed")
    return names, np.array([names.index(name) for name in given])


@dataclass(frozen=True, slots=True)
class _Fit:
    """Least squares: coefficients, their covariance, degrees of freedom, sum of squares about the model."""

    coefficients: Vector
    covariance: Matrix
    df: float
    squares: float
    n: int


def _fit(design: Matrix, y: Vector, spread: str) -> _Fit:
    n, k = design.shape
    if n <= k:
        raise DesignError(f"{n} people are too few for {k} coefficients")
    q, r = np.linalg.qr(design)
    if np.min(np.abs(np.diag(r))) < 1e-10 * np.max(np.abs(np.diag(r))):
        raise DesignError("first value and group cannot be told apart")
    inverse = np.linalg.inv(r)
    coefficients = inverse @ (q.T @ y)
    residual = y - design @ coefficients
    squares = float(residual @ residual)
    if squares <= (1e-12 * float(np.max(np.abs(y), initial=0.0))) ** 2 * n:
        raise DesignError("there is no spread about the model, so no interval")
    if spread == "equal":
        covariance = inverse @ inverse.T * squares / (n - k)
    else:
        leverage = np.sum(q * q, axis=1)
        if np.max(leverage) > 1 - 1e-9:
            raise DesignError("one person alone decides a coefficient, so HC3 is not defined")
        half = inverse @ (q * (residual / (1 - leverage))[:, None]).T
        covariance = half @ half.T
    return _Fit(coefficients, covariance, float(n - k), squares, n)


def _estimate(fit: _Fit, which: int, method: str, unit: str, level: float, *, test: bool = True) -> Estimate:
    value, se = float(fit.coefficients[which]), float(np.sqrt(fit.covariance[which, which]))
    half = t_quantile((1 + level) / 2, fit.df) * se
    hypothesis = None
    if test:
        t = value / se
        p = possible_p(t_two_sided(t, fit.df))
        hypothesis = HypothesisTest(name="t of the difference between groups", p=p, statistic=t, df=(fit.df,))
    return Estimate(
        value=value, unit=unit, method=method, n_people=fit.n, n_values=2 * fit.n,
        interval=Interval(value - half, value + half, level, "Student t"), test=hypothesis, source=_SOURCE,
    )  # fmt: skip


def _groups_differ(fit: _Fit) -> HypothesisTest:
    """Return the F test that all coefficients of groups, which stand after the first two, are 0."""
    groups, df = fit.coefficients[2:], float(len(fit.coefficients) - 2)
    f = float(groups @ np.linalg.solve(fit.covariance[2:, 2:], groups)) / df
    return HypothesisTest(name="F of different groups", p=_f_beyond(f, df, fit.df), statistic=f, df=(df, fit.df))


def _f_beyond(f: float, df: float, df_rest: float) -> float:
    """Return the probability of an F at least as large, never 0."""
    from scipy.special import fdtrc

    return possible_p(float(fdtrc(df, df_rest, f)))


def _slopes_differ(design: Matrix, products: Matrix, y: Vector, counts: Mapping[str, int]) -> HypothesisTest | None:
    """Return the F test of one slope for all groups; None where a group has fewer than three people."""
    if min(counts.values()) < 3:
        return None
    try:
        small, large = _fit(design, y, "equal"), _fit(np.column_stack([design, products]), y, "equal")
    except DesignError:
        return None
    df = float(products.shape[1])
    f = max((small.squares - large.squares) / df / (large.squares / large.df), 0.0)
    p = _f_beyond(f, df, large.df)
    return HypothesisTest(name="F of different slopes", p=p, statistic=f, df=(df, large.df))
