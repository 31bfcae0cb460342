"""Time of the statistics beside the general libraries, which give the same values in the same run.

Run with ``pytest tests/benchmarks --benchmark-only --benchmark-group-by=group``.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from outcomes.change import sign_flip_test
from outcomes.dose_response import between_person_association
from outcomes.intervals import bca_interval
from outcomes.reliability import intraclass_correlations, mean_squares, participant_bootstrap

RNG = np.random.default_rng(1)
SCORES = 50 + 4 * RNG.normal(size=(30, 1)) + 2 * RNG.normal(size=(30, 2))
LONG = pd.DataFrame({"person": np.repeat(range(30), 2), "occasion": np.tile([1, 2], 30), "score": SCORES.ravel()})
CHANGES = RNG.normal(0.4, 1, size=20)
GRID = np.round(RNG.normal(0.4, 1, size=200), 1)


def pingouin_icc() -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)
        import pingouin

        found = pingouin.intraclass_corr(LONG, targets="person", raters="occasion", ratings="score")
    return float(found.set_index("Type").loc["ICC(A,1)", "ICC"])


@pytest.mark.benchmark(group="six intraclass correlations with intervals, 30 x 2")
@pytest.mark.parametrize("who", ["outcomes", "pingouin"])
def test_intraclass_correlations(benchmark: Any, who: str) -> None:
    ours = lambda: intraclass_correlations(SCORES).icc_a_1.value  # noqa: E731
    assert benchmark(ours if who == "outcomes" else pingouin_icc) == pytest.approx(ours())


@pytest.mark.benchmark(group="analysis of variance of 1000 resamples, 30 x 2")
def test_resampled_mean_squares(benchmark: Any) -> None:
    stack = SCORES[RNG.integers(0, 30, (1000, 30))]
    found = benchmark(mean_squares, stack)
    assert float(found.error[0]) == pytest.approx(float(mean_squares(stack[0]).error))


@pytest.mark.benchmark(group="exact sign flips of 20 reals")
@pytest.mark.parametrize("who", ["outcomes", "scipy"])
def test_sign_flips(benchmark: Any, who: str) -> None:
    def theirs() -> float:
        options: dict[str, Any] = {"permutation_type": "samples", "n_resamples": np.inf, "vectorized": True}
        return float(stats.permutation_test((CHANGES,), lambda x, axis: x.sum(axis=axis), **options).pvalue)

    def ours() -> float:
        return sign_flip_test(CHANGES).test.p

    rounds = 20 if who == "outcomes" else 1
    assert benchmark.pedantic(ours if who == "outcomes" else theirs, rounds=rounds) == pytest.approx(ours())


@pytest.mark.benchmark(group="exact sign flips of 200 changes on a grid")
def test_sign_flips_of_many(benchmark: Any) -> None:
    assert benchmark(sign_flip_test, GRID).test.exact


@pytest.mark.benchmark(group="BCa of a mean change, 24 people, 10,000 resamples")
@pytest.mark.parametrize("who", ["outcomes", "scipy vectorised", "drawing the indices"])
def test_bca(benchmark: Any, who: str) -> None:
    x = RNG.normal(0.4, 1, size=24)

    def ours() -> float:
        return bca_interval([x], lambda v: v.mean(axis=-1), rng=np.random.default_rng(1)).interval.low

    def theirs() -> float:
        found = stats.bootstrap((x,), np.mean, n_resamples=10_000, vectorized=True, rng=np.random.default_rng(1))
        return float(found.confidence_interval.low)

    def drawing() -> float:
        np.random.default_rng(1).integers(0, 24, (10_000, 24))
        return ours_once

    ours_once = ours()
    call = {"outcomes": ours, "scipy vectorised": theirs, "drawing the indices": drawing}[who]
    assert benchmark(call) == pytest.approx(ours_once, abs=0.05)


@pytest.mark.benchmark(group="association of dose and change, 48 people, 2 x 9,999 permutations")
def test_association(benchmark: Any) -> None:
    dose, baseline = RNG.normal(600, 100, size=48), RNG.normal(50, 4, size=48)
    change = 0.01 * dose + RNG.normal(size=48)

    def ours() -> float:
        options: dict[str, Any] = {"dose_unit": "min", "per": 600.0, "outcome_unit": "cm"}
        return between_person_association(dose, change, baseline, rng=np.random.default_rng(1), **options).slope.value

    assert benchmark(ours) == pytest.approx(6, abs=3)


def seconds(call: Any, rounds: int) -> float:
    """Best time of one call, over some rounds."""
    import time

    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


@pytest.mark.benchmark(group="bootstrap of an intraclass correlation, 30 x 2, 1,000 resamples")
def test_bootstrapped_intraclass_correlation(benchmark: Any) -> None:
    def ours() -> float:
        options: dict[str, Any] = {"resamples": 1_000, "rng": np.random.default_rng(1)}
        return participant_bootstrap(SCORES, "icc_a_1", **options).value

    assert benchmark(ours) == pytest.approx(pingouin_icc())
    assert 1_000 * seconds(pingouin_icc, 5) / seconds(ours, 20) >= 1_000


@pytest.mark.benchmark(group="six intraclass correlations with intervals, 30 x 2")
def test_intraclass_correlations_are_15_times_as_fast(benchmark: Any) -> None:
    ours = lambda: intraclass_correlations(SCORES).icc_a_1.value  # noqa: E731
    assert benchmark(ours) == pytest.approx(pingouin_icc())
    assert seconds(pingouin_icc, 10) >= 15 * seconds(ours, 50)
