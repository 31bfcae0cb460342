"""Sessions, planned sessions and visits on one time line per person, and sums over stretches of it.

A moment is a whole number of milliseconds. Every day takes two days' worth of them: a session whose time of day is
unknown stands after every visit of its day, a visit whose time of day is unknown before every session of its day, so
that ``session < visit`` is exactly the rule "an earlier day, or the same day where both clock times are known and the
session's is earlier".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DataError, Finding
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Flags = NDArray[np.bool_]
    Tables = Mapping[str, pd.DataFrame]

DAY_MS = 86_400_000
STRIDE_MS = 2 * DAY_MS
"""Milliseconds that one day takes on the time line."""

STATES = TABLES["sessions"].by_name["status"].words
"""States of a session row."""

REQUIRED = {
    "participants": ("participant_id",),
    "visits": ("participant_id", "visit", "visited_day"),
    "prescriptions": ("participant_id", "from_day"),
    "sessions": ("participant_id", "started_day", "status"),
}
"""Columns without which a table cannot be placed in time; any other absent column is all missing."""


def table_of(tables: Tables, name: str) -> pd.DataFrame | None:
    """Return a table, or None where the study has none.

    Raises
    ------
    DataError
        The table lacks a column that places its rows.
    """
    if name not in tables:
        return None
    frame = tables[name]
    missing = [column for column in REQUIRED[name] if column not in frame.columns]
    if missing:
        raise DataError(
            [Finding(grade="block", rule="missing_column", table=name, expected=f"column '{c}'") for c in missing]
        )
    return frame


def numbers(frame: pd.DataFrame, column: str) -> Floats:
    """Return a numeric column as floats; nan where missing or where the table has no such column."""
    import numpy as np

    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    return frame[column].to_numpy(dtype=np.float64, na_value=np.nan)


def texts(frame: pd.DataFrame, column: str) -> list[str]:
    """Return a text column as plain texts; empty where missing."""
    if column not in frame.columns:
        return [""] * len(frame)
    values: list[str] = frame[column].astype("str").fillna("").tolist()
    return values


def people_of(tables: Tables) -> list[str]:
    """Return every participant id of the tables that dose is made of, sorted."""
    ids: set[str] = set()
    for name in ("participants", "visits", "sessions"):
        frame = table_of(tables, name)
        if frame is not None:
            ids.update(frame["participant_id"].dropna().unique())
    return sorted(str(i) for i in ids)


def codes_of(frame: pd.DataFrame, people: list[str]) -> Integers:
    """Return the position of each row's participant in `people`, -1 where the id is missing."""
    import numpy as np
    import pandas as pd

    return np.asarray(pd.Index(people, dtype="str").get_indexer(pd.Index(frame["participant_id"])), dtype=np.int64)


def moments(day: Floats, clock: Floats, *, unknown_clock_is: str) -> Integers:
    """Return days and clock times as moments.

    Parameters
    ----------
    day : array of float
        Whole days; none missing.
    clock : array of float
        Minutes after midnight; nan where no time of day is known.
    unknown_clock_is : {"first", "last"}
        Where a moment without a time of day stands within its day.
    """
    import numpy as np

    within = np.round(np.nan_to_num(clock) * 60_000).astype(np.int64)
    within = np.where(np.isnan(clock), 0 if unknown_clock_is == "first" else DAY_MS, within)
    return day.astype(np.int64) * STRIDE_MS + within


def rank_within(groups: Integers) -> Integers:
    """Return 0, 1, 2, ... within each run of equal numbers.

    Examples
    --------
    >>> import numpy as np
    >>> rank_within(np.array([4, 4, 7, 9, 9, 9])).tolist()
    [0, 1, 0, 0, 1, 2]
    """
    import numpy as np

    at = np.arange(len(groups), dtype=np.int64)
    starts = np.flatnonzero(np.diff(groups, prepend=groups[:1] - 1))
    return at - np.repeat(starts, np.diff(starts, append=len(groups)))


@dataclass(frozen=True, slots=True)
class Sessions:
    """The session rows that have a day, by person and moment.

    Parameters
    ----------
    code : array of int
        Position of the person.
    day : array of float
    moment : array of int
    status : array of int
        Position in `STATES`, -1 where not on record.
    values : dict of str to array of float
        The columns that are summed, and `planned_minutes`.
    rows : array of int
        Where each stands in the table as it was handed over.
    undated : array of int
        Session rows without a day, by person.
    """

    code: Integers
    day: Floats
    moment: Integers
    status: Integers
    values: dict[str, Floats]
    rows: Integers
    undated: Integers


def read_sessions(tables: Tables, people: list[str], columns: tuple[str, ...]) -> Sessions | None:
    """Return the session rows in order of person and time, or None where the study has no sessions table."""
    import numpy as np
    import pandas as pd

    frame = table_of(tables, "sessions")
    if frame is None:
        return None
    code, day = codes_of(frame, people), numbers(frame, "started_day")
    undated = np.bincount(code[(code >= 0) & np.isnan(day)], minlength=len(people)).astype(np.int64)
    dated = np.flatnonzero((code >= 0) & ~np.isnan(day))
    moment = moments(day[dated], numbers(frame, "started_clock")[dated], unknown_clock_is="last")
    order = _in_time(code[dated], moment, frame.iloc[dated])
    rows = dated[order]
    return Sessions(
        code=code[rows],
        day=day[rows],
        moment=moment[order],
        status=np.asarray(pd.Index(STATES).get_indexer(pd.Index(frame["status"])), dtype=np.int64)[rows],
        values={name: numbers(frame, name)[rows] for name in columns},
        rows=rows,
        undated=undated,
    )


def _in_time(code: Integers, moment: Integers, frame: pd.DataFrame) -> Integers:
    """Return the order by person, moment and, among equals, name, so that the order of rows in a file is irrelevant."""
    import numpy as np

    order = np.lexsort((moment, code)).astype(np.int64)
    same = np.flatnonzero((np.diff(code[order]) == 0) & (np.diff(moment[order]) == 0))
    if len(same) == 0:
        return order
    places = np.union1d(same, same + 1)
    tied = order[places]
    names = zip(texts(frame.iloc[tied], "session_id"), texts(frame.iloc[tied], "row_id"), strict=True)
    by_name = sorted(zip(code[tied], moment[tied], names, tied, strict=True))
    order[places] = [row for *_, row in by_name]
    return order


@dataclass(frozen=True, slots=True)
class Stretches:
    """From where to where a list of sorted things is summed: ``things[low:high]`` for each stretch."""

    low: Integers
    high: Integers

    def sums(self, values: Floats | Integers | Flags) -> Floats:
        """Return the sum of `values` over each stretch; 0 over an empty one."""
        import numpy as np

        padded = np.append(values.astype(np.float64), 0.0)
        ends = np.column_stack((self.low, self.high)).ravel()
        return np.where(self.high > self.low, np.add.reduceat(padded, ends)[::2], 0.0)


def stretches(code: Integers, moment: Integers, who: Integers, after: Integers | None, before: Integers) -> Stretches:
    """Return where the things of person `who` lie that count for `before` but not for `after`.

    Parameters
    ----------
    code, moment : array of int
        Person and moment of each thing, sorted.
    who : array of int
        Person of each stretch.
    after, before : array of int
        Moments of visits; `after` is None where everything before counts.
    """
    import numpy as np

    if len(moment) == 0:
        return Stretches(low=np.zeros(len(who), dtype=np.int64), high=np.zeros(len(who), dtype=np.int64))
    first, end = int(moment.min()), int(moment.max()) + 1
    span = end - first + 1
    line = code * span + (moment - first)
    low = np.searchsorted(line, who * span + ((np.clip(after, first, end) - first) if after is not None else 0))
    high = np.searchsorted(line, who * span + (np.clip(before, first, end) - first))
    return Stretches(low=low.astype(np.int64), high=np.maximum(high, low).astype(np.int64))
