"""The dose of each person at each visit and in each week: planned, delivered, their ratio and their rate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.dose.items import QUANTITIES, UNKNOWN, Items, no_dose_reason, read_items
from outcomes.dose.timeline import (
    DAY_MS,
    STRIDE_MS,
    Stretches,
    codes_of,
    numbers,
    stretches,
    table_of,
    texts,
)
from outcomes.dose.visits import Visits, read_visits, summed_window

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose.plan import Until
    from outcomes.dose.timeline import Floats, Integers, Tables
    from protocols import Protocol

TOTALS = (
    "planned_sessions",
    "delivered_sessions",
    "missed_sessions",
    "not_recorded_sessions",
    "sessions_beyond_plan",
    "sessions_without_status",
    "planned_active_minutes",
    "delivered_active_minutes",
    "sessions_without_active_minutes",
    "planned_work_kj",
    "delivered_work_kj",
    "sessions_without_work",
    "planned_charge_c",
    "delivered_charge_c",
    "sessions_without_charge",
    "delivered_voluntary_minutes",
    "sessions_without_voluntary_minutes",
    "delivered_total_minutes",
    "sessions_without_total_minutes",
)
"""Columns that `dose_by_visit` and `dose_by_week` share."""

BY_VISIT = (
    "participant_id",
    "visit",
    "visit_day",
    "weeks",
    "window_weeks",
    *TOTALS,
    "active_minutes_per_week",
    "work_kj_per_week",
    "charge_c_per_week",
    "attendance",
    "relative_active_minutes",
    "relative_work",
    "hours_since_last_session",
    "days_since_last_session",
    "sessions_without_day",
    "reason",
    "cells",
)
"""Columns of `dose_by_visit`."""

BY_WEEK = ("participant_id", "week", *TOTALS)
"""Columns of `dose_by_week`."""

_WORDS = ("participant_id", "visit", "status", "reason", "cells")
_WITHOUT = {
    "active_minutes": "sessions_without_active_minutes",
    "work_kj": "sessions_without_work",
    "charge_c": "sessions_without_charge",
    "voluntary_minutes": "sessions_without_voluntary_minutes",
    "total_minutes": "sessions_without_total_minutes",
}


def dose_by_visit(tables: Tables, protocol: Protocol, *, until: Until | None = None) -> pd.DataFrame:
    """Return what was planned for and delivered to each person up to each visit.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        ``participants``, ``visits``, ``prescriptions``, ``sessions`` in the vocabulary's columns, days counted from
        enrolment (``started_day``, ``visited_day``, ...), clock times in minutes after midnight; nan = missing.
    protocol : Protocol
        `training` (the plan) and `dose` (`cumulate`, `recent_days`, `lag_days`, `planned_until`) are used.
    until : {"withdrawal", "programme end"}, optional
        How long a person is planned for; the protocol's choice by default.

    Returns
    -------
    DataFrame
        A row per person and visit, sorted by person and the protocol's order of visits; columns `BY_VISIT`. Planned
        columns are nan where nothing is planned (the charge never is: no prescription names a duty), delivered ones
        where no delivered session has a value; ``cells`` names the rows behind the numbers. Without a sessions table
        the frame is empty and ``attrs["reason"]`` says so; ``attrs["plan"]`` says why nothing is planned.

    Raises
    ------
    DataError
        A table lacks a column that places its rows in time.
    DesignError
        The protocol takes the dose from traces, and `tables` holds no ``trace_sessions``: rows of `summarise`.

    Notes
    -----
    The rules of counting are the sentences of `METHODS`. For every row of a study with a plan

        planned = delivered + missed + without status + not recorded - beyond plan.
    """
    items = read_items(tables, protocol, until)
    visits = table_of(tables, "visits")
    if items is None or visits is None:
        return empty(BY_VISIT, no_dose_reason(tables) or "the study has no visits table")
    every = read_visits(visits, items.people, protocol)
    seen = every.at(every.day == every.day)
    window = summed_window(seen, protocol)
    found = items.over(seen.code, window.after, window.before)
    sums = totals(items, seen.code, found)
    columns = {
        "visit_day": seen.day,
        "weeks": seen.weeks,
        "window_weeks": window.weeks,
        **sums,
        **ratios(sums),
        **_rates(sums, window.weeks),
        **_last_session(items, seen),
        "cells": _cells(items, found, seen, tables),
    }
    frame = _frame(columns, seen.row).reindex(every.row)
    frame["participant_id"] = [items.people[c] for c in every.code]
    frame["visit"] = every.visit
    frame["sessions_without_day"] = items.undated[every.code].astype("float64")
    frame["reason"] = ["" if day == day else "the visit has no day" for day in every.day]
    frame["cells"] = frame["cells"].fillna("")
    return finish(frame, BY_VISIT, items)


def dose_by_week(tables: Tables, protocol: Protocol, *, until: Until | None = None) -> pd.DataFrame:
    """Return what was planned for and delivered to each person in each programme week.

    Parameters
    ----------
    tables, protocol, until
        As in `dose_by_visit`.

    Returns
    -------
    DataFrame
        A row per person and week, columns `BY_WEEK`; week 1 begins on the day of enrolment. Every week of the
        programme has a row, also where nothing was planned any more or delivered, and so has every week beyond it up
        to a person's last session. Empty with ``attrs["reason"]`` without a sessions table.

    Raises
    ------
    DataError, DesignError
        As in `dose_by_visit`.
    """
    import numpy as np

    items = read_items(tables, protocol, until)
    if items is None:
        return empty(BY_WEEK, no_dose_reason(tables))
    weeks = 0 if protocol.training is None else protocol.training.weeks
    first, last = np.zeros(len(items.people), dtype=np.int64), np.full(len(items.people), weeks, dtype=np.int64)
    np.minimum.at(first, items.code, items.week)
    np.maximum.at(last, items.code, items.week + 1)
    count = last - first
    code = np.repeat(np.arange(len(items.people), dtype=np.int64), count)
    week = np.arange(len(code)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    start = week * 7 * STRIDE_MS
    found = items.over(code, start, start + 7 * STRIDE_MS)
    frame = _frame({"week": week + 1, **totals(items, code, found)}, np.arange(len(code)))
    frame["participant_id"] = [items.people[c] for c in code]
    return finish(frame, BY_WEEK, items)


def totals(items: Items, who: Integers, found: Stretches) -> dict[str, Floats]:
    """Return the columns `TOTALS` for each stretch of the items of person `who`."""
    import numpy as np

    delivered = found.sums(items.delivered)
    columns: dict[str, Floats] = {
        "delivered_sessions": delivered,
        "missed_sessions": found.sums(items.on_record & ~items.delivered & (items.status != UNKNOWN)),
        "sessions_without_status": found.sums(items.status == UNKNOWN),
    }
    for name in QUANTITIES:
        known = ~np.isnan(items.values[name])
        count = found.sums(known)
        total = found.sums(np.where(known, items.values[name], 0.0))
        columns[f"delivered_{name}"] = np.where((delivered > 0) & (count == 0), np.nan, total)
        columns[_WITHOUT[name]] = delivered - count
    return {**columns, **_planned(items, who, found)}


def _planned(items: Items, who: Integers, found: Stretches) -> dict[str, Floats]:
    """Return the planned columns; nan for a person for whom that quantity is planned nowhere."""
    import numpy as np

    def where_planned(field: str, total: Floats) -> Floats:
        return np.where(items.has[field][who], total, np.nan)

    def whole(field: str, planned: Floats) -> Floats:
        known = ~np.isnan(planned)
        somewhere = items.has[field] | (np.bincount(items.code[known], minlength=len(items.people)) > 0)
        complete = found.sums(items.planned & ~known) == 0
        return np.where(complete & somewhere[who], found.sums(np.where(known, planned, 0.0)), np.nan)

    return {
        "planned_sessions": where_planned("sessions_per_week", found.sums(items.planned)),
        "not_recorded_sessions": where_planned("sessions_per_week", found.sums(~items.on_record)),
        "sessions_beyond_plan": where_planned("sessions_per_week", found.sums(~items.planned)),
        "planned_active_minutes": whole("active_minutes", items.planned_minutes),
        "planned_work_kj": whole("work_kj", items.planned_work),
        "planned_charge_c": np.full(len(who), np.nan),
    }


def ratios(columns: dict[str, Any]) -> dict[str, Floats]:
    """Return attendance and relative dose from the columns of `totals`; nan where nothing is planned so far."""
    return {
        "attendance": _over(columns["delivered_sessions"], columns["planned_sessions"]),
        "relative_active_minutes": _over(columns["delivered_active_minutes"], columns["planned_active_minutes"]),
        "relative_work": _over(columns["delivered_work_kj"], columns["planned_work_kj"]),
    }


def _rates(columns: dict[str, Any], weeks: Floats) -> dict[str, Floats]:
    return {
        "active_minutes_per_week": _over(columns["delivered_active_minutes"], weeks),
        "work_kj_per_week": _over(columns["delivered_work_kj"], weeks),
        "charge_c_per_week": _over(columns["delivered_charge_c"], weeks),
    }


def _over(top: Floats, bottom: Floats) -> Floats:
    """Return ``top / bottom`` where `bottom` is above 0, else nan."""
    import numpy as np

    ratio: Floats = np.divide(top, bottom, out=np.full(len(top), np.nan), where=bottom > 0)
    return ratio


def _last_session(items: Items, seen: Visits) -> dict[str, Floats]:
    """Return hours and days from the last delivered session that counts for each visit, whatever the window."""
    import numpy as np

    code, moment = items.code[items.delivered], items.moment[items.delivered]
    found = stretches(code, moment, seen.code, None, seen.moment)
    any_before = found.high > found.low
    last = np.append(moment, 0)[np.where(any_before, found.high - 1, len(moment))]
    day, within = np.floor_divide(last, STRIDE_MS), np.mod(last, STRIDE_MS)
    days = np.where(any_before, seen.day - day, np.nan)
    midnight = seen.day.astype(np.int64) * STRIDE_MS
    same_day = stretches(code, moment, seen.code, midnight + DAY_MS, midnight + STRIDE_MS)
    sure = (within < DAY_MS) & (same_day.high == same_day.low)
    hours = days * 24 + (seen.clock - within / 60_000) / 60
    return {"hours_since_last_session": np.where(sure, hours, np.nan), "days_since_last_session": days}


def _cells(items: Items, found: Stretches, seen: Visits, tables: Tables) -> list[str]:
    """Return the rows behind each visit's dose: the visit, the sessions summed, the prescriptions until then."""
    import numpy as np

    before = np.append(0, np.cumsum(items.on_record))
    low, high = before[found.low].tolist(), before[found.high].tolist()
    names = texts(tables["sessions"], "row_id")
    row_ids = [names[row] for row in items.rows.tolist()]
    prescribed = _prescriptions(tables, items.people)
    cells = []
    for i, (code, day) in enumerate(zip(seen.code.tolist(), seen.day.tolist(), strict=True)):
        plan = [row for start, row in prescribed.get(code, ()) if start <= day]
        cells.append(" ".join(filter(None, [seen.row_id[i], *row_ids[low[i] : high[i]], *plan])))
    return cells


def _prescriptions(tables: Tables, people: list[str]) -> dict[int, list[tuple[float, str]]]:
    """Return, by person, the first day and the row of each prescription."""
    frame = table_of(tables, "prescriptions")
    found: dict[int, list[tuple[float, str]]] = {}
    if frame is not None:
        codes, starts = codes_of(frame, people).tolist(), numbers(frame, "from_day").tolist()
        for code, start, row in sorted(zip(codes, starts, texts(frame, "row_id"), strict=True)):
            found.setdefault(code, []).append((start, row))
    return found


def _frame(columns: dict[str, Any], index: Integers) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(columns, index=pd.Index(index))


def finish(frame: pd.DataFrame, names: tuple[str, ...], items: Items | None) -> pd.DataFrame:
    """Return the columns in order, words as text, everything else as floats, with what the study lacks."""
    whole = frame[list(names)].reset_index(drop=True)
    whole = whole.astype({name: "str" if name in _WORDS else "float64" for name in names})
    whole.attrs = {"reason": "", "plan": items.plan_missing if items is not None else ""}
    return whole


def empty(names: tuple[str, ...], reason: str) -> pd.DataFrame:
    """Return a frame without rows whose ``attrs["reason"]`` says why."""
    import pandas as pd

    frame = pd.DataFrame({name: pd.Series(dtype="str" if name in _WORDS else "float64") for name in names})
    frame.attrs = {"reason": reason, "plan": ""}
    return frame
