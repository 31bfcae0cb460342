"""Findings marked in a copy of the clinic's workbooks: a tinted cell with a comment that says what would do."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.errors import DataError, Finding, Grade
from outcomes.files import write_whole
from outcomes.intake.readers import WORKBOOK_SUFFIXES
from outcomes.intake.text_files import tidy_heading

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

WORDS: dict[Grade, str] = {"block": "STOPS THE RUN", "set_aside": "SET ASIDE", "ask": "QUESTION"}
"""First words of the comment: the meaning never rests on the tint alone."""

TINTS: dict[Grade, str] = {"block": "F2C9AE", "set_aside": "E6EAED", "ask": "CFE3F1"}

AUTHOR = "outcomes check"


def mark_findings(folder: str | Path, findings: Iterable[Finding], header_row: int = 1) -> list[Path]:
    """Write a copy of every workbook that has findings, with each finding at its cell.

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
        ``results/check/<name>.marked.xlsx``; a finding without a row stands at the sheet's first cell. Findings in
        csv files have no workbook and are left out.

    Raises
    ------
    DataError
        A workbook cannot be opened for marking.
    """
    folder = Path(folder)
    by_file: dict[str, list[Finding]] = {}
    for finding in findings:
        if Path(finding.file).suffix.lower() in WORKBOOK_SUFFIXES:
            by_file.setdefault(finding.file, []).append(finding)
    written = []
    for name, of_file in by_file.items():
        target = folder / "results" / "check" / f"{Path(name).stem}.marked.xlsx"
        written.append(write_whole(target, _marked(folder / name, of_file, header_row)))
    return written


def _marked(path: Path, findings: list[Finding], header_row: int) -> bytes:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # parts of a workbook that openpyxl does not carry over; this is a copy
        try:
            book = openpyxl.load_workbook(path)
        except Exception as error:  # openpyxl raises whatever a broken part of the archive gives
            expected = "a workbook that can be opened for marking"
            raise DataError(
                [Finding(grade="block", rule="marking", file=path.name, found=str(error), expected=expected)]
            ) from error
        for (sheet, row, column), texts in _by_cell(findings).items():
            _mark(book[sheet] if sheet in book.sheetnames else book.worksheets[0], row, column, texts, header_row)
        out = io.BytesIO()
        book.save(out)
    return out.getvalue()


def _by_cell(findings: list[Finding]) -> dict[tuple[str, int | None, str], list[Finding]]:
    cells: dict[tuple[str, int | None, str], list[Finding]] = {}
    for finding in findings:
        cells.setdefault((finding.sheet, finding.row, finding.column), []).append(finding)
    return cells


def _mark(sheet: Worksheet, row: int | None, heading: str, findings: list[Finding], header_row: int) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import PatternFill

    cell: Any = sheet.cell(row or 1, _position(sheet, heading, header_row))
    if type(cell).__name__ == "MergedCell":
        cell = sheet.cell(header_row, 1)
    worst = min((finding.grade for finding in findings), key=list(WORDS).index)
    text = "\n".join(f"{WORDS[f.grade]}: expected {f.expected}{f' [{f.query}]' if f.query else ''}" for f in findings)
    if cell.comment is not None:
        text = f"{cell.comment.text}\n{text}"
    cell.comment = Comment(text, AUTHOR)
    cell.fill = PatternFill("solid", fgColor=TINTS[worst])


def _position(sheet: Worksheet, heading: str, header_row: int) -> int:
    """Return the column of a heading, from 1; the first where the finding names none."""
    for position in range(1, sheet.max_column + 1):
        value = sheet.cell(header_row, position).value
        if value is not None and tidy_heading(str(value)) == heading:
            return position
    return 1
