"""A full disk, a folder that cannot be written, a killed run: a clear message and the earlier report as it was."""

from __future__ import annotations

import errno
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from outcomes.errors import UsageError
from outcomes.files import whole_folder
from outcomes.measures import Catalogue
from outcomes.reports import page, write
from outcomes.result import Record

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder, invented_people
from showing import plain_text, shown


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def earlier(study_folder):
    """Return a study with an earlier funder's report, and the notebook of a new one."""
    target = study_folder / "reports" / "funder"
    target.mkdir(parents=True)
    (target / "report.html").write_text("the earlier one", encoding="utf-8")
    return study_folder, shown("funder", study_folder)


def test_a_full_disk_leaves_the_earlier_report(earlier, monkeypatch):
    study, notebook = earlier
    before = bytes_of(study)
    written = []
    whole = os.fsync

    def full(handle):
        written.append(handle)
        if len(written) > 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        whole(handle)

    monkeypatch.setattr(os, "fsync", full)
    said = "cannot be written: No space left on device"
    with pytest.raises(UsageError, match=said), whole_folder(study / "reports" / "funder") as partial:
        write.write_forms(notebook, "funder", partial)
    monkeypatch.undo()
    assert bytes_of(study) == before


def test_a_folder_in_the_way_is_named(earlier):
    study, notebook = earlier
    blocked = study / "reports" / "blocked"
    blocked.write_text("a file, not a folder", encoding="utf-8")
    with pytest.raises(UsageError, match="blocked"), whole_folder(blocked / "funder") as partial:
        write.write_forms(notebook, "funder", partial)
    assert blocked.read_text(encoding="utf-8") == "a file, not a folder"


def test_a_killed_run_leaves_the_earlier_report(earlier):
    study, _ = earlier
    before = bytes_of(study / "reports" / "funder")
    command = [sys.executable, "-m", "outcomes", "report", str(study), "--for", "funder"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as running:
        time.sleep(2.0)
        running.send_signal(signal.SIGKILL)
        running.wait(30)
    assert bytes_of(study / "reports" / "funder") == before


@pytest.mark.parametrize("reader", ["conference", "funder", "class", "participant"])
def test_missing_entries_are_said_and_nothing_fails(tmp_path, reader):
    bare = RecordBuilder(training=None, statements={}, report={}, privacy={}).write(tmp_path / "study")
    for path in (bare / "results" / "0123456789ab" / "people").glob("dose.csv"):
        path.unlink()
    more = {"who": "P01"} if reader == "participant" else {}
    blocks = [o for c in shown(reader, bare, **more).cells if c.cell_type == "code" for o in c.outputs]
    assert any("not reported" in str(block) for block in blocks)


@pytest.mark.parametrize("reader", ["conference", "funder", "class", "participant"])
def test_an_empty_measure_has_a_page(tmp_path, reader):
    builder = RecordBuilder().flow().girth(
        people=invented_people(3), mdc=None, change=None, change_low=None, change_high=None, p=None,
        reason="2 people have both values; at least 3 are needed",
    )  # fmt: skip
    folder = builder.harms(0, 0).rest().write(tmp_path / "study")
    more = {"who": "P01"} if reader == "participant" else {}
    assert shown(reader, folder, **more).cells


FOUR = [("conference", {}), ("funder", {}), ("class", {}), ("participant", {"who": "P01"})]


@pytest.mark.parametrize(("reader", "more"), FOUR)
def test_an_unwritable_folder_is_said_in_one_line(study_folder, monkeypatch, reader, more):
    notebook = shown(reader, study_folder, **more)
    target = study_folder / "reports" / reader
    target.mkdir(parents=True)
    (target / "report.html").write_text("the earlier one", encoding="utf-8")
    before = bytes_of(study_folder)

    def refused(*_, **__):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr("outcomes.files.tempfile.mkdtemp", refused)
    with pytest.raises(UsageError) as error, whole_folder(target) as partial:
        write.write_forms(notebook, reader, partial)
    monkeypatch.undo()
    assert str(error.value) == f"{target} cannot be written: Permission denied"
    assert bytes_of(study_folder) == before


@pytest.mark.parametrize(("reader", "more"), FOUR)
def test_a_study_of_three_people_has_every_page_and_none_tells_of_them(tmp_path, reader, more):
    builder = RecordBuilder(synthetic=False).flow(enrolled=3, left=0, analysed=3).girth(people=invented_people(3))
    folder = builder.harms(0, 0).rest().write(tmp_path / "study")
    html = page.render(shown(reader, folder, **more), reader)
    text = re.sub(r"Exercise ?The work of one session.*?What went in", "", plain_text(html))  # invented data
    if reader == "participant":
        assert "Your training" in text
        return
    assert ("fewer than 11" if reader == "class" else "fewer than 5") in text
    row = builder.outcomes[0]
    for number in (row["change"], row["before_mean"], row["after_mean"]):
        assert f"{number:.1f} " not in text
    if reader != "conference":
        assert "Person, by change" not in plain_text(html, details=True)


@pytest.mark.parametrize(("reader", "more"), FOUR)
def test_a_record_without_a_primary_estimate_names_what_would_answer(tmp_path, reader, more):
    folder = RecordBuilder().flow().characteristics().grades().dose().harms().rest().write(tmp_path / "study")
    text = plain_text(page.render(shown(reader, folder, **more), reader))
    assert ("There is no value of yours in this record" if reader == "participant" else "not reported") in text


@pytest.mark.parametrize(("reader", "more"), FOUR)
def test_all_measures_at_once_stay_on_their_pages(tmp_path, reader, more):
    from outcomes.reports.pdf import PAGES, pages_of, pdf

    builder = RecordBuilder().full()
    for i in range(len(Catalogue.packaged())):
        one = {"measure": f"measure_{i:02d}.total", "place": "-", "label": f"Measure {i}, total", "role": "exploratory"}
        builder.outcomes.append({**builder.outcomes[0], **one, "key": f"change/{one['measure']}/-/all/-/-/mean"})
    folder = builder.write(tmp_path / "study")
    notebook = shown(reader, folder, **more)
    html = page.render(notebook, reader)
    assert len(html.encode()) < 2_000_000
    if reader in ("conference", "class"):
        assert "Measure 83, total" in html
    if reader in PAGES:
        assert pages_of(pdf(notebook, reader)) <= PAGES[reader]
    if reader == "funder":
        assert f"{len(Catalogue.packaged()) + 2 - 12} more measures stand in the record." in html


@pytest.mark.parametrize(("reader", "more"), FOUR)
def test_an_id_with_markup_is_text(tmp_path, reader, more):
    import csv

    folder = RecordBuilder().full().write(tmp_path / "study")
    bad = "<b onmouseover=x>P01</b>"
    for path in (folder / "results" / "0123456789ab" / "people").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = [[bad if cell == "P01" else cell for cell in row] for row in csv.reader(file)]
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    html = page.render(shown(reader, folder, **({"who": bad} if more else {})), reader)
    assert "<b onmouseover" not in html
    if more:
        assert "Participant &lt;b onmouseover=x&gt;P01&lt;/b&gt;" in html


def test_a_page_of_the_record_takes_less_than_half_a_second(study_folder):
    from outcomes.reports.pdf import pdf

    notebook = shown("funder", study_folder)
    pdf(notebook, "funder")
    start = time.process_time()
    pdf(notebook, "funder")
    assert time.process_time() - start < 0.5
    assert Record.read(study_folder / "results" / "0123456789ab" / "record.json").entries
