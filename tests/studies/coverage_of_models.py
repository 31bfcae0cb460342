"""Studies of the intervals of imputed tables."""

from __future__ import annotations

from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import NEAR_AND_FAR, Data
from coverage_registry import interval

TABLES, LOST, RISE = 5, 0.3, 0.5


def imputed(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return mean and its variance in five imputed tables: changes of mean 0.5, three in ten lost at random."""
    known = n - round(LOST * n)
    x = data.noise(rng, (size, known), shape) + RISE
    # proper imputation by the normal model: variance and mean drawn from their posterior, then the lost values
    variance = x.var(axis=-1, ddof=1)[:, None] * (known - 1) / rng.chisquare(known - 1, size=(size, TABLES))
    mean = x.mean(axis=-1)[:, None] + np.sqrt(variance / known) * rng.normal(size=(size, TABLES))
    drawn = mean[..., None] + np.sqrt(variance)[..., None] * rng.normal(size=(size, TABLES, n - known))
    whole = np.concatenate([np.broadcast_to(x[:, None, :], (size, TABLES, known)), drawn], axis=-1)
    return whole.mean(axis=-1), whole.var(axis=-1, ddof=1) / n, np.full(size, n)


def _pooled(q: np.ndarray, u: np.ndarray, n: int, rng: Any) -> Any:
    from outcomes.models import pool_imputations

    return pool_imputations(q, u, unit="cm", n_people=int(n), complete_df=float(n) - 1).estimate.interval


def _pooled_ends(q: np.ndarray, u: np.ndarray, n: np.ndarray) -> Any:
    extra, within, v = (1 + 1 / TABLES) * q.var(axis=-1, ddof=1), u.mean(axis=-1), n - 1.0
    share = extra / (within + extra)
    df = 1 / (share**2 / (TABLES - 1) + 1 / (v * (v + 1) / (v + 3) * (1 - share)))
    half = data.t_half(df, np.sqrt(within + extra))
    return q.mean(axis=-1) - half, q.mean(axis=-1) + half


interval(
    "t with Barnard-Rubin df, mean of imputed tables", "pooled_imputations", shapes=NEAR_AND_FAR, draw=imputed,
    truth=lambda shape: RISE, one=_pooled, many=_pooled_ends,
)  # fmt: skip
