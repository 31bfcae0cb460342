"""Reliable change of single persons, and the cut-off between two populations."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.change.classes import Better
from outcomes.errors import DesignError
from outcomes.intervals import check_level, normal_quantile, standard_deviation_interval, t_two_sided, wilson_interval
from outcomes.matrices import finite_vector, paired
from outcomes.result import Estimate, Interval, Result

_SOURCE = "Jacobson & Truax (1991) J Consult Clin Psychol 59:12"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliableChange(Result):
    """Result of `reliable_change`.

    Parameters
    ----------
    index : tuple of float
        By participant: (change - practice)/standard error of a change; without unit.
    classes : tuple of {"better", "within", "other"}
        By participant.
    better, within, other : Estimate
        Counts of people.
    share_better, share_other : Estimate
        Shares with Wilson intervals.
    expected_by_error : Estimate
        Share that error alone would put beyond, both directions together.
    standard_error_of_change : float
        In the unit of the values.
    smallest_change : float
        Change beyond practice from which the index is beyond its threshold, in the unit of the values.
    practice : float
        Change that was taken off as practice; 0 in the classic form.
    form : {"classic", "practice adjusted"}
    n_people : int
    """

    index: tuple[float, ...]
    classes: tuple[str, ...]
    better: Estimate
    within: Estimate
    other: Estimate
    share_better: Estimate
    share_other: Estimate
    expected_by_error: Estimate
    standard_error_of_change: float
    smallest_change: float
    practice: float
    form: str
    n_people: int

    def summary(self) -> str:
        """Return form and counts."""
        return (
            f"reliable change index ({self.form}): {self.better.value} better, {self.within.value} within, "
            f"{self.other.value} the other way of {self.n_people} people"
        )


def reliable_change(
    before: ArrayLike,
    after: ArrayLike,
    *,
    standard_error: float,
    degrees_of_freedom: float | None = None,
    practice: float | None = None,
    better: Better = "higher",
    level: float = 0.95,
) -> ReliableChange:
    """Reliable change index of every participant, classic or adjusted for practice.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One value per participant at each visit, in one unit; no missing values.
    standard_error : float
        Standard error of measurement in the same unit; `standard_error_of` gives the one of Jacobson & Truax.
    degrees_of_freedom : float, optional
        Of `standard_error`, for what error alone would give; None takes it as known.
    practice : float, optional
        Mean change of people who were tested again without training, in the same unit: taken off every change.
    better : {"higher", "lower", "larger"}
        Direction that counts as better; "larger" for a scale that has none.
    level : float
        Of the threshold and of the intervals.

    Returns
    -------
    ReliableChange

    Raises
    ------
    DesignError
        Nobody, a missing value, a standard error that is not above 0, or a practice that is not finite.

    Notes
    -----
    RC = (after - before - practice)/(√2 SE); beyond where ``|RC|`` is above 1.96 (at 95 %; another level has its normal
    quantile). With few degrees of freedom error alone puts more than 5 % beyond it: `expected_by_error` says how many,
    by Student's t; its interval is that share under the normal distribution at both ends of the chi-square interval of
    the standard error. The index says that a change is more than error, never that it matters to the person.

    References
    ----------
    Jacobson & Truax (1991) J Consult Clin Psychol 59:12-19; Chelune et al. (1993) Neuropsychology 7:41-52 (practice).

    Examples
    --------
    >>> error = standard_error_of(7.5, 0.80)
    >>> found = reliable_change([47.5, 50.0], [32.5, 49.0], standard_error=error, better="lower")
    >>> round(found.index[0], 4), found.classes
    (-3.1623, ('better', 'within'))
    """
    check_level(level)
    if better not in ("higher", "lower", "larger"):
        raise DesignError(f"direction '{better}' is none of higher, lower, larger")
    if not (standard_error > 0 and math.isfinite(standard_error)):
        raise DesignError("the standard error of measurement must be above 0")
    if practice is not None and not math.isfinite(practice):
        raise DesignError("the practice effect must be a number")
    first, second = paired(before, after, at_least=1)
    spread, off = math.sqrt(2) * standard_error, practice or 0.0
    index = (second - first - off) / spread
    edge = 1.96 if level == 0.95 else normal_quantile((1 + level) / 2)
    turned = -index if better == "lower" else index
    classes = tuple(str(word) for word in np.select([turned > edge, turned < -edge], ["better", "other"], "within"))
    n = len(classes)

    def count(name: str) -> Estimate:
        number = classes.count(name)
        return Estimate(value=number, unit="1", method=f"rci_{name}", n_people=n, n_values=2 * n, source=_SOURCE)

    def share(name: str) -> Estimate:
        number = classes.count(name)
        interval = wilson_interval(number, n, level=level)
        return Estimate(
            value=number / n, unit="1", method="rci_share", n_people=n, n_values=2 * n, interval=interval,
            source="Wilson (1927) J Am Stat Assoc 22:209",
        )  # fmt: skip

    return ReliableChange(
        index=tuple(float(one) for one in index),
        classes=classes,
        better=count("better"),
        within=count("within"),
        other=count("other"),
        share_better=share("better"),
        share_other=share("other"),
        expected_by_error=_by_error_alone(edge, degrees_of_freedom, n, level),
        standard_error_of_change=spread,
        smallest_change=edge * spread,
        practice=off,
        form="classic" if practice is None else "practice adjusted",
        n_people=n,
    )  # fmt: skip


def _by_error_alone(edge: float, df: float | None, n: int, level: float) -> Estimate:
    """Return the share of people whose index error alone would put beyond its threshold, both directions together."""
    interval = None
    if df is not None:
        ends = standard_deviation_interval(1.0, df, level=level)
        low, high = (t_two_sided(edge / end, None) for end in (ends.low, ends.high))
        interval = Interval(low, high, level, "chi-square interval of the standard error")
    return Estimate(
        value=t_two_sided(edge, df), unit="1", method="rci_expected", n_people=n, n_values=n, source=_SOURCE,
        interval=interval,
    )  # fmt: skip


def standard_error_of(standard_deviation: float, reliability: float) -> float:
    """Return the standard error of measurement of a reliability coefficient.

    Parameters
    ----------
    standard_deviation : float
        Of the scores of the people whom the coefficient was found with, above 0.
    reliability : float
        Between 0 and 1.

    Returns
    -------
    float
        SD √(1 - reliability), in the unit of the standard deviation.

    Raises
    ------
    DesignError
        Out of range, or a reliability of 1, which leaves no error.

    References
    ----------
    Jacobson & Truax (1991) J Consult Clin Psychol 59:12-19.

    Examples
    --------
    >>> round(standard_error_of(7.5, 0.80), 4)
    3.3541
    """
    if not (standard_deviation > 0 and math.isfinite(standard_deviation)):
        raise DesignError("a standard deviation must be above 0")
    if not 0 <= reliability < 1:
        raise DesignError(
            f"a reliability of {reliability:g} leaves no error to hold a change against; give 0 to below 1"
        )
    return standard_deviation * math.sqrt(1 - reliability)


def cutoff_between(first_mean: float, first_sd: float, second_mean: float, second_sd: float) -> float:
    """Return the score at which a person is as likely to belong to one population as to the other (cut-off c).

    Parameters
    ----------
    first_mean, first_sd : float
        Of one population, in the measure's unit.
    second_mean, second_sd : float
        Of the other.

    Returns
    -------
    float
        (s1 m2 + s2 m1)/(s1 + s2), in the measure's unit.

    Raises
    ------
    DesignError
        A standard deviation that is not above 0, or equal means.

    References
    ----------
    Jacobson & Truax (1991) J Consult Clin Psychol 59:12-19.

    Examples
    --------
    >>> cutoff_between(40, 7.5, 60, 7.5)
    50.0
    """
    finite_vector([first_mean, second_mean, first_sd, second_sd], name="means and standard deviations")
    if not (first_sd > 0 and second_sd > 0):
        raise DesignError("a standard deviation must be above 0")
    if first_mean == second_mean:
        raise DesignError("both populations have the same mean, so no score lies between them")
    return (first_sd * second_mean + second_sd * first_mean) / (first_sd + second_sd)
