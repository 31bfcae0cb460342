"""What a dose is summed over: session rows and the planned sessions that have none, each knowing what was planned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.plan import Timetable, Until, timetable
from outcomes.dose.timeline import Sessions, Stretches, moments, people_of, rank_within, read_sessions, stretches
from outcomes.errors import DesignError
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.dose.timeline import Flags, Floats, Integers, Tables
    from protocols import Protocol

QUANTITIES = ("active_minutes", "work_kj", "voluntary_minutes", "total_minutes")
"""Columns of a session that are summed; passive, ramp and cool-down minutes never are."""

NO_SESSIONS = "the study has no sessions table"
NOT_RECORDED = "not recorded"
NO_PLAN = "the protocol has no [training] and no prescription names a plan"


@dataclass(frozen=True, slots=True)
class Items:
    """Session rows and planned sessions without a row, by person and moment.

    Parameters
    ----------
    people : list of str
        Participant ids; `code` points into it.
    code, moment, week : array of int
        Person, moment and programme week (0 = the first from enrolment) of each item.
    on_record : array of bool
        Whether the item is a session row; else it is a planned session that has none.
    planned : array of bool
        Whether the item was planned: rows beyond the week's plan were not.
    status : array of str
        State of the row; "not recorded" for a planned session without one, empty where the state is missing.
    delivered : array of bool
    planned_minutes, planned_work : array of float
        What was planned for the item; nan where nothing was.
    values : dict of str to array of float
        What each delivered row holds, of `QUANTITIES`; nan elsewhere.
    row_ids : list of str
        Of the session rows alone, in order.
    undated : array of int
        Session rows without a day, by person.
    has : dict of str to array of bool, optional
        By person: whether sessions, minutes or work are planned at all; None where the study plans nothing.
    """

    people: list[str]
    code: Integers
    moment: Integers
    week: Integers
    on_record: Flags
    planned: Flags
    status: NDArray[np.object_]
    delivered: Flags
    planned_minutes: Floats
    planned_work: Floats
    values: dict[str, Floats]
    row_ids: list[str]
    undated: Integers
    has: dict[str, Flags] | None

    def over(self, who: Integers, after: Integers | None, before: Integers) -> Stretches:
        """Return where the items lie that count for `before` and not for `after`; see `timeline.stretches`."""
        return stretches(self.code, self.moment, who, after, before)


def no_dose_reason(tables: Tables) -> str:
    """Return why a study has no dose, or an empty text where it has one."""
    return NO_SESSIONS if "sessions" not in tables else ""


def read_items(tables: Tables, protocol: Protocol, until: Until | None = None) -> Items | None:
    """Return what the dose of a study is summed over, or None where it has no sessions table.

    Parameters
    ----------
    tables : mapping of str to DataFrame
    protocol : Protocol
    until : {"withdrawal", "programme end"}, optional
        How long a person is planned for; the protocol's choice by default.

    Raises
    ------
    DesignError
        The protocol takes the dose from traces.
    DataError
        A table lacks a column that places its rows in time.
    """
    if protocol.dose is not None and protocol.dose.source == "traces":
        raise DesignError("the protocol takes the dose from traces; only the sessions table is summed")
    people = people_of(tables)
    sessions = read_sessions(tables, people, (*QUANTITIES, "planned_minutes"))
    if sessions is None:
        return None
    plan = timetable(tables, protocol, people, until or planned_until(protocol))
    return _join(people, sessions, plan)


def planned_until(protocol: Protocol) -> Until:
    """Return how long the protocol plans for a person: until withdrawal unless it says otherwise."""
    return "withdrawal" if protocol.dose is None else protocol.dose.planned_until


def _join(people: list[str], sessions: Sessions, plan: Timetable | None) -> Items:
    import numpy as np

    week = np.floor_divide(sessions.day, 7).astype(np.int64)
    row_of, free = _match(sessions.code, week, plan)
    n, extra = len(sessions.code), int(free.sum())
    delivered = np.isin(sessions.status, DELIVERED)
    minutes, work = np.full(n, np.nan), np.full(n, np.nan)
    planned = np.zeros(n, dtype=np.bool_)
    if plan is not None:
        held = row_of >= 0
        planned[row_of[held]] = True
        own = sessions.values["planned_minutes"][row_of[held]]
        minutes[row_of[held]] = np.where(np.isnan(own), plan.active_minutes[held], own)
        work[row_of[held]] = plan.work_kj[held]
        slot_code, slot_day = plan.code[free], plan.day[free]
        minutes, work = np.append(minutes, plan.active_minutes[free]), np.append(work, plan.work_kj[free])
    else:
        slot_code = slot_day = np.zeros(0, dtype=np.int64)
    slot_moment = moments(slot_day.astype(np.float64), np.full(extra, np.nan), unknown_clock_is="last")
    code = np.append(sessions.code, slot_code)
    moment = np.append(sessions.moment, slot_moment)
    order = np.lexsort((moment, code))
    return Items(
        people=people,
        code=code[order],
        moment=moment[order],
        week=np.append(week, slot_day // 7)[order],
        on_record=(np.arange(n + extra) < n)[order],
        planned=np.append(planned, np.ones(extra, dtype=np.bool_))[order],
        status=np.append(sessions.status, np.full(extra, NOT_RECORDED, dtype=object))[order],
        delivered=np.append(delivered, np.zeros(extra, dtype=np.bool_))[order],
        planned_minutes=minutes[order],
        planned_work=work[order],
        values={
            name: np.append(np.where(delivered, sessions.values[name], np.nan), np.full(extra, np.nan))[order]
            for name in QUANTITIES
        },
        row_ids=sessions.row_ids,
        undated=sessions.undated,
        has=None if plan is None else plan.has,
    )


def _match(code: Integers, week: Integers, plan: Timetable | None) -> tuple[Integers, Flags]:
    """Return for each planned session the row that stands for it (-1: none), and which planned sessions have none.

    Within each week of a person the first row stands for the first planned session, the second for the second.
    """
    import numpy as np

    if plan is None:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.bool_)
    weeks = int(plan.day.max(initial=0)) // 7 + 1
    slot_week = plan.code * weeks + plan.day // 7
    slot_rank = rank_within(slot_week)
    places = int(slot_rank.max(initial=0)) + 1
    slot = slot_week * places + slot_rank
    usable = np.flatnonzero((week >= 0) & (week < weeks))
    row_week = code[usable] * weeks + week[usable]
    row_rank = rank_within(row_week)
    row = np.where(row_rank < places, row_week * places + row_rank, -1)
    row_of = np.full(len(slot), -1, dtype=np.int64)
    if len(slot):
        at = np.minimum(np.searchsorted(slot, row), len(slot) - 1)
        met = slot[at] == row
        row_of[at[met]] = usable[met]
    return row_of, row_of < 0
