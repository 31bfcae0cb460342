"""Slope of long data with a bootstrap over participants: all rows of a person are drawn together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals.bootstrap import bca_interval
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.result import Interval, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class ParticipantSlope(Result):
    """Result of `participant_slope`.

    Parameters
    ----------
    value : float
        Slope, in the unit of the values per unit of the times.
    interval : Interval
        BCa bootstrap over participants.
    standard_error : float
        Standard deviation of the slope over the resamples.
    n_people, n_values : int
    """

    value: float
    interval: Interval
    standard_error: float
    n_people: int
    n_values: int

    def summary(self) -> str:
        """Return slope and interval, rounded."""
        i = self.interval
        ends = f"{i.level:.0%} interval over people {i.low:.4g} to {i.high:.4g}"
        return f"slope {self.value:.4g} ({ends}, {self.n_values} values of {self.n_people} people)"


def participant_slope(
    participants: Sequence[Any],
    times: ArrayLike,
    values: ArrayLike,
    *,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> ParticipantSlope:
    """Least-squares slope of repeated values, its interval by drawing whole participants.

    Parameters
    ----------
    participants : sequence of shape (n_values,)
        Who each value belongs to.
    times, values : array of shape (n_values,)
        One row per value; no missing values. Participants may have different numbers of rows.
    level : float
        Nominal coverage.
    resamples : int
        At least 1000.
    rng : numpy.random.Generator

    Returns
    -------
    ParticipantSlope

    Raises
    ------
    DesignError
        Lengths differ, fewer than three participants, all times equal, or a resample in which they are.

    Notes
    -----
    slope = (N Σxy - Σx Σy) / (N Σx² - (Σx)²), sums over all rows of the participants drawn. Each participant enters
    through five sums of their own, so that a resample costs no copy of rows. Rows of one person are never drawn apart.

    References
    ----------
    Davison & Hinkley (1997) Bootstrap Methods and their Application, section 3.8.

    Examples
    --------
    >>> people, week = ["a", "a", "b", "b", "c", "c", "d", "d"], [0, 4] * 4
    >>> girth = [50.0, 51.0, 44.0, 45.5, 47.0, 47.5, 52.0, 53.2]
    >>> found = participant_slope(people, week, girth, rng=np.random.default_rng(1))
    >>> round(found.value, 4), found.n_people
    (0.2625, 4)
    """
    x, y = finite_vector(times, name="times"), finite_vector(values, name="values")
    if not len(participants) == len(x) == len(y):
        raise DesignError(f"{len(participants)} participants, {len(x)} times and {len(y)} values: lengths differ")
    if all_equal(x):
        raise DesignError("all times are equal, so there is no slope")
    _, person = np.unique(np.asarray(participants), return_inverse=True)
    x, y = x - x.mean(), y - y.mean()
    rows = np.bincount(person).astype(np.float64)
    sums = [np.bincount(person, weights=w) for w in (x, y, x * x, x * y)]
    found = bca_interval([rows, *sums], _slope, level=level, resamples=resamples, rng=rng)
    return ParticipantSlope(
        value=found.value,
        interval=found.interval,
        standard_error=found.standard_error,
        n_people=len(rows),
        n_values=len(x),
    )


def _slope(
    rows: NDArray[np.float64],
    sum_x: NDArray[np.float64],
    sum_y: NDArray[np.float64],
    sum_xx: NDArray[np.float64],
    sum_xy: NDArray[np.float64],
) -> Vector:
    n, x, y, xx, xy = (part.sum(axis=-1) for part in (rows, sum_x, sum_y, sum_xx, sum_xy))
    return np.asarray((n * xy - x * y) / (n * xx - x * x))
