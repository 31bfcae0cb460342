"""Regression to the mean: how far a second value falls back where the first decided who was let in."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.matrices import finite_vector
from outcomes.result import Estimate, Interval, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class RegressionToMean(Result):
    """Result of `regression_to_the_mean`.

    Parameters
    ----------
    expected : Estimate
        Mean change that selection alone would bring, in the outcome's unit.
    first_mean, population_mean, reliability : float
        What it follows from.
    n_people : int
    """

    expected: Estimate
    first_mean: float
    population_mean: float
    reliability: float
    n_people: int

    def summary(self) -> str:
        """Return the expected change with what it follows from, rounded."""
        ends = self.expected.interval
        limits = f", {ends.low:.3g} to {ends.high:.3g} by the reliability's interval" if ends is not None else ""
        size = f"{self.expected.value:.3g} {self.expected.unit}{limits}"
        return (
            f"selection alone would bring a mean change of {size} (first mean {self.first_mean:.3g}, "
            f"people not selected {self.population_mean:.3g}, reliability {self.reliability:.2f}, n = {self.n_people})"
        )


def regression_to_the_mean(
    first: ArrayLike,
    *,
    population_mean: float,
    reliability: float,
    reliability_interval: Interval | None = None,
    unit: str,
) -> RegressionToMean:
    """Mean change to be expected of people who were let in by their first value, with nothing done.

    Parameters
    ----------
    first : array of shape (n_participants,)
        First values of those who were let in, in `unit`; no missing values.
    population_mean : float
        Mean of people like these without the cut-off, in `unit`.
    reliability : float
        Correlation of two values of a person with nothing done in between; from 0 to 1.
    reliability_interval : Interval, optional
        Of the reliability; ends below 0 or above 1 count as these.
    unit : str
        UCUM code.

    Returns
    -------
    RegressionToMean

    Raises
    ------
    DesignError
        No people, a missing value, or a reliability outside 0 to 1.

    Notes
    -----
    -(1 - r)(mean of the first values - population mean): the second value lies on the line of slope r through the
    population mean. The interval is the same at both ends of that of the reliability; the population mean is taken as
    known.

    References
    ----------
    Davis (1976) Am J Epidemiol 104:493-498; Barnett, van der Pols & Dobson (2005) Int J Epidemiol 34:215-220.

    Examples
    --------
    >>> regression_to_the_mean([60.0, 70.0], population_mean=50.0, reliability=0.75, unit="1").expected.value
    -3.75
    """
    values = finite_vector(first, name="first values")
    if not 0 <= reliability <= 1:
        raise DesignError(f"a reliability of {reliability:.3g} does not exist; it lies between 0 and 1")
    mean = float(values.mean())
    gap, interval = mean - population_mean, None
    if reliability_interval is not None:
        held = reliability_interval
        ends = sorted(-(1 - min(1.0, max(0.0, end))) * gap for end in (held.low, held.high))
        interval = Interval(ends[0], ends[1], held.level, "ends of the interval of the reliability")
    expected = Estimate(
        value=-(1 - reliability) * gap, unit=unit, interval=interval, method="regression_to_mean",
        n_people=len(values), n_values=len(values), source="Davis (1976) Am J Epidemiol 104:493",
        caveats=("selection_assumed",),
    )  # fmt: skip
    return RegressionToMean(
        expected=expected, first_mean=mean, population_mean=population_mean, reliability=reliability,
        n_people=len(values),
    )  # fmt: skip
