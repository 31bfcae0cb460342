"""A marked copy of the clinic's workbook: mended where people work, its answers read back as decisions."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest

from outcomes.intake import mark_findings, read_folder

PEOPLE = [
    ["participant_id", "enrolled_on", "age_years", "sex"],
    ["P01", dt.date(2026, 1, 5), 90, "female"],
    ["P02", dt.date(2026, 1, 5), 50, "dreadful"],
]


def study(room, edit=None, name="participants.xlsx"):
    files = {"participants.csv": None, name: room.workbook({"participants": PEOPLE}, edit)}
    return room.read(files, intake='on_error = "set_aside"')


def mark(room, intake):
    return {path.name: path for path in mark_findings(room.folder, intake.findings)}


def reread(room):
    intake = read_folder(room.folder, room.protocol(intake='on_error = "set_aside"'), room.catalogue)
    room.balanced(intake)
    return intake


def test_every_finding_stands_at_its_cell_with_what_would_do(room):
    intake = study(room)
    sheet = openpyxl.load_workbook(mark(room, intake)["participants.marked.xlsx"])["participants"]
    assert {cell.coordinate for row in sheet.iter_rows() for cell in row if cell.comment} == {"C2", "D3"}
    assert "SET ASIDE: expected one of female, male, other, not_said" in sheet["D3"].comment.text
    query = room.only(intake, "soft_limit").query
    assert f"[{query}]" in sheet["C2"].comment.text
    assert sheet["C2"].fill.patternType == "solid"


def test_a_query_answered_in_the_sheet_is_a_decision_on_the_record(room):
    intake = study(room)
    copy = mark(room, intake)["participants.marked.xlsx"]
    book = openpyxl.load_workbook(copy)
    sheet = book["queries"]
    headings = [cell.value for cell in sheet[1]]
    assert headings[-4:] == ["decision", "role", "date", "reason"]
    [choice] = sheet.data_validations.dataValidation
    assert (choice.formula1, str(choice.sqref)) == ('"keep,set_aside"', "H2")
    for heading, value in {
        "decision": "set_aside",
        "role": "therapist",
        "date": dt.date(2026, 3, 1),
        "reason": "slip",
    }.items():
        sheet.cell(2, headings.index(heading) + 1).value = value
    book["participants"]["D3"].value = "male"
    book.save(room.folder / "participants.xlsx")
    again = reread(room)
    assert again.findings == ()
    assert again.tables["participants"]["age_years"].isna().tolist() == [True, False]
    [answer] = again.ledger.decisions().to_dict("records")
    assert (answer["decision"], answer["role"], answer["date"], answer["reason"]) == (
        "set_aside", "therapist", "2026-03-01", "slip",
    )  # fmt: skip


def test_marks_are_no_comments_of_the_clinic_and_do_not_pile_up(room):
    def edit(book):
        from openpyxl.comments import Comment

        book["participants"]["A2"].comment = Comment("moved in spring", "clinic")

    copy = mark(room, study(room, edit))["participants.marked.xlsx"]
    (room.folder / "participants.xlsx").write_bytes(copy.read_bytes())
    again = reread(room)
    assert "1 (A2)" in room.only(again, "comments").expected
    sheet = openpyxl.load_workbook(mark(room, again)["participants.marked.xlsx"])["participants"]
    assert sheet["D3"].comment.text.count("SET ASIDE") == 1
    assert sheet["A2"].comment.text == "moved in spring"


def test_the_same_findings_give_the_same_bytes(room):
    intake = study(room)
    first = mark(room, intake)["participants.marked.xlsx"].read_bytes()
    assert mark(room, intake)["participants.marked.xlsx"].read_bytes() == first
    assert len(list((room.folder / "results" / "check").glob("*.xlsx"))) == 1


def test_a_copy_in_which_somebody_has_worked_is_kept(room):
    intake = study(room)
    copy = mark(room, intake)["participants.marked.xlsx"]
    book = openpyxl.load_workbook(copy)
    book["participants"]["D3"].value = "male"
    book.save(copy)
    worked = copy.read_bytes()
    files = mark(room, intake)
    assert files["participants.marked.xlsx"].read_bytes() != worked
    assert (copy.parent / "participants.marked.1.xlsx").read_bytes() == worked


def test_queries_about_csv_files_have_a_workbook_of_their_own(room):
    people = "participant_id,age_years\nP01,90\n"
    answers = "participant_id,visit,measure,item,response\nP01,before,life,one,3\n"
    intake = room.read({"participants.csv": people, "assessments.csv": answers})
    path = mark(room, intake)["queries.xlsx"]
    book = openpyxl.load_workbook(path)
    sheet = book["queries"]
    assert sheet.max_row == 3
    for row in (2, 3):
        for position, value in enumerate(("keep", "therapist", "2026-03-01", "right as typed"), start=8):
            sheet.cell(row, position).value = value
    out = io.BytesIO()
    book.save(out)
    (room.folder / "queries.xlsx").write_bytes(out.getvalue())
    assert reread(room).findings == ()


def test_answers_of_two_files_that_disagree_are_refused(room):
    intake = study(room)
    query = room.only(intake, "soft_limit").query
    copy = mark(room, intake)["participants.marked.xlsx"]
    book = openpyxl.load_workbook(copy)
    for position, value in enumerate(("keep", "therapist", "2026-03-01", "right"), start=8):
        book["queries"].cell(2, position).value = value
    book.save(room.folder / "participants.xlsx")
    lines = f"query,decision,role,date,reason\n{query},set_aside,therapist,2026-03-01,slip\n"
    (room.folder / "decisions.csv").write_text(lines, encoding="utf-8")
    finding = room.only(reread(room), "decision")
    assert (finding.grade, finding.file, finding.sheet, finding.row) == ("block", "participants.xlsx", "queries", 2)


@pytest.mark.parametrize(
    ("position", "value", "column"), [(8, "yes", "decision"), (10, "soon", "date"), (11, None, "reason")]
)
def test_a_fault_of_the_sheet_names_its_row(room, position, value, column):
    copy = mark(room, study(room))["participants.marked.xlsx"]
    book = openpyxl.load_workbook(copy)
    sheet = book["queries"]
    for at, text in enumerate(("keep", "therapist", "2026-03-01", "right"), start=8):
        sheet.cell(2, at).value = text
    sheet.cell(2, position).value = value
    book.save(room.folder / "participants.xlsx")
    finding = room.only(reread(room), "decision")
    assert (finding.file, finding.sheet, finding.row, finding.column) == ("participants.xlsx", "queries", 2, column)


def test_a_workbook_of_another_kind_is_marked_in_a_copy_of_its_values(room):
    import xlwt

    book = xlwt.Workbook()
    sheet = book.add_sheet("participants")
    for i, row in enumerate([["participant_id", "age_years"], ["P01", 400], ["=1+1", 50]]):
        for j, value in enumerate(row):
            sheet.write(i, j, value)
    out = io.BytesIO()
    book.save(out)
    answers = "participant_id,visit,measure,item,response\nP01,before,life,one,3\n"
    intake = room.read({"participants.csv": None, "participants.xls": out.getvalue(), "assessments.csv": answers})
    copy = openpyxl.load_workbook(mark(room, intake)["participants.marked.xlsx"])["participants"]
    assert "SET ASIDE" in copy["B2"].comment.text
    assert (copy["A3"].value, copy["A3"].data_type) == ("=1+1", "s")
