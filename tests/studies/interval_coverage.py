"""How often each interval that a report prints holds the truth, and how often a test finds what is not there.

Run with ``python tests/studies/interval_coverage.py``: writes ``outcomes/coverage.csv`` beside what it
describes, with a progress bar, on two processes. ``--only NAME ...`` writes the rows of these intervals anew and leaves
the others.

The studies stand in the files ``coverage_of_*.py`` beside this one; `coverage_registry` says what one consists of. A
row counts in how many of its replicates the interval lay around the truth ("held"), wholly below it ("below"), wholly
above it ("above") or did not exist ("refused"); of a test, "above" counts findings. Replicates are drawn in blocks of
100 with a seed of their own that follows from the names of the row, so that one block can be drawn again alone and no
row depends on another.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterator, Sequence
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import coverage_of_changes
import coverage_of_doses
import coverage_of_groups
import coverage_of_models
import coverage_of_phases
import coverage_of_repeats
import numpy as np
from coverage_registry import STUDIES, outcomes_of

__all__ = ["STUDIES", "block", "cells", "coverage_of_changes", "coverage_of_doses", "coverage_of_groups",
           "coverage_of_models", "coverage_of_phases", "coverage_of_repeats", "read_table"]  # fmt: skip

TABLE = Path(__file__).parents[2] / "outcomes" / "coverage.csv"
SIZES = (8, 12, 24, 60)
BLOCK = 100
COMPARED = 3
"""Replicates of the first block of a row that the function of the package computes beside the faster form."""
SEED = 20261125
COLUMNS = ("interval", "methods", "kind", "shape", "groups", "n", "replicates", "refused", "held", "below", "above",
           "first_block", "fewer")  # fmt: skip
WORDS = ("held", "above", "refused", "below")
"""In the order of the numbers 0, 1, 2 and -1 that `outcomes_of` returns."""


def block(name: str, shape: str, n: int, number: int) -> dict[str, int]:
    """Return the counts of one block of replicates; the same counts whenever it is drawn."""
    words = [int.from_bytes(word.encode(), "little") for word in (name, shape)]
    rng = np.random.default_rng(np.random.SeedSequence([SEED, *words, n, number]))
    study = STUDIES[name]
    data = study.draw(rng, n, shape, BLOCK)
    found = outcomes_of(study, data, shape, rng, compared=COMPARED if number == 0 else 0)
    return {word: int(np.sum(found % 4 == code)) for code, word in enumerate(WORDS)}


def cells(only: Sequence[str] = ()) -> Iterator[tuple[str, str, int]]:
    """Yield every interval, shape and number of people."""
    for name, study in STUDIES.items():
        if not only or name in only:
            yield from (
                (name, shape, n) for shape in study.shapes for n in SIZES if study.smallest <= n <= study.largest
            )


def _job(job: tuple[str, str, int, int]) -> tuple[tuple[str, str, int, int], dict[str, int]]:
    return job, block(*job)


def study_rows(only: Sequence[str], processes: int) -> list[dict[str, Any]]:
    """Return the rows of the table, in the order of the registry."""
    jobs = [
        (*cell, number) for cell in cells(only) for number in range(STUDIES[cell[0]].replicates_of(cell[2]) // BLOCK)
    ]
    found: dict[tuple[str, str, int], dict[int, dict[str, int]]] = {}
    with Pool(processes) as pool:
        for done, (job, counts) in enumerate(pool.imap_unordered(_job, jobs, chunksize=1), start=1):
            found.setdefault(job[:3], {})[job[3]] = counts
            if done % 20 == 0 or done == len(jobs):
                bar = "#" * (40 * done // len(jobs))
                print(f"\r[{bar:<40}] {done} of {len(jobs)} blocks", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    rows = []
    for cell in cells(only):
        name, shape, n = cell
        study, blocks = STUDIES[name], found[cell]
        total = {word: sum(one[word] for one in blocks.values()) for word in WORDS}
        rows.append(
            {"interval": name, "methods": " ".join(study.methods), "kind": study.kind, "shape": shape,
             "groups": study.groups, "n": n, "replicates": sum(total.values()), **total,
             "first_block": blocks[0]["held"], "fewer": study.why_of(n)}
        )  # fmt: skip
    return rows


def read_table() -> list[dict[str, Any]]:
    """Return the committed table, numbers as numbers."""
    with TABLE.open(encoding="utf-8") as stream:
        return [{k: int(v) if v.isdecimal() else v for k, v in row.items()} for row in csv.DictReader(stream)]


def main() -> None:
    """Run the study and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME", help="write the rows of these intervals anew")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    if unknown := set(chosen.only) - set(STUDIES):
        parser.error(f"no interval {', '.join(sorted(unknown))}; there are {', '.join(STUDIES)}")
    rows = study_rows(chosen.only, chosen.processes)
    if chosen.only and TABLE.exists():
        old = {(r["interval"], r["shape"], r["n"]): r for r in read_table()}
        old |= {(r["interval"], r["shape"], r["n"]): r for r in rows}
        rows = [old[cell] for cell in cells() if cell in old]
    with TABLE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
