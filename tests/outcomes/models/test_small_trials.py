"""300 small unbalanced trials: the deviance is never above the best of five optimisers of lme4.

The trials come from a linear congruential generator, written once here and once in ``tests/published/r/models.R``; the
best deviances stand in ``tests/published/r/models_trials.csv``, whose first line names the programs.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from outcomes.models import MixedModel, mixed_model

ROWS = Path(__file__).parents[2] / "published" / "r" / "models_trials.csv"
with ROWS.open(encoding="utf-8") as stream:
    PROGRAMS, *LINES = stream.read().splitlines()
KEPT = list(csv.DictReader(LINES))


class Generator:
    """Uniforms of the minimal standard generator (Park & Miller 1988), and normals as sums of twelve."""

    def __init__(self, seed: int) -> None:
        self.state = seed
        for _ in range(10):
            self.uniform()

    def uniform(self) -> float:
        self.state = 16807 * self.state % 2147483647
        return self.state / 2147483647

    def normal(self) -> float:
        return sum((self.uniform() for _ in range(12)), 0.0) - 6


def trial(number: int) -> np.ndarray:
    """Return outcome, week, person and group, a row for each value."""
    draw = Generator(1000 + 7919 * number)
    between, slopes = (0, 1, 3)[number % 3], (0, 0.05, 0.3)[number // 3 % 3]
    rows = []
    for person in range(1, 5 + number % 9):
        intercept, slope = between * draw.normal(), slopes * draw.normal()
        for week in (0, 4, 8, 12, 16):
            y = math.floor((10 + intercept + (0.1 + slope) * week + draw.normal()) * 100 + 0.5) / 100
            if draw.uniform() > 0.3 or person <= 3 or week <= 4:
                rows.append((y, week, person, person % 2))
    return np.array(rows)


def fitted(number: int, method: str) -> MixedModel:
    y, week, person, group = trial(number).T
    columns = {"intercept": np.ones(len(y)), "week": week}
    if number % 4 >= 2:
        columns |= {"group": group, "week_group": week * group}
    return mixed_model(
        y, np.column_stack(list(columns.values())), person, slope="week", names=list(columns), unit="cm", method=method
    )


def test_the_trials_are_those_of_the_other_program() -> None:
    assert PROGRAMS.startswith("# best of five optimisers, R ")
    assert len(KEPT) == 300
    for row in KEPT:
        data = trial(int(row["trial"]))
        assert (len(data), f"{data[:, 0].sum():.2f}") == (int(row["values"]), row["sum_y"]), row["trial"]


@pytest.mark.parametrize("first", range(0, 300, 50))
def test_no_deviance_is_above_the_best_of_five_optimisers(first: int) -> None:
    worse = {}
    for row in KEPT[first : first + 50]:
        above = fitted(int(row["trial"]), row["method"]).deviance - float(row["deviance"])
        if above > 1e-6:
            worse[row["trial"]] = above
    assert worse == {}


def test_many_of_the_trials_have_a_variance_of_0_and_say_so() -> None:
    silent = [
        row["trial"] for row in KEPT if row["singular"] == "1" and not fitted(int(row["trial"]), row["method"]).boundary
    ]
    assert sum(row["singular"] == "1" for row in KEPT) > 100
    assert silent == []
