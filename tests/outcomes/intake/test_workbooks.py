"""xlsx workbooks: values with their types, and what only the second look shows."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import pytest

PEOPLE = [
    ["participant_id", "enrolled_on", "age_years"],
    ["P01", dt.date(2026, 1, 5), 40],
    ["P02", dt.date(2026, 1, 5), 50],
]
ANSWERS = [
    ["participant_id", "visit", "measure", "place", "side", "item", "trial", "response", "assessed_at"],
    ["P01", "before", "girth", "thigh", "left", "reading", 1, 44.5, dt.datetime(2026, 1, 6, 9, 30)],
    ["P02", "before", "tone", "knee", "right", "grade", None, "1+", dt.datetime(2026, 1, 6, 10, 0)],
]


def book(room, people=PEOPLE, answers=ANSWERS, edit=None, **sheets):
    return room.workbook({"participants": people, "assessments": answers, **sheets}, edit)


def read(room, content, name="study.xlsx", **protocol):
    return room.read({"participants.csv": None, "assessments.csv": None, name: content}, **protocol)


def rezipped(content, change):
    """Return a workbook with the text of its first sheet changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            data = old.read(entry)
            new.writestr(entry, change(data) if entry.filename == "xl/worksheets/sheet1.xml" else data)
    return out.getvalue()


def test_sheets_named_like_tables_are_read_with_their_types(room):
    intake = read(room, book(room))
    assert intake.findings == ()
    frame = intake.tables["assessments"]
    assert frame["response"].tolist() == ["44.5", "1+"]
    assert frame["trial"].tolist()[0] == 1.0
    assert frame["assessed_clock"].tolist() == [570.0, 600.0]
    assert intake.tables["participants"]["enrolled_day"].tolist() == [0.0, 0.0]
    assert intake.ledger.locate("assessments/2/response") == ("study.xlsx", "assessments", 3, "response")


def test_a_workbook_named_like_a_table_with_one_sheet_is_read(room):
    files = {"participants.csv": None, "participants.xlsx": room.workbook({"Sheet1": PEOPLE})}
    assert room.read(files).findings == ()


def test_a_csv_named_xlsx_is_refused(room):
    intake = read(room, room.PARTICIPANTS.encode(), name="participants.xlsx")
    found = room.of_rule(intake, "not_a_workbook")
    assert [(f.grade, f.file) for f in found] == [("block", "participants.xlsx")]
    assert "not a workbook" in found[0].expected
    assert {f.table for f in room.of_rule(intake, "missing_table")} == {"assessments"}


def test_a_workbook_named_csv_is_refused(room):
    intake = room.read({"participants.csv": room.workbook({"participants": PEOPLE})})
    assert "content is a workbook" in room.only(intake, "workbook_as_text").expected


def test_an_encrypted_or_old_workbook_named_csv_is_told_so(room):
    content = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600
    assert "encrypted" in room.only(room.read({"participants.csv": content}), "workbook_as_text").expected


def test_a_truncated_workbook_is_refused(room):
    content = book(room)
    intake = read(room, content[: len(content) // 2])
    assert "damaged" in room.only(intake, "not_a_workbook").expected


def test_a_damaged_part_is_refused(room):
    intake = read(room, rezipped(book(room), lambda data: data[: len(data) // 2]))
    assert room.only(intake, "not_a_workbook").grade == "block"


def test_a_zip_that_holds_no_workbook_is_refused(room):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("hello.txt", "hello")
    assert "holds no workbook" in room.only(read(room, out.getvalue()), "not_a_workbook").expected


def test_a_formula_that_was_never_calculated_is_set_aside(room):
    people = [*PEOPLE[:2], ["P02", dt.date(2026, 1, 5), "=40+1"]]
    finding = room.only(read(room, book(room, people)), "uncalculated")
    assert (finding.grade, finding.sheet, finding.row, finding.column) == ("set_aside", "participants", 3, "age_years")
    assert finding.found == "=40+1"
    assert "paste values" in finding.remedy


def test_an_error_cell_is_set_aside_and_is_not_a_blank(room):
    def edit(workbook):
        cell = workbook["assessments"]["H2"]
        cell.value, cell.data_type = "#REF!", "e"

    intake = read(room, book(room, edit=edit))
    finding = room.only(intake, "formula_error")
    assert (finding.grade, finding.sheet, finding.row, finding.column) == ("set_aside", "assessments", 2, "response")
    assert finding.found == "#REF!"
    assert room.count(intake, "assessments", "emptied") == 1


def test_an_error_cell_in_a_key_sets_its_row_aside(room):
    def edit(workbook):
        cell = workbook["assessments"]["A2"]
        cell.value, cell.data_type = "#N/A", "e"

    intake = read(room, book(room, edit=edit))
    assert [f.rule for f in intake.findings] == ["formula_error"]
    assert room.count(intake, "assessments", "set_aside") == 1


def test_an_error_cell_below_everything_else_is_found(room):
    def edit(workbook):
        cell = workbook["participants"]["C6"]
        cell.value, cell.data_type = "#DIV/0!", "e"

    intake = read(room, book(room, edit=edit))
    assert {(f.rule, f.row) for f in intake.findings} == {("formula_error", 6), ("blank_key", 6)}


def test_merged_cells_are_refused_with_their_range(room):
    def edit(workbook):
        workbook["participants"].merge_cells("A2:A3")

    intake = read(room, book(room, edit=edit))
    finding = room.only(intake, "merged_cells")
    assert (finding.grade, finding.sheet, finding.row) == ("block", "participants", 2)
    assert "A2:A3" in finding.expected


def test_merged_cells_of_a_sheet_that_is_not_read_do_not_matter(room):
    def edit(workbook):
        workbook["plan"].merge_cells("A1:B2")

    intake = read(room, book(room, edit=edit, plan=[["x", "y"], ["z", 1]]))
    assert room.where(intake, "not_read") == ("ask", "study.xlsx", None, "")
    assert not intake.stops


def test_comments_are_asked_about(room):
    from openpyxl.comments import Comment

    def edit(workbook):
        workbook["assessments"]["H2"].comment = Comment("red: left out", "x")

    finding = room.only(read(room, book(room, edit=edit)), "comments")
    assert (finding.grade, finding.sheet) == ("ask", "assessments")
    assert "H2" in finding.expected


def test_hidden_rows_columns_and_sheets_are_asked_about(room):
    def edit(workbook):
        workbook["participants"].row_dimensions[3].hidden = True
        workbook["participants"].column_dimensions["C"].hidden = True
        workbook["names"].sheet_state = "hidden"

    intake = read(room, book(room, edit=edit, names=[["Nachname"], ["Smith"]]))
    assert (room.only(intake, "hidden_rows").row, room.only(intake, "hidden_columns").column) == (3, "age_years")
    assert room.only(intake, "hidden_sheet").sheet == "names"
    assert "Smith" not in "".join(map(str, intake.findings))
    assert len(intake.tables["participants"]) == 2


def test_a_workbook_of_several_sheets_without_the_wanted_one_is_refused_with_their_names(room):
    content = room.workbook({"Sheet1": PEOPLE, "Sheet2": PEOPLE})
    intake = room.read({"participants.csv": None, "participants.xlsx": content})
    finding = room.only(intake, "which_sheet")
    assert finding.grade == "block"
    assert "'Sheet1', 'Sheet2'" in finding.expected


def test_entities_are_refused(room):
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]>'

    def change(data):
        return bomb + data.replace(b'<?xml version="1.0"?>', b"").replace(
            b"</sheetData>", b"<row r='9'><c t='e'/></row></sheetData>"
        )

    intake = read(room, rezipped(book(room), change))
    assert "entities" in room.only(intake, "not_a_workbook").expected


def test_an_archive_that_unpacks_beyond_measure_is_refused(room):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * 20_000_000)
    assert "hundred times" in room.only(read(room, out.getvalue()), "not_a_workbook").expected


def test_a_date_where_a_grade_belongs_is_set_aside(room):
    answers = [*ANSWERS, ["P01", "before", "tone", "knee", "left", "grade", None, dt.date(2026, 2, 1), None]]
    finding = room.only(read(room, book(room, answers=answers)), "looks_like_date")
    assert (finding.grade, finding.sheet, finding.row, finding.column) == ("set_aside", "assessments", 4, "response")
    assert finding.found == "2026-02-01"
    assert "as text" in finding.remedy


def test_a_one_typed_as_a_number_is_asked_about_where_no_one_plus_occurs(room):
    grades = [["P01", "before", "tone", "knee", side, "grade", None, 1, None] for side in ("left", "right")]
    intake = read(room, book(room, answers=[*ANSWERS[:2], *grades]))
    finding = room.only(intake, "plus_lost")
    assert (finding.grade, finding.sheet, finding.row, finding.column) == ("ask", "assessments", 3, "response")
    assert "cells that are numbers: 2" in finding.expected
    assert intake.tables["assessments"]["response"].tolist() == ["44.5", "1", "1"]


@pytest.mark.parametrize("other", ["1+", None])
def test_a_one_typed_as_a_number_is_a_grade_where_one_plus_occurs_or_it_is_text(room, other):
    typed = 1 if other else "1"
    grades = [["P01", "before", "tone", "knee", "left", "grade", None, typed, None]]
    grades += [["P01", "before", "tone", "knee", "right", "grade", None, other or "1", None]]
    assert read(room, book(room, answers=[*ANSWERS[:2], *grades])).findings == ()


def test_a_number_is_no_date(room):
    people = [PEOPLE[0], ["P01", 45321, 40], ["P02", dt.date(2026, 1, 5), 50], ["P03", dt.date(2026, 1, 5), 50]]
    finding = room.only(read(room, book(room, people)), "date_serial")
    assert (finding.grade, finding.row, finding.found) == ("set_aside", 2, "45321")


def test_a_date_is_no_number_and_no_id(room):
    people = [PEOPLE[0], ["P01", dt.date(2026, 1, 5), dt.date(2026, 1, 5)], [dt.date(2026, 1, 5), None, 50]]
    people.append(["P02", dt.date(2026, 1, 5), 50])
    intake = read(room, book(room, people))
    assert room.only(intake, "date_for_number").column == "age_years"
    assert room.only(intake, "date_for_id").column == "participant_id"
    assert room.count(intake, "participants", "set_aside") == 1


def test_ids_that_are_numbers_join_ids_that_are_text(room):
    people = [PEOPLE[0], [7, dt.date(2026, 1, 5), 40]]
    answers = [ANSWERS[0], ["7", "before", "life", None, None, "one", None, "2", None]]
    assert read(room, book(room, people, answers)).findings == ()


def test_a_decimal_comma_as_text_in_a_workbook_is_set_aside(room):
    people = [*PEOPLE[:2], ["P02", dt.date(2026, 1, 5), "50,5"]]
    assert room.only(read(room, book(room, people)), "decimal_comma").grade == "set_aside"


def test_shifted_cells_keep_their_row_numbers(room):
    people = [["Our people"], [], PEOPLE[0], [], ["P01", dt.date(2026, 1, 5), 400], ["P02", dt.date(2026, 1, 5), 50]]
    answers = [["Our tests"], [], *ANSWERS]
    intake = read(room, book(room, people, answers), intake="header_row = 3")
    finding = room.only(intake, "hard_limit")
    assert (finding.sheet, finding.row) == ("participants", 5)


def test_macros_of_a_workbook_are_left_alone_and_that_is_noted(room):
    intake = read(room, book(room), name="study.xlsm")
    assert intake.findings == ()
    assert set(intake.ledger.sources()["note"]) == {"macros were left alone"}


def test_an_old_kind_of_file_named_like_a_table_is_refused(room):
    intake = room.read({"participants.csv": None, "participants.xlsb": b"PK"})
    assert room.only(intake, "file_kind").file == "participants.xlsb"
    assert not room.of_rule(intake, "missing_table")
