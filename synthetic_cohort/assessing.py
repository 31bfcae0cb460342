"""The assessments and repeats of one person."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from synthetic_cohort.answers import MEASURES, OFFSETS, Moment, scim3, scim3_steps
from synthetic_cohort.draws import ANSWERS, REPEATS, STEPS, happens
from synthetic_cohort.parameters import number, section
from synthetic_cohort.people import MUSCLES
from synthetic_cohort.tables import DAY, Row, moment_text

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.courses import Course
    from synthetic_cohort.plan import Plan
    from synthetic_cohort.visits import Held

Biases = dict[str, tuple[float, ...]]
Steps = list[tuple[str, int, int]]

OCCASIONS = ("test_1", "test_2")
REPEATED = ("limb_girth", "mas", "scim3", "tenmwt", "swls")
REST_HOURS = 20
"""Hours without training before a repeat test."""


def _steps(course: Course) -> Steps:
    return scim3_steps(course.options.stream(course.person.number, STEPS))


def _answers(measure: str, course: Course, at: Moment, steps: Steps) -> list[Row]:
    return scim3(course, at, steps) if measure == "scim3" else MEASURES[measure](course, at)


def _rows(
    course: Course, start: int, rater: int, biases: Biases, rng: Generator, measures: Iterable[str], steps: Steps
) -> list[Row]:
    """Return the answers of one sitting, each with measure, time and rater."""
    rows = []
    for measure in measures:
        minute = start + OFFSETS[measure]
        at = Moment(minute, biases["girth_cm"][rater], biases["mas"][rater], rng)
        common = {
            "measure": measure,
            "assessed_at": moment_text(course.person.enrolled, minute),
            "rater": section("raters")["names"][rater],
        }
        rows += [common | row for row in _answers(measure, course, at, steps)]
    return rows


def assess(course: Course, held: list[Held], plan: Plan, biases: Biases) -> list[Row]:
    """Return the rows of the assessments table."""
    rng, steps = course.options.stream(course.person.number, ANSWERS), _steps(course)
    rows = []
    for visit in held:
        found = _rows(course, visit.start, visit.rater, biases, rng, OFFSETS, steps)
        if visit.missed:
            continue
        key = {"participant_id": course.person.participant_id, "visit": visit.key}
        rows += [key | row for row in found if visit.key in plan.measured.get(row["measure"], ())]
    return rows


def worst_rank(rows: Iterable[Row]) -> int:
    """Return the rank of the worst grade of the knee extensors, -1 where there is none."""
    grades = section("mas")["grades"]
    ranks = [
        grades.index(row["response"])
        for row in rows
        if row["measure"] == "mas" and row["place"] == MUSCLES[0] and row["response"]
    ]
    return max(ranks, default=-1)


def let_in(rows: Iterable[Row], first_visit: str) -> bool:
    """Return whether a person's first grades meet the rule of entry."""
    needed = int(section("mas")["grades"].index(section("entry")["mas_at_least"]))
    return worst_rank(row for row in rows if row["visit"] == first_visit) >= needed


def is_repeated(which: int) -> bool:
    """Return whether a person is measured twice within a week: a fixed share, spread evenly over the cohort.

    Examples
    --------
    >>> sum(is_repeated(n) for n in range(1, 49))
    20
    """
    share = int(number("repeats.people_of_12"))
    return which * share % 12 < share


def repeat(course: Course, biases: Biases) -> list[Row]:
    """Return the rows of the repeats table: two sittings within a week, by the same rater or by two."""
    person = course.person
    if not is_repeated(person.number):
        return []
    steps = _steps(course)
    rng = course.options.stream(person.number, REPEATS)
    first = 2 * 60 + person.usual_clock
    other = happens(rng, number("raters.changed_share"))
    raters = (person.home_rater, (person.home_rater + (1 + int(rng.integers(2)) if other else 0)) % 3)
    rows = []
    for occasion, start, rater in zip(OCCASIONS, (first, _second(course, first)), raters, strict=True):
        found = _rows(course, start, rater, biases, rng, REPEATED, steps)
        key = {"participant_id": person.participant_id, "occasion": occasion}
        rows += [key | row for row in found if row["measure"] != "tenmwt" or person.walks]
    return rows


def _second(course: Course, first: int) -> int:
    """Return the first moment of the second half of the week at which the person is rested."""
    for day in (3, 4, 5, 6, 2, 7):
        start = day * DAY + first
        if course.training.rested(start, REST_HOURS):
            return start
    return 7 * DAY + first
