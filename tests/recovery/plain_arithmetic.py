"""Formulas of the second computation, written out: numpy, scipy's distributions and whole-number arithmetic only."""

from __future__ import annotations

import itertools
import math
import statistics
from collections import defaultdict
from fractions import Fraction
from typing import Any

import numpy as np
from scipy import integrate, optimize, stats


def sign_flip_p(changes: list[Fraction]) -> float:
    """Share of the sign assignments with a sum at least as far from 0: Fisher (1935) The Design of Experiments, 21."""
    whole = math.lcm(*(c.denominator for c in changes))
    sizes = [int(abs(c) * whole) for c in changes if c]
    ways = {0: 1}
    for size in sizes:
        more: dict[int, int] = defaultdict(int)
        for total, n in ways.items():
            more[total + size] += n
            more[total - size] += n
        ways = more
    observed = abs(int(sum(changes) * whole))
    return float(Fraction(sum(n for total, n in ways.items() if abs(total) >= observed), 2 ** len(sizes)))


def signed_rank_p(changes: list[float]) -> float:
    """Exact signed-rank test, mid-ranks, zeros left out: Wilcoxon (1945) Biometrics Bull 1:80."""
    moved = [c for c in changes if c]
    ranks = stats.rankdata(np.abs(moved))
    return sign_flip_p([Fraction(float(r)) * (1 if c > 0 else -1) for r, c in zip(ranks, moved, strict=True)])


def walsh(changes: list[float]) -> tuple[float, float, float]:
    """Hodges-Lehmann estimate and interval: Hollander & Wolfe (1999) Nonparametric Statistical Methods, 3.2-3.3."""
    averages = sorted((a + b) / 2 for a, b in itertools.combinations_with_replacement(changes, 2))
    ways = [1]
    for rank in range(1, len(changes) + 1):
        more = [0] * (len(ways) + rank)
        for total, n in enumerate(ways):
            more[total] += n
            more[total + rank] += n
        ways = more
    k = next(i for i in range(len(ways)) if Fraction(sum(ways[: i + 1]), 2 ** len(changes)) > Fraction(1, 40))
    return statistics.median(averages), averages[k - 1], averages[-k]


def bca(changes: np.ndarray, resamples: int = 40_000) -> tuple[float, float]:
    """BCa interval of a mean: Efron & Tibshirani (1993) An Introduction to the Bootstrap, equations 14.9 to 14.15."""
    rng, n = np.random.default_rng(99), len(changes)
    means = changes[rng.integers(0, n, (resamples, n))].mean(axis=1)
    z0 = stats.norm.ppf((np.mean(means < changes.mean()) + np.mean(means <= changes.mean())) / 2)
    jack = (changes.sum() - changes) / (n - 1)
    d = jack.mean() - jack
    a = (d**3).sum() / (6 * (d**2).sum() ** 1.5)
    low, high = (stats.norm.cdf(z0 + (z0 + z) / (1 - a * (z0 + z))) for z in (-1.959964, 1.959964))
    return float(np.quantile(means, low)), float(np.quantile(means, high))


def noncentral(t: float, df: int) -> tuple[float, float]:
    """Noncentrality of which t is the upper and lower 2.5 % point: Cumming & Finch (2001) Educ Psychol Meas 61:532.

    P(T <= t) is the mean of the normal P(Z <= t S - c) over S = sqrt(chi-square / df), here by Simpson's rule.
    """
    s = np.linspace(math.sqrt(stats.chi2.ppf(1e-14, df) / df), math.sqrt(stats.chi2.isf(1e-14, df) / df), 4001)
    density = 2 * df * s * stats.chi2.pdf(df * s**2, df)

    def off(centre: float, p: float) -> float:
        return float(integrate.simpson(density * stats.norm.cdf(t * s - centre), x=s)) - p

    low, high = (float(optimize.brentq(off, t - 12, t + 12, args=(p,), xtol=1e-12)) for p in (0.975, 0.025))
    return low, high


def agreement(table: np.ndarray) -> dict[str, Any]:
    """Correlations and error from mean squares: McGraw & Wong (1996) Psychol Methods 1:30, tables 4 and 7; Weir (2005).

    Degrees of freedom of the sum of mean squares: Satterthwaite (1946) Biometrics Bull 2:110.
    """
    n, k = table.shape
    rows, columns, middle = table.mean(axis=1), table.mean(axis=0), table.mean()
    p = k * ((rows - middle) ** 2).sum() / (n - 1)
    o = n * ((columns - middle) ** 2).sum() / (k - 1)
    e = ((table - rows[:, None] - columns[None, :] + middle) ** 2).sum() / ((n - 1) * (k - 1))
    w = ((table - rows[:, None]) ** 2).sum() / (n * (k - 1))
    found: dict[str, Any] = {
        "icc_1_1": (p - w) / (p + (k - 1) * w),
        "icc_a_1": (p - e) / (p + (k - 1) * e + k * (o - e) / n),
        "icc_c_1": (p - e) / (p + (k - 1) * e),
        "icc_1_k": (p - w) / p,
        "icc_a_k": (p - e) / (p + (o - e) / n),
        "icc_c_k": (p - e) / p,
        "standard_error_consistency": math.sqrt(e),
        "within_person_standard_deviation": math.sqrt(w),
    }
    parts = ((o / n, k - 1), (e * (n - 1) / n, (n - 1) * (k - 1)))
    df = sum(v for v, _ in parts) ** 2 / sum(v**2 / d for v, d in parts) if o > e else (n - 1) * (k - 1)
    variance = max(e, sum(v for v, _ in parts))
    limits = [math.sqrt(df * variance / stats.chi2.ppf(q, df)) for q in (0.975, 0.025)]
    found |= {"standard_error_agreement": math.sqrt(variance), "df": df, "standard_error_agreement limits": limits}
    found |= {"mdc95": 1.96 * math.sqrt(2 * variance), "mdc95 limits": [1.96 * math.sqrt(2) * v for v in limits]}
    icc = found["icc_a_1"]
    a, b = k * icc * o, (n * (1 - icc) + k * icc * (n - 1)) * e
    v = (a + b) ** 2 / (a**2 / (k - 1) + b**2 / ((n - 1) * (k - 1)))
    f1, f2 = stats.f.ppf(0.975, n - 1, v), stats.f.ppf(0.975, v, n - 1)
    rest = k * o + (k * n - k - n) * e
    found["icc_a_1 limits"] = [n * (p - f1 * e) / (f1 * rest + n * p), n * (f2 * p - e) / (rest + n * f2 * p)]
    return found


def regression(dose: np.ndarray, change: np.ndarray, first: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Least squares of change on dose and first value: slope, standard error, and the covariate's rest of change."""
    x = np.column_stack([np.ones(len(dose)), first, dose])
    b, *_ = np.linalg.lstsq(x, change, rcond=None)
    variance = ((change - x @ b) ** 2).sum() / (len(dose) - 3)
    slope_se = math.sqrt(variance * np.linalg.inv(x.T @ x)[2, 2])
    c, *_ = np.linalg.lstsq(x[:, :2], change, rcond=None)
    return float(b[2]), slope_se, change - x[:, :2] @ c


def partial(dose: np.ndarray, change: np.ndarray, first: np.ndarray) -> float:
    """Partial correlation from the three plain ones (any textbook of regression)."""
    r = np.corrcoef([dose, change, first])
    return float((r[0, 1] - r[0, 2] * r[1, 2]) / math.sqrt((1 - r[0, 2] ** 2) * (1 - r[1, 2] ** 2)))


def permutation_p(dose: np.ndarray, change: np.ndarray, first: np.ndarray, n: int = 20_000) -> float:
    """Rests of change given the first value put in another order: Freedman & Lane (1983) J Bus Econ Stat 1:292."""
    rng, rest = np.random.default_rng(5), regression(dose, change, first)[2]
    fitted, observed = change - rest, abs(partial(dose, change, first))
    hits = sum(abs(partial(dose, fitted + rng.permutation(rest), first)) >= observed - 1e-9 for _ in range(n))
    return float((hits + 1) / (n + 1))


def holm(p: list[float]) -> list[float]:
    """Holm (1979) Scand J Stat 6:65: the running largest of (m - i) p, in rising order."""
    order, adjusted, running = sorted(range(len(p)), key=lambda i: p[i]), [0.0] * len(p), 0.0
    for rank, i in enumerate(order):
        running = max(running, min(1.0, (len(p) - rank) * p[i]))
        adjusted[i] = running
    return adjusted
