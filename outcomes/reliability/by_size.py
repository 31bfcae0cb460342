"""Limits of agreement that change with the size of what is measured, by regression."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval, t_quantile
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.reliability.limits import FEW, SOURCE, paired_differences
from outcomes.result import Estimate, Interval, Result

Array = NDArray[np.float64]

FEWEST = 10
"""Fewer pairs than this allow no regression of the spread (common practice, no source)."""

_ROOT = math.sqrt(math.pi / 2)
"""The mean size of a normal deviate, times this, is its standard deviation."""

_KAPPA = math.pi / 2 - 1
"""Variance of the size of a normal deviate, over the square of its mean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsBySize(Result):
    """Result of `limits_of_agreement_by_size`; in the unit of the measurements unless said otherwise.

    Parameters
    ----------
    sizes : tuple of float
        Means of both measurements at which the limits are given.
    bias, lower, upper : tuple of Estimate
        Bias and limits at each size.
    bias_slope, spread_slope : Estimate
        Change of the bias, and of the standard deviation, per unit of size; without unit.
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

    Returns
    -------
    LimitsBySize

    Raises
    ------
    DesignError
        Fewer than ten people, sizes that are all equal or of which one alone differs, a size outside the range, a
        spread that is not above 0 at a size, or what `limits_of_agreement` refuses.

    Notes
    -----
    A = (first + second)/2, D = second - first. D = b0 + b1·A + R by least squares, then the size of the residuals
    abs(R) = c0 + c1·A; limits b0 + b1·A ± multiplier·√(π/2)·(c0 + c1·A).

    Intervals hold where the spread does change. Bias and its slope: each is Σ w D, so its variance is Σ w² R²/(1 - h)
    with the leverages h (HC2), with a t of Satterthwaite's degrees of freedom (Σ w²)² / ΣΣ q q' M², q = w²/(1 - h), M
    the matrix that makes residuals. Sizes of normal residuals of mean μ have variance κ μ², κ = π/2 - 1. Slope of the
    spread: every c with (c1 - c)² <= t² κ Σ w² (mean of abs(R) + c·(A - mean of A))², t with n - 2. Spread s at a size:
    v = (π/2) κ Σ w² (c0 + c1·A)² and chi-square with s²/(2 v) degrees of freedom (Satterthwaite); the interval of a
    limit recovers both variances: the distances of the ends of bias, and of multiplier·s, put together as by
    Pythagoras.

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160, section 3.2. Intervals: Imbens & Kolesár (2016) Rev Econ Stat
    98:701-712 (HC2 and its degrees of freedom); Zou (2013) Stat Methods Med Res 22:630-642 (recovered variances,
    formula from memory). That the variance of the sizes of residuals follows from their mean is put to use here as in
    a score interval, without a source of its own; its coverage is in the table of tests/studies.

    Examples
    --------
    >>> size = np.arange(10.0, 50.0)
    >>> noise = 0.1 * size * np.resize([-1.0, 1.0, 1.0, -1.0], 40)
    >>> found = limits_of_agreement_by_size(size, size + noise, unit="cm")
    >>> found.spread_grows, found.lower[0].value > found.lower[-1].value
    (True, True)
    """
    check_level(level)
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
    frame = _Frame(a, differences, fit, level)
    halves = [frame.half_of_bias(frame.weights_at(size)) for size in sizes]
    gaps = [tuple(multiplier * gap for gap in frame.gaps_of_spread(size)) for size in sizes]
    inwards = [math.hypot(half, below) for half, (below, _) in zip(halves, gaps, strict=True)]
    outwards = [math.hypot(half, above) for half, (_, above) in zip(halves, gaps, strict=True)]
    made = [
        tuple(
            _estimate(f"{name}_by_size", middle[row, i], below[i], above[i], unit, len(a), level, how)
            for i in range(len(sizes))
        )
        for row, (name, below, above, how) in enumerate((
            ("limit", outwards, inwards, "recovered variances"),
            ("bias", halves, halves, "t with HC2 variance"),
            ("limit", inwards, outwards, "recovered variances"),
        ))
    ]  # fmt: skip
    bias_slope, spread_slope = frame.slopes()
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


def _estimate(
    method: str, value: float, below: float, above: float, unit: str, n: int, level: float, how: str
) -> Estimate:
    return Estimate(
        value=float(value), unit=unit, method=method, n_people=n, n_values=2 * n, source=SOURCE,
        interval=Interval(float(value - below), float(value + above), level, how),
        caveats=("few_pairs",) if n < FEW else (),
    )  # fmt: skip


class _Frame:
    """Both regressions on size, for the variances of what they give."""

    def __init__(self, a: Vector, d: Vector, fit: Array, level: float) -> None:
        self.level, self.n, self.centre = level, len(a), a - a.mean()
        self.mean, self.squares = float(a.mean()), float((self.centre**2).sum())
        self.bias_slope, self.spread_slope = float(fit[1]), float(fit[3])
        self.rest = d - fit[0] - fit[1] * a
        self.kept = 1 - 1 / self.n - self.centre**2 / self.squares
        if self.kept.min() < 1e-9:
            raise DesignError("the size of one person alone differs, so nothing is known of a change with size")
        self.t = t_quantile((1 + level) / 2, self.n - 2)

    def weights_at(self, size: float) -> Vector:
        """Return the weight of each person in the line at a size."""
        return np.asarray(1 / self.n + (size - self.mean) * self.centre / self.squares)

    def half_of_bias(self, weights: Vector) -> float:
        """Return half the interval of a weighted sum of the differences."""
        q, c = weights**2 / self.kept, self.centre
        # sum of q q' times the squares of 1/n + c c'/Σc², off the diagonal; those of 1 less than that on it
        hat = (q.sum() / self.n) ** 2 + 2 * (q @ c) ** 2 / (self.n * self.squares) + ((q @ c**2) / self.squares) ** 2
        df = float((weights**2).sum() ** 2 / (hat + q**2 @ (2 * self.kept - 1)))
        return t_quantile((1 + self.level) / 2, df) * math.sqrt(float(q @ self.rest**2))

    def gaps_of_spread(self, size: float) -> tuple[float, float]:
        """Return how far the ends of the standard deviation at a size lie below and above it."""
        sizes = float(np.abs(self.rest).mean()) + self.spread_slope * self.centre
        weights = self.weights_at(size)
        s = _ROOT * float(weights @ np.abs(self.rest))
        variance = _ROOT**2 * _KAPPA * float((weights**2) @ (sizes**2))
        ends = standard_deviation_interval(s, s * s / (2 * variance), level=self.level)
        return s - min(ends.low, s), max(ends.high, s) - s

    def slopes(self) -> tuple[Estimate, Estimate]:
        """Return the slopes of the bias and of the standard deviation."""
        weights, slope = self.centre / self.squares, self.spread_slope
        half = self.half_of_bias(weights)
        mean, k = float(np.abs(self.rest).mean()), self.t**2 * _KAPPA
        own, cross, both = (float((weights**2) @ self.centre**power) for power in (0, 1, 2))
        bend, tilt = 1 - k * both, slope + k * mean * cross
        root = math.sqrt(max(tilt**2 - bend * (slope**2 - k * mean**2 * own), 0.0))
        low, high = ((tilt - root) / bend, (tilt + root) / bend) if bend > 0 else (-math.inf, math.inf)
        bias_ends = self.bias_slope - half, self.bias_slope + half
        return (
            self._slope("bias_slope", self.bias_slope, *bias_ends, "t with HC2 variance"),
            self._slope("spread_slope", slope * _ROOT, low * _ROOT, high * _ROOT, "score of residual sizes"),
        )

    def _slope(self, method: str, value: float, low: float, high: float, how: str) -> Estimate:
        return Estimate(
            value=value, unit="1", method=method, n_people=self.n, n_values=2 * self.n, source=SOURCE,
            interval=Interval(low, high, self.level, how),
        )  # fmt: skip
