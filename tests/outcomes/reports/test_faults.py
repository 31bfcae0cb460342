"""A full disk, a folder that cannot be written, a killed run: a clear message and the earlier report as it was."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from outcomes.errors import UsageError
from outcomes.files import whole_folder
from outcomes.reports import write
from outcomes.result import Record

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder, invented_people
from showing import shown


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


@pytest.mark.parametrize("reader", ["conference", "funder", "class"])
def test_missing_entries_are_said_and_nothing_fails(tmp_path, reader):
    bare = RecordBuilder(training=None, statements={}, report={}, privacy={}).write(tmp_path / "study")
    blocks = [o for c in shown(reader, bare).cells if c.cell_type == "code" for o in c.outputs]
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


def test_a_page_of_the_record_takes_less_than_half_a_second(study_folder):
    from outcomes.reports.pdf import pdf

    notebook = shown("funder", study_folder)
    pdf(notebook, "funder")
    start = time.process_time()
    pdf(notebook, "funder")
    assert time.process_time() - start < 0.5
    assert Record.read(study_folder / "results" / "0123456789ab" / "record.json").entries
