"""The timetable of planned sessions: the training protocol and the prescriptions laid out day by day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from outcomes.dose.timeline import codes_of, numbers, table_of

if TYPE_CHECKING:
    from outcomes.dose.timeline import Flags, Floats, Integers, Tables
    from protocols import Protocol

Until = Literal["withdrawal", "programme end"]

FIELDS = ("sessions_per_week", "active_minutes", "work_kj")
"""What a prescription overrides."""


@dataclass(frozen=True, slots=True)
class Timetable:
    """Every planned session of every person, by person and day.

    Parameters
    ----------
    code, day : array of int
        Person and day (0 = day of enrolment) of each planned session.
    active_minutes, work_kj : array of float
        What is planned for it; nan where nothing is.
    has : dict of str to array of bool
        By person: whether sessions, minutes or work are planned at all.
    """

    code: Integers
    day: Integers
    active_minutes: Floats
    work_kj: Floats
    has: dict[str, Flags]


def timetable(tables: Tables, protocol: Protocol, people: list[str], until: Until) -> Timetable | None:
    """Return the timetable, or None where there is neither a training protocol nor a prescription.

    Parameters
    ----------
    tables : mapping of str to DataFrame
    protocol : Protocol
    people : list of str
    until : {"withdrawal", "programme end"}

    Notes
    -----
    With s_d sessions a week in force on day d, the number of sessions planned by the end of day n is

        P(n) = floor(sum_{d <= n} s_d / 7 + 1 / 2)

    and a session falls on each day on which P grows: 3 a week fall on the 2nd, 4th and 6th day of the week.
    """
    import numpy as np

    if protocol.training is None and not _prescribed(tables):
        return None
    last = _last_days(tables, people)
    horizon = _horizon(tables, protocol, last)
    daily = _daily(tables, protocol, people, horizon, last)
    end = np.full(len(people), horizon, dtype=np.int64)
    if until == "withdrawal":
        end = np.minimum(end, _left_days(tables, people, horizon))
    in_force = np.arange(horizon) < end[:, None]
    rate = np.where(in_force, np.nan_to_num(daily["sessions_per_week"]), 0.0)
    planned = np.floor((2 * np.round(np.cumsum(rate, axis=1), 9) + 7) / 14).astype(np.int64)
    new = np.diff(planned, axis=1, prepend=0)
    code, day = (axis.astype(np.int64) for axis in np.nonzero(new))
    many = new[code, day]
    code, day = np.repeat(code, many), np.repeat(day, many)
    return Timetable(
        code=code,
        day=day,
        active_minutes=daily["active_minutes"][code, day],
        work_kj=daily["work_kj"][code, day],
        has={name: np.any(~np.isnan(daily[name]), axis=1) for name in FIELDS},
    )


def empty_timetable(people: int) -> Timetable:
    """Return the timetable of a study that plans nothing."""
    import numpy as np

    none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
    has = {name: np.zeros(people, dtype=np.bool_) for name in FIELDS}
    return Timetable(code=none, day=none, active_minutes=nothing, work_kj=nothing, has=has)


def _prescribed(tables: Tables) -> bool:
    frame = table_of(tables, "prescriptions")
    return frame is not None and bool(frame["from_day"].notna().any())


def untrained(tables: Tables, protocol: Protocol, people: list[str]) -> Flags:
    """Return, by person, whether they belong to a group for which the programme is not (``trained = false``).

    Parameters
    ----------
    tables : mapping of str to DataFrame
    protocol : Protocol
    people : list of str

    Returns
    -------
    array of bool of shape (n_people,)
    """
    import numpy as np

    flags = np.zeros(len(people), dtype=np.bool_)
    waiting = [group.key for group in protocol.groups if not group.trained]
    frame = table_of(tables, "participants")
    if not waiting or frame is None or "group" not in frame:
        return flags
    code = codes_of(frame, people)
    flags[code[(frame["group"].isin(waiting).to_numpy()) & (code >= 0)]] = True
    return flags


def _left_days(tables: Tables, people: list[str], horizon: int) -> Integers:
    """Return the day on which each person left, or the horizon; no day before enrolment is planned for."""
    import numpy as np

    left = np.full(len(people), horizon, dtype=np.int64)
    frame = table_of(tables, "participants")
    if frame is not None:
        day, code = numbers(frame, "left_day"), codes_of(frame, people)
        known = ~np.isnan(day) & (code >= 0)
        left[code[known]] = np.maximum(day[known], 0).astype(np.int64)
    return left


def _last_days(tables: Tables, people: list[str]) -> Integers:
    """Return the last day on which each person has a session or a visit, 0 where there is none."""
    import numpy as np

    last = np.zeros(len(people), dtype=np.int64)
    for name, column in (("sessions", "started_day"), ("visits", "visited_day")):
        frame = table_of(tables, name)
        if frame is not None:
            day, code = numbers(frame, column), codes_of(frame, people)
            known = ~np.isnan(day) & (code >= 0)
            np.maximum.at(last, code[known], day[known].astype(np.int64))
    return last


def _horizon(tables: Tables, protocol: Protocol, last: Integers) -> int:
    """Return the number of days laid out: the programme, or without one what prescriptions and records reach."""
    import numpy as np

    if protocol.training is not None:
        return 7 * protocol.training.weeks
    frame = table_of(tables, "prescriptions")
    ends = numbers(frame, "to_day") + 1 if frame is not None else np.zeros(0)
    return int(max(np.nanmax(ends, initial=0), last.max(initial=0), 0))


def _daily(tables: Tables, protocol: Protocol, people: list[str], horizon: int, last: Integers) -> dict[str, Floats]:
    """Return, for each field, what is in force for each person (row) on each day (column)."""
    import numpy as np

    default = _protocol_days(protocol, horizon)
    daily = {name: np.tile(default[name], (len(people), 1)) for name in FIELDS}
    for name in FIELDS:
        daily[name][untrained(tables, protocol, people)] = np.nan
    frame = table_of(tables, "prescriptions")
    if frame is None:
        return daily
    code, start, stop = codes_of(frame, people), numbers(frame, "from_day"), numbers(frame, "to_day") + 1
    values = {name: numbers(frame, name) for name in FIELDS}
    for i in np.argsort(start, kind="stable"):
        if code[i] < 0 or np.isnan(start[i]):
            continue
        end = horizon if protocol.training is not None else int(last[code[i]])
        end = end if np.isnan(stop[i]) else int(stop[i])
        days = slice(max(int(start[i]), 0), max(end, 0))
        for name in FIELDS:
            value = values[name][i]
            daily[name][code[i], days] = default[name][days] if np.isnan(value) else value
    return daily


def _protocol_days(protocol: Protocol, horizon: int) -> dict[str, Floats]:
    """Return what the training protocol says for each day; nan where it says nothing."""
    import numpy as np

    nothing = np.full(horizon, np.nan)
    training = protocol.training
    if training is None:
        return dict.fromkeys(FIELDS, nothing)
    by_week = np.asarray(training.active_minutes, dtype=np.float64)
    week = np.arange(horizon) // 7
    return {
        "sessions_per_week": np.full(horizon, float(training.sessions_per_week)),
        "active_minutes": by_week[np.minimum(week, len(by_week) - 1)] if len(by_week) else nothing,
        "work_kj": nothing,
    }
