"""Agreement against a difference that was called acceptable beforehand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import wilson_interval
from outcomes.reliability.limits import SOURCE, limits_of_differences, paired_differences
from outcomes.result import Estimate, Result

Verdict = Literal["within", "undecided", "beyond"]

_TIE = 1e-9
"""Share of the acceptable difference by which rounding may carry a difference beyond it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptableAgreement(Result):
    """Result of `acceptable_agreement`.

    Parameters
    ----------
    verdict : Estimate
        "within", "undecided" or "beyond".
    share : Estimate
        Share of people whose difference is at most the acceptable one, with its Wilson interval.
    acceptable : Estimate
        The difference that was fixed beforehand, in the unit of the measurements.
    n_within, n_people : int
        People whose difference is at most that; people.
    """

    verdict: Estimate
    share: Estimate
    acceptable: Estimate
    n_within: int
    n_people: int

    def summary(self) -> str:
        """Return verdict and count, with the difference that was fixed."""
        return (
            f"limits of agreement {self.verdict.value} the acceptable difference of {self.acceptable.value:.4g} "
            f"{self.acceptable.unit} ({self.n_within} of {self.n_people} people differ by at most that)"
        )


def acceptable_agreement(
    first: ArrayLike, second: ArrayLike, *, acceptable: float, unit: str, level: float = 0.95
) -> AcceptableAgreement:
    """Hold the limits of agreement of two measurements against a difference that was fixed beforehand.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        In `unit`, same order; no missing values; at least three people.
    acceptable : float
        Largest difference, either way, that would be acceptable in use, in `unit`; above 0.
    unit : str
        UCUM code.
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    AcceptableAgreement

    Raises
    ------
    DesignError
        An acceptable difference that is not above 0, and what `limits_of_agreement` refuses.

    Notes
    -----
    "within": both limits lie within ± the acceptable difference with their whole intervals (exact); "beyond": the whole
    interval of a limit lies outside; "undecided" else. The limits are held against what was fixed, never the other way
    round: which difference matters is no matter of statistics (Bland & Altman 1999). The three words: common practice,
    no source.

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160; Carkeet (2015) Optom Vis Sci 92:e71-e80 (intervals).

    Examples
    --------
    >>> first, second = [10.0, 20.0, 30.0, 40.0, 50.0], [10.2, 19.9, 30.1, 39.8, 50.0]
    >>> acceptable_agreement(first, second, acceptable=2.0, unit="cm").verdict.value
    'within'
    """
    if not (acceptable > 0 and math.isfinite(acceptable)):
        raise DesignError(f"an acceptable difference of {acceptable} is not above 0")
    differences = paired_differences(first, second)
    found = limits_of_differences(differences, unit=unit, level=level, interval="exact", multiplier=1.96)
    n = len(differences)
    inside = int(np.sum(np.abs(differences) <= acceptable * (1 + _TIE)))

    def estimate(value: float | str, method: str, source: str, in_unit: str = "1") -> Estimate:
        return Estimate(value=value, unit=in_unit, method=method, n_people=n, n_values=2 * n, source=source)

    share = Estimate(
        value=inside / n, unit="1", method="acceptable_share", n_people=n, n_values=2 * n,
        interval=wilson_interval(inside, n, level=level), source="Wilson (1927) J Am Stat Assoc 22:209",
    )  # fmt: skip
    return AcceptableAgreement(
        verdict=estimate(_verdict(found.lower, found.upper, acceptable), "acceptable_verdict", SOURCE),
        share=share,
        acceptable=estimate(float(acceptable), "acceptable_difference", "fixed beforehand", unit),
        n_within=inside,
        n_people=n,
    )


def _verdict(lower: Estimate, upper: Estimate, acceptable: float) -> Verdict:
    low, high = lower.interval, upper.interval
    assert low is not None
    assert high is not None
    if low.low >= -acceptable and high.high <= acceptable:
        return "within"
    return "beyond" if low.high < -acceptable or high.low > acceptable else "undecided"
