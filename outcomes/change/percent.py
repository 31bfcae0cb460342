"""Change in percent, for scales whose zero means "none"."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, t_interval
from outcomes.matrices import all_equal, paired
from outcomes.result import Estimate, Interval, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class PercentChange(Result):
    """Result of `percent_change`; in percent, later against earlier.

    Parameters
    ----------
    mean_percent : Estimate
        Mean of the people's own percent changes, with its Student t interval.
    percent_of_mean : Estimate
        Mean change in percent of the mean first value.
    geometric : Estimate, optional
        Percent change of the geometric mean, with its interval; None where a later value is 0.
    n_people : int
    reason : str
        Why a field is None.
    """

    mean_percent: Estimate
    percent_of_mean: Estimate
    geometric: Estimate | None
    n_people: int
    reason: str = ""

    def summary(self) -> str:
        """Return the mean of the people's percent changes with its interval, rounded."""
        i = self.mean_percent.interval
        ends = f" ({i.low:.3g} to {i.high:.3g})" if i is not None else ""
        return f"mean percent change {self.mean_percent.value:.3g}%{ends} (n = {self.n_people})"


def percent_change(before: ArrayLike, after: ArrayLike, *, scale: str, level: float = 0.95) -> PercentChange:
    """Percent change of people measured twice on a ratio scale.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One value per participant at each visit, in one unit; no missing values, first values above 0.
    scale : {"ratio", "interval", "ordinal"}
        Level of the scale; only a ratio scale has percentages.
    level : float
        Nominal coverage.

    Returns
    -------
    PercentChange

    Raises
    ------
    DesignError
        No ratio scale, fewer than two people, a missing value, a first value that is not above 0 or a later one below.

    Notes
    -----
    mean(100 (after - before)/before), 100 mean(after - before)/mean(before) and 100 (exp(mean(log(after/before))) - 1)
    differ, and each says which it is. The first lets people with small first values weigh most.

    References
    ----------
    Vickers (2001) BMC Med Res Methodol 1:6 (percent change is a poor basis of a test: none is given here).

    Examples
    --------
    >>> found = percent_change([50.0, 40.0, 60.0], [51.0, 42.0, 60.0], scale="ratio")
    >>> round(found.mean_percent.value, 4), found.percent_of_mean.value
    (2.3333, 2.0)
    """
    check_level(level)
    if scale != "ratio":
        raise DesignError(f"percent change needs a ratio scale, whose zero means none; this one is {scale}")
    first, second = paired(before, after)
    if (first <= 0).any():
        raise DesignError("a first value is not above 0, so a percentage of it is not defined")
    if (second < 0).any():
        raise DesignError("a later value is below 0, which a ratio scale does not have")
    n = len(first)
    own = 100 * (second - first) / first

    def estimate(value: float, method: str, interval: Interval | None) -> Estimate:
        return Estimate(value=value, unit="%", method=method, n_people=n, n_values=2 * n, interval=interval)

    geometric, reason = None, "a later value is 0, which has no logarithm"
    if (second > 0).all():
        logs = np.log(second / first)
        ends = None if all_equal(logs, scale=1.0) else t_interval(logs, level=level)
        turned = None if ends is None else Interval(_percent(ends.low), _percent(ends.high), level, "Student t of logs")
        geometric, reason = estimate(_percent(float(logs.mean())), "percent_geometric", turned), ""
    return PercentChange(
        mean_percent=estimate(
            float(own.mean()), "percent_mean", None if all_equal(own, scale=100.0) else t_interval(own, level=level)
        ),
        percent_of_mean=estimate(float(100 * (second - first).mean() / first.mean()), "percent_change_of_mean", None),
        geometric=geometric,
        n_people=n,
        reason=reason,
    )


def _percent(log_ratio: float) -> float:
    return float(100 * np.expm1(log_ratio))
