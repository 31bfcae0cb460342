"""Residuals of a mixed model, and the model without each participant in turn."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np

from outcomes.errors import DesignError
from outcomes.models.design import refuse_unidentified
from outcomes.models.fit import Fit
from outcomes.models.likelihood import Array, Likelihood, inverse_and_determinant
from outcomes.models.results import ModelResiduals
from outcomes.models.search import optimum


def left_out(fit: Fit) -> tuple[dict[Hashable, Fit], dict[Hashable, str]]:
    """Return the fit without each participant, and why there is none for some.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    tuple of two dicts
        Label to fit, label to reason.
    """
    fits: dict[Hashable, Fit] = {}
    reasons: dict[Hashable, str] = {}
    for person, label in enumerate(fit.design.columns.people):
        try:
            blocks = fit.design.blocks.without(person)
            refuse_unidentified(blocks, fit.design.columns.slope is not None)
            likelihood = Likelihood(blocks, fit.likelihood.restricted)
            fits[label] = Fit(fit.design, likelihood, optimum(likelihood, fit.optimum.covariance))
        except DesignError as error:
            reasons[label] = error.reason
    return fits, reasons


def cooks_distance(fit: Fit, without: Fit) -> float:
    """Return the shift of the coefficients without one participant, by their covariance, divided by their number.

    Parameters
    ----------
    fit, without : Fit

    Returns
    -------
    float
        0 or larger.

    References
    ----------
    Cook & Weisberg (1982) Residuals and Influence in Regression, section 3.5.
    """
    at = fit.optimum.expansion
    shift = without.optimum.expansion.coefficients - at.coefficients
    return float(shift @ np.linalg.solve(at.covariance, shift) / fit.variance / len(shift))


def person_effects(fit: Fit) -> Array:
    """Return each person's predicted intercept (and slope), as deviations from the fixed terms.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    array of shape (n_people, q)
        In the caller's units; shrunken towards 0.

    References
    ----------
    Henderson (1975) Biometrics 31:423-447.
    """
    b, covariance = fit.design.blocks, fit.optimum.covariance
    stack = b.loadings @ covariance @ b.loadings.swapaxes(1, 2) + np.eye(b.size)
    left = b.coordinates @ np.append(-fit.optimum.expansion.coefficients, 1.0)
    weighted = np.einsum("mji,mjk,mk->mi", b.loadings, inverse_and_determinant(stack)[0], left)
    out: Array = weighted @ covariance @ fit.design.to_line.T * fit.design.scale
    return out


def residuals(fit: Fit, unit: str) -> ModelResiduals:
    """Return fitted values and residuals in the order of the rows given.

    Parameters
    ----------
    fit : Fit
    unit : str
        Of the outcome.

    Returns
    -------
    ModelResiduals
    """
    columns, line = fit.design.columns, fit.design.columns.line
    effects = person_effects(fit)
    marginal = columns.outcome - columns.fixed @ fit.coefficients
    residual = marginal - np.sum(line * effects[columns.place], axis=1)
    standardised = np.empty_like(marginal)
    between, variance = fit.line_covariance, fit.residual_sd**2
    for person in range(len(columns.people)):
        rows = np.flatnonzero(columns.place == person)
        own = line[rows] @ between @ line[rows].T + variance * np.eye(len(rows))
        standardised[rows] = np.linalg.solve(np.linalg.cholesky(own), marginal[rows])
    return ModelResiduals(
        fitted=columns.outcome - residual,
        residual=residual,
        standardised=standardised,
        people=columns.people,
        intercepts=tuple(effects[:, 0].tolist()),
        slopes=tuple(effects[:, 1].tolist()) if line.shape[1] == 2 else (),
        unit=unit,
    )
