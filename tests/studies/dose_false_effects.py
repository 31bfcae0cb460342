"""How often an association of dose with change is found where dose does nothing.

Run: ``python tests/studies/dose_false_effects.py [--cohorts 1000] [--jobs 2]``; writes ``dose_false_effects.csv``
beside this file, with the processor time of a thousand cohorts. Invented cohorts of 12, 24 and 40 people, five
visits, dose without any effect: dealt out by chance; by the first value (measured, and held constant); by something
that was not measured.
"""

from __future__ import annotations

import argparse
import csv
import time as clock
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from outcomes.dose_response import (
    between_person_association,
    curve_shortlist,
    left_out_prediction,
    within_person_association,
)

OUT = Path(__file__).with_suffix(".csv")
PEOPLE = (12, 24, 40)
ORIGINS = ("chance", "first value", "not measured")
STATISTICS = ("raw", "given first value", "rank", "within", "curve over flat", "half dose given", "predicts better")
FIRST = 20
"""Cohorts of the first block, which the test of the table runs again."""
COLUMNS = ("people", "dose_by", "statistic", "cohorts", "found", "first_found", "processor_seconds")


def cohort(people: int, origin: str, number: int) -> dict[str, np.ndarray]:
    """Return one invented cohort; the first value falls back towards the mean, dose does nothing."""
    rng = np.random.default_rng(np.random.SeedSequence([2, people, ORIGINS.index(origin), number]))
    level, hidden = rng.normal(size=people), rng.normal(size=people)
    drift = 0.6 * hidden if origin == "not measured" else np.zeros(people)
    noise = 0.5 * rng.normal(size=(people, 5))
    values = level[:, None] + 0.1 * np.arange(5) + drift[:, None] * np.arange(5) / 4 + noise
    chosen = {"chance": rng.normal(size=people), "first value": values[:, 0], "not measured": hidden}[origin]
    rate = 90 * np.exp(0.4 * (0.8 * chosen + 0.6 * rng.normal(size=people)))
    weeks = rng.choice([0.0, 1.0], size=(people, 4), p=[0.3, 0.7]) * rate[:, None] * 4
    dose = np.concatenate([np.zeros((people, 1)), np.cumsum(weeks, axis=1)], axis=1)
    return {"values": values, "dose": dose}


def found_in(people: int, origin: str, number: int) -> np.ndarray:
    """Return what was found in one cohort, a truth value for each of `STATISTICS`."""
    made = cohort(people, origin, number)
    values, dose = made["values"], made["dose"]
    change, first, last = values[:, 4] - values[:, 0], values[:, 0], dose[:, 4]
    rng = np.random.default_rng(np.random.SeedSequence([3, people, number]))
    between = between_person_association(
        last, change, first, dose_unit="min", per=600.0, outcome_unit="cm", rng=rng, resamples=999
    )
    inside = within_person_association(
        np.repeat(np.arange(people), 5), np.tile(np.arange(5.0) * 4, people), dose.ravel(), values.ravel(),
        dose_unit="min", per=600.0, outcome_unit="cm",
    )  # fmt: skip
    shortlist = curve_shortlist(last, change, baseline=first, dose_unit="min", outcome_unit="cm")
    ends = between.raw_slope.interval
    assert ends is not None
    assert between.slope.test is not None
    assert between.rank is not None
    assert between.rank.test is not None
    return np.array(
        [
            not ends.low <= 0 <= ends.high,
            between.slope.test.p < 0.05,
            between.rank.test.p < 0.05,
            inside.within is not None and inside.within.test is not None and inside.within.test.p < 0.05,
            not shortlist.flat,
            shortlist.ed50 is not None,
            left_out_prediction(last, change, first, outcome_unit="cm").gain_of_dose.value > 0,
        ]
    )


def block(people: int, origin: str, first: int, last: int) -> np.ndarray:
    """Return how often each statistic was found in a run of cohorts."""
    return np.sum([found_in(people, origin, number) for number in range(first, last)], axis=0)


def processor_seconds(people: int, origin: str) -> float:
    """Return the processor time that a thousand cohorts take on one core, from the first forty of them."""
    begin = clock.process_time()
    block(people, origin, 0, 40)
    return (clock.process_time() - begin) * 25


def rows(cohorts: int, jobs: int) -> Iterator[dict[str, object]]:
    """Yield the rows of the table, with a progress bar."""
    from joblib import Parallel, delayed
    from rich.progress import Progress

    blocks = [(0, FIRST)] + [(at, min(at + 40, cohorts)) for at in range(FIRST, cohorts, 40)]
    with Progress() as progress, Parallel(n_jobs=jobs, return_as="generator") as parallel:
        bar = progress.add_task("cohorts", total=len(PEOPLE) * len(ORIGINS) * cohorts)
        for people in PEOPLE:
            for origin in ORIGINS:
                parts = []
                for (a, b), found in zip(
                    blocks, parallel(delayed(block)(people, origin, *ends) for ends in blocks), strict=True
                ):
                    parts.append(found)
                    progress.advance(bar, b - a)
                taken = processor_seconds(people, origin)
                for name, whole, once in zip(STATISTICS, sum(parts), parts[0], strict=True):
                    cells = (people, origin, name, cohorts, int(whole), int(once), round(taken, 1))
                    yield dict(zip(COLUMNS, cells, strict=True))


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cohorts", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    found = list(rows(options.cohorts, options.jobs))
    with OUT.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(found)


if __name__ == "__main__":
    main()
