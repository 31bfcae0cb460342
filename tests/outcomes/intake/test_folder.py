"""The folder: missing tables, files that are not read, lock files, what a check writes."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import time
from pathlib import Path

import pytest

from outcomes.errors import UsageError
from outcomes.intake import read_folder, write_check


def test_a_missing_required_table_is_refused(room):
    intake = room.read({"assessments.csv": None})
    finding = room.only(intake, "missing_table")
    assert (finding.grade, finding.table) == ("block", "assessments")


def test_a_file_named_nearly_like_a_table_is_named(room):
    intake = room.read({"assessments.csv": None, "assesments.csv": room.answers()})
    assert "did you mean 'assesments'?" in room.only(intake, "missing_table").expected
    assert "did you mean 'assessments'?" in room.only(intake, "not_read").expected


def test_a_folder_that_does_not_exist_is_a_usage_error(room, tmp_path):
    with pytest.raises(UsageError, match="not a folder"):
        read_folder(tmp_path / "nowhere", None, room.catalogue)


def test_two_files_for_one_table_are_refused(room):
    intake = room.read({"participants.tsv": room.PARTICIPANTS.replace(",", "\t")})
    finding = room.only(intake, "two_sources")
    assert (finding.grade, finding.table) == ("block", "participants")
    assert "participants.csv and participants.tsv" in finding.expected


def test_a_lock_file_is_passed_over_and_named(room):
    intake = room.read({"~$participants.xlsx": b"\x05me"})
    assert room.where(intake, "lock_file") == ("ask", "~$participants.xlsx", None, "")
    assert not intake.stops


def test_a_file_that_cannot_be_read_is_refused(room, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    (room.folder / "participants.csv").write_text(room.PARTICIPANTS)
    monkeypatch.setattr(Path, "read_bytes", refuse)
    intake = read_folder(room.folder, room.protocol(), room.catalogue)
    assert "permission denied" in room.only(intake, "unreadable_file").expected


def test_all_findings_of_all_tables_are_told_together(room):
    files = {
        "participants.csv": room.PARTICIPANTS.replace("50", "500"),
        "assessments.csv": room.answers("P01,before,tone,knee,left,grade,,9,,"),
        "sessions.csv": room.sessions(room.GOOD_SESSION.replace("P01", "Q01")),
        "events.csv": b"",
    }
    intake = room.read(files)
    assert {finding.file for finding in intake.findings} == set(files)
    assert intake.findings[0].grade == "block"


def test_files_are_hashed(room):
    intake = room.read({"words.csv": "column,word,means\n"})
    assert set(intake.files) == {"participants.csv", "assessments.csv", "words.csv"}
    raw = (room.folder / "assessments.csv").read_bytes()
    assert intake.files["assessments.csv"] == hashlib.sha256(raw).hexdigest()


def test_progress_names_every_file(room):
    room.read()
    seen = []
    read_folder(room.folder, room.protocol(), room.catalogue, progress=seen.append)
    assert seen == ["assessments.csv", "participants.csv"]


def test_a_check_writes_everything_also_where_the_run_stops(room):
    intake = room.read({"assessments.csv": room.answers("P01,before,tone,knee,left,grade,,=1+1,,")})
    assert intake.stops
    written = write_check(intake, room.folder)
    names = {path.name for path in written}
    assert {"findings.csv", "ledger.csv", "cells.csv", "balance.csv"} <= names
    check = room.folder / "results" / "check"
    assert {path.name for path in check.iterdir()} == names
    findings = list(csv.DictReader(io.StringIO((check / "findings.csv").read_text(encoding="utf-8"))))
    assert findings[0]["row"] == "6"
    assert findings[0]["found"] == "'=1+1"
    cells = list(csv.DictReader(io.StringIO((check / "cells.csv").read_text(encoding="utf-8"))))
    assert cells[0] == {
        "cell": "assessments/5/response",
        "file": "assessments.csv",
        "sheet": "",
        "row": "6",
        "heading": "response",
        "typed": "'=1+1",
        "table": "assessments",
        "table_row": "5",
        "column": "response",
        "became": "",
        "state": "emptied",
        "reason": "not_a_code",
        "row_state": "used",
    }


def test_a_refused_study_leaves_files_and_reading_them_again_gives_the_same(room):
    first = room.read({"assessments.csv": room.answers("P01,before,tone,knee,left,grade,,9,,")})
    write_check(first, room.folder)
    again = read_folder(room.folder, room.protocol(), room.catalogue)
    assert again.findings == first.findings
    assert again.files == first.files


def test_numbers_do_not_depend_on_locale_or_time_zone(room, monkeypatch):
    first = room.read().tables["assessments"]
    monkeypatch.setitem(os.environ, "TZ", "Pacific/Auckland")
    monkeypatch.setitem(os.environ, "LC_ALL", "de_DE.UTF-8")
    time.tzset()
    try:
        again = room.read().tables["assessments"]
    finally:
        monkeypatch.undo()
        time.tzset()
    assert again.equals(first)
