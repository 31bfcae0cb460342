"""Visits against the protocol: windows, order, and answers of a visit that was missed."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

from outcomes.intake.collector import Target
from outcomes.intake.days import FAR, Enrolment, Visits, all_visits
from outcomes.intake.drafts import Draft
from outcomes.intake.settling import Reader

if TYPE_CHECKING:
    from protocols.schema import VisitPlan

AnswerRows = Mapping[tuple[str, str], list[int]]
"""Rows of assessments by participant and visit."""


def check_visits(drafts: Mapping[str, Draft], reader: Reader, enrolment: Enrolment) -> None:
    """Ask about visits outside their window, out of order, missed and yet answered, or known to assessments only."""
    visits = all_visits(drafts, reader.protocol)
    planned = {visit.key: visit for visit in reader.protocol.visits}
    answers = _answers_by_visit(drafts)
    _windows(drafts, reader, enrolment, visits, planned, answers)
    _order(drafts, reader, enrolment, visits, planned, answers)
    if "visits" in drafts and "assessments" in drafts:
        _against_answers(drafts, reader, visits, answers)


def _answers_by_visit(drafts: Mapping[str, Draft]) -> AnswerRows:
    """Return the used rows of assessments by participant and visit."""
    import numpy as np

    rows: dict[tuple[str, str], list[int]] = {}
    if "assessments" in drafts:
        draft = drafts["assessments"]
        used = np.flatnonzero(draft.used)
        pairs = zip(draft.text["participant_id"][used].tolist(), draft.text["visit"][used].tolist(), strict=True)
        for pair, row in zip(pairs, used.tolist(), strict=True):
            rows.setdefault(pair, []).append(row)
    return rows


def _ask(
    drafts: Mapping[str, Draft],
    reader: Reader,
    visits: Visits,
    i: int,
    rule: str,
    expected: str,
    answers: AnswerRows,
    *,
    whole: bool = True,
) -> None:
    """Ask about one visit, at its day. The decision "set_aside" concerns its answers, and where the day is in doubt
    (`whole`) its row of the table visits too."""
    draft, row = drafts[visits.table[i]], int(visits.row[i])
    stem = "visited" if draft.name == "visits" else "assessed"
    column = next((form for form in (f"{stem}_at", f"{stem}_day") if form in draft.typed), "participant_id")
    place = draft.place(row, column)
    aside = answers.get((str(visits.participant[i]), str(visits.visit[i])), [])
    targets = [Target("assessments", tuple(aside), "participant_id")] if aside else []
    if whole and draft.name == "visits":
        targets.append(Target("visits", (row,), "participant_id"))
    reader.found.add(
        "ask",
        rule,
        expected,
        file=place.file,
        sheet=place.sheet,
        table=draft.name,
        row=place.row,
        column=place.heading,
        participant=draft.participant(row),
        found=draft.typed_text(row, column),
        targets=targets,
    )


def _when(enrolment: Enrolment, participant: str, day: float) -> str:
    """Return a day as a date where enrolment has one, else as a day since enrolment."""
    import numpy as np

    zero = int(enrolment.zero[enrolment.people[participant]])
    return f"day {day:g}" if zero == FAR else str(np.datetime64(zero + int(day), "D"))


def _windows(
    drafts: Mapping[str, Draft],
    reader: Reader,
    enrolment: Enrolment,
    visits: Visits,
    planned: Mapping[str, VisitPlan],
    answers: AnswerRows,
) -> None:
    for i, (participant, key, day) in enumerate(zip(visits.participant, visits.visit, visits.day, strict=True)):
        plan = planned.get(key)
        if plan is None or plan.window is None or day != day:
            continue
        if not enrolment.known[enrolment.people[participant]]:
            continue
        low, high = plan.window
        if not low <= day <= high:
            window = f"{_when(enrolment, participant, low)} to {_when(enrolment, participant, high)}"
            expected = f"{key} within its window, {window}; it is on day {day:g} since enrolment"
            _ask(drafts, reader, visits, i, "outside_window", expected, answers)


def _order(
    drafts: Mapping[str, Draft],
    reader: Reader,
    enrolment: Enrolment,
    visits: Visits,
    planned: Mapping[str, VisitPlan],
    answers: AnswerRows,
) -> None:
    """Ask about a visit that lies before a visit planned earlier."""
    place = {key: i for i, key in enumerate(planned)}
    of_person: dict[str, list[tuple[int, float, int]]] = {}
    for i, (participant, key, day) in enumerate(zip(visits.participant, visits.visit, visits.day, strict=True)):
        if key in planned and day == day:
            of_person.setdefault(participant, []).append((place[key], float(day), i))
    for participant, held in of_person.items():
        held.sort()
        for (_, before, earlier), (_, day, i) in pairwise(held):
            if day < before:
                when = _when(enrolment, participant, before)
                expected = f"a day after {visits.visit[earlier]}, {when}; {visits.visit[i]} is before it"
                _ask(drafts, reader, visits, i, "visit_order", expected, answers)


def _against_answers(drafts: Mapping[str, Draft], reader: Reader, visits: Visits, answers: AnswerRows) -> None:
    draft, table = drafts["assessments"], drafts["visits"]
    given = draft.used & (draft.text["response"] != "")
    answered = set(zip(draft.text["participant_id"][given], draft.text["visit"][given], strict=True))
    status = table.text.get("status")
    for i, pair in enumerate(zip(visits.participant, visits.visit, strict=True)):
        if visits.table[i] == "assessments":
            expected = f"the visit {pair[1]} in the table visits; it has answers, and its day is taken from them"
            _ask(drafts, reader, visits, i, "visit_not_listed", expected, answers)
        elif status is not None and status[visits.row[i]] == "missed" and pair in answered:
            expected = f"no answers at {pair[1]}, which was missed"
            _ask(drafts, reader, visits, i, "missed_but_answered", expected, answers, whole=False)
