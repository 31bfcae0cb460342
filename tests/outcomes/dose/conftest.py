"""A small protocol and tables with the vocabulary's columns, as the reading of a study folder hands them over."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.vocabulary import TABLES
from protocols import Protocol, parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Four weeks"
design = "single arm"
[[visits]]
key = "week0"
label = "Week 0"
week = 0
when = "baseline"
[[visits]]
key = "week2"
label = "Week 2"
week = 2
when = "during"
[[visits]]
key = "week4"
label = "Week 4"
week = 4
when = "end"
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
{training}
{dose}
[analysis]
compare = ["week0", "week4"]
[harms]
collection = "not collected"
"""

TRAINING = """
[training]
mode = "legs"
weeks = 4
sessions_per_week = 3
active_minutes = [20, 25, 30]
"""


def _frame(table: str, columns: str, rows: Sequence[Sequence[Any]]) -> pd.DataFrame:
    """Return a table with every column of the vocabulary and a row_id; days and clock times are floats."""
    names = columns.split()
    given = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    data: dict[str, Any] = {"row_id": pd.Series([f"{table}/{i + 1}" for i in range(len(rows))], dtype="str")}
    for column in TABLES[table].columns:
        twins = {"date": ("_day",), "moment": ("_day", "_clock")}.get(column.kind)
        for name in [column.stem + twin for twin in twins] if twins else [column.name]:
            text = column.kind in ("id", "text", "word", "key")
            values = given.pop(name, [None if text else np.nan] * len(rows))
            data[name] = pd.Series(values, dtype="str" if text else "float64")
    assert not given, f"not columns of {table}: {sorted(given)}"
    return pd.DataFrame(data)


@pytest.fixture
def frame() -> Callable[[str, str, Sequence[Sequence[Any]]], pd.DataFrame]:
    return _frame


@pytest.fixture
def make_protocol() -> Callable[..., Protocol]:
    def make(*, training: str = TRAINING, **dose: str | int) -> Protocol:
        lines = [f"{key} = {value!r}".replace("'", '"') for key, value in dose.items()]
        return parse_protocol(PROTOCOL.format(training=training, dose="\n".join(["[dose]", *lines])))

    return make


@pytest.fixture
def three_people() -> dict[str, pd.DataFrame]:
    """Three people: A trains to the end, B leaves on day 17, C has a prescription and no session row at all."""
    sessions = [
        ("A", "a01", 1, 600, "done", 20, 10),
        ("A", "a02", 3, 600, "done", 20, 10),
        ("A", "a03", 5, 600, "done", 20, 10),
        ("A", "a04", 8, 600, "done", 25, 12),
        ("A", "a05", 10, 600, "shortened", 15, 6),
        ("A", "a06", 12, 600, "missed", np.nan, np.nan),
        ("A", "a07", 15, 600, "done", 30, 14),
        ("A", "a08", 17, 600, "done", 28, 13),
        ("A", "a09", 22, 600, "done", 30, 15),
        ("A", "a10", 24, 600, "done", 30, 15),
        ("A", "a11", 26, 600, "done", 30, 15),
        ("A", "a12", 27, 600, "done", 30, np.nan),
        ("B", "b01", 1, np.nan, "done", 20, np.nan),
        ("B", "b02", 3, np.nan, "done", 20, np.nan),
        ("B", "b03", 8, np.nan, "done", 25, np.nan),
        ("B", "b04", 10, np.nan, "done", np.nan, np.nan),
        ("B", "b05", 12, np.nan, "done", 25, np.nan),
        ("B", "b06", 15, np.nan, "cancelled", np.nan, np.nan),
    ]
    visits = [
        ("A", "week0", 0, np.nan),
        ("A", "week2", 14, 630),
        ("A", "week4", 28, 630),
        ("B", "week0", 0, np.nan),
        ("B", "week2", 14, 630),
        ("B", "week4", np.nan, np.nan),
        ("C", "week0", 0, np.nan),
        ("C", "week2", 14, 630),
        ("C", "week4", 28, 630),
    ]
    columns = "participant_id session_id started_day started_clock status active_minutes work_kj"
    prescribed = "participant_id from_day to_day sessions_per_week active_minutes work_kj"
    return {
        "participants": _frame("participants", "participant_id left_day", [("A", np.nan), ("B", 17), ("C", np.nan)]),
        "visits": _frame("visits", "participant_id visit visited_day visited_clock", visits),
        "prescriptions": _frame("prescriptions", prescribed, [("C", 7, 20, 2, 15, 9)]),
        "sessions": _frame("sessions", columns, sessions),
    }
