"""Days since enrolment, and the day of every visit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.intake.drafts import EMPTIED, Draft
from outcomes.intake.raw import texts, unique

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Flags, Floats, Integers, Texts
    from protocols.schema import Protocol

FAR = 2**62
DAY_US = 86_400_000_000


@dataclass(slots=True)
class Enrolment:
    """Day 0 of everybody.

    Parameters
    ----------
    people : dict of str to int
        Position of each participant.
    zero : int array of shape (n_people,)
        Day 0 in days since 1970; `FAR` where nothing is dated.
    known : array of bool
        Whether enrolment itself is known.
    """

    people: dict[str, int]
    zero: Integers
    known: Flags

    def of(self, draft: Draft) -> Integers:
        """Return the position of the participant of every row."""
        import numpy as np

        codes, different = unique(draft.text["participant_id"])
        return np.array([self.people[text] for text in different], dtype=np.int64)[codes]


def count_days(drafts: Mapping[str, Draft], protocol: Protocol, found: Collector) -> Enrolment:
    """Give every day and moment its ``..._day``; one query says for whom enrolment is not known."""
    import numpy as np

    tables = [draft for draft in drafts.values() if "participant_id" in draft.text]
    people: dict[str, int] = {}
    for draft in tables:
        for text in unique(draft.text["participant_id"])[1]:
            people.setdefault(text, len(people))
    enrolment = Enrolment(people, np.full(len(people), FAR), np.zeros(len(people), dtype=bool))
    dated = np.zeros(len(people), dtype=bool)
    earliest = np.full(len(people), FAR)
    for draft in tables:
        person = enrolment.of(draft)
        for name, moments in draft.moment.items():
            rows = np.flatnonzero(draft.used & ~np.isnat(moments))
            days = moments[rows].view(np.int64) // DAY_US
            np.minimum.at(earliest, person[rows], days)
            dated[person[rows]] = True
            if name == "enrolled_on":
                enrolment.zero[person[rows]] = days
                enrolment.known[person[rows]] = True
    enrolment.zero = np.where(enrolment.zero == FAR, earliest, enrolment.zero)
    if "participants" in drafts:
        windows = any(visit.window_days is not None for visit in protocol.visits)
        _ask_enrolment(drafts["participants"], enrolment, dated | windows, found)
    for draft in tables:
        person = enrolment.of(draft)
        for name, moments in draft.moment.items():
            draft.number[f"{name[:-3]}_day"] = _since(moments, enrolment.zero[person])
    return enrolment


def _since(moments: NDArray[np.datetime64], zero: Integers) -> Floats:
    import numpy as np

    days = np.where(np.isnat(moments), 0, moments.view(np.int64) // DAY_US)
    return np.where(np.isnat(moments) | (zero == FAR), np.nan, (days - zero).astype(np.float64))


def _ask_enrolment(draft: Draft, enrolment: Enrolment, matters: Flags, found: Collector) -> None:
    """Ask once about participants without a day of enrolment, unless their days are typed as numbers."""
    import numpy as np

    person = enrolment.of(draft)
    typed = draft.number.get("enrolled_day")
    if typed is not None and "enrolled_on" not in draft.moment:
        enrolment.known[person[~np.isnan(typed) & draft.used]] = True
    rows = np.flatnonzero(draft.used & ~enrolment.known[person] & matters[person])
    if len(rows) and not _in_doubt(draft, rows):
        expected = (
            f"enrolled_on for everybody; {len(rows)} participant{' has' if len(rows) == 1 else 's have'} none: "
            "their earliest date counts as day 0, and windows are not checked"
        )
        column = next((form for form in ("enrolled_on", "enrolled_day") if form in draft.typed), "participant_id")
        found.over(draft, rows, column, "ask", "no_enrolment", expected, found="")


def _in_doubt(draft: Draft, rows: Integers) -> bool:
    """Whether the days of enrolment of all these rows were refused with their whole column, which says so."""
    state = draft.state.get("enrolled_on")
    if state is None or len(rows) < draft.used.sum():
        return False
    reasons = {draft.reasons[draft.why["enrolled_on"][row]] for row in rows.tolist() if state[row] == EMPTIED}
    return bool((state[rows] == EMPTIED).all()) and reasons.isdisjoint({"missing_word", "decision"})


@dataclass(slots=True)
class Visits:
    """The day of every visit that was held: from the table visits, else from the assessments.

    Parameters
    ----------
    participant, visit : object arrays of shape (n_visits,)
    day, clock : float arrays of shape (n_visits,)
    moment : datetime array of shape (n_visits,)
    table : object array of shape (n_visits,)
        Table in which the day stands.
    row : int array of shape (n_visits,)
        Row of that table.
    """

    participant: Texts
    visit: Texts
    day: Floats
    clock: Floats
    moment: NDArray[np.datetime64]
    table: Texts
    row: Integers

    def __len__(self) -> int:
        return len(self.participant)

    def take(self, rows: Integers) -> Visits:
        """Return some of the visits."""
        return Visits(*(getattr(self, name)[rows] for name in self.__slots__))


def visits_of(draft: Draft, stem: str) -> Visits:
    """Return the earliest row of every participant and visit of a table."""
    import numpy as np

    rows = np.flatnonzero(draft.used)
    person, _ = unique(draft.text["participant_id"][rows])
    visit, visits = unique(draft.text["visit"][rows])
    count = len(draft)
    day = draft.number.get(f"{stem}_day", np.full(count, np.nan))[rows]
    clock = draft.number.get(f"{stem}_clock", np.full(count, np.nan))[rows]
    moment = draft.moment.get(f"{stem}_at", np.full(count, np.datetime64("NaT", "us")))[rows]
    pair = person * max(len(visits), 1) + visit
    order = np.lexsort((rows, clock, day, pair))
    first = order[np.concatenate([[True], np.diff(pair[order]) != 0])] if len(order) else order
    first = np.sort(first)
    return Visits(
        draft.text["participant_id"][rows][first],
        draft.text["visit"][rows][first],
        day[first],
        clock[first],
        moment[first],
        texts([draft.name] * len(first)),
        rows[first],
    )


def all_visits(drafts: Mapping[str, Draft], protocol: Protocol) -> Visits:
    """Return every visit: those of the table visits as they stand there, then those that only assessments know.

    The derived ones follow participants, then the protocol's order of visits.
    """
    import numpy as np

    parts = []
    if "visits" in drafts:
        parts.append(visits_of(drafts["visits"], "visited"))
    if "assessments" in drafts:
        derived = visits_of(drafts["assessments"], "assessed")
        known = set(zip(parts[0].participant.tolist(), parts[0].visit.tolist(), strict=True)) if parts else set()
        pairs = zip(derived.participant.tolist(), derived.visit.tolist(), strict=True)
        free = np.array([pair not in known for pair in pairs], dtype=bool)
        parts.append(_ordered(derived.take(np.flatnonzero(free)), drafts, protocol))
    if not parts:
        empty = np.zeros(0, dtype=object)
        nothing = np.zeros(0)
        return Visits(empty, empty, nothing, nothing, nothing.astype("datetime64[us]"), empty, nothing.astype(np.int64))
    return Visits(*(np.concatenate([getattr(part, name) for part in parts]) for name in Visits.__slots__))


def _ordered(visits: Visits, drafts: Mapping[str, Draft], protocol: Protocol) -> Visits:
    import numpy as np

    people: dict[str, int] = {}
    if "participants" in drafts:
        for text in drafts["participants"].text["participant_id"].tolist():
            people.setdefault(text, len(people))
    planned = {visit.key: i for i, visit in enumerate(protocol.visits)}
    person = np.array([people.get(text, len(people)) for text in visits.participant.tolist()], dtype=np.int64)
    visit = np.array([planned.get(text, len(planned)) for text in visits.visit.tolist()], dtype=np.int64)
    return visits.take(np.lexsort((visits.visit.astype(str), visit, visits.participant.astype(str), person)))
