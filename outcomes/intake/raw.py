"""Sheets as read: every cell as canonical text beside the type that it had in the file."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.intake.sheet_xml import Marks

    Texts = NDArray[np.object_]
    Types = NDArray[np.int8]
    Reasons = NDArray[np.int16]
    Integers = NDArray[np.int64]
    Flags = NDArray[np.bool_]
    Floats = NDArray[np.float64]

LARGEST_WHOLE = 2.0**53
"""Beyond it a floating-point number no longer tells one whole number from the next."""

BLANK, TEXT, NUMBER, DATE, CLOCK, TRUTH, ERROR, UNCALCULATED, FIXED = range(9)
"""Types of a cell. A text file knows BLANK and TEXT only; FIXED is a constant of columns.csv, not a cell."""


@dataclass(slots=True)
class Sheet:
    """One sheet of a workbook, one text file or one data frame.

    Parameters
    ----------
    file, name : str
        File inside the study folder; sheet of a workbook, else empty.
    headings : list of str
        Trimmed, in Unicode form NFC; empty where a column has none.
    columns : list of object arrays of shape (n_rows,)
        Cells as canonical text, "" where blank; non-blank rows only.
    types : list of int8 arrays of shape (n_rows,)
        Type of each cell.
    rows : int array of shape (n_rows,)
        The spreadsheet's own row numbers.
    short : dict of int to int
        Rows of a text file that have fewer fields than headings: row number to number of fields.
    unit_row : int, optional
        Row that the protocol declares to hold units.
    units : dict of int to str
        Its cells by column position.
    notes : list of str
        What was decided on reading, such as a separator that was found.
    marks : Marks, optional
        What the second look into a workbook found.
    hidden : bool
        Whether the workbook hides the sheet.
    labels : dict of int to dict of str to str
        Value labels of a statistics file: column position to text of a value to its label.
    missing : dict of int to frozenset of str
        Texts of a column that a statistics file itself declares missing.
    likely_header : int, optional
        Row that looks like the headings where the declared row does not.
    """

    file: str
    name: str
    headings: list[str]
    columns: list[Texts]
    types: list[Types]
    rows: Integers
    header_row: int = 1
    blank_rows: int = 0
    trimmed_headings: int = 0
    short: dict[int, int] = field(default_factory=dict)
    unit_row: int | None = None
    units: dict[int, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    marks: Marks | None = None
    hidden: bool = False
    labels: dict[int, dict[str, str]] = field(default_factory=dict)
    missing: dict[int, frozenset[str]] = field(default_factory=dict)
    likely_header: int | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which columns.csv may speak of the sheet: its own, and those of its file."""
        return tuple(dict.fromkeys((*self.own_names, *self._file_names)))

    @property
    def own_names(self) -> tuple[str, ...]:
        """Names that are those of this sheet alone."""
        if not self.name:
            return self._file_names
        return (self.name, *(f"{file}/{self.name}" for file in self._file_names))

    @property
    def _file_names(self) -> tuple[str, str]:
        return self.file, self.file.rpartition(".")[0] or self.file

    @property
    def title(self) -> str:
        """File and sheet as messages name them."""
        return f"{self.file}, {self.name}" if self.name else self.file


PROPOSES = "'outcomes check FOLDER --suggest' proposes one."
"""Where a proposal for columns.csv comes from."""


def number_text(value: float) -> str:
    """Return the shortest decimal that reads back.

    Examples
    --------
    >>> number_text(1.0), number_text(41.5), number_text(-0.0), number_text(0.1), number_text(2026010100000123.0)
    ('1', '41.5', '0', '0.1', '2026010100000123')
    """
    if abs(value) <= LARGEST_WHOLE and value == int(value):
        return str(int(value))
    return repr(float(value))


def moment_text(value: dt.datetime) -> str:
    """Return a date cell as ISO text; a cell at midnight exactly is a day without time.

    Examples
    --------
    >>> moment_text(dt.datetime(2026, 3, 1, 9, 30)), moment_text(dt.datetime(2026, 3, 1))
    ('2026-03-01 09:30', '2026-03-01')
    """
    if value.tzinfo is not None:
        return value.isoformat(sep=" ", timespec="seconds")  # a zone is refused with the column, never dropped
    if value.microsecond:
        value = (value + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
    if (value.hour, value.minute, value.second) == (0, 0, 0):
        return value.strftime("%Y-%m-%d") if value.year >= 1000 else value.isoformat()[:10]
    return value.isoformat(sep=" ", timespec="seconds" if value.second else "minutes")


def clock_text(seconds: float) -> str:
    """Return seconds after midnight as ``HH:MM`` or ``HH:MM:SS``.

    Examples
    --------
    >>> clock_text(34200), clock_text(34201)
    ('09:30', '09:30:01')
    """
    minutes, second = divmod(round(seconds), 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour:02d}:{minute:02d}" + (f":{second:02d}" if second else "")


def cell(value: Any) -> tuple[str, int]:
    """Return one value of a workbook or data frame as canonical text and type."""
    if isinstance(value, str):
        return (value, TEXT) if value.strip() else ("", BLANK)
    if isinstance(value, bool):
        return ("TRUE" if value else "FALSE"), TRUTH
    if isinstance(value, int):
        return str(value), NUMBER
    if isinstance(value, float):
        return (number_text(value), NUMBER) if value == value else ("", BLANK)
    if isinstance(value, dt.datetime):
        return moment_text(value), DATE
    if isinstance(value, dt.date):
        return value.isoformat(), DATE
    if isinstance(value, dt.time):
        return clock_text(value.hour * 3600 + value.minute * 60 + value.second + value.microsecond / 1e6), CLOCK
    if isinstance(value, dt.timedelta):
        return clock_text(value.total_seconds()), CLOCK
    return ("", BLANK) if value is None else (str(value), TEXT)


def texts(values: list[str]) -> Texts:
    """Return a list of texts as an object array."""
    import numpy as np

    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


def unique(values: Texts) -> tuple[Integers, list[str]]:
    """Return the position of every text among the different ones, and the different ones in order of appearance."""
    import numpy as np
    import pandas as pd

    codes, different = pd.factorize(values)
    return codes.astype(np.int64, copy=False), [str(text) for text in different]
