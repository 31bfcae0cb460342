"""What a person answers about pain, fatigue, bladder, bowel, daily life and quality of life; codes typed once more."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from synthetic_cohort.answers import Moment, answer, graded, reached
from synthetic_cohort.draws import happens
from synthetic_cohort.parameters import number, section
from synthetic_cohort.tables import Row, decimal
from synthetic_cohort.wellbeing import BARTHEL_CODES, Wellbeing

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.courses import Course

DIARY_DAYS = 3
FSS_ITEMS = tuple(f"fss_{n}" for n in range(1, 10))
QUALITY_ITEMS = ("general", "physical_health", "psychological_health", "social_life")

NBD_CODES: dict[str, tuple[tuple[str, ...], tuple[float, ...]]] = {
    "frequency": (("daily", "2-6/week", "<1/week"), (0.45, 0.5, 0.05)),
    "time": (("0-30 min", "31-60 min", ">60 min"), (0.55, 0.35, 0.1)),
    "uneasiness": (("no", "yes"), (0.7, 0.3)),
    "tablets": (("no", "yes"), (0.6, 0.4)),
    "drops": (("no", "yes"), (0.85, 0.15)),
    "digital": (("<1/week", ">=1/week"), (0.55, 0.45)),
    "incontinence": (("<1/month", "1-4/month", "1-6/week", "daily"), (0.65, 0.25, 0.08, 0.02)),
    "incontinence_drug": (("no", "yes"), (0.9, 0.1)),
    "flatus": (("no", "yes"), (0.6, 0.4)),
    "perianal_skin": (("no", "yes"), (0.8, 0.2)),
}
"""Words of every item, best first (NINDS Common Data Elements 134196), and their shares, which are assumed."""

Answers = dict[str, str]


def _code(value: float, low: int, high: int) -> str:
    return str(min(max(round(value), low), high))


def pain_nrs(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return average pain of the week, from 0 to 10."""
    error = float(at.rng.normal(0, number("battery.pain.occasion_sd")))
    return {"pain_average_7d": _code(well.at("pain", course, at.minute) + error, 0, 10)}


def fss(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return nine answers from 1 to 7."""
    table, rng = section("battery.fatigue"), at.rng
    level = well.at("fatigue", course, at.minute) + float(rng.normal(0, table["occasion_sd"]))
    noise = rng.normal(0, table["item_sd"], size=len(FSS_ITEMS))
    return {item: _code(level + float(e), 1, 7) for item, e in zip(FSS_ITEMS, noise, strict=True)}


def bladder(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return leaks and catheterisations a day, as the means of a diary."""
    leaks = int(at.rng.poisson(well.at("leaks", course, at.minute) * DIARY_DAYS))
    used = well.catheterisations * DIARY_DAYS
    counted = max(round(used + float(at.rng.normal())), DIARY_DAYS) if used else 0
    return {
        "leaks_per_day": decimal(leaks / DIARY_DAYS, 2),
        "catheterisations_per_day": decimal(counted / DIARY_DAYS, 2),
    }


def nbd(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return ten answers on bowel care, and the satisfaction with it from 0 to 10."""
    noise = at.rng.normal(size=len(NBD_CODES) + 1)
    answers = {}
    for (item, (words, shares)), e in zip(NBD_CODES.items(), noise[1:], strict=True):
        latent = math.sqrt(0.8) * well.bowel_burden + math.sqrt(0.2) * float(e)
        answers[item] = words[int(graded(latent, list(shares), 0))]
    satisfied = well.at("bowel", course, at.minute) + float(noise[0]) * number("battery.bowel.occasion_sd")
    return answers | {"satisfaction": _code(satisfied, 0, 10)}


def barthel(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return the points of ten items of daily life."""
    error = float(at.rng.normal(0, number("battery.independence.occasion_sd")))
    points = well.at("independence", course, at.minute) + error
    return {item: str(code) for item, code in reached(points, well.barthel_steps, BARTHEL_CODES).items()}


def qol_bds(course: Course, well: Wellbeing, at: Moment) -> Answers:
    """Return four answers from 0 to 10; only for people with a spinal cord injury."""
    table, rng = section("battery.quality"), at.rng
    level = course.life(at.minute) / 10 + float(rng.normal(0, table["occasion_sd"]))
    noise = rng.normal(0, table["item_sd"], size=len(QUALITY_ITEMS))
    found = {item: _code(level + float(e), 0, 10) for item, e in zip(QUALITY_ITEMS, noise, strict=True)}
    return found if course.person.region else {}


BATTERY: Mapping[str, Callable[[Course, Wellbeing, Moment], Answers]] = {
    "pain_nrs": pain_nrs,
    "fss": fss,
    "bladder": bladder,
    "nbd": nbd,
    "barthel": barthel,
    "qol_bds": qol_bds,
}

BATTERY_OFFSETS = {"pain_nrs": 75, "fss": 78, "bladder": 82, "nbd": 84, "barthel": 88, "qol_bds": 93}
"""Minutes after the beginning of a visit at which each measure is taken."""


def battery_rows(measure: str, course: Course, well: Wellbeing, at: Moment) -> list[Row]:
    """Return the answers to one measure, or the word that they were refused."""
    lost = _lost(at.rng)
    return [
        answer(item, "" if lost else text, absent="refused" if lost else "")
        for item, text in BATTERY[measure](course, well, at).items()
    ]


def _lost(rng: Generator) -> bool:
    return happens(rng, number("missing.battery"))
