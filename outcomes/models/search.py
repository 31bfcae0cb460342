"""The exact optimum of the likelihood: a grid for the start, Newton steps to the end, a decision at the boundary."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from outcomes.errors import DesignError
from outcomes.models.likelihood import Array, Expansion, Likelihood, symmetric_basis
from outcomes.models.newton import Point, descend

_SMALL = 1e-9
"""A decrease of the deviance that double precision no longer shows."""

_TOO_FAR = 1e4
"""Variances between people, in units of the residual variance, from which digits may be lost."""

_SCALES = (0.003, 0.03, 0.3, 3.0, 30.0)
_CORRELATIONS = (-0.95, -0.5, 0.0, 0.5, 0.95)


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """Where the deviance is lowest.

    Parameters
    ----------
    factor : array of shape (q, rank)
        L, with G = LL'. Its rank is below q at the boundary, where part of the variance between people is 0.
    expansion : Expansion
        Deviance and derivatives there.
    """

    factor: Array
    expansion: Expansion

    @property
    def covariance(self) -> Array:
        """G, the covariance between people divided by σ²."""
        return self.factor @ self.factor.T

    @property
    def rank(self) -> int:
        """Rank of G."""
        return int(self.factor.shape[1])


def optimum(likelihood: Likelihood, start: Array | None = None) -> Optimum:
    """Return the lowest deviance over all positive semidefinite G.

    Parameters
    ----------
    likelihood : Likelihood
    start : array of shape (q, q), optional
        A G near which the optimum may lie, tried besides the grid.

    Returns
    -------
    Optimum
        Newton steps with the exact Hessian end where the deviance no longer falls in double precision; the boundary is
        taken only where the deviance rises on leaving it.

    Raises
    ------
    DesignError
        Newton steps do not reach a maximum of the likelihood.
    """
    starts = _starts(likelihood)
    if start is not None:
        starts.append(start + 1e-4 * np.eye(len(start)))
    found = min((_from(likelihood, one) for one in starts), key=lambda one: one.expansion.value)
    if Point(np.zeros(len(free_elements(found.factor))), 0.0, *by_factor(found)).step()[1] > 1e-7:
        raise DesignError(_unfound(found))
    return found


def _unfound(found: Optimum) -> str:
    """Return why Newton steps did not reach a maximum."""
    if float(np.trace(found.covariance)) > _TOO_FAR:
        return (
            "people differ so much, beside what varies within them, that their variances cannot be computed; look for "
            "a wrong unit or a slipped decimal point, or for values copied from visit to visit, or leave the slope out"
        )
    return (
        "the likelihood of the variances has no maximum that can be found; fewer random parts or more people are needed"
    )


def _starts(likelihood: Likelihood) -> list[Array]:
    """Return the lowest points of a grid of G: those not above any neighbour, three at most."""
    if likelihood.blocks.size == 1:
        grid = np.geomspace(1e-4, 1e4, 17)[:, None, None]
        values = likelihood.values(grid)
    else:
        scales, r = np.array(_SCALES), np.array(_CORRELATIONS)
        a, b, c = np.meshgrid(scales, scales, r, indexing="ij")
        off = c * np.sqrt(a * b)
        grid = np.stack([np.stack([a, off], axis=-1), np.stack([off, b], axis=-1)], axis=-1)
        values = likelihood.values(grid.reshape(-1, 2, 2)).reshape(a.shape)
    around = values.copy()
    for axis in range(values.ndim):
        low = np.moveaxis(around, axis, 0)
        before = low.copy()
        low[1:] = np.minimum(low[1:], before[:-1])
        low[:-1] = np.minimum(low[:-1], before[1:])
    lowest = values == around
    chosen = grid[lowest][np.argsort(values[lowest], kind="stable")][:3]
    return list(chosen)


def _from(likelihood: Likelihood, start: Array) -> Optimum:
    """Return the optimum that Newton steps reach from one G, moved to the boundary where it lies there."""
    found = _newton(likelihood, np.linalg.cholesky(start))
    for _ in range(8):
        out = _off_a_saddle(likelihood, found)
        if out is None:
            break
        found = _newton(likelihood, out)
    return _settled(likelihood, found)


def _newton(likelihood: Likelihood, factor: Array) -> Optimum:
    """Follow Newton steps in the free elements of L from `factor`."""
    rows, columns = (list(index) for index in zip(*free_elements(factor), strict=True))

    def at(elements: Array) -> Point:
        here = np.zeros_like(factor)
        here[rows, columns] = elements
        found = Optimum(here, likelihood.expand(here @ here.T))
        return Point(elements, found.expansion.value, *by_factor(found), found)

    end: Optimum = descend(at, factor[rows, columns]).found
    return end


def by_factor(found: Optimum) -> tuple[Array, Array]:
    """Return gradient and Hessian of the deviance by the free elements of L.

    Parameters
    ----------
    found : Optimum

    Returns
    -------
    tuple of arrays of shapes (n_free,) and (n_free, n_free)
    """
    jacobian, curved = chain(found.factor)
    gradient = found.expansion.gradient
    return jacobian @ gradient, jacobian @ found.expansion.hessian @ jacobian.T + curved @ gradient


def free_elements(factor: Array) -> list[tuple[int, int]]:
    """Return the elements (row, column) of L that describe G = LL' without redundancy.

    Examples
    --------
    >>> free_elements(np.eye(2)), free_elements(np.ones((2, 1)))
    ([(0, 0), (1, 0), (1, 1)], [(0, 0), (1, 0)])
    """
    size, rank = factor.shape
    return [(i, c) for c in range(rank) for i in range(c, size)]


def chain(factor: Array) -> tuple[Array, Array]:
    """Return the derivatives of the elements of G = LL' (11, 12, 22) by the free elements of L.

    Parameters
    ----------
    factor : array of shape (q, rank)
        L.

    Returns
    -------
    tuple of arrays of shapes (n_free, n_elements) and (n_free, n_free, n_elements)
        First and second derivatives.

    Examples
    --------
    >>> chain(np.array([[3.0]]))[0]
    array([[6.]])
    """
    curved = _curvature(factor.shape[0], factor.shape[1])
    elements = factor[tuple(np.array(free_elements(factor), dtype=int).reshape(-1, 2).T)]
    return np.tensordot(elements, curved, axes=1), curved


@functools.cache
def _curvature(size: int, rank: int) -> Array:
    """Return the second derivatives of LL' by the free elements of L; they are the same everywhere."""
    where = [(i, c) for c in range(rank) for i in range(c, size)]
    upper = np.triu_indices(size)
    curved = np.zeros((len(where), len(where), len(upper[0])))
    for a, (i, c) in enumerate(where):
        for b, (j, d) in enumerate(where):
            if c == d:
                two = np.zeros((size, size))
                two[i, j] += 1.0
                two[j, i] += 1.0
                curved[a, b] = two[upper]
    curved.flags.writeable = False
    return curved


def slope_matrix(expansion: Expansion, size: int) -> Array:
    """Return M with d deviance = tr(M dG).

    Parameters
    ----------
    expansion : Expansion
    size : int
        Rows of G.

    Returns
    -------
    array of shape (size, size)
    """
    halves = np.array([1.0 if size == 1 else 1.0 / np.count_nonzero(one) for one in symmetric_basis(size)])
    out: Array = np.einsum("a,aij->ij", expansion.gradient * halves, symmetric_basis(size))
    return out


def _off_a_saddle(likelihood: Likelihood, found: Optimum) -> Array | None:
    """Return a better L where the deviance falls along a direction that G does not use yet, else None."""
    size = likelihood.blocks.size
    values, vectors = np.linalg.eigh(slope_matrix(found.expansion, size))
    if values[0] >= -1e-7 * likelihood.df:
        return None
    direction = np.outer(vectors[:, 0], vectors[:, 0])
    added = np.geomspace(1e-8, 1e2, 21)[:, None, None] * direction
    tried = likelihood.values(found.covariance + added)
    best = int(np.argmin(tried))
    if tried[best] >= found.expansion.value - _SMALL:
        return None
    # The triangle of [L √added] has the same product and needs no positive definite matrix.
    wider = np.column_stack([found.factor, vectors[:, :1] * np.sqrt(np.trace(added[best]))])
    lower: Array = np.transpose(np.linalg.qr(wider.T, mode="r"))
    return lower


def _settled(likelihood: Likelihood, found: Optimum) -> Optimum:
    """Return the optimum at the boundary where the deviance rises on leaving it, else `found`."""
    size = likelihood.blocks.size
    values, vectors = np.linalg.eigh(found.covariance)
    if found.rank == 0 or float(values[size - found.rank]) > 1e-3 * max(1.0, float(values[-1])):
        return found
    if found.rank > 1:
        lower = _newton(likelihood, vectors[:, -1:] * np.sqrt(max(float(values[-1]), 1e-12)))
    else:
        lower = Optimum(np.zeros((size, 0)), likelihood.expand(np.zeros((size, size))))
    slopes = np.linalg.eigvalsh(slope_matrix(lower.expansion, size))
    outside = slopes[0] < -1e-8 * likelihood.df
    if outside or lower.expansion.value > found.expansion.value + _SMALL:
        return found
    return _settled(likelihood, lower)
