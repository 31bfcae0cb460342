"""Studies of the intervals of imputed tables and of the marginal model."""

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


# --------------------------------------------------------------------------------------------------- marginal model

VISITS, LIKENESS, ODDS = 4, 0.3, 1.0


def visited(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return four values of n people, every other one trained: normal and 0.5 higher, or yes and no.

    Values of one person correlate by 0.3 ("yes or no": the normal values behind them); every eighth row is lost.
    """
    trained = np.tile([1.0, 0.0], n)[:n]
    own = np.sqrt(LIKENESS) * rng.normal(size=(size, n, 1))
    value = own + np.sqrt(1 - LIKENESS) * rng.normal(size=(size, n, VISITS))
    if shape == "yes or no":
        return ((value < np.where(trained, _threshold(ODDS), 0.0)[:, None]).astype(float),)
    return (value + RISE * trained[:, None],)


def _threshold(odds: float) -> float:
    """Return the normal quantile of the share whose log odds are `odds`."""
    from scipy.special import expit, ndtri

    return float(ndtri(expit(odds)))


def _marginal(sandwich: str) -> Any:
    def one(value: np.ndarray, rng: Any) -> Any:
        from outcomes.models import marginal_model

        n = len(value)
        who, when = np.repeat(np.arange(n), VISITS), np.tile(np.arange(VISITS), n)
        columns = np.column_stack([np.ones(n * VISITS), 1.0 - who % 2])
        kept = np.arange(n * VISITS) % 8 != 7
        binary = set(np.unique(value)) <= {0.0, 1.0}
        found = marginal_model(
            value.ravel()[kept], columns[kept], who[kept], when[kept].tolist(), names=["start", "trained"],
            family="binary" if binary else "normal", sandwich=sandwich,  # type: ignore[arg-type]
        )  # fmt: skip
        return found.terms[1].estimate.interval

    return one


for _sandwich in ("cr0", "cr1", "cr2", "cr3"):
    interval(
        f"marginal model, {_sandwich.upper()}", f"marginal_term_{_sandwich}", shapes=("normal", "yes or no"),
        draw=visited, truth=lambda shape: ODDS if shape == "yes or no" else RISE, one=_marginal(_sandwich),
        replicates=1_000, why="each replicate fits a marginal model", largest=60,
    )  # fmt: skip
