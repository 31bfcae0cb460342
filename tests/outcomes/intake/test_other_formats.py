"""Tables in old workbooks, OpenDocument, Parquet, SPSS and Stata files: the same rows as from csv."""

from __future__ import annotations

import datetime as dt
import io
import sys
import tempfile
from pathlib import Path

import pandas as pd
import pytest

PEOPLE = [
    ("participant_id", "enrolled_on", "age_years"),
    ("007", dt.date(2026, 1, 5), 40),
    ("P02", dt.date(2026, 1, 5), 50.5),
]
NOBODY = "participant_id,visit,measure,item,response\n007,before,life,one,3\n"


def xls(*rows, edit=None):
    """Return an .xls file of one sheet."""
    import xlwt

    book = xlwt.Workbook()
    sheet = book.add_sheet("participants")
    day = xlwt.easyxf(num_format_str="YYYY-MM-DD")
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            sheet.write(i, j, value, day if isinstance(value, dt.date) else xlwt.Style.default_style)
    if edit is not None:
        edit(book, sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods(*rows, edit=None):
    """Return an .ods file of one sheet; a value may be a finished cell."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book, table = OpenDocumentSpreadsheet(), Table(name="participants")
    for row in rows:
        line = TableRow()
        for value in row:
            if isinstance(value, dt.date):
                cell = TableCell(valuetype="date", datevalue=value.isoformat())
            elif isinstance(value, (int, float)):
                cell = TableCell(valuetype="float", value=value)
            elif isinstance(value, str):
                cell = TableCell(valuetype="string")
                cell.addElement(P(text=value))
            else:
                cell = value
            line.addElement(cell)
        table.addElement(line)
    if edit is not None:
        edit(table)
    book.spreadsheet.addElement(table)
    out = io.BytesIO()
    book.write(out)
    return out.getvalue()


def saved(write, name, frame, **words):
    """Return the bytes that a writer of statistics files gives."""
    with tempfile.TemporaryDirectory() as folder:
        write(frame, str(Path(folder) / name), **words)
        return (Path(folder) / name).read_bytes()


def sav(frame, **words):
    import pyreadstat

    return saved(pyreadstat.write_sav, "x.sav", frame, **words)


def dta(frame, **words):
    import pyreadstat

    return saved(pyreadstat.write_dta, "x.dta", frame, **words)


def parquet(frame):
    out = io.BytesIO()
    frame.to_parquet(out, index=False)
    return out.getvalue()


def people_frame():
    return pd.DataFrame({name: [row[i] for row in PEOPLE[1:]] for i, name in enumerate(PEOPLE[0])}).assign(
        enrolled_on=lambda frame: pd.to_datetime(frame["enrolled_on"]).astype("datetime64[us]")
    )


@pytest.mark.parametrize(
    "name",
    [
        "participants.xls",
        "participants.ods",
        "people.ods",
        "participants.parquet",
        "participants.sav",
        "participants.dta",
    ],
)
def test_every_format_gives_the_same_rows(room, name):
    content = {
        ".xls": lambda: xls(*PEOPLE),
        ".ods": lambda: ods(*PEOPLE),
        ".parquet": lambda: parquet(people_frame()),
        ".sav": lambda: sav(people_frame()),
        ".dta": lambda: dta(people_frame()),
    }[Path(name).suffix]()
    intake = room.read({"participants.csv": None, name: content, "assessments.csv": NOBODY})
    people = intake.tables["participants"]
    assert people["participant_id"].tolist() == ["007", "P02"]
    assert people["age_years"].tolist() == [40, 50.5]
    assert people["enrolled_on"].dt.strftime("%Y-%m-%d").tolist() == ["2026-01-05"] * 2
    assert intake.findings == ()
    place = intake.ledger.locate("participants/2/age_years")
    assert (place.file, place.row, place.heading) == (name, 3, "age_years")


def test_an_error_cell_of_an_old_workbook_is_no_blank(room):
    def edit(book, sheet):
        sheet.row(3).set_cell_text(0, "P03")
        sheet.row(3).set_cell_error(2, 0x2A)

    intake = room.read(
        {"participants.csv": None, "participants.xls": xls(*PEOPLE, edit=edit), "assessments.csv": NOBODY}
    )
    finding = room.only(intake, "formula_error")
    assert (finding.grade, finding.row, finding.column, finding.found) == ("set_aside", 4, "age_years", "#N/A")


def test_hidden_rows_merged_cells_and_formulas_of_an_old_workbook_are_said(room):
    import xlwt

    def edit(book, sheet):
        sheet.row(2).hidden = True
        sheet.write_merge(3, 4, 0, 0, "P03")
        sheet.write(2, 3, xlwt.Formula("1+1"))
        sheet.write(0, 3, "note")

    intake = room.read(
        {"participants.csv": None, "participants.xls": xls(*PEOPLE, edit=edit), "assessments.csv": NOBODY}
    )
    assert room.only(intake, "hidden_rows").row == 3
    assert "A4:A5 is merged" in room.only(intake, "merged_cells").expected
    assert "1 (D3)" in room.only(intake, "empty_formulas").expected


def test_an_encrypted_workbook_is_named_as_such_and_nothing_else_is_said(room):
    intake = room.read({"participants.csv": None, "assessments.csv": None, "study.xlsx": room.encrypted()})
    assert [(f.rule, f.file) for f in intake.findings] == [("not_a_workbook", "study.xlsx")]
    assert "encrypted: save it without a password" in intake.findings[0].expected


@pytest.mark.parametrize("cut", [100, 600, 2000, 4000])
def test_a_cut_old_workbook_is_damaged(room, cut):
    intake = room.read({"participants.csv": None, "participants.xls": xls(*PEOPLE)[:cut]})
    assert "damaged" in room.only(intake, "not_a_workbook").expected


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<html><table><tr><td>participant_id</td></tr></table></html>", "a web page"),
        (b"participant_id\tage_years\nP01\t40\n", "name the file .csv"),
    ],
)
def test_other_content_named_xls_is_told_what_it_is(room, content, said):
    intake = room.read({"participants.csv": None, "participants.xls": content})
    assert said in room.only(intake, "not_a_workbook").expected


def test_what_an_opendocument_sheet_does_not_show_is_said(room):
    from odf.office import Annotation
    from odf.table import CoveredTableCell, TableCell, TableRow
    from odf.text import P

    error = TableCell(valuetype="string", formula="of:=1/0")
    error.setAttrNS("urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0", "value-type", "error")
    error.addElement(P(text="#DIV/0!"))
    never = TableCell(formula="of:=40+1")
    noted = TableCell(valuetype="string")
    note = Annotation()
    note.addElement(P(text="moved house"))
    noted.addElement(note)
    noted.addElement(P(text="P05"))

    def edit(table):
        for cells in (
            [TableCell(valuetype="string", numberrowsspanned=2, numbercolumnsspanned=1)],
            [CoveredTableCell()],
        ):
            line = TableRow(visibility="collapse")
            for cell in cells:
                if cell.qname[1] == "table-cell":
                    cell.addElement(P(text="P06"))
                line.addElement(cell)
            table.addElement(line)

    rows = (*PEOPLE, ("P03", dt.date(2026, 1, 5), error), ("P04", dt.date(2026, 1, 5), never), (noted,))
    intake = room.read({"participants.csv": None, "participants.ods": ods(*rows, edit=edit), "assessments.csv": NOBODY})
    assert room.where(intake, "formula_error") == ("set_aside", "participants.ods", 4, "age_years")
    assert room.where(intake, "uncalculated") == ("set_aside", "participants.ods", 5, "age_years")
    assert "1 (A6)" in room.only(intake, "comments").expected
    assert "A7:A8 is merged" in room.only(intake, "merged_cells").expected
    assert room.only(intake, "hidden_rows").row == 7


def test_repeated_cells_of_an_opendocument_sheet_do_not_fill_the_memory(room):
    from odf.table import TableCell, TableRow

    def edit(table):
        line = TableRow(numberrowsrepeated=1_000_000)
        line.addElement(TableCell(valuetype="float", value=1, numbercolumnsrepeated=1000))
        table.addElement(line)

    intake = room.read({"participants.csv": None, "participants.ods": ods(*PEOPLE, edit=edit)})
    assert "more than is read" in room.only(intake, "not_a_workbook").expected


LABELLED = {"participant_id": ["007", "007"], "visit": [1.0, 2.0], "measure": ["tone"] * 2, "place": ["knee"] * 2}
LABELLED |= {"side": [2.0, 2.0], "item": ["grade"] * 2, "response": [3.0, 9.0]}
LABELS = {"visit": {1: "before", 2: "after"}, "side": {1: "left", 2: "right"}}


def labelled(room, grades, mapping=None, write=sav):
    frame = pd.DataFrame(LABELLED)
    content = write(frame, variable_value_labels={**LABELS, "response": grades})
    name = f"assessments.{write.__name__}"
    files = {"participants.csv": room.PARTICIPANTS.replace("P01", "007"), "assessments.csv": None, name: content}
    return room.read(files | ({"columns.csv": mapping} if mapping else {}))


@pytest.mark.parametrize("write", [sav, dta])
def test_value_labels_are_read_where_words_belong(room, write):
    intake = labelled(room, {9: "1+"}, write=write)
    answers = intake.tables["assessments"]
    assert answers["visit"].tolist() == ["before", "after"]
    assert answers["side"].tolist() == ["right", "right"]
    assert answers["response"].fillna("-").tolist() == ["-", "1+"]  # 3 is no grade of these tests, 9 is labelled
    cells = intake.ledger.cells()
    assert set(cells[cells["column"] == "visit"]["reason"]) == {"value_label"}


def test_a_value_and_a_label_that_could_both_be_meant_are_refused(room):
    intake = labelled(room, {3: "2", 9: "1+"})
    assert not room.of_rule(intake, "value_labels")  # 3 is no grade, so only its label can be meant
    frame = {**LABELLED, "response": [2.0, 2.0]}
    content = sav(pd.DataFrame(frame), variable_value_labels={**LABELS, "response": {2: "1+"}})
    files = {
        "participants.csv": room.PARTICIPANTS.replace("P01", "007"),
        "assessments.csv": None,
        "assessments.sav": content,
    }
    finding = room.only(room.read(files), "value_labels")
    assert (finding.grade, finding.row, finding.column) == ("block", 2, "response")
    assert "the value is 2, and its label is '1+'" in finding.expected
    for word, grade in (("labels", "1+"), ("values", "2")):
        mapping = f"heading,table,column,format\nresponse,assessments,response,{word}\n"
        settled = room.read(files | {"columns.csv": mapping})
        assert settled.findings == ()
        assert settled.tables["assessments"]["response"].tolist() == [grade, grade]


def test_what_a_statistics_file_declares_missing_is_missing_and_counted(room):
    frame = people_frame().assign(age_years=[99.0, 40.0])
    content = sav(frame, missing_ranges={"age_years": [99]})
    intake = room.read({"participants.csv": None, "participants.sav": content, "assessments.csv": NOBODY})
    assert intake.tables["participants"]["age_years"].isna().tolist() == [True, False]
    [cell] = intake.ledger.cells().to_dict("records")
    assert (cell["typed"], cell["state"], cell["reason"]) == ("99", "emptied", "missing_in_file")


@pytest.mark.parametrize("name", ["participants.sav", "participants.dta", "participants.parquet"])
@pytest.mark.parametrize("content", [b"", b"nothing of the kind", b"PAR1" + b"\0" * 50 + b"PAR1"])
def test_a_damaged_file_of_data_is_refused(room, name, content):
    intake = room.read({"participants.csv": None, name: content})
    assert room.where(intake, "data_file") == ("block", name, None, "")


def test_without_the_library_the_extra_is_named(room, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyreadstat", None)
    intake = room.read({"participants.csv": None, "participants.sav": b"$FL2"})
    assert "outcomes[statfiles]" in room.only(intake, "file_kind").remedy


def test_lists_in_a_parquet_file_are_refused(room):
    frame = pd.DataFrame({"participant_id": ["P01"], "x": [[1, 2]]})
    intake = room.read({"participants.csv": None, "participants.parquet": parquet(frame)})
    assert "'x' holds something else" in room.only(intake, "data_file").expected


def test_a_time_zone_in_a_parquet_file_is_refused_not_dropped(room):
    frame = people_frame().assign(enrolled_on=lambda f: f["enrolled_on"].dt.tz_localize("UTC"))
    intake = room.read({"participants.csv": None, "participants.parquet": parquet(frame), "assessments.csv": NOBODY})
    assert {f.rule for f in intake.findings} == {"time_zone"}


def test_a_link_out_of_the_study_folder_is_not_followed(room, tmp_path):
    (tmp_path / "elsewhere.csv").write_text(room.PARTICIPANTS, encoding="utf-8")
    (room.folder / "participants.csv").symlink_to(tmp_path / "elsewhere.csv")
    (room.folder / "words.csv").symlink_to(tmp_path / "elsewhere.csv")
    (room.folder / "sessions.csv").symlink_to(tmp_path / "nowhere.csv")
    (room.folder / "assessments.csv").write_text(room.answers(), encoding="utf-8")
    from outcomes.intake import read_folder

    intake = read_folder(room.folder, room.protocol(), room.catalogue)
    assert [(f.rule, f.file) for f in intake.findings] == [
        ("outside_folder", "participants.csv"),
        ("outside_folder", "sessions.csv"),
        ("outside_folder", "words.csv"),
    ]
    assert set(intake.files) == {"assessments.csv"}


@pytest.mark.parametrize("line", ["sep=;\n", "sep=;\r\n", '"sep=;"\n'])
def test_a_first_line_that_declares_the_separator_is_used_and_noted(room, line):
    intake = room.read({"participants.csv": line + room.PARTICIPANTS.replace(",", ";")})
    assert intake.findings == ()
    assert intake.ledger.locate("participants/1").row == 2
    note = intake.ledger.sources().set_index("file").loc["participants.csv", "note"]
    assert note == "separator declared in the first line: semicolon"


def test_headings_under_a_banner_are_one_finding_whatever_the_separator(room):
    banner = "Clinic of the north;;\n;;\n" + room.PARTICIPANTS.replace(",", ";")
    finding = room.only(room.read({"participants.csv": banner}), "header_row")
    assert "row 3 looks like them" in finding.expected
    assert len(room.read({"participants.csv": banner}).findings) == 1
