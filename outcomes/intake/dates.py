"""Days, moments and clock times from text: ISO or the declared format, never a guess."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

ISO = re.compile(r"([12][0-9]{3})-([0-9]{2})-([0-9]{2})(?:[T ]([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:\.[0-9]{1,6})?)?)?")
SLASHED = re.compile(r"([0-9]{1,2})([./ -])([0-9]{1,2})\2([0-9]{4})(?:[T ,]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)?")
SHORT_YEAR = re.compile(r"[0-9]{1,2}([./ -])[0-9]{1,2}\1[0-9]{2}(?:[T ,]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)?")
SERIAL = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")
ZONED = re.compile(r"[12][0-9]{3}-[0-9]{2}-[0-9]{2}[T ][0-9:.]+ ?(?:Z|[+-][0-9]{2}:?[0-9]{2})")
CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")

ISO_DAY = "a day such as 2026-03-31"
ISO_MOMENT = "a day such as 2026-03-31, with or without a time such as 09:30"

EXPECTED = {
    "ambiguous_date": "{wanted}; day and month could be swapped",
    "two_digit_year": "{wanted}; the century would be a guess",
    "date_serial": "{wanted}; a number may be a date serial, which is read only from a real date cell",
    "time_zone": "{wanted}, in local time without a zone",
    "no_such_day": "{wanted}; there is no such day or time",
    "not_a_date": "{wanted}",
}
"""Rule to what would do."""


class When(NamedTuple):
    """A day as a date and a time of day in minutes after midnight, None where not given; or the rule that it breaks."""

    moment: dt.datetime | None
    clock: float | None
    problem: str


def format_fault(pattern: str) -> str:
    """Return why a date format cannot be used, or an empty text.

    Examples
    --------
    >>> format_fault("%d.%m.%Y"), format_fault("%d/%m/%y")
    ('', 'a format with %Y; a year of two digits leaves the century to a guess')
    """
    if "%y" in pattern:
        return "a format with %Y; a year of two digits leaves the century to a guess"
    if "%Y" not in pattern or "%d" not in pattern or not re.search("%[mbB]", pattern):
        return "a format with %d, %m and %Y, such as %d.%m.%Y"
    try:
        dt.datetime.strptime(dt.datetime(2026, 12, 31, 23, 59).strftime(pattern), pattern)
    except (ValueError, re.error):
        return "a format that reads back what it writes, such as %d.%m.%Y"
    return ""


def read_when(text: str, pattern: str | None, is_serial: bool = False) -> When:
    """Read one day or moment.

    Parameters
    ----------
    text : str
        Trimmed, not empty.
    pattern : str or None
        Declared format; ISO is read beside it.
    is_serial : bool
        Whether the cell is a number, not a date, in a workbook.

    Examples
    --------
    >>> read_when("2026-03-31 09:30", None).clock, read_when("03/04/2026", None).problem
    (570.0, 'ambiguous_date')
    >>> read_when("03/04/2026", "%d/%m/%Y").moment
    datetime.datetime(2026, 4, 3, 0, 0)
    """
    iso = ISO.fullmatch(text)
    if iso:
        return _from_parts(iso)
    if is_serial:
        return When(None, None, "date_serial")
    if pattern is not None and (declared := _declared(text, pattern)) is not None:
        return declared
    if ZONED.fullmatch(text):
        return When(None, None, "time_zone")
    if SERIAL.fullmatch(text):
        return When(None, None, "date_serial")
    if pattern is None and (slashed := SLASHED.fullmatch(text)):
        possible = int(slashed[1]) <= 31 and int(slashed[3]) <= 31 and min(int(slashed[1]), int(slashed[3])) <= 12
        return When(None, None, "ambiguous_date" if possible else "no_such_day")
    return When(None, None, "two_digit_year" if SHORT_YEAR.fullmatch(text) else "not_a_date")


def _from_parts(iso: re.Match[str]) -> When:
    year, month, day, hour, minute, second = (int(part) if part else 0 for part in iso.groups())
    try:
        moment = dt.datetime(year, month, day, hour, minute, second)
    except ValueError:
        return When(None, None, "no_such_day")
    return When(moment, None if iso[4] is None else hour * 60 + minute + second / 60, "")


def _declared(text: str, pattern: str) -> When | None:
    has_time = re.search("%[HIMSTXc]", pattern) is not None
    for suffix in ("",) if has_time else ("", " %H:%M", " %H:%M:%S"):
        try:
            moment = dt.datetime.strptime(text, pattern + suffix)
        except (ValueError, re.error):
            continue
        timed = has_time or bool(suffix)
        return When(moment, moment.hour * 60 + moment.minute + moment.second / 60 if timed else None, "")
    return None


def read_clock(text: str) -> float | None:
    """Return a time of day in minutes after midnight, or None.

    Examples
    --------
    >>> read_clock("09:30"), read_clock("25:00")
    (570.0, None)
    """
    clock = CLOCK.fullmatch(text)
    if clock is None or int(clock[1]) > 23 or int(clock[2]) > 59 or int(clock[3] or 0) > 59:
        return None
    return int(clock[1]) * 60 + int(clock[2]) + int(clock[3] or 0) / 60


def order_of(texts: Sequence[str]) -> tuple[str, str]:
    """Return a text that can only be day first and one that can only be month first, each empty where there is none.

    Examples
    --------
    >>> order_of(["03/04/2025", "25/04/2025"])
    ('25/04/2025', '')
    """
    day_first = month_first = ""
    for text in texts:
        slashed = SLASHED.fullmatch(text)
        if slashed and int(slashed[1]) > 12:
            day_first = day_first or text
        elif slashed and int(slashed[3]) > 12:
            month_first = month_first or text
    return day_first, month_first


def formats_for(text: str) -> tuple[str, str]:
    """Return the day-first and the month-first format that would read a text.

    Examples
    --------
    >>> formats_for("03/04/2025")
    ('%d/%m/%Y', '%m/%d/%Y')
    """
    slashed = SLASHED.fullmatch(text)
    mark = slashed[2] if slashed else "/"
    return f"%d{mark}%m{mark}%Y", f"%m{mark}%d{mark}%Y"
