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


PEOPLE = [["participant_id", "enrolled_on"], ["P01", "2026-01-05"], ["P02", "2026-01-05"]]
WIDE = [
    ["participant_id", "visit", "left 1", "right 1"],
    ["P01", "before", 44.5, 45],
    ["P02", "before", 50.5, 51],
]
MAPPING = "sheet,heading,table,column,measure,item,place,side,trial\n" + "".join(
    f"girths,{heading},assessments,{column},{parts}\n"
    for heading, column, parts in (
        ("participant_id", "participant_id", ",,,,"),
        ("visit", "visit", ",,,,"),
        ("left 1", "response", "girth,reading,thigh,left,1"),
        ("right 1", "response", "girth,reading,thigh,right,1"),
    )
)


def wide(room, rows=WIDE, edit=None, mapping=MAPPING, **more):
    """Read a workbook of two sheets, of which columns.csv maps the wide one."""
    content = room.workbook({"participants": PEOPLE, "girths": rows, **more}, edit)
    return room.read({"participants.csv": None, "assessments.csv": None, "study.xlsx": content, "columns.csv": mapping})


@pytest.mark.parametrize("reference", ["XFD1048576", "AZ1048576", "XFD2000"])
def test_a_stray_cell_far_from_the_table_is_refused_before_memory_runs_out(room, reference):
    def edit(workbook):
        workbook["participants"][reference] = "x"

    finding = room.only(wide(room, edit=edit), "not_a_workbook")
    assert (finding.grade, finding.file) == ("block", "study.xlsx")
    column, row = reference.rstrip("0123456789"), int(reference.lstrip("ADFXZ"))
    assert f"'participants' holds something as far as column {column} and row {row:,}" in finding.expected


def test_formats_far_from_the_table_are_no_cells(room):
    from openpyxl.styles import Font

    def edit(workbook):
        workbook["participants"]["XFD1048576"].font = Font(bold=True)

    assert wide(room, edit=edit).findings == ()


def test_a_stray_word_below_a_table_is_named_in_its_row(room):
    def edit(workbook):
        workbook["participants"]["A70000"] = "end"

    intake = wide(room, edit=edit)
    assert intake.ledger.locate("participants/3") == ("study.xlsx", "participants", 70_000, "")
    assert intake.ledger.sources().set_index("sheet").loc["participants", "blank_rows"] == 70_000 - 4


def test_an_empty_first_column_shifts_nothing(room):
    rows = [["", *row] for row in WIDE]
    frame = wide(room, rows).tables["assessments"]
    assert frame["response"].tolist() == ["44.5", "45", "50.5", "51"]


def test_a_mapped_sheet_under_a_banner_is_refused_and_not_left_out(room):
    intake = wide(room, [["Girths of 2026"], *WIDE])
    finding = room.only(intake, "shifted_headings")
    assert (finding.grade, finding.sheet, finding.row) == ("block", "girths", 1)
    assert "row 2 looks like them" in finding.expected
    assert "header_row = 2" in finding.remedy
    assert room.of_rule(intake, "no_such_heading") == room.of_rule(intake, "not_read") == []


def test_a_sheet_that_was_renamed_is_named_once(room):
    finding = room.only(wide(room, mapping=MAPPING.replace("girths,", "girth,")), "no_such_sheet")
    assert (finding.grade, finding.file, finding.row, finding.found) == ("block", "columns.csv", 2, "girth")
    assert "(4 rows); did you mean 'girths'?" in finding.expected


def test_a_workbook_that_cannot_be_read_is_the_only_thing_said_about_its_sheets(room):
    files = {"study.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "columns.csv": MAPPING}
    intake = room.read(files)
    assert [finding.rule for finding in intake.findings] == ["not_a_workbook"]


def test_a_row_without_answers_is_asked_about(room):
    intake = wide(room, [*WIDE, ["P01", "after"], ["P02", "after"]])
    finding = room.only(intake, "no_answers")
    assert (finding.grade, finding.sheet, finding.row) == ("ask", "girths", 4)
    assert "2 rows" in finding.expected
    assert room.count(intake, "assessments", "rows_read") == 4


def test_a_renamed_heading_is_matched_with_one_that_is_not_mapped_yet(room):
    intake = wide(room, [["participant_id", "visit", "Left 1", "right 1"], *WIDE[1:]])
    assert "did you mean 'Left 1'?" in room.only(intake, "no_such_heading").expected


def test_a_long_number_as_id_keeps_every_digit(room):
    people = [PEOPLE[0], [2026010100000123, "2026-01-05"]]
    files = {"participants.csv": None, "participants.xlsx": room.workbook({"participants": people})}
    files["assessments.csv"] = room.ANSWERS_HEADER + "\n2026010100000123,before,life,,,one,,3,,2026-01-06\n"
    assert [finding.rule for finding in room.read(files).findings] == ["telling_id"]


def test_a_document_type_in_any_part_is_refused(room):
    import io
    import zipfile

    content, out = room.workbook({"participants": PEOPLE}), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            data = old.read(entry)
            if entry.filename == "xl/styles.xml":
                data = b'<!DOCTYPE x [<!ENTITY a "aaaa">]>' + data
            new.writestr(entry, data)
    finding = room.only(room.read({"participants.csv": None, "study.xlsx": out.getvalue()}), "not_a_workbook")
    assert "xl/styles.xml declares entities" in finding.expected


def test_a_word_in_another_case_is_recognised_as_near(room):
    intake = room.read({"assessments.csv": room.answers("P02,after,GIRTH,thigh,left,reading,1,50,,2026-03-30")})
    assert "did you mean 'girth'?" in room.only(intake, "unknown_measure").expected


@pytest.mark.parametrize(
    ("typed", "hint"),
    [
        ("n.a.", "declared under [intake] missing_words"),
        ("-", "declared under [intake] missing_words"),
        ("unable", "belongs in absent_because"),
        ("Not tested", "belongs in absent_because"),
    ],
)
@pytest.mark.parametrize("answer", ["girth,thigh,left,reading,1", "life,,,two,"])
def test_a_word_for_no_answer_is_told_its_place(room, answer, typed, hint):
    intake = room.read({"assessments.csv": room.answers(f"P02,before,{answer},{typed},,2026-01-06")})
    [finding] = [finding for finding in intake.findings if finding.row == 6]
    assert (finding.grade, finding.column, finding.found) == ("set_aside", "response", typed)
    assert hint in finding.expected


def test_a_value_in_a_declared_unit_is_shown_with_it(room):
    mapping = "sheet,heading,table,column,unit\nsessions,work_kj,sessions,work_kj,J\n"
    row = "P01,s1,2026-01-08 09:00,done,40,5,30,900000"
    finding = room.only(room.read({"sessions.csv": room.sessions(row), "columns.csv": mapping}), "hard_limit")
    assert finding.found == "900000 J"
    assert finding.expected.startswith("-50 to 500 kJ")


@pytest.mark.parametrize("answered", [("left 1",), ("right 1",), ()])
def test_a_reason_for_some_answers_of_a_row_is_counted_once(room, answered):
    cells = {"participant_id": "P01", "visit": "before", **dict.fromkeys(answered, 44), "absent_because": "unable"}
    headings = ["participant_id", "visit", "left 1", "right 1", "absent_because"]
    mapping = MAPPING + "girths,absent_because,assessments,absent_because,,,,,\n"
    intake = wide(room, [headings, [cells.get(heading) for heading in headings]], mapping=mapping)
    assert room.of_rule(intake, "answer_and_absent") == []
    assert room.count(intake, "assessments", "cells_read") == len(cells)
    assert intake.tables["assessments"]["absent_because"].notna().sum() == 2 - len(answered)


def test_a_utf8_file_is_not_read_in_another_declared_encoding(room):
    text = "participant_id,enrolled_on,note\nP01,2026-01-05,müde\nP02,2026-01-05,\n"
    rules = 'encoding = "windows-1252"'
    finding = room.only(room.read({"participants.csv": text}, intake=rules), "encoding")
    assert (finding.grade, finding.file) == ("block", "participants.csv")
    assert "the file is UTF-8" in finding.expected
    intake = room.read({"participants.csv": text.encode("windows-1252")}, intake=rules)
    assert (intake.findings, intake.tables["participants"]["note"].tolist()[0]) == ((), "müde")
