"""Two quantities of the same people, compared by how well they tell two kinds of people apart."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from numpy.typing import ArrayLike

from outcomes.change.roc import area, area_interval, checked_flags, placement_variance, placements
from outcomes.intervals import check_level, normal_quantile, possible_p, t_two_sided
from outcomes.matrices import Vector, paired, snapped
from outcomes.result import Estimate, HypothesisTest, Interval, Result

_SOURCE = "DeLong et al. (1988) Biometrics 44:837"


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaComparison(Result):
    """Result of `compare_areas`; without unit.

    Parameters
    ----------
    difference : Estimate
        Area of the first quantity less that of the second, with interval and test.
    first, second : Estimate
        Area under the ROC curve of each.
    n_people, n_flagged : int
    reasons : dict of str to str
        Why there is no interval and no test.
    """

    difference: Estimate
    first: Estimate
    second: Estimate
    n_people: int
    n_flagged: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return both areas and their difference with interval and p, rounded."""
        i, test = self.difference.interval, self.difference.test
        ends = f" ({i.low:.2f} to {i.high:.2f})" if i is not None else ""
        p = f", p = {test.p:.2g}" if test is not None else ""
        return (
            f"areas {self.first.value:.2f} and {self.second.value:.2f}, difference {self.difference.value:.2f}{ends}"
            f"{p} (n = {self.n_people})"
        )


def compare_areas(first: ArrayLike, second: ArrayLike, flagged: ArrayLike, *, level: float = 0.95) -> AreaComparison:
    """Compare the areas under the ROC curves of two quantities of the same people.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        Two quantities of each person, each in any unit, higher in people who are flagged; no missing values.
    flagged : array of bool of shape (n_participants,)
        Which of the two kinds the person is of.
    level : float
        Nominal coverage.

    Returns
    -------
    AreaComparison

    Raises
    ------
    DesignError
        Arrays of different length, a missing or infinite value, a flag that is not true or false, or fewer than two
        people of a kind.

    Notes
    -----
    With the placements of DeLong et al. by mid-ranks, the variance of the difference is that of their differences over
    the flagged and over the others, each divided by its number; z = difference/root of it. Where both quantities place
    everybody alike there is no interval and no test.

    References
    ----------
    DeLong et al. (1988) Biometrics 44:837-845; Sun & Xu (2014) IEEE Signal Process Lett 21:1389-1393 (by ranks).

    Examples
    --------
    >>> found = compare_areas([1, 2, 3, 4, 5, 6], [2, 1, 4, 6, 3, 5], [0, 0, 1, 0, 1, 1])
    >>> round(found.first.value, 3), round(found.difference.value, 3)
    (0.889, 0.222)
    """
    check_level(level)
    a, b = paired(first, second, at_least=4)
    a, b, flag = snapped(a), snapped(b), checked_flags(flagged, len(a), "flags")

    def one(values: Vector) -> Estimate:
        interval = area_interval(values, flag, level=level)
        return Estimate(
            value=area(values, flag), unit="1", method="roc_area", n_people=len(a), n_values=len(a),
            interval=interval, source=_SOURCE,
        )  # fmt: skip

    first_area, second_area = one(a), one(b)
    (above_a, below_a), (above_b, below_b) = (placements(values, flag) for values in (a, b))
    value = area(a, flag) - area(b, flag)
    variance = placement_variance(above_a - above_b, below_a - below_b)
    interval, test, reasons = None, None, {}
    if variance > 1e-24:
        error = math.sqrt(variance)
        half, z = normal_quantile((1 + level) / 2) * error, value / error
        interval = Interval(max(value - half, -1.0), min(value + half, 1.0), level, "DeLong, same people")
        p = possible_p(t_two_sided(z, None))
        test = HypothesisTest(name="DeLong z of two areas of the same people", p=p, statistic=z)
    else:
        reasons["difference"] = "both quantities place everybody alike, so their difference has no spread"

    return AreaComparison(
        difference=Estimate(
            value=value, unit="1", method="roc_area_difference", n_people=len(a), n_values=2 * len(a),
            interval=interval, test=test, source=_SOURCE,
        ),
        first=first_area, second=second_area, n_people=len(a), n_flagged=int(flag.sum()), reasons=reasons,
    )  # fmt: skip
