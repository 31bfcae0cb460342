"""A fitted mixed model in numbers: the optimum, turned back into the caller's units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from outcomes.models.design import Design
from outcomes.models.likelihood import Array, Likelihood
from outcomes.models.search import Optimum, optimum


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Design, likelihood and optimum of one model.

    Parameters
    ----------
    design : Design
    likelihood : Likelihood
    optimum : Optimum
    """

    design: Design
    likelihood: Likelihood
    optimum: Optimum

    @property
    def variance(self) -> float:
        """σ², in the blocks' unit."""
        return self.optimum.expansion.squares.value / self.likelihood.df

    @property
    def coefficients(self) -> Array:
        """β, in the caller's units."""
        return self.design.base + self.design.to_terms @ self.optimum.expansion.coefficients

    @property
    def line_covariance(self) -> Array:
        """Covariance of the people's intercepts (and slopes), in the caller's units."""
        turned = self.design.to_line @ self.optimum.factor
        out: Array = turned @ turned.T * self.variance * self.design.scale**2
        return out

    @property
    def residual_sd(self) -> float:
        """σ, in the caller's unit."""
        return math.sqrt(self.variance) * self.design.scale

    @property
    def deviance(self) -> float:
        """-2 log likelihood (restricted under REML), in the caller's units."""
        shift = 2 * self.likelihood.df * math.log(self.design.scale)
        volume = self.design.log_volume if self.likelihood.restricted else 0.0
        return self.optimum.expansion.value + shift + volume


def fit(design: Design, *, restricted: bool, start: Array | None = None) -> Fit:
    """Return the fit of a design.

    Parameters
    ----------
    design : Design
    restricted : bool
        REML; else ML.
    start : array of shape (q, q), optional
        A G near which the optimum may lie.

    Returns
    -------
    Fit
    """
    likelihood = Likelihood(design.blocks, restricted)
    return Fit(design, likelihood, optimum(likelihood, start))


def line_parts(covariance: Array) -> tuple[float, float | None, float | None]:
    """Return standard deviations of intercept and slope, and their correlation.

    Parameters
    ----------
    covariance : array of shape (q, q)

    Returns
    -------
    tuple of float, float or None, float or None
        No slope without one; no correlation where a standard deviation is 0.

    Examples
    --------
    >>> import numpy as np
    >>> line_parts(np.array([[4.0, 3.0], [3.0, 9.0]]))
    (2.0, 3.0, 0.5)
    """
    intercept = math.sqrt(covariance[0, 0])
    if len(covariance) == 1:
        return intercept, None, None
    slope = math.sqrt(covariance[1, 1])
    if intercept == 0 or slope == 0:
        return intercept, slope, None
    return intercept, slope, max(-1.0, min(1.0, float(covariance[0, 1]) / (intercept * slope)))
