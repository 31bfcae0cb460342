"""Standardised differences, the divisor part of the name: of one group over time, and of two groups."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.change.sizes import FROM_PEOPLE, average_standardised, hedges_correction, scaled, standardised
from outcomes.errors import DesignError
from outcomes.intervals import bca_interval, check_level, noncentral_t_interval
from outcomes.matrices import Vector, all_equal, finite_vector, paired
from outcomes.result import Estimate, Result

_LAKENS = "Lakens (2013) Front Psychol 4:863"
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedEffectSizes(Result):
    """Result of `paired_effect_sizes`; without unit, later minus earlier.

    Parameters
    ----------
    d_z : Estimate, optional
        Divided by the standard deviation of the changes (the standardised response mean).
    hedges_g : Estimate, optional
        d_z with the exact small-sample correction, n - 1 degrees of freedom.
    d_av, d_rms : Estimate, optional
        Divided by the mean, and by the root mean square, of both standard deviations.
    d_rm : Estimate, optional
        d_z √(2 (1 - r)).
    d_before, g_before : Estimate, optional
        Divided by the standard deviation of the first visit (Glass); with its correction, n - 1 degrees of freedom.
    n_people : int
    reasons : dict of str to str
        Why a field is None.
    """

    d_z: Estimate | None
    hedges_g: Estimate | None
    d_av: Estimate | None
    d_rms: Estimate | None
    d_rm: Estimate | None
    d_before: Estimate | None
    g_before: Estimate | None
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return every size by name, rounded."""
        names = ("d_z", "hedges_g", "d_av", "d_rms", "d_rm", "d_before", "g_before")
        found = [(name, getattr(self, name)) for name in names]
        said = ", ".join(f"{name} {one.value:.2f}" for name, one in found if one is not None)
        return f"{said or 'no effect size'} (n = {self.n_people})"


def paired_effect_sizes(
    before: ArrayLike,
    after: ArrayLike,
    *,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> PairedEffectSizes:
    """Standardised mean changes of people measured twice, one for each divisor in use.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One value per participant at each visit, in one unit; no missing values.
    level : float
        Nominal coverage.
    resamples : int
        Of the bootstrap intervals, at least 1000.
    rng : numpy.random.Generator

    Returns
    -------
    PairedEffectSizes
        A size whose divisor is 0 is None, with its reason.

    Raises
    ------
    DesignError
        Fewer than two people, different lengths or a missing value.

    Notes
    -----
    The interval of d_z is exact under normal changes (noncentral t, n - 1 degrees of freedom, found for ``|t|`` and
    turned over for falls). The others share no exact distribution: a BCa bootstrap over people from n = 20, none
    below. The corrections are J(n - 1) = Γ((n-1)/2) / (√((n-1)/2) Γ((n-2)/2)), the degrees of freedom of the divisor.
    d_rms of two visits equals the d of two independent groups, whose interval would be another.

    References
    ----------
    Lakens (2013) Front Psychol 4:863; Hedges (1981) J Educ Stat 6:107-128; Becker (1988) Br J Math Stat Psychol
    41:257-278 (divisor of the first visit).

    Examples
    --------
    Ratings of two films by ten people (Lakens 2013):

    >>> first, second = [9, 6, 7, 8, 7, 9, 8, 8, 8, 7], [9, 7, 8, 9, 8, 9, 9, 10, 9, 9]
    >>> found = paired_effect_sizes(first, second, rng=np.random.default_rng(1))
    >>> round(found.d_z.value, 4), round(found.d_rm.value, 4), round(found.d_rms.value, 4)
    (1.5, 1.1113, 1.1259)
    """
    check_level(level)
    first, second = paired(before, after)
    scale = float(max(np.abs(first).max(), np.abs(second).max()))
    n, reasons = len(first), dict[str, str]()
    sizes: dict[str, Estimate | None] = {"d_z": None, "hedges_g": None}
    if all_equal(second - first, scale=scale):
        reasons |= dict.fromkeys(sizes, "everybody changed by the same amount")
    else:
        sizes["d_z"], sizes["hedges_g"] = standardised(second - first, level=level)
        if n < 3:
            reasons["hedges_g"] = "the small-sample correction needs three people"
    for name, (statistic, source) in _DIVISORS.items():
        try:
            sizes[name] = _sized(name, statistic, source, first, second, level=level, resamples=resamples, rng=rng)
        except DesignError as refusal:
            sizes[name], reasons[name] = None, refusal.reason
    sizes["g_before"] = _corrected(sizes["d_before"], n, reasons)
    return PairedEffectSizes(**sizes, n_people=n, reasons=reasons)


def _d_rms(before: Array, after: Array) -> Array:
    spread = np.sqrt((before.var(axis=-1, ddof=1) + after.var(axis=-1, ddof=1)) / 2)
    return np.asarray((after.mean(axis=-1) - before.mean(axis=-1)) / spread)


def _d_rm(before: Array, after: Array) -> Array:
    change = after - before
    a, b = before - before.mean(axis=-1, keepdims=True), after - after.mean(axis=-1, keepdims=True)
    r = (a * b).sum(axis=-1) / np.sqrt((a * a).sum(axis=-1) * (b * b).sum(axis=-1))
    return np.asarray(change.mean(axis=-1) / change.std(axis=-1, ddof=1) * np.sqrt(2 * (1 - r)))


def _d_before(before: Array, after: Array) -> Array:
    return np.asarray((after.mean(axis=-1) - before.mean(axis=-1)) / before.std(axis=-1, ddof=1))


_DIVISORS: dict[str, tuple[Callable[[Array, Array], Array] | None, str]] = {
    "d_av": (None, _LAKENS),
    "d_rms": (_d_rms, _LAKENS),
    "d_rm": (_d_rm, _LAKENS),
    "d_before": (_d_before, "Becker (1988) Br J Math Stat Psychol 41:257"),
}
"""Name of a size to its statistic (that of d_av stands in `sizes`) and source."""


def _sized(
    name: str,
    statistic: Callable[[Array, Array], Array] | None,
    source: str,
    before: Vector,
    after: Vector,
    *,
    level: float,
    resamples: int,
    rng: np.random.Generator,
) -> Estimate:
    """Return one size with its bootstrap interval from 20 people."""
    flat = [all_equal(values) for values in (before, after)]
    if flat[0] and (name == "d_before" or flat[1]):
        raise DesignError("the values of the first visit are all equal" if not flat[1] else "all values are equal")
    if name == "d_rm" and (any(flat) or all_equal(after - before, scale=float(np.abs(before).max()))):
        raise DesignError("the values of one visit, or the changes, are all equal")
    if statistic is None:
        return average_standardised(before, after, level=level, resamples=resamples, rng=rng)
    interval, caveats = None, ("below_bootstrap",) if len(before) < FROM_PEOPLE else ()
    if len(before) >= FROM_PEOPLE:
        try:
            interval = bca_interval([before, after], statistic, level=level, resamples=resamples, rng=rng).interval
        except DesignError:
            caveats = ("no_bootstrap",)
    n = len(before)
    return Estimate(
        value=float(statistic(before, after)), unit="1", method=name, n_people=n, n_values=2 * n, interval=interval,
        source=source, caveats=caveats,
    )  # fmt: skip


def _corrected(d: Estimate | None, n: int, reasons: dict[str, str]) -> Estimate | None:
    """Return the size with the correction of the first visit's standard deviation."""
    if d is None or n < 3:
        reasons["g_before"] = reasons.get("d_before", "the small-sample correction needs three people")
        return None
    return corrected(d, hedges_correction(n - 1), "g_before")


def corrected(d: Estimate, factor: float, method: str) -> Estimate:
    """Return a size times its small-sample correction, interval included.

    Parameters
    ----------
    d : Estimate
    factor : float
        As `hedges_correction` returns.
    method : str
        Id of the corrected size's method note.

    Returns
    -------
    Estimate
    """
    assert isinstance(d.value, float)
    interval = None if d.interval is None else scaled(d.interval, factor)
    return replace(
        d, value=d.value * factor, interval=interval, method=method, source="Hedges (1981) J Educ Stat 6:107"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoGroupEffectSizes(Result):
    """Result of `two_group_effect_sizes`; without unit, first group minus second.

    Parameters
    ----------
    d_s, g_s : Estimate
        Divided by the pooled standard deviation; with the exact correction, n1 + n2 - 2 degrees of freedom.
    d_second, g_second : Estimate
        Divided by the standard deviation of the second group (Glass); corrected with n2 - 1 degrees of freedom.
    n_first, n_second : int
    """

    d_s: Estimate
    g_s: Estimate
    d_second: Estimate
    g_second: Estimate
    n_first: int
    n_second: int

    def summary(self) -> str:
        """Return g with its interval, rounded."""
        g = self.g_s
        ends = f" ({g.interval.low:.2f} to {g.interval.high:.2f})" if g.interval is not None else ""
        return f"g_s {g.value:.2f}{ends}, n = {self.n_first} and {self.n_second}"


def two_group_effect_sizes(first: ArrayLike, second: ArrayLike, *, level: float = 0.95) -> TwoGroupEffectSizes:
    """Standardised difference of the means of two groups of different people.

    Parameters
    ----------
    first, second : array of shape (n_first,), (n_second,)
        One value per participant, in one unit; no missing values. `second` is the reference.
    level : float
        Nominal coverage.

    Returns
    -------
    TwoGroupEffectSizes

    Raises
    ------
    DesignError
        Fewer than three people in a group, a missing value, or no spread.

    Notes
    -----
    t = d √(n1 n2/(n1 + n2)) has a noncentral t distribution with the degrees of freedom of the divisor where both
    groups are normal with one variance; the interval inverts it (for ``|t|``, then turned over). g = J(df) d.

    References
    ----------
    Hedges (1981) J Educ Stat 6:107-128; Glass (1976) Educ Res 5(10):3-8; Steiger & Fouladi (1997) in Harlow, Mulaik &
    Steiger, What if there were no significance tests?, 221-257.

    Examples
    --------
    >>> first, second = [9, 7, 8, 9, 8, 9, 9, 10, 9, 9], [9, 6, 7, 8, 7, 9, 8, 8, 8, 7]
    >>> found = two_group_effect_sizes(first, second)
    >>> round(found.d_s.value, 4), round(found.g_s.value, 4)
    (1.1259, 1.0782)
    """
    check_level(level)
    a = finite_vector(first, name="first group", at_least=3)
    b = finite_vector(second, name="second group", at_least=3)
    n1, n2 = len(a), len(b)
    if all_equal(b) or all_equal(a):
        raise DesignError("the values of one group are all equal, so there is no spread to divide by")
    difference = float(a.mean() - b.mean())
    pooled = math.sqrt(((n1 - 1) * a.var(ddof=1) + (n2 - 1) * b.var(ddof=1)) / (n1 + n2 - 2))

    def size(spread: float, df: int, method: str, source: str) -> Estimate:
        root = math.sqrt(n1 * n2 / (n1 + n2))
        interval = scaled(noncentral_t_interval(difference / spread * root, df, level=level), 1 / root)
        return Estimate(
            value=difference / spread, unit="1", method=method, n_people=n1 + n2, n_values=n1 + n2,
            interval=interval, source=source,
        )  # fmt: skip

    d_s = size(pooled, n1 + n2 - 2, "d_s", "Hedges (1981) J Educ Stat 6:107")
    d_second = size(float(b.std(ddof=1)), n2 - 1, "d_second", "Glass (1976) Educ Res 5(10):3")
    return TwoGroupEffectSizes(
        d_s=d_s,
        g_s=corrected(d_s, hedges_correction(n1 + n2 - 2), "g_s"),
        d_second=d_second,
        g_second=corrected(d_second, hedges_correction(n2 - 1), "g_second"),
        n_first=n1,
        n_second=n2,
    )
