"""The abstract as a Word document: the same bytes for the same words."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from typing import Any

from outcomes.reports.abstract import SYNTHETIC, Abstract

STAMP = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a zip file can hold."""

FONT = "Arial"


def abstract_docx(abstract: Abstract, *, picture: bytes = b"", caption: str = "", alt: str = "") -> bytes:
    """Return the abstract as docx: title, headed sections, its figure at 8 cm, and below what is no part of it.

    Parameters
    ----------
    abstract : Abstract
    picture : bytes
        A png; no figure if empty.
    caption, alt : str
        Below the figure; for readers who do not see it.
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
        _figure(document, picture, caption, alt)
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


def _figure(document: Any, picture: bytes, caption: str, alt: str) -> None:
    from docx.shared import Cm

    document.add_picture(io.BytesIO(picture), width=Cm(8))
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
