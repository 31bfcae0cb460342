"""Bootstrap over participants: the bias-corrected and accelerated interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import check_level, normal_quantile, t_quantile
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.result import Interval, Result

Statistic = Callable[..., NDArray[np.float64]]
"""Takes arrays of shape (..., n_participants), returns an array of shape (...): computed along the last axis."""

Levels = Literal["nominal", "expanded"]
"""Shares of resamples at the ends of an interval: those of its level, or wider ones for few people."""

BLOCK = 100_000
"""Resampled values that are held in memory at once: few enough to stay in the processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BcaInterval(Result):
    """Result of `bca_interval`.

    Parameters
    ----------
    value : float
        The statistic of the data, in its own unit.
    interval, percentile : Interval
        In the unit of the statistic; with the corrections, and without.
    standard_error, jackknife_error : float
        Standard deviation of the statistic over the resamples; standard error from leaving each participant out.
    bias_correction, acceleration : float
        z0 and a of the method; without unit.
    resamples, n_people : int
        Resamples drawn; participants in each.
    """

    value: float
    interval: Interval
    percentile: Interval
    standard_error: float
    jackknife_error: float
    bias_correction: float
    acceleration: float
    resamples: int
    n_people: int

    def summary(self) -> str:
        """Return value and interval, rounded."""
        i = self.interval
        return f"{self.value:.4g} ({i.level:.0%} BCa interval {i.low:.4g} to {i.high:.4g}, n = {self.n_people})"


def bca_interval(
    arrays: Sequence[ArrayLike],
    statistic: Statistic,
    *,
    level: float = 0.95,
    levels: Levels = "nominal",
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> BcaInterval:
    """Bias-corrected and accelerated bootstrap interval; the participant is what is drawn.

    Parameters
    ----------
    arrays : sequence of arrays of shape (n_participants,)
        What belongs to a participant stands at the same place in each; no missing values.
    statistic : function
        Of the arrays, along their last axis: given shapes (..., n) it returns shape (...).
    level : float
        Nominal coverage.
    levels : {"nominal", "expanded"}
        Expanded ones make the interval of a mean as wide as that of Student's t, where nominal ones are too narrow for
        few people.
    resamples : int
        Resamples to draw, at least 1000.
    rng : numpy.random.Generator
        Source of random numbers.

    Returns
    -------
    BcaInterval

    Raises
    ------
    DesignError
        Fewer than three participants; constant data; the statistic does not vary, is undefined in a resample, or lies
        outside its resamples, so that the correction is not defined.

    Notes
    -----
    z0 = Φ⁻¹(share of resamples below the estimate, ties half); a = Σd³ / (6 (Σd²)^1.5) with d = mean of the
    leave-one-out values minus each of them; the ends are the quantiles Φ(z0 + (z0 ± z)/(1 - a (z0 ± z))); expanded, z
    is √(n/(n - 1)) t of n - 1 degrees of freedom. Percentile ends are the quantiles as they are; jackknife error √((n -
    1)/n Σd²).

    References
    ----------
    Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14; Hesterberg (2014) arXiv 1411.5279 (expanded
    levels).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> found = bca_interval([[1.0, 4, 2, 6, 3, 8, 5]], lambda x: x.mean(axis=-1), rng=rng)
    >>> 1 < found.interval.low < found.value < found.interval.high < 8
    True
    """
    check_level(level)
    if resamples < 1000:
        raise DesignError(f"{resamples} resamples are too few for a BCa interval; at least 1000 are needed")
    data = [finite_vector(a, name="values", at_least=3) for a in arrays]
    n = len(data[0])
    if any(len(a) != n for a in data):
        raise DesignError("the arrays differ in length")
    if all(all_equal(a) for a in data):
        raise DesignError("the data are constant, so no resample differs")
    with np.errstate(divide="ignore", invalid="ignore"):
        value = float(statistic(*data))
        drawn = _resampled(data, statistic, resamples, rng)
        left_out = statistic(*[_leave_one_out(a) for a in data])
    undefined = int(np.sum(~np.isfinite(drawn)))
    if undefined or not (np.isfinite(value) and np.isfinite(left_out).all()):
        raise DesignError(f"the statistic is undefined in {undefined} of {resamples} resamples")
    bias, acceleration = bias_correction(drawn, value), acceleration_of(left_out)
    return joined(
        value, drawn, [left_out], bias=bias, acceleration=acceleration, level=level, levels=levels,
        method="BCa bootstrap",
    )  # fmt: skip


def joined(
    value: float,
    drawn: Vector,
    left_out: Sequence[Vector],
    *,
    bias: float,
    acceleration: float,
    level: float,
    method: str,
    levels: Levels = "nominal",
) -> BcaInterval:
    """Return the result that the resamples, and the values that leave one participant out, have together.

    Parameters
    ----------
    value : float
    drawn : array of shape (n_resamples,)
    left_out : sequence of arrays of shape (n_participants,)
        One for each group that was drawn from.
    bias, acceleration : float
    level : float
    method : str
        Name of the interval at nominal levels.
    levels : {"nominal", "expanded"}
        As in `bca_interval`; of one group only.

    Returns
    -------
    BcaInterval

    Raises
    ------
    DesignError
        The data are too skewed, or levels that are none of those.
    """
    plain, own = tails(level, "nominal", 0), tails(level, levels, len(left_out[0]))
    low, high, plain_low, plain_high = np.quantile(drawn, [*(adjusted(q, bias, acceleration) for q in own), *plain])
    return BcaInterval(
        value=value,
        interval=Interval(float(low), float(high), level, method if levels == "nominal" else f"{levels} {method}"),
        percentile=Interval(float(plain_low), float(plain_high), level, method.replace("BCa", "percentile")),
        standard_error=float(np.std(drawn, ddof=1)),
        jackknife_error=math.hypot(*(jackknife_error(one) for one in left_out)),
        bias_correction=bias,
        acceleration=acceleration,
        resamples=len(drawn),
        n_people=sum(len(one) for one in left_out),
    )


def _resampled(data: list[Vector], statistic: Statistic, resamples: int, rng: np.random.Generator) -> Vector:
    """Return the statistic of each resample, drawn in blocks that fit in memory."""
    n = len(data[0])
    out = np.empty(resamples)
    rows = max(1, BLOCK // n)
    for start in range(0, resamples, rows):
        stop = min(start + rows, resamples)
        index = rng.integers(0, n, (stop - start, n), dtype=np.int32).astype(np.intp)  # twenty times faster to take by
        out[start:stop] = statistic(*[np.take(a, index) for a in data])
    return out


def _leave_one_out(values: Vector) -> NDArray[np.float64]:
    """Return a matrix of shape (n, n - 1): row i lacks participant i."""
    n = len(values)
    index = np.arange(n - 1)[None, :] + (np.arange(n - 1)[None, :] >= np.arange(n)[:, None])
    return values[index]


def bias_correction(drawn: Vector, value: float) -> float:
    """Return z0 of the BCa interval: how far the resamples lie to one side of the estimate.

    Raises
    ------
    DesignError
        The estimate lies outside all of its resamples.
    """
    dust = 1e-12 * max(abs(value), float(np.max(np.abs(drawn))))
    share = (np.mean(drawn < value - dust) + np.mean(drawn <= value + dust)) / 2
    if not 0 < share < 1:
        raise DesignError("the estimate lies outside all of its resamples, so the BCa correction is not defined")
    return normal_quantile(float(share))


def acceleration_of(left_out: Vector) -> float:
    """Return a of the BCa interval, from the values that leave one participant out.

    Raises
    ------
    DesignError
        Leaving a participant out changes nothing.
    """
    d = np.mean(left_out) - left_out
    squares = float(np.sum(d**2))
    if squares <= (1e-12 * float(np.max(np.abs(left_out)))) ** 2:
        raise DesignError("leaving a participant out changes nothing, so the BCa acceleration is not defined")
    return float(np.sum(d**3) / (6 * squares**1.5))


def jackknife_error(left_out: Vector) -> float:
    """Return the standard error of a statistic from its values without each participant in turn.

    Parameters
    ----------
    left_out : array of shape (n_participants,)

    Returns
    -------
    float
        √((n - 1)/n · Σ(x - mean)²), in the unit of the statistic.

    References
    ----------
    Efron & Stein (1981) Ann Stat 9:586-596.

    Examples
    --------
    >>> round(jackknife_error(np.array([2.5, 2.0, 1.5])), 4)  # of the mean of 1, 2, 3, whose standard error this is
    0.5774
    """
    return math.sqrt((len(left_out) - 1) * float(np.var(left_out)))


def tails(level: float, levels: Levels, n: int) -> tuple[float, float]:
    """Return the shares of resamples below the ends of an interval that neither bias nor skewness bends.

    Raises
    ------
    DesignError
        Levels that are none of the known ones.
    """
    from scipy.special import ndtr

    if levels not in ("nominal", "expanded"):
        raise DesignError(f"levels '{levels}' are none of nominal, expanded")
    if levels == "nominal":
        return (1 - level) / 2, (1 + level) / 2
    far = float(np.sqrt(n / (n - 1))) * t_quantile((1 + level) / 2, n - 1)
    return float(ndtr(-far)), float(ndtr(far))


def adjusted(q: float, bias: float, acceleration: float) -> float:
    """Return the share of resamples below the end that would have a share of `q` below it without correction.

    Raises
    ------
    DesignError
        The data are too skewed.
    """
    from scipy.special import ndtr

    shifted = bias + normal_quantile(q)
    scale = 1 - acceleration * shifted
    if scale <= 0:
        raise DesignError("the data are too skewed for a BCa interval")
    return float(ndtr(bias + shifted / scale))
