"""`outcomes new`: a study folder with its protocol, a data-entry workbook, and the columns.csv that reads it back."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.errors import UsageError, printable
from outcomes.files import whole_folder, write_whole
from outcomes.intake.book_bytes import book_bytes, put_text
from outcomes.intake.entry_layout import TITLE_LIMIT, EntryColumn, EntrySheet, layout
from outcomes.intake.mapping import NOT_READ
from outcomes.vocabulary import CAUTION, COLUMNS_CSV

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.datavalidation import DataValidation
    from openpyxl.worksheet.worksheet import Worksheet

    from outcomes.measures import Catalogue
    from protocols.schema import Protocol

WORKBOOK = "study.xlsx"
README_SHEET = "read me"
ROWS = 2000
"""Rows of each sheet that have drop-downs; more may be typed below."""

LIST_LIMIT = 255
"""Characters of a drop-down's list, by the file format; a longer list has no drop-down."""

MESSAGE_LIMIT = 250
"""Characters of the message of a cell, a little under the limit of the file format; the first sheet has it whole."""

FORMATS = {"text": "@", "number": "General", "day": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm"}


def new_study(folder: str | Path, protocol_path: str | Path, catalogue: Catalogue | None = None) -> list[Path]:
    """Write a new study folder: protocol.toml, study.xlsx and columns.csv.

    Parameters
    ----------
    folder : path
        Does not exist yet, or is empty.
    protocol_path : path or str
        A protocol file, or the name of a ready-made protocol. Definitions in a folder ``measures`` beside the file are
        taken along where the protocol names them.
    catalogue : Catalogue, optional
        Definitions of the measures; the packaged ones by default.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    UsageError
        The folder is not empty or cannot be written; no such ready-made protocol.
    DefinitionError
        The protocol is refused, or names a measure that does not exist.
    """
    from outcomes.measures import Catalogue as Packaged
    from protocols import packaged, packaged_path, read_protocol

    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; a study is a folder")
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty; a new study needs a new folder")
    named = str(protocol_path)
    path = packaged_path(named) if named in packaged() else Path(protocol_path)
    protocol = read_protocol(path)
    catalogue = catalogue or Packaged.packaged()
    own = path.parent / "measures"
    if own.is_dir():
        catalogue = catalogue.with_folder(own)
    sheets = layout(protocol, catalogue)
    contents: dict[str, bytes | str] = {
        "protocol.toml": path.read_bytes(),
        WORKBOOK: workbook_bytes(protocol, sheets),
        "columns.csv": columns_csv(sheets),
        **_own_definitions(own, protocol),
    }
    _write(folder, contents)
    return [folder / name for name in contents]


def _own_definitions(own: Path, protocol: Protocol) -> dict[str, bytes]:
    """Return the definition files beside the protocol that it names, current and older versions."""
    wanted = {plan.measure for plan in protocol.measures}
    paths = sorted(own.glob("*.toml")) if own.is_dir() else []
    return {f"measures/{path.name}": path.read_bytes() for path in paths if path.stem.split("@")[0] in wanted}


def _write(folder: Path, contents: dict[str, bytes | str]) -> None:
    """Write the files into an empty folder that exists, or make the folder whole."""
    if folder.is_dir():
        for name, content in contents.items():
            write_whole(folder / name, content)
        return
    with whole_folder(folder) as new:
        for name, content in contents.items():
            write_whole(new / name, content)


def columns_csv(sheets: Sequence[EntrySheet]) -> str:
    """Return the columns.csv that reads the workbook back.

    A line for every heading of the measures' sheets, and one that says that the first sheet is not read. Sheets that
    bear the name of a table have its headings and need no line.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS_CSV, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerow({"sheet": README_SHEET, "table": NOT_READ, "column": NOT_READ})
    for sheet in sheets:
        for column in (column for column in sheet.columns if column.mapping):
            writer.writerow({"sheet": sheet.title, "heading": column.heading, **column.mapping})
    return out.getvalue()


def workbook_bytes(protocol: Protocol, sheets: Sequence[EntrySheet]) -> bytes:
    """Return the empty data-entry workbook as the bytes of an xlsx file."""
    from openpyxl import Workbook

    book = Workbook()
    front = book.active
    assert front is not None
    front.title = README_SHEET
    _explain(front, protocol, sheets)
    for sheet in sheets:
        _fill(book, sheet)
    return book_bytes(book)


def _explain(front: Worksheet, protocol: Protocol, sheets: Sequence[EntrySheet]) -> None:
    """Write the sheet that explains the workbook and lists every heading; it holds no data and is not read."""
    from openpyxl.styles import Font

    lines: list[tuple[str, ...]] = [
        (protocol.study.title,),
        ("This sheet explains the workbook; it is not read.",),
        ("Type below the headings. Do not rename, move or merge headings; columns of your own may follow them.",),
        ("What is not known stays empty. Why an answer is not there belongs in absent_because.",),
        ("A grade is text: 1+ stays 1+. A cell that is chosen shows its unit and its words.",),
        ("Codes stand for people. Names, birthdays and hospital numbers do not belong in this file.",),
        ("Save and close the workbook, then run: outcomes check with the name of this folder.",),
        (CAUTION,),
        (),
        *([("visit", "label")] if protocol.visits else []),
        *((visit.key, visit.label) for visit in protocol.visits),
        (),
        ("sheet", "heading", "what belongs there"),
    ]
    headings = {1, len(lines), lines.index(("visit", "label")) + 1 if protocol.visits else 1}
    for sheet in sheets:
        lines.append((sheet.title, "", f"One row is {sheet.row}."))
        lines += [(sheet.title, column.heading, column.help) for column in sheet.columns]
    for number, line in enumerate(lines, start=1):
        for position, text in enumerate(line, start=1):
            if text:
                cell = put_text(front, number, position, text)
                cell.font = Font(bold=number in headings)
    for letter, width in (("A", 24), ("B", 28), ("C", 100)):
        front.column_dimensions[letter].width = width


def _fill(book: Workbook, plan: EntrySheet) -> None:
    """Write one sheet: headings, drop-downs and formats; no comments, as intake asks about a file that has some."""
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(plan.title)
    for position, column in enumerate(plan.columns, start=1):
        letter = get_column_letter(position)
        heading = put_text(sheet, 1, position, column.heading)
        heading.font, heading.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        style = sheet.column_dimensions[letter]
        style.width = 18 if column.form == "moment" else max(11, min(len(column.heading) + 2, 24))
        style.number_format = FORMATS[column.form]
        validation = _validation(column)
        validation.add(f"{letter}2:{letter}{ROWS + 1}")
        sheet.add_data_validation(validation)
    sheet.freeze_panes = "B2"


def _validation(column: EntryColumn) -> DataValidation:
    """Return the message of a cell, with a drop-down where there is a list and a warning where there is a range."""
    from openpyxl.worksheet.datavalidation import DataValidation

    message = printable(column.help, MESSAGE_LIMIT)
    text = ",".join(column.words)
    rule: dict[str, Any] = {}
    if column.words and len(text) <= LIST_LIMIT and not any(c in word for word in column.words for c in ',"'):
        rule = {"type": "list", "formula1": f'"{text}"', "errorStyle": "stop" if column.closed else "information"}
    else:
        rule = _range_rule(column)
    return DataValidation(
        **rule,
        allow_blank=True,
        showInputMessage=True,
        showErrorMessage=bool(rule),
        promptTitle=printable(column.heading, TITLE_LIMIT),
        prompt=message,
        errorTitle="Please check",
        error=message,
    )


def _range_rule(column: EntryColumn) -> dict[str, Any]:
    """Return the validation of a number's hard range, which warns; empty where it has none."""
    ends = [(name, end) for name, end in (("low", column.low), ("high", column.high)) if end is not None]
    finite = {name: f"{end:g}" for name, end in ends if isfinite(end)}
    if not finite:
        return {}
    rule: dict[str, Any] = {"type": "decimal", "errorStyle": "warning"}
    if len(finite) == 2:
        return rule | {"operator": "between", "formula1": finite["low"], "formula2": finite["high"]}
    if "low" in finite:
        return rule | {"operator": "greaterThanOrEqual", "formula1": finite["low"]}
    return rule | {"operator": "lessThanOrEqual", "formula1": finite["high"]}
