"""Sizes of change that some call important from the spread of the scores alone, without asking anybody."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.change.sizes import scaled
from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval
from outcomes.matrices import all_equal, finite_vector
from outcomes.result import Estimate, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class DistributionBasedChange(Result):
    """Result of `distribution_based_change`; in the unit of the scores.

    Parameters
    ----------
    half_sd : Estimate
        Half of the standard deviation of the first visit.
    one_standard_error : Estimate, optional
        One standard error of measurement; None where none was given.
    n_people : int
    reason : str
        Why a field is None.
    """

    half_sd: Estimate
    one_standard_error: Estimate | None
    n_people: int
    reason: str = ""

    def summary(self) -> str:
        """Return both values, rounded."""
        one = self.one_standard_error
        more = f", one standard error of measurement {one.value:.3g}" if one is not None else ""
        return f"half a standard deviation {self.half_sd.value:.3g}{more} (n = {self.n_people})"


def distribution_based_change(
    before: ArrayLike,
    *,
    unit: str,
    standard_error: float | None = None,
    degrees_of_freedom: float | None = None,
    level: float = 0.95,
) -> DistributionBasedChange:
    """Sizes of change by the spread of the scores, to stand beside anchored ones and never for them.

    Parameters
    ----------
    before : array of shape (n_participants,)
        Values of the first visit, in `unit`; no missing values.
    unit : str
        UCUM code.
    standard_error : float, optional
        Standard error of measurement, in `unit`.
    degrees_of_freedom : float, optional
        Of `standard_error`; None gives no interval.
    level : float
        Nominal coverage.

    Returns
    -------
    DistributionBasedChange

    Raises
    ------
    DesignError
        Fewer than two people, a missing value, no spread, or a standard error that is not above 0.

    Notes
    -----
    SD/2 with n - 1, and 1 SE, with chi-square intervals. Neither knows what matters to anybody.

    References
    ----------
    Norman et al. (2003) Med Care 41:582-592 (half a standard deviation); Wyrwich et al. (1999) J Clin Epidemiol
    52:861-873 (one standard error).

    Examples
    --------
    >>> found = distribution_based_change([50.0, 44.0, 56.0, 47.0, 53.0], unit="cm", standard_error=0.4)
    >>> round(found.half_sd.value, 4), found.one_standard_error.value
    (2.3717, 0.4)
    """
    check_level(level)
    x = finite_vector(before, name="first values", at_least=2)
    if all_equal(x):
        raise DesignError("the first values are all equal, so they have no spread")
    n, sd = len(x), float(np.std(x, ddof=1))
    half = Estimate(
        value=sd / 2, unit=unit, method="half_sd", n_people=n, n_values=n,
        interval=scaled(standard_deviation_interval(sd, n - 1, level=level), 0.5),
        source="Norman et al. (2003) Med Care 41:582",
    )  # fmt: skip
    if standard_error is None:
        return DistributionBasedChange(
            half_sd=half, one_standard_error=None, n_people=n, reason="no standard error of measurement was given"
        )
    if not (standard_error > 0 and np.isfinite(standard_error)):
        raise DesignError("the standard error of measurement must be above 0")
    interval = None
    if degrees_of_freedom is not None:
        interval = standard_deviation_interval(standard_error, degrees_of_freedom, level=level)
    one = Estimate(
        value=float(standard_error), unit=unit, method="one_standard_error", n_people=n, n_values=n, interval=interval,
        source="Wyrwich et al. (1999) J Clin Epidemiol 52:861",
    )  # fmt: skip
    return DistributionBasedChange(half_sd=half, one_standard_error=one, n_people=n)
