"""Second look into an old .xls workbook, at what its values do not show: error cells, formulas without a value, merged
cells, comments, hidden rows and columns, and whether it is encrypted."""

from __future__ import annotations

import struct
from collections.abc import Iterator

from outcomes.intake.sheet_xml import Marks, Unreadable, cell_reference

END_OF_CHAIN = 0xFFFFFFFC
"""Sector numbers from here on are marks, not sectors."""

ERRORS = {
    0x00: "#NULL!",
    0x07: "#DIV/0!",
    0x0F: "#VALUE!",
    0x17: "#REF!",
    0x1D: "#NAME?",
    0x24: "#NUM!",
    0x2A: "#N/A",
}
"""Code of an error cell to its text, by the file format."""

BOUND_SHEET, FILE_PASS, END_OF_SHEET = 0x85, 0x2F, 0x0A
BOOL_OR_ERROR, FORMULA, NOTE, MERGED, ROW, COLUMNS = 0x205, 0x06, 0x1C, 0xE5, 0x208, 0x7D
DAMAGED = "the file is damaged or cut off; open it in a spreadsheet program and save it again as .xlsx"

SHEET_LIMIT = 5_000_000
"""Records of one sheet that are looked at; a sheet holds at most 16 million cells."""


def streams(raw: bytes) -> dict[str, bytes]:
    """Return the named streams of a compound file (Microsoft MS-CFB), small ones included.

    Raises
    ------
    Unreadable
        The file is damaged.
    """
    try:
        return dict(_streams(raw))
    except (struct.error, IndexError, ValueError, MemoryError) as error:
        raise Unreadable(DAMAGED) from error


def _streams(raw: bytes) -> Iterator[tuple[str, bytes]]:
    shift, mini_shift = struct.unpack_from("<HH", raw, 30)
    if not (9 <= shift <= 12 and mini_shift == 6):
        raise ValueError("sector size")
    size = 1 << shift
    directory, cutoff, mini_start = (struct.unpack_from("<I", raw, at)[0] for at in (48, 56, 60))
    table = _allocation(raw, size)
    entries = _chain(raw, table, directory, size)
    small = _chain(raw, table, mini_start, size) if mini_start < END_OF_CHAIN else b""
    mini_table = list(struct.unpack(f"<{len(small) // 4}I", small))
    root = b""
    for at in range(0, len(entries) - 127, 128):
        length, kind = struct.unpack_from("<HB", entries, at + 64)
        start, count = struct.unpack_from("<II", entries, at + 116)
        name = entries[at : at + max(length - 2, 0)].decode("utf-16-le", "replace")
        if kind == 5:
            root = _chain(raw, table, start, size)
        elif kind == 2 and count >= cutoff:
            yield name, _chain(raw, table, start, size)[:count]
        elif kind == 2:
            yield name, _chain(root, mini_table, start, 1 << mini_shift, offset=0)[:count]


def _allocation(raw: bytes, size: int) -> list[int]:
    """Return the sector that follows each sector."""
    next_list, lists = struct.unpack_from("<II", raw, 68)
    sectors = list(struct.unpack_from("<109I", raw, 76))
    for _ in range(min(lists, len(raw) // size)):
        if next_list >= END_OF_CHAIN:
            break
        block = struct.unpack_from(f"<{size // 4}I", raw, (next_list + 1) * size)
        sectors += block[:-1]
        next_list = block[-1]
    table: list[int] = []
    for sector in sectors:
        if sector < END_OF_CHAIN:
            table += struct.unpack_from(f"<{size // 4}I", raw, (sector + 1) * size)
    return table


def _chain(raw: bytes, table: list[int], start: int, size: int, *, offset: int = 1) -> bytes:
    parts: list[bytes] = []
    sector = start
    for _ in range(len(table) + 1):
        if sector >= END_OF_CHAIN:
            return b"".join(parts)
        at = (sector + offset) * size
        parts.append(raw[at : at + size])
        sector = table[sector]
    raise ValueError("a chain of sectors that does not end")


def xls_marks(raw: bytes) -> dict[str, Marks]:
    """Return the marks of every sheet by its name.

    Raises
    ------
    Unreadable
        Encrypted, damaged, or no workbook.
    """
    named = streams(raw)
    if "EncryptedPackage" in named:
        raise Unreadable("it is encrypted: save it without a password")
    book = named.get("Workbook", named.get("Book"))
    if book is None:
        raise Unreadable("the content is no workbook; save the table as .xlsx or csv")
    found: dict[str, Marks] = {}
    try:
        is_old = struct.unpack_from("<H", book, 4)[0] < 0x600
        for kind, body in _records(book, 0):
            if kind == FILE_PASS:
                raise Unreadable("it is encrypted: save it without a password")
            if kind == BOUND_SHEET and body[5] == 0:
                found[_sheet_name(body, is_old)] = _marks_of(book, struct.unpack_from("<I", body)[0])
    except (struct.error, IndexError) as error:
        raise Unreadable(DAMAGED) from error
    return found


def _records(book: bytes, at: int) -> Iterator[tuple[int, bytes]]:
    """Yield number and body of the records from a position to the end of their part."""
    for _ in range(SHEET_LIMIT):
        if at + 4 > len(book):
            return
        kind, length = struct.unpack_from("<HH", book, at)
        yield kind, book[at + 4 : at + 4 + length]
        if kind == END_OF_SHEET:
            return
        at += 4 + length
    raise Unreadable("a sheet has more cells than are read; save the table as csv")


def _sheet_name(body: bytes, is_old: bool) -> str:
    if is_old:
        return body[7 : 7 + body[6]].decode("cp1252", "replace")
    wide = body[7] & 1
    return body[8 : 8 + body[6] * (1 + wide)].decode("utf-16-le" if wide else "latin-1", "replace")


def _marks_of(book: bytes, at: int) -> Marks:
    result = Marks()
    for kind, body in _records(book, at):
        if kind in (BOOL_OR_ERROR, FORMULA, NOTE):
            _read_cell(kind, body, result)
        elif kind == MERGED:
            for i in range(struct.unpack_from("<H", body)[0]):
                top, bottom, left, right = struct.unpack_from("<4H", body, 2 + 8 * i)
                result.merged.append(f"{cell_reference(top, left)}:{cell_reference(bottom, right)}")
        elif kind == ROW and struct.unpack_from("<H", body, 12)[0] & 0x20:
            result.hidden_rows.append(struct.unpack_from("<H", body)[0] + 1)
        elif kind == COLUMNS and struct.unpack_from("<H", body, 8)[0] & 1:
            first, last = struct.unpack_from("<HH", body)
            result.hidden_columns += range(first + 1, min(last, first + 1000) + 2)
    return result


def _read_cell(kind: int, body: bytes, result: Marks) -> None:
    row, column = struct.unpack_from("<HH", body)
    where = (row + 1, column + 1)
    if kind == NOTE:
        result.comments.append(cell_reference(row, column))
    elif kind == BOOL_OR_ERROR:
        if body[7]:
            result.errors[where] = ERRORS.get(body[6], "#ERROR!")
    elif body[12:14] == b"\xff\xff":
        if body[6] == 2:
            result.errors[where] = ERRORS.get(body[8], "#ERROR!")
        elif body[6] == 3:
            result.empty_formulas.append(cell_reference(row, column))
