"""Tables on their way into files, where damage may change cells, rows and headings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from synthetic_cohort.tables import Row, csv_text

if TYPE_CHECKING:
    from numpy.random import Generator

HEADER_ROW = 1


@dataclass
class Sheet:
    """One table on its way into a file.

    Parameters
    ----------
    file : str
    columns : tuple of str
        Column under each heading.
    rows : list of dict
    headings : list of str
        What stands in the first line; the columns' own names unless damaged.
    """

    file: str
    columns: tuple[str, ...]
    rows: list[Row]
    headings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.headings = self.headings or list(self.columns)

    def text(self) -> str:
        """Return the file's text."""
        return csv_text(self.headings, self.rows, self.columns)

    def number_of(self, row: Row) -> int:
        """Return the spreadsheet's number of a row; the header is row 1."""
        return next(i for i, other in enumerate(self.rows) if other is row) + HEADER_ROW + 1


@dataclass(frozen=True)
class Fault:
    """One planted fault.

    Parameters
    ----------
    kind : str
        What was done.
    grade : {"block", "set_aside", "ask", "duplicate", None}
        What must become of it; None for a fault that no single cell shows.
    file, column : str
        Column by its heading in the file.
    row : int or None
        The spreadsheet's number; None for a whole column.
    also_row : int or None
        The other row of a pair.
    participant_id, found, was : str
        Whose row, what stands there now, and what stood there before.
    """

    kind: str
    grade: str | None
    file: str
    column: str
    row: int | None
    also_row: int | None
    participant_id: str
    found: str
    was: str

    def as_dict(self) -> dict[str, Any]:
        """Return it for the truth file."""
        return asdict(self)


@dataclass
class _Planted:
    kind: str
    grade: str | None
    sheet: Sheet
    column: str
    row: Row | None
    header: bool
    also: Row | None
    found: str
    was: str

    def number(self) -> int | None:
        if self.row is not None:
            return self.sheet.number_of(self.row)
        return HEADER_ROW if self.header else None


class Planter:
    """Changes cells and remembers what it did; no row is damaged twice."""

    def __init__(self, sheets: dict[str, Sheet], rng: Generator) -> None:
        self.sheets = sheets
        self._rng = rng
        self._planted: list[_Planted] = []
        self._used: set[int] = set()

    def pick(self, table: str, many: int, fits: Callable[[Row], bool]) -> list[Row]:
        """Return up to `many` undamaged rows that fit, at random, in the order of the file; they count as damaged."""
        fitting = [row for row in self.sheets[table].rows if not self.is_damaged(row) and fits(row)]
        chosen = sorted(self._rng.permutation(len(fitting))[:many].tolist())
        rows = [fitting[i] for i in chosen]
        self.reserve(rows)
        return rows

    def reserve(self, rows: Sequence[Row]) -> None:
        """Keep rows from being damaged again."""
        self._used.update(id(row) for row in rows)

    def set(
        self, kind: str, grade: str | None, table: str, row: Row, column: str, text: str, *, also: Row | None = None
    ) -> None:
        """Write `text` into a cell."""
        was, row[column] = row.get(column, ""), text
        self.note(kind, grade, table, column, row, also=also, found=text, was=was)

    def is_damaged(self, row: Row) -> bool:
        """Return whether a row was picked or reserved."""
        return id(row) in self._used

    def insert(self, table: str, row: Row, after: Row | None) -> None:
        """Put a row behind another, or at the end."""
        rows = self.sheets[table].rows
        place = len(rows) if after is None else next(i for i, other in enumerate(rows) if other is after) + 1
        rows.insert(place, row)
        self.reserve([row])

    def note(
        self,
        kind: str,
        grade: str | None,
        table: str,
        column: str,
        row: Row | None = None,
        *,
        header: bool = False,
        also: Row | None = None,
        found: str = "",
        was: str = "",
    ) -> None:
        """Remember a fault; without a row it is of the header, or of the whole column."""
        self._planted.append(_Planted(kind, grade, self.sheets[table], column, row, header, also, found, was))

    def faults(self) -> list[Fault]:
        """Return every fault with the row numbers that the finished files give it."""
        return [
            Fault(
                kind=one.kind,
                grade=one.grade,
                file=one.sheet.file,
                column=one.column,
                row=one.number(),
                also_row=None if one.also is None else one.sheet.number_of(one.also),
                participant_id="" if one.row is None else one.row.get("participant_id", ""),
                found=one.found,
                was=one.was,
            )
            for one in self._planted
        ]
