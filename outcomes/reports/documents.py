"""The abstract as a Word document: the same bytes for the same words."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from typing import Any

from outcomes.reports.abstract import SYNTHETIC, Abstract
from outcomes.reports.tables import Table

STAMP = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a zip file can hold."""

FONT = "Arial"


def abstract_docx(
    abstract: Abstract, *, picture: bytes = b"", caption: str = "", alt: str = "", width_cm: float = 8.0,
    table: Table | None = None,
) -> bytes:  # fmt: skip
    """Return the abstract as docx: title, headed sections, its figure and table, and below what is no part of it.

    Parameters
    ----------
    abstract : Abstract
    picture : bytes
        A png; no figure if empty.
    caption, alt : str
        Below the figure; for readers who do not see it.
    width_cm : float
        Width of the figure.
    table : Table, optional
        After the figure.
    """
    import docx

    document: Any = docx.Document()
    _prepare(document, abstract.title)
    if SYNTHETIC in abstract.notes:
        _quiet(document, SYNTHETIC)
    document.add_heading(abstract.title, level=1)
    for heading, text in abstract.sections:
        document.add_heading(heading, level=2)
        document.add_paragraph(text)
    if picture:
        _figure(document, picture, caption, alt, width_cm)
    if table is not None:
        _table(document, table)
    document.add_heading("Not part of the abstract", level=2)
    for line in (abstract.length_line, *abstract.findings, *(n for n in abstract.notes if n != SYNTHETIC)):
        _quiet(document, line)
    out = io.BytesIO()
    document.save(out)
    return _restamp(out.getvalue())


def _prepare(document: Any, title: str) -> None:
    """Set fonts, language and properties; nobody's name and no time stays in the file."""
    from docx.oxml.ns import qn
    from docx.shared import Cm, Pt, RGBColor

    for name, size in (("Normal", 10.5), ("Heading 1", 14), ("Heading 2", 10.5)):
        style = document.styles[name]
        style.font.name, style.font.size = FONT, Pt(size)
        style.font.color.rgb = RGBColor(0, 0, 0)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for attribute in list(fonts.attrib):
            if attribute.endswith("Theme"):
                del fonts.attrib[attribute]
        for kind in ("w:ascii", "w:hAnsi", "w:cs", "w:eastAsia"):
            fonts.set(qn(kind), FONT)
    document.styles["Normal"].paragraph_format.space_after = Pt(6)
    for section in document.sections:
        section.left_margin = section.right_margin = Cm(2.5)
    properties = document.core_properties
    properties.title, properties.author, properties.last_modified_by = title[:255], "", ""
    properties.comments, properties.language, properties.revision = "", "en", 1
    properties.created = properties.modified = datetime(*STAMP)


def _quiet(document: Any, text: str) -> None:
    from docx.shared import Pt, RGBColor

    run = document.add_paragraph().add_run(text)
    run.font.size, run.font.color.rgb = Pt(8.5), RGBColor(0x5B, 0x67, 0x70)


def _table(document: Any, table: Table) -> None:
    """Write a table with its caption above, its heading row marked as one, and its note below."""
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.oxml import OxmlElement
    from docx.shared import Pt

    document.add_paragraph(f"Table 1. {table.caption}").paragraph_format.keep_with_next = True
    grid = document.add_table(rows=0, cols=len(table.columns), style="Table Grid")
    for number, texts in enumerate((table.columns, *table.rows)):
        row = grid.add_row()
        if not number:
            row._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))
        for i, (cell, text) in enumerate(zip(row.cells, texts, strict=True)):
            run = cell.paragraphs[0].add_run(text)
            run.font.size, run.font.bold = Pt(8), not number
            if i in table.numeric:
                cell.paragraphs[0].alignment = WD_ALIGN_PARAGRAPH.RIGHT
    if table.note:
        _quiet(document, table.note)


def _figure(document: Any, picture: bytes, caption: str, alt: str, width_cm: float) -> None:
    from docx.shared import Cm

    document.add_picture(io.BytesIO(picture), width=Cm(width_cm))
    shape = document.inline_shapes[-1]._inline.docPr
    shape.set("descr", alt)
    shape.set("title", "Figure 1")
    document.paragraphs[-1].paragraph_format.keep_with_next = True
    document.add_paragraph(f"Figure 1. {caption}")


def _restamp(data: bytes) -> bytes:
    """Return a zip file with fixed times."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            info = zipfile.ZipInfo(name, STAMP)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            new.writestr(info, old.read(name))
    return out.getvalue()
