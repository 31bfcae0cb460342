"""A study of several centres: ids are unique within a centre, and joined as centre_id/participant_id."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stderr, redirect_stdout

import pytest

from outcomes.cli import run

HEADER = "centre_id,participant_id,visit,measure,place,side,item,trial,response,assessed_at\n"
PEOPLE = "centre_id,participant_id,enrolled_on\nnorth,P01,2026-01-05\nsouth,P01,2026-01-05\nsouth,P02,2026-01-05\n"
TWO_OF_EACH = {
    "participants.csv": PEOPLE,
    "centres.csv": "centre_id,name_in_reports\nnorth,North\nsouth,South\n",
    "assessments.csv": HEADER
    + "".join(
        f"{centre},{person},{visit},girth,thigh,left,reading,1,{value},{day}\n"
        for centre, person, values in (("north", "P01", (44, 45)), ("south", "P01", (50, 52)), ("", "P02", (48, 49)))
        for visit, value, day in zip(("before", "after"), values, ("2026-01-06", "2026-03-30"), strict=True)
    ),
    "sessions.csv": "centre_id,participant_id,session_id,started_at,status,active_minutes\n"
    "north,P01,s1,2026-01-08 09:00,done,30\nsouth,P01,s1,2026-01-08 09:00,done,20\n",
}


def said(*words):
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run(list(words))
    return left.value.code, out.getvalue(), err.getvalue()


def test_two_participants_of_one_id_are_kept_apart_and_their_cells_said(room):
    intake = room.read(TWO_OF_EACH)
    assert not intake.stops, [str(finding) for finding in intake.findings]
    assert intake.tables["participants"]["participant_id"].tolist() == ["north/P01", "south/P01", "south/P02"]
    answers = intake.tables["assessments"]
    assert dict(zip(answers["participant_id"], answers["response"], strict=True)) == {
        "north/P01": "45",
        "south/P01": "52",
        "south/P02": "49",
    }
    assert intake.tables["sessions"]["participant_id"].tolist() == ["north/P01", "south/P01"]
    cells = intake.ledger.cells().set_index("cell")
    assert cells.loc["sessions/2/participant_id", ["reason", "typed", "became"]].tolist() == [
        "joined_with_centre",
        "P01",
        "south/P01",
    ]


def test_a_study_of_two_centres_is_analysed_and_its_people_are_three(room):
    assert room.check(TWO_OF_EACH)[:1] == (0,)
    code, out, _ = said("score", str(room.folder))
    assert (code, "north/P01" in out, "south/P01" in out) == (0, True, True)
    assert said("analyse", str(room.folder))[0] == 0
    latest = room.folder / "results" / (room.folder / "results" / "latest").read_text(encoding="utf-8").strip()
    record = json.loads((latest / "record.json").read_text(encoding="utf-8"))
    flow = next(table for table in record["tables"] if table["name"] == "flow")
    assert any(3 in row and "enrolled" in row for row in flow["rows"]), flow
    scores = (latest / "people" / "scores.csv").read_text(encoding="utf-8")
    assert "north/P01" in scores
    assert "south/P01" in scores
    assert "\nP01," not in scores


def test_an_id_of_two_centres_without_its_centre_is_refused_with_both_named(room):
    files = TWO_OF_EACH | {
        "sessions.csv": "participant_id,session_id,started_at,status\nP01,s1,2026-01-08,done\nP02,s1,2026-01-08,done\n"
    }
    code, out, err = room.check(files)
    assert code == 3
    expected = (
        "sessions.csv, row 2, column 'participant_id' (P01): found 'P01', "
        "expected one participant; there are 'north/P01' and 'south/P01': name the centre in a column centre_id"
    )
    assert expected in " ".join((out + err).split())


def test_an_id_that_the_named_centre_does_not_have_is_refused(room):
    sessions = "centre_id,participant_id,session_id,started_at,status\nnorth,P02,s1,2026-01-08,done\n"
    intake = room.read(TWO_OF_EACH | {"sessions.csv": sessions})
    finding = room.only(intake, "unknown_participant")
    assert (finding.grade, finding.file, finding.row, finding.found) == ("block", "sessions.csv", 2, "north/P02")


def test_the_same_id_twice_in_one_centre_is_refused(room):
    people = PEOPLE + "north,P01,2026-01-07\n"
    assert room.only(room.read(TWO_OF_EACH | {"participants.csv": people}), "two_values").grade == "block"


def test_one_centre_leaves_ids_as_they_are(room):
    people = "centre_id,participant_id,enrolled_on\nnorth,P01,2026-01-05\nnorth,P02,2026-01-05\n"
    intake = room.read({"participants.csv": people})
    assert intake.tables["participants"]["participant_id"].tolist() == ["P01", "P02"]


def test_the_tables_of_a_study_of_centres_are_read_again_as_they_are(room):
    tables = room.read(TWO_OF_EACH).tables
    again = room.frames(**tables)
    assert again.tables["assessments"]["participant_id"].tolist() == tables["assessments"]["participant_id"].tolist()
