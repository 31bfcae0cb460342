"""Least squares of change on dose given a first value, and its permutation test."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from outcomes.errors import DesignError
from outcomes.matrices import Vector, all_equal
from outcomes.result import HypothesisTest

_DUST = 1e-9
"""Residual lengths below this share of the whole length count as 0."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Least-squares fit of change on dose and the covariates.

    Parameters
    ----------
    slope, standard_error : float
        Of dose, in the unit of change per unit of dose.
    partial_correlation : float
        Of dose and change given the covariates.
    df : int
        Residual degrees of freedom.
    dose_rest, change_rest : array of shape (n,)
        What the covariates leave of dose and change.
    basis : array of shape (n, q)
        Orthonormal basis of intercept and covariates.
    """

    slope: float
    standard_error: float
    partial_correlation: float
    df: int
    dose_rest: Vector
    change_rest: Vector
    basis: NDArray[np.float64]


def covariate_basis(n: int, covariate: NDArray[np.float64] | None) -> NDArray[np.float64]:
    """Return an orthonormal basis of the intercept and of the covariates; what is constant, or follows, is left out.

    Parameters
    ----------
    n : int
        People.
    covariate : array of shape (n,) or (n, k), optional

    Returns
    -------
    array of shape (n, 1 to k + 1)

    Examples
    --------
    >>> covariate_basis(4, np.ones(4)).shape
    (4, 1)
    >>> covariate_basis(4, np.column_stack([np.arange(4.0), np.arange(4.0), [0, 1, 0, 1]])).shape
    (4, 3)
    """
    columns = [np.full(n, 1 / math.sqrt(n))]
    for one in [] if covariate is None else covariate.reshape(n, -1).T:
        if all_equal(one):
            continue
        left = rest(one, np.column_stack(columns))
        if left.any():
            columns.append(left / np.linalg.norm(left))
    return np.column_stack(columns)


def rest(values: Vector, basis: NDArray[np.float64]) -> Vector:
    """Return what the basis leaves of `values`; dust counts as 0.

    Examples
    --------
    >>> rest(np.array([1.0, 2.0, 3.0]), covariate_basis(3, None))
    array([-1.,  0.,  1.])
    """
    left = values - values.mean()
    left = left - basis @ (basis.T @ left)
    whole = float(np.linalg.norm(values - values.mean()))
    if float(np.linalg.norm(left)) <= _DUST * whole:
        return np.zeros_like(values)
    out: Vector = left
    return out


def fit(dose: Vector, change: Vector, covariate: NDArray[np.float64] | None) -> Fit:
    """Return the least-squares fit of change on dose, given the covariates.

    Parameters
    ----------
    dose, change : array of shape (n,)
        Not constant.
    covariate : array of shape (n,) or (n, k), optional

    Returns
    -------
    Fit

    Raises
    ------
    DesignError
        Too few people, dose follows from the covariate, or change is explained by the covariate without rest.

    Examples
    --------
    >>> round(fit(np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.0, 4.1, 5.9, 8.0]), None).slope, 4)
    1.98
    """
    n = len(dose)
    basis = covariate_basis(n, covariate)
    df = n - basis.shape[1] - 1
    if df < 1:
        raise DesignError(f"{n} people are too few for a slope")
    d, c = rest(dose, basis), rest(change, basis)
    squares, whole = float(d @ d), float(c @ c)
    if squares == 0:
        raise DesignError("dose and first value rise together without rest, so they cannot be told apart")
    if whole == 0:
        raise DesignError("the first value explains the change without rest")
    slope = float(d @ c) / squares
    left = c - slope * d
    error = float(left @ left)
    if error <= (_DUST**2) * whole:
        error = 0.0
    r = float(d @ c) / math.sqrt(squares * whole)
    return Fit(slope, math.sqrt(error / df / squares), max(-1.0, min(1.0, r)), df, d, c, basis)


def permutation_test(found: Fit, *, resamples: int, rng: np.random.Generator) -> HypothesisTest:
    """Return the two-sided Freedman-Lane permutation test of the partial correlation.

    Parameters
    ----------
    found : Fit
    resamples : int
        Random permutations; all orders are counted instead where there are no more of them.
    rng : numpy.random.Generator

    Returns
    -------
    HypothesisTest
        Its statistic is the partial correlation.

    Notes
    -----
    The residuals of change given the covariate are permuted over the people and added to the fitted values; the
    absolute partial correlation with dose is compared, which orders permutations as the absolute t does (Freedman &
    Lane 1983).

    Examples
    --------
    >>> found = fit(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([2.0, 4.1, 5.9, 8.0, 9.7]), None)
    >>> permutation_test(found, resamples=999, rng=np.random.default_rng(1)).p
    0.016666666666666666
    """
    n = len(found.change_rest)
    observed = abs(found.partial_correlation) - 1e-9
    exact = n <= 12 and math.factorial(n) <= resamples
    if exact:
        orders = np.array(list(itertools.permutations(range(n))))
        p = float(np.mean(_correlations(found, found.change_rest[orders]) >= observed))
        name, error = "permutation (Freedman-Lane), all orders", None
    else:
        as_far = 0
        rows = max(1, 2_000_000 // n)
        for start in range(0, resamples, rows):
            tiled = np.tile(found.change_rest, (min(rows, resamples - start), 1))
            as_far += int(np.sum(_correlations(found, rng.permuted(tiled, axis=1)) >= observed))
        p = (as_far + 1) / (resamples + 1)
        name, error = "permutation (Freedman-Lane)", math.sqrt(p * (1 - p) / resamples)
    return HypothesisTest(name=name, p=p, statistic=found.partial_correlation, df=(), exact=exact, error=error)


def _correlations(found: Fit, permuted: NDArray[np.float64]) -> Vector:
    """Return the absolute partial correlation of dose with each row of permuted residuals."""
    whole = float(found.change_rest @ found.change_rest)
    along = permuted @ np.column_stack([found.dose_rest / np.linalg.norm(found.dose_rest), found.basis[:, 1:]])
    left = np.maximum(whole - np.sum(along[:, 1:] ** 2, axis=1), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        correlations: Vector = np.abs(along[:, 0]) / np.sqrt(left)
    return np.where(left <= (_DUST**2) * whole, 1.0, correlations)


def leave_one_out(found: Fit) -> Vector | None:
    """Return the slope without each person in turn, or None if one of them alone decides it.

    Parameters
    ----------
    found : Fit

    Returns
    -------
    array of shape (n,), optional

    Notes
    -----
    slope - d_i e_i / ((1 - h_i) Σd²), with h_i the leverage of person i.

    References
    ----------
    Belsley, Kuh & Welsch (1980) Regression Diagnostics, chapter 2.

    Examples
    --------
    >>> found = fit(np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.0, 4.0, 6.0, 9.0]), None)
    >>> [round(float(slope), 3) for slope in leave_one_out(found)]
    [2.5, 2.286, 2.357, 2.0]
    """
    d = found.dose_rest
    squares = float(d @ d)
    leverage = np.sum(found.basis**2, axis=1) + d**2 / squares
    if found.df < 2 or np.max(leverage) > 1 - 1e-9:
        return None
    left = found.change_rest - found.slope * d
    slopes: Vector = found.slope - d * left / ((1 - leverage) * squares)
    return slopes
