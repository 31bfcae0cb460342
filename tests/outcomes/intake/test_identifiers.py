"""Identifiers and joins."""

from __future__ import annotations

import pytest


def test_ids_stay_text(room):
    people = "participant_id,enrolled_on\n007,2026-01-05\n1E5,2026-01-05\nNA,2026-01-05\nNone,2026-01-05\n"
    rows = [f"{name},before,life,,,one,,2,," for name in ("007", "1E5", "NA", "None")]
    text = "\n".join([room.ANSWERS_HEADER, *rows]) + "\n"
    intake = room.read({"participants.csv": people, "assessments.csv": text}, intake='missing_words = ["NA"]')
    assert intake.findings == ()
    assert intake.tables["participants"]["participant_id"].tolist() == ["007", "1E5", "NA", "None"]
    assert intake.tables["assessments"]["participant_id"].tolist() == ["007", "1E5", "NA", "None"]


def test_blanks_around_an_id_are_trimmed_and_counted(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("P01", "P01 ")})
    assert intake.findings == ()
    assert room.count(intake, "participants", "normalised") == 1


def test_an_id_in_other_case_is_refused_with_both_rows(room):
    intake = room.read({"assessments.csv": room.answers("p01,before,life,,,two,,2,,")})
    finding = room.only(intake, "look_alike")
    assert (finding.grade, finding.file, finding.row) == ("block", "assessments.csv", 6)
    assert "'P01' in participants.csv, row 2" in finding.expected
    assert "case differs" in finding.expected


@pytest.mark.parametrize("twin", ["P 01", "Р01", "Ｐ01"])
def test_an_id_that_looks_like_another_is_refused(room, twin):
    intake = room.read({"assessments.csv": room.answers(f"{twin},before,life,,,two,,2,,")})
    assert room.where(intake, "look_alike") == ("block", "assessments.csv", 6, "participant_id")


@pytest.mark.parametrize(("sign", "code"), [("\u200b", "U+200B"), ("\u200f", "U+200F"), ("\u00a0", "U+00A0")])
def test_a_character_that_cannot_be_seen_is_refused_with_its_code_point(room, sign, code):
    intake = room.read({"assessments.csv": room.answers(f"P0{sign}1,before,life,,,two,,2,,")})
    finding = room.only(intake, "invisible_character")
    assert (finding.grade, finding.row) == ("block", 6)
    assert code in finding.expected


def test_a_participant_twice_with_different_values_is_refused(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS + "P01,2026-01-05,41\n"})
    finding = room.only(intake, "two_values")
    assert (finding.grade, finding.row, finding.column, finding.found) == ("block", 4, "age_years", "41")
    assert "row 2 has '40'" in finding.expected


def test_the_same_row_twice_is_a_duplicate(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS + "P01,2026-01-05,40\nP01 ,2026-01-05,40\n"})
    assert intake.findings == ()
    assert room.count(intake, "participants", "duplicates") == 2
    assert room.count(intake, "participants", "in_duplicates") == 6
    rows = intake.ledger.rows().set_index("row_id")
    assert rows.loc["participants/3", "state"] == "duplicate"
    assert rows.loc["participants/3", "row"] == 4


def test_a_participant_of_another_table_must_exist(room):
    rows = [room.GOOD_SESSION.replace("P01", "Q07"), room.GOOD_SESSION.replace("P01,s1", "Q07,s2")]
    intake = room.read({"sessions.csv": room.sessions(*rows)})
    finding = room.only(intake, "unknown_participant")
    assert (finding.grade, finding.file, finding.row, finding.found) == ("block", "sessions.csv", 2, "Q07")
    assert "(2 rows)" in finding.expected


def test_a_row_without_participant_is_set_aside(room):
    intake = room.read({"assessments.csv": room.answers(",before,life,,,two,,2,,")})
    assert room.where(intake, "blank_key") == ("set_aside", "assessments.csv", 6, "participant_id")
    assert room.count(intake, "assessments", "set_aside") == 1


def test_session_ids_are_unlike_within_one_participant_only(room):
    other = room.GOOD_SESSION.replace("P01,s1", "P02,S1")
    assert room.read({"sessions.csv": room.sessions(room.GOOD_SESSION, other)}).findings == ()
    same = room.GOOD_SESSION.replace("s1,2026-01-08", "S1,2026-01-10")
    intake = room.read({"sessions.csv": room.sessions(room.GOOD_SESSION, same)})
    assert room.where(intake, "look_alike") == ("block", "sessions.csv", 3, "session_id")


def test_stimulation_of_an_unknown_session_is_asked_about(room):
    stimulation = (
        "participant_id,session_id,channel,segment,current_ma,pulse_width_us,frequency_hz\nP01,s9,1,1,80,300,35\n"
    )
    intake = room.read({"sessions.csv": room.sessions(room.GOOD_SESSION), "stimulation.csv": stimulation})
    assert room.where(intake, "unknown_session") == ("ask", "stimulation.csv", 2, "session_id")


def test_values_behind_identifying_headings_are_not_echoed(room):
    files = {
        "columns.csv": "sheet,heading,table,column\nparticipants,Nachname,participants,participant_id\n",
        "participants.csv": "Nachname,enrolled_on,age_years\nSmith,2026-01-05,40\nSMITH,2026-01-05,400\n",
        "assessments.csv": room.ANSWERS_HEADER + "\nSmith,before,life,,,one,,2,,\n",
    }
    intake = room.read(files)
    assert {finding.rule for finding in intake.findings} == {"look_alike", "hard_limit", "identifying_heading"}
    for finding in intake.findings:
        assert "smith" not in str(finding).lower()


def test_columns_that_tell_who_somebody_is_are_pointed_out_by_heading_only(room):
    people = "participant_id,Name,Date of birth,age_years\nP01,Ada,1950-02-03,40\nP02,Bo,1951-02-03,50\n"
    found = room.of_rule(room.read({"participants.csv": people}), "identifying_heading")
    assert [(f.grade, f.row, f.column, f.found) for f in found] == [
        ("ask", 1, "Date of birth", ""),
        ("ask", 1, "Name", ""),
    ]


def test_a_centre_s_public_name_is_not_pointed_out(room):
    intake = room.read({"centres.csv": "centre_id,name_in_reports\nC1,North\n"})
    assert not room.of_rule(intake, "identifying_heading")


@pytest.mark.parametrize("ids", [("19500203", "19510203"), ("AB-030250", "CD-030251"), ("ab03.02.1950", "cd3.2.51")])
def test_ids_that_tell_something_are_asked_about_once(room, ids):
    files = {
        "participants.csv": "participant_id\n" + "\n".join(ids) + "\n",
        "assessments.csv": f"participant_id,visit,measure,item,response\n{ids[0]},before,life,one,3\n",
    }
    assert room.where(room.read(files), "telling_id") == ("ask", "participants.csv", 2, "participant_id")
