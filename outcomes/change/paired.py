"""Change of an interval or ratio scale from one visit to another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from outcomes.change.significance import sign_flip_test
from outcomes.change.sizes import FROM_PEOPLE, average_standardised, standardised
from outcomes.errors import DesignError
from outcomes.intervals import bca_interval, check_level, correlation_interval, t_interval
from outcomes.matrices import Vector, all_equal, paired, snapped
from outcomes.result import Estimate, HypothesisTest, Interval, Result

_EQUAL = "everybody changed by the same amount"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedChange(Result):
    """Result of `paired_change`; in the unit of the scores unless said otherwise.

    Parameters
    ----------
    mean : Estimate
        Mean change (later - earlier) with its Student t interval and sign-flip test.
    sd : Estimate
        Standard deviation of the changes.
    before_mean, before_sd, after_mean, after_sd : Estimate
        Of the people who have both values.
    correlation : Estimate, optional
        Of both visits; without unit. None where one of them is constant.
    mean_bca : Estimate, optional
        Mean change with a bootstrap interval; None below 20 people.
    d_z, d_av, hedges_g : Estimate, optional
        Standardised mean changes; without unit.
    n_people : int
        People with both values.
    reasons : dict of str to str
        Why a field is None, or why `mean` has no interval ("mean.interval").
    """

    mean: Estimate
    sd: Estimate
    before_mean: Estimate
    before_sd: Estimate
    after_mean: Estimate
    after_sd: Estimate
    correlation: Estimate | None
    mean_bca: Estimate | None
    d_z: Estimate | None
    d_av: Estimate | None
    hedges_g: Estimate | None
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the mean change with unit, interval, p and n, rounded."""
        unit = "" if self.mean.unit == "1" else f" {self.mean.unit}"
        interval, test = self.mean.interval, self.mean.test
        limits = f" ({interval.low:.3g} to {interval.high:.3g})" if interval else ""
        p = f", sign-flip p = {test.p:.2g}" if test else ""
        return f"mean change {self.mean.value:.3g}{limits}{unit}{p} (n = {self.n_people})"


def paired_change(
    before: ArrayLike,
    after: ArrayLike,
    *,
    unit: str,
    level: float = 0.95,
    rng: np.random.Generator,
    resamples: int = 10_000,
) -> PairedChange:
    """Mean change of people measured twice, with interval, test and effect sizes.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One value per participant at each visit, in `unit`; no missing values.
    unit : str
        UCUM code.
    level : float
        Nominal coverage of the intervals.
    rng : numpy.random.Generator
        For the bootstrap, and for random flips where the sign-flip test cannot be exact.
    resamples : int
        Bootstrap resamples.

    Returns
    -------
    PairedChange
        change = later - earlier, never turned by what is better. If everybody changed by the same amount, the mean
        stands with its test, without interval and effect sizes: flipping signs needs no spread.

    Raises
    ------
    DesignError
        Fewer than two people, different lengths or a missing value.

    Notes
    -----
    d_z = mean / SD of changes; d_av = mean / ((SD before + SD after)/2); g = J(n - 1) d_z. The interval of d_z is that
    of the noncentral t distribution; g's is J times it; that of d_av is a BCa bootstrap from 20 people. Not for ordinal
    grades.

    References
    ----------
    Student (1908) Biometrika 6:1-25; Fisher (1935) The Design of Experiments, section 21; Lakens (2013) Front Psychol
    4:863; Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14.

    Examples
    --------
    Ratings of two films by ten people (Lakens 2013):

    >>> first, second = [9, 6, 7, 8, 7, 9, 8, 8, 8, 7], [9, 7, 8, 9, 8, 9, 9, 10, 9, 9]
    >>> found = paired_change(first, second, unit="{score}", rng=np.random.default_rng(1))
    >>> found.mean.value, round(found.d_z.value, 4), round(found.d_av.value, 4), found.mean.test.p
    (1.0, 1.5, 1.1287, 0.0078125)
    """
    check_level(level)
    first, second = paired(before, after)
    scale = float(max(np.abs(first).max(), np.abs(second).max()))
    changes = second - first
    n = len(changes)
    reasons: dict[str, str] = {}

    def plain(value: float | np.floating[Any], method: str) -> Estimate:
        return Estimate(value=float(value), unit=unit, method=method, n_people=n, n_values=n)

    equal = all_equal(changes, scale=scale)
    if equal:
        mean = _all_equal(changes, scale, unit, level)
        absent = ("mean.interval", "mean_bca", "d_z", "d_av", "hedges_g")
        reasons |= dict.fromkeys(absent, _EQUAL)
        d_z = hedges_g = d_av = bca = None
    else:
        mean = _tested(changes, unit, level, rng)
        bca = _bootstrapped(changes, unit, level, resamples, rng, reasons)
        d_z, hedges_g = standardised(changes, level=level)
        if hedges_g is None:
            reasons["hedges_g"] = "the small-sample correction needs three people"
        d_av = average_standardised(first, second, level=level, resamples=resamples, rng=rng)
    return PairedChange(
        mean=mean,
        sd=plain(0.0 if equal else np.std(changes, ddof=1), "sd_change"),
        before_mean=plain(np.mean(first), "mean_before"),
        before_sd=plain(np.std(first, ddof=1), "sd_before"),
        after_mean=plain(np.mean(second), "mean_after"),
        after_sd=plain(np.std(second, ddof=1), "sd_after"),
        correlation=_correlation(first, second, level, reasons),
        mean_bca=bca,
        d_z=d_z,
        d_av=d_av,
        hedges_g=hedges_g,
        n_people=n,
        reasons=reasons,
    )


def _estimate(
    changes: Vector, unit: str, interval: Interval | None, test: HypothesisTest | None, caveats: tuple[str, ...]
) -> Estimate:
    n = len(changes)
    return Estimate(
        value=float(np.mean(changes)),
        unit=unit,
        method="mean_change",
        n_people=n,
        n_values=2 * n,
        interval=interval,
        test=test,
        source="Student (1908) Biometrika 6:1; Fisher (1935) The Design of Experiments",
        caveats=caveats,
    )


def _all_equal(changes: Vector, scale: float, unit: str, level: float) -> Estimate:
    """Return the mean of changes that are all the same, with its test: p is 2^(1 - n), or 1 if nobody changed."""
    same = np.full(len(changes), snapped(np.array([np.mean(changes)]), scale=scale)[0])
    flips = sign_flip_test(same)
    caveats = ("p_cannot_reach",) if flips.smallest_p > 1 - level else ()
    return _estimate(changes, unit, None, flips.test, ("all_equal", *caveats))


def _tested(changes: Vector, unit: str, level: float, rng: np.random.Generator) -> Estimate:
    flips = sign_flip_test(changes, rng=rng)
    caveats: tuple[str, ...] = ("two_people",) if len(changes) == 2 else ()
    if flips.smallest_p > 1 - level:
        caveats += ("p_cannot_reach",)
    if not flips.test.exact:
        caveats += ("p_simulated",)
    return _estimate(changes, unit, t_interval(changes, level=level), flips.test, caveats)


def _bootstrapped(
    changes: Vector, unit: str, level: float, resamples: int, rng: np.random.Generator, reasons: dict[str, str]
) -> Estimate | None:
    n = len(changes)
    if n < FROM_PEOPLE:
        reasons["mean_bca"] = f"fewer than {FROM_PEOPLE} people"
        return None
    try:
        found = bca_interval([changes], lambda x: x.mean(axis=-1), level=level, resamples=resamples, rng=rng)
    except DesignError as refusal:
        reasons["mean_bca"] = refusal.reason
        return None
    return Estimate(
        value=found.value,
        unit=unit,
        method="mean_change_bca",
        n_people=n,
        n_values=2 * n,
        interval=found.interval,
        source="Efron & Tibshirani (1993) An Introduction to the Bootstrap, chapter 14",
    )


def _correlation(first: Vector, second: Vector, level: float, reasons: dict[str, str]) -> Estimate | None:
    n = len(first)
    if all_equal(first) or all_equal(second):
        reasons["correlation"] = "the values of one visit are all equal"
        return None
    r = float(np.clip(np.corrcoef(first, second)[0, 1], -1, 1))
    try:
        interval = correlation_interval(r, n, level=level)
    except DesignError:
        interval = None
    return Estimate(
        value=r,
        unit="1",
        method="correlation_before_after",
        n_people=n,
        n_values=2 * n,
        interval=interval,
        source="Fisher (1921) Metron 1:3",
    )
