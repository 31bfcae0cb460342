"""The ledger: both balances, every row and cell, and the way back to the clinic's files."""

from __future__ import annotations

import dataclasses

import pytest

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


def test_the_ledger_is_written_as_csv(room):
    files = ledger_files(messy(room).ledger)
    assert set(files) == {"ledger.csv", "cells.csv", "balance.csv", "sources.csv", "decisions.csv"}
    assert files["balance.csv"].splitlines()[0].startswith("table,rows_read,used,duplicates,set_aside,cells_read")
    assert len(files["ledger.csv"].splitlines()) == 1 + 2 + 9
