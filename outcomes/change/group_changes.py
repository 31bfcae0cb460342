"""Two groups measured twice: difference of their mean changes, and the pre-post-control effect size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.change.sizes import FROM_PEOPLE, hedges_correction
from outcomes.errors import DesignError
from outcomes.intervals import bca_of_two_groups, check_level, normal_quantile, possible_p, t_quantile, t_two_sided
from outcomes.matrices import Vector, all_equal, finite_vector, paired
from outcomes.result import Estimate, HypothesisTest, Interval, Result

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeDifference(Result):
    """Result of `difference_of_changes`.

    Parameters
    ----------
    difference : Estimate
        Mean change of the first group minus that of the second, in their unit.
    first_mean, second_mean : float
        Mean change of each group, in their unit.
    spread : {"unequal", "equal"}
    n_first, n_second : int
    """

    difference: Estimate
    first_mean: float
    second_mean: float
    spread: str
    n_first: int
    n_second: int

    def summary(self) -> str:
        """Return the difference with interval and p, rounded."""
        i, test = self.difference.interval, self.difference.test
        ends = f" ({i.low:.3g} to {i.high:.3g})" if i is not None else ""
        p = f", p = {test.p:.2g}" if test is not None else ""
        return f"difference of mean changes {self.difference.value:.3g}{ends}{p} (n = {self.n_first}, {self.n_second})"


def difference_of_changes(
    first: ArrayLike,
    second: ArrayLike,
    *,
    unit: str,
    level: float = 0.95,
    spread: Literal["unequal", "equal"] = "unequal",
) -> ChangeDifference:
    """Difference between the mean changes of two groups of different people.

    Parameters
    ----------
    first, second : array of shape (n_first,), (n_second,)
        Change (later - earlier) of each participant, in `unit`; no missing values. `second` is the reference.
    unit : str
        UCUM code.
    level : float
        Nominal coverage.
    spread : {"unequal", "equal"}
        Whether the groups may spread differently (Welch) or share one standard deviation.

    Returns
    -------
    ChangeDifference

    Raises
    ------
    DesignError
        Fewer than two people in a group, a missing value, or no spread in either group.

    Notes
    -----
    Welch: standard error √(s1²/n1 + s2²/n2), degrees of freedom by Welch and Satterthwaite. A change that is found in
    one group and not in the other is no evidence of a difference between them; this is.

    References
    ----------
    Welch (1947) Biometrika 34:28-35; Bland & Altman (2011) Trials 12:264 (within-group tests).

    Examples
    --------
    >>> found = difference_of_changes([2.0, 1.5, 3.0, 2.5], [0.5, 1.0, -0.5, 0.0], unit="cm")
    >>> found.difference.value
    2.0
    """
    check_level(level)
    a = finite_vector(first, name="changes of the first group", at_least=2)
    b = finite_vector(second, name="changes of the second group", at_least=2)
    if spread not in ("unequal", "equal"):
        raise DesignError(f"spread '{spread}' is neither 'unequal' nor 'equal'")
    if all_equal(a) and all_equal(b):
        raise DesignError("nobody's change differs from that of the own group, so there is no spread")
    n1, n2, v1, v2 = len(a), len(b), float(a.var(ddof=1)), float(b.var(ddof=1))
    if spread == "equal":
        pooled, df = ((n1 - 1) * v1 + (n2 - 1) * v2) / (n1 + n2 - 2), float(n1 + n2 - 2)
        se = math.sqrt(pooled * (1 / n1 + 1 / n2))
    else:
        parts = v1 / n1, v2 / n2
        se = math.sqrt(sum(parts))
        df = sum(parts) ** 2 / (parts[0] ** 2 / (n1 - 1) + parts[1] ** 2 / (n2 - 1))
    value = float(a.mean() - b.mean())
    half, t = t_quantile((1 + level) / 2, df) * se, value / se
    p = possible_p(t_two_sided(t, df))
    name = "Welch t" if spread == "unequal" else "Student t, one standard deviation"
    return ChangeDifference(
        difference=Estimate(
            value=value, unit=unit, method="change_difference" if spread == "unequal" else "change_difference_pooled",
            n_people=n1 + n2, n_values=2 * (n1 + n2), interval=Interval(value - half, value + half, level, name),
            test=HypothesisTest(name=f"{name} of the difference between groups", p=p, statistic=t, df=(df,)),
            source="Welch (1947) Biometrika 34:28",
        ),
        first_mean=float(a.mean()), second_mean=float(b.mean()), spread=spread, n_first=n1, n_second=n2,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PrePostControl(Result):
    """Result of `pre_post_control`; without unit.

    Parameters
    ----------
    d_ppc2 : Estimate
        Difference of the mean changes divided by the pooled standard deviation of the first visit, corrected for
        small samples; interval from its large-sample variance.
    d_ppc2_bootstrap : Estimate, optional
        The same with a bootstrap interval over people; None below 20 people in either group.
    correlation : float
        Of both visits within groups, pooled.
    n_first, n_second : int
    reason : str
        Why there is no bootstrap interval.
    """

    d_ppc2: Estimate
    d_ppc2_bootstrap: Estimate | None
    correlation: float
    n_first: int
    n_second: int
    reason: str = ""

    def summary(self) -> str:
        """Return the size with its interval, rounded."""
        d = self.d_ppc2
        ends = f" ({d.interval.low:.2f} to {d.interval.high:.2f})" if d.interval is not None else ""
        return f"d_ppc2 {d.value:.2f}{ends}, n = {self.n_first} and {self.n_second}"


def pre_post_control(
    first_before: ArrayLike,
    first_after: ArrayLike,
    second_before: ArrayLike,
    second_after: ArrayLike,
    *,
    level: float = 0.95,
    resamples: int = 10_000,
    rng: np.random.Generator,
) -> PrePostControl:
    """Effect size of a difference of changes, by the spread of the first visit (Morris's d_ppc2).

    Parameters
    ----------
    first_before, first_after : array of shape (n_first,)
        Values of the group that is looked at; no missing values.
    second_before, second_after : array of shape (n_second,)
        Values of the reference group.
    level : float
        Nominal coverage.
    resamples : int
        Of the bootstrap interval, at least 1000.
    rng : numpy.random.Generator

    Returns
    -------
    PrePostControl

    Raises
    ------
    DesignError
        Fewer than three people in a group, different lengths, a missing value, or no spread at the first visit.

    Notes
    -----
    d = c (Δ1 - Δ2)/s, s the pooled standard deviation of the first visit, c = J(n1 + n2 - 2), exact. With
    m = n1 + n2 - 2, q = 1/n1 + 1/n2 and r the pooled correlation, the variance is
    2 c² (1 - r) q m/(m - 2) (1 + d²/(2 (1 - r) q)) - d².

    References
    ----------
    Morris (2008) Organ Res Methods 11:364-386, equations 8 and 25 (the variance, from memory); Hedges (1981) J
    Educ Stat 6:107-128.

    Examples
    --------
    >>> trained = [50.0, 48, 52, 47, 51], [52.0, 49, 54, 50, 52]
    >>> waiting = [49.0, 53, 46, 50, 48], [49.0, 54, 46, 50, 47]
    >>> found = pre_post_control(*trained, *waiting, rng=np.random.default_rng(1))
    >>> round(found.d_ppc2.value, 3)
    0.693
    """
    check_level(level)
    a, b = paired(first_before, first_after, at_least=3), paired(second_before, second_after, at_least=3)
    n1, n2 = len(a[0]), len(b[0])
    if all_equal(a[0]) and all_equal(b[0]):
        raise DesignError("the values of the first visit do not spread within groups")
    m, q, r = n1 + n2 - 2, 1 / n1 + 1 / n2, _correlation(a, b)
    c = hedges_correction(m)
    d = float(_size(*a, *b)) * c
    variance = 2 * c * c * (1 - r) * q * m / (m - 2) * (1 + d * d / (2 * (1 - r) * q)) - d * d if r < 1 else 0.0
    interval = None
    if variance > 0:
        half = normal_quantile((1 + level) / 2) * math.sqrt(variance)
        interval = Interval(d - half, d + half, level, "Morris variance, normal")
    size = Estimate(
        value=d, unit="1", method="d_ppc2", n_people=n1 + n2, n_values=2 * (n1 + n2), interval=interval,
        source="Morris (2008) Organ Res Methods 11:364",
    )  # fmt: skip
    boot, reason = _bootstrapped(size, a, b, c, level, resamples, rng)
    return PrePostControl(
        d_ppc2=size, d_ppc2_bootstrap=boot, correlation=r, n_first=n1, n_second=n2, reason=reason
    )  # fmt: skip


def _size(a1: Array, a2: Array, b1: Array, b2: Array) -> Array:
    n, m = a1.shape[-1], b1.shape[-1]
    spread = np.sqrt(((n - 1) * a1.var(axis=-1, ddof=1) + (m - 1) * b1.var(axis=-1, ddof=1)) / (n + m - 2))
    return np.asarray(((a2 - a1).mean(axis=-1) - (b2 - b1).mean(axis=-1)) / spread)


def _correlation(a: tuple[Vector, Vector], b: tuple[Vector, Vector]) -> float:
    """Return the correlation of both visits within groups; 0 where the later values do not spread."""
    centred = [[values - values.mean() for values in pair] for pair in (a, b)]
    xy = sum(float(x @ y) for x, y in centred)
    xx, yy = (sum(float(pair[i] @ pair[i]) for pair in centred) for i in (0, 1))
    return max(-1.0, min(1.0, xy / math.sqrt(xx * yy))) if yy > 0 else 0.0


def _bootstrapped(
    size: Estimate,
    a: tuple[Vector, Vector],
    b: tuple[Vector, Vector],
    c: float,
    level: float,
    resamples: int,
    rng: np.random.Generator,
) -> tuple[Estimate | None, str]:
    if min(len(a[0]), len(b[0])) < FROM_PEOPLE:
        return None, f"fewer than {FROM_PEOPLE} people in a group"
    try:
        found = bca_of_two_groups(a, b, lambda *v: c * _size(*v), level=level, resamples=resamples, rng=rng)
    except DesignError as refusal:
        return None, refusal.reason
    return Estimate(
        value=size.value, unit="1", method="d_ppc2_bootstrap", n_people=size.n_people, n_values=size.n_values,
        interval=found.interval, source=size.source,
    ), ""  # fmt: skip
