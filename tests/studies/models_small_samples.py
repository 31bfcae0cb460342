"""How often Satterthwaite and Kenward-Roger find what is not there, and how often their intervals hold the truth.

Run: ``python tests/studies/models_small_samples.py [--trials 2000] [--jobs 2]``; writes ``models_small_samples.csv``
beside this file. Invented trials: 8 to 60 people in two groups, five visits of which one in seven is missed, people's
slopes over time that are all the same, differ little or differ much. Looked at: the slope over time (within people) and
the difference of slopes between groups (between people), each with a true value that is not 0. A false finding rejects
that true value.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from outcomes.models import mixed_model

OUT = Path(__file__).with_suffix(".csv")
PEOPLE = (8, 12, 24, 60)
SLOPES = {"zero": 0.0, "small": 0.1, "large": 0.6}
"""Standard deviation of people's slopes, in units of the residual one, by visit."""
TRUTH = {"time": 0.3, "time_group": 0.2}
WAYS = ("satterthwaite", "kenward_roger")
FIRST = 40
"""Trials of the first block, which the test of the table runs again."""
COLUMNS = ("people", "slopes", "term", "df", "trials", "false", "held", "refused", "first_false", "first_held")


def trial(people: int, slopes: str, number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return outcome, fixed columns (intercept, time, group, time x group) and person of one invented trial."""
    rng = np.random.default_rng(np.random.SeedSequence([1, people, list(SLOPES).index(slopes), number]))
    person, time = np.repeat(np.arange(people), 5), np.tile(np.arange(5.0), people)
    group = (person % 2).astype(float)
    own = rng.normal(size=(2, people)) * [[1.5], [SLOPES[slopes]]]
    y = own[0][person] + own[1][person] * time + TRUTH["time"] * time + TRUTH["time_group"] * time * group
    y = y + rng.normal(size=len(y))
    seen = (time < 2) | (rng.uniform(size=len(y)) > 1 / 7)
    return y[seen], np.column_stack([np.ones(len(y)), time, group, time * group])[seen], person[seen]


def block(people: int, slopes: str, first: int, last: int) -> dict[tuple[str, str], np.ndarray]:
    """Return, by term and way, how many trials rejected the truth, held it, and were refused."""
    counts = {(term, way): np.zeros(3, dtype=int) for term in TRUTH for way in WAYS}
    for number in range(first, last):
        y, fixed, person = trial(people, slopes, number)
        names = ["intercept", "time", "group", "time_group"]
        model = mixed_model(y, fixed, person, slope="time", names=names, unit="1")
        for (term, way), count in counts.items():
            found = model.contrast({term: 1.0}, null=TRUTH[term], df=way).estimate
            assert found.interval is not None
            assert found.test is not None
            count += [found.test.p < 0.05, found.interval.low <= TRUTH[term] <= found.interval.high, 0]
    return counts


def rows(trials: int, jobs: int) -> Iterator[dict[str, object]]:
    """Yield the rows of the table, with a progress bar."""
    from joblib import Parallel, delayed
    from rich.progress import Progress

    blocks = [(0, FIRST)] + [(at, min(at + 120, trials)) for at in range(FIRST, trials, 120)]
    cells = [(people, slopes) for people in PEOPLE for slopes in SLOPES]
    tasks = [(*cell, *ends) for cell in cells for ends in blocks]
    with Progress() as progress:
        bar = progress.add_task("trials", total=len(cells) * trials)
        results = Parallel(n_jobs=jobs, return_as="generator")(delayed(block)(*task) for task in tasks)
        done: dict[tuple[int, str], list[dict[tuple[str, str], np.ndarray]]] = {}
        for (people, slopes, first, last), counts in zip(tasks, results, strict=True):
            done.setdefault((people, slopes), []).append(counts)
            progress.advance(bar, last - first)
    for (people, slopes), parts in done.items():
        for term, way in parts[0]:
            false, held, refused = sum(part[term, way] for part in parts)
            once = parts[0][term, way]
            yield dict(zip(COLUMNS, (people, slopes, term, way, trials, false, held, refused, *once[:2]), strict=True))


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    found = list(rows(options.trials, options.jobs))
    with OUT.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(found)


if __name__ == "__main__":
    main()
