"""Bootstrap over participants of a statistic that depends on sums over people only: one matrix product for all."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from outcomes.errors import DesignError
from outcomes.intervals.bootstrap import BcaInterval, Levels, acceleration_of, bias_correction, joined
from outcomes.intervals.quantiles import check_level
from outcomes.matrices import Matrix, Vector

SumStatistic = Callable[[NDArray[np.float64]], NDArray[np.float64]]
"""Takes sums over people of shape (..., n_parts), returns the statistic of shape (...)."""

_BLOCK = 4_000_000
"""Counts that are held in memory at once."""


def bca_interval_of_sums(
    parts: Matrix,
    statistic: SumStatistic,
    *,
    level: float = 0.95,
    levels: Levels = "nominal",
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> BcaInterval:
    """Bias-corrected and accelerated bootstrap interval of a function of sums over participants.

    Parameters
    ----------
    parts : array of shape (n_participants, n_parts)
        What each participant adds to the sums; a column of ones gives the statistic its number of people.
    statistic : function
        Of the sums, along their last axis.
    level : float
        Nominal coverage.
    levels : {"nominal", "expanded"}
        As in `bca_interval`.
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
        Fewer than three participants; the statistic does not vary, is undefined in a resample, or lies outside its
        resamples.

    Notes
    -----
    How often each person is drawn, times what each adds, is the sums of every resample: the same resamples as
    drawing people, in one matrix product. The rest is that of `bca_interval`.

    References
    ----------
    Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14; Hesterberg (2014) arXiv 1411.5279.

    Examples
    --------
    A mean is a sum over a number:

    >>> x = np.array([1.0, 4, 2, 6, 3, 8, 5])
    >>> parts = np.column_stack([np.ones(7), x])
    >>> mean = lambda sums: sums[..., 1] / sums[..., 0]
    >>> found = bca_interval_of_sums(parts, mean, rng=np.random.default_rng(1))
    >>> 1 < found.interval.low < found.value < found.interval.high < 8
    True
    """
    check_level(level)
    n = len(parts)
    if resamples < 1000:
        raise DesignError(f"{resamples} resamples are too few for a BCa interval; at least 1000 are needed")
    if n < 3:
        raise DesignError(f"{n} people cannot be resampled; at least 3 are needed")
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        total = parts.sum(axis=0)
        value = float(statistic(total))
        drawn = _drawn(parts, statistic, resamples, rng)
        left_out = statistic(total - parts)
    undefined = int(np.sum(~np.isfinite(drawn)))
    if undefined or not (np.isfinite(value) and np.isfinite(left_out).all()):
        raise DesignError(f"the statistic is undefined in {undefined} of {resamples} resamples")
    bias, acceleration = bias_correction(drawn, value), acceleration_of(left_out)
    return joined(
        value, drawn, [left_out], bias=bias, acceleration=acceleration, level=level, levels=levels,
        method="BCa bootstrap",
    )  # fmt: skip


def _drawn(parts: Matrix, statistic: SumStatistic, resamples: int, rng: np.random.Generator) -> Vector:
    """Return the statistic of each resample."""
    n = len(parts)
    out = np.empty(resamples)
    rows = max(1, _BLOCK // n)
    for start in range(0, resamples, rows):
        stop = min(start + rows, resamples)
        index = rng.integers(0, n, (stop - start, n), dtype=np.int32)
        index += np.arange(stop - start, dtype=np.int32)[:, None] * np.int32(n)
        counts = np.bincount(index.ravel(), minlength=(stop - start) * n).reshape(stop - start, n)
        out[start:stop] = statistic(counts.astype(float) @ parts)
    return out
