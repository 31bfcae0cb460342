"""Random numbers: a stream of its own for every person and purpose, and the few distributions that are drawn from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeVar

from synthetic_cohort.parameters import section, shares

if TYPE_CHECKING:
    from numpy.random import Generator

T = TypeVar("T")

PERSON, ATTENDANCE, SESSIONS, VISITS, ANSWERS, REPEATS, HAPPENINGS, RATERS, FAULTS, STEPS = range(10)
WELLBEING, BATTERY, BATTERY_REPEATS, GROUPS, RATINGS = range(10, 15)
STIMULATION, TRACES = range(20, 22)
"""Purposes: what one stream is used for, so that a change in one leaves the others as they were."""

COHORT = 0
"""Number of the streams that belong to no person; people count from 1."""

TRIES = 1000


def stream(seed: int, *key: int) -> Generator:
    """Return the random numbers of one key: person, purpose and, after the first, the candidate for that place.

    Notes
    -----
    PCG64 seeded by SeedSequence with that spawn key: more people leave the earlier ones as they are.
    """
    import numpy as np

    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


def between(rng: Generator, mean: float, sd: float, low: float, high: float) -> float:
    """Return a normal number, drawn again until it lies between `low` and `high`."""
    for _ in range(TRIES):
        value = float(rng.normal(mean, sd))
        if low <= value <= high:
            return value
    return float(rng.uniform(low, high))


def drawn(rng: Generator, path: str) -> float:
    """Return a number from a table with mean, sd, low and high, or with median, sigma, low and high (lognormal)."""
    table = section(path)
    low, high = float(table["low"]), float(table["high"])
    if "median" in table:
        center, spread = math.log(table["median"]), float(table["sigma"])
        return math.exp(between(rng, center, spread, math.log(low), math.log(high)))
    return between(rng, float(table["mean"]), float(table["sd"]), low, high)


def one_of(rng: Generator, words: Sequence[T], chances: Sequence[float]) -> T:
    """Return one of `words`, each with its chance."""
    point = float(rng.random()) * sum(chances)
    for word, chance in zip(words, chances, strict=True):
        point -= chance
        if point < 0:
            return word
    return words[-1]


def word(rng: Generator, path: str) -> str:
    """Return a word from a table of shares."""
    return one_of(rng, *shares(path))


def happens(rng: Generator, chance: float) -> bool:
    """Return whether something of this chance happens."""
    return float(rng.random()) < chance
