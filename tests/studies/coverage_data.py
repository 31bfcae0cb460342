"""The invented data that intervals are studied on, with their true values, and quantities of many studies at once."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from coverage_registry import Data

NEAR_AND_FAR = ("normal", "skewed")
CHANGES = ("normal", "skewed", "ordinal")
GRADED = (np.array([-2.0, -1, 0, 1, 2]), np.array([0.05, 0.15, 0.4, 0.3, 0.1]))
NULL_GRADES = (np.array([-2.0, -1, 0, 1, 2]), np.array([0.1, 0.2, 0.4, 0.2, 0.1]))
PEOPLE, ERROR = 2.0, 1.0
CUTS = np.array([-1.5, -0.5, 0.5, 1.5])
SHIFT = {"shifted": 0.25}
RELIABILITY = PEOPLE**2 / (PEOPLE**2 + ERROR**2)


def noise(rng: np.random.Generator, size: tuple[int, ...], shape: str) -> np.ndarray:
    """Return values of mean 0 and variance 1, normal or exponential."""
    return rng.exponential(size=size) - 1 if shape == "skewed" else rng.normal(size=size)


def changes(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes: normal of mean 0.5, exponential of mean 1 (variance 1 both), or of grades."""
    if shape == "ordinal":
        return (rng.choice(GRADED[0], size=(size, n), p=GRADED[1]),)
    return (noise(rng, (size, n), shape) + (1.0 if shape == "skewed" else 0.5),)


def mean_change(shape: str) -> float:
    """Return the true mean of `changes`."""
    return {"normal": 0.5, "skewed": 1.0, "ordinal": float(GRADED[0] @ GRADED[1])}[shape]


@cache
def pseudomedian(shape: str) -> float:
    """Return the median of the mean of two changes."""
    from scipy.special import gammaincinv

    if shape == "normal":
        return 0.5
    if shape == "skewed":
        return float(gammaincinv(2, 0.5)) / 2
    values, shares = GRADED
    means = np.add.outer(values, values).ravel() / 2
    order = np.argsort(means, kind="stable")
    below = np.cumsum(np.outer(shares, shares).ravel()[order])
    return float(means[order][np.searchsorted(below, 0.5)])


def null_changes(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes that are symmetric about 0; measured ones to one decimal."""
    if shape == "ordinal":
        return (rng.choice(NULL_GRADES[0], size=(size, n), p=NULL_GRADES[1]),)
    x = rng.normal(size=(size, n)) if shape == "normal" else rng.laplace(size=(size, n))
    return (np.round(x, 1),)


def repeats(rng: np.random.Generator, n: int, shape: str, size: int, k: int = 2) -> Data:
    """Return scores of n people on k occasions: variance of people 4, of error 1; "shifted": of occasions 0.25."""
    shift = 0.5 * rng.normal(size=(size, 1, k)) if shape == "shifted" else 0.0
    return (PEOPLE * noise(rng, (size, n, 1), shape) + shift + ERROR * noise(rng, (size, n, k), shape),)


def pairs(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return both occasions of `repeats` apart."""
    (scores,) = repeats(rng, n, shape, size)
    return scores[..., 0], scores[..., 1]


def grades(rng: np.random.Generator, n: int, shape: str, size: int, k: int = 2) -> Data:
    """Return grades 0 to 4 of n people on k occasions: a latent value of variance 1 and an error of variance 0.36."""
    latent = rng.normal(size=(size, n, 1)) + 0.6 * rng.normal(size=(size, n, k))
    return (np.searchsorted(CUTS, latent),)


@cache
def grade_table() -> np.ndarray:
    """Return the true shares of first (rows) and second grade, by Gauss-Hermite integration over people."""
    from scipy.special import ndtr

    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    ends = np.concatenate([[-np.inf], CUTS, [np.inf]])
    given = np.diff(ndtr((ends[None, :] - nodes[:, None]) / 0.6), axis=1)
    return np.einsum("u,ui,uj->ij", weights / weights.sum(), given, given)


# ---------------------------------------------------------------------------------- quantities of many studies


def t_half(n_df: Any, spread: Any) -> Any:
    """Return half the length of a t interval of 95 %."""
    from scipy.special import stdtrit

    return stdtrit(n_df, 0.975) * spread


def t_ends(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the Student t interval of the mean along the last axis; nan where all are equal."""
    n = x.shape[-1]
    sd = np.where(np.ptp(x, axis=-1) > 0, x.std(axis=-1, ddof=1), np.nan)
    half = t_half(n - 1, sd / np.sqrt(n))
    return x.mean(axis=-1) - half, x.mean(axis=-1) + half


def chi_ends(sd: np.ndarray, df: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return the chi-square interval of standard deviations."""
    from scipy.special import chdtri

    return sd * np.sqrt(df / chdtri(df, 0.025)), sd * np.sqrt(df / chdtri(df, 0.975))


def f_upper(df1: Any, df2: Any) -> Any:
    """Return the 97.5 % quantile of F."""
    from scipy.special import betaincinv

    share = betaincinv(np.asarray(df2) / 2, np.asarray(df1) / 2, 0.025)
    return df2 * (1 - share) / (df1 * share)


def fisher_ends(r: np.ndarray, variance: Any, df: float = np.inf) -> tuple[np.ndarray, np.ndarray]:
    """Return the interval of a correlation by Fisher's transformation, with the quantile of t."""
    half = t_half(df, np.sqrt(variance))
    return np.tanh(np.arctanh(r) - half), np.tanh(np.arctanh(r) + half)


def bounded_ends(d: np.ndarray, half: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return the intervals within -1 to 1 by the form of Feng & Cliff."""
    middle, below = d - d**3, 1 - d**2 + half**2
    away = half * np.sqrt((1 - d**2) ** 2 + half**2)
    return np.maximum((middle - away) / below, -1.0), np.minimum((middle + away) / below, 1.0)


def at_bound(d: np.ndarray, low: np.ndarray, high: np.ndarray, people: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return the intervals, those at a bound, -1 or 1, as one-sided ones of so many people."""
    inner, apart = (people - Z * Z) / (people + Z * Z), np.abs(d) > 1 - 1e-12
    low = np.where(apart, np.where(d > 0, inner, -1.0), low)
    return low, np.where(apart, np.where(d > 0, 1.0, -inner), high)


def wilson_ends(count: np.ndarray, n: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return Wilson intervals of shares."""
    root = Z * np.sqrt(Z * Z + 4 * count * (1 - count / n))
    low, high = ((2 * count + Z * Z + sign * root) / (2 * (n + Z * Z)) for sign in (-1, 1))
    return np.where(count == 0, 0.0, low), np.where(count == n, 1.0, high)


def correlation(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return correlations along the last axis."""
    a, b = x - x.mean(axis=-1, keepdims=True), y - y.mean(axis=-1, keepdims=True)
    return np.asarray((a * b).sum(axis=-1) / np.sqrt((a * a).sum(axis=-1) * (b * b).sum(axis=-1)))


def ranks(x: np.ndarray) -> np.ndarray:
    """Return mid-ranks along the last axis."""
    below = (x[..., None, :] < x[..., :, None]).sum(axis=-1)
    return np.asarray(below + ((x[..., None, :] == x[..., :, None]).sum(axis=-1) + 1) / 2)


def _z() -> float:
    from scipy.special import ndtri

    return float(ndtri(0.975))


Z = _z()
