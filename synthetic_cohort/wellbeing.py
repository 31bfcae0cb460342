"""How a person fares besides legs and walking: pain, fatigue, bladder, bowel, daily life, from a stream of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from synthetic_cohort.answers import Steps, steps_up
from synthetic_cohort.draws import WELLBEING, drawn
from synthetic_cohort.parameters import section

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.courses import Course
    from synthetic_cohort.people import Options, Person

BARTHEL_CODES: dict[str, tuple[int, ...]] = {
    "feeding": (0, 5, 10),
    "bathing": (0, 5),
    "grooming": (0, 5),
    "dressing": (0, 5, 10),
    "bowels": (0, 5, 10),
    "bladder": (0, 5, 10),
    "toilet_use": (0, 5, 10),
    "transfers": (0, 5, 10, 15),
    "mobility": (0, 5, 10, 15),
    "stairs": (0, 5, 10),
}
"""Points of every item (Mahoney & Barthel 1965)."""

BARTHEL_EASE = {"feeding": -0.2, "grooming": -0.1, "stairs": 0.3, "bathing": 0.15}
"""How much later (positive) or earlier an item's points come than those of the others; assumed."""

BOUNDS = {"pain": (0.0, 10.0), "fatigue": (1.0, 7.0), "leaks": (0.0, 50.0), "bowel": (0.0, 10.0)}
BOUNDS["independence"] = (0.0, 100.0)


@dataclass(frozen=True)
class Wellbeing:
    """What only the truth knows of one person.

    Parameters
    ----------
    level, gain : dict of str to float
        Before training, and what comes with the programme, by the names of ``[battery]``.
    catheterisations : float
        A day; 0 without a spinal cord injury.
    bowel_burden : float
        Standard normal; what makes bowel care long and uncertain.
    barthel_steps : list of (item, code, points gained)
        The person's own way up the scale of daily life.
    """

    level: dict[str, float]
    gain: dict[str, float]
    catheterisations: float
    bowel_burden: float
    barthel_steps: Steps

    def at(self, name: str, course: Course, minute: int) -> float:
        """Return a true value at a moment, within the bounds of its scale."""
        low, high = BOUNDS[name]
        start = self.level[name] if name in self.level else course.scim3(minute)
        return min(max(start + self.gain[name] * course.trained_share(minute), low), high)


def draw_wellbeing(person: Person, options: Options) -> Wellbeing:
    """Return how the person in a place of the cohort fares."""
    rng = options.stream(person.number, WELLBEING)
    level = {name: drawn(rng, f"battery.{name}") for name in BOUNDS}
    gain = {name: _gain(rng, name) for name in BOUNDS}
    catheterisations, injured = drawn(rng, "battery.catheterisations"), not math.isnan(person.scim3)
    if injured:
        level.pop("independence")
    return Wellbeing(
        level=level,
        gain=gain,
        catheterisations=catheterisations if injured else 0.0,
        bowel_burden=float(rng.normal()),
        barthel_steps=steps_up(rng, BARTHEL_CODES, BARTHEL_EASE),
    )


def _gain(rng: Generator, name: str) -> float:
    table = section(f"battery.{name}")
    return float(rng.normal(table["gain_mean"], table["gain_sd"]))
