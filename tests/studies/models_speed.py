"""Time of a random slope of 200 people at six visits beside lme4 and lmerTest, in turns on one machine.

Run: ``python tests/studies/models_speed.py [--rounds 5]`` with R, lme4 and lmerTest installed; writes
``models_speed.csv`` beside this file. In each round ours and R's are timed one after the other (processor
time, the shortest of several runs); the ratios of the rounds are kept. lme4 fits by REML alone; lmerTest's summary
adds Satterthwaite.
"""

from __future__ import annotations

import argparse
import csv
import platform
import subprocess
import tempfile
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np

from outcomes.models import mixed_model
from outcomes.models.design import checked_columns, prepare
from outcomes.models.fit import fit

OUT = Path(__file__).with_suffix(".csv")
COLUMNS = ("round", "what", "ours_ms", "theirs_ms", "ratio", "theirs")


def trial() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return outcome, fixed columns and person of the invented trial."""
    rng = np.random.default_rng(1)
    person, week = np.repeat(np.arange(200), 6), np.tile(np.arange(6.0), 200)
    own = rng.normal(size=(2, 200)) * [[3.0], [0.5]]
    y = 50 + own[0][person] + (0.4 + own[1][person]) * week + rng.normal(size=1200)
    return y, np.column_stack([np.ones(1200), week]), person


def shortest(call: Any, times: int = 12) -> float:
    """Return the shortest of several runs, in seconds of processor time."""
    taken = []
    for _ in range(times):
        start = process_time()
        call()
        taken.append(process_time() - start)
    return min(taken)


def main() -> None:
    """Write the table."""
    from rich.progress import track

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    y, fixed, person = trial()
    names = ["intercept", "week"]

    def alone() -> float:
        return fit(prepare(checked_columns(y, fixed, person, "week", names)), restricted=True).deviance

    def whole() -> float:
        return mixed_model(y, fixed, person, slope="week", names=names, unit="cm", df="satterthwaite").deviance

    alone(), whole()
    rows: list[tuple[Any, ...]] = []
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data.csv"
        table = np.column_stack([y, fixed[:, 1], person])
        np.savetxt(data, table, delimiter=",", header="y,week,person", comments="", fmt=("%.17g", "%g", "%d"))
        for number in track(range(options.rounds), "rounds"):
            ours = {"fit alone": shortest(alone), "with tests": shortest(whole)}
            script = Path(__file__).with_suffix(".R")
            said = subprocess.run(
                ["Rscript", str(script), str(data), "4"], check=True, capture_output=True, text=True
            ).stdout
            for what, line in zip(ours, said.splitlines(), strict=True):
                name, seconds, version = line.split(",")
                ratio = float(seconds) / ours[what]
                times = (round(1e3 * ours[what], 3), round(1e3 * float(seconds), 3), round(ratio, 2))
                rows.append((number + 1, what, *times, f"{name} {version}, Python {platform.python_version()}"))
    with OUT.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows)


if __name__ == "__main__":
    main()
