"""columns.csv: the clinic's own headings, wide sheets, one sheet for several tables, and faults of the file itself."""

from __future__ import annotations

import pytest

HEADER = "sheet,heading,table,column,unit,format,visit,measure,item,place,side,trial\n"
WIDE = "id,enrolled,thigh L pre,thigh L post,tone pre,why not,seen\nP01,05.01.2026,44,45,1+,,06.01.2026\n"
MAPPING = HEADER + (
    "wide,id,participants,participant_id,,,,,,,,\n"
    "wide,enrolled,participants,enrolled_on,,%d.%m.%Y,,,,,,\n"
    "wide,thigh L pre,assessments,response,cm,,before,girth,reading,thigh,left,1\n"
    "wide,thigh L post,assessments,response,cm,,after,girth,reading,thigh,left,1\n"
    "wide,tone pre,assessments,response,,,before,tone,grade,knee,left,\n"
    "wide,why not,assessments,absent_because,,,before,tone,,,,\n"
    "wide,seen,assessments,assessed_at,,%d.%m.%Y,before,,,,,\n"
)


def read(room, wide=WIDE, mapping=MAPPING, **protocol):
    files = {"participants.csv": None, "assessments.csv": None, "wide.csv": wide, "columns.csv": mapping}
    return room.read(files, **protocol)


def test_one_wide_sheet_feeds_two_tables(room):
    intake = read(room)
    assert intake.findings == ()
    people, answers = intake.tables["participants"], intake.tables["assessments"]
    assert people["enrolled_day"].tolist() == [0.0]
    columns = ["participant_id", "visit", "measure", "item", "place", "side", "trial", "response"]
    assert answers[columns].astype(object).fillna("-").to_numpy().tolist() == [
        ["P01", "before", "girth", "reading", "thigh", "left", 1.0, "44"],
        ["P01", "after", "girth", "reading", "thigh", "left", 1.0, "45"],
        ["P01", "before", "tone", "grade", "knee", "left", "-", "1+"],
    ]
    assert answers["assessed_day"].fillna(-1).tolist() == [1.0, -1.0, 1.0]


def test_every_cell_of_a_wide_sheet_is_counted_once(room):
    intake = read(room)
    # Seven headings; "why not" is blank; the participant's cell belongs to both tables.
    assert room.count(intake, "participants", "cells_read") == 2
    assert room.count(intake, "assessments", "cells_read") == 5
    assert room.count(intake, "assessments", "rows_read") == 3


def test_the_ledger_leads_a_wide_answer_back_to_its_heading(room):
    ledger = read(room).ledger
    assert ledger.locate("assessments/2/response") == ("wide.csv", "", 2, "thigh L post")
    assert ledger.locate("assessments/2/visit").heading == "thigh L post"
    assert ledger.locate("assessments/2/participant_id").heading == "id"
    assert ledger.locate("participants/1") == ("wide.csv", "", 2, "")


def test_a_blank_answer_of_a_wide_sheet_gives_no_row(room):
    intake = read(room, WIDE + "P02,05.01.2026,,46,,,\n")
    assert len(intake.tables["assessments"]) == 4
    assert len(intake.tables["participants"]) == 2


def test_a_reason_for_one_answer_gives_its_row(room):
    intake = read(room, WIDE + "P02,05.01.2026,44,,,unable,\n")
    last = intake.tables["assessments"].iloc[-1]
    assert last["absent_because"] == "unable"
    assert last["measure"] == "tone"
    assert intake.tables["assessments"]["absent_because"].notna().sum() == 1


def shared(room, *rows):
    mapping = HEADER + (
        "tests,reason,assessments,absent_because,,,,,,,,\n"
        "tests,left,assessments,response,,,,tone,grade,knee,left,\n"
        "tests,right,assessments,response,,,,tone,grade,knee,right,\n"
    )
    text = "\n".join(["participant_id,visit,reason,left,right", *rows, ""])
    return room.read({"assessments.csv": None, "tests.csv": text, "columns.csv": mapping})


def test_a_reason_shared_by_the_answers_of_a_row_goes_to_those_that_are_blank(room):
    intake = shared(room, "P01,before,refused,1,", "P02,before,unable,,")
    assert intake.findings == ()
    answers = intake.tables["assessments"]
    assert answers["response"].fillna("-").tolist() == ["1", "-", "-", "-"]
    assert answers["absent_because"].fillna("-").tolist() == ["-", "refused", "unable", "unable"]


def test_a_shared_reason_where_nothing_is_blank_is_a_contradiction(room):
    intake = shared(room, "P01,before,refused,1,2")
    assert {(f.grade, f.row, f.column) for f in room.of_rule(intake, "answer_and_absent")} == {
        ("set_aside", 2, "left"),
        ("set_aside", 2, "right"),
    }


def test_units_of_wide_answers_are_turned(room):
    mapping = MAPPING.replace("response,cm,,before", "response,in,,before")
    intake = read(room, WIDE.replace("44,45", "17.5,45"), mapping)
    assert intake.findings == ()
    # An inch is 2.54 cm by definition.
    assert intake.tables["assessments"]["response"].tolist()[:2] == ["44.45", "45"]


def test_a_wrong_answer_of_a_wide_sheet_is_named_by_its_own_heading(room):
    intake = read(room, WIDE.replace("1+", "1++"))
    finding = room.only(intake, "not_a_code")
    assert (finding.file, finding.row, finding.column, finding.participant) == ("wide.csv", 2, "tone pre", "P01")


def test_a_blank_id_of_a_wide_sheet_is_told_once_a_table(room):
    wide = WIDE + ",05.01.2026,44,45,1,,\n"
    found = room.of_rule(read(room, wide), "blank_key")
    assert sorted((f.table, f.row, f.column) for f in found) == [("assessments", 3, "id"), ("participants", 3, "id")]


def test_an_empty_answer_heading_is_asked_about(room):
    intake = read(room, WIDE.replace(",45,", ",,"))
    assert room.where(intake, "empty_column") == ("ask", "wide.csv", 1, "thigh L post")


def test_an_empty_heading_for_a_reading_that_may_be_left_out_is_not(room):
    mapping = MAPPING.replace("after,girth,reading,thigh,left,1", "before,girth,reading,thigh,left,2")
    assert read(room, WIDE.replace(",45,", ",,"), mapping).findings == ()


def test_a_heading_that_is_not_read_is_left_out(room):
    mapping = "sheet,heading,column\nparticipants,phone,-\n"
    people = "participant_id,enrolled_on,phone\nP01,2026-01-05,555\nP02,2026-01-05,556\n"
    intake = room.read({"participants.csv": people, "columns.csv": mapping})
    assert [finding.rule for finding in intake.findings] == ["identifying_heading"]  # it is still in the file
    assert "phone" not in intake.tables["participants"].columns


def test_a_sheet_that_is_not_read_is_left_out(room):
    mapping = "sheet,heading,table,column\nnotes,,-,-\n"
    intake = room.read({"notes.csv": "a,b\n1,2\n", "columns.csv": mapping})
    assert intake.findings == ()


@pytest.mark.parametrize(
    ("line", "rule", "column"),
    [
        ("wide,id,people,participant_id,,,,,,,,", "unknown_table", "table"),
        ("wide,id,participants,participant,,,,,,,,", "unknown_column", "column"),
        ("wide,id,participants,,,,,,,,,", "empty_column", "column"),
        ("wide,,participants,participant_id,,,,,,,,", "empty_heading", "heading"),
        ("wide,id,participants,height_cm,kg,,,,,,,", "unit", "unit"),
        ("wide,id,participants,sex,cm,,,,,,,", "unit", "unit"),
        ("wide,id,participants,enrolled_on,,%d/%m/%y,,,,,,", "format", "format"),
        ("wide,id,participants,age_years,,%d/%m/%Y,,,,,,", "format", "format"),
        ("wide,id,participants,participant_id,,,before,,,,,", "fixed_part", "visit"),
        ("wide,id,assessments,response,,,T0,girth,reading,thigh,left,1", "unknown_visit", "visit"),
        ("wide,id,assessments,response,,,before,grith,reading,thigh,left,1", "unknown_measure", "measure"),
        ("wide,id,assessments,response,,,before,girth,readin,thigh,left,1", "unknown_item", "item"),
        ("wide,id,assessments,response,kg,,before,girth,reading,thigh,left,1", "unit", "unit"),
        ("wide,id,assessments,response,,,before,girth,reading,thigh,L,1", "not_a_word", "side"),
        ("wide,id,assessments,response,,,before,girth,reading,Thigh,left,1", "not_a_key", "place"),
        ("wide,id,assessments,response,,,before,girth,reading,thigh,left,0", "trial", "trial"),
        ("elsewhere,id,participants,participant_id,,,,,,,,", "no_such_sheet", "sheet"),
    ],
)
def test_a_fault_of_columns_csv_names_its_row(room, line, rule, column):
    intake = read(room, mapping=MAPPING + line + "\n")
    finding = room.of_rule(intake, rule)[0]
    assert (finding.grade, finding.file, finding.row, finding.column) == ("block", "columns.csv", 9, column)


def test_a_heading_that_no_sheet_has_is_asked_about(room):
    intake = read(
        room, mapping=MAPPING + "wide,thigh R pre,assessments,response,,,before,girth,reading,thigh,right,1\n"
    )
    finding = room.only(intake, "no_such_heading")
    assert (finding.grade, finding.file, finding.row) == ("ask", "columns.csv", 9)
    assert "did you mean" not in finding.expected, "the other thigh is mapped already"


def test_a_slip_of_the_pen_in_a_heading_stops_the_run_as_its_readings_would_go_unread(room):
    intake = read(room, mapping=MAPPING.replace("wide,thigh L post", "wide,thigh L psot"))
    finding = room.only(intake, "no_such_heading")
    assert (finding.grade, finding.file, finding.row, finding.found) == ("block", "columns.csv", 5, "thigh L psot")
    assert "did you mean 'thigh L post'?" in finding.expected
    assert intake.stops


def test_an_unknown_heading_of_columns_csv_is_refused(room):
    intake = room.read({"columns.csv": "sheet,headings,column\nparticipants,id,participant_id\n"})
    assert room.of_rule(intake, "unknown_heading")[0].column == "headings"
    assert room.only(intake, "missing_heading").file == "columns.csv"


def test_a_heading_of_columns_csv_that_stands_twice_is_refused(room):
    intake = room.read({"columns.csv": "sheet,heading,column,column\nparticipants,age_years,age_years,\n"})
    assert room.only(intake, "duplicate_heading").file == "columns.csv"


def test_two_headings_for_one_column_are_refused(room):
    mapping = "sheet,heading,column\nparticipants,code,participant_id\n"
    people = "participant_id,code,enrolled_on\nP01,1,2026-01-05\n"
    intake = room.read({"participants.csv": people, "columns.csv": mapping})
    finding = room.only(intake, "two_headings")
    assert finding.grade == "block"
    assert "'code' and 'participant_id'" in finding.expected


def test_a_part_that_is_fixed_and_has_a_heading_is_refused(room):
    wide = WIDE.replace("seen\n", "seen,visit\n").replace("06.01.2026\n", "06.01.2026,before\n")
    found = room.of_rule(read(room, wide), "two_headings")
    assert found
    assert all("columns.csv" in finding.expected for finding in found)


def test_a_shared_part_that_no_answer_has_is_refused(room):
    mapping = MAPPING.replace("absent_because,,,before,tone", "absent_because,,,after,tone")
    finding = room.only(read(room, mapping=mapping), "no_such_answer")
    assert (finding.grade, finding.file, finding.row) == ("block", "columns.csv", 7)


def test_columns_csv_may_be_saved_with_semicolons(room):
    assert read(room, mapping=MAPPING.replace(",", ";")).findings == ()


def test_headings_that_fix_a_part_make_rows_of_other_tables_too(room):
    mapping = "sheet,heading,table,column,visit\nparticipants,first test,visits,visited_at,before\n"
    mapping += "participants,last test,visits,visited_at,after\n"
    people = "participant_id,enrolled_on,first test,last test\nP01,2026-01-05,2026-01-06,2026-03-30\n"
    people += "P02,2026-01-05,2026-01-06,\n"
    intake = room.read({"participants.csv": people, "columns.csv": mapping})
    assert intake.findings == ()
    visits = intake.tables["visits"][["participant_id", "visit", "visited_day"]].to_numpy().tolist()
    assert visits == [["P01", "before", 1.0], ["P01", "after", 84.0], ["P02", "before", 1.0]]
