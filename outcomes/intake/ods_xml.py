"""Second look into an OpenDocument workbook, at what its values do not show: error cells, formulas never calculated,
merged cells, comments, hidden rows and columns, and whether it is encrypted."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import ParseError

from outcomes.intake.sheet_xml import CELL_LIMIT, DAMAGE, Marks, Unreadable, cell_reference

CONTENT = "content.xml"
MANIFEST = "META-INF/manifest.xml"
HIDDEN = ("collapse", "filter")
REPEATS_LISTED = 1000
"""Hidden rows or columns of one element that are listed; a sheet may hide all the rest below its table."""


@dataclass(slots=True)
class _Place:
    """Where in its sheet the reading is, counted from 1, and what is known of the sheet."""

    name: str = ""
    marks: Marks = field(default_factory=Marks)
    row: int = 0
    rows: int = 1
    column: int = 0
    widest: int = 0


def ods_marks(archive: zipfile.ZipFile) -> dict[str, Marks]:
    """Return the marks of every sheet by its name.

    Raises
    ------
    Unreadable
        Encrypted, damaged, or so far spread that its cells fill the memory.
    """
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    found: dict[str, Marks] = {}
    try:
        if b"encryption-data" in archive.read(MANIFEST):
            raise Unreadable("it is encrypted: save it without a password")
        place = _Place()
        events = iterparse(io.BytesIO(archive.read(CONTENT)), events=("start", "end"), forbid_dtd=True)
        for event, element in events:
            tag = _local(element.tag)
            if event == "start":
                place = _enter(tag, element, place, found)
            elif tag in ("table-cell", "covered-table-cell"):
                _cell(element, place)
            elif tag == "table-row":
                element.clear()
    except DefusedXmlException as error:
        raise Unreadable(f"{CONTENT} declares entities, which no workbook of a clinic does; it was not read") from error
    except (*DAMAGE, ParseError, KeyError, ValueError) as error:
        raise Unreadable("a part of the archive is missing or damaged; save the file again") from error
    return found


def _enter(tag: str, element: Any, place: _Place, found: dict[str, Marks]) -> _Place:
    """Follow the beginning of an element: a new sheet, column or row."""
    if tag == "table":
        place = _Place(_attribute(element, "name"))
        found[place.name] = place.marks
    elif tag == "table-column":
        count = _count(element, "number-columns-repeated")
        if _attribute(element, "visibility") in HIDDEN:
            place.marks.hidden_columns += range(place.column + 1, place.column + 1 + min(count, REPEATS_LISTED))
        place.column += count
    elif tag == "table-row":
        place.row, place.column = place.row + place.rows, 0
        place.rows = _count(element, "number-rows-repeated")
        if _attribute(element, "visibility") in HIDDEN:
            place.marks.hidden_rows += range(place.row, place.row + min(place.rows, REPEATS_LISTED))
    return place


def _cell(element: Any, place: _Place) -> None:
    """Take one cell at its end, with all its attributes and children."""
    repeats = _count(element, "number-columns-repeated")
    first, place.column = place.column + 1, place.column + repeats
    kind = _attribute(element, "value-type", "calcext") or _attribute(element, "value-type")
    if kind:
        place.widest = max(place.widest, place.column)
        if place.widest * (place.row + place.rows - 1) > CELL_LIMIT:
            raise Unreadable(
                f"the sheet '{place.name}' holds something as far as row {place.row + place.rows - 1:,}, which is more "
                "than is read: delete what stands below the table and beside it, then save"
            )
    where = (place.row, first)
    if kind == "error":
        text = "".join("".join(child.itertext()) for child in element if _local(child.tag) == "p")
        place.marks.errors[where] = text or "#ERROR!"
    elif _attribute(element, "formula") and not kind:
        place.marks.uncalculated[where] = _attribute(element, "formula").partition(":")[2] or "= (formula)"
    if any(_local(child.tag) == "annotation" for child in element):
        place.marks.comments.append(cell_reference(place.row - 1, first - 1))
    wide, high = _count(element, "number-columns-spanned"), _count(element, "number-rows-spanned")
    if wide > 1 or high > 1:
        last = cell_reference(place.row + high - 2, first + wide - 2)
        place.marks.merged.append(f"{cell_reference(place.row - 1, first - 1)}:{last}")


def _local(tag: Any) -> str:
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def _attribute(element: Any, name: str, space: str = "") -> str:
    """Return an attribute by its local name; of a namespace whose address contains `space`."""
    for key, value in element.attrib.items():
        if _local(key) == name and space in key:
            return str(value)
    return ""


def _count(element: Any, name: str) -> int:
    return int(_attribute(element, name) or 1)
