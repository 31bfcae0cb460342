"""Limits of agreement of two columns of single measurements: plain, and as a ratio."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, noncentral_t_quantile, standard_deviation_interval, t_quantile
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.result import Estimate, Interval, Result

LimitInterval = Literal["approximate", "exact", "1986"]

SOURCE = "Bland & Altman (1999) Stat Methods Med Res 8:135"
SOURCES = {
    "approximate": SOURCE,
    "exact": "Carkeet (2015) Optom Vis Sci 92:e71",
    "1986": "Bland & Altman (1986) Lancet i:307",
}
NAMES = {"approximate": "Bland-Altman 1999", "exact": "exact", "1986": "Bland-Altman 1986"}
FEWEST = 3
FEW = 30
"""Below this many pairs the limits carry a caveat (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOfAgreement(Result):
    """Result of every form of limits of agreement; in the unit of the measurements, ratios without unit.

    Parameters
    ----------
    bias : Estimate
        Mean of second minus first, with its interval; for ratios the geometric mean of second over first.
    standard_deviation : Estimate
        Of the difference of two single measurements of one person; for ratios of the difference of logarithms.
    lower, upper : Estimate
        Limits, each with its interval.
    form : str
        How the limits were made, in words.
    multiplier : float
        Standard deviations between bias and limit.
    n_people, n_pairs : int
        Participants; pairs of measurements (or means of replicates).
    reasons : dict of str to str
        Why an interval is None.
    """

    bias: Estimate
    standard_deviation: Estimate
    lower: Estimate
    upper: Estimate
    form: str
    multiplier: float
    n_people: int
    n_pairs: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return bias and limits, rounded, with unit and n."""
        unit = "" if self.lower.unit == "1" else f" {self.lower.unit}"
        return (
            f"limits of agreement {self.lower.value:.4g} to {self.upper.value:.4g}{unit}, bias {self.bias.value:.4g}"
            f"{unit} ({self.form}; {self.n_people} people)"
        )


def limits_of_agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    unit: str,
    level: float = 0.95,
    interval: LimitInterval = "approximate",
    multiplier: float | Literal["t"] = 1.96,
) -> LimitsOfAgreement:
    """Limits between which most differences of two measurements of one person lie: one pair a person.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        In `unit`, same order; no missing values; at least three people.
    unit : str
        UCUM code of both.
    level : float
        Nominal coverage of the intervals of bias and limits.
    interval : {"approximate", "exact", "1986"}
        Interval of each limit: formula of 1999, exact by the noncentral t distribution, or the coarser formula of 1986.
    multiplier : float or "t"
        Standard deviations between bias and limit; "t" takes the quantile of Student's t with n - 1.

    Returns
    -------
    LimitsOfAgreement

    Raises
    ------
    DesignError
        Fewer than three people, lengths differ, a missing or infinite value, or differences that are all equal.

    Notes
    -----
    d = second - first, limits mean(d) ± multiplier·s. Standard error of a limit, 1999: s√(1/n + m²/(2(n - 1))); 1986:
    s√(3/n); each times Student's t with n - 1. Exact: the limit m·σ above the mean is a normal quantile, so its ends
    are mean(d) + s·T/√n, T the quantiles of noncentral t with n - 1 and m√n. Holds where the spread does not grow with
    the size (see `limits_of_agreement_by_size`, `ratio_limits_of_agreement`). Not for ordinal grades.

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160; Bland & Altman (1986) Lancet i:307-310; Carkeet (2015) Optom
    Vis Sci 92:e71-e80.

    Examples
    --------
    >>> found = limits_of_agreement([1.0, 2.0, 3.0, 4.0], [2.0, 2.0, 4.0, 6.0], unit="cm")
    >>> round(found.bias.value, 2), round(found.lower.value, 2), round(found.upper.value, 2)
    (1.0, -0.6, 2.6)
    """
    differences = paired_differences(first, second)
    return limits_of_differences(differences, unit=unit, level=level, interval=interval, multiplier=multiplier)


def paired_differences(first: ArrayLike, second: ArrayLike) -> Vector:
    """Return second - first of at least three people, refusing what leaves no spread."""
    a, b = finite_vector(first, name="first"), finite_vector(second, name="second")
    if len(a) != len(b):
        raise DesignError(f"{len(a)} first and {len(b)} second measurements")
    if len(a) < FEWEST:
        raise DesignError(f"{len(a)} people with both measurements; limits of agreement need at least {FEWEST}")
    differences: Vector = b - a
    if all_equal(differences, scale=float(max(np.abs(a).max(), np.abs(b).max()))):
        raise DesignError("the differences are all equal, so they have no spread to set limits by")
    return differences


def limits_of_differences(
    differences: Vector,
    *,
    unit: str,
    level: float,
    interval: LimitInterval,
    multiplier: float | Literal["t"],
    form: str = "one pair a person",
) -> LimitsOfAgreement:
    """Return bias and limits of checked differences, one a person."""
    check_level(level)
    if interval not in NAMES:
        raise DesignError(f"interval '{interval}' is none of {', '.join(NAMES)}")
    n, t = len(differences), t_quantile((1 + level) / 2, len(differences) - 1)
    size = t_quantile(0.975, n - 1) if multiplier == "t" else float(multiplier)
    if not (size > 0 and math.isfinite(size)):
        raise DesignError(f"a multiplier of {size} sets no limits")
    mean, s = float(differences.mean()), float(differences.std(ddof=1))
    inner, outer = _ends(n, size, t, interval, level)
    caveats = ("few_pairs",) if n < FEW else ()

    def estimate(method: str, value: float, ends: tuple[float, float], name: str, source: str) -> Estimate:
        return Estimate(
            value=value, unit=unit, method=method, n_people=n, n_values=2 * n, source=source, caveats=caveats,
            interval=Interval(*ends, level, name),
        )  # fmt: skip

    half = t * s / math.sqrt(n)
    bias = estimate("agreement_bias", mean, (mean - half, mean + half), "Student t", SOURCE)
    spread = standard_deviation_interval(s, n - 1, level=level)
    lower, upper = (
        estimate("limit_of_agreement", mean + sign * size * s, _around(mean, sign * s, inner, outer), NAMES[interval],
                 SOURCES[interval])
        for sign in (-1, 1)
    )  # fmt: skip
    return LimitsOfAgreement(
        bias=replace(bias, caveats=()),
        standard_deviation=replace(bias, value=s, interval=spread, method="agreement_deviation", caveats=()),
        lower=lower,
        upper=upper,
        form=form,
        multiplier=size,
        n_people=n,
        n_pairs=n,
    )


def _around(mean: float, s: float, inner: float, outer: float) -> tuple[float, float]:
    """Return the ends of a limit's interval, lower first."""
    low, high = sorted((mean + inner * s, mean + outer * s))
    return low, high


def _ends(n: int, size: float, t: float, interval: LimitInterval, level: float) -> tuple[float, float]:
    """Return the inner and outer end of a limit's interval, in standard deviations from the bias."""
    if interval == "exact":
        tail, root = (1 - level) / 2, math.sqrt(n)
        inner = noncentral_t_quantile(tail, n - 1, size * root) / root
        return inner, noncentral_t_quantile(1 - tail, n - 1, size * root) / root
    error = math.sqrt(3 / n) if interval == "1986" else math.sqrt(1 / n + size**2 / (2 * (n - 1)))
    return size - t * error, size + t * error


def ratio_limits_of_agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    level: float = 0.95,
    interval: LimitInterval = "approximate",
    multiplier: float | Literal["t"] = 1.96,
) -> LimitsOfAgreement:
    """Limits of agreement of the ratio second over first, by logarithms: for a spread that grows with the size.

    Parameters
    ----------
    first, second : array of shape (n_participants,)
        In the same unit, all above 0; no missing values; at least three people.
    level : float
        Nominal coverage of the intervals.
    interval : {"approximate", "exact", "1986"}
        As in `limits_of_agreement`.
    multiplier : float or "t"
        As in `limits_of_agreement`.

    Returns
    -------
    LimitsOfAgreement
        Ratios, without unit: a lower limit of 0.8 means that a second measurement may be 20 % below the first.
        `standard_deviation` is that of the natural logarithm of the ratio.

    Raises
    ------
    DesignError
        A value that is not above 0, and as `limits_of_agreement`.

    Notes
    -----
    exp of the limits, and of the ends of their intervals, of log(second) - log(first).

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160, section 3.1.

    Examples
    --------
    >>> found = ratio_limits_of_agreement([10.0, 20.0, 40.0, 80.0], [11.0, 20.0, 44.0, 80.0])
    >>> round(found.bias.value, 3), round(found.lower.value, 3), round(found.upper.value, 3)
    (1.049, 0.942, 1.168)
    """
    a, b = finite_vector(first, name="first"), finite_vector(second, name="second")
    if len(a) and len(b) and min(a.min(), b.min()) <= 0:
        raise DesignError("a measurement is not above 0, so ratios are not defined")
    differences = paired_differences(np.log(a), np.log(b))
    found = limits_of_differences(
        differences, unit="1", level=level, interval=interval, multiplier=multiplier, form="ratio, one pair a person"
    )
    return replace(
        found, bias=_as_ratio(found.bias), lower=_as_ratio(found.lower), upper=_as_ratio(found.upper),
        standard_deviation=replace(found.standard_deviation, method="agreement_deviation_log"),
    )  # fmt: skip


def _as_ratio(estimate: Estimate) -> Estimate:
    """Return an estimate on the logarithm as one of the ratio."""
    ends = estimate.interval
    assert isinstance(estimate.value, float)
    assert ends is not None
    interval = Interval(math.exp(ends.low), math.exp(ends.high), ends.level, ends.method)
    return replace(
        estimate, value=math.exp(estimate.value), interval=interval, method=f"{estimate.method}_ratio", source=SOURCE
    )
