"""The printed pages: a tagged pdf from an executed notebook, laid out by typst with the fonts and templates at hand."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from outcomes.errors import OutcomesError, printable
from outcomes.reports.page import TEMPLATES, sections_of
from outcomes.reports.tables import Table

STANDARD = "ua-1"
"""Tags, language, title and text alternatives are asked for; a page without them is refused by the writer."""

PAGES = {"funder": 2, "participant": 1}
"""Pages that a reader's report may fill; the letters shrink a little before it runs over."""

SIZES = (9.6, 9.0, 8.4)
"""Sizes of the letters in points, the first that fits."""

ROWS = (1000, 16, 12, 8, 4)
"""Most rows of a table, the first that fits; what is cut is said, and stands in the html."""


def pdf(notebook: Any, reader: str, *, until: str = "") -> bytes:
    """Return the pages of a reader as pdf: the same bytes for the same notebook.

    Parameters
    ----------
    notebook : NotebookNode
        Executed.
    reader : str
        Names the template ``<reader>.typ``.
    until : str
        Day of the newest data, as the date of the document; a fixed day where it is not known.

    Raises
    ------
    OutcomesError
        The pages could not be laid out.
    """
    most = PAGES.get(reader, 1000)
    smallest = SIZES[-1]
    for rows in ROWS:
        files = _files(notebook, reader, rows)
        made = {smallest: _sized(files, smallest, reader, until)}
        if pages_of(made[smallest]) <= most or rows == ROWS[-1]:
            break
    for size in SIZES[:-1]:
        made[size] = _sized(files, size, reader, until)
        if pages_of(made[size]) <= most:
            return made[size]
    return made[smallest]


def _sized(files: dict[str, bytes], size: float, reader: str, until: str) -> bytes:
    """Return the pages with letters of a size in points."""
    return _compiled({**files, "size.json": json.dumps(size).encode("ascii")}, reader, until)


def pages_of(made: bytes) -> int:
    """Return the number of pages of a pdf that typst wrote."""
    return len(re.findall(rb"/Type/Page\b", made))


def _compiled(files: dict[str, bytes], reader: str, until: str) -> bytes:
    import typst

    lay_out: Any = typst.compile  # its stub does not know several files given as bytes
    try:
        made = lay_out(
            files, font_paths=[str(_fonts())], ignore_system_fonts=True, pdf_standards=[STANDARD],
            timestamp=_moment(until),
        )  # fmt: skip
    except typst.TypstError as error:
        raise OutcomesError(f"the {reader} pages could not be laid out: {printable(error, 300)}") from error
    return bytes(made)


def _fonts() -> Path:
    """Return the folder of the fonts that come with matplotlib."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def _moment(until: str) -> int:
    """Return the start of a day in seconds, 1980 where there is none."""
    from datetime import UTC, date, datetime

    try:
        day = date.fromisoformat(until)
    except ValueError:
        day = date(1980, 1, 1)
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())


def _cut(table: Table, most: int) -> dict[str, Any]:
    """Return a table of at most so many rows; how many were cut stands in its note."""
    lost = len(table.rows) - most
    if lost <= 0:
        return table.to_dict()
    note = f"{table.note} {lost} more {'row stands' if lost == 1 else 'rows stand'} in the html page.".strip()
    return {**table.to_dict(), "rows": [list(row) for row in table.rows[:most]], "note": note}


def _files(notebook: Any, reader: str, most: int) -> dict[str, bytes]:
    """Return template, data and pictures; every text travels as data and is never read as markup."""
    head, sections = sections_of(notebook)
    files = {
        "main.typ": (TEMPLATES / f"{reader}.typ").read_bytes(),
        "house.typ": (TEMPLATES / "house.typ").read_bytes(),
    }
    plain: list[dict[str, Any]] = []
    for section in sections:
        blocks = []
        for block in section.blocks:
            one = {key: value for key, value in block.items() if key not in ("svg", "png")}
            if block.get("svg"):
                name = f"figure{len(files)}.svg"
                files[name], one["file"] = block["svg"], name
            if "table" in one:
                one["table"] = _cut(Table.from_dict(one["table"]), most)
            blocks.append(one)
        plain.append({"heading": section.heading, "blocks": blocks})
    first = {key: value for key, value in head.items() if key not in ("svg", "png")}
    paper = "us-letter" if head.get("paper") == "Letter" else "a4"
    data = {"head": {**first, "paper": paper}, "sections": plain}
    files["data.json"] = json.dumps(data, ensure_ascii=False).encode("utf-8")
    return files
