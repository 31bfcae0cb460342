"""The dose of each person at each visit and in each week: planned, delivered, their ratio and their rate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.items import NO_PLAN, QUANTITIES, Items, no_dose_reason, read_items
from outcomes.dose.timeline import (
    DAY_MS,
    STRIDE_MS,
    Stretches,
    codes_of,
    moments,
    numbers,
    stretches,
    table_of,
    texts,
)
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

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

_WORDS = ("participant_id", "visit", "reason", "cells")
MISSED = ("missed", "cancelled")
"""States of a session row that was planned and not delivered."""

_WITHOUT = {
    "active_minutes": "sessions_without_active_minutes",
    "work_kj": "sessions_without_work",
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
        columns are nan where nothing is planned, delivered ones where no delivered session has a value; ``cells``
        names the rows behind the numbers. Without a sessions table the frame is empty and ``attrs["reason"]`` says
        so; ``attrs["plan"]`` says why nothing is planned.

    Raises
    ------
    DataError
        A table lacks a column that places its rows in time.
    DesignError
        The protocol takes the dose from traces.

    Notes
    -----
    The rules of counting are the sentences of `METHODS`. For every row of a study with a plan

        planned = delivered + missed + without status + not recorded - beyond plan.
    """
    items = read_items(tables, protocol, until)
    visits = table_of(tables, "visits")
    if items is None or visits is None:
        return _empty(BY_VISIT, no_dose_reason(tables) or "the study has no visits table")
    every = _visits(visits, items.people, protocol)
    seen = every.at(every.day == every.day)
    window = _window(seen, protocol)
    found = items.over(seen.code, window.after, window.before)
    columns: dict[str, object] = {
        "visit_day": seen.day,
        "weeks": seen.weeks,
        "window_weeks": window.weeks,
        **_totals(items, seen.code, found),
        **_last_session(items, seen),
        "cells": _cells(items, found, seen, tables),
    }
    _ratios(columns, items, found)
    frame = _frame(columns, seen.row).reindex(every.row)
    frame["participant_id"] = [items.people[c] for c in every.code]
    frame["visit"] = every.visit
    frame["sessions_without_day"] = items.undated[every.code].astype("float64")
    frame["reason"] = ["" if day == day else "the visit has no day" for day in every.day]
    frame["cells"] = frame["cells"].fillna("")
    return _finish(frame, BY_VISIT, items)


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
        return _empty(BY_WEEK, no_dose_reason(tables))
    weeks = 0 if protocol.training is None else protocol.training.weeks
    first, last = np.zeros(len(items.people), dtype=np.int64), np.full(len(items.people), weeks, dtype=np.int64)
    np.minimum.at(first, items.code, items.week)
    np.maximum.at(last, items.code, items.week + 1)
    count = last - first
    code = np.repeat(np.arange(len(items.people), dtype=np.int64), count)
    week = np.arange(len(code)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    start = week * 7 * STRIDE_MS
    found = items.over(code, start, start + 7 * STRIDE_MS)
    frame = _frame({"week": week + 1, **_totals(items, code, found)}, np.arange(len(code)))
    frame["participant_id"] = [items.people[c] for c in code]
    return _finish(frame, BY_WEEK, items)


@dataclass(frozen=True, slots=True)
class _Visits:
    """Visits by person and the protocol's order; `row` numbers them."""

    row: Integers
    code: Integers
    visit: NDArray[np.object_]
    day: Floats
    clock: Floats
    held: NDArray[np.bool_]
    weeks: Floats
    row_id: NDArray[np.object_]

    @property
    def moment(self) -> Integers:
        """Moments; a visit without a time of day stands before every session of its day."""
        return moments(self.day, self.clock, unknown_clock_is="first")

    def at(self, rows: NDArray[np.bool_]) -> _Visits:
        """Return some of the visits."""
        import dataclasses

        return _Visits(**{f.name: getattr(self, f.name)[rows] for f in dataclasses.fields(self)})


def _visits(frame: pd.DataFrame, people: list[str], protocol: Protocol) -> _Visits:
    import numpy as np

    order = {visit.key: i for i, visit in enumerate(protocol.visits)}
    code, name = codes_of(frame, people), texts(frame, "visit")
    place = [order.get(visit, len(order)) for visit in name]
    rows = np.array(
        sorted(np.flatnonzero(code >= 0).tolist(), key=lambda i: (code[i], place[i], name[i])), dtype=np.int64
    )
    code, visit, day = code[rows], np.array(name, dtype=object)[rows], numbers(frame, "visited_day")[rows]
    baseline_day = np.full(len(people), np.nan)
    at = visit == baseline_visit(protocol)
    baseline_day[code[at]] = day[at]
    return _Visits(
        row=np.arange(len(rows)),
        code=code,
        visit=visit,
        day=day,
        clock=numbers(frame, "visited_clock")[rows],
        held=np.array(texts(frame, "status"), dtype=object)[rows] != "missed",
        weeks=(day - baseline_day[code]) / 7,
        row_id=np.array(texts(frame, "row_id"), dtype=object)[rows],
    )


def baseline_visit(protocol: Protocol) -> str:
    """Return the visit from which the weeks of a dose rate run.

    The earlier of the two compared visits where it is a baseline; else the last baseline; else the earlier compared
    visit; else none (an empty text).
    """
    compare = protocol.analysis.compare if protocol.analysis is not None else ()
    baselines = [visit.key for visit in protocol.visits if visit.when == "baseline"]
    if compare and compare[0] in baselines:
        return str(compare[0])
    return str(baselines[-1] if baselines else compare[0] if compare else "")


@dataclass(frozen=True, slots=True)
class _Window:
    """What is summed for each visit: after one moment, before another, over so many weeks."""

    after: Integers | None
    before: Integers
    weeks: Floats


def _window(seen: _Visits, protocol: Protocol) -> _Window:
    """Return the stretch of time that the protocol sums for each visit."""
    import numpy as np

    dose = protocol.dose
    lag = dose.lag_days if dose is not None else 0
    shift = round(lag * STRIDE_MS)
    before = seen.moment - shift
    if dose is None or dose.cumulate == "to visit":
        return _Window(None, before, seen.weeks - lag / 7)
    if dose.cumulate == "recent":
        if dose.recent_days is None:
            raise DesignError("a dose over the recent days needs recent_days under [dose]")
        after = before - round(dose.recent_days * STRIDE_MS)
        return _Window(after, before, np.full(len(before), dose.recent_days / 7))
    after, weeks = np.full(len(before), np.iinfo(np.int64).min), seen.weeks - lag / 7
    earlier = -1
    for i in np.lexsort((seen.moment, seen.code)):
        if earlier >= 0 and seen.code[earlier] == seen.code[i]:
            after[i], weeks[i] = before[earlier], (seen.day[i] - seen.day[earlier]) / 7
        if seen.held[i]:
            earlier = int(i)
    return _Window(after, before, weeks)


def _totals(items: Items, who: Integers, found: Stretches) -> dict[str, object]:
    """Return the columns `TOTALS` for each stretch of the items of person `who`."""
    import numpy as np

    delivered = found.sums(items.delivered)
    columns: dict[str, object] = {
        "delivered_sessions": delivered,
        "missed_sessions": found.sums(np.isin(items.status, MISSED)),
        "sessions_without_status": found.sums(items.status == ""),
    }
    for name in QUANTITIES:
        known = ~np.isnan(items.values[name])
        count = found.sums(known)
        total = found.sums(np.where(known, items.values[name], 0.0))
        columns[f"delivered_{name}"] = np.where((delivered > 0) & (count == 0), np.nan, total)
        columns[_WITHOUT[name]] = delivered - count
    return {**columns, **_planned(items, who, found)}


def _planned(items: Items, who: Integers, found: Stretches) -> dict[str, object]:
    """Return the planned columns; nan for a person for whom that quantity is planned nowhere."""
    import numpy as np

    def where_planned(field: str, total: Floats) -> Floats:
        if items.has is None:
            return np.full(len(who), np.nan)
        return np.where(items.has[field][who], total, np.nan)

    minutes, work = np.nan_to_num(items.planned_minutes), np.nan_to_num(items.planned_work)
    return {
        "planned_sessions": where_planned("sessions_per_week", found.sums(items.planned)),
        "not_recorded_sessions": where_planned("sessions_per_week", found.sums(~items.on_record)),
        "sessions_beyond_plan": where_planned("sessions_per_week", found.sums(~items.planned)),
        "planned_active_minutes": where_planned("active_minutes", found.sums(minutes)),
        "planned_work_kj": where_planned("work_kj", found.sums(work)),
    }


def _ratios(columns: dict[str, object], items: Items, found: Stretches) -> None:
    """Add rates and ratios; no ratio of sums of which one leaves planned sessions out."""
    import numpy as np

    def over(top: object, bottom: object) -> Floats:
        above, below = np.asarray(top, dtype=np.float64), np.asarray(bottom, dtype=np.float64)
        ratio: Floats = np.divide(above, below, out=np.full(len(above), np.nan), where=below > 0)
        return ratio

    weeks = columns["window_weeks"]
    columns["active_minutes_per_week"] = over(columns["delivered_active_minutes"], weeks)
    columns["work_kj_per_week"] = over(columns["delivered_work_kj"], weeks)
    columns["attendance"] = over(columns["delivered_sessions"], columns["planned_sessions"])
    for name, planned, share in (
        ("active_minutes", items.planned_minutes, "relative_active_minutes"),
        ("work_kj", items.planned_work, "relative_work"),
    ):
        whole = found.sums(items.planned & np.isnan(planned)) == 0
        ratio = over(columns[f"delivered_{name}"], columns[f"planned_{name}"])
        columns[share] = np.where(whole, ratio, np.nan)


def _last_session(items: Items, seen: _Visits) -> dict[str, object]:
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


def _cells(items: Items, found: Stretches, seen: _Visits, tables: Tables) -> list[str]:
    """Return the rows behind each visit's dose: the visit, the sessions summed, the prescriptions until then."""
    import numpy as np

    before = np.append(0, np.cumsum(items.on_record))
    low, high = before[found.low].tolist(), before[found.high].tolist()
    prescribed = _prescriptions(tables, items.people)
    cells = []
    for i, (code, day) in enumerate(zip(seen.code.tolist(), seen.day.tolist(), strict=True)):
        plan = [row for start, row in prescribed.get(code, ()) if start <= day]
        cells.append(" ".join(filter(None, [seen.row_id[i], *items.row_ids[low[i] : high[i]], *plan])))
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


def _frame(columns: dict[str, object], index: Integers) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(columns, index=pd.Index(index))


def _finish(frame: pd.DataFrame, names: tuple[str, ...], items: Items) -> pd.DataFrame:
    """Return the columns in order, words as text, everything else as floats, with what the study lacks."""
    whole = frame[list(names)].reset_index(drop=True)
    whole = whole.astype({name: "str" if name in _WORDS else "float64" for name in names})
    whole.attrs = {"reason": "", "plan": "" if items.has is not None else NO_PLAN}
    return whole


def _empty(names: tuple[str, ...], reason: str) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame({name: pd.Series(dtype="str" if name in _WORDS else "float64") for name in names})
    frame.attrs = {"reason": reason, "plan": ""}
    return frame
