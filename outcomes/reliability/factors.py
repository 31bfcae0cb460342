"""Omega: the share of a total's variance that a common factor explains, by maximum likelihood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import check_level
from outcomes.matrices import Matrix, Vector
from outcomes.reliability.consistency import item_matrix
from outcomes.result import Estimate, Interval, Result

_SOURCE = "McDonald (1999) Test Theory: A Unified Treatment"
_LEAST = 1e-6
"""Smallest share of an item's variance that may be its own."""

_MOST = 500
"""Steps of scoring after which there is no fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorConsistency(Result):
    """Result of `mcdonald_omega`.

    Parameters
    ----------
    omega : dict of str to Estimate
        Scale to its omega, without unit, between 0 and 1.
    loadings : dict of str to tuple of float
        Scale to the loadings of its items, in the items' unit.
    correlations : tuple of tuple of float
        Of the factors, in the order of the scales.
    n_people, n_incomplete : int
        People with every item; people left out as an answer is missing.
    reasons : dict of str to str
        Why a scale has no interval.
    """

    omega: dict[str, Estimate]
    loadings: dict[str, tuple[float, ...]]
    correlations: tuple[tuple[float, ...], ...]
    n_people: int
    n_incomplete: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the omega of every scale, rounded, with n."""
        found = ", ".join(f"{name} {estimate.value:.2f}" for name, estimate in self.omega.items())
        return f"omega {found} ({self.n_people} people)"


def mcdonald_omega(
    items: ArrayLike,
    *,
    scales: Mapping[str, Sequence[int]] | None = None,
    level: float = 0.95,
    resamples: int = 1_000,
    rng: np.random.Generator | None = None,
) -> FactorConsistency:
    """Omega of one scale, or of several whose factors may be correlated: congeneric items, no cross-loadings.

    Parameters
    ----------
    items : array of shape (n_participants, n_items)
        Item scores; people with a missing answer (nan) are left out and counted.
    scales : mapping of str to sequence of int, optional
        Scale to the places of its items, counted from 0; each item in one scale, at least three a scale (two where
        there are several scales). All items in one scale, "total", by default.
    level : float
        Nominal coverage of the intervals.
    resamples : int
        Bootstrap resamples of people, at least 200: each is fitted anew.
    rng : numpy.random.Generator, optional
        Source of random numbers; without it there are no intervals.

    Returns
    -------
    FactorConsistency

    Raises
    ------
    DesignError
        Too few items or people, an item that does not vary or stands in two scales, or no fit.

    Notes
    -----
    item = loading · factor + own; maximum likelihood with covariances of divisor n; omega = (Σ loadings)²/((Σ
    loadings)² + Σ own variances). An own variance at 0 is a caveat. Percentile interval by bootstrap over people;
    its coverage was not simulated.

    References
    ----------
    McDonald (1999) Test Theory: A Unified Treatment; Jöreskog (1971) Psychometrika 36:109-133.

    Examples
    --------
    >>> found = mcdonald_omega([[1, 2, 1], [2, 2, 3], [3, 4, 3], [4, 4, 5], [5, 6, 5], [3, 2, 4]])
    >>> 0.9 < found.omega["total"].value < 1
    True
    """
    check_level(level)
    matrix = item_matrix(items, least_items=3)
    gaps = np.isnan(matrix).any(axis=1)
    whole, k = matrix[~gaps], matrix.shape[1]
    member = _members(scales, k)
    if len(whole) <= k:
        raise DesignError(f"{len(whole)} people with every item; more than the {k} items are needed")
    spread = whole.std(axis=0)
    if (spread <= 1e-12 * np.abs(whole).max()).any():
        raise DesignError(f"item {int(np.argmin(spread)) + 1} does not vary between people")
    names = list(scales) if scales else ["total"]
    fit = _fit(whole, spread, member)
    values, own = _omegas(fit, member, spread)
    ends: list[Interval | None] = [None] * len(names)
    reason = "no random numbers were given"
    if rng is not None:
        if resamples < 200:
            raise DesignError(f"{resamples} resamples are too few for the ends of an interval; at least 200 are needed")
        ends, reason = _ends(whole, member, fit, level, resamples, rng)
    edge = [bool((own[member == j] <= 2 * _LEAST).any()) for j in range(len(names))]
    omega = {
        name: Estimate(
            value=float(values[j]), unit="1", method="mcdonald_omega", n_people=len(whole), n_values=whole.size,
            interval=ends[j], source=_SOURCE,
            caveats=(
                *(("own_variance_zero",) if edge[j] else ()),
                *(("no_interval_bootstrap",) if ends[j] is None and rng is not None else ()),
            ),
        )
        for j, name in enumerate(names)
    }  # fmt: skip
    return FactorConsistency(
        omega=omega,
        loadings={n: tuple(float(x) for x in (fit[:k] * spread)[member == j]) for j, n in enumerate(names)},
        correlations=tuple(tuple(float(x) for x in row) for row in _correlations(fit, k, len(names))),
        n_people=len(whole),
        n_incomplete=int(gaps.sum()),
        reasons=dict.fromkeys(names, reason) if reason else {},
    )


def _members(scales: Mapping[str, Sequence[int]] | None, k: int) -> NDArray[np.intp]:
    """Return the scale of every item."""
    if scales is None:
        return np.zeros(k, dtype=np.intp)
    member = np.full(k, -1, dtype=np.intp)
    least = 3 if len(scales) == 1 else 2
    for j, (name, places) in enumerate(scales.items()):
        if len(places) < least:
            raise DesignError(f"scale '{name}' has {len(places)} items; at least {least} are needed")
        for place in places:
            if not 0 <= place < k or member[place] >= 0:
                raise DesignError(f"item {place} of scale '{name}' does not exist or stands in two scales")
            member[place] = j
    if (member < 0).any():
        raise DesignError(f"item {int(np.flatnonzero(member < 0)[0])} stands in no scale")
    return member


def _correlations(theta: Vector, k: int, m: int) -> Matrix:
    out = np.eye(m)
    out[np.triu_indices(m, 1)] = theta[2 * k :]
    return np.asarray(out + np.triu(out, 1).T)


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    """Misfit log|Σ| + tr(SΣ⁻¹) of standardised items at some estimates, its slope and its expected curvature."""

    misfit: float
    slope: Vector
    curvature: Matrix


def _at(theta: Vector, s: Matrix, member: NDArray[np.intp]) -> _Fitted | None:
    """Return misfit, slope and curvature by loadings, own variances and correlations; None where Σ is no covariance."""
    k, m = len(member), int(member.max()) + 1
    loads = np.zeros((k, m))
    loads[np.arange(k), member] = theta[:k]
    phi = _correlations(theta, k, m)
    sigma = loads @ phi @ loads.T + np.diag(theta[k : 2 * k])
    try:
        root = np.linalg.cholesky(sigma)
    except np.linalg.LinAlgError:
        return None
    inverse = np.linalg.inv(sigma)
    turns = np.zeros((len(theta), k, k))
    across = phi @ loads.T
    for i in range(k):
        turns[i, i] += across[member[i]]
        turns[i, :, i] += across[member[i]]
        turns[k + i, i, i] = 1.0
    for place, (a, b) in enumerate(zip(*np.triu_indices(m, 1), strict=True)):
        turns[2 * k + place] = np.outer(loads[:, a], loads[:, b]) + np.outer(loads[:, b], loads[:, a])
    moved = inverse @ turns
    slope = np.einsum("pij,ji->p", turns, inverse - inverse @ s @ inverse)
    flat = moved.reshape(len(theta), -1)
    curvature = flat @ np.swapaxes(moved, -1, -2).reshape(len(theta), -1).T
    misfit = 2 * float(np.log(np.diag(root)).sum()) + float(np.sum(s * inverse))
    return _Fitted(misfit, slope, curvature)


def _fit(whole: Matrix, spread: Vector, member: NDArray[np.intp], start: Vector | None = None) -> Vector:
    """Return the estimates for items of standard deviation 1, by Fisher scoring; own variances stay above `_LEAST`."""
    k, m = len(member), int(member.max()) + 1
    z = (whole - whole.mean(axis=0)) / spread
    s = z.T @ z / len(z)
    first = np.concatenate([np.full(k, 0.7), np.full(k, 0.5), np.full(m * (m - 1) // 2, 0.3)])
    theta: Vector = first if start is None else start
    found = _at(theta, s, member)
    for _ in range(_MOST):
        if found is None:
            break
        held = np.zeros(len(theta), dtype=bool)
        held[k : 2 * k] = (theta[k : 2 * k] <= _LEAST) & (found.slope[k : 2 * k] > 0)
        if float(np.abs(found.slope[~held]).max()) < (1e-10 if start is None else 1e-6):
            return _upright(theta, member, k, m)
        step = np.zeros(len(theta))
        free = np.ix_(~held, ~held)
        ridge = found.curvature[free] + 1e-9 * np.eye(int((~held).sum()))
        step[~held] = -np.linalg.solve(ridge, found.slope[~held])
        theta, found, moved = _stepped(theta, step, found, s, member)
        if not moved:
            return _upright(theta, member, k, m)
    raise DesignError("no common factor can be fitted to these items")


def _stepped(
    theta: Vector, step: Vector, found: _Fitted, s: Matrix, member: NDArray[np.intp]
) -> tuple[Vector, _Fitted, bool]:
    """Return the estimates after the longest part of a step that lowers the misfit, and whether there was one."""
    k = len(member)
    for halves in range(30):
        trial = theta + step / 2**halves
        trial[k : 2 * k] = np.maximum(trial[k : 2 * k], _LEAST)
        trial[2 * k :] = np.clip(trial[2 * k :], -0.999, 0.999)
        there = _at(trial, s, member)
        if there is not None and there.misfit < found.misfit:
            return trial, there, True
    return theta, found, False


def _upright(theta: Vector, member: NDArray[np.intp], k: int, m: int) -> Vector:
    """Return the estimates with the free sign of each factor chosen so that its loadings add up to more than 0."""
    for j in range(m):
        if theta[:k][member == j].sum() < 0:
            theta = _turned(theta, member, j, k, m)
    return theta


def _turned(theta: Vector, member: NDArray[np.intp], j: int, k: int, m: int) -> Vector:
    out = theta.copy()
    out[:k] = np.where(member == j, -theta[:k], theta[:k])
    rows, columns = np.triu_indices(m, 1)
    out[2 * k :] = np.where((rows == j) | (columns == j), -theta[2 * k :], theta[2 * k :])
    return out


def _omegas(theta: Vector, member: NDArray[np.intp], spread: Vector) -> tuple[Vector, Vector]:
    """Return omega of every scale in the items' own units, and the items' own variances as shares."""
    k = len(member)
    loads, own = theta[:k] * spread, theta[k : 2 * k] * spread**2
    m = int(member.max()) + 1
    common = np.array([loads[member == j].sum() ** 2 for j in range(m)])
    rest = np.array([own[member == j].sum() for j in range(m)])
    return common / (common + rest), theta[k : 2 * k]


def _ends(
    whole: Matrix, member: NDArray[np.intp], fit: Vector, level: float, resamples: int, rng: np.random.Generator
) -> tuple[list[Interval | None], str]:
    """Return percentile intervals; none where an item does not vary in a resample."""
    values = []
    for _ in range(resamples):
        drawn = whole[rng.integers(0, len(whole), len(whole))]
        spread = drawn.std(axis=0)
        if (spread == 0).any():
            return [None] * (int(member.max()) + 1), "an item does not vary in a resample"
        values.append(_omegas(_fit(drawn, spread, member, fit), member, spread)[0])
    low, high = np.quantile(np.array(values), [(1 - level) / 2, (1 + level) / 2], axis=0)
    return [Interval(float(a), float(b), level, "percentile bootstrap") for a, b in zip(low, high, strict=True)], ""
