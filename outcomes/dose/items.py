"""What a dose is summed over: session rows and the planned sessions that have none, each knowing what was planned."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from outcomes.dose.agreement import values_of_traces
from outcomes.dose.exposure import session_charges
from outcomes.dose.plan import Timetable, Until, empty_timetable, timetable
from outcomes.dose.timeline import (
    STATES,
    Sessions,
    Stretches,
    moments,
    people_of,
    rank_within,
    read_sessions,
    stretches,
)
from outcomes.errors import DesignError
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    from outcomes.dose.timeline import Flags, Floats, Integers, Tables
    from protocols import Protocol

QUANTITIES = ("active_minutes", "work_kj", "voluntary_minutes", "total_minutes", "charge_c")
"""What is summed over sessions: columns of the sessions table, and the charge of the stimulation table. Passive, ramp
and cool-down minutes never are."""

TRACE_SESSIONS = "trace_sessions"
"""Key of a mapping of tables for the rows of `summarise`: what the traces of a study say about its sessions."""

NO_SESSIONS = "the study has no sessions table"
UNKNOWN, NOT_RECORDED = -1, -2
IS_DELIVERED = tuple(STATES.index(word) for word in DELIVERED)
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
    status : array of int
        Position in `STATES`, `UNKNOWN` where the row's state is missing, `NOT_RECORDED` where there is no row.
    delivered : array of bool
    planned_minutes, planned_work : array of float
        What was planned for the item; nan where nothing was.
    values : dict of str to array of float
        What each delivered row holds, of `QUANTITIES`; nan elsewhere.
    rows : array of int
        Where the session rows, in order, stand in the sessions table.
    undated : array of int
        Session rows without a day, by person.
    has : dict of str to array of bool
        By person: whether sessions, minutes or work are planned at all.
    """

    people: list[str]
    code: Integers
    moment: Integers
    week: Integers
    on_record: Flags
    planned: Flags
    status: Integers
    delivered: Flags
    planned_minutes: Floats
    planned_work: Floats
    values: dict[str, Floats]
    rows: Integers
    undated: Integers
    has: dict[str, Flags]

    @property
    def plan_missing(self) -> str:
        """Why nothing is planned for anybody; empty where something is."""
        return "" if self.has["sessions_per_week"].any() else NO_PLAN

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
        The protocol takes the dose from traces, and `tables` holds no ``trace_sessions``.
    DataError
        A table lacks a column that places its rows in time.
    """
    people = people_of(tables)
    sessions = read_sessions(tables, people, (*QUANTITIES, "planned_minutes"))
    if sessions is None:
        return None
    if protocol.dose is not None and protocol.dose.source == "traces":
        sessions = _from_traces(sessions, tables)
    if "stimulation" in tables:
        charge = session_charges(tables["stimulation"], tables["sessions"])
        sessions = replace(sessions, values={**sessions.values, "charge_c": charge[sessions.rows]})
    plan = timetable(tables, protocol, people, until or planned_until(protocol))
    return _join(people, sessions, plan)


def _from_traces(sessions: Sessions, tables: Tables) -> Sessions:
    """Return the sessions with minutes and work as their traces give them; a session without a trace has no value."""
    if TRACE_SESSIONS not in tables:
        raise DesignError("the protocol takes the dose from traces, and the study has none")
    found = values_of_traces(tables["sessions"], tables[TRACE_SESSIONS])
    mine = {name: found[name][sessions.rows] for name in QUANTITIES if name in found}
    return replace(sessions, values={**sessions.values, **mine})


def planned_until(protocol: Protocol) -> Until:
    """Return how long the protocol plans for a person: until withdrawal unless it says otherwise."""
    return "withdrawal" if protocol.dose is None else protocol.dose.planned_until


def _join(people: list[str], sessions: Sessions, plan: Timetable | None) -> Items:
    """Return session rows and planned sessions without one, in order of person and time."""
    import numpy as np

    week = np.floor_divide(sessions.day, 7).astype(np.int64)
    plan = plan or empty_timetable(len(people))
    row_of = _match(sessions.code, week, plan)
    free = row_of < 0
    n, extra = len(sessions.code), int(free.sum())
    planned, minutes, work = _planned_at_rows(sessions, plan, row_of)
    moment = moments(plan.day[free].astype(np.float64), np.full(extra, np.nan), unknown_clock_is="last")
    code, moment = np.append(sessions.code, plan.code[free]), np.append(sessions.moment, moment)
    order = np.lexsort((moment, code))
    delivered = np.isin(sessions.status, IS_DELIVERED)
    nothing = np.full(extra, np.nan)
    return Items(
        people=people,
        code=code[order],
        moment=moment[order],
        week=np.append(week, plan.day[free] // 7)[order],
        on_record=(np.arange(n + extra) < n)[order],
        planned=np.append(planned, np.ones(extra, dtype=np.bool_))[order],
        status=np.append(sessions.status, np.full(extra, NOT_RECORDED))[order],
        delivered=np.append(delivered, np.zeros(extra, dtype=np.bool_))[order],
        planned_minutes=np.append(minutes, plan.active_minutes[free])[order],
        planned_work=np.append(work, plan.work_kj[free])[order],
        values={
            name: np.append(np.where(delivered, sessions.values[name], np.nan), nothing)[order] for name in QUANTITIES
        },
        rows=sessions.rows,
        undated=sessions.undated,
        has=plan.has,
    )


def _planned_at_rows(sessions: Sessions, plan: Timetable, row_of: Integers) -> tuple[Flags, Floats, Floats]:
    """Return for each session row whether it was planned, and with how many minutes and how much work."""
    import numpy as np

    n, held = len(sessions.code), row_of >= 0
    rows = row_of[held]
    planned, minutes, work = np.zeros(n, dtype=np.bool_), np.full(n, np.nan), np.full(n, np.nan)
    own = sessions.values["planned_minutes"][rows]
    planned[rows] = True
    minutes[rows] = np.where(np.isnan(own), plan.active_minutes[held], own)
    work[rows] = plan.work_kj[held]
    return planned, minutes, work


def _match(code: Integers, week: Integers, plan: Timetable) -> Integers:
    """Return for each planned session the row that stands for it, -1 where there is none.

    Within each week of a person the first row stands for the first planned session, the second for the second.
    """
    import numpy as np

    row_of = np.full(len(plan.code), -1, dtype=np.int64)
    if len(row_of) == 0:
        return row_of
    weeks = int(plan.day.max()) // 7 + 1
    slot_week = plan.code * weeks + plan.day // 7
    slot_rank = rank_within(slot_week)
    places = int(slot_rank.max()) + 1
    slot = slot_week * places + slot_rank
    usable = np.flatnonzero((week >= 0) & (week < weeks))
    row_week = code[usable] * weeks + week[usable]
    row_rank = rank_within(row_week)
    row = np.where(row_rank < places, row_week * places + row_rank, -1)
    at = np.minimum(np.searchsorted(slot, row), len(slot) - 1)
    met = slot[at] == row
    row_of[at[met]] = usable[met]
    return row_of
