"""Frames in memory go through the same checks, and come out as other rooms expect them."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import UsageError
from outcomes.vocabulary import TABLES


def frames(**changes):
    people = pd.DataFrame(
        {"participant_id": ["P01", "P02"], "enrolled_on": pd.to_datetime(["2026-01-05", "2026-01-05"])}
    )
    answers = pd.DataFrame(
        {
            "participant_id": ["P01", "P01", "P02"],
            "visit": ["before", "after", "before"],
            "measure": ["girth", "girth", "tone"],
            "place": ["thigh", "thigh", "knee"],
            "side": ["left", "left", "right"],
            "item": ["reading", "reading", "grade"],
            "trial": [1, 1, None],
            "response": [44.5, 45, "1+"],
            "assessed_at": pd.to_datetime(["2026-01-06 09:30", "2026-03-30 09:30", "2026-01-06 10:00"]),
        }
    )
    return {"participants": people, "assessments": answers} | changes


def test_frames_are_checked_like_files(room):
    intake = room.frames(**frames())
    assert intake.findings == ()
    assert intake.tables["assessments"]["response"].tolist() == ["44.5", "45", "1+"]
    assert intake.tables["assessments"]["assessed_day"].tolist() == [1.0, 84.0, 1.0]
    assert set(intake.files) == {"participants", "assessments"}


def test_a_finding_names_frame_and_row_as_a_spreadsheet_would(room):
    given = frames()
    given["assessments"].loc[2, "response"] = "9"
    finding = room.only(room.frames(**given), "not_a_code")
    assert (finding.file, finding.row, finding.column) == ("assessments", 4, "response")


def test_an_unknown_table_is_a_usage_error(room):
    with pytest.raises(UsageError, match="did you mean 'participants'"):
        room.frames(participant=pd.DataFrame())


def test_every_column_of_the_vocabulary_is_there_with_its_type(room):
    intake = room.frames(**frames())
    for name, frame in intake.tables.items():
        for column in TABLES[name].columns:
            dtype = frame[column.name].dtype
            if column.kind in ("number", "integer"):
                assert dtype == np.float64
            elif column.kind in ("date", "moment"):
                assert dtype == np.dtype("datetime64[us]")
                assert frame[f"{column.stem}_day"].dtype == np.float64
            else:
                assert dtype == "str"


def test_missing_text_is_missing_and_not_empty(room):
    frame = room.frames(**frames()).tables["assessments"]
    assert frame["absent_because"].isna().all()
    assert frame["trial"].tolist()[0] == 1.0
    assert math.isnan(frame["trial"].tolist()[2])


@pytest.mark.parametrize("dtype", ["object", "string", "str", "category"])
def test_text_columns_of_any_kind_are_read(room, dtype):
    given = frames()
    for column in ("participant_id", "visit", "measure", "item"):
        given["assessments"][column] = given["assessments"][column].astype(dtype)
    assert room.frames(**given).findings == ()


@pytest.mark.parametrize("dtype", ["Int64", "Float64", "float64"])
def test_number_columns_of_any_kind_are_read(room, dtype):
    given = frames()
    given["participants"]["age_years"] = pd.array([40, None], dtype=dtype)
    ages = room.frames(**given).tables["participants"]["age_years"].tolist()
    assert ages[0] == 40.0
    assert math.isnan(ages[1])


def test_what_is_no_frame_is_a_usage_error(room):
    with pytest.raises(UsageError, match="participants is not a data frame"):
        room.frames(participants={"participant_id": ["P01"]})


def test_a_column_that_stands_twice_in_a_frame_is_refused(room):
    people = frames()["participants"]
    intake = room.frames(**frames(participants=pd.concat([people, people[["enrolled_on"]]], axis=1)))
    assert room.only(intake, "duplicate_heading").column == "enrolled_on"


def test_long_whole_numbers_as_ids_keep_every_digit(room):
    people = pd.DataFrame({"participant_id": [12345678901234567], "enrolled_on": [np.datetime64("2026-01-05", "ns")]})
    answers = frames()["assessments"].assign(participant_id="12345678901234567").iloc[[0]]
    intake = room.frames(participants=people, assessments=answers)
    assert [finding.rule for finding in intake.findings] == ["telling_id"]


def test_dates_in_an_object_column_are_dates(room):
    people = frames()["participants"]
    people["enrolled_on"] = pd.Series([np.datetime64("2026-01-05", "ns"), pd.Timestamp("2026-01-05")], dtype=object)
    assert room.frames(**frames(participants=people)).tables["participants"]["enrolled_day"].tolist() == [0.0, 0.0]


def test_a_time_zone_is_not_dropped_in_silence(room):
    answers = frames()["assessments"]
    answers["assessed_at"] = answers["assessed_at"].dt.tz_localize("UTC")
    assert len(room.of_rule(room.frames(**frames(assessments=answers)), "time_zone")) == 3


def test_a_callers_frame_is_not_changed(room):
    given = frames()
    before = {name: frame.copy() for name, frame in given.items()}
    room.frames(**given)
    assert all(given[name].equals(before[name]) for name in given)


def test_tables_of_a_study_can_be_read_again(room):
    sessions = pd.DataFrame(
        {
            "participant_id": ["P01"],
            "session_id": ["s1"],
            "started_day": [3],
            "started_clock": ["09:30"],
            "status": ["done"],
            "my own": ["kept"],
        }
    )
    first = room.frames(**frames(sessions=sessions))
    again = room.frames(**first.tables)
    assert again.findings == ()
    for name, frame in first.tables.items():
        pd.testing.assert_frame_equal(again.tables[name], frame)


def test_the_same_frames_have_the_same_hashes(room):
    first, again = room.frames(**frames()), room.frames(**frames())
    assert first.files == again.files
    changed = frames()
    changed["participants"].loc[0, "participant_id"] = "P03"
    assert room.frames(**changed).files["participants"] != first.files["participants"]


def test_files_and_frames_give_the_same_tables(room):
    from_files = room.read()
    read_back = {
        name: pd.read_csv(room.folder / f"{name}.csv", dtype=str, keep_default_na=False)
        for name in ("participants", "assessments")
    }
    from_frames = room.frames(**read_back)
    for name, frame in from_files.tables.items():
        pd.testing.assert_frame_equal(from_frames.tables[name], frame)
