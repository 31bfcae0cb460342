"""Read xlsx workbooks: values and their types, then what the values do not show."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from outcomes.intake.raw import BLANK, ERROR, UNCALCULATED, Sheet, cell, texts
from outcomes.intake.sheet_xml import Marks, Unreadable, marks, open_archive, split_range
from outcomes.intake.text_files import OLE_START, WORKBOOK_START, tidy_heading

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from protocols.schema import IntakeRules

Grid = list[list[Any]]


def read_workbook(name: str, raw: bytes, rules: IntakeRules, found: Collector) -> list[Sheet]:
    """Read every sheet of a workbook that holds anything.

    Parameters
    ----------
    name : str
        File inside the study folder.
    raw : bytes
    rules : IntakeRules
        ``[intake]`` of the protocol.
    found : Collector
        Takes the findings.

    Returns
    -------
    list of Sheet
        Empty where the file cannot be read.
    """
    try:
        grids, seen = _open(raw)
    except Unreadable as error:
        found.add("block", "not_a_workbook", f"a workbook that can be read; {error}", file=name)
        return []
    sheets = []
    for title, hidden, grid in grids:
        sheet = _to_sheet(name, title, grid, seen.get(title, Marks()), rules)
        if sheet is not None:
            sheet.marks, sheet.hidden = seen.get(title, Marks()), hidden
            sheets.append(sheet)
    return sheets


def _open(raw: bytes) -> tuple[list[tuple[str, bool, Grid]], dict[str, Marks]]:
    """Return the cells of every sheet (title, hidden, grid) and its marks."""
    if not raw.strip():
        raise Unreadable("the file is empty")
    if raw.startswith(OLE_START):
        raise Unreadable("it looks encrypted, or is of the old .xls kind: save it as .xlsx without a password")
    if not raw.startswith(WORKBOOK_START):
        raise Unreadable("the content is not a workbook; if it is text, name the file .csv")
    seen = marks(open_archive(raw))
    from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        grids = [
            (
                meta.name,
                meta.visible != SheetVisibleEnum.Visible,
                book.get_sheet_by_name(meta.name).to_python(skip_empty_area=False),
            )
            for meta in book.sheets_metadata
            if meta.typ == SheetTypeEnum.WorkSheet
        ]
    except (CalamineError, OSError, ValueError, KeyError) as error:
        raise Unreadable("a part of it is damaged; open it in a spreadsheet program and save it again") from error
    return grids, seen


def _to_sheet(name: str, title: str, grid: Grid, seen: Marks, rules: IntakeRules) -> Sheet | None:
    """Return one grid as a sheet, or None where it holds nothing; without headings where there are none."""
    import numpy as np

    cells = _cells(grid, seen)
    if not any(kind != BLANK for row in cells for _, kind in row):
        return None
    header = cells[rules.header_row - 1] if len(cells) >= rules.header_row else []
    if not any(kind != BLANK for _, kind in header):
        return Sheet(name, title, [], [], [], np.zeros(0, dtype=np.int64), header_row=rules.header_row)
    body = list(enumerate(cells[rules.header_row :], start=rules.header_row + 1))
    filled = [(number, row) for number, row in body if any(kind != BLANK for _, kind in row)]
    unit_row = next((row for number, row in filled if number == rules.unit_row), [])
    data = [(number, row) for number, row in filled if number != rules.unit_row]
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
        blank_rows=len(body) - len(filled),
        trimmed_headings=sum(a != b for a, b in zip(headings, typed, strict=True)),
        unit_row=rules.unit_row,
        units={i: text.strip() for i, (text, kind) in enumerate(unit_row) if kind != BLANK},
    )


def _cells(grid: Grid, seen: Marks) -> list[list[tuple[str, int]]]:
    """Return a rectangle of texts and types, with error cells and formulas without value where they stand."""
    special = {where: (text, ERROR) for where, text in seen.errors.items()}
    special |= {where: (text, UNCALCULATED) for where, text in seen.uncalculated.items()}
    height = max([len(grid), *(row for row, _ in special)])
    width = max([0, *(len(row) for row in grid), *(column for _, column in special)])
    cells = [[cell(value) for value in row] + [("", BLANK)] * (width - len(row)) for row in grid]
    cells += [[("", BLANK)] * width for _ in range(height - len(grid))]
    for (row, column), content in special.items():
        cells[row - 1][column - 1] = content
    return cells


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
    rows = [row for row in seen.hidden_rows if row in data_rows]
    if rows:
        text = f"rows that can be seen; hidden rows were read like the others: {len(rows)}"
        found.add("ask", "hidden_rows", text, file=sheet.file, sheet=sheet.name, row=rows[0])
    columns = [sheet.headings[i - 1] for i in seen.hidden_columns if i <= len(sheet.headings)]
    if columns:
        text = f"columns that can be seen; hidden columns were read like the others: {len(columns)}"
        found.add("ask", "hidden_columns", text, file=sheet.file, sheet=sheet.name, column=columns[0])
