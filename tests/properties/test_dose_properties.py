"""Properties that hold for any sessions: order, splitting, units, passive minutes, and the balance of the plan."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes.dose import adherence_by_person, dose_by_visit, dose_by_week, dose_intensity
from protocols import Protocol, packaged_path, read_protocol

SETTINGS = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

numbers = st.one_of(st.none(), st.integers(0, 90).map(float))
clocks = st.one_of(st.none(), st.integers(0, 1439).map(float))
session = st.fixed_dictionaries(
    {
        "participant_id": st.sampled_from(["A", "B", "C"]),
        "started_day": st.one_of(st.none(), st.integers(-5, 150).map(float)),
        "started_clock": clocks,
        "status": st.sampled_from(["done", "done", "shortened", "missed", "cancelled", None]),
        "active_minutes": numbers,
        "work_kj": numbers,
        "passive_minutes": numbers,
        "planned_minutes": st.one_of(st.none(), st.integers(10, 60).map(float)),
    }
)
sessions = st.lists(session, max_size=40)
TEXT = ("participant_id", "status", "session_id", "row_id")


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return read_protocol(packaged_path("leg_cycling_16_weeks"))


def as_frame(rows: list[dict[str, object]]) -> pd.DataFrame:
    columns = ("participant_id", "started_day", "started_clock", "status", "active_minutes", "work_kj")
    data: dict[str, object] = {
        name: [row[name] for row in rows] for name in (*columns, "passive_minutes", "planned_minutes")
    }
    data["session_id"] = [f"s{i:03d}" for i in range(len(rows))]
    data["row_id"] = [f"sessions/{i + 1}" for i in range(len(rows))]
    return pd.DataFrame(data).astype({name: "str" if name in TEXT else "float64" for name in data})


def study(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    people = ["A", "B", "C"]
    days = {"week0": 0.0, "week4": 28.0, "week8": 57.0, "week16": 110.0, "week20": 140.0}
    visits = [
        (person, visit, day + shift, clock)
        for person, shift, clock in (("A", 0.0, 600.0), ("B", 1.0, math.nan), ("C", 2.0, 0.0))
        for visit, day in days.items()
    ]
    columns = ["participant_id", "visit", "visited_day", "visited_clock"]
    return {
        "participants": pd.DataFrame({"participant_id": people, "left_day": [np.nan, 60.0, np.nan]}),
        "visits": pd.DataFrame(visits, columns=columns).assign(row_id=[f"visits/{i}" for i in range(len(visits))]),
        "prescriptions": pd.DataFrame(
            {
                "participant_id": ["C", "A"],
                "from_day": [10.0, 0.0],
                "to_day": [33.0, np.nan],
                "sessions_per_week": [5.0, np.nan],
                "work_kj": [np.nan, 12.0],
                "row_id": ["prescriptions/1", "prescriptions/2"],
            }
        ),
        "sessions": rows,
    }


@SETTINGS
@given(rows=sessions, order=st.randoms(use_true_random=False))
def test_the_order_of_rows_is_irrelevant(protocol, rows, order) -> None:
    frame = as_frame(rows)
    places = list(range(len(frame)))
    order.shuffle(places)
    one, other = study(frame), study(frame.iloc[places])
    for name in ("participants", "visits", "prescriptions"):
        other[name] = other[name].iloc[::-1]
    for dose in (dose_by_visit, dose_by_week, adherence_by_person):
        pd.testing.assert_frame_equal(dose(one, protocol), dose(other, protocol), check_exact=True)


@SETTINGS
@given(rows=sessions, share=st.floats(0.1, 0.9))
def test_a_session_split_into_two_rows_gives_the_same_sums(protocol, rows, share) -> None:
    whole = as_frame(rows)
    first, second = whole.copy(), whole.copy()
    for column in ("active_minutes", "work_kj"):
        first[column], second[column] = whole[column] * share, whole[column] * (1 - share)
    second["session_id"] += "b"
    split = study(pd.concat([first, second], ignore_index=True))
    for dose in (dose_by_visit, dose_by_week):
        one, two = dose(study(whole), protocol), dose(split, protocol)
        for column in ("delivered_active_minutes", "delivered_work_kj"):
            np.testing.assert_allclose(two[column], one[column], rtol=1e-12)
        np.testing.assert_array_equal(two["delivered_sessions"], 2 * one["delivered_sessions"])


@SETTINGS
@given(rows=sessions, factor=st.sampled_from([2.0, 0.25, 1024.0]))
def test_a_change_of_unit_scales_the_sums_and_leaves_the_ratios(protocol, rows, factor) -> None:
    frame = as_frame(rows)
    scaled = study(frame.assign(work_kj=frame["work_kj"] * factor))
    scaled["prescriptions"]["work_kj"] *= factor
    one, other = dose_by_visit(study(frame), protocol), dose_by_visit(scaled, protocol)
    for column in ("delivered_work_kj", "planned_work_kj", "work_kj_per_week"):
        np.testing.assert_array_equal(other[column], one[column] * factor)
    for column in ("relative_work", "delivered_active_minutes", "sessions_without_work"):
        np.testing.assert_array_equal(other[column], one[column])


@SETTINGS
@given(rows=sessions, minutes=st.floats(0, 1e6))
def test_passive_minutes_never_matter(protocol, rows, minutes) -> None:
    frame = as_frame(rows)
    other = frame.assign(passive_minutes=minutes, ramp_minutes=minutes, cooldown_minutes=minutes)
    for dose in (dose_by_visit, dose_by_week, adherence_by_person):
        pd.testing.assert_frame_equal(dose(study(frame), protocol), dose(study(other), protocol), check_exact=True)


@SETTINGS
@given(rows=sessions, until=st.sampled_from(["withdrawal", "programme end"]))
def test_the_plan_balances(protocol, rows, until) -> None:
    for dose in (dose_by_visit, dose_by_week):
        found = dose(study(as_frame(rows)), protocol, until=until)
        right = found["delivered_sessions"] + found["missed_sessions"] + found["sessions_without_status"]
        right += found["not_recorded_sessions"] - found["sessions_beyond_plan"]
        np.testing.assert_array_equal(found["planned_sessions"], right)
        assert (found["not_recorded_sessions"] >= 0).all()
        assert (found["sessions_without_active_minutes"] >= 0).all()


@SETTINGS
@given(rows=sessions)
def test_a_full_programme_plans_its_number_of_sessions_whatever_is_on_record(protocol, rows) -> None:
    weeks = dose_by_week(study(as_frame(rows)), protocol, until="programme end")
    inside = weeks[weeks["week"].between(1, 16)].groupby("participant_id")["planned_sessions"].sum()
    # by hand: A and B 16 x 3; C days 10 to 33 at 5 a week: (88 x 3 + 24 x 5) / 7 = 54.86
    assert inside.to_dict() == {"A": 48, "B": 48, "C": 55}


@SETTINGS
@given(rows=sessions)
def test_sums_never_fall_from_visit_to_visit(protocol, rows) -> None:
    found = dose_by_visit(study(as_frame(rows)), protocol)
    for column in ("planned_sessions", "delivered_sessions", "missed_sessions"):
        assert (found.groupby("participant_id")[column].diff().dropna() >= 0).all()


@SETTINGS
@given(rows=sessions)
def test_every_session_behind_a_number_is_named_and_sums_to_it(protocol, rows) -> None:
    frame = as_frame(rows)
    found = dose_by_visit(study(frame), protocol)
    by_id = frame.set_index("row_id")
    for row in found.itertuples():
        ids = [cell for cell in row.cells.split() if cell.startswith("sessions/")]
        behind = by_id.loc[ids]
        delivered = behind[behind["status"].isin(["done", "shortened"])]
        assert len(delivered) == row.delivered_sessions
        assert set(behind["participant_id"]) <= {row.participant_id}
        if delivered["active_minutes"].notna().any():
            assert delivered["active_minutes"].sum() == row.delivered_active_minutes


@given(
    st.lists(st.tuples(st.floats(1, 1e4), st.floats(0, 1e4)), min_size=1, max_size=30), st.sampled_from([2.0, 0.5, 8.0])
)
def test_both_intensities_lie_within_the_people_s_ratios_and_ignore_the_unit(pairs, factor) -> None:
    planned, delivered = (np.array(part) for part in zip(*pairs, strict=True))
    found, scaled = dose_intensity(planned, delivered), dose_intensity(planned * factor, delivered * factor)
    ratios = delivered / planned
    for name in ("mean_of_ratios", "ratio_of_sums"):
        value = getattr(found, name).value
        assert ratios.min() * (1 - 1e-12) <= value <= ratios.max() * (1 + 1e-12)
        assert value == getattr(scaled, name).value
