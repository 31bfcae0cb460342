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
Stack = NDArray[np.float64]
"""Matrices along the first axis."""

_LEAST = 1e-6
"""Smallest share of an item's variance that may be its own."""

_MOST = 500
"""Steps of scoring after which there is no fit."""

_MOST_LOST = 0.05
"""Share of resamples without a value above which there is no interval."""

_NUMBERS = 2_000_000
"""Numbers of an array of resamples that are worked on at once."""


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
    loadings)² + Σ own variances). An own variance at 0 is a caveat. Percentile interval by bootstrap
    over people; resamples in which an item does not vary or no factor can be fitted are left out and are a caveat, and
    above 5 % of them there is no interval.

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
    fit = _fit(_correlated(whole[None], spread[None]), member)[0]
    if np.isnan(fit).any():
        raise DesignError("no common factor can be fitted to these items")
    values, own = _omegas(fit[None], member, spread[None])[0], fit[k : 2 * k]
    ends: list[Interval | None] = [None] * len(names)
    reason, lost = "no random numbers were given", 0.0
    if rng is not None:
        if resamples < 200:
            raise DesignError(f"{resamples} resamples are too few for the ends of an interval; at least 200 are needed")
        ends, lost = _ends(whole, member, fit, level, resamples, rng)
        reason = f"{lost:.0%} of the resamples have no value" if ends[0] is None else ""
    edge = [bool((own[member == j] <= 2 * _LEAST).any()) for j in range(len(names))]
    omega = {
        name: Estimate(
            value=float(values[j]), unit="1", method="mcdonald_omega", n_people=len(whole), n_values=whole.size,
            interval=ends[j], source=_SOURCE,
            caveats=(
                *(("own_variance_zero",) if edge[j] else ()),
                *(("no_interval_bootstrap",) if ends[j] is None and rng is not None else ()),
                *(("resamples_without_fit",) if ends[j] is not None and lost else ()),
            ),
        )
        for j, name in enumerate(names)
    }  # fmt: skip
    return FactorConsistency(
        omega=omega,
        loadings={n: tuple(float(x) for x in (fit[:k] * spread)[member == j]) for j, n in enumerate(names)},
        correlations=tuple(tuple(float(x) for x in row) for row in _correlations(fit[None], k, len(names))[0]),
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


def _correlations(theta: Matrix, k: int, m: int) -> Stack:
    """Return the correlations of the factors, a matrix for each row of the estimates."""
    out = np.tile(np.eye(m), (len(theta), 1, 1))
    rows, columns = np.triu_indices(m, 1)
    out[:, rows, columns] = out[:, columns, rows] = theta[:, 2 * k :]
    return out


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    """Misfit log|Σ| + tr(SΣ⁻¹) of several sets of standardised items, each at some estimates, with its slope and its
    expected curvature; the misfit is infinite where Σ is no covariance."""

    misfit: Vector
    slope: Matrix
    curvature: Stack


def _implied(theta: Matrix, member: NDArray[np.intp]) -> tuple[Stack, Stack, Stack]:
    """Return loadings, what each factor shares with every item, and the covariance of the items."""
    k, m = len(member), int(member.max()) + 1
    loads = np.zeros((len(theta), k, m))
    loads[:, np.arange(k), member] = theta[:, :k]
    across = _correlations(theta, k, m) @ np.swapaxes(loads, 1, 2)
    sigma = loads @ across
    sigma[:, np.arange(k), np.arange(k)] += theta[:, k : 2 * k]
    return loads, across, sigma


def _misfit(sigma: Stack, s: Stack) -> tuple[Vector, Stack]:
    """Return log|Σ| + tr(SΣ⁻¹), infinite where Σ is no covariance, and Σ⁻¹."""
    values, vectors = np.linalg.eigh(sigma)
    sound = values[:, 0] > 0
    values = np.where(sound[:, None], values, 1.0)
    inverse = (vectors / values[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    misfit = np.log(values).sum(axis=1) + (s * inverse).sum(axis=(1, 2))
    return np.where(sound, misfit, np.inf), inverse


def _at(theta: Matrix, s: Stack, member: NDArray[np.intp]) -> _Fitted:
    """Return misfit, slope and curvature by loadings, own variances and correlations, a row of `theta` for each S."""
    n, p = theta.shape
    k = len(member)
    loads, across, sigma = _implied(theta, member)
    misfit, inverse = _misfit(sigma, s)
    turns = np.zeros((n, p, k, k))
    for i in range(k):
        turns[:, i, i] += across[:, member[i]]
        turns[:, i, :, i] += across[:, member[i]]
        turns[:, k + i, i, i] = 1.0
    for place, (a, b) in enumerate(zip(*np.triu_indices(loads.shape[2], 1), strict=True)):
        one = loads[:, :, a, None] * loads[:, None, :, b]
        turns[:, 2 * k + place] = one + np.swapaxes(one, 1, 2)
    moved = inverse[:, None] @ turns
    slope = (turns * (inverse - inverse @ s @ inverse)[:, None]).sum(axis=(2, 3))
    curvature = moved.reshape(n, p, -1) @ np.swapaxes(np.swapaxes(moved, 2, 3).reshape(n, p, -1), 1, 2)
    return _Fitted(misfit, slope, curvature)


def _fit(s: Stack, member: NDArray[np.intp], start: Vector | None = None) -> Matrix:
    """Return the estimates of several matrices of correlations by Fisher scoring; own variances stay above `_LEAST`.

    Parameters
    ----------
    s : array of shape (n_matrices, n_items, n_items)
    member : array of shape (n_items,)
        Scale of every item.
    start : array of shape (n_estimates,), optional
        Estimates near those that are looked for, of which fewer digits will do: a step ends the search that promises
        to lower the misfit by less than 1e-10.

    Returns
    -------
    array of shape (n_matrices, n_estimates)
        nan where there is no fit.
    """
    k, m = len(member), int(member.max()) + 1
    first = np.concatenate([np.full(k, 0.7), np.full(k, 0.5), np.full(m * (m - 1) // 2, 0.3)])
    theta = np.tile(first if start is None else start, (len(s), 1))
    enough = 1e-20 if start is None else 1e-10
    waiting = np.arange(len(s))  # those without their estimates yet
    for _ in range(_MOST):
        found = _at(theta[waiting], s[waiting], member)
        held = np.zeros(found.slope.shape, dtype=bool)
        held[:, k : 2 * k] = (theta[waiting, k : 2 * k] <= _LEAST) & (found.slope[:, k : 2 * k] > 0)
        step = _step(found, held)
        far = -(found.slope * step).sum(axis=1) >= enough
        waiting = waiting[far]
        if len(waiting):
            theta[waiting], moved = _stepped(theta[waiting], step[far], found.misfit[far], s[waiting], member)
            waiting = waiting[moved]
        if not len(waiting):
            break
    theta[waiting] = np.nan
    return _upright(theta, member)


def _step(found: _Fitted, held: NDArray[np.bool_]) -> Matrix:
    """Return the steps of scoring of the estimates that are not held."""
    p = held.shape[1]
    free = ~held
    ridge = np.where(free[:, :, None] & free[:, None, :], found.curvature, 0.0)
    ridge[:, np.arange(p), np.arange(p)] += np.where(free, 1e-9, 1.0)
    return np.asarray(-np.linalg.solve(ridge, np.where(free, found.slope, 0.0)[..., None])[..., 0])


def _stepped(
    theta: Matrix, step: Matrix, misfit: Vector, s: Stack, member: NDArray[np.intp]
) -> tuple[Matrix, NDArray[np.bool_]]:
    """Return the estimates after the longest part of a step that lowers the misfit, and whether there was one."""
    k = len(member)
    out, moved = theta.copy(), np.zeros(len(theta), dtype=bool)
    for halves in range(30):
        rest = np.flatnonzero(~moved)
        trial = theta[rest] + step[rest] / 2**halves
        trial[:, k : 2 * k] = np.maximum(trial[:, k : 2 * k], _LEAST)
        trial[:, 2 * k :] = np.clip(trial[:, 2 * k :], -0.999, 0.999)
        better = _misfit(_implied(trial, member)[2], s[rest])[0] < misfit[rest]
        out[rest[better]], moved[rest[better]] = trial[better], True
        if moved.all():
            break
    return out, moved


def _upright(theta: Matrix, member: NDArray[np.intp]) -> Matrix:
    """Return the estimates with the free sign of each factor chosen so that its loadings add up to more than 0."""
    k, m = len(member), int(member.max()) + 1
    sign = np.stack([np.where(theta[:, :k][:, member == j].sum(axis=1) < 0, -1.0, 1.0) for j in range(m)], axis=1)
    rows, columns = np.triu_indices(m, 1)
    turned = [theta[:, :k] * sign[:, member], theta[:, k : 2 * k], theta[:, 2 * k :] * sign[:, rows] * sign[:, columns]]
    return np.concatenate(turned, axis=1)


def _omegas(theta: Matrix, member: NDArray[np.intp], spread: Matrix) -> Matrix:
    """Return omega of every scale in the items' own units, a row for each row of the estimates."""
    k, m = len(member), int(member.max()) + 1
    loads, own = theta[:, :k] * spread, theta[:, k : 2 * k] * spread**2
    common = np.stack([loads[:, member == j].sum(axis=1) ** 2 for j in range(m)], axis=1)
    rest = np.stack([own[:, member == j].sum(axis=1) for j in range(m)], axis=1)
    return np.asarray(common / (common + rest))


def _ends(
    whole: Matrix, member: NDArray[np.intp], fit: Vector, level: float, resamples: int, rng: np.random.Generator
) -> tuple[list[Interval | None], float]:
    """Return percentile intervals, and the share of resamples that have no value; none where these are too many."""
    n, k = whole.shape
    at_once = max(1, _NUMBERS // max(n * k, len(fit) * k * k))
    values = np.full((resamples, int(member.max()) + 1), np.nan)
    for first in range(0, resamples, at_once):
        drawn = whole[rng.integers(0, n, (min(at_once, resamples - first), n))]
        spread = drawn.std(axis=1)
        varied = np.flatnonzero((spread > 0).all(axis=1))
        drawn, spread = drawn[varied], spread[varied]
        values[first + varied] = _omegas(_fit(_correlated(drawn, spread), member, fit), member, spread)
    known = values[~np.isnan(values[:, 0])]
    lost = 1 - len(known) / resamples
    if lost > _MOST_LOST:
        return [None] * values.shape[1], lost
    low, high = np.quantile(known, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return [Interval(float(a), float(b), level, "percentile bootstrap") for a, b in zip(low, high, strict=True)], lost


def _correlated(items: Stack, spread: Matrix) -> Stack:
    """Return the correlations of items, for each of several sets of people."""
    z = (items - items.mean(axis=1, keepdims=True)) / spread[:, None, :]
    return np.asarray(np.swapaxes(z, 1, 2) @ z / items.shape[1])
