"""Second look into a workbook, at what its values do not show: error cells, formulas never calculated, merged cells,
comments, hidden rows and columns. Bytes are searched first; only sheets with a hit are parsed, with limits on size."""

from __future__ import annotations

import io
import lzma
import posixpath
import re
import zipfile
import zlib
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import ParseError

from outcomes.errors import Grade

ENTRY_LIMIT = 10_000
UNPACKED_LIMIT = 1_000_000_000
RATIO_LIMIT = 100
SMALL = 10_000_000
"""Archives beyond these are refused unread: entries, bytes unpacked, unpacked to packed above `SMALL` bytes."""

CELL_LIMIT = 5_000_000
"""Cells of the rectangle from A1 to the last filled row and column of a sheet; one stray cell can span billions."""

_REFERENCE = re.compile(rb"""\br=["']([A-Z]{1,3})([0-9]{1,7})["']""")
_FILLED = re.compile(rb"""<(?:\w+:)?c\s[^>]*?\br=["']([A-Z]{1,3})([0-9]{1,7})["'][^>]*(?<!/)>(?!</|<v\s*/>|<v></v>)""")

_STYLED = re.compile(rb"""<(?:\w+:)?c\s(?=[^>]*?\br=["']([A-Z]{1,3}[0-9]{1,7})["'])(?=[^>]*?\bs=["']([0-9]+)["'])""")

STYLES = "xl/styles.xml"

HINTS = (b"<f>", b"<f ", b't="e"', b"<mergeCell", b'hidden="', b":f>", b"t='e'")

TINTS: dict[Grade, str] = {"block": "F2C9AE", "set_aside": "E6EAED", "ask": "CFE3F1"}
"""Colours of the cells that mark findings, by grade; they are no colours of the clinic."""

MARKING = "outcomes check"
"""Author of the comments that mark findings; they are no comments of the clinic."""

PROLOG = 2_000
"""Bytes of a part in which a document type would be declared."""

DAMAGE = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, RuntimeError, NotImplementedError)
"""What reading a damaged archive raises."""


class Unreadable(Exception):
    """The archive is no readable workbook; the text says what is wrong."""


@dataclass(slots=True)
class Marks:
    """What the second look found in one sheet; cells by (row, column), both from 1.

    Parameters
    ----------
    errors : dict
        Error cells and their text, such as ``#REF!``.
    uncalculated : dict
        Formulas that have no value, and their text.
    merged : list of str
        Ranges such as ``A2:A3``.
    comments : list of str
        Cells that carry a comment.
    hidden_rows : list of int
    hidden_columns : list of int
    empty_formulas : list of str
        Cells of an .xls file whose formula gives an empty text or was never calculated, which look the same there.
    coloured : list of str
        Cells of an .xlsx file that are filled with a colour, other than the tints that mark findings.
    """

    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    uncalculated: dict[tuple[int, int], str] = field(default_factory=dict)
    merged: list[str] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[int] = field(default_factory=list)
    empty_formulas: list[str] = field(default_factory=list)
    coloured: list[str] = field(default_factory=list)


def open_archive(raw: bytes) -> zipfile.ZipFile:
    """Open a workbook's archive after checking that it is one and that its size is sane.

    Raises
    ------
    Unreadable
        Damaged, no workbook, or too large.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(raw))
        entries = archive.infolist()
    except (*DAMAGE, ValueError) as error:
        raise Unreadable(
            "the archive is damaged or cut off; open it in a spreadsheet program, save it again"
        ) from error
    unpacked = sum(entry.file_size for entry in entries)
    if len(entries) > ENTRY_LIMIT or unpacked > UNPACKED_LIMIT:
        raise Unreadable(f"unpacked it has {len(entries):,} parts and {unpacked:,} bytes, which is more than is read")
    if unpacked > SMALL and unpacked > RATIO_LIMIT * max(len(raw), 1):
        raise Unreadable("it unpacks to more than a hundred times its size, which no workbook of a clinic does")
    if not {"xl/workbook.xml", "content.xml"} & set(archive.namelist()):
        raise Unreadable("the archive holds no workbook; save the file as .xlsx again")
    try:
        for entry in entries:
            if entry.filename.endswith((".xml", ".rels")) and b"<!DOCTYPE" in _prolog(archive, entry):
                raise Unreadable(_declares(entry.filename))
    except DAMAGE as error:
        raise Unreadable("a part of the archive is damaged; save the file again") from error
    return archive


def _prolog(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    with archive.open(entry) as part:
        return part.read(PROLOG)


def _declares(path: str) -> str:
    return f"{path} declares entities, which no workbook of a clinic does; it was not read"


def marks(archive: zipfile.ZipFile) -> dict[str, Marks]:
    """Return the marks of every sheet by its name.

    Raises
    ------
    Unreadable
        A part is damaged, or declares entities.
    """
    try:
        relations = _relations(archive, "xl/workbook.xml")
        filled = _filled_styles(archive)
        book = _parse(archive.read("xl/workbook.xml"), "xl/workbook.xml")
        found: dict[str, Marks] = {}
        for sheet in (element for element in book.iter() if _local(element.tag) == "sheet"):
            relation = next((v for k, v in sheet.attrib.items() if _local(k) == "id"), "")
            path = relations.get(relation, ("", ""))[1]
            if path in archive.namelist():
                name = sheet.attrib.get("name", "")
                raw = archive.read(path)
                _refuse_far_cells(name, raw)
                found[name] = _marks_of(archive, path, raw)
                found[name].coloured = _coloured(raw, filled)
        return found
    except (*DAMAGE, KeyError, ValueError) as error:
        raise Unreadable("a part of the archive is missing or damaged; save the file again") from error


def _filled_styles(archive: zipfile.ZipFile) -> frozenset[bytes]:
    """Return the numbers of the cell styles that fill a cell with a colour of the clinic's own."""
    if STYLES not in archive.namelist():
        return frozenset()
    book = _parse(archive.read(STYLES), STYLES)
    parts = {_local(element.tag): element for element in book}
    fills = [_is_coloured(fill) for fill in parts.get("fills", ())]
    styles = [int(style.attrib.get("fillId", 0)) for style in parts.get("cellXfs", ())]
    return frozenset(str(i).encode() for i, fill in enumerate(styles) if fill < len(fills) and fills[fill])


def _is_coloured(fill: Any) -> bool:
    for pattern in fill:
        for colour in pattern:
            if pattern.attrib.get("patternType") == "solid" and _local(colour.tag) == "fgColor":
                code = colour.attrib.get("rgb", "")[-6:].upper()
                return code not in ("FFFFFF", *TINTS.values()) and colour.attrib.get("theme") != "0"
    return False


def _coloured(raw: bytes, filled: frozenset[bytes]) -> list[str]:
    """Return the cells whose style fills them with a colour."""
    if not filled:
        return []
    return [reference.decode() for reference, style in _STYLED.findall(raw) if style in filled]


def _refuse_far_cells(name: str, raw: bytes) -> None:
    """Refuse a sheet with a filled cell so far from the others that the rectangle between them fills the memory."""
    if _extent(_REFERENCE, raw)[0] <= CELL_LIMIT:
        return
    cells, column, row = _extent(_FILLED, raw)
    if cells > CELL_LIMIT:
        raise Unreadable(
            f"the sheet '{name}' holds something as far as column {column} and row {row:,}, which is more than is "
            "read: delete the rows below the table and the columns beside it, then save"
        )


def _extent(pattern: re.Pattern[bytes], raw: bytes) -> tuple[int, str, int]:
    """Return cells of the rectangle from A1 over all references, its last column and its last row."""
    references = pattern.findall(raw)
    columns = {letters for letters, _ in references}
    last = max(columns, key=lambda letters: (len(letters), letters), default=b"A").decode()
    row = max(map(int, {digits for _, digits in references}), default=1)
    return split_reference(f"{last}1")[1] * row, last, row


def _marks_of(archive: zipfile.ZipFile, path: str, raw: bytes) -> Marks:
    result = Marks()
    if any(hint in raw for hint in HINTS):
        _read_cells(raw, path, result)
    for kind, target in _relations(archive, path).values():
        if kind.endswith(("/comments", "/threadedComment")) and target in archive.namelist():
            result.comments += _comments(_parse(archive.read(target), target))
    result.comments = list(dict.fromkeys(result.comments))
    return result


def _comments(part: Any) -> list[str]:
    """Return the cells that carry a comment of somebody else than the marking of findings."""
    authors = [element.text or "" for element in part.iter() if _local(element.tag) == "author"]
    cells = []
    for element in part.iter():
        number = element.attrib.get("authorId", "")
        is_ours = number.isdigit() and int(number) < len(authors) and authors[int(number)] == MARKING
        if _local(element.tag) in ("comment", "threadedComment") and "ref" in element.attrib and not is_ours:
            cells.append(element.attrib["ref"])
    return cells


def _read_cells(raw: bytes, path: str, result: Marks) -> None:
    row = column = 0
    for element in _parse(raw, path).iter():
        tag = _local(element.tag)
        if tag == "row":
            row, column = int(element.attrib.get("r", row + 1)), 0
            if element.attrib.get("hidden") in ("1", "true"):
                result.hidden_rows.append(row)
        elif tag == "c":
            row, column = split_reference(element.attrib["r"]) if "r" in element.attrib else (row, column + 1)
            _read_cell(element, (row, column), result)
        elif tag == "col" and element.attrib.get("hidden") in ("1", "true"):
            low, high = int(element.attrib.get("min", 1)), int(element.attrib.get("max", 1))
            result.hidden_columns += range(low, min(high, low + 1000) + 1)
        elif tag == "mergeCell" and "ref" in element.attrib:
            result.merged.append(element.attrib["ref"])


def _read_cell(element: Any, where: tuple[int, int], result: Marks) -> None:
    parts = {_local(child.tag): child.text or "" for child in element}
    kind = element.attrib.get("t", "n")
    if kind == "e":
        result.errors[where] = parts.get("v", "") or "#ERROR!"
    elif "f" in parts and not parts.get("v") and kind not in ("str", "inlineStr"):
        result.uncalculated[where] = f"={parts['f']}" if parts["f"] else "= (shared formula)"


def _relations(archive: zipfile.ZipFile, path: str) -> dict[str, tuple[str, str]]:
    """Return the relations of a part: id to kind and target."""
    folder, name = posixpath.split(path)
    relations = f"{folder}/_rels/{name}.rels"
    if relations not in archive.namelist():
        return {}
    result = {}
    for element in _parse(archive.read(relations), relations).iter():
        if "Id" in element.attrib and "Target" in element.attrib:
            target = element.attrib["Target"]
            full = target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join(folder, target))
            result[element.attrib["Id"]] = (element.attrib.get("Type", ""), full)
    return result


def _parse(raw: bytes, path: str) -> Any:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        return fromstring(raw, forbid_dtd=True)
    except DefusedXmlException as error:
        raise Unreadable(_declares(path)) from error
    except ParseError as error:
        raise Unreadable(f"{path} is damaged; save the file again") from error


def _local(tag: Any) -> str:
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def split_reference(reference: str) -> tuple[int, int]:
    """Return row and column, both from 1, of a cell reference.

    Examples
    --------
    >>> split_reference("B14"), split_reference("AA1")
    ((14, 2), (1, 27))
    """
    found = re.fullmatch(r"\$?([A-Za-z]{1,3})\$?([0-9]+)", reference)
    if found is None:
        raise ValueError(reference)
    column = 0
    for letter in found[1].upper():
        column = column * 26 + ord(letter) - 64
    return int(found[2]), column


def split_range(reference: str) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return first and last cell of a range, each as row and column from 1.

    Examples
    --------
    >>> split_range("A2:B3")
    ((2, 1), (3, 2))
    """
    first, _, last = reference.partition(":")
    return split_reference(first), split_reference(last or first)


def cell_reference(row: int, column: int) -> str:
    """Return the reference of a cell from its row and column, both from 0.

    Examples
    --------
    >>> cell_reference(0, 0), cell_reference(13, 27)
    ('A1', 'AB14')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"
