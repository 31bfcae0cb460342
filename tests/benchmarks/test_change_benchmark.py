"""Time of the statistics of change beside the general libraries, as a ratio of the same run.

Run with ``pytest tests/benchmarks --benchmark-only``. The best of several rounds is compared, so that what else the
machine does enters both alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from outcomes.change import sign_flip_test
from outcomes.intervals import bca_interval, participant_slope

RNG = np.random.default_rng(1)
FORTY = RNG.normal(0.4, 1, size=40)
TWENTY = RNG.normal(0.4, 1, size=20)
WHO = np.repeat(np.arange(40), 6)
WHEN = np.tile(np.arange(6.0), 40)
GIRTH = 50 + 0.2 * WHEN + RNG.normal(size=240) + np.repeat(RNG.normal(size=40), 6)


def shortest(call: Callable[[], Any], rounds: int) -> float:
    """Return the time of the fastest of several rounds, in s."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def ratio(benchmark: Any, theirs: Callable[[], Any], ours: Callable[[], Any], rounds: tuple[int, int]) -> float:
    """Return how many times longer theirs takes, and note it."""
    ours()
    mine = benchmark.pedantic(shortest, (ours, rounds[1]), rounds=1)
    found = shortest(theirs, rounds[0]) / mine
    benchmark.extra_info["ratio"] = round(found, 2)
    return found


def test_bca_of_a_mean_change_is_no_slower_than_scipy_vectorised(benchmark: Any) -> None:
    def ours() -> Any:
        return bca_interval([FORTY], lambda v: v.mean(axis=-1), rng=np.random.default_rng(1)).interval

    def theirs() -> Any:
        rng = np.random.default_rng(1)
        return stats.bootstrap((FORTY,), np.mean, n_resamples=10_000, vectorized=True, rng=rng).confidence_interval

    assert (ours().low, ours().high) == pytest.approx((theirs().low, theirs().high), abs=0.03)
    assert ratio(benchmark, theirs, ours, (15, 15)) >= 1


def test_exact_sign_flips_of_twenty_reals_take_a_thousandth_of_scipy_exact(benchmark: Any) -> None:
    def ours() -> float:
        return sign_flip_test(TWENTY).test.p

    def theirs() -> float:
        options: dict[str, Any] = {"permutation_type": "samples", "n_resamples": np.inf, "vectorized": True}
        return float(stats.permutation_test((TWENTY,), lambda x, axis: x.sum(axis=axis), **options).pvalue)

    found: list[float] = []
    assert ratio(benchmark, lambda: found.append(theirs()), ours, (1, 20)) >= 1000
    assert ours() == pytest.approx(found[0])


def test_a_slope_over_participants_takes_a_hundredth_of_joining_frames(benchmark: Any) -> None:
    draws = 1000
    parts = dict(list(pd.DataFrame({"when": WHEN, "girth": GIRTH}).groupby(WHO)))

    def ours() -> Any:
        return participant_slope(WHO, WHEN, GIRTH, resamples=draws, rng=np.random.default_rng(1)).interval

    def theirs() -> Any:
        rng, slopes = np.random.default_rng(1), []
        for _ in range(draws):
            drawn = pd.concat([parts[person] for person in rng.integers(0, 40, 40)])
            slopes.append(np.polyfit(drawn["when"], drawn["girth"], 1)[0])
        return np.quantile(slopes, [0.025, 0.975])

    low, high = theirs()
    assert (ours().low, ours().high) == pytest.approx((low, high), abs=0.03)
    assert ratio(benchmark, theirs, ours, (1, 10)) >= 100
