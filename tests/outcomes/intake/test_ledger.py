"""The ledger: both balances, every row and cell, and the way back to the clinic's files."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io

import pyarrow.parquet as pq
import pytest
from openpyxl import load_workbook

from outcomes.errors import UsageError
from outcomes.intake.ledger import Unbalanced, ledger_files


def messy(room):
    rows = (
        "P01,before,tone,knee,left,grade,, 1 ,,",  # normalised
        "P01,before,tone,knee,left,grade,,1,,",  # duplicate of the row above
        "P01,before,tone,knee,right,grade,,7,,",  # emptied
        "P01,before,spare,,,answer,,1,,",  # set aside
        "",
        "P02,before,life,,,two,,NA,,",  # missing word
    )
    return room.read({"assessments.csv": room.answers(*rows)}, intake='on_error = "set_aside"')


def test_both_balances_are_exact(room):
    intake = messy(room)
    balance = intake.ledger.balance().set_index("table").loc["assessments"].to_dict()
    # Counted by hand: the good rows hold 9, 9, 8 and 6 cells, the others 7, 7, 7, 5 and 5.
    assert balance == {
        "rows_read": 9,
        "used": 7,
        "duplicates": 1,
        "set_aside": 1,
        "cells_read": 63,
        "as_typed": 48,
        "normalised": 1,
        "emptied": 2,
        "in_duplicates": 7,
        "in_set_aside": 5,
    }


def test_every_row_has_its_state_and_reason(room):
    rows = messy(room).ledger.rows()
    own = rows[rows["table"] == "assessments"]
    assert own["row"].tolist() == [2, 3, 4, 5, 6, 7, 8, 9, 11]
    assert own["state"].tolist() == ["used"] * 5 + ["duplicate", "used", "set_aside", "used"]
    assert own["reason"].tolist() == [""] * 5 + ["duplicate", "", "not_in_protocol", ""]


def test_cells_that_are_not_as_typed_are_listed_with_what_was_typed(room):
    cells = messy(room).ledger.cells().set_index("cell")
    assert cells[["row", "state", "reason", "typed", "became"]].to_numpy().tolist() == [
        [6, "normalised", "blanks", " 1 ", "1"],
        [8, "emptied", "not_a_code", "7", ""],
        [11, "emptied", "missing_word", "NA", ""],
    ]
    assert cells.index.tolist() == ["assessments/5/response", "assessments/7/response", "assessments/9/response"]


def test_rows_and_cells_are_located(room):
    ledger = messy(room).ledger
    assert ledger.locate("assessments/9") == ("assessments.csv", "", 11, "")
    assert ledger.locate("assessments/9/response") == ("assessments.csv", "", 11, "response")
    assert ledger.locate("assessments/1/assessed_day").heading == "assessed_at"
    assert ledger.locate("assessments/1/rater").heading == ""


@pytest.mark.parametrize("name", ["assessments/0", "assessments/10", "assessments", "sessions/1", "assessments/x", ""])
def test_a_row_that_does_not_exist_is_a_usage_error(room, name):
    with pytest.raises(UsageError, match="no row"):
        messy(room).ledger.locate(name)


def test_counts_that_do_not_add_up_stop_the_run(room):
    ledger = messy(room).ledger
    wrong = dataclasses.replace(ledger, read={**ledger.read, "assessments": (10, 63)})
    with pytest.raises(Unbalanced, match="10 rows read, 9 accounted for"):
        wrong.balance()


def test_the_ledger_is_written_as_csv_and_every_cell_as_parquet(room):
    files = ledger_files(messy(room).ledger)
    assert set(files) == {
        "ledger.csv", "cells.csv", "cells.parquet", "balance.csv", "sources.csv", "decisions.csv",
    }  # fmt: skip
    assert files["balance.csv"].splitlines()[0].startswith("table,rows_read,used,duplicates,set_aside,cells_read")
    assert len(files["ledger.csv"].splitlines()) == 1 + 2 + 9
    cells = pq.read_table(io.BytesIO(files["cells.parquet"])).to_pylist()
    assert len(cells) == 6 + 63  # counted by hand: two people of three cells, and the answers above
    assert [
        (c["typed"], c["became"], c["state"], c["reason"], c["row_state"])
        for c in cells
        if c["row"] in (6, 7, 8, 9) and c["heading"] == "response"
    ] == [
        (" 1 ", "1", "normalised", "blanks", "used"),
        ("1", "1", "as_typed", "duplicate", "duplicate"),
        ("7", "", "emptied", "not_a_code", "used"),
        ("1", "1", "as_typed", "not_in_protocol", "set_aside"),
    ]


WIDE = [
    ["Kurzel", "Nachname", "enrolled", "thigh pre", "thigh post", "tone", "shoe"],
    ["P01", "Smith", dt.date(2026, 1, 5), 44.5, "44,9", "1+", 43],
    [" P02", None, dt.date(2026, 1, 6), "=40+1", 999, "1 +", None],
    ["P03", "Bo", dt.date(2026, 1, 7), None, None, None, 39],
    [None, None, None, None, None, None, None],
    ["Mean", None, None, 44.5, None, None, None],
    ["P01", None, None, 44.5, None, None, None],
]
WIDE_COLUMNS = """sheet,heading,table,column,visit,measure,item,place,side,trial
wide,Kurzel,participants,participant_id,,,,,,
wide,enrolled,participants,enrolled_on,,,,,,
wide,Kurzel,assessments,participant_id,,,,,,
wide,thigh pre,assessments,response,before,girth,reading,thigh,left,1
wide,thigh post,assessments,response,after,girth,reading,thigh,left,1
wide,tone,assessments,response,before,tone,grade,knee,left,
wide,Nachname,-,-,,,,,,
"""


def test_every_cell_of_a_messy_workbook_is_in_the_ledger_once_for_each_table(room):
    """Held against openpyxl, which reads the same workbook by itself."""
    book = room.workbook({"wide": WIDE, "notes": [["a", "b"], ["private", 1]]})
    intake = room.read(
        {"participants.csv": None, "assessments.csv": None, "study.xlsx": book, "columns.csv": WIDE_COLUMNS}
    )
    cells = intake.ledger.every_cell().to_pylist()
    sheet = load_workbook(io.BytesIO(book))["wide"]
    headings = [str(cell.value) for cell in sheet[1] if cell.value is not None]
    typed = {
        (cell.row, headings[cell.column - 1])
        for row in sheet.iter_rows(min_row=2, max_col=len(headings))
        for cell in row
        if cell.value is not None
    }
    assert {(c["row"], c["heading"]) for c in cells if c["heading"]} == typed
    assert {c["file"] for c in cells} == {"study.xlsx"}
    assert {c["sheet"] for c in cells} == {"wide"}  # a sheet that is no table is named in sources.csv, not copied
    tables = {}
    for c in cells:
        tables.setdefault((c["row"], c["heading"]), []).append(c["table"])
    assert tables[2, "Kurzel"] == ["participants", "assessments"]
    assert tables[4, "Kurzel"] == ["participants"]  # a row without an answer gives the answers nothing
    assert all(len(set(names)) == len(names) for names in tables.values())
    told = {(c["row"], c["heading"]): (c["typed"], c["became"], c["state"], c["reason"]) for c in cells}
    assert told[2, "Nachname"] == ("", "", "not_read", "left_out")
    assert told[2, "shoe"] == ("43", "43", "kept", "extra_column")
    assert told[3, "tone"] == ("1 +", "1+", "normalised", "declared_spelling")
    assert told[2, "thigh post"] == ("44,9", "", "emptied", "decimal_comma")
    assert told[3, "thigh pre"][2:] == ("emptied", "uncalculated")
    assert told[2, "enrolled"] == ("2026-01-05", "2026-01-05", "as_typed", "")


def test_a_ledger_that_lost_a_cell_stops_the_run(room, monkeypatch):
    from outcomes.intake import ledger as module

    intake = messy(room)
    whole = module.every_cell
    monkeypatch.setattr(module, "every_cell", lambda drafts, sheets: whole(drafts, sheets).slice(1))
    with pytest.raises(Unbalanced, match="cells of each table"):
        intake.ledger.every_cell()
