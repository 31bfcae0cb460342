"""Faults planted on purpose, each written into the truth with the grade that it must get."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from synthetic_cohort.tables import Row, csv_text

HEADER_ROW = 1


@dataclass
class Sheet:
    """One table on its way into a file; damage may change rows and headings.

    Parameters
    ----------
    file : str
    columns : tuple of str
        Columns in order; `headings` are what stands above them.
    rows : list of dict
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
    """One planted fault."""

    kind: str
    grade: str | None
    file: str
    column: str
    row: int | None

    def as_dict(self) -> dict[str, Any]:
        """Return it for the truth file."""
        return dict(self.__dict__)


def plant(sheets: dict[str, Sheet], damage: str, seed: int) -> Sequence[Fault]:
    """Plant."""
    return []
