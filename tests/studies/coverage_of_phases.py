"""Study of the interval of the non-overlap of two phases, n independent values in each."""

from __future__ import annotations

import math
from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import Data
from coverage_registry import interval

APART = 1.0


def phases(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return both phases: normal and 1 apart, or grades of such values."""
    first, second = rng.normal(size=(size, n)), rng.normal(size=(size, n)) + APART
    return (
        (np.searchsorted(data.CUTS, first), np.searchsorted(data.CUTS, second))
        if shape == "ordinal"
        else (first, second)
    )


def overlap(shape: str) -> float:
    """Return the true share of pairs in which the second phase is higher, ties counting a half."""
    from scipy.special import ndtr

    if shape == "normal":
        return float(ndtr(APART / math.sqrt(2)))
    ends = np.concatenate([[-np.inf], data.CUTS, [np.inf]])
    first, second = np.diff(ndtr(ends)), np.diff(ndtr(ends - APART))
    joint = np.outer(first, second)
    return float(np.triu(joint, 1).sum() + np.trace(joint) / 2)


def _overlap(a: np.ndarray, b: np.ndarray, rng: Any) -> Any:
    from outcomes.single_case import phase_overlap

    return phase_overlap(a, b, better="higher").nap.interval


def _overlap_ends(a: np.ndarray, b: np.ndarray) -> Any:
    n = a.shape[-1]
    share = (np.sign(b[:, :, None] - a[:, None, :]) + 1).mean(axis=(-2, -1)) / 2
    return _low(share, n), 1 - _low(1 - share, n)


def _low(share: np.ndarray, n: int) -> np.ndarray:
    """Return the lower end by halving, for all studies at once."""
    low, high = np.zeros_like(share), np.minimum(share, 1 - 1e-12)
    for _ in range(60):
        x = (low + high) / 2
        spread = x * (1 - x) * (1 + (n - 1) * ((1 - x) / (2 - x) + x / (1 + x))) / n**2
        outside = (share - x) ** 2 > data.Z**2 * spread
        low, high = np.where(outside, x, low), np.where(outside, high, x)
    return low


interval(
    "Newcombe method 5, non-overlap of all pairs", "nap", "phase_tau", shapes=("normal", "ordinal"), draw=phases,
    groups=2, truth=overlap, one=_overlap, many=_overlap_ends,
)  # fmt: skip
