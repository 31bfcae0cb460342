"""The bytes of a workbook that was built here: the same for the same content, whenever it is written."""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

FIXED = (2020, 1, 1, 0, 0, 0)
"""Time of every part of the archive, so that nothing in it depends on when it was written."""

_STAMP = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:\2>)")


def book_bytes(book: Workbook) -> bytes:
    """Return a workbook as the bytes of an xlsx file without the time of writing."""
    written = io.BytesIO()
    book.save(written)
    out = io.BytesIO()
    with zipfile.ZipFile(written) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for entry in source.infolist():
            content = source.read(entry)
            if entry.filename == "docProps/core.xml":
                content = _STAMP.sub(rb"\g<1>2020-01-01T00:00:00Z\g<3>", content)
            part = zipfile.ZipInfo(entry.filename, FIXED)
            part.compress_type, part.external_attr = zipfile.ZIP_DEFLATED, entry.external_attr
            target.writestr(part, content)
    return out.getvalue()


def put_text(sheet: Worksheet, row: int, column: int, text: str) -> Any:
    """Write a text that stays a text, also where it begins as a formula does; return its cell."""
    from outcomes.errors import printable

    cell = sheet.cell(row, column)
    cell.value = printable(text, 32_000)
    cell.data_type = "s"
    cell.quotePrefix = text[:1] in "=+-@"
    return cell
