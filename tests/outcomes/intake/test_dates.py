"""Days, moments, clock times, and the days since enrolment that follow from them."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest


def people(first, second="2026-01-05"):
    return f"participant_id,enrolled_on\nP01,{first}\nP02,{second}\n"


def test_slashed_dates_throughout_are_refused_with_the_line_that_settles_them(room):
    intake = room.read({"participants.csv": people("03/04/2025", "05/04/2025")})
    finding = room.only(intake, "ambiguous_date")
    assert (finding.grade, finding.file, finding.row, finding.column) == ("block", "participants.csv", 2, "enrolled_on")
    assert 'date_format = "%d/%m/%Y" or "%m/%d/%Y"' in finding.remedy


def test_the_row_that_shows_the_order_is_named(room):
    intake = room.read({"participants.csv": people("03/04/2025", "25/04/2025")})
    finding = room.only(intake, "ambiguous_date")
    assert (finding.grade, finding.row, finding.found) == ("block", 3, "25/04/2025")
    assert "can only be day first" in finding.expected


def test_a_declared_format_is_used_and_iso_stays_readable(room):
    intake = room.read({"participants.csv": people("05.01.2026")}, intake='date_format = "%d.%m.%Y"')
    assert intake.findings == ()
    assert intake.tables["participants"]["enrolled_on"].tolist() == [pd.Timestamp("2026-01-05")] * 2


def test_a_format_of_columns_csv_is_used_for_its_heading_only(room):
    columns = "sheet,heading,column,format\nparticipants,enrolled_on,enrolled_on,%d.%m.%Y\n"
    intake = room.read({"columns.csv": columns, "participants.csv": people("05.01.2026", "05.01.2026")})
    assert intake.findings == ()


def test_one_slashed_date_among_others_is_set_aside(room):
    text = people("2026-01-05", "2026-01-05") + "P03,03/04/2025\nP04,2026-01-06\n"
    intake = room.read({"participants.csv": text})
    assert room.where(intake, "ambiguous_date") == ("set_aside", "participants.csv", 4, "enrolled_on")


@pytest.mark.parametrize(
    ("typed", "rule"),
    [
        ("2025-02-30", "no_such_day"),
        ("2025-13-01", "no_such_day"),
        ("yesterday", "not_a_date"),
        ("2026-01-05T10:00:00Z", "time_zone"),
    ],
)
def test_a_cell_that_is_no_date_is_set_aside(room, typed, rule):
    intake = room.read({"participants.csv": people(typed)})
    assert room.where(intake, rule) == ("set_aside", "participants.csv", 2, "enrolled_on")


def test_a_serial_number_is_never_read_from_csv(room):
    intake = room.read({"participants.csv": people("45321", "45322")})
    assert room.where(intake, "date_serial") == ("block", "participants.csv", 2, "enrolled_on")


def test_a_year_of_two_digits_is_refused(room):
    intake = room.read({"participants.csv": people("5/1/25", "6/1/25")})
    assert room.where(intake, "two_digit_year") == ("block", "participants.csv", 2, "enrolled_on")


def test_a_session_before_enrolment_is_asked_about(room):
    early = room.GOOD_SESSION.replace("2026-01-08", "2025-12-08")
    intake = room.read({"sessions.csv": room.sessions(early)})
    finding = room.only(intake, "before_enrolment")
    assert (finding.grade, finding.row, finding.column) == ("ask", 2, "started_at")
    assert "2026-01-05" in finding.expected
    assert intake.tables["sessions"]["started_day"].tolist() == [-28.0]


def test_a_session_after_leaving_is_asked_about_unless_it_was_missed(room):
    text = "participant_id,enrolled_on,left_on\nP01,2026-01-05,2026-01-20\nP02,2026-01-05,\n"
    late = room.GOOD_SESSION.replace("2026-01-08", "2026-02-01")
    missed = "P01,s2,2026-02-03 09:00,missed,,,,"
    intake = room.read({"participants.csv": text, "sessions.csv": room.sessions(late, missed)})
    finding = room.only(intake, "after_leaving")
    assert (finding.grade, finding.row) == ("ask", 2)
    assert "2026-01-20" in finding.expected


def test_a_visit_outside_its_window_is_asked_about(room):
    intake = room.read({"assessments.csv": room.answers("P02,after,life,,,one,,2,,2026-05-30 09:00")})
    finding = room.only(intake, "outside_window")
    assert (finding.grade, finding.file, finding.row, finding.column) == ("ask", "assessments.csv", 6, "assessed_at")
    # Week 12 is day 84; its window of 7 days before and 14 after is day 77 to 98.
    assert "2026-03-23 to 2026-04-13" in finding.expected


def test_a_visit_before_an_earlier_one_is_asked_about_with_both_dates(room):
    visits = "participant_id,visit,visited_at\nP01,before,2026-01-12\nP01,after,2026-01-10\n"
    text = room.ANSWERS_HEADER + "\nP01,before,life,,,one,,2,,\nP01,after,life,,,one,,2,,\n"
    intake = room.read({"visits.csv": visits, "assessments.csv": text})
    finding = room.only(intake, "visit_order")
    assert (finding.grade, finding.file, finding.row, finding.found) == ("ask", "visits.csv", 3, "2026-01-10")
    assert "2026-01-12" in finding.expected


def test_without_enrolment_windows_are_not_checked_and_one_query_says_so(room):
    text = room.answers("P02,after,life,,,one,,2,,2027-05-30 09:00")
    intake = room.read({"participants.csv": "participant_id\nP01\nP02\n", "assessments.csv": text})
    assert [finding.rule for finding in intake.findings] == ["no_enrolment"]
    # The earliest date in any table is day 0.
    days = intake.tables["assessments"].set_index("row_id")["assessed_day"]
    assert days["assessments/1"] == 0
    assert days["assessments/2"] == 83


def test_days_and_clocks_follow_from_dates(room):
    sessions = room.sessions(
        room.GOOD_SESSION, "P01,s2,2026-01-10,done,40,5,30,20", "P01,s3,2026-01-12 00:00,done,40,5,30,20"
    )
    frame = room.read({"sessions.csv": sessions}).tables["sessions"]
    assert frame["started_day"].tolist() == [3.0, 5.0, 7.0]
    assert frame["started_clock"].tolist()[0] == 540.0
    assert math.isnan(frame["started_clock"].tolist()[1])
    assert frame["started_clock"].tolist()[2] == 0.0
    assert frame["started_at"].dtype == np.dtype("datetime64[us]")


def test_days_and_clocks_can_be_typed_instead(room):
    header = room.SESSIONS_HEADER.replace("started_at", "started_day,started_clock")
    text = room.sessions("P01,s1,3,09:00,done,40,5,30,20", "P01,s2,5,,done,40,5,30,20", header=header)
    frame = room.read({"sessions.csv": text}).tables["sessions"]
    assert frame["started_day"].tolist() == [3.0, 5.0]
    assert frame["started_clock"].tolist()[0] == 540.0
    assert frame["started_at"].isna().all()


@pytest.mark.parametrize(("day", "clock", "rule"), [("3.5", "09:00", "not_a_day"), ("3", "9 o'clock", "not_a_time")])
def test_a_typed_day_or_clock_that_is_none_is_set_aside(room, day, clock, rule):
    header = room.SESSIONS_HEADER.replace("started_at", "started_day,started_clock")
    intake = room.read({"sessions.csv": room.sessions(f"P01,s1,{day},{clock},done,40,5,30,20", header=header)})
    assert room.only(intake, rule).grade == "set_aside"


def test_both_forms_of_a_day_are_refused(room):
    header = room.SESSIONS_HEADER.replace("started_at", "started_at,started_day")
    intake = room.read({"sessions.csv": room.sessions("P01,s1,2026-01-08,3,done,40,5,30,20", header=header)})
    assert room.where(intake, "two_forms") == ("block", "sessions.csv", 1, "")


def test_a_time_of_day_in_a_column_of_days_is_dropped_and_counted(room):
    intake = room.read({"participants.csv": people("2026-01-05 08:15")})
    assert intake.findings == ()
    assert intake.tables["participants"]["enrolled_on"].tolist()[0] == pd.Timestamp("2026-01-05")
    assert intake.ledger.cells()["reason"].tolist() == ["time_of_day_dropped"]


def test_a_date_inside_a_key_that_cannot_be_read_sets_its_row_aside(room):
    changes = "participant_id,changed_on,kind,what\nP01,2026-02-30,medicine,more\nP01,2026-02-20,medicine,less\n"
    intake = room.read({"changes.csv": changes})
    assert room.where(intake, "no_such_day") == ("set_aside", "changes.csv", 2, "changed_on")
    assert room.count(intake, "changes", "set_aside") == 1
    assert len(intake.tables["changes"]) == 1


def test_visits_are_derived_from_the_earliest_answer(room):
    text = room.answers("P01,before,life,,,one,,2,,2026-01-06 08:00")
    intake = room.read({"assessments.csv": text})
    visits = intake.tables["visits"]
    assert visits[["participant_id", "visit"]].to_numpy().tolist() == [
        ["P01", "before"],
        ["P01", "after"],
        ["P02", "before"],
    ]
    assert visits["visited_day"].tolist() == [1.0, 84.0, 1.0]
    assert visits["visited_clock"].tolist() == [480.0, 570.0, 600.0]
    assert intake.ledger.locate("visits/1/visited_at") == ("assessments.csv", "", 6, "assessed_at")


def test_a_visit_that_only_assessments_know_is_asked_about_and_added(room):
    intake = room.read({"visits.csv": "participant_id,visit,visited_at\nP01,before,2026-01-06\nP01,after,2026-03-30\n"})
    assert room.where(intake, "visit_not_listed") == ("ask", "assessments.csv", 4, "assessed_at")
    assert len(intake.tables["visits"]) == 3


def test_answers_at_a_missed_visit_are_asked_about(room):
    visits = "participant_id,visit,visited_at,status\nP01,before,2026-01-06,missed\n"
    visits += "P01,after,2026-03-30,held\nP02,before,2026-01-06,held\n"
    intake = room.read({"visits.csv": visits})
    assert room.where(intake, "missed_but_answered") == ("ask", "visits.csv", 2, "visited_at")
