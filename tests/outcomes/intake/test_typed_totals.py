"""Rows of totals alone go the whole way in; one that contradicts its items is found at its cell."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.intake import read_folder
from outcomes.measures import Catalogue, score_table
from protocols import read_protocol

PROTOCOL = """
schema = 1
[study]
title = "Totals"
design = "single arm"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 4
when = "end"
[[measures]]
measure = "swls"
role = "primary"
[intake]
on_error = "set_aside"
"""
HEADER = "participant_id,visit,measure,item,response\n"
ITEMS = "".join(f"P1,before,swls,swls_{n},4\n" for n in range(1, 6))


def read(folder: Path, rows: str):
    (folder / "protocol.toml").write_text(PROTOCOL, encoding="utf-8")
    (folder / "participants.csv").write_text("participant_id,enrolled_on\nP1,2025-01-06\n", encoding="utf-8")
    (folder / "assessments.csv").write_text(HEADER + rows, encoding="utf-8")
    return read_folder(folder, read_protocol(folder / "protocol.toml"), Catalogue.packaged())


def test_a_total_alone_is_used_and_scored(tmp_path: Path) -> None:
    intake = read(tmp_path, f"{ITEMS}P1,after,swls,total,27\n")
    assert [finding for finding in intake.findings if finding.grade != "ask"] == []
    scores = score_table("swls", intake.tables["assessments"]).set_index("visit")
    assert (scores.loc["before", "value"], scores.loc["after", "value"]) == (20, 27)
    assert scores.loc["after", "flags"] == "total typed"
    balance = intake.ledger.balance().set_index("table").loc["assessments"]
    assert (balance["rows_read"], balance["used"], balance["set_aside"]) == (6, 6, 0)


@pytest.mark.parametrize(
    ("rows", "row", "said"),
    [
        (f"{ITEMS}P1,before,swls,total,21\n", 7, "the items give 20"),
        ("P1,after,swls,total,36\n", 2, "the items do not give one"),
        ("P1,after,swls,total,'27,5'\n".replace("'", '"'), 2, "the items do not give one"),
    ],
)
def test_a_total_that_contradicts_its_items_or_cannot_be_is_found_at_its_cell(
    tmp_path: Path, rows: str, row: int, said: str
) -> None:
    intake = read(tmp_path, rows)
    found = [finding for finding in intake.findings if finding.rule == "typed_total"]
    assert [(f.file, f.row, f.column, f.grade) for f in found] == [("assessments.csv", row, "response", "set_aside")]
    assert said in found[0].expected
