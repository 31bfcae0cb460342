"""Limits of agreement where people were measured several times by each of two methods, raters or occasions."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import VariancePart, check_level, t_quantile, variance_interval
from outcomes.matrices import Matrix
from outcomes.reliability.limits import FEWEST, LimitsOfAgreement
from outcomes.result import Estimate, Interval

_SOURCE = "Bland & Altman (2007) J Biopharm Stat 17:571"


@dataclass(frozen=True, slots=True)
class _Replicates:
    """Ragged replicates of one method: means and counts of each person, pooled variance within people."""

    means: np.ndarray
    counts: np.ndarray
    within: float
    df: float


def replicate_limits_of_agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    unit: str,
    level: float = 0.95,
    multiplier: float = 1.96,
    replicates: Literal["exchangeable", "ordered"] = "exchangeable",
) -> LimitsOfAgreement:
    """Limits of agreement for single measurements from replicates, while the true value of each person stays.

    Parameters
    ----------
    first, second : array of shape (n_participants, n_replicates)
        In `unit`; the numbers of replicates may differ, between methods and between people: what is not there is nan.
        Every person has at least one value in each.
    unit : str
        UCUM code of both.
    level : float
        Nominal coverage of the intervals.
    multiplier : float
        Standard deviations between bias and limit.
    replicates : {"exchangeable", "ordered"}
        "ordered" takes a shift between the first, second, ... replicate out of the variance within people; it needs the
        same number for everybody.

    Returns
    -------
    LimitsOfAgreement
        Of the difference second - first of single measurements; `bias` is the mean of the people's differences of
        means.

    Raises
    ------
    DesignError
        Fewer than three people, a person without a value, no replicates at all, an infinite value, or no spread.

    Notes
    -----
    Variance of a difference of single measurements = variance of the differences of means + (1 - mean(1/m)) · variance
    within people, for each method, m replicates of a person. Interval of the variance by recovering that of its parts
    (`outcomes.intervals.variance_interval`), then of each limit: bias ± multiplier·s, its near end
    √(a² + multiplier²(s - √low)²) inwards and its far end √(a² + multiplier²(√high - s)²) outwards, a = half the
    interval of the bias. Limits made from the means themselves would be too narrow for single measurements.

    References
    ----------
    Bland & Altman (1999) Stat Methods Med Res 8:135-160, section 5.1; Bland & Altman (2007) J Biopharm Stat 17:571-582,
    section 2; Zou (2013) Stat Methods Med Res 22:630-642 (intervals, formula from memory).

    Examples
    --------
    >>> first = [[10.0, 12.0], [20.0, 21.0], [33.0, 30.0], [41.0, 40.0]]
    >>> second = [[12.0, np.nan], [20.0, 23.0], [31.0, 34.0], [45.0, 43.0]]
    >>> found = replicate_limits_of_agreement(first, second, unit="cm")
    >>> round(found.bias.value, 2), round(found.standard_deviation.value, 2)
    (1.62, 1.97)
    """
    check_level(level)
    a, b = _matrix(first, "first"), _matrix(second, "second")
    if len(a) != len(b):
        raise DesignError(f"{len(a)} people measured first and {len(b)} second")
    one, two = _replicates(a, replicates), _replicates(b, replicates)
    if one.df + two.df == 0:
        raise DesignError("nobody has replicates; limits_of_agreement takes one pair a person")
    differences = two.means - one.means
    parts = [VariancePart(1.0, float(np.var(differences, ddof=1)), len(differences) - 1)]
    parts += [VariancePart(1 - float(np.mean(1 / m.counts)), m.within, m.df) for m in (one, two)]
    n_values = int(one.counts.sum() + two.counts.sum())
    found = _limits(float(differences.mean()), parts, len(differences), n_values, unit, level, multiplier)
    counts = {*one.counts.tolist(), *two.counts.tolist()}
    words = f"{next(iter(counts)):g} replicates" if len(counts) == 1 else "unequal replicates"
    return replace(found, form=f"single measurements from {words}, true value constant")


def varying_limits_of_agreement(
    first: ArrayLike, second: ArrayLike, *, unit: str, level: float = 0.95, multiplier: float = 1.96
) -> LimitsOfAgreement:
    """Limits of agreement from several pairs a person, taken together while the true value varies from pair to pair.

    Parameters
    ----------
    first, second : array of shape (n_participants, n_pairs)
        In `unit`; what stands at one place was measured together. A person's pairs that are not there are nan in both.
    unit : str
        UCUM code of both.
    level : float
        Nominal coverage of the intervals.
    multiplier : float
        Standard deviations between bias and limit.

    Returns
    -------
    LimitsOfAgreement
        Of the difference second - first of one pair; `bias` is the mean over all pairs.

    Raises
    ------
    DesignError
        Fewer than three people, half a pair, nobody with two pairs, an infinite value, or no spread.

    Notes
    -----
    One-way analysis of variance of the differences by person: variance within = mean square within, between = (mean
    square between - within)/q, q = ((Σm)² - Σm²)/((n - 1)Σm); a negative one counts as 0 with a caveat. The variance of
    a difference is their sum. Its interval takes it as variance of the people's means + (1 - mean(1/m)) · within, which
    is the same where everybody has m pairs; limits as in `replicate_limits_of_agreement`.

    References
    ----------
    Bland & Altman (2007) J Biopharm Stat 17:571-582, section 3; Zou (2013) Stat Methods Med Res 22:630-642 (intervals,
    formula from memory).

    Examples
    --------
    >>> first = [[10.0, 14.0], [20.0, 26.0], [33.0, 30.0]]
    >>> second = [[11.0, 16.0], [21.0, 26.0], [32.0, 31.0]]
    >>> found = varying_limits_of_agreement(first, second, unit="cm")
    >>> round(found.bias.value, 3), round(found.standard_deviation.value, 3)
    (0.667, 1.041)
    """
    check_level(level)
    a, b = _matrix(first, "first"), _matrix(second, "second")
    if a.shape != b.shape or bool((np.isnan(a) != np.isnan(b)).any()):
        raise DesignError("every pair needs both measurements")
    pairs = _replicates(b - a, "exchangeable")
    m, n = pairs.counts, len(pairs.counts)
    if pairs.df == 0:
        raise DesignError("nobody has two pairs; limits_of_agreement takes one pair a person")
    total = float(m.sum())
    bias = float((m * pairs.means).sum() / total)
    between_square = float((m * (pairs.means - bias) ** 2).sum() / (n - 1))
    q = (total**2 - float((m**2).sum())) / ((n - 1) * total)
    between = (between_square - pairs.within) / q
    variance = max(0.0, between) + pairs.within
    parts = [
        VariancePart(1.0, float(np.var(pairs.means, ddof=1)), n - 1),
        VariancePart(1 - float(np.mean(1 / m)), pairs.within, pairs.df),
    ]
    found = _limits(bias, parts, n, int(2 * total), unit, level, multiplier, variance=variance)
    found = replace(found, form="several pairs a person, true value varies", n_pairs=int(total))
    return found if between >= 0 else _with_caveat(found, "between_variance_negative")


def _with_caveat(found: LimitsOfAgreement, caveat: str) -> LimitsOfAgreement:
    named = {name: getattr(found, name) for name in ("standard_deviation", "lower", "upper")}
    return replace(found, **{k: replace(e, caveats=(*e.caveats, caveat)) for k, e in named.items()})


def _matrix(values: ArrayLike, name: str) -> Matrix:
    """Return people in rows, nan where there is no value."""
    try:
        matrix = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError(f"{name} measurements are not all numbers") from error
    if matrix.ndim != 2:
        raise DesignError(f"{name} measurements need people in rows and replicates in columns")
    if np.isinf(matrix).any():
        raise DesignError(f"{name} measurements hold an infinite value")
    if len(matrix) < FEWEST:
        raise DesignError(f"{len(matrix)} people; limits of agreement need at least {FEWEST}")
    empty = int(np.isnan(matrix).all(axis=1).sum()) if matrix.shape[1] else len(matrix)
    if empty:
        raise DesignError(f"{empty} people have no {name} measurement; leave them out and count them")
    return matrix


def _replicates(matrix: Matrix, rule: str) -> _Replicates:
    there = ~np.isnan(matrix)
    counts = there.sum(axis=1).astype(float)
    means = np.where(there, matrix, 0.0).sum(axis=1) / counts
    rest = np.where(there, matrix - means[:, None], 0.0)
    df = float((counts - 1).sum())
    if rule == "ordered":
        if not there.all():
            raise DesignError("ordered replicates need the same number for everybody")
        rest = rest - rest.mean(axis=0)
        df = float((len(matrix) - 1) * (matrix.shape[1] - 1))
    elif rule != "exchangeable":
        raise DesignError(f"replicates '{rule}' are neither 'exchangeable' nor 'ordered'")
    return _Replicates(means, counts, float((rest**2).sum()) / df if df else 0.0, df)


def _limits(
    bias: float,
    parts: list[VariancePart],
    n: int,
    n_values: int,
    unit: str,
    level: float,
    multiplier: float,
    *,
    variance: float | None = None,
) -> LimitsOfAgreement:
    """Return bias and limits from the parts of the variance of a difference; the first is that of the people's
    means.
    """
    variance = sum(p.weight * p.variance for p in parts) if variance is None else variance
    if not variance > 1e-24 * max(1.0, bias**2):
        raise DesignError("the differences are all equal, so they have no spread to set limits by")
    spread = variance_interval(parts, level=level)
    s, low, high = math.sqrt(variance), math.sqrt(max(0.0, spread.low)), math.sqrt(spread.high)
    low, high = min(low, s), max(high, s)
    half = t_quantile((1 + level) / 2, n - 1) * math.sqrt(parts[0].variance / n)
    inwards, outwards = (math.hypot(half, multiplier * gap) for gap in (s - low, high - s))

    def estimate(method: str, value: float, ends: tuple[float, float], name: str) -> Estimate:
        return Estimate(
            value=value, unit=unit, method=method, n_people=n, n_values=n_values, source=_SOURCE,
            interval=Interval(*ends, level, name),
        )  # fmt: skip

    lower, upper = bias - multiplier * s, bias + multiplier * s
    return LimitsOfAgreement(
        bias=estimate("agreement_bias", bias, (bias - half, bias + half), "Student t"),
        standard_deviation=estimate("agreement_deviation_replicates", s, (low, high), "recovered variances"),
        lower=estimate(
            "limit_of_agreement_replicates", lower, (lower - outwards, lower + inwards), "recovered variances"
        ),
        upper=estimate(
            "limit_of_agreement_replicates", upper, (upper - inwards, upper + outwards), "recovered variances"
        ),
        form="",
        multiplier=multiplier,
        n_people=n,
        n_pairs=n,
    )
