"""The words of the printed pages on an invented record and of all four reports on a cohort, as they were last read.

Written again by: OUTCOMES_SNAPSHOTS=write pytest tests/outcomes/reports/test_snapshots.py
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from outcomes.reports import page

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from showing import plain_text, shown

FOLDER = Path(__file__).parent / "snapshots"


@pytest.mark.parametrize(
    ("reader", "more"), [("funder", {}), ("funder", {"public": True}), ("participant", {"who": "P01"})]
)
def test_the_words_are_those_that_were_read(tmp_path, reader, more):
    folder = RecordBuilder().full().write(tmp_path / "study")
    html = page.render(shown(reader, folder, **more), reader)
    found = plain_text(html, details=True).replace(". ", ".\n") + "\n"
    path = FOLDER / f"{reader}{'_public' if more.get('public') else ''}.txt"
    if os.environ.get("OUTCOMES_SNAPSHOTS") == "write":
        path.parent.mkdir(exist_ok=True)
        path.write_text(found, encoding="utf-8")
    assert path.read_text(encoding="utf-8") == found


COHORT = [("conference", {}), ("funder", {}), ("class", {}), ("participant", {"who": "P002"})]


@pytest.mark.parametrize(("reader", "more"), COHORT)
def test_the_words_of_all_four_reports_on_the_cohort_are_those_that_were_read(demo, reader, more):
    """Sentences, tables and captions; lists of sources, methods, numbers and hashes and the data of figures are not."""
    html = page.render(shown(reader, demo[0], **more), reader)
    said = plain_text(html).partition("What went in")[0].partition("Measures, data and methods")[0]
    found = said.replace(". ", ".\n") + "\n"
    path = FOLDER / f"cohort_{reader}.txt"
    if os.environ.get("OUTCOMES_SNAPSHOTS") == "write":
        path.write_text(found, encoding="utf-8")
    assert path.read_text(encoding="utf-8") == found
