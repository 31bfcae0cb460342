"""How many people to measure twice, and how far a running retest study has come."""

from __future__ import annotations

import math
from dataclasses import dataclass

from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval
from outcomes.result import Result

MOST = 100_000
SOURCE = "chi-square interval of a standard deviation, Hopkins (2000) Sports Med 30:1"


@dataclass(frozen=True, slots=True, kw_only=True)
class RetestPlan(Result):
    """Result of `people_to_retest` and `retest_tally`.

    Parameters
    ----------
    n_needed : int
        People so that both ends of the interval lie within the margin.
    n_done, n_missing : int
        People measured so far; people still to measure.
    margin : float
        As asked for: 0.25 is 25 % of the minimal detectable change.
    low_ratio, high_ratio : float, optional
        Ends of the interval over the estimate with the people measured so far; None before two people.
    n_occasions : int
        Measurements of each person.
    level : float
        Of the interval.
    """

    n_needed: int
    n_done: int
    n_missing: int
    margin: float
    low_ratio: float | None
    high_ratio: float | None
    n_occasions: int
    level: float

    def summary(self) -> str:
        """Return what is needed, and what is known by now."""
        text = f"{self.n_needed} people x {self.n_occasions} occasions for a margin of {self.margin:.0%}"
        if self.low_ratio is None or self.high_ratio is None:
            return f"{text}; {self.n_done} measured so far"
        return (
            f"{text}; {self.n_done} measured so far: known to within {self.low_ratio - 1:+.0%} to "
            f"{self.high_ratio - 1:+.0%}; {self.n_missing} to go"
        )


def people_to_retest(*, margin: float = 0.25, occasions: int = 2, level: float = 0.95) -> RetestPlan:
    """How many people to measure again so that the minimal detectable change is known within a margin.

    Parameters
    ----------
    margin : float
        Share of the estimate, such as 0.25; both ends of the interval shall lie within it. Above 0.
    occasions : int
        Measurements of each person, at least 2.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    RetestPlan
        With n_done = 0.

    Raises
    ------
    DesignError
        A margin that is not above 0 or would need more than 100,000 people; fewer than two occasions.

    Notes
    -----
    Smallest n whose chi-square interval with (n - 1)(occasions - 1) degrees of freedom has its upper end (the farther
    one) at most 1 + margin times the estimate. It holds for the standard error of consistency and for all that is a
    multiple of it; that of agreement needs more where occasions differ.

    References
    ----------
    Hopkins (2000) Sports Med 30:1-15 (the interval).

    Examples
    --------
    >>> people_to_retest(margin=0.25).n_needed, people_to_retest(margin=0.25, occasions=3).n_needed
    (49, 25)
    """
    return retest_tally(0, margin=margin, occasions=occasions, level=level)


def retest_tally(done: int, *, margin: float = 0.25, occasions: int = 2, level: float = 0.95) -> RetestPlan:
    """How far a retest study has come: how well its error is known now, and how many people are still to measure.

    Parameters
    ----------
    done : int
        People measured on all occasions so far.
    margin, occasions, level
        As in `people_to_retest`.

    Returns
    -------
    RetestPlan

    Raises
    ------
    DesignError
        As `people_to_retest`; fewer than 0 people.

    Examples
    --------
    >>> tally = retest_tally(12, margin=0.25)
    >>> tally.n_missing, round(tally.low_ratio, 2), round(tally.high_ratio, 2)
    (37, 0.71, 1.7)
    """
    check_level(level)
    if not (margin > 0 and math.isfinite(margin)):
        raise DesignError(f"a margin of {margin} is not above 0")
    if occasions < 2:
        raise DesignError(f"{occasions} occasion; at least 2 are needed")
    if done < 0:
        raise DesignError(f"{done} people cannot have been measured")
    needed = _needed(margin, occasions, level)
    ends = _ratios(done, occasions, level) if done >= 2 else (None, None)
    return RetestPlan(
        n_needed=needed, n_done=done, n_missing=max(0, needed - done), margin=margin, low_ratio=ends[0],
        high_ratio=ends[1], n_occasions=occasions, level=level,
    )  # fmt: skip


def _ratios(n: int, occasions: int, level: float) -> tuple[float, float]:
    ends = standard_deviation_interval(1.0, (n - 1) * (occasions - 1), level=level)
    return ends.low, ends.high


def _needed(margin: float, occasions: int, level: float) -> int:
    """Return the smallest number of people by halving; the upper end falls with every person more."""
    low, high = 1, 2
    while _ratios(high, occasions, level)[1] > 1 + margin:
        low, high = high, 2 * high
        if high > MOST:
            raise DesignError(f"a margin of {margin:g} would need more than {MOST:,} people")
    while high - low > 1:
        middle = (low + high) // 2
        if _ratios(middle, occasions, level)[1] > 1 + margin:
            low = middle
        else:
            high = middle
    return high
