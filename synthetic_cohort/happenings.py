"""Adverse events, changes of medicine and whatever else happens to a person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from synthetic_cohort.draws import HAPPENINGS, happens, one_of
from synthetic_cohort.parameters import number, section
from synthetic_cohort.tables import DAY, Row, day_text

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.people import Options, Person
    from synthetic_cohort.training import Training

DESCRIPTIONS = {
    "skin": "redness under a pad, gone the next day",
    "autonomic_dysreflexia": "pressure rose during cycling; session stopped",
    "hypotension": "dizzy after the transfer; rested",
    "haematoma": "bruise at the thigh after the transfer",
}
WHAT = {"illness": "infection, a week in bed", "chair": "new wheelchair", "therapy": "course of physiotherapy"}
RAISED = "antispastic medicine raised"


@dataclass(frozen=True)
class Happenings:
    """Rows of events and changes, and the day on which medicine was raised."""

    events: tuple[Row, ...]
    changes: tuple[Row, ...]
    medicine_day: int | None


def happen(person: Person, training: Training, options: Options) -> Happenings:
    """Return what happened to a person between enrolment and leaving."""
    rng = options.stream(person.number, HAPPENINGS)
    end = training.left_day or 7 * options.weeks
    medicine_day = int(rng.integers(14, max(7 * options.weeks - 14, 15)))
    raised = happens(rng, number("medicine_change.share")) and medicine_day < end
    changes = [_change(person, medicine_day, "medicine", RAISED)] if raised else []
    for kind, share in section("other_changes").items():
        day, happened = int(rng.integers(7, 7 * options.weeks)), happens(rng, share)
        if happened and day < end:
            changes.append(_change(person, day, kind, WHAT[kind]))
    events = [_event(person, rng, training, i + 1) for i in range(int(rng.poisson(number("events.per_person"))))]
    changes.sort(key=lambda row: row["changed_on"])
    return Happenings(tuple(events), tuple(changes), medicine_day if raised else None)


def _change(person: Person, day: int, kind: str, what: str) -> Row:
    return {
        "participant_id": person.participant_id,
        "changed_on": day_text(person.enrolled, day),
        "kind": kind,
        "what": what,
    }


def _event(person: Person, rng: Generator, training: Training, index: int) -> Row:
    """Return one adverse event on a day of training; dysreflexia only with a lesion at T6 or above."""
    kinds = {k: v for k, v in section("events").items() if k != "per_person"}
    if not person.at_risk_of_dysreflexia:
        kinds.pop("autonomic_dysreflexia")
    kind = one_of(rng, tuple(kinds), tuple(kinds.values()))
    spot, severity = float(rng.random()), one_of(rng, ("mild", "moderate"), (0.85, 0.15))
    related = one_of(rng, ("definite", "probable", "possible"), (0.4, 0.4, 0.2))
    days = [s.start // DAY for s in training.delivered] or [1]
    return {
        "participant_id": person.participant_id,
        "event_id": f"E{index}",
        "occurred_on": day_text(person.enrolled, days[int(spot * len(days))]),
        "kind": kind,
        "severity": severity,
        "relatedness": related,
        "outcome": "resolved",
        "description": DESCRIPTIONS[kind],
    }
