"""Numbers and missing values in the columns of tables."""

from __future__ import annotations

import math

import pytest


def session(work="20", minutes="30", total="40", row="s1"):
    return f'P01,{row},2026-01-{8 + int(row[1:]):02d} 09:00,done,{total},5,{minutes},"{work}"'


def read(room, *works, **protocol):
    rows = [session(work, row=f"s{i}") for i, work in enumerate(works)]
    return room.read({"sessions.csv": room.sessions(*rows)}, **protocol)


def work(intake):
    return intake.tables["sessions"]["work_kj"].tolist()


def test_one_decimal_comma_is_set_aside(room):
    intake = read(room, "20.5", "18,5", "19")
    assert room.where(intake, "decimal_comma") == ("set_aside", "sessions.csv", 3, "work_kj")
    assert work(intake)[0] == 20.5
    assert math.isnan(work(intake)[1])
    assert len(intake.tables["sessions"]) == 3


def test_decimal_commas_throughout_are_refused_once(room):
    intake = read(room, "20,5", "18,5", "19")
    finding = room.only(intake, "decimal_comma")
    assert (finding.grade, finding.row, finding.column) == ("block", 2, "work_kj")
    assert 'decimal = ","' in finding.remedy


def test_a_declared_decimal_comma_is_turned_and_counted(room):
    intake = read(room, "20,5", "18,5", "19", intake='decimal = ","')
    assert intake.findings == ()
    assert work(intake) == [20.5, 18.5, 19.0]
    assert room.count(intake, "sessions", "normalised") == 2


def test_a_point_beside_a_declared_comma_is_set_aside_where_it_has_two_readings(room):
    intake = read(room, "20,5", "18.5", "1.234", intake='decimal = ","')
    assert room.where(intake, "ambiguous_number") == ("set_aside", "sessions.csv", 4, "work_kj")
    assert work(intake)[:2] == [20.5, 18.5]


def test_a_possible_thousands_mark_is_refused(room):
    assert room.where(read(room, "1,234"), "ambiguous_number") == ("block", "sessions.csv", 2, "work_kj")


@pytest.mark.parametrize(
    ("typed", "rule"),
    [
        ("40 kJ", "unit_in_cell"),
        ("40kJ", "unit_in_cell"),
        ("<5", "censored"),
        ("> 200", "censored"),
        ("inf", "not_finite"),
        ("-Infinity", "not_finite"),
        ("1e309", "not_finite"),
        ("NA", "missing_word"),
        ("None", "missing_word"),
        ("null", "missing_word"),
        ("nan", "not_finite"),
        (".", "missing_word"),
        ("-", "missing_word"),
        ("n/a", "missing_word"),
        ("about 20", "not_a_number"),
        ("20/25", "two_values"),
        ("#REF!", "formula_error"),
    ],
)
def test_what_is_no_number_is_set_aside_by_its_rule(room, typed, rule):
    intake = read(room, "20", typed)
    assert room.where(intake, rule) == ("set_aside", "sessions.csv", 3, "work_kj")
    assert math.isnan(work(intake)[1])
    assert room.count(intake, "sessions", "emptied") == 1
    assert intake.stops
    assert not read(room, "20", typed, intake='on_error = "set_aside"').stops


def test_declared_missing_words_are_missing_and_counted(room):
    intake = read(room, "20", "999", "n.d.", intake='missing_words = ["999", "n.d."]')
    assert intake.findings == ()
    assert work(intake)[0] == 20.0
    assert [math.isnan(value) for value in work(intake)] == [False, True, True]
    assert set(intake.ledger.cells()["reason"]) == {"missing_word"}


def test_999_is_a_value_unless_declared(room):
    finding = room.only(read(room, "999"), "hard_limit")
    assert (finding.grade, finding.found, finding.expected) == ("set_aside", "999", "-50 to 500 kJ")


def test_a_text_column_keeps_words_such_as_none(room):
    people = room.PARTICIPANTS.replace("age_years", "left_reason").replace("40", "None").replace("50", "NA")
    assert room.read({"participants.csv": people}).tables["participants"]["left_reason"].tolist() == ["None", "NA"]


def test_an_impossible_value_is_set_aside_and_its_row_stays(room):
    people = "participant_id,enrolled_on,height_cm\nP01,2026-01-05,170\nP02,2026-01-05,900\n"
    intake = room.read({"participants.csv": people})
    assert room.where(intake, "hard_limit") == ("set_aside", "participants.csv", 3, "height_cm")
    assert len(intake.tables["participants"]) == 2


def test_metres_in_a_column_of_centimetres_are_named(room):
    people = "participant_id,enrolled_on,height_cm\nP01,2026-01-05,1.70\nP02,2026-01-05,180\n"
    assert "1.7 would fit m" in room.only(room.read({"participants.csv": people}), "hard_limit").expected


def test_an_unusual_value_is_kept_and_asked_about_with_its_source(room):
    people = "participant_id,enrolled_on,age_years\nP01,2026-01-05,93\nP02,2026-01-05,50\n"
    intake = room.read({"participants.csv": people})
    finding = room.only(intake, "soft_limit")
    assert (finding.grade, finding.row, finding.column) == ("ask", 2, "age_years")
    assert finding.expected == "usually 16 to 85 years (practice)"
    assert finding.query.startswith("q")
    assert intake.tables["participants"]["age_years"].tolist() == [93.0, 50.0]
    assert not intake.stops


def test_a_negative_duration_is_set_aside(room):
    intake = room.read({"sessions.csv": room.sessions(session(minutes="-5"))})
    assert room.where(intake, "hard_limit") == ("set_aside", "sessions.csv", 2, "active_minutes")


def test_negative_work_is_asked_about_and_refused_beyond_what_a_motor_does(room):
    intake = read(room, "-3", "-60")
    assert room.where(intake, "soft_limit") == ("ask", "sessions.csv", 2, "work_kj")
    assert room.where(intake, "hard_limit") == ("set_aside", "sessions.csv", 3, "work_kj")


def test_an_empty_column_of_numbers_is_asked_about(room):
    intake = read(room, "", "")
    assert room.where(intake, "empty_column") == ("ask", "sessions.csv", 2, "work_kj")


def test_a_column_without_rows_is_not_asked_about(room):
    assert room.read({"sessions.csv": room.SESSIONS_HEADER + "\n"}).findings == ()


def test_a_whole_number_is_asked_of_trials(room):
    intake = room.read({"assessments.csv": room.answers("P02,after,girth,calf,left,reading,1.5,36,,")})
    assert room.where(intake, "not_whole") == ("set_aside", "assessments.csv", 6, "trial")
    assert room.count(intake, "assessments", "set_aside") == 1


def test_units_of_columns_csv_are_turned(room):
    files = {
        "columns.csv": "sheet,heading,column,unit\nparticipants,tall,height_cm,in\n",
        "participants.csv": "participant_id,enrolled_on,tall\nP01,2026-01-05,70\nP02,2026-01-05,\n",
    }
    intake = room.read(files)
    assert intake.findings == ()
    # An inch is 2.54 cm by definition.
    assert intake.tables["participants"]["height_cm"].tolist()[0] == 177.8
    assert intake.ledger.cells()["reason"].tolist() == ["in to cm"]
    assert intake.ledger.locate("participants/1/height_cm").heading == "tall"
