"""Time of mixed models beside statsmodels, which gives the same optimum in the same run.

Run with ``pytest tests/benchmarks --benchmark-only --benchmark-group-by=group``.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.models import mixed_model

DATA = Path(__file__).parents[1] / "published" / "data"
SLEEP = pd.read_csv(DATA / "sleepstudy.csv")
RNG = np.random.default_rng(1)
PEOPLE, WEEK = np.repeat(np.arange(200), 6), np.tile(np.arange(6.0), 200)
OWN = RNG.normal(size=(2, 200)) * [[3.0], [0.5]]
OUTCOME = 50 + OWN[0][PEOPLE] + (0.4 + OWN[1][PEOPLE]) * WEEK + RNG.normal(size=1200)
FIXED = np.column_stack([np.ones(1200), WEEK])


def statsmodels_slope() -> float:
    from statsmodels.regression.mixed_linear_model import MixedLM

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(MixedLM(OUTCOME, FIXED, PEOPLE, exog_re=FIXED).fit(reml=True).bse[1])


def ours_slope() -> float:
    found = mixed_model(OUTCOME, FIXED, PEOPLE, slope="week", names=["intercept", "week"], unit="cm")
    return found.fixed_effect("week").standard_error


@pytest.mark.benchmark(group="random slope with Kenward-Roger, 200 people x 6")
@pytest.mark.parametrize("who", ["outcomes", "statsmodels (no small-sample part)"])
def test_random_slope_of_200_people(benchmark: Any, who: str) -> None:
    rounds = 20 if who == "outcomes" else 3
    found = benchmark.pedantic(ours_slope if who == "outcomes" else statsmodels_slope, rounds=rounds, warmup_rounds=1)
    assert found == pytest.approx(ours_slope(), rel=1e-3)


def test_a_random_slope_of_200_people_takes_a_thirtieth_of_the_time_of_statsmodels(benchmark: Any) -> None:
    from time import perf_counter

    def shortest(call: Any, times: int) -> float:
        taken = []
        for _ in range(times):
            start = perf_counter()
            call()
            taken.append(perf_counter() - start)
        return min(taken)

    ours_slope()
    ratio = shortest(statsmodels_slope, 3) / benchmark.pedantic(shortest, (ours_slope, 20), rounds=1)
    assert ratio >= 30


@pytest.mark.benchmark(group="sleepstudy with Kenward-Roger")
def test_sleepstudy_takes_less_than_20_ms(benchmark: Any) -> None:
    y, people = SLEEP["reaction_ms"].to_numpy(), SLEEP["participant"].to_numpy()
    fixed = np.column_stack([np.ones(180), SLEEP["day"]])

    def ours() -> float:
        return mixed_model(y, fixed, people, slope="day", names=["intercept", "day"], unit="ms").fixed_effects[1].df

    assert benchmark.pedantic(ours, rounds=30, warmup_rounds=2) == pytest.approx(17)
    assert benchmark.stats.stats.min < 0.020
