"""Scores that bear a mark are counted, and a scale that is withheld says why wherever its change would stand."""

from __future__ import annotations

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.result import Record
from outcomes.study import Study
from protocols import parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Totals and items"
design = "single arm"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
min_people = 3
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 8
when = "end"
[[measures]]
measure = "swls"
role = "primary"
[[measures]]
measure = "nbd"
role = "exploratory"
"""
BOWEL = {
    "frequency": "daily", "time": "0-30 min", "uneasiness": "no", "tablets": "no", "drops": "no", "digital": "<1/week",
    "incontinence": "<1/month", "incontinence_drug": "no", "flatus": "no", "perianal_skin": "no",
}  # fmt: skip


@pytest.fixture(scope="module")
def record() -> Record:
    """Five people: two with items of the life scale, three with a total that was typed; all with items of the other."""
    rows = []
    for number in range(1, 6):
        for visit, more in (("before", 0), ("after", 1)):
            answers = {f"swls_{n}": str(3 + more) for n in range(1, 6)} if number < 3 else {"total": str(15 + more)}
            parts = (("swls", answers), ("nbd", BOWEL))
            rows += [(f"P{number}", visit, measure, k, v) for measure, given in parts for k, v in given.items()]
    frame = pd.DataFrame(rows, columns=["participant_id", "visit", "measure", "item", "response"])
    people = pd.DataFrame({"participant_id": [f"P{n}" for n in range(1, 6)], "enrolled_on": "2026-01-05"})
    protocol = parse_protocol(PROTOCOL, "protocol.toml")
    return analyse(Study.from_tables(protocol, participants=people, assessments=frame)).record


def test_typed_totals_are_counted_by_scores_and_people(record: Record) -> None:
    table = record.tables["marked_scores"]
    rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    assert [(r["measure"], r["scale"], r["mark"], r["scores"], r["people"], r["people_scored"]) for r in rows] == [
        ("swls", "total", "total typed", 6, 3, 5)
    ]


def test_a_scale_that_is_withheld_has_no_change_and_says_why(record: Record) -> None:
    entry = record["change/nbd.total/-/all/after_minus_before/-/hodges_lehmann"]
    assert (entry.status, entry.value) == ("not estimable", None)
    assert entry.reason.startswith("withheld: the weights between none and the maximum")


def test_what_is_from_memory_stands_beside_each_measure(record: Record) -> None:
    table = record.tables["measures"]
    place = list(table.columns).index("from_memory")
    told = {row[0]: row[place] for row in table.rows}
    assert told["swls"] == "the words of the bands of Diener (2006)"
    assert told["nbd"].startswith("the weights between none and the maximum")
