"""People whose change is larger than measurement error explains."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval, t_two_sided, wilson_interval
from outcomes.matrices import finite_vector
from outcomes.result import Estimate, Interval, Result

Better = Literal["higher", "lower", "larger"]

_TIE = 1e-9
"""A change short of the minimal detectable change by less than this share of it counts as a tie (floating point)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeClasses(Result):
    """Result of `change_classes`.

    Parameters
    ----------
    better, within, other : Estimate
        Counts of people: beyond the minimal detectable change in the stated direction, within it, beyond it the other
        way.
    share_better, share_within, share_other : Estimate
        Shares with Wilson intervals.
    expected_by_error : Estimate, optional
        Share that measurement error alone would put beyond it, both directions together; None without standard error.
    mdc : float
        Minimal detectable change that was used, in the unit of the changes.
    direction : {"higher", "lower", "larger"}
        What `better` counts: rises, falls, or rises of a scale without a better direction.
    n_people : int
        People classed.
    reasons : dict of str to str
        Why a field is None.
    """

    better: Estimate
    within: Estimate
    other: Estimate
    share_better: Estimate
    share_within: Estimate
    share_other: Estimate
    expected_by_error: Estimate | None
    mdc: float
    direction: str
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the three counts."""
        return (
            f"{self.better.value} {self.direction}, {self.within.value} within and {self.other.value} the other way of "
            f"{self.n_people} people (minimal detectable change {self.mdc:.3g})"
        )


def classify(changes: ArrayLike, *, mdc: float, better: Better = "higher") -> tuple[str, ...]:
    """Return the class of every change against the minimal detectable change.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        later - earlier, in the unit of `mdc`; no missing values.
    mdc : float
        Minimal detectable change of one person, above 0.
    better : {"higher", "lower", "larger"}
        Direction that counts as better.

    Returns
    -------
    tuple of {"better", "within", "other"}
        A change of exactly `mdc` is beyond it.

    Raises
    ------
    DesignError
        No changes, a missing one, an unknown direction, or `mdc` is not above 0.

    Examples
    --------
    >>> classify([2.0, -0.5, -2.5], mdc=2.0, better="lower")
    ('other', 'within', 'better')
    """
    if better not in ("higher", "lower", "larger"):
        raise DesignError(f"direction '{better}' is none of higher, lower, larger")
    if not (mdc > 0 and math.isfinite(mdc)):
        raise DesignError("without a minimal detectable change above 0 nobody can be classed")
    x = finite_vector(changes, name="changes") * (-1 if better == "lower" else 1)
    edge = mdc * (1 - _TIE)
    return tuple(str(word) for word in np.select([x >= edge, x <= -edge], ["better", "other"], "within"))


def change_classes(
    changes: ArrayLike,
    *,
    mdc: float,
    standard_error: float | None = None,
    degrees_of_freedom: float | None = None,
    better: Better = "higher",
    level: float = 0.95,
) -> ChangeClasses:
    """Count the people who changed by at least the minimal detectable change, beside what error alone would give.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        later - earlier, in the unit of `mdc`; no missing values.
    mdc : float
        Minimal detectable change of one person, above 0.
    standard_error : float, optional
        Standard error of measurement behind `mdc`, in the same unit.
    degrees_of_freedom : float, optional
        Of `standard_error`; None takes it as known.
    better : {"higher", "lower", "larger"}
        Direction that counts as better; "larger" for a scale that has none.
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    ChangeClasses

    Raises
    ------
    DesignError
        No changes, a missing one, or `mdc` or `standard_error` is not above 0.

    Notes
    -----
    A change is beyond error if its size is at least `mdc`. Error alone gives a share P(|T| >= mdc/(√2 SE)), T with the
    degrees of freedom of SE: at few degrees of freedom that is more than 5 %. Its interval is that share under the
    normal distribution at both ends of the chi-square interval of SE.

    References
    ----------
    Jacobson & Truax (1991) J Consult Clin Psychol 59:12-19; Wilson (1927) J Am Stat Assoc 22:209-212.

    Examples
    --------
    >>> found = change_classes([3.0, 1.0, -0.5, 2.5, 0.0], mdc=2.0, standard_error=0.7215, degrees_of_freedom=23)
    >>> found.better.value, found.within.value, found.other.value, round(found.expected_by_error.value, 3)
    (2, 3, 0, 0.062)
    """
    check_level(level)
    classes = classify(changes, mdc=mdc, better=better)
    n = len(classes)
    counts = {name: classes.count(name) for name in ("better", "within", "other")}
    reasons = {}
    if standard_error is None:
        reasons["expected_by_error"] = "the minimal detectable change came without its standard error"
    return ChangeClasses(
        **{name: _count(name, count, n) for name, count in counts.items()},
        **{f"share_{name}": _share(count, n, level) for name, count in counts.items()},
        expected_by_error=None
        if standard_error is None
        else _expected(mdc, standard_error, degrees_of_freedom, n, level),
        mdc=float(mdc),
        direction=better,
        n_people=n,
        reasons=reasons,
    )


def _count(name: str, count: int, n: int) -> Estimate:
    return Estimate(value=count, unit="1", method=f"count_{name}", n_people=n, n_values=n)


def _share(count: int, n: int, level: float) -> Estimate:
    return Estimate(
        value=count / n,
        unit="1",
        method="share_beyond",
        n_people=n,
        n_values=n,
        interval=wilson_interval(count, n, level=level),
        source="Wilson (1927) J Am Stat Assoc 22:209",
    )


def _expected(mdc: float, se: float, df: float | None, n: int, level: float) -> Estimate:
    """Return the share of people that error alone would put beyond `mdc`, both directions together."""
    if not (se > 0 and math.isfinite(se)):
        raise DesignError("the standard error of measurement must be above 0")
    if df is None:
        value = t_two_sided(mdc / (math.sqrt(2) * se), None)
        return Estimate(value=value, unit="1", method="expected_by_known_error", n_people=n, n_values=n)
    spread = standard_deviation_interval(se, df, level=level)
    low, high = (t_two_sided(mdc / (math.sqrt(2) * end), None) for end in (spread.low, spread.high))
    return Estimate(
        value=t_two_sided(mdc / (math.sqrt(2) * se), df),
        unit="1",
        method="expected_by_error",
        n_people=n,
        n_values=n,
        interval=Interval(low, high, level, "chi-square interval of the standard error"),
    )
