"""Limits of agreement that change with the size of what is measured, by regression."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import check_level, t_quantile
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.reliability.limits import FEW, SOURCE, paired_differences
from outcomes.result import Estimate, Interval, Result

Array = NDArray[np.float64]

FEWEST = 10
"""Fewer pairs than this allow no regression of the spread (common practice, no source)."""

_ROOT = math.sqrt(math.pi / 2)
"""The mean size of a normal deviate, times this, is its standard deviation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsBySize(Result):
    """Result of `limits_of_agreement_by_size`; in the unit of the measurements unless said otherwise.

    Parameters
    ----------
    sizes : tuple of float
        Means of both measurements at which the limits are given.
    bias, lower, upper : tuple of Estimate
        Bias and limits at each size, with intervals by bootstrap over people.
    bias_slope, spread_slope : Estimate
        Change of the bias, and of the standard deviation, per unit of size; without unit; with t intervals.
    bias_at_zero, spread_at_zero : float
        The lines at size 0.
    spread_grows : bool
        Whether the interval of `spread_slope` lies above 0.
    n_people : int
        Pairs.
    """

    sizes: tuple[float, ...]
    bias: tuple[Estimate, ...]
    lower: tuple[Estimate, ...]
    upper: tuple[Estimate, ...]
    bias_slope: Estimate
    spread_slope: Estimate
    bias_at_zero: float
    spread_at_zero: float
    spread_grows: bool
    n_people: int

    def summary(self) -> str:
        """Return the limits at the smallest and the largest of the sizes, rounded."""
        unit = self.lower[0].unit
        ends = [
            f"{self.lower[i].value:.4g} to {self.upper[i].value:.4g} {unit} at {self.sizes[i]:.4g} {unit}"
            for i in dict.fromkeys((0, len(self.sizes) - 1))
        ]
        return f"limits of agreement by regression: {', '.join(ends)} ({self.n_people} people)"


def limits_of_agreement_by_size(
    first: ArrayLike,
    second: ArrayLike,
    *,
    unit: str,
    at: Sequence[float] | None = None,
    level: float = 0.95,
    multiplier: float = 1.96,
    resamples: int = 2_000,
    rng: np.random.Generator,
) -> LimitsBySize:
    """Limits of agreement where bias or spread change with size: regression of the differences and of their spread.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        In `unit`, same order; no missing values; at least ten people.
    unit : str
        UCUM code of both.
    at : sequence of float, optional
        Sizes (means of both measurements) to give the limits at; the smallest, the median and the largest by default.
        None outside the range that was measured.
    level : float
        Nominal coverage of the intervals.
    multiplier : float
        Standard deviations between bias and limit.
    resamples : int
        Bootstrap resamples of people, at least 1000.
    rng : numpy.random.Generator
        Source of random numbers.

    Returns
    -------
    LimitsBySize

    Raises
    ------
    DesignError
        Fewer than ten people, sizes that are all equal, a size outside the range, a spread that is not above 0 at a
        size, or what `limits_of_agreement` refuses.

    Notes
    -----
    A = (first + second)/2, D = second - first. D = b0 + b1·A + R by least squares, then the size of the residuals
    abs(R) = c0 + c1·A; limits b0 + b1·A ± multiplier·√(π/2)·(c0 + c1·A). Both regressions are done again in each
    resample; the intervals of bias and limits are the percentiles. The slopes have t intervals with n - 2. The t
    interval of the spread's slope takes the sizes of residuals as normal, so it is approximate.

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160, section 3.2.

    Examples
    --------
    >>> size = np.arange(10.0, 50.0)
    >>> noise = 0.1 * size * np.resize([-1.0, 1.0, 1.0, -1.0], 40)
    >>> found = limits_of_agreement_by_size(size, size + noise, unit="cm", rng=np.random.default_rng(1))
    >>> found.spread_grows, found.lower[0].value > found.lower[-1].value
    (True, True)
    """
    check_level(level)
    if resamples < 1000:
        raise DesignError(f"{resamples} resamples are too few for the ends of an interval; at least 1000 are needed")
    differences = paired_differences(first, second)
    a = (finite_vector(first, name="first") + finite_vector(second, name="second")) / 2
    if len(a) < FEWEST:
        raise DesignError(f"{len(a)} people; limits by regression need at least {FEWEST}")
    if all_equal(a):
        raise DesignError("all sizes are equal, so nothing can change with size")
    sizes = _sizes(a, at)
    fit = _fit(a, differences)
    middle = _lines(fit, sizes, multiplier)
    if not (middle[2] > middle[0]).all():
        raise DesignError("the fitted spread is not above 0 at every size; a straight line does not describe it")
    draws = rng.integers(0, len(a), (resamples, len(a)))
    drawn = _lines(_fit(a[draws], differences[draws]), sizes, multiplier)
    if not np.isfinite(drawn).all():
        raise DesignError("a resample has all sizes equal, so there is no interval")
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=1)
    made = [
        tuple(
            _estimate(f"{name}_by_size", middle[row, i], (low[row, i], high[row, i]), unit, len(a), level)
            for i in range(len(sizes))
        )
        for row, name in enumerate(("limit", "bias", "limit"))
    ]
    bias_slope, spread_slope = _slopes(a, differences, fit, level)
    assert spread_slope.interval is not None
    return LimitsBySize(
        sizes=tuple(float(s) for s in sizes),
        bias=made[1],
        lower=made[0],
        upper=made[2],
        bias_slope=bias_slope,
        spread_slope=spread_slope,
        bias_at_zero=float(fit[0]),
        spread_at_zero=float(fit[2]) * _ROOT,
        spread_grows=spread_slope.interval.low > 0,
        n_people=len(a),
    )


def _sizes(a: Vector, at: Sequence[float] | None) -> Vector:
    if at is None:
        return np.array([a.min(), np.median(a), a.max()])
    sizes = finite_vector(np.asarray(at), name="sizes", at_least=1)
    outside = sizes[(sizes < a.min()) | (sizes > a.max())]
    if len(outside):
        raise DesignError(f"size {outside[0]:g} lies outside what was measured, {a.min():g} to {a.max():g}")
    return sizes


def _line(x: Array, y: Array) -> tuple[Array, Array]:
    """Return intercept and slope along the last axis."""
    centre = x.mean(axis=-1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = ((x - centre) * y).sum(axis=-1) / ((x - centre) ** 2).sum(axis=-1)
    return y.mean(axis=-1) - slope * centre[..., 0], slope


def _fit(a: Array, d: Array) -> Array:
    """Return b0, b1, c0, c1 along the first axis."""
    b0, b1 = _line(a, d)
    c0, c1 = _line(a, np.abs(d - b0[..., None] - b1[..., None] * a))
    return np.stack([b0, b1, c0, c1])


def _lines(fit: Array, sizes: Vector, multiplier: float) -> Array:
    """Return lower limit, bias and upper limit (first axis) at each size (last axis)."""
    b0, b1, c0, c1 = (part[..., None] for part in fit)
    middle, half = b0 + b1 * sizes, multiplier * _ROOT * (c0 + c1 * sizes)
    return np.stack([middle - half, middle, middle + half])


def _estimate(method: str, value: float, ends: tuple[float, float], unit: str, n: int, level: float) -> Estimate:
    low, high = (float(end) for end in ends)
    return Estimate(
        value=float(value), unit=unit, method=method, n_people=n, n_values=2 * n, source=SOURCE,
        interval=Interval(low, high, level, "percentile bootstrap"),
        caveats=("few_by_size",) if n < FEW else (),
    )  # fmt: skip


def _slopes(a: Vector, d: Vector, fit: Array, level: float) -> tuple[Estimate, Estimate]:
    """Return the slopes of the bias and of the standard deviation with t intervals."""
    b0, b1, c0, c1 = (float(part) for part in fit)
    n, rest = len(a), d - b0 - b1 * a
    t, width = t_quantile((1 + level) / 2, n - 2), float(((a - a.mean()) ** 2).sum())
    out = []
    for name, slope, left, factor in (
        ("bias_slope", b1, rest, 1.0),
        ("spread_slope", c1, np.abs(rest) - c0 - c1 * a, _ROOT),
    ):
        half = t * math.sqrt(float((left**2).sum()) / (n - 2) / width)
        out.append(
            Estimate(
                value=slope * factor, unit="1", method=name, n_people=n, n_values=2 * n, source=SOURCE,
                interval=Interval((slope - half) * factor, (slope + half) * factor, level, "Student t"),
            )
        )  # fmt: skip
    return out[0], out[1]
