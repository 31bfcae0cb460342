"""Small-sample inference on the fixed terms: Satterthwaite and Kenward-Roger."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outcomes.errors import DesignError
from outcomes.models.likelihood import (
    Array,
    Blocks,
    Likelihood,
    inverse_and_determinant,
    scaled_inverse,
    symmetric_basis,
    turned_products,
)
from outcomes.models.search import Optimum, by_factor, chain


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """What Kenward-Roger needs, at σ = 1 and in the coordinates of the blocks.

    Parameters
    ----------
    covariance : array of shape (p, p)
        Φ, that of the coefficients with the variances taken as known.
    adjusted : array of shape (p, p)
        Φ enlarged for the estimation of the variances.
    moved : array of shape (n_variances, p, p)
        ΦP_aΦ, the derivative of Φ by each variance part, with its sign turned.
    weights : array of shape (n_variances, n_variances)
        W, the covariance of the variance parts.
    """

    covariance: Array
    adjusted: Array
    moved: Array
    weights: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Traces:
    """Sums over people for the parts a, b of V = ΣτV: P_a, Q_ab and tr V⁻¹V_aV⁻¹V_b, with Φ."""

    phi: Array
    p: Array
    q: Array
    traces: Array

    def information(self) -> Array:
        """Return twice the expected REML information of the variance parts."""
        moved = self.phi @ self.p
        twice = np.einsum("xy,abyx->ab", self.phi, self.q)
        out: Array = self.traces - 2 * twice + np.einsum("axy,byx->ab", moved, moved)
        return out


def _traces(blocks: Blocks, covariance: Array) -> _Traces:
    """Return the sums for V = σ²(I + ZGZ') at σ = 1; the parts are the elements of σ²G, then σ² itself."""
    b, terms, basis = blocks, blocks.n_terms, symmetric_basis(blocks.size)
    q, d, u = b.size, len(basis), len(b.counts)
    products, within = b.products[..., :terms, :terms], b.all_within[:terms, :terms]
    # In the directions of G's own axes its parts differ in size but do not cancel.
    spread, axes = np.linalg.eigh(covariance)
    patterns = b.patterns @ axes
    turned = patterns.swapaxes(1, 2)
    once, _ = inverse_and_determinant((patterns * np.maximum(spread, 0.0)) @ turned + np.eye(q))
    twice = once @ once
    k, k2 = turned @ once @ patterns, turned @ twice @ patterns
    hh = turned_products(turned @ once, products, turned @ once)
    hh2 = turned_products(turned @ once, products, turned @ twice).sum(axis=0)
    hkh = (hh.reshape(u, -1).T @ k.reshape(u, -1)).reshape(q, q, terms, terms, q, q)
    kk = (k.reshape(u, -1).T @ (k.reshape(u, -1) * b.counts[:, None])).reshape(q, q, q, q)
    first, mixed = np.empty((d + 1, terms, terms)), np.empty((d + 1, d + 1, terms, terms))
    traces = np.empty((d + 1, d + 1))
    phi = scaled_inverse(within + np.tensordot(once, products, axes=3))
    first[:d] = -np.einsum("aij,ijxy->axy", basis, hh.sum(axis=0))
    first[d] = -(within + np.tensordot(twice, products, axes=3))
    mixed[:d, :d] = np.einsum("aij,bkl,ilxyjk->abxy", basis, basis, hkh)
    mixed[:d, d] = np.einsum("aij,ijxy->axy", basis, hh2)
    mixed[d, :d] = mixed[:d, d].swapaxes(1, 2)
    mixed[d, d] = within + np.tensordot(twice @ once, products, axes=3)
    traces[:d, :d] = np.einsum("aij,bkl,jkli->ab", basis, basis, kk)
    traces[:d, d] = traces[d, :d] = np.einsum("aij,ji->a", basis, np.tensordot(b.counts, k2, axes=1))
    traces[d, d] = float(np.sum(b.sizes - q) + b.counts @ np.trace(twice, axis1=1, axis2=2))
    return _Traces(phi, first, mixed, traces)


def expected_information(blocks: Blocks, covariance: Array) -> Array:
    """Return twice the expected REML information of the elements of σ²G and of σ², at σ = 1.

    Parameters
    ----------
    blocks : Blocks
    covariance : array of shape (q, q)
        G.

    Returns
    -------
    array of shape (n_elements + 1, n_elements + 1)
        Singular where the variance parts cannot be told apart.
    """
    return _traces(blocks, covariance).information()


def kenward_roger(blocks: Blocks, covariance: Array) -> Adjustment:
    """Return the adjusted covariance of the coefficients and what their degrees of freedom need.

    Parameters
    ----------
    blocks : Blocks
    covariance : array of shape (q, q)
        G, the REML estimate.

    Returns
    -------
    Adjustment

    Notes
    -----
    Φ_A = Φ + 2Φ{Σ W_ab (Q_ab - P_aΦP_b)}Φ, W twice the inverse of the expected information of all variance parts, also
    of those that were estimated to be 0. V is linear in its parts, so no second derivative of V enters.

    References
    ----------
    Kenward & Roger (1997) Biometrics 53:983-997; Halekoh & Højsgaard (2014) J Stat Softw 59(9).
    """
    found = _traces(blocks, covariance)
    weights = 2 * scaled_inverse(found.information())
    moved = found.phi @ found.p @ found.phi
    inner = np.einsum("ab,abxy->xy", weights, found.q)
    inner = found.phi @ inner @ found.phi - np.einsum("ab,axy,byz->xz", weights, moved, found.p @ found.phi)
    adjusted = found.phi + inner + inner.T
    return Adjustment(found.phi, adjusted, moved, weights)


def kenward_roger_df(adjustment: Adjustment, rows: Array) -> tuple[float, float]:
    """Return the denominator degrees of freedom of a hypothesis and the factor that scales its F.

    Parameters
    ----------
    adjustment : Adjustment
    rows : array of shape (q, p)
        L of the hypothesis Lβ = 0, in the coordinates of the blocks; of full rank.

    Returns
    -------
    tuple of two floats

    Raises
    ------
    DesignError
        The approximation gives no positive degrees of freedom.

    References
    ----------
    Kenward & Roger (1997) Biometrics 53:983-997, section 3.
    """
    q = len(rows)
    inverse = scaled_inverse(rows @ adjustment.covariance @ rows.T)
    parts = np.einsum("xy,ayz->axz", inverse, np.einsum("xi,aij,yj->axy", rows, adjustment.moved, rows))
    single = np.einsum("axx->a", parts)
    a1 = float(single @ adjustment.weights @ single)
    a2 = float(np.sum(adjustment.weights * np.einsum("axy,byx->ab", parts, parts)))
    if q == 1:  # all that follows reduces to this
        return 2 / a2, 1.0
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    below = 3 * q + 2 * (1 - g)
    c1, c2, c3 = g / below, (q - g) / below, (q + 2 - g) / below
    v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b
    # df = 4 + (q + 2)/(q rho - 1) with rho = ((1 - A2/q)/v1)^2 v0/(q v2), over a common denominator
    above, denominator = (1 - a2 / q) ** 2 * v0, v1**2 * v2
    df = 4 + (q + 2) * denominator / (above - denominator) if above != denominator else math.inf
    if denominator <= 0 or a2 >= q or not (math.isfinite(df) and df > 2):
        raise DesignError(
            "the Kenward-Roger approximation has no degrees of freedom for this test; more people, or a test of fewer "
            "terms, are needed"
        )
    return df, df * (1 - a2 / q) / (df - 2)


@dataclass(frozen=True, slots=True, eq=False)
class Gradients:
    """What Satterthwaite needs, at σ = 1 and in the coordinates of the blocks.

    Parameters
    ----------
    covariance : array of shape (p, p)
        Of the coefficients.
    moved : array of shape (n_free + 1, p, p)
        Its derivatives by the free elements of L and by log σ².
    weights : array of shape (n_free + 1, n_free + 1)
        Covariance of those, from the curvature of the deviance.
    """

    covariance: Array
    moved: Array
    weights: Array


def satterthwaite(likelihood: Likelihood, found: Optimum) -> Gradients:
    """Return the derivatives and the curvature behind Satterthwaite's degrees of freedom.

    Parameters
    ----------
    likelihood : Likelihood
    found : Optimum

    Returns
    -------
    Gradients

    Notes
    -----
    The deviance is expanded in the free elements of L (G = LL') and log σ². Where part of G is 0, L has fewer columns
    and that part counts as known.

    References
    ----------
    Satterthwaite (1946) Biometrics Bull 2:110-114; Kuznetsova, Brockhoff & Christensen (2017) J Stat Softw 82(13).
    """
    at, n = found.expansion, likelihood.df
    jacobian, _ = chain(found.factor)
    _, profiled = by_factor(found) if found.rank else (None, np.zeros((0, 0)))
    # With σ² profiled out the curvature is A - bb'/c; b and c are those of log σ².
    across = -n * (jacobian @ at.squares.first) / at.squares.value
    hessian = np.zeros((len(across) + 1, len(across) + 1))
    hessian[:-1, :-1] = profiled + np.outer(across, across) / n
    hessian[:-1, -1] = hessian[-1, :-1] = across
    hessian[-1, -1] = n
    by_elements = -at.covariance @ at.information_first @ at.covariance
    moved = np.concatenate([np.tensordot(jacobian, by_elements, axes=1), at.covariance[None]])
    return Gradients(at.covariance, moved, 2 * _inverse(hessian))


def _inverse(hessian: Array) -> Array:
    """Return the inverse; directions in which the deviance is flat are left out."""
    d = 1 / np.sqrt(np.maximum(np.diagonal(hessian), 1e-300))
    values, vectors = np.linalg.eigh(hessian * np.outer(d, d))
    kept = values > 1e-10
    out: Array = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T * np.outer(d, d)
    return out


def satterthwaite_df(gradients: Gradients, row: Array) -> float:
    """Return the degrees of freedom of one contrast.

    Parameters
    ----------
    gradients : Gradients
    row : array of shape (p,)
        Weights, in the coordinates of the blocks.

    Returns
    -------
    float
        2f²/var(f), f the variance of the contrast.
    """
    variance = float(row @ gradients.covariance @ row)
    gradient = gradients.moved @ row @ row
    return 2 * variance**2 / float(gradient @ gradients.weights @ gradient)


def satterthwaite_f(gradients: Gradients, rows: Array, values: Array) -> tuple[float, float]:
    """Return F and its denominator degrees of freedom.

    Parameters
    ----------
    gradients : Gradients
    rows : array of shape (q, p)
        L, of full rank.
    values : array of shape (q,)
        Lβ/σ.

    Returns
    -------
    tuple of two floats

    References
    ----------
    Fai & Cornelius (1996) J Stat Comput Simul 54:363-378.
    """
    spread, turns = np.linalg.eigh(rows @ gradients.covariance @ rows.T)
    squares = (turns.T @ values) ** 2 / spread
    df = np.array([satterthwaite_df(gradients, row) for row in turns.T @ rows])
    f = float(squares.mean())
    if float(np.ptp(df)) < 1e-8:
        return f, float(df.mean())
    if df.min() <= 2:
        return f, 2.0
    expected = float(np.sum(df / (df - 2)))
    return f, 2 * expected / (expected - len(rows))
