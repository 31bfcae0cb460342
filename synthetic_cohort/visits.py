"""When a person is measured, and by whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from synthetic_cohort.draws import COHORT, RATERS, VISITS, happens, one_of, stream
from synthetic_cohort.parameters import number, section
from synthetic_cohort.tables import DAY, Row, moment_text

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.people import Options, Person
    from synthetic_cohort.plan import Plan, Visit
    from synthetic_cohort.training import Training

REST_HOURS = 24
"""Hours without training before most visits."""

WHY_MISSED = {"illness": 0.4, "transport": 0.3, "holiday": 0.2, "staff": 0.1}
"""Reasons and their shares; assumed."""


@dataclass(frozen=True)
class Held:
    """One visit of one person.

    Parameters
    ----------
    start : int
        Minutes from the midnight of enrolment.
    rater : int
        Index of the rater.
    missed : str
        Reason, empty where the visit took place.
    """

    key: str
    start: int
    rater: int
    missed: str


def rater_biases(seed: int) -> dict[str, tuple[float, ...]]:
    """Return each rater's bias on girth (cm) and on tone (grades).

    Notes
    -----
    Drawn, then shifted and scaled to mean 0 and the stated standard deviation (divisor n - 1), so that three raters
    differ by what is stated whatever the seed.
    """
    import numpy as np

    rng = stream(seed, COHORT, RATERS)
    biases = {}
    for name, sd in (("girth_cm", number("girth_error_cm.rater_sd")), ("mas", number("mas_spread.rater_sd"))):
        drawn = rng.normal(size=len(section("raters")["names"]))
        scaled = (drawn - np.mean(drawn)) / np.std(drawn, ddof=1) * sd
        biases[name] = tuple(float(b) for b in scaled)
    return biases


def hold_visits(person: Person, plan: Plan, training: Training, options: Options) -> list[Held]:
    """Return a person's visits up to leaving; the first lies on the day of enrolment, before any session."""
    rng = options.stream(person.number, VISITS)
    held = []
    for visit in plan.visits:
        start, rater, missed = _one_visit(person, visit, training, rng)
        if training.left_day is None or start // DAY < training.left_day:
            held.append(Held(visit.key, start, rater, missed))
    return held


def _one_visit(person: Person, visit: Visit, training: Training, rng: Generator) -> tuple[int, int, str]:
    table = section("visit_times")
    clock = person.usual_clock + 15 * int(rng.integers(-3, 4))
    if happens(rng, table["shifted_share"]):
        clock += (1 if person.usual_clock < 13 * 60 else -1) * 60 * int(rng.integers(3, 5))
    shift = int(rng.integers(1, 3)) if happens(rng, table["other_day_share"]) else 0
    soon = happens(rng, table["after_session_share"])
    wait = int(rng.integers(4, 12)) * 15
    rater = _rater(person, rng)
    away = happens(rng, _missed_chance(person))
    why = one_of(rng, tuple(WHY_MISSED), tuple(WHY_MISSED.values()))
    if visit.when == "baseline":
        return clock, person.home_rater, ""
    start = (7 * visit.week + shift) * DAY + clock
    if not training.rested(start, REST_HOURS):
        start = 7 * visit.week * DAY + clock
    if soon and (after := _after_session(training, 7 * visit.week, wait)) is not None:
        start = after
    return start, rater, why if away else ""


def _rater(person: Person, rng: Generator) -> int:
    names = section("raters")["names"]
    other = (person.home_rater + 1 + int(rng.integers(len(names) - 1))) % len(names)
    return other if happens(rng, number("raters.changed_share")) else person.home_rater


def _missed_chance(person: Person) -> float:
    table = section("missing")
    return float(table["whole_visit"] * (table["cervical_ratio"] if person.cervical else 1.0))


def _after_session(training: Training, day: int, wait: int) -> int | None:
    """Return a moment soon after the first session of that week, if one took place by its third day."""
    for session in training.delivered:
        if day * DAY <= session.start < (day + 3) * DAY:
            return session.end + wait
    return None


def visit_rows(person: Person, held: list[Held]) -> list[Row]:
    """Return the rows of the visits table."""
    return [
        {
            "participant_id": person.participant_id,
            "visit": visit.key,
            "visited_at": "" if visit.missed else moment_text(person.enrolled, visit.start),
            "status": "missed" if visit.missed else "held",
            "reason": visit.missed,
        }
        for visit in held
    ]
