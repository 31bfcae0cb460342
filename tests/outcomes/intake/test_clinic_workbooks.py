"""Study folders as clinics have them: what a decision does, cells far from the table, sheets under a banner."""

from __future__ import annotations

import pytest

DECISIONS = "query,decision,role,date,reason\n"


def decided(room, files, rule, **protocol):
    """Read files, answer the one query of a rule with "set_aside", and return the second reading."""
    query = room.only(room.read(files, **protocol), rule).query
    text = DECISIONS + f"{query},set_aside,assessor,2026-06-01,looked at the paper\n"
    intake = room.read({**files, "decisions.csv": text}, **protocol)
    assert room.of_rule(intake, rule) == [], "an answered query is no longer asked"
    return intake


LATE = ("P02,after,girth,thigh,left,reading,1,50,,2026-09-01", "P02,after,girth,thigh,right,reading,1,51,,2026-09-01")


def test_a_visit_that_is_set_aside_loses_all_its_answers(room):
    intake = decided(room, {"assessments.csv": room.answers(*LATE)}, "outside_window")
    frame = intake.tables["assessments"]
    assert not ((frame["participant_id"] == "P02") & (frame["visit"] == "after")).any()
    assert len(frame) == 4, "the answers of other visits stay"
    assert room.count(intake, "assessments", "set_aside") == 2


def test_a_listed_visit_that_is_set_aside_leaves_the_table_of_visits_too(room):
    visits = "participant_id,visit,visited_at,status\nP01,before,2026-01-06,held\nP01,after,2026-09-01,held\n"
    visits += "P02,before,2026-01-06,held\n"
    intake = decided(room, {"visits.csv": visits}, "outside_window")
    assert intake.tables["visits"]["visit"].tolist() == ["before", "before"]
    assert intake.tables["assessments"]["visit"].tolist() == ["before", "before", "before"]


def test_answers_of_a_missed_visit_are_set_aside_and_the_visit_stays_missed(room):
    visits = "participant_id,visit,visited_at,status\nP01,before,2026-01-06,held\nP01,after,2026-03-30,missed\n"
    visits += "P02,before,2026-01-06,held\n"
    intake = decided(room, {"visits.csv": visits}, "missed_but_answered")
    assert intake.tables["visits"]["status"].tolist() == ["held", "missed", "held"]
    assert "after" not in intake.tables["assessments"]["visit"].tolist()


@pytest.mark.parametrize(
    ("rule", "row"),
    [
        ("same_start", "P01,s2,2026-01-08 09:00,done,40,5,30,20"),
        ("before_enrolment", "P01,s2,2025-12-01 09:00,done,40,5,30,20"),
    ],
)
def test_a_session_that_is_set_aside_counts_nowhere(room, rule, row):
    intake = decided(room, {"sessions.csv": room.sessions(room.GOOD_SESSION, row)}, rule)
    assert intake.tables["sessions"]["session_id"].tolist() == ["s1"]
    assert room.count(intake, "sessions", "set_aside") == 1


def test_a_count_of_sessions_names_no_session_that_could_be_set_aside(room):
    files = {"sessions.csv": room.sessions(room.GOOD_SESSION, "P01,s2,2026-01-08 15:00,done,40,5,30,20")}
    query = room.only(room.read(files), "sessions_per_day").query
    text = DECISIONS + f"{query},set_aside,assessor,2026-06-01,checked\n"
    finding = room.only(room.read({**files, "decisions.csv": text}), "decision")
    assert (finding.grade, finding.file, finding.row) == ("block", "decisions.csv", 2)
    intake = room.read({**files, "decisions.csv": text.replace("set_aside", "keep")})
    assert len(intake.tables["sessions"]) == 2


def test_a_session_of_another_file_is_named_with_its_file(room):
    rows = [["participant_id", "session_id", "started_at", "status"], ["P01", "s9", "2026-01-08 09:00", "done"]]
    files = {
        "old.xlsx": room.workbook({"rides": rows}),
        "sessions.csv": room.sessions(room.GOOD_SESSION),
        "columns.csv": "sheet,heading,table,column\nrides,session_id,sessions,session_id\n"
        "rides,started_at,sessions,started_at\nrides,status,sessions,status\n",
    }
    finding = room.only(room.read(files), "same_start")
    assert (finding.file, "old.xlsx, rides, row 2 has the same start" in finding.expected) == ("sessions.csv", True)
