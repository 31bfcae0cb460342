"""Dose and change in plain numbers, for groups too small for an association."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.matrices import Vector, paired
from outcomes.result import Estimate, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseDescription(Result):
    """Result of `describe`.

    Parameters
    ----------
    dose_median, dose_low, dose_high : Estimate
        Middle, lowest and highest dose, in its unit.
    change_median, change_low, change_high : Estimate
        Middle, lowest and highest change, in its unit.
    n_people : int
        People with both.
    """

    dose_median: Estimate
    dose_low: Estimate
    dose_high: Estimate
    change_median: Estimate
    change_low: Estimate
    change_high: Estimate
    n_people: int

    def summary(self) -> str:
        """Return both medians with their ranges, rounded."""
        return (
            f"dose {self.dose_median.value:.3g} ({self.dose_low.value:.3g} to {self.dose_high.value:.3g}) "
            f"{self.dose_median.unit}, change {self.change_median.value:.3g} ({self.change_low.value:.3g} to "
            f"{self.change_high.value:.3g}) {self.change_median.unit} (n = {self.n_people}, described only)"
        )


def describe(dose: ArrayLike, change: ArrayLike, *, dose_unit: str = "1", outcome_unit: str = "1") -> DoseDescription:
    """Median and range of dose and change; no association.

    Parameters
    ----------
    dose, change : array of shape (n_participants,)
        One value of each per participant, in `dose_unit` and `outcome_unit`; no missing values.
    dose_unit, outcome_unit : str
        UCUM codes.

    Returns
    -------
    DoseDescription

    Raises
    ------
    DesignError
        No people, different lengths or a missing value.

    Examples
    --------
    >>> describe([100, 200, 400], [1.0, 0.5, 2.0], dose_unit="min", outcome_unit="cm").summary()
    'dose 200 (100 to 400) min, change 1 (0.5 to 2) cm (n = 3, described only)'
    """
    d, c = paired(dose, change, at_least=1)

    def estimate(value: float, unit: str) -> Estimate:
        return Estimate(value=value, unit=unit, method="dose_description", n_people=len(d), n_values=len(d))

    def three(name: str, values: Vector, unit: str) -> dict[str, Estimate]:
        return {
            f"{name}_median": estimate(float(np.median(values)), unit),
            f"{name}_low": estimate(float(values.min()), unit),
            f"{name}_high": estimate(float(values.max()), unit),
        }

    return DoseDescription(**three("dose", d, dose_unit), **three("change", c, outcome_unit), n_people=len(d))
