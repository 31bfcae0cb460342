"""The words of the printed pages on an invented record, as they were last read and found good.

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
