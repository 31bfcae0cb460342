"""People who were measured with another walking aid at the second visit are counted among those of whom it is known."""

from __future__ import annotations

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.study import Study
from protocols import parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Walks"
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
measure = "{measure}"
role = "primary"
"""
AIDS = {
    "P1": ("none", "cane"),
    "P2": ("cane", "cane"),
    "P3": ("cane", "walker"),
    "P4": ("cane", None),
    "P5": (None, None),
}


@pytest.mark.parametrize(("measure", "item", "told"), [("twomwt", "device", (2, 3)), ("swls", "", None)])
def test_another_aid_is_flagged_where_the_measure_has_one(
    measure: str, item: str, told: tuple[int, int] | None
) -> None:
    rows = []
    for person, aids in AIDS.items():
        for visit, aid in zip(("before", "after"), aids, strict=True):
            values = {"distance": "90"} if item else {f"swls_{n}": "4" for n in range(1, 6)}
            values |= {item: aid} if item and aid else {}
            rows += [(person, visit, measure, key, value) for key, value in values.items()]
    frame = pd.DataFrame(rows, columns=["participant_id", "visit", "measure", "item", "response"])
    people = pd.DataFrame({"participant_id": list(AIDS), "enrolled_on": "2026-01-05"})
    study = Study.from_tables(
        parse_protocol(PROTOCOL.format(measure=measure), "protocol.toml"), participants=people, assessments=frame
    )
    table = analyse(study).record.tables["flags"]
    found = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    mine = [(row["people"], row["known"]) for row in found if row["flag"] == "circumstances"]
    assert mine == ([] if told is None else [told])
