"""Findings marked in a copy of the clinic's workbooks: a tinted cell with a comment that says what would do, and a
sheet of queries. A person mends the copy, answers the queries, and saves it in the place of the workbook."""

from __future__ import annotations

import io
import json
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.errors import DataError, Finding, Grade
from outcomes.files import inside, sha256, write_whole
from outcomes.intake.book_bytes import book_bytes, put_text
from outcomes.intake.query_sheet import QUERY_SHEET, add_query_sheet
from outcomes.intake.readers import WORKBOOK_SUFFIXES
from outcomes.intake.sheet_xml import MARKING, TINTS
from outcomes.intake.text_files import tidy_heading

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

WORDS: dict[Grade, str] = {"block": "STOPS THE RUN", "set_aside": "SET ASIDE", "ask": "QUESTION"}
"""First words of the comment: the meaning never rests on the tint alone."""

RULE = "--- outcomes check ---"
"""Line in a comment between the clinic's own words and ours."""

OPENED = (".xlsx", ".xlsm")
"""Workbooks whose copy keeps formats and formulas; the copy of any other holds its values."""

QUERIES_BOOK = "queries.xlsx"
"""Workbook for the queries about files that are no xlsx workbook."""

WRITTEN = "marked.json"
"""Hashes of the copies as they were written, which tell whether somebody has worked in one since."""


def mark_findings(folder: str | Path, findings: Iterable[Finding], header_row: int = 1) -> list[Path]:
    """Write a copy of every workbook that has findings, with each finding at its cell and a sheet of queries.

    Parameters
    ----------
    folder : path
        The study folder; its own files are not changed.
    findings : iterable of Finding
    header_row : int
        Row of the headings, as in the protocol.

    Returns
    -------
    list of Path
        ``results/check/<name>.marked.xlsx``; a finding without a row stands at the sheet's first cell. Queries about
        other files stand in ``results/check/queries.xlsx``, which is read where it lies in the study folder. A copy in
        which somebody has worked is kept beside the new one.

    Raises
    ------
    DataError
        A workbook cannot be opened for marking.
    UsageError
        The copies cannot be written.
    """
    folder = Path(folder)
    by_file: dict[str, list[Finding]] = {}
    apart: list[Finding] = []
    for finding in findings:
        suffix = Path(finding.file).suffix.lower()
        if suffix in WORKBOOK_SUFFIXES and (folder / finding.file).is_file():
            by_file.setdefault(finding.file, []).append(finding)
        if finding.query and suffix not in OPENED:
            apart.append(finding)
    copies: dict[str, bytes] = {}
    for name, of_file in by_file.items():
        copies[f"{Path(name).stem}.marked.xlsx"] = _marked(inside(folder, name), of_file, header_row)
    if apart:
        copies[QUERIES_BOOK] = _queries_book(apart)
    return _write_copies(inside(folder, "results/check"), copies)


def _write_copies(target: Path, copies: dict[str, bytes]) -> list[Path]:
    """Write the copies; an earlier one that was changed since it was written gets a number and stays."""
    record = target / WRITTEN
    hashes: dict[str, str] = json.loads(record.read_text(encoding="utf-8")) if record.is_file() else {}
    written = []
    for name, content in copies.items():
        path = target / name
        if path.is_file() and sha256(path.read_bytes()) not in (hashes.get(name), sha256(content)):
            number = 1
            while (kept := path.with_name(f"{path.stem}.{number}{path.suffix}")).exists():
                number += 1
            path.rename(kept)
        written.append(write_whole(path, content))
        hashes[name] = sha256(content)
    if written:
        write_whole(record, json.dumps(hashes, indent=1, sort_keys=True) + "\n")
    return written


def _queries_book(findings: list[Finding]) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    book.remove(book.active)
    add_query_sheet(book, findings)
    return book_bytes(book)


def _marked(path: Path, findings: list[Finding], header_row: int) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # parts of a workbook that openpyxl does not carry over; this is a copy
        book = _opened(path) if path.suffix.lower() in OPENED else _values_of(path)
        for sheet in book.worksheets:
            _unmark(sheet)
        for (name, row, column), texts in _by_cell(findings).items():
            _mark(book[name] if name in book.sheetnames else book.worksheets[0], row, column, texts, header_row)
        if path.suffix.lower() in OPENED:
            add_query_sheet(book, findings)
        return book_bytes(book)


def _opened(path: Path) -> Workbook:
    import openpyxl

    try:
        book = openpyxl.load_workbook(path)
    except Exception as error:  # openpyxl raises whatever a broken part of the archive gives
        raise _cannot_mark(path, error) from error
    if not book.worksheets:
        raise _cannot_mark(path, ValueError("the workbook has no sheet"))
    return book


def _values_of(path: Path) -> Workbook:
    """Return the values of a workbook of another kind as an xlsx workbook."""
    from openpyxl import Workbook
    from python_calamine import CalamineError, CalamineWorkbook

    book = Workbook()
    assert book.active is not None
    book.remove(book.active)
    try:
        source = CalamineWorkbook.from_filelike(io.BytesIO(path.read_bytes()))
        for name in source.sheet_names:
            sheet, values = book.create_sheet(name), source.get_sheet_by_name(name)
            left = values.start[1] if values.start else 0
            for number, row in enumerate(values.iter_rows(), start=1):
                for position, value in enumerate(row, start=left + 1):
                    if isinstance(value, str):
                        if value:
                            put_text(sheet, number, position, value)
                    else:
                        sheet.cell(number, position, value)
    except (CalamineError, OSError, ValueError) as error:
        raise _cannot_mark(path, error) from error
    if not book.worksheets:
        book.create_sheet("sheet")
    return book


def _cannot_mark(path: Path, error: Exception) -> DataError:
    expected = "a workbook that can be opened for marking"
    return DataError([Finding(grade="block", rule="marking", file=path.name, found=str(error), expected=expected)])


def _by_cell(findings: list[Finding]) -> dict[tuple[str, int | None, str], list[Finding]]:
    cells: dict[tuple[str, int | None, str], list[Finding]] = {}
    for finding in findings:
        if finding.sheet != QUERY_SHEET:
            cells.setdefault((finding.sheet, finding.row, finding.column), []).append(finding)
    return cells


def _unmark(sheet: Worksheet) -> None:
    """Take the marks of an earlier check out: our lines of a comment, and our tint."""
    for row in sheet.iter_rows():
        for cell in row:
            if cell.comment is None or RULE not in cell.comment.text:
                continue
            own = cell.comment.text.partition(RULE)[0].rstrip("\n")
            author = cell.comment.author
            cell.comment = _comment(own, author) if own else None
            if str(cell.fill.fgColor.rgb)[-6:] in TINTS.values():
                cell.fill = _fill(None)


def _comment(text: str, author: str) -> Any:
    from openpyxl.comments import Comment

    return Comment(text, author)


def _fill(tint: str | None) -> Any:
    from openpyxl.styles import PatternFill

    return PatternFill() if tint is None else PatternFill("solid", fgColor=tint)


def _mark(sheet: Worksheet, row: int | None, heading: str, findings: list[Finding], header_row: int) -> None:
    cell: Any = sheet.cell(row or 1, _position(sheet, heading, header_row))
    if type(cell).__name__ == "MergedCell":
        cell = sheet.cell(header_row, 1)
    worst = min((finding.grade for finding in findings), key=list(WORDS).index)
    lines = [f"{WORDS[f.grade]}: expected {f.expected}{f' [{f.query}]' if f.query else ''}" for f in findings]
    lines += dict.fromkeys(f.remedy for f in findings if f.remedy)
    own, author = "", MARKING
    if cell.comment is not None:
        before, _, ours = cell.comment.text.partition(RULE)
        own, author = before.rstrip("\n"), cell.comment.author
        lines = [line for line in ours.strip("\n").split("\n") if line] + lines
    cell.comment = _comment("\n".join([*([own] if own else []), RULE, *lines]), author)
    if cell.fill.patternType is None:
        cell.fill = _fill(TINTS[worst])


def _position(sheet: Worksheet, heading: str, header_row: int) -> int:
    """Return the column of a heading, from 1; the first where the finding names none."""
    for position in range(1, sheet.max_column + 1):
        value = sheet.cell(header_row, position).value
        if value is not None and tidy_heading(str(value)) == heading:
            return position
    return 1
