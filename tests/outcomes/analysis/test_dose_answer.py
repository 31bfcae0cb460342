"""The whole answer on dose, from protocol and tables to the record: windows, groups, curves, time, people left out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.errors import DefinitionError
from outcomes.result import Record
from outcomes.study import Study
from protocols import parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Twenty walkers"
design = "{design}"
[harms]
collection = "none occurred"
[analysis]
compare = ["week0", "week12"]
[training]
mode = "legs"
weeks = 12
sessions_per_week = 2
active_minutes = [30]
[dose]
metrics = ["active_minutes"]
{dose}
{visits}
[[measures]]
measure = "tenmwt"
role = "primary"
{groups}
"""
WEEKS = (0, 4, 8, 12)
VISITS = "\n".join(
    f'[[visits]]\nkey = "week{w}"\nlabel = "Week {w}"\nweek = {w}\nwhen = "{when}"'
    for w, when in zip(WEEKS, ("baseline", "during", "during", "end"), strict=True)
)
GROUPS = '[[groups]]\nkey = "one"\nlabel = "One"\nreference = true\n[[groups]]\nkey = "two"\nlabel = "Two"\n'
PEOPLE = [f"P{i:02d}" for i in range(20)]
START = pd.Timestamp("2025-01-06")
KEY = "dose_response/tenmwt.speed/-/all/week12_minus_week0/active_minutes/"


def tables(steady: bool = False) -> dict[str, pd.DataFrame]:
    """Twenty people who walk faster with their own minutes; sessions every week, some blocks of four weeks paused."""
    rng = np.random.default_rng(14)
    minutes = np.round(rng.uniform(15, 60, size=20)) if not steady else np.full(20, 30.0)
    on = rng.uniform(size=(20, 3)) > (0.35 if not steady else -1)
    sessions, walks = [], []
    for i, who in enumerate(PEOPLE):
        done = 0.0
        for block in range(4):
            time = 20 + 0.5 * i - 0.004 * done + 0.1 * rng.normal()
            day = (START + pd.Timedelta(days=28 * block)).date().isoformat()
            walks.append(
                {"participant_id": who, "visit": f"week{4 * block}", "measure": "tenmwt", "item": "time", "trial": 1,
                 "response": f"{time:.2f}", "assessed_at": day}
            )  # fmt: skip
            for week in range(4) if block < 3 and on[i, block] else ():
                done += minutes[i]
                at = START + pd.Timedelta(days=28 * block + 7 * week + 2)
                sessions.append(
                    {"participant_id": who, "session_id": f"S{block}{week}", "started_at": at.date().isoformat(),
                     "status": "done", "active_minutes": str(minutes[i])}
                )  # fmt: skip
    people = pd.DataFrame(
        {"participant_id": PEOPLE, "enrolled_on": "2025-01-06", "age_years": [str(30 + i) for i in range(20)],
         "sex": ["female", "male"] * 10}
    )  # fmt: skip
    return {"participants": people, "sessions": pd.DataFrame(sessions), "assessments": pd.DataFrame(walks)}


def record_of(dose: str = "", *, steady: bool = False, grouped: bool = False) -> Record:
    made = tables(steady)
    if grouped:
        made["participants"]["group"] = ["one"] * 10 + ["two"] * 10
    text = PROTOCOL.format(
        design="parallel groups" if grouped else "single arm", dose=dose, visits=VISITS,
        groups=GROUPS if grouped else "",
    )  # fmt: skip
    return analyse(Study.from_tables(parse_protocol(text, "protocol.toml"), **made)).record


def row_of(record: Record, table: str, **wanted: Any) -> pd.Series:
    frame = record.tables[table].to_frame()
    for column, value in wanted.items():
        frame = frame[frame[column] == value]
    return frame.iloc[0]


@pytest.fixture(scope="module")
def record() -> Record:
    return record_of()


def test_between_and_within_stand_apart_and_the_dose_that_is_only_time_is_told(record: Record) -> None:
    row = row_of(record, "dose_within", exposure="active_minutes")
    assert (row["people"], row["values"], row["own_courses"]) == (20, 80, "level and course")
    assert row["within_low"] < row["within"] < row["within_high"]
    assert row["only_time"] == pytest.approx(row["r"] ** 2)
    assert row["vif"] == pytest.approx(1 / (1 - row["r"] ** 2))
    assert record[KEY + "within"].value == row["within"]
    assert record[KEY + "between_mean"].value == row["between"]
    assert record[KEY + "together"].value == row["together"]
    assert record[KEY + "within"].inputs == ("people/values", "people/dose")


def test_a_dose_that_rose_alike_in_everybody_is_refused_within_people() -> None:
    record = record_of(steady=True)
    found = record[KEY + "within"]
    assert found.status == "not estimable"
    assert "time" in found.reason
    assert record[KEY + "time"].status == "estimated"
    assert record[KEY + "slope"].reason == "everybody had the same dose"
    assert record[KEY + "ed50"].reason.startswith("everybody had the same dose")
    row = row_of(record, "dose_origins", exposure="active_minutes")
    assert row["reason"].startswith("everybody had the same dose")


def test_three_curves_share_the_weight_and_a_half_dose_is_given_or_refused(record: Record) -> None:
    frame = record.tables["dose_curves"].to_frame().query("exposure == 'active_minutes'")
    assert frame["curve"].tolist() == ["linear", "log", "saturating"]
    assert frame["weight"].sum() == pytest.approx(1)
    entry = record[KEY + "ed50"]
    assert entry.interval is not None if entry.status == "estimated" else entry.reason


def test_people_left_out_are_predicted_against_the_mean_alone(record: Record) -> None:
    row = row_of(record, "dose_prediction", exposure="active_minutes")
    assert row["gain"] == pytest.approx(1 - (row["dose_error"] / row["mean_error"]) ** 2)
    assert record[KEY + "prediction_gain"].value == row["gain"]


def test_dose_stands_against_everything_known_before(record: Record) -> None:
    frame = record.tables["dose_origins"].to_frame().query("exposure == 'active_minutes'").set_index("characteristic")
    assert {"age_years", "sex: female"} <= set(frame.index)
    assert any(name.startswith("first value of") for name in frame.index)
    assert record["dose_response/-/-/all/week12_minus_week0/active_minutes/origin_sex__female"].n_people == 20


def test_the_dose_is_named_with_its_window_and_lag(record: Record) -> None:
    assert row_of(record, "dose_response", exposure="active_minutes")["dose"] == (
        "delivered active time up to the visit"
    )
    lagged = record_of('cumulate = "recent"\nrecent_days = 28\nlag_days = 7\nwhich = ["delivered"]')
    frame = lagged.tables["dose_response"].to_frame()
    assert frame["dose"].tolist()[0] == (
        "delivered active time in the last 28 days, sessions of the last 7 days not counted"
    )
    assert not frame["exposure"].str.startswith("planned").any()
    assert row_of(record, "dose_response", exposure="planned_active_minutes")["dose"].startswith("planned active time")


def test_groups_are_apart_or_held_and_never_pooled() -> None:
    apart = record_of(grouped=True)
    frame = apart.tables["dose_response"].to_frame().query("exposure == 'active_minutes'")
    assert frame["group"].tolist() == ["one", "two"]
    assert frame["n"].tolist() == [10, 10]
    assert KEY + "slope" not in apart.entries
    assert KEY.replace("/all/", "/one/") + "within_vif" in apart.entries
    held = record_of('groups = "group term"', grouped=True)
    row = row_of(held, "dose_response", exposure="active_minutes")
    assert (row["group"], row["n"]) == ("all", 20)
    made = tables()
    dose = made["sessions"].astype({"active_minutes": float}).groupby("participant_id")["active_minutes"].sum()
    times = (
        made["assessments"]
        .astype({"response": float})
        .pivot(index="participant_id", columns="visit", values="response")
    )
    first, last = 10 / times["week0"], 10 / times["week12"]
    design = np.column_stack([np.ones(20), dose.reindex(PEOPLE).fillna(0), first, np.repeat([0, 1], 10)])
    expected = 600 * np.linalg.lstsq(design, last - first)[0][1]
    assert row["slope"] == pytest.approx(expected)


def test_a_group_term_without_groups_is_refused() -> None:
    with pytest.raises(DefinitionError, match="only for design"):
        record_of('groups = "group term"')
    with pytest.raises(DefinitionError, match="at least one dose is needed"):
        record_of("which = []")


def test_every_number_names_what_it_was_made_of_and_every_note_exists(record: Record) -> None:
    for entry in record.entries.values():
        assert entry.inputs or entry.status != "estimated"
        assert not entry.method or record.methods[entry.method]
        assert all(record.caveats[caveat] for caveat in entry.caveats)
