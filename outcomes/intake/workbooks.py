"""Read workbooks (xlsx, xlsm, xls, ods): values and their types, then what the values do not show."""

from __future__ import annotations

import io
from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING, Any

from outcomes.intake.ods_xml import ods_marks
from outcomes.intake.query_sheet import QUERY_SHEET
from outcomes.intake.raw import BLANK, ERROR, UNCALCULATED, Sheet, cell, texts
from outcomes.intake.sheet_xml import (
    Marks,
    Unreadable,
    cell_reference,
    marks,
    open_archive,
    split_range,
    split_reference,
)
from outcomes.intake.text_files import OLE_START, WORKBOOK_START, banner_sheet, likely_header, tidy_heading
from outcomes.intake.xls_records import xls_marks

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

    from outcomes.intake.collector import Collector
    from protocols.schema import IntakeRules

Grid = Iterable[list[Any]]
Row = list[tuple[str, int]]


def read_workbook(name: str, raw: bytes, rules: IntakeRules, known: Collection[str], found: Collector) -> list[Sheet]:
    """Read every sheet of a workbook that holds anything.

    Parameters
    ----------
    name : str
        File inside the study folder.
    raw : bytes
    rules : IntakeRules
        ``[intake]`` of the protocol.
    known : collection of str
        Headings that would be recognised; tells where they stand under a banner.
    found : Collector
        Takes the findings.

    Returns
    -------
    list of Sheet
        Empty where the file cannot be read.
    """
    try:
        return list(_sheets(name, raw, rules, known))
    except Unreadable as error:
        found.add("block", "not_a_workbook", f"a workbook that can be read; {error}", file=name)
        return []


def _sheets(name: str, raw: bytes, rules: IntakeRules, known: Collection[str]) -> Iterator[Sheet]:
    """Yield every sheet that holds anything; only one is held as a grid at a time."""
    if not raw.strip():
        raise Unreadable("the file is empty")
    seen = _second_look(raw)
    from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        for meta in (meta for meta in book.sheets_metadata if meta.typ == SheetTypeEnum.WorkSheet):
            marked = seen.get(meta.name, Marks())
            own = rules.model_copy(update={"header_row": 1, "unit_row": None}) if meta.name == QUERY_SHEET else rules
            sheet = _to_sheet(name, meta.name, _grid(book.get_sheet_by_name(meta.name)), marked, own, known)
            if sheet is not None:
                sheet.marks, sheet.hidden = marked, meta.visible != SheetVisibleEnum.Visible
                yield sheet
    except (CalamineError, OSError, ValueError, KeyError) as error:
        raise Unreadable("a part of it is damaged; open it in a spreadsheet program and save it again") from error


def _second_look(raw: bytes) -> dict[str, Marks]:
    """Return what the values of a workbook do not show, by sheet; its kind is told by its content.

    Raises
    ------
    Unreadable
        Encrypted, damaged, or no workbook.
    """
    if raw.startswith(OLE_START):
        return xls_marks(raw)
    if raw.startswith(WORKBOOK_START):
        archive = open_archive(raw)
        return ods_marks(archive) if "content.xml" in archive.namelist() else marks(archive)
    start = raw[:1000].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<html", b"<!doctype", b"<table", b"<?xml", b"mime-version")):
        raise Unreadable("the content is a web page or plain XML: open it in a spreadsheet program, save it as .xlsx")
    raise Unreadable("the content is not a workbook; if it is text, name the file .csv")


def _grid(sheet: CalamineSheet) -> Grid:
    """Return the rows of a sheet from the first on, one at a time, each from the first column on."""
    left = [""] * (sheet.start[1] if sheet.start else 0)
    return (left + row for row in sheet.iter_rows())


def _to_sheet(
    name: str, title: str, grid: Grid, seen: Marks, rules: IntakeRules, known: Collection[str]
) -> Sheet | None:
    """Return one grid as a sheet, or None where it holds nothing; without headings where there are none."""
    import numpy as np

    rows = dict(_filled(grid, seen))
    if not rows:
        return None
    told = ((number, [text for text, _ in row]) for number, row in rows.items())
    likely = likely_header(told, known, rules.header_row)
    if likely:
        return banner_sheet(name, title, rules, likely)
    header = rows.get(rules.header_row)
    if header is None:
        return Sheet(name, title, [], [], [], np.zeros(0, dtype=np.int64), header_row=rules.header_row)
    body = {number: row for number, row in rows.items() if number > rules.header_row}
    blank_rows = max(body, default=rules.header_row) - rules.header_row - len(body)
    unit_row = body.pop(rules.unit_row, []) if rules.unit_row else []
    data = list(body.items())
    reach = 1 + max(
        i for row in (header, *(row for _, row in data)) for i, (_, kind) in enumerate(row) if kind != BLANK
    )
    typed = [text for text, _ in header[:reach]]
    headings = [tidy_heading(text) for text in typed]
    return Sheet(
        name,
        title,
        headings,
        [texts([row[i][0] for _, row in data]) for i in range(reach)],
        [np.array([row[i][1] for _, row in data], dtype=np.int8) for i in range(reach)],
        np.array([number for number, _ in data], dtype=np.int64),
        header_row=rules.header_row,
        blank_rows=blank_rows,
        trimmed_headings=sum(a != b for a, b in zip(headings, typed, strict=True)),
        unit_row=rules.unit_row,
        units={i: text.strip() for i, (text, kind) in enumerate(unit_row) if kind != BLANK},
    )


def _filled(grid: Grid, seen: Marks) -> Iterator[tuple[int, Row]]:
    """Yield number and cells of every row that holds anything, all rows equally long: texts and types, with error
    cells and formulas without value where they stand."""
    special: dict[int, dict[int, tuple[str, int]]] = {}
    for cells, kind in ((seen.errors, ERROR), (seen.uncalculated, UNCALCULATED)):
        for (number, column), text in cells.items():
            special.setdefault(number, {})[column] = (text, kind)
    rows: dict[int, Row] = {}
    for number, values in enumerate(grid, start=1):
        if number in special or values.count("") < len(values):
            rows[number] = [cell(value) for value in values]
    reach = max((column for columns in special.values() for column in columns), default=0)
    width = max([reach, *(len(row) for row in rows.values())])
    for number in sorted({*rows, *special}):
        row = rows.get(number, [])
        row += [("", BLANK)] * (width - len(row))
        for column, content in special.get(number, {}).items():
            row[column - 1] = content
        if any(kind != BLANK for _, kind in row):
            yield number, row


def _meant_colours(sheet: Sheet, seen: Marks) -> list[str]:
    """Return the coloured cells that may mean something: no whole column, most of a sheet or every second row."""
    import numpy as np

    index = {row: i for i, row in enumerate(sheet.rows.tolist())}
    filled = np.array([kinds != BLANK for kinds in sheet.types], dtype=bool).reshape(len(sheet.headings), len(index))
    marked = np.zeros_like(filled)
    for row, column in map(split_reference, seen.coloured):
        if row in index and column <= len(sheet.headings):
            marked[column - 1, index[row]] = True
    marked &= filled
    marked[(marked == filled).all(axis=1)] = False
    rows = np.flatnonzero(marked.any(axis=0))
    banded = len(rows) > 1 and len(index) > 2 and len(np.unique(rows % 2)) == 1 and len(rows) >= len(index) // 2
    if banded or 2 * marked.sum() > filled.sum():
        return []
    numbers = sheet.rows.tolist()
    return [cell_reference(numbers[i] - 1, column) for i, column in np.argwhere(marked.T).tolist()]


def tell(sheet: Sheet, found: Collector) -> None:
    """Add the findings of the second look at a sheet that feeds a table."""
    seen = sheet.marks or Marks()
    data_rows = set(sheet.rows.tolist())
    for reference in seen.merged:
        (top, _), (bottom, _) = split_range(reference)
        if bottom > sheet.header_row and not data_rows.isdisjoint(range(top, bottom + 1)):
            found.add(
                "block",
                "merged_cells",
                f"one value a cell; {reference} is merged",
                file=sheet.file,
                sheet=sheet.name,
                row=top,
            )
    if seen.comments:
        cells = ", ".join(seen.comments[:5]) + (" ..." if len(seen.comments) > 5 else "")
        text = f"all that counts in cells; comments are not read: {len(seen.comments)} ({cells})"
        found.add("ask", "comments", text, file=sheet.file, sheet=sheet.name)
    coloured = _meant_colours(sheet, seen)
    if coloured:
        cells = ", ".join(coloured[:5]) + (" ..." if len(coloured) > 5 else "")
        text = f"all that counts in words; what a colour means is not read: {len(coloured)} cells ({cells})"
        remedy = "Write what the colour means in a column, such as absent_because or note."
        found.add("ask", "colours", text, file=sheet.file, sheet=sheet.name, remedy=remedy)
    if seen.empty_formulas:
        cells = ", ".join(seen.empty_formulas[:5]) + (" ..." if len(seen.empty_formulas) > 5 else "")
        text = (
            "values; formulas that give an empty text, or were never calculated, were read as empty: "
            f"{len(seen.empty_formulas)} ({cells})"
        )
        found.add("ask", "empty_formulas", text, file=sheet.file, sheet=sheet.name)
    rows = [row for row in seen.hidden_rows if row in data_rows]
    if rows:
        text = f"rows that can be seen; hidden rows were read like the others: {len(rows)}"
        found.add("ask", "hidden_rows", text, file=sheet.file, sheet=sheet.name, row=rows[0])
    columns = [sheet.headings[i - 1] for i in seen.hidden_columns if i <= len(sheet.headings)]
    if columns:
        text = f"columns that can be seen; hidden columns were read like the others: {len(columns)}"
        found.add("ask", "hidden_columns", text, file=sheet.file, sheet=sheet.name, column=columns[0])
