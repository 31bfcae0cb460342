"""What was put into the cohort: for each person, for the cohort as a whole, and every planted fault."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from statistics import mean, stdev
from typing import TYPE_CHECKING, Any

from synthetic_cohort.parameters import parameters
from synthetic_cohort.people import GIRTH_PLACES, LIMBS, SIDES, TRAINED, WAITING
from synthetic_cohort.tables import DAY
from synthetic_cohort.visits import rater_biases
from synthetic_cohort.wellbeing import BOUNDS, draw_wellbeing

if TYPE_CHECKING:
    from synthetic_cohort.courses import Course
    from synthetic_cohort.people import Options
    from synthetic_cohort.plan import Plan
    from synthetic_cohort.sheets import Fault
    from synthetic_cohort.stimulating import Recording
    from synthetic_cohort.visits import Held

DIGITS = 6
"""Decimals of the truth file: far beyond any tape, and the same on every machine."""


@dataclass(frozen=True)
class Member:
    """One person with everything that happened."""

    course: Course
    held: tuple[Held, ...]
    charge_c: float
    recordings: tuple[Recording, ...]


def _planned_moment(plan: Plan, key: str, held: Sequence[Held], clock: int) -> int:
    """Return the moment of a visit, or the planned one where it did not take place."""
    for visit in held:
        if visit.key == key:
            return visit.start
    return next(v.week for v in plan.visits if v.key == key) * 7 * DAY + clock


def person_truth(member: Member, plan: Plan) -> dict[str, Any]:
    """Return the truth of one person: traits, dose, and true outcomes at every visit."""
    course, person = member.course, member.course.person
    sessions = course.training.sessions
    visits = {}
    for visit in plan.visits:
        if course.training.left_day is not None and visit.key not in {held.key for held in member.held}:
            continue
        minute = _planned_moment(plan, visit.key, member.held, person.usual_clock)
        visits[visit.key] = _true_values(course, minute)
    return {
        "participant_id": person.participant_id,
        **({"group": person.group} if person.group else {}),
        "left_day": course.training.left_day,
        "medicine_day": course.medicine_day,
        "pull": person.pull,
        "girth_percent_per_1000_minutes": person.girth_percent,
        "tone_per_20_sessions": person.tone_per_20,
        "walks": person.walks,
        "power_start_w": person.power_w,
        "power_gain": person.power_gain,
        "decay": {"floor": person.decay_floor, "tau_s": person.decay_tau_s},
        "planned_sessions": len(sessions),
        "not_recorded_sessions": sum(not s.recorded for s in sessions),
        "delivered_sessions": len(course.training.delivered),
        "planned_active_minutes": math.fsum(s.planned_minutes for s in sessions),
        "delivered_active_minutes": math.fsum(s.active_minutes for s in sessions),
        "delivered_work_kj": math.fsum(s.work_kj for s in sessions),
        "charge_stimulating_phase_c": member.charge_c,
        "traces": [recording.truth() for recording in member.recordings],
        "visits": visits,
    }


def _true_values(course: Course, minute: int) -> dict[str, Any]:
    """Return every true value at a moment; those of measures that a person does not take are absent."""
    before = course.training.until(minute)
    hours = course.training.hours_since_start(minute)
    values: dict[str, Any] = {
        "day": minute // DAY,
        "delivered_sessions": len(before),
        "delivered_active_minutes": math.fsum(s.active_minutes for s in before),
        "delivered_work_kj": math.fsum(s.work_kj for s in before),
        "hours_since_last_session": None if math.isinf(hours) else hours,
        "tone": {f"{muscle}.{side}": course.lasting_tone(muscle, side, minute) for muscle, side in LIMBS},
        "swls": course.life(minute),
    }
    for place in GIRTH_PLACES:
        sides = {side: course.girth_cm(place, side, minute) for side in SIDES}
        values[f"{place}_cm"] = sides | {"mean": sum(sides.values()) / len(sides)}
    well = draw_wellbeing(course.person, course.options)
    values |= {name: well.at(name, course, minute) for name in BOUNDS}
    if course.person.region:
        values["scim3"] = course.scim3(minute)
    if course.person.walks:
        values["gait_m_s"] = course.gait_m_s(minute)
    return values


def true_change(person: dict[str, Any], compare: tuple[str, str], place: str = "mid_thigh_cm") -> float | None:
    """Return a person's true girth change (mean of both sides, cm) between two visits; None beyond leaving."""
    first, last = (person["visits"].get(key) for key in compare)
    if first is None or last is None:
        return None
    return float(last[place]["mean"] - first[place]["mean"])


def cohort_truth(members: Sequence[Member], plan: Plan, options: Options, faults: Sequence[Fault]) -> str:
    """Return the truth file as JSON text."""
    people = [person_truth(member, plan) for member in members]
    changes = [change for person in people if (change := true_change(person, plan.compare)) is not None]
    content = {
        "synthetic": True,
        "options": {key: value for key, value in asdict(options).items() if key != "candidate"}
        | {"people": len(people)},
        "raters": {"bias": rater_biases(options.seed)},
        "cohort": {"compare": list(plan.compare), "mid_thigh_cm_change": _summary(changes)}
        | ({"groups": _groups(people, plan)} if options.wait_list else {}),
        "faults": [fault.as_dict() for fault in faults],
        "people": people,
        "parameters": parameters(),
    }
    return json.dumps(_rounded(content), indent=1, ensure_ascii=False, allow_nan=False, default=str) + "\n"


def _summary(changes: Sequence[float]) -> dict[str, Any]:
    return {
        "n": len(changes),
        "mean": mean(changes) if changes else None,
        "sd": stdev(changes) if len(changes) > 1 else None,
    }


def _groups(people: Sequence[dict[str, Any]], plan: Plan) -> dict[str, Any]:
    """Return the true girth change of each group, and the difference that a comparison should find."""
    changes: dict[str, list[float]] = {TRAINED: [], WAITING: []}
    for person in people:
        change = true_change(person, plan.compare)
        if change is not None:
            changes[person["group"]].append(change)
    means = [mean(found) if found else None for found in changes.values()]
    difference = None if means[0] is None or means[1] is None else means[0] - means[1]
    return {group: _summary(found) for group, found in changes.items()} | {"difference_cm": difference}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    return [_rounded(one) for one in value] if isinstance(value, list | tuple) else value
