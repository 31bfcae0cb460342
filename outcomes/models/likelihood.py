"""The profiled likelihood of a mixed model with one grouping factor, one small block for each person.

V = σ² (I + Z G Z'), Z the intercept (and the slope) of one person. Each Z is written Q R with orthonormal Q, so that
V⁻¹ σ² = (I - QQ') + Q (I + R G R')⁻¹ Q': what lies outside the person's own line is summed once, and all that depends
on G has the size of G. No n x n matrix is ever formed, and no large numbers are subtracted.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """The data of all people, reduced to what the likelihood needs. Made by `blocks_of`.

    Parameters
    ----------
    coordinates : array of shape (n_people, q, p + 1)
        Q'[X y] of each person.
    loadings : array of shape (n_people, q, q)
        R of each person; a row of zeros where the person's values do not tell the slope from the intercept.
    within : array of shape (n_people, p + 1, p + 1)
        [X y]'(I - QQ')[X y] of each person.
    sizes : array of shape (n_people,)
        Values of each person.
    patterns : array of shape (n_patterns, q, q)
        The different loadings: people with the same visits share theirs.
    counts : array of shape (n_patterns,)
        People of each pattern.
    products : array of shape (n_patterns, q, q, p + 1, p + 1)
        Products of coordinates (row i, row j, column x, column y), summed over the people of each pattern.
    all_within : array of shape (p + 1, p + 1)
        `within`, summed over people.
    """

    coordinates: Array
    loadings: Array
    within: Array
    sizes: Array
    patterns: Array
    counts: Array
    products: Array
    all_within: Array

    @property
    def n_terms(self) -> int:
        """Columns of X."""
        return int(self.coordinates.shape[2]) - 1

    @property
    def size(self) -> int:
        """Rows and columns of G: 1, or 2 with a slope."""
        return int(self.coordinates.shape[1])

    @property
    def n_values(self) -> int:
        """Values of all people."""
        return int(self.sizes.sum())

    def without(self, person: int) -> Blocks:
        """Return the blocks of all people but one."""
        kept = np.arange(len(self.sizes)) != person
        return blocks_of(self.coordinates[kept], self.loadings[kept], self.within[kept], self.sizes[kept])


def blocks_of(coordinates: Array, loadings: Array, within: Array, sizes: Array) -> Blocks:
    """Return the blocks of people, with their sums over people of the same loadings.

    Parameters
    ----------
    coordinates : array of shape (n_people, q, p + 1)
    loadings : array of shape (n_people, q, q)
    within : array of shape (n_people, p + 1, p + 1)
    sizes : array of shape (n_people,)
        As in `Blocks`.

    Returns
    -------
    Blocks
    """
    m, q, width = coordinates.shape
    patterns, which = np.unique(loadings.reshape(m, q * q), axis=0, return_inverse=True)
    order = np.argsort(which, kind="stable")
    counts = np.bincount(which)
    ordered = coordinates[order]
    each = ordered[:, :, None, :, None] * ordered[:, None, :, None, :]
    products = np.add.reduceat(each, np.concatenate([[0], np.cumsum(counts)[:-1]]))
    return Blocks(
        coordinates=coordinates,
        loadings=loadings,
        within=within,
        sizes=sizes,
        patterns=patterns.reshape(-1, q, q),
        counts=counts.astype(np.float64),
        products=products.reshape(-1, q, q, width, width),
        all_within=within.sum(axis=0),
    )


@functools.cache
def symmetric_basis(size: int) -> Array:
    """Return the derivatives of a symmetric matrix by its elements (11, 12, 22).

    Parameters
    ----------
    size : int
        1 or 2.

    Returns
    -------
    array of shape (n_elements, size, size)

    Examples
    --------
    >>> symmetric_basis(2)[1]
    array([[0., 1.],
           [1., 0.]])
    """
    out = []
    for i in range(size):
        for j in range(i, size):
            one = np.zeros((size, size))
            one[i, j] = one[j, i] = 1.0
            out.append(one)
    basis = np.array(out)
    basis.flags.writeable = False
    return basis


def inverse_and_determinant(stack: Array) -> tuple[Array, Array]:
    """Return the inverses and determinants of a stack of positive definite matrices of 1 or 2 rows.

    Parameters
    ----------
    stack : array of shape (..., q, q)

    Returns
    -------
    tuple of arrays of shapes (..., q, q) and (...)

    Examples
    --------
    >>> inverse_and_determinant(np.array([[2.0, 1.0], [1.0, 1.0]]))[0]
    array([[ 1., -1.],
           [-1.,  2.]])
    """
    if stack.shape[-1] == 1:
        return 1 / stack, stack[..., 0, 0]
    a, b, c = stack[..., 0, 0], stack[..., 0, 1], stack[..., 1, 1]
    determinant = a * c - b * b
    out = np.empty_like(stack)
    out[..., 0, 0], out[..., 1, 1] = c / determinant, a / determinant
    out[..., 0, 1] = out[..., 1, 0] = -b / determinant
    return out, determinant


def scaled_inverse(matrix: Array) -> Array:
    """Return the inverse of a positive definite matrix whose rows may differ in size by many powers of ten.

    Parameters
    ----------
    matrix : array of shape (n, n)

    Returns
    -------
    array of shape (n, n)

    Examples
    --------
    >>> scaled_inverse(np.array([[4.0, 0.0], [0.0, 1.0]]))
    array([[0.25, 0.  ],
           [0.  , 1.  ]])
    """
    d = 1 / np.sqrt(np.diagonal(matrix))
    scale = np.outer(d, d)
    out: Array = np.linalg.inv(matrix * scale) * scale
    return out


def turned_products(left: Array, products: Array, right: Array) -> Array:
    """Return the products of turned coordinates, by pattern.

    Parameters
    ----------
    left, right : array of shape (n_patterns, q, q)
        Turn rows i and rows j.
    products : array of shape (n_patterns, q, q, width, width)

    Returns
    -------
    array of shape (n_patterns, q, q, width, width)

    Examples
    --------
    >>> turned_products(np.array([[[2.0]]]), np.ones((1, 1, 1, 1, 1)), np.array([[[3.0]]])).ravel()
    array([6.])
    """
    u, q, _, width, _ = products.shape
    once = (left @ products.reshape(u, q, -1)).reshape(u, q, q, width * width)
    out: Array = (right[:, None] @ once).reshape(products.shape)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A term of the deviance with its first and second derivatives by the elements of G.

    Parameters
    ----------
    value : float
    first : array of shape (n_elements,)
    second : array of shape (n_elements, n_elements)
    """

    value: float
    first: Array
    second: Array


@dataclass(frozen=True, slots=True, eq=False)
class Expansion:
    """The parts of the deviance at one G, with all derivatives.

    Parameters
    ----------
    spread : Part
        log|V|/σ^2n, summed over people.
    squares : Part
        Residual sum of squares y'V⁻¹y left by X, times σ².
    terms : Part
        log|X'V⁻¹X|, times σ².
    coefficients : array of shape (p,)
        Generalised least squares of y on X.
    covariance : array of shape (p, p)
        (X'V⁻¹X)⁻¹/σ².
    information_first : array of shape (n_elements, p, p)
        Derivatives of X'V⁻¹X, times σ².
    value : float
        The deviance, σ² profiled out.
    gradient, hessian : array
        Of the deviance, by the elements of G.
    """

    spread: Part
    squares: Part
    terms: Part
    coefficients: Array
    covariance: Array
    information_first: Array
    value: float
    gradient: Array
    hessian: Array


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """Deviance (-2 log likelihood) of the blocks as a function of G.

    Parameters
    ----------
    blocks : Blocks
    restricted : bool
        REML; else ML.
    """

    blocks: Blocks
    restricted: bool

    @property
    def df(self) -> int:
        """The divisor of the residual variance: n - p for REML, n for ML."""
        return self.blocks.n_values - (self.blocks.n_terms if self.restricted else 0)

    def values(self, candidates: Array) -> Array:
        """Return the deviance at several G.

        Parameters
        ----------
        candidates : array of shape (n, q, q)
            Covariance between people divided by σ²; positive semidefinite.

        Returns
        -------
        array of shape (n,)
        """
        b, p = self.blocks, self.blocks.n_terms
        turned = b.patterns @ symmetric_basis(b.size)[:, None] @ b.patterns.swapaxes(1, 2)
        elements = candidates[(slice(None), *np.triu_indices(b.size))]
        inverse, determinant = inverse_and_determinant(np.tensordot(elements, turned, axes=1) + np.eye(b.size))
        weighted = np.tensordot(inverse, b.products, axes=3)
        factor = np.linalg.cholesky(b.all_within + weighted)
        diagonal = np.diagonal(factor, axis1=1, axis2=2)
        out: Array = np.log(determinant) @ b.counts + self._of_squares(diagonal[:, p] ** 2)
        if self.restricted:
            out = out + 2 * np.log(diagonal[:, :p]).sum(axis=1)
        return out

    def _of_squares(self, squares: Any) -> Any:
        return self.df * (1 + np.log(2 * math.pi * squares / self.df))

    def expand(self, covariance: Array) -> Expansion:
        """Return the deviance at one G with its gradient and Hessian.

        Parameters
        ----------
        covariance : array of shape (q, q)
            G, positive semidefinite.

        Returns
        -------
        Expansion

        Notes
        -----
        With K = Z'V⁻¹Z and H = Z'V⁻¹[X y] of each person (σ = 1) and F_a the derivative of G by its element a:
        d[X y]'V⁻¹[X y]/da = -Σ H'F_aH, d²/da db = Σ H'(F_aKF_b + F_bKF_a)H, d log|V|/da = Σ tr KF_a,
        d²/da db = -Σ tr KF_aKF_b.

        References
        ----------
        Lindstrom & Bates (1988) J Am Stat Assoc 83:1014-1022; Bates et al (2015) J Stat Softw 67(1).
        """
        b, basis = self.blocks, symmetric_basis(self.blocks.size)
        q, u, width = b.size, len(b.counts), b.n_terms + 1
        stack = b.patterns @ covariance @ b.patterns.swapaxes(1, 2) + np.eye(q)
        inverse, determinant = inverse_and_determinant(stack)
        turned = b.patterns.swapaxes(1, 2) @ inverse
        k = (turned @ b.patterns).reshape(u, q * q)
        cross = b.all_within + np.tensordot(inverse, b.products, axes=3)
        turns = basis.reshape(len(basis), q * q)
        # Products of H by pattern, their rows i and l before their columns x and y
        hh = turned_products(turned, b.products, turned).reshape(u, q * q, width * width)
        hkh = (hh.reshape(u, -1).T @ k).reshape(q, q, width * width, q, q)
        hkh = turns @ hkh.transpose(0, 3, 4, 1, 2).reshape(q * q, q * q, width * width)
        kk = (k.T @ (k * b.counts[:, None])).reshape(q, q, q, q).transpose(3, 0, 1, 2).reshape(q * q, q * q)
        first = -(turns @ hh.sum(axis=0)).reshape(-1, width, width)
        half = np.tensordot(turns, hkh, axes=1).reshape(len(basis), len(basis), width, width)
        second = half + half.swapaxes(2, 3)
        spread = Part(float(np.log(determinant) @ b.counts), turns @ (b.counts @ k), -(turns @ kk @ turns.T))
        return self._combined(spread, cross, first, second)

    def _combined(self, spread: Part, cross: Array, first: Array, second: Array) -> Expansion:
        """Return the deviance from the derivatives of log|V| and of [X y]'V⁻¹[X y]."""
        p = self.blocks.n_terms
        factor = np.linalg.cholesky(cross)
        covariance = scaled_inverse(cross[:p, :p])
        coefficients = covariance @ cross[:p, p]
        line = np.append(-coefficients, 1.0)
        moved = first @ line
        within = moved[:, :p]
        squares = Part(
            float(factor[p, p] ** 2), moved @ line, second @ line @ line - 2 * within @ covariance @ within.T
        )
        inner = (covariance @ first[:, :p, :p]).reshape(len(first), -1)
        turned = inner.reshape(-1, p, p).swapaxes(1, 2).reshape(len(first), -1)
        terms = Part(
            float(2 * np.log(np.diagonal(factor)[:p]).sum()),
            np.trace(inner.reshape(-1, p, p), axis1=1, axis2=2),
            second[:, :, :p, :p].reshape(*second.shape[:2], -1) @ covariance.ravel() - inner @ turned.T,
        )
        share = squares.first / squares.value
        value = spread.value + self._of_squares(squares.value)
        gradient = spread.first + self.df * share
        hessian = spread.second + self.df * (squares.second / squares.value - np.outer(share, share))
        if self.restricted:
            value, gradient, hessian = value + terms.value, gradient + terms.first, hessian + terms.second
        return Expansion(
            spread, squares, terms, coefficients, covariance, first[:, :p, :p], float(value), gradient, hessian
        )
