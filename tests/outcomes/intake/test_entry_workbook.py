"""`outcomes new`: the folder, the workbook that a clinic fills in, and that it is read back as it was typed."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from outcomes.errors import DefinitionError, UsageError
from outcomes.intake import new_study, read_folder
from outcomes.measures import Catalogue
from outcomes.vocabulary import COLUMNS_CSV, TABLES
from protocols import packaged, packaged_path, read_protocol

LEGS = "leg_cycling_16_weeks"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A new study of leg cycling."""
    new_study(tmp_path / "study", LEGS)
    return tmp_path / "study"


def headings(sheet) -> list[str]:
    return [cell.value for cell in sheet[1]]


def fill(folder: Path, rows: dict[str, list[dict[str, object]]]) -> None:
    """Type rows into the workbook, by sheet and heading."""
    book = openpyxl.load_workbook(folder / "study.xlsx")
    for name, given in rows.items():
        places = {heading: i for i, heading in enumerate(headings(book[name]), start=1)}
        for number, row in enumerate(given, start=2):
            for heading, value in row.items():
                book[name].cell(number, places[heading], value)
    book.save(folder / "study.xlsx")


def read(folder: Path):
    return read_folder(folder, read_protocol(folder / "protocol.toml"), Catalogue.packaged())


def validations(sheet) -> dict[str, object]:
    """Return the validation of each heading."""
    found = {}
    for rule in sheet.data_validations.dataValidation:
        for cells in rule.sqref.ranges:
            found[sheet.cell(1, cells.min_col).value] = rule
    return found


def test_it_writes_protocol_workbook_and_columns(tmp_path):
    files = new_study(tmp_path / "study", LEGS)
    assert sorted(path.name for path in files) == ["columns.csv", "protocol.toml", "study.xlsx"]
    assert all(path.is_file() for path in files)
    assert (tmp_path / "study" / "protocol.toml").read_bytes() == packaged_path(LEGS).read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["study"]


def test_one_sheet_a_table_one_a_measure_and_one_for_the_repeats_of_the_own_error(folder):
    names = openpyxl.load_workbook(folder / "study.xlsx").sheetnames
    tables = ["participants", "prescriptions", "sessions", "events", "changes"]
    measures = ["limb_girth", "mas", "psfs", "scim3", "tenmwt", "swls"]
    measures += ["pain_nrs", "fss", "bladder", "nbd", "barthel", "qol_bds"]
    assert names == ["read me", *tables, *measures, "limb_girth repeats", "fss repeats"]


@pytest.mark.parametrize("table", ["participants", "prescriptions", "sessions", "events", "changes"])
def test_a_table_sheet_has_the_headings_of_the_table(folder, table):
    book = openpyxl.load_workbook(folder / "study.xlsx")
    expected = [column.name for column in TABLES[table].columns if column.name != "group"]
    assert headings(book[table]) == expected


def test_a_measure_sheet_has_a_column_for_each_place_side_and_trial(folder):
    book = openpyxl.load_workbook(folder / "study.xlsx")
    found = headings(book["limb_girth"])
    assert found[:5] == ["participant_id", "visit", "assessed_at", "rater", "absent_because"]
    for place in ("mid_thigh", "calf_max"):
        for side in ("left", "right"):
            for trial in (1, 2):
                assert f"{place} {side} {trial}" in found
    assert "mid_arm left 1" not in found
    assert {"swls_1", "swls_5"} <= set(headings(book["swls"]))
    assert headings(book["limb_girth repeats"])[1] == "occasion"


def test_drop_downs_come_from_the_codes_the_visits_and_the_vocabulary(folder):
    book = openpyxl.load_workbook(folder / "study.xlsx")
    grades = validations(book["mas"])["knee_extensors left"]
    assert grades.type == "list"
    assert grades.formula1.strip('"').split(",")[:6] == ["0", "1", "1+", "2", "3", "4"]
    visits = validations(book["scim3"])["visit"]
    assert visits.formula1 == '"week0,week16,week20"'
    status = validations(book["sessions"])["status"]
    assert status.formula1 == '"done,shortened,missed,cancelled"'
    assert validations(book["sessions"])["mean_power_w"].prompt.endswith("Unit: W.")


def test_a_hard_range_warns_and_names_the_unit(folder):
    rule = validations(openpyxl.load_workbook(folder / "study.xlsx")["limb_girth"])["mid_thigh left 1"]
    definition = Catalogue.packaged().get("limb_girth")
    low, high = definition.item("reading").range
    assert (rule.type, rule.formula1, rule.formula2) == ("decimal", f"{low:g}", f"{high:g}")
    assert rule.errorStyle == "warning"
    assert "Unit: cm." in rule.prompt


def test_grade_columns_are_text_and_number_columns_are_not(folder):
    book = openpyxl.load_workbook(folder / "study.xlsx")

    def form(sheet, heading):
        letter = openpyxl.utils.get_column_letter(headings(sheet).index(heading) + 1)
        return sheet.column_dimensions[letter].number_format

    assert form(book["mas"], "knee_extensors left") == "@"
    assert form(book["scim3"], "bladder") == "@"
    assert form(book["participants"], "participant_id") == "@"
    assert form(book["limb_girth"], "mid_thigh left 1") == "General"
    assert form(book["participants"], "enrolled_on") == "yyyy-mm-dd"


def test_columns_csv_has_the_headings_of_the_vocabulary_and_names_headings_that_exist(folder):
    book = openpyxl.load_workbook(folder / "study.xlsx")
    with (folder / "columns.csv").open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        rows = list(reader)
    assert tuple(reader.fieldnames) == COLUMNS_CSV
    for row in rows:
        assert row["sheet"] in book.sheetnames
        if row["heading"]:
            assert row["heading"] in headings(book[row["sheet"]])


@pytest.mark.parametrize("name", packaged())
def test_every_heading_of_a_new_study_stands_once_in_its_sheet(tmp_path, name):
    new_study(tmp_path / "study", name)
    for sheet in openpyxl.load_workbook(tmp_path / "study" / "study.xlsx").worksheets[1:]:
        found = headings(sheet)
        assert len(found) == len(set(found)), sheet.title
        assert sheet.max_row == 1


def test_what_is_typed_is_read_back(folder):
    people = [{"participant_id": f"P{i}", "enrolled_on": dt.date(2026, 1, 5)} for i in (1, 2)]
    fill(
        folder,
        {
            "participants": people,
            "sessions": [
                {
                    "participant_id": "P1",
                    "session_id": "s1",
                    "started_at": dt.datetime(2026, 1, 7, 9, 30),
                    "status": "done",
                    "active_minutes": 21.5,
                }
            ],
            "mas": [
                {
                    "participant_id": "P1",
                    "visit": "week0",
                    "assessed_at": dt.datetime(2026, 1, 5, 10, 0),
                    "rater": "r1",
                    "knee_extensors left": "1+",
                    "knee_extensors right": "0",
                }
            ],
            "limb_girth": [
                {
                    "participant_id": "P1",
                    "visit": "week0",
                    "assessed_at": dt.datetime(2026, 1, 5, 10, 10),
                    "mid_thigh left 1": 50.5,
                    "mid_thigh left 2": 50.7,
                    "mid_thigh right 1": 51,
                    "mid_thigh right 2": 51.2,
                }
            ],
            "limb_girth repeats": [
                {
                    "participant_id": "P2",
                    "occasion": "first",
                    "assessed_at": dt.datetime(2026, 1, 5, 11, 0),
                    "mid_thigh left 1": 49.5,
                }
            ],
        },
    )
    intake = read(folder)
    assert [str(finding) for finding in intake.findings if finding.grade != "ask"] == []
    answers = intake.tables["assessments"]
    grades = answers[answers["measure"] == "mas"]
    assert list(zip(grades["place"], grades["side"], grades["response"], strict=True)) == [
        ("knee_extensors", "left", "1+"),
        ("knee_extensors", "right", "0"),
    ]
    girths = answers[answers["measure"] == "limb_girth"]
    found = list(zip(girths["side"], girths["trial"], girths["response"], strict=True))
    assert found == [("left", 1, "50.5"), ("left", 2, "50.7"), ("right", 1, "51"), ("right", 2, "51.2")]
    assert set(girths["item"]) == {"reading"}
    repeats = intake.tables["repeats"]
    assert list(repeats["response"]) == ["49.5"]
    assert list(repeats["occasion"]) == ["first"]
    sessions = intake.tables["sessions"]
    assert (sessions["active_minutes"][0], sessions["started_day"][0], sessions["started_clock"][0]) == (21.5, 2, 570)
    intake.ledger.balance()


def test_the_first_sheet_is_not_read_and_not_asked_about(folder):
    fill(folder, {"participants": [{"participant_id": "P1", "enrolled_on": dt.date(2026, 1, 5)}]})
    rules = {(finding.rule, finding.sheet) for finding in read(folder).findings}
    assert not {rule for rule, sheet in rules if sheet == "read me"}
    assert not {rule for rule, _ in rules} & {"comments", "not_read", "unknown_heading", "no_such_heading"}


def test_a_title_that_looks_like_a_formula_stays_text(tmp_path):
    path = tmp_path / "own.toml"
    text = packaged_path(LEGS).read_text(encoding="utf-8")
    formula = "=HYPERLINK('http://example.org')"
    path.write_text(text.replace("Sixteen weeks of stimulation-assisted leg cycling", formula), encoding="utf-8")
    new_study(tmp_path / "study", path)
    cell = openpyxl.load_workbook(tmp_path / "study" / "study.xlsx")["read me"]["A1"]
    assert (cell.value, cell.data_type) == (formula, "s")


def test_a_folder_with_anything_in_it_is_left_alone(tmp_path):
    target = tmp_path / "study"
    target.mkdir()
    (target / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match="is not empty"):
        new_study(target, LEGS)
    assert [path.name for path in target.iterdir()] == ["notes.txt"]
    with pytest.raises(UsageError, match="is a file"):
        new_study(target / "notes.txt", LEGS)


def test_an_empty_folder_is_filled(tmp_path):
    (tmp_path / "study").mkdir()
    assert len(new_study(tmp_path / "study", LEGS)) == 3


def test_a_faulty_protocol_writes_nothing(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("schema = 2\n")
    with pytest.raises(DefinitionError):
        new_study(tmp_path / "study", path)
    with pytest.raises(DefinitionError, match="cannot be read"):
        new_study(tmp_path / "study", tmp_path / "none.toml")
    assert not (tmp_path / "study").exists()


def test_a_measure_that_does_not_exist_is_named_with_its_line(tmp_path):
    path = tmp_path / "own.toml"
    text = packaged_path(LEGS).read_text(encoding="utf-8").replace('measure = "mas"', 'measure = "mass"')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DefinitionError, match=r"own\.toml, line \d+, measures\[2\]\.measure: no measure 'mass'"):
        new_study(tmp_path / "study", path)
    assert not (tmp_path / "study").exists()
