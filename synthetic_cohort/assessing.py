"""The assessments and repeats of one person."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from synthetic_cohort.answers import MEASURES, OFFSETS, Moment, Steps, scim3, scim3_steps
from synthetic_cohort.battery import BATTERY_OFFSETS, battery_rows
from synthetic_cohort.draws import ANSWERS, BATTERY, BATTERY_REPEATS, RATINGS, REPEATS, STEPS, happens
from synthetic_cohort.parameters import number, section
from synthetic_cohort.people import MUSCLES, SIDES
from synthetic_cohort.tables import DAY, Row, moment_text
from synthetic_cohort.wellbeing import Wellbeing, draw_wellbeing

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.courses import Course
    from synthetic_cohort.plan import Plan
    from synthetic_cohort.visits import Held

Biases = dict[str, tuple[float, ...]]

OCCASIONS = ("test_1", "test_2")
REPEATED = ("limb_girth", "mas", "scim3", "tenmwt", "swls")
BATTERY_REPEATED = ("fss",)
RATING = "grc"
RATING_OFFSET = 90
"""Minutes after the beginning of a visit at which people rate their change."""
REST_HOURS = 20
"""Hours without training before a repeat test."""


@dataclass(frozen=True)
class _Sitting:
    """What does not change from one sitting of a person to the next."""

    course: Course
    biases: Biases
    steps: Steps
    well: Wellbeing

    def rows(
        self, start: int, rater: int, measures: Iterable[str], rng: Generator, further: Iterable[str], aside: Generator
    ) -> list[Row]:
        """Return the answers of one sitting, each with measure, time and rater; `further` ones draw from `aside`."""
        rows = []
        for measure in measures:
            at = self._moment(start + OFFSETS[measure], rater, rng)
            rows += self._stamped(measure, at, rater, self._answers(measure, at))
        for measure in further:
            at = self._moment(start + BATTERY_OFFSETS[measure], rater, aside)
            rows += self._stamped(measure, at, rater, battery_rows(measure, self.course, self.well, at))
        return rows

    def rated(self, start: int, rater: int, rng: Generator) -> list[Row]:
        """Return the person's own rating of change since the first visit, from -7 to 7: it follows girth, loosely."""
        table, at = section("rating"), self._moment(start + RATING_OFFSET, rater, rng)
        grown = [self.course.girth_cm("mid_thigh", side, at.minute) - self.course.girth_cm("mid_thigh", side, 0)
                 for side in SIDES]  # fmt: skip
        felt = table["per_cm"] * sum(grown) / len(grown) + float(rng.normal(0, table["person_sd"]))
        rating = min(max(round(felt), -table["most"]), table["most"])
        return self._stamped(RATING, at, rater, [{"item": "rating", "response": str(rating)}])

    def _moment(self, minute: int, rater: int, rng: Generator) -> Moment:
        return Moment(minute, self.biases["girth_cm"][rater], self.biases["mas"][rater], rng)

    def _answers(self, measure: str, at: Moment) -> list[Row]:
        if measure == "scim3":
            return scim3(self.course, at, self.steps)
        return MEASURES[measure](self.course, at)

    def _stamped(self, measure: str, at: Moment, rater: int, rows: list[Row]) -> list[Row]:
        common = {
            "measure": measure,
            "assessed_at": moment_text(self.course.person.enrolled, at.minute),
            "rater": section("raters")["names"][rater],
        }
        return [common | row for row in rows]


def _sitting(course: Course, biases: Biases) -> _Sitting:
    person, options = course.person, course.options
    steps = scim3_steps(options.stream(person.number, STEPS))
    return _Sitting(course, biases, steps, draw_wellbeing(person, options))


def assess(course: Course, held: list[Held], plan: Plan, biases: Biases) -> list[Row]:
    """Return the rows of the assessments table."""
    rng, aside = (course.options.stream(course.person.number, purpose) for purpose in (ANSWERS, BATTERY))
    felt = course.options.stream(course.person.number, RATINGS)
    sitting = _sitting(course, biases)
    rows = []
    for visit in held:
        found = sitting.rows(visit.start, visit.rater, OFFSETS, rng, BATTERY_OFFSETS, aside)
        if visit.missed:
            continue
        key = {"participant_id": course.person.participant_id, "visit": visit.key}
        if visit.key in plan.measured.get(RATING, ()):
            found += sitting.rated(visit.start, visit.rater, felt)
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
    return measure_twice(course, biases) if is_repeated(course.person.number) else []


def measure_twice(course: Course, biases: Biases) -> list[Row]:
    """Return the rows of two sittings of one person within a week, by the same rater or by two."""
    person = course.person
    sitting = _sitting(course, biases)
    rng, aside = (course.options.stream(person.number, purpose) for purpose in (REPEATS, BATTERY_REPEATS))
    first = 2 * 60 + person.usual_clock
    other = happens(rng, number("raters.changed_share"))
    raters = (person.home_rater, (person.home_rater + (1 + int(rng.integers(2)) if other else 0)) % 3)
    rows = []
    for occasion, start, rater in zip(OCCASIONS, (first, _second(course, first)), raters, strict=True):
        found = sitting.rows(start, rater, REPEATED, rng, BATTERY_REPEATED, aside)
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
