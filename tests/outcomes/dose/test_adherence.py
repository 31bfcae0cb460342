"""Attendance, intensity both ways, missed runs, reductions and early stops."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.dose import (
    CAVEATS,
    METHODS,
    adherence_by_person,
    attendance,
    dose_intensity,
    dose_reduced_sessions,
    missed_runs,
    percent,
    relative_dose_intensity,
    session_counts,
)
from outcomes.errors import DesignError


def test_both_intensities_are_given_and_differ_where_plans_differ() -> None:
    found = dose_intensity([100, 300], [100, 150])
    assert found.mean_of_ratios.value == (1 + 0.5) / 2
    assert found.ratio_of_sums.value == 250 / 400
    assert found.sd_of_ratios == pytest.approx(0.5 / np.sqrt(2))  # by hand: deviations of 0.25 each, n - 1 = 1
    assert (found.n, found.n_left_out) == (2, 0)
    assert "0.75" in found.summary()
    assert "0.62" in found.summary()


def test_people_without_a_plan_or_a_dose_are_left_out_of_both_and_counted() -> None:
    found = dose_intensity([100, 0, np.nan, 50, 200], [50, 10, 10, np.nan, 200])
    assert (found.n, found.n_left_out) == (2, 3)
    assert found.mean_of_ratios.value == 0.75
    assert found.ratio_of_sums.value == 250 / 300


def test_more_than_planned_is_not_clipped() -> None:
    assert dose_intensity([100], [150]).mean_of_ratios.value == 1.5
    assert dose_intensity([100], [150]).sd_of_ratios is None


def test_what_the_estimates_cite_is_written() -> None:
    found = dose_intensity([100], [50])
    for estimate in (found.mean_of_ratios, found.ratio_of_sums):
        assert estimate.unit == "1"
        assert estimate.method in METHODS
        assert set(estimate.caveats) <= CAVEATS.keys()
        assert estimate.source


@pytest.mark.parametrize(
    ("planned", "delivered", "reason"),
    [
        ([0], [10], "nobody has both"),
        ([], [], "nobody has both"),
        ([10], [-1], "negative"),
        ([10, 20], [10], "differ in shape"),
    ],
)
def test_an_intensity_that_is_not_defined_is_refused(planned, delivered, reason) -> None:
    with pytest.raises(DesignError, match=reason):
        dose_intensity(planned, delivered)


@pytest.mark.parametrize(
    ("planned", "delivered", "reason"),
    [([30, np.nan], [30, 30], "1 of 2 sessions"), ([0, 0], [0, 0], "nothing was planned"), ([30], [-5], "negative")],
)
def test_the_intensity_of_one_person_is_refused_where_a_session_is_unknown(planned, delivered, reason) -> None:
    with pytest.raises(DesignError, match=reason):
        relative_dose_intensity(planned, delivered)


@pytest.mark.parametrize(
    ("attended", "missed", "interruptions", "longest"),
    [
        ([], 0, 0, 0),
        ([1, 1], 0, 0, 0),
        ([0], 1, 0, 1),
        ([0, 0], 1, 0, 2),
        ([0, 0, 0], 0, 1, 3),
        ([0, 1, 0, 0, 1, 0, 0, 0, 0], 2, 1, 4),
    ],
)
def test_runs_of_missed_sessions(attended, missed, interruptions, longest) -> None:
    found = missed_runs(attended)
    assert (found.missed_runs, found.interruptions, found.longest) == (missed, interruptions, longest)
    assert str(interruptions) in found.summary()


def test_a_session_of_no_active_minutes_or_of_unknown_ones_is_no_reduced_one() -> None:
    assert dose_reduced_sessions([30, 30, 30, np.nan], [0, np.nan, 29, 10]) == 1


@pytest.mark.parametrize(("part", "whole"), [(1, 0), (-1, 4), (np.nan, 4), (1, np.nan)])
def test_a_share_of_nothing_is_refused(part, whole) -> None:
    with pytest.raises(DesignError, match="not defined"):
        percent(part, whole)
    with pytest.raises(DesignError, match="not defined"):
        attendance(part, whole)


def test_adherence_of_three_people(three_people, make_protocol) -> None:
    found = adherence_by_person(three_people, make_protocol()).set_index("participant_id")
    # by hand. A: 12 planned, 11 delivered (one of them beyond the plan); missed day 12, and one of week 3 not on
    # record: the two lie apart. a05 was shortened to 15 of 25, a08 stopped at 28 of 30.
    a = found.loc["A"]
    assert a["attendance"] == 11 / 12
    assert a["relative_active_minutes"] == 278 / 315
    assert (a["missed_runs"], a["interruptions"], a["longest_missed_run"]) == (2, 0, 1)
    assert (a["dose_reduced_sessions"], a["sessions_compared"], a["early_stops"]) == (2, 10, 1)
    assert a["discontinued"] == 0
    # B: planned 7 until leaving; week 1 one not on record, day 15 cancelled
    b = found.loc["B"]
    assert b["attendance"] == 5 / 7
    assert b["missed_runs"] == 2
    assert (b["dose_reduced_sessions"], b["sessions_compared"]) == (0, 4)
    assert (b["left_day"], b["discontinued"]) == (17, 1)
    # C: ten planned, none delivered
    c = found.loc["C"]
    assert (c["missed_runs"], c["interruptions"], c["longest_missed_run"]) == (0, 1, 10)
    assert (c["attendance"], c["discontinued"]) == (0, 0)


def test_until_the_end_of_the_programme_the_denominator_grows(three_people, make_protocol) -> None:
    found = adherence_by_person(three_people, make_protocol(), until="programme end").set_index("participant_id")
    assert found.loc["B", "attendance"] == 5 / 12
    assert found.loc["B", "interruptions"] == 1


def test_a_programme_without_an_end_cannot_be_discontinued(three_people, make_protocol) -> None:
    found = adherence_by_person(three_people, make_protocol(training=""))
    assert found["discontinued"].isna().all()


def test_states_and_reasons_are_counted(three_people) -> None:
    sessions = three_people["sessions"]
    sessions.loc[5, "reason"] = "transport"
    sessions.loc[0, "status"] = np.nan
    counts = session_counts(three_people)
    assert list(counts.itertuples(index=False, name=None)) == [
        ("", "", 1),
        ("cancelled", "", 1),
        ("done", "", 14),
        ("missed", "transport", 1),
        ("shortened", "", 1),
    ]


def test_without_a_sessions_table_there_is_nothing_to_adhere_to(three_people, make_protocol) -> None:
    del three_people["sessions"]
    for frame in (session_counts(three_people), adherence_by_person(three_people, make_protocol())):
        assert len(frame) == 0
        assert frame.attrs["reason"] == "the study has no sessions table"


def test_a_missed_row_beyond_the_plan_makes_no_run_longer(frame, make_protocol) -> None:
    rows = [(0, "done"), (1, "done"), (2, "missed"), (3, "cancelled"), (7, "missed"), (8, "done"), (9, "done")]
    columns = "participant_id session_id started_day status"
    tables = {
        "participants": frame("participants", "participant_id left_day", [("A", 14)]),
        "sessions": frame("sessions", columns, [("A", f"s{day}", day, status) for day, status in rows]),
    }
    found = adherence_by_person(tables, make_protocol()).iloc[0]
    # by hand: the fourth row of week 1 was not planned; days 2 and 7 are a run of two
    assert (found["missed_runs"], found["interruptions"], found["longest_missed_run"]) == (1, 0, 2)
