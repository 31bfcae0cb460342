"""The sheet of queries: written beside marked cells, filled in by a person, read back as decisions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from outcomes.errors import Finding
from outcomes.intake.book_bytes import put_text
from outcomes.intake.settings import Decision, Line, decisions_of
from outcomes.vocabulary import DECISIONS, DECISIONS_CSV

if TYPE_CHECKING:
    from openpyxl import Workbook

    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet

QUERY_SHEET = "queries"
"""Name of the sheet; no table bears it."""

ASKED = ("query", "file", "sheet", "row", "heading", "found", "expected")
ANSWERED = DECISIONS_CSV[1:]
WIDTHS = (12, 22, 18, 7, 22, 20, 60, 13, 16, 13, 40)


def add_query_sheet(book: Workbook, findings: Iterable[Finding]) -> None:
    """Add the sheet of queries to a workbook, with a drop-down for the decision; an earlier one is taken out.

    Answers that stand in the earlier sheet are kept.
    """
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    earlier = _earlier_answers(book)
    asked = {finding.query: finding for finding in findings if finding.query}
    sheet = book.create_sheet(QUERY_SHEET)
    for position, heading in enumerate((*ASKED, *ANSWERED), start=1):
        put_text(sheet, 1, position, heading).font = Font(bold=True)
        letter = get_column_letter(position)
        sheet.column_dimensions[letter].width = WIDTHS[position - 1]
        sheet.column_dimensions[letter].number_format = "@"
    for number, one in enumerate(asked.values(), start=2):
        place = (one.query, one.file, one.sheet, str(one.row or ""), one.column, one.found, one.expected)
        for position, text in enumerate((*place, *earlier.get(one.query, ())), start=1):
            if text:
                put_text(sheet, number, position, text).number_format = "@"
    rows = len(asked) + 1
    choice = DataValidation(
        type="list",
        formula1=f'"{",".join(DECISIONS)}"',
        allow_blank=True,
        showErrorMessage=True,
        error="keep: the value stands. set_aside: it becomes missing.",
        promptTitle="decision",
        prompt="keep: the value stands. set_aside: it becomes missing. Role, date and reason are needed too.",
        showInputMessage=True,
    )
    choice.add(f"H2:H{max(rows, 2)}")
    sheet.add_data_validation(choice)
    sheet.freeze_panes = "B2"


def _earlier_answers(book: Workbook) -> dict[str, tuple[str, ...]]:
    if QUERY_SHEET not in book.sheetnames:
        return {}
    rows = list(book[QUERY_SHEET].iter_rows(values_only=True))
    del book[QUERY_SHEET]
    if not rows or len(rows[0]) < len(ASKED) + len(ANSWERED):
        return {}
    return {
        str(row[0]): tuple(_text(value) for value in row[len(ASKED) : len(ASKED) + len(ANSWERED)])
        for row in rows[1:]
        if row[0]
    }


def _text(value: object) -> str:
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    return "" if value is None else str(value)


def read_query_sheets(sheets: Sequence[Sheet], found: Collector) -> list[Decision]:
    """Return the decisions of the sheets of queries; a row without a decision asks still."""
    decisions: list[Decision] = []
    for sheet in sheets:
        if sheet.name != QUERY_SHEET:
            continue
        missing = [heading for heading in DECISIONS_CSV if sheet.headings.count(heading) != 1]
        if missing:
            expected = f"the heading '{missing[0]}' once"
            found.add("block", "missing_heading", expected, file=sheet.file, sheet=sheet.name, row=sheet.header_row)
            continue
        columns = {heading: sheet.columns[sheet.headings.index(heading)] for heading in DECISIONS_CSV}
        lines = [
            Line(int(row), {heading: str(column[i]).strip() for heading, column in columns.items()})
            for i, row in enumerate(sheet.rows.tolist())
        ]
        answered = [line for line in lines if line["decision"]]
        decisions += decisions_of(answered, found, file=sheet.file, sheet=sheet.name)
    return decisions
