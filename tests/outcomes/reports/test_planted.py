"""Text that would run, leave its place or turn round, planted in every text of a record: inert in every form."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import docx
import lxml.html
import pytest

from outcomes.reports import page
from outcomes.reports.checklist import checklist
from outcomes.reports.pdf import pdf
from outcomes.reports.write import checklist_csv, write_forms
from outcomes.result import Record

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from pdf_text import read_pdf
from showing import shown

PLANTED = "<script>alert(1)</script> =HYPERLINK(1) ../../etc $\\frac{1}{2}$ #panic *x* \u202egnp"
SKIPPED = {"design", "allocation", "harms_collection", "key", "when", "mode", "side", "software_version", "caution"}


def planted(value, key=""):
    """Return plain data with every author's text replaced."""
    if isinstance(value, str) and key not in SKIPPED:
        return PLANTED
    if isinstance(value, dict):
        return {k: v if k in ("compare", "definitions", "frozen") else planted(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [planted(v, key) for v in value]
    return value


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    builder = RecordBuilder(
        report={"funder": {"costs": [{"label": "x", "amount": 10.0, "currency": "EUR"}]}, "beside_published": True},
        statements=dict.fromkeys(("eligibility", "limitations", "next_step", "rationale"), "x"),
        not_applicable=[{"guideline": "cert", "item": "9", "reason": "x"}],
        plain_names=[{"measure": "limb_girth", "places": ["mid_thigh"], "name": "x"}],
    )
    builder.full()
    meta = builder.record.meta
    visible = ("title", "question", "setting", "statements", "visits", "groups", "plain_names", "report")
    builder.record.meta = {k: planted(v, k) if k in visible else v for k, v in meta.items()}
    builder.record.meta["plain_names"][0].update(measure="limb_girth", places=["mid_thigh"])
    builder.record.meta["report"]["funder"]["costs"][0]["currency"] = "EUR"
    builder.record.meta["not_applicable"][0]["reason"] = PLANTED
    for row in builder.outcomes:
        row.update(label=PLANTED, reason=PLANTED, mdc_source=PLANTED)
    return builder.write(tmp_path_factory.mktemp("planted") / "study")


@pytest.fixture(scope="module")
def notebooks(folder):
    readers = {"conference": {}, "funder": {}, "class": {}, "participant": {"who": "P01"}}
    return {reader: shown(reader, folder, **more) for reader, more in readers.items()}


@pytest.mark.parametrize("reader", ["conference", "funder", "class", "participant"])
def test_the_page_runs_nothing_and_loads_nothing(notebooks, reader):
    html = page.render(notebooks[reader], reader)
    tree = lxml.html.fromstring(html)
    assert not tree.xpath("//script | //iframe | //object | //embed | //link | //a[not(starts-with(@href, '#'))]")
    assert not [e for e in tree.iter() for name in e.attrib if name.startswith("on")]
    assert all(src.startswith("data:image/") for src in tree.xpath("//@src"))
    assert "\u202e" not in html
    assert len(tree.xpath("//h1")) == 1
    assert "default-src 'none'" in html


@pytest.mark.parametrize("reader", ["funder", "participant"])
def test_the_pdf_prints_markup_as_letters(notebooks, reader):
    found = read_pdf(pdf(notebooks[reader], reader))
    text = re.sub(r"\s", "", found.text)
    assert "<script>alert(1)</script>" in text
    assert "#panic" in text
    assert "\u202e" not in found.text
    assert b"/JavaScript" not in pdf(notebooks[reader], reader)


def test_documents_and_files_hold_it_as_text(notebooks, tmp_path):
    names = write_forms(notebooks["conference"], "conference", tmp_path)
    assert all((tmp_path / name).resolve().is_relative_to(tmp_path.resolve()) for name in names)
    document = docx.Document(io.BytesIO((tmp_path / "abstract.docx").read_bytes()))
    assert not document.part.element.xpath("//w:hyperlink | //w:fldSimple | //w:instrText")
    assert "\u202e" not in (tmp_path / "abstract.txt").read_text(encoding="utf-8")


def test_the_checklist_starts_no_formula(folder):
    path = folder / "results" / "0123456789ab" / "record.json"
    cells = checklist(Record.read(path)).to_numpy().ravel()
    assert any("HYPERLINK" in cell for cell in cells)
    for line in checklist_csv(path, "conference").splitlines():
        assert not re.search(r'(?:^|,)"?[=+@-]', line)


def test_one_file_a_page(notebooks):
    for reader, notebook in notebooks.items():
        assert len(page.render(notebook, reader).encode()) < 2_000_000
