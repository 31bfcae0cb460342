"""Profile-likelihood intervals of the random parts."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from outcomes.models.fit import Fit, line_parts
from outcomes.models.likelihood import Array, symmetric_basis
from outcomes.models.newton import Point, descend
from outcomes.models.search import chain, free_elements

Part = Literal["intercept_sd", "slope_sd", "correlation", "residual_sd"]

_FAR = 1e7
"""An end beyond this multiple of its scale counts as infinite."""


@dataclass(frozen=True, slots=True, eq=False)
class _Profile:
    """The deviance with one part held, the others free.

    The covariance between people is LL' with rows of L in `to_blocks`' order; the parameters are the elements of L (or
    two standard deviations, where the correlation is held), then log σ². All are in the blocks' unit.
    """

    fit: Fit
    part: Part
    to_blocks: Array

    def point(self, held: float, free: Array) -> Point:
        """Return the deviance at one held value, with its derivatives by the free parameters."""
        if self.part == "correlation":
            return self._deviance(*_by_correlation(held, free[:-1]), float(free[-1]), free, slice(None))
        if self.part == "residual_sd":
            return self._deviance(*_by_factor(free, len(self.to_blocks)), 2 * math.log(held), free, slice(0, -1))
        elements = np.concatenate([[held], free[:-1]])
        return self._deviance(*_by_factor(elements, len(self.to_blocks)), float(free[-1]), free, slice(1, None))

    def _deviance(
        self, covariance: Array, jacobian: Array, curved: Array, log_variance: float, free: Array, kept: slice
    ) -> Point:
        likelihood, weight = self.fit.likelihood, math.exp(-log_variance)
        at = likelihood.expand(self.to_blocks @ covariance @ self.to_blocks.T * weight)
        turn = _elements_turned(self.to_blocks) * weight
        own = jacobian @ turn.T
        last = np.zeros(len(own) + 1)
        last[-1] = 1.0
        j = np.vstack([own, -turn @ covariance[np.triu_indices(len(covariance))]])
        second = np.zeros((len(j), len(j), j.shape[1]))
        second[:-1, :-1] = curved @ turn.T
        second[-1, :-1] = second[:-1, -1] = -own
        second[-1, -1] = -j[-1]
        terms = float(likelihood.restricted)
        squares = at.squares.value * weight
        value = at.spread.value + terms * at.terms.value + squares
        value += likelihood.df * (log_variance + math.log(2 * math.pi))
        first = at.spread.first + terms * at.terms.first + at.squares.first * weight
        inner = at.spread.second + terms * at.terms.second + at.squares.second * weight
        gradient = j @ first + last * (likelihood.df - squares)
        across = np.outer(j @ at.squares.first * -weight, last)
        hessian = j @ inner @ j.T + second @ first + across + across.T + np.outer(last, last) * squares
        return Point(free, float(value), gradient[kept], hessian[kept, kept])


def _by_factor(elements: Array, size: int) -> tuple[Array, Array, Array]:
    """Return LL' with its derivatives by the lower triangle of L, column by column."""
    factor = np.zeros((size, size))
    where = free_elements(factor)
    for (row, column), value in zip(where, elements, strict=True):
        factor[row, column] = value
    return factor @ factor.T, *chain(factor)


def _by_correlation(r: float, roots: Array) -> tuple[Array, Array, Array]:
    """Return the covariance of two standard deviations with a correlation, with its derivatives by their square roots.

    Square roots keep the standard deviations from turning negative, which would turn the correlation.
    """
    a, b = (float(root) for root in roots)
    covariance = np.array([[a**4, r * a * a * b * b], [r * a * a * b * b, b**4]])
    jacobian = np.array([[4 * a**3, 2 * r * a * b * b, 0.0], [0.0, 2 * r * a * a * b, 4 * b**3]])
    curved = np.zeros((2, 2, 3))
    curved[0, 0] = [12 * a * a, 2 * r * b * b, 0.0]
    curved[1, 1] = [0.0, 2 * r * a * a, 12 * b * b]
    curved[0, 1, 1] = curved[1, 0, 1] = 4 * r * a * b
    return covariance, jacobian, curved


def _elements_turned(turn: Array) -> Array:
    """Return the matrix from the elements of C (11, 12, 22) to those of TCT'."""
    upper = np.triu_indices(len(turn))
    return np.stack([(turn @ one @ turn.T)[upper] for one in symmetric_basis(len(turn))], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """Interval of one random part.

    Parameters
    ----------
    low, high : float
        In the caller's unit.
    open_end : bool
        Whether an end is where the part ends, not where the likelihood does: 0 is no such end, ±1 and infinity are.
    """

    low: float
    high: float
    open_end: bool


def profile_limits(fit: Fit, part: Part, rise: float) -> Limits:
    """Return the values of one random part whose deviance is at most `rise` above the smallest.

    Parameters
    ----------
    fit : Fit
    part : {"intercept_sd", "slope_sd", "correlation", "residual_sd"}
    rise : float
        Quantile of chi-square with 1 degree of freedom.

    Returns
    -------
    Limits

    References
    ----------
    Venzon & Moolgavkar (1988) Appl Stat 37:87-94.
    """
    first = 1 if part == "slope_sd" else 0
    unit = np.array([1.0, 1 / fit.design.to_line[-1, -1]])[: len(fit.design.to_line)]
    turn = (fit.design.to_line * unit[:, None])[[first, 1 - first] if len(unit) == 2 else [0]]
    profile = _Profile(fit, part, np.linalg.inv(turn))
    covariance = turn @ fit.optimum.covariance @ turn.T * fit.variance
    above = _above(profile, covariance, rise)
    factor = fit.design.scale / unit[first]
    if part == "correlation":
        low, high = _bounded(above, float(line_parts(covariance)[2] or 0.0))
        return Limits(low, high, low == -1.0 or high == 1.0)
    if part == "residual_sd":
        sd = math.sqrt(fit.variance)
        low, high = _end(above, sd, 0.8), _end(above, sd, 1.25)
        return Limits(low * factor, high * factor, math.isinf(high))
    sd = math.sqrt(covariance[0, 0])
    low = _root(above, 0.0, sd) if sd > 0 and above(0.0) > 0 else 0.0
    high = _end(above, sd if sd > 0 else 1e-3 * math.sqrt(fit.variance), 1.25)
    return Limits(low * factor, high * factor, math.isinf(high))


def _above(profile: _Profile, covariance: Array, rise: float) -> Callable[[float], float]:
    """Return the function from a held value to the root of its rise in deviance, less that at the ends."""
    lowest = profile.fit.optimum.expansion.value
    starts = _starts(profile, covariance)
    known: dict[float, Array] = {}

    @functools.cache
    def above(held: float) -> float:
        near = [known[min(known, key=lambda value: abs(value - held))]] if known else []
        found = [descend(lambda free: profile.point(held, free), start, enough=1e-12) for start in [*starts, *near]]
        best = min(found, key=lambda one: one.value)
        known[held] = np.where(np.abs(best.where) < 0.05, 0.05, best.where)
        # Square roots: a profile is nearly a parabola, so its root is nearly straight and soon found.
        return math.sqrt(max(best.value - lowest, 0.0)) - math.sqrt(rise)

    return above


def _starts(profile: _Profile, covariance: Array) -> list[Array]:
    """Return starts of the free parameters: near the optimum, and near each part of the covariance being 0."""
    log_variance = math.log(profile.fit.variance)
    floor = 0.05 * math.sqrt(profile.fit.variance)
    first = max(math.sqrt(covariance[0, 0]), floor)
    if len(covariance) == 1:
        return [np.array([first if profile.part == "residual_sd" else log_variance])]
    second, small = max(math.sqrt(covariance[1, 1]), floor), floor / 10
    across = float(covariance[0, 1]) / first
    rest = max(math.sqrt(max(covariance[1, 1] - across**2, 0.0)), floor)
    if profile.part == "correlation":
        whole = profile.to_blocks @ covariance @ profile.to_blocks.T
        alone = math.sqrt(max(float(whole[0, 0]), floor**2))
        pairs = [(first, second), (alone, small), (small, second)]
        return [np.array([math.sqrt(a), math.sqrt(b), log_variance]) for a, b in pairs]
    lines = [np.array([first, across, rest]), np.array([first, 0.0, small])]
    if profile.part == "residual_sd":
        return lines
    return [np.append(line[1:], log_variance) for line in lines]


def _root(above: Callable[[float], float], inside: float, outside: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(above, inside, outside, xtol=1e-10, rtol=1e-9))


def _end(above: Callable[[float], float], start: float, factor: float) -> float:
    """Return the end that lies towards `factor` times the start, or infinity where none is found."""
    near, far = start, start * factor
    while above(far) < 0:
        near, far = far, far * factor ** (1 + 0.5 * (near != start))
        factor = factor * factor if factor > 1 and far > 100 * start else factor
        if far > _FAR * start:
            return math.inf
    return _root(above, near, far)


def _bounded(above: Callable[[float], float], r: float) -> tuple[float, float]:
    """Return the limits of a correlation, ±1 where the likelihood does not exclude it."""
    low = _root(above, -1.0, r) if r > -1 and above(-1.0) > 0 else -1.0
    high = _root(above, r, 1.0) if r < 1 and above(1.0) > 0 else 1.0
    return low, high
