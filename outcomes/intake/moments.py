"""Columns of days, moments and clock times of a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.intake.dates import EXPECTED, ISO_DAY, ISO_MOMENT, read_clock, read_when
from outcomes.intake.doubts import date_doubts
from outcomes.intake.drafts import NORMALISED, Draft
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import NUMBER
from outcomes.intake.settling import Reader, reject, settle
from outcomes.vocabulary import Column

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Integers


def read_moments(draft: Draft, column: Column, form: str, reader: Reader) -> None:
    """Read one form of a day or moment: ``..._on``, ``..._at``, ``..._day`` or ``..._clock``."""
    if form.endswith("_day"):
        _days(draft, form, reader)
    elif form.endswith("_clock"):
        _clocks(draft, form, reader)
    else:
        _moments(draft, column, reader)


def _days(draft: Draft, form: str, reader: Reader) -> None:
    """Read days since enrolment: whole numbers."""
    import numpy as np

    codes, different = settle(draft, form, "number", reader)
    values = np.full(len(different), np.nan)
    wrong: dict[int, str] = {}
    for i, text in enumerate(different):
        if NUMBER_PATTERN.fullmatch(text) and float(text) == int(float(text)) if _finite(text) else False:
            values[i] = float(text)
        elif text:
            wrong[i] = "a whole number of days since enrolment"
    draft.number[form] = values[codes] if different else np.zeros(0)
    for i, expected in wrong.items():
        reject(draft, reader, form, np.flatnonzero(codes == i), "not_a_day", expected)


def _finite(text: str) -> bool:
    return NUMBER_PATTERN.fullmatch(text) is not None and abs(float(text)) < 1e6


def _clocks(draft: Draft, form: str, reader: Reader) -> None:
    """Read times of day."""
    import numpy as np

    codes, different = settle(draft, form, "number", reader)
    values = np.full(len(different), np.nan)
    wrong: dict[int, str] = {}
    for i, text in enumerate(different):
        clock = read_clock(text) if text else None
        if clock is not None:
            values[i] = clock
        elif text:
            wrong[i] = "a time of day such as 09:30"
    draft.number[form] = values[codes] if different else np.zeros(0)
    for i, expected in wrong.items():
        reject(draft, reader, form, np.flatnonzero(codes == i), "not_a_time", expected)


def _moments(draft: Draft, column: Column, reader: Reader) -> None:
    """Read a day or moment typed as a date."""
    import numpy as np

    form = column.name
    codes, different = settle(draft, form, "number", reader)
    draft.moment[form] = np.full(len(draft), np.datetime64("NaT", "us"))
    clock = np.full(len(draft), np.nan)
    serial = draft.types[form] == NUMBER
    patterns = [feed.formats.get(form) or reader.protocol.intake.date_format for feed in draft.feeds]
    of_feed = np.array([sorted({p or "" for p in patterns}).index(p or "") for p in patterns], dtype=np.int64)
    for index, pattern in enumerate(sorted({p or "" for p in patterns})):
        here = of_feed[draft.feed] == index
        for is_serial in (False, True):
            rows = np.flatnonzero(here & (serial == is_serial))
            if len(rows):
                _read_rows(draft, column, rows, codes, different, pattern or None, is_serial, clock, reader)
    if column.kind == "moment":
        draft.number[f"{column.stem}_clock"] = clock


def _read_rows(
    draft: Draft,
    column: Column,
    rows: Integers,
    codes: Integers,
    different: list[str],
    pattern: str | None,
    is_serial: bool,
    clock: object,
    reader: Reader,
) -> None:
    import numpy as np

    form = column.name
    present = np.unique(codes[rows]).tolist()
    moments = np.full(len(different), np.datetime64("NaT", "us"))
    clocks = np.full(len(different), np.nan)
    problems: dict[str, list[int]] = {}
    for i in present:
        if not different[i]:
            continue
        when = read_when(different[i], pattern, is_serial)
        if when.problem:
            problems.setdefault(when.problem, []).append(i)
            continue
        moments[i] = np.datetime64(when.moment, "us")
        clocks[i] = np.nan if when.clock is None else when.clock
    draft.moment[form][rows] = moments[codes[rows]]
    assert isinstance(clock, np.ndarray)
    clock[rows] = clocks[codes[rows]]
    if column.kind == "date":
        timed = rows[~np.isnan(clocks[codes[rows]])]
        draft.moment[form][timed] = draft.moment[form][timed].astype("datetime64[D]")
        draft.mark(form, timed, NORMALISED, "time_of_day_dropped")
    for rule, broken in problems.items():
        flags = np.zeros(len(different), dtype=bool)
        flags[broken] = True
        _refuse(draft, column, rows[flags[codes[rows]]], rule, pattern, reader)


def _refuse(draft: Draft, column: Column, rows: Integers, rule: str, pattern: str | None, reader: Reader) -> None:
    """Refuse a column in doubt sheet by sheet, else set single cells aside."""
    import numpy as np

    wanted = ISO_DAY if column.kind == "date" else ISO_MOMENT
    if pattern is not None:
        wanted += f", or as in '{pattern}'"
    expected = EXPECTED[rule].format(wanted=wanted)
    sheets = draft.sheet_of_rows()
    for sheet in np.unique(sheets[rows]).tolist():
        here: Flags = sheets == sheet
        mine = rows[sheets[rows] == sheet]
        filled = int((here & (draft.typed[column.name] != "")).sum())
        if date_doubts(draft, column.name, mine, rule, reader, filled):
            draft.empty(column.name, mine, rule)
        else:
            reject(draft, reader, column.name, mine, rule, expected)
