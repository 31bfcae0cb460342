"""Newton's method for a smooth function whose Hessian is known exactly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from outcomes.models.likelihood import Array

_STEPS = 200
"""Steps at most; ten are usual."""

_UNSEEN = 1e-9
"""A fall of a deviance that double precision no longer shows."""


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A function at one place.

    Parameters
    ----------
    where : array of shape (n,)
    value : float
    gradient : array of shape (n,)
    hessian : array of shape (n, n)
    found : object
        What the function found there besides.
    """

    where: Array
    value: float
    gradient: Array
    hessian: Array
    found: Any = None

    def step(self) -> tuple[Array, float]:
        """Return the step downhill, by the absolute values of the curvatures, and twice the fall that it promises."""
        if not len(self.where):
            return self.where, 0.0
        size = np.sqrt(np.abs(np.diagonal(self.hessian)))
        d = 1 / np.where(size > 0, size, 1.0)
        values, vectors = np.linalg.eigh(self.hessian * np.outer(d, d))
        curvature = np.maximum(np.abs(values), 1e-10 * np.abs(values).max() + 1e-300)
        step: Array = -d * (vectors @ ((vectors.T @ (d * self.gradient)) / curvature))
        return step, -float(self.gradient @ step)


def descend(function: Callable[[Array], Point], start: Array, *, enough: float = 1e-26) -> Point:
    """Return the minimum that Newton steps reach from `start`.

    Parameters
    ----------
    function : callable
        From a place to its Point.
    start : array of shape (n,)
    enough : float
        A promised fall that is not worth another step.

    Returns
    -------
    Point
        Where the function no longer falls in double precision, and the gradient no longer shrinks.

    Examples
    --------
    >>> quartic = lambda x: Point(x, float(x[0] ** 4 - x[0]), 4 * x**3 - 1, np.diag(12 * x**2))
    >>> bool(abs(descend(quartic, np.array([3.0])).where[0] - 0.25 ** (1 / 3)) < 1e-12)
    True
    """
    now = function(start)
    for _ in range(_STEPS):
        step, fall = now.step()
        longest = 0.5 + float(np.linalg.norm(now.where))
        length = float(np.linalg.norm(step))
        if fall < enough or length < 1e-16 * longest:
            break
        after = _shorter(function, now, step * min(1.0, longest / length), fall)
        if after is None:
            break
        now = after
    return now


def _shorter(function: Callable[[Array], Point], now: Point, step: Array, fall: float) -> Point | None:
    """Return the first of the halved steps that lowers the function, or None.

    Near the end, where rounding hides the fall, the whole step stands if it makes the gradient smaller.
    """
    if fall < _UNSEEN:
        after = function(now.where + step)
        smaller = np.linalg.norm(after.gradient) < 0.9 * np.linalg.norm(now.gradient)
        return after if smaller and after.value < now.value + _UNSEEN else None
    for halving in range(30):
        after = function(now.where + step * 0.5**halving)
        if after.value - now.value <= -1e-4 * fall * 0.5**halving:
            return after
    return None
