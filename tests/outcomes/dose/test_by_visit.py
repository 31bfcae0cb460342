"""The sums of three people, written out by hand, and each rule of counting on its own."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

import outcomes.dose
from outcomes.dose import METHODS, dose_by_visit, dose_by_week, rules
from outcomes.errors import DataError, DesignError


def at(frame: pd.DataFrame, person: str, visit: str) -> pd.Series:
    found = frame[(frame["participant_id"] == person) & (frame["visit"] == visit)]
    assert len(found) == 1
    return found.iloc[0]


def test_person_a_up_to_week_2(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    # by hand: rows a01..a06; planned 3 x 20 + 3 x 25
    assert dose["planned_sessions"] == 6
    assert dose["delivered_sessions"] == 5
    assert dose["missed_sessions"] == 1
    assert dose["not_recorded_sessions"] == 0
    assert dose["planned_active_minutes"] == 60 + 75
    assert dose["delivered_active_minutes"] == 20 + 20 + 20 + 25 + 15
    assert dose["delivered_work_kj"] == 10 + 10 + 10 + 12 + 6
    assert dose["sessions_without_work"] == 0
    assert dose["weeks"] == 2
    assert dose["active_minutes_per_week"] == 100 / 2
    assert dose["work_kj_per_week"] == 48 / 2
    assert dose["relative_active_minutes"] == 100 / 135
    assert dose["attendance"] == 5 / 6
    assert dose["hours_since_last_session"] == 4 * 24 + 0.5  # day 10 at 10:00 to day 14 at 10:30
    assert dose["days_since_last_session"] == 4
    assert dose["cells"] == "visits/2 sessions/1 sessions/2 sessions/3 sessions/4 sessions/5 sessions/6"


def test_person_a_up_to_week_4(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week4")
    # by hand: week 3 has two rows of three planned, week 4 four rows of three planned
    assert dose["planned_sessions"] == 12
    assert dose["delivered_sessions"] == 5 + 2 + 4
    assert dose["missed_sessions"] == 1
    assert dose["not_recorded_sessions"] == 1
    assert dose["sessions_beyond_plan"] == 1
    assert dose["planned_active_minutes"] == 60 + 75 + 90 + 90
    assert dose["delivered_active_minutes"] == 100 + 58 + 120
    assert dose["delivered_work_kj"] == 48 + 27 + 45  # a12 has no work on record
    assert dose["sessions_without_work"] == 1
    assert np.isnan(dose["planned_work_kj"])
    assert np.isnan(dose["relative_work"])


def test_person_b_is_planned_for_until_the_day_of_leaving(three_people, make_protocol) -> None:
    weeks = dose_by_week(three_people, make_protocol())
    b = weeks[weeks["participant_id"] == "B"]
    # by hand: 3 + 3 + the one of day 15; days 17 and 19 of week 3 lie after the day of leaving
    assert b["planned_sessions"].tolist() == [3, 3, 1, 0]
    assert b["planned_active_minutes"].tolist() == [60, 75, 30, 0]
    assert b["delivered_sessions"].tolist() == [2, 3, 0, 0]
    assert b["not_recorded_sessions"].tolist() == [1, 0, 0, 0]
    assert b["missed_sessions"].tolist() == [0, 0, 1, 0]


def test_person_b_can_be_planned_for_until_the_end_of_the_programme(three_people, make_protocol) -> None:
    by_argument = dose_by_week(three_people, make_protocol(), until="programme end")
    by_protocol = dose_by_week(three_people, make_protocol(planned_until="programme end"))
    assert by_argument[by_argument["participant_id"] == "B"]["planned_sessions"].tolist() == [3, 3, 3, 3]
    pd.testing.assert_frame_equal(by_argument, by_protocol)


def test_a_session_without_minutes_is_counted_beside_the_sum(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "B", "week2")
    assert dose["delivered_sessions"] == 5
    assert dose["delivered_active_minutes"] == 20 + 20 + 25 + 25
    assert dose["sessions_without_active_minutes"] == 1


def test_where_no_delivered_session_has_a_value_there_is_no_sum(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "B", "week2")
    assert np.isnan(dose["delivered_work_kj"])
    assert dose["sessions_without_work"] == 5


def test_a_person_without_rows_has_a_dose_of_zero_and_missed_everything(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "C", "week4")
    # by hand: week 1 3 x 20; days 7 to 20 prescribed 2 a week at 15, on days 8, 12, 15, 19; week 4 3 x 30
    assert dose["delivered_sessions"] == 0
    assert dose["delivered_active_minutes"] == 0
    assert dose["planned_sessions"] == dose["not_recorded_sessions"] == 3 + 2 + 2 + 3
    assert dose["planned_active_minutes"] == 60 + 30 + 30 + 90
    assert dose["relative_active_minutes"] == 0
    assert np.isnan(dose["days_since_last_session"])
    assert dose["cells"] == "visits/9 prescriptions/1"


def test_work_that_only_some_planned_sessions_name_is_not_planned(three_people, make_protocol) -> None:
    protocol = make_protocol()
    assert np.isnan(at(dose_by_visit(three_people, protocol), "C", "week4")["planned_work_kj"])
    weeks = dose_by_week(three_people, protocol)
    work = weeks[weeks["participant_id"] == "C"]["planned_work_kj"].tolist()
    assert work[1:3] == [18, 18]
    assert np.isnan([work[0], work[3]]).all()


def test_work_prescribed_from_the_first_day_is_planned_and_has_a_ratio(three_people, make_protocol, frame) -> None:
    columns = "participant_id from_day active_minutes work_kj"
    three_people["prescriptions"] = frame("prescriptions", columns, [("A", 0, np.nan, 12)])
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert dose["planned_work_kj"] == 6 * 12
    assert dose["relative_work"] == 48 / 72
    assert dose["planned_active_minutes"] == 135  # what a prescription leaves open is as in the protocol


def test_the_latest_prescription_that_covers_a_day_is_in_force(three_people, make_protocol, frame) -> None:
    rows = [("A", 14, np.nan, 40), ("A", 0, np.nan, 10), ("A", 21, 24, 50)]
    three_people["prescriptions"] = frame("prescriptions", "participant_id from_day to_day active_minutes", rows)
    weeks = dose_by_week(three_people, make_protocol())
    # by hand: week 4 is planned for days 22, 24 and 26; rows a09, a10, a11 stand for them
    assert weeks[weeks["participant_id"] == "A"]["planned_active_minutes"].tolist() == [30, 30, 120, 50 + 50 + 40]


def test_the_baseline_visit_has_no_rate_and_no_ratio(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week0")
    assert dose["weeks"] == 0
    assert dose["delivered_active_minutes"] == dose["planned_active_minutes"] == 0
    assert np.isnan(dose[["active_minutes_per_week", "relative_active_minutes", "attendance"]].astype(float)).all()


def test_a_visit_before_the_baseline_has_no_rate(three_people, make_protocol) -> None:
    three_people["visits"].loc[0, "visited_day"] = 20.0
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert dose["weeks"] == -6 / 7
    assert np.isnan(dose["active_minutes_per_week"])


def test_a_visit_without_a_day_has_a_row_that_says_so(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol()), "B", "week4")
    assert dose["reason"] == "the visit has no day"
    assert dose["cells"] == ""
    assert np.isnan(dose["delivered_sessions"])


@pytest.mark.parametrize(
    ("session_clock", "visit_clock", "counts"),
    [(600, 630, 1), (630, 630, 0), (660, 630, 0), (np.nan, 630, 0), (600, np.nan, 0), (0, 1, 1), (0, 0, 0)],
)
def test_a_session_of_the_same_day_counts_only_when_known_to_be_earlier(
    frame, make_protocol, session_clock, visit_clock, counts
) -> None:
    columns = "participant_id session_id started_day started_clock status active_minutes"
    tables = {
        "participants": frame("participants", "participant_id", [("A",)]),
        "visits": frame("visits", "participant_id visit visited_day visited_clock", [("A", "week2", 14, visit_clock)]),
        "sessions": frame("sessions", columns, [("A", "s1", 14, session_clock, "done", 30)]),
    }
    dose = dose_by_visit(tables, make_protocol()).iloc[0]
    assert dose["delivered_sessions"] == counts
    assert dose["delivered_active_minutes"] == 30 * counts


def test_hours_are_not_given_where_a_session_of_the_visit_s_day_has_no_clock(
    three_people, make_protocol, frame
) -> None:
    sessions = three_people["sessions"]
    sessions.loc[sessions["session_id"] == "a09", ["started_day", "started_clock"]] = [14.0, np.nan]
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert np.isnan(dose["hours_since_last_session"])
    assert dose["days_since_last_session"] == 4


def test_hours_count_from_the_last_delivered_session_not_from_a_missed_one(three_people, make_protocol) -> None:
    # a06 on day 12 was missed; a05 on day 10 was delivered
    assert at(dose_by_visit(three_people, make_protocol()), "A", "week2")["days_since_last_session"] == 4


def test_motor_driven_ramp_cooldown_and_total_minutes_never_stand_in_for_active_ones(
    three_people, make_protocol
) -> None:
    sessions = three_people["sessions"]
    before = dose_by_visit(three_people, make_protocol())
    for column in ("passive_minutes", "ramp_minutes", "cooldown_minutes"):
        sessions[column] = 99.0
    pd.testing.assert_frame_equal(dose_by_visit(three_people, make_protocol()), before)
    sessions["total_minutes"] = 99.0
    after = at(dose_by_visit(three_people, make_protocol()), "B", "week2")
    assert after["delivered_active_minutes"] == 90
    assert after["sessions_without_active_minutes"] == 1
    assert after["delivered_total_minutes"] == 5 * 99


def test_voluntary_minutes_are_summed_apart(three_people, make_protocol) -> None:
    three_people["sessions"].loc[0, "voluntary_minutes"] = 7.0
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert dose["delivered_voluntary_minutes"] == 7
    assert dose["sessions_without_voluntary_minutes"] == 4
    assert dose["delivered_active_minutes"] == 100


def test_planned_minutes_written_at_a_session_win_over_the_protocol(three_people, make_protocol) -> None:
    three_people["sessions"].loc[[0, 5], "planned_minutes"] = [12.0, 40.0]
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    # by hand: day 1 planned 12 for 20, the missed session of day 12 planned 40 for 25
    assert dose["planned_active_minutes"] == 12 + 20 + 20 + 25 + 25 + 40


def test_planned_minutes_of_sessions_are_a_plan_where_the_protocol_names_no_minutes(
    three_people, make_protocol
) -> None:
    protocol = make_protocol(training='[training]\nmode = "legs"\nweeks = 4\nsessions_per_week = 3')
    assert np.isnan(at(dose_by_visit(three_people, protocol), "A", "week2")["planned_active_minutes"])
    three_people["sessions"]["planned_minutes"] = 22.0
    dose = dose_by_visit(three_people, protocol)
    assert at(dose, "A", "week2")["planned_active_minutes"] == 6 * 22
    assert np.isnan(at(dose, "B", "week2")["planned_active_minutes"])  # one planned session has no row


def test_a_planned_session_falls_on_the_day_of_its_row(frame, make_protocol) -> None:
    rows = [("A", "s1", 0, "done"), ("A", "s2", 2, "done"), ("A", "s3", 4, "done")]
    tables = {
        "participants": frame("participants", "participant_id", [("A",)]),
        "visits": frame("visits", "participant_id visit visited_day", [("A", "week2", 3)]),
        "sessions": frame("sessions", "participant_id session_id started_day status", rows),
    }
    dose = dose_by_visit(tables, make_protocol()).iloc[0]
    # the even spread would have one session before day 3; two rows lie there, so two were planned there
    assert dose["planned_sessions"] == dose["delivered_sessions"] == 2


@pytest.mark.parametrize(("day", "planned"), [(0, 0), (1, 0), (2, 1), (3, 1), (4, 2), (5, 2), (6, 3), (7, 3), (28, 12)])
def test_part_of_a_week_counts_to_the_nearest_whole_session(frame, make_protocol, day, planned) -> None:
    tables = {
        "participants": frame("participants", "participant_id", [("A",)]),
        "visits": frame("visits", "participant_id visit visited_day", [("A", "week2", day)]),
        "sessions": frame("sessions", "participant_id session_id started_day status", []),
    }
    dose = dose_by_visit(tables, make_protocol()).iloc[0]
    assert dose["planned_sessions"] == planned  # by hand: 3 x day / 7, nearest whole number


def test_half_a_session_a_week_is_one_in_two_weeks(frame, make_protocol) -> None:
    training = '[training]\nmode = "legs"\nweeks = 4\nsessions_per_week = 0.5\nactive_minutes = [30]'
    tables = {
        "participants": frame("participants", "participant_id", [("A",)]),
        "sessions": frame("sessions", "participant_id session_id started_day status", []),
    }
    planned = dose_by_week(tables, make_protocol(training=training))["planned_sessions"]
    assert planned.tolist() == [1, 0, 1, 0]


def test_the_dose_since_the_last_visit_adds_up_to_the_dose_to_the_visit(three_people, make_protocol) -> None:
    whole = at(dose_by_visit(three_people, make_protocol()), "A", "week4")
    parts = dose_by_visit(three_people, make_protocol(cumulate="since last visit"))
    second = at(parts, "A", "week4")
    assert second["delivered_active_minutes"] == 58 + 120
    assert second["window_weeks"] == 2
    assert second["active_minutes_per_week"] == 178 / 2
    mine = parts[parts["participant_id"] == "A"]
    for column in ("planned_sessions", "delivered_sessions", "delivered_active_minutes", "planned_active_minutes"):
        assert mine[column].sum() == whole[column]


def test_a_visit_that_was_missed_is_no_last_visit(three_people, make_protocol) -> None:
    three_people["visits"].loc[1, "status"] = "missed"
    parts = dose_by_visit(three_people, make_protocol(cumulate="since last visit"))
    assert at(parts, "A", "week4")["delivered_active_minutes"] == 278


def test_the_recent_dose_is_that_of_the_last_days(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol(cumulate="recent", recent_days=7)), "A", "week2")
    # by hand: day 14 at 10:30 less 7 days; a04 and a05 lie after that, a03 on day 5 before
    assert dose["delivered_active_minutes"] == 25 + 15
    assert dose["window_weeks"] == 1


def test_a_lag_ends_the_sum_and_the_weeks_before_the_visit(three_people, make_protocol) -> None:
    dose = at(dose_by_visit(three_people, make_protocol(lag_days=7)), "A", "week2")
    assert dose["delivered_active_minutes"] == 60
    assert dose["window_weeks"] == 1
    assert dose["days_since_last_session"] == 4


def test_without_a_plan_nothing_is_planned_and_the_frame_says_so(three_people, make_protocol) -> None:
    del three_people["prescriptions"]
    dose = dose_by_visit(three_people, make_protocol(training=""))
    row = at(dose, "A", "week4")
    assert row["delivered_active_minutes"] == 278
    for column in ("planned_sessions", "planned_active_minutes", "planned_work_kj", "not_recorded_sessions"):
        assert np.isnan(row[column])
    assert dose.attrs["plan"] == "the protocol has no [training] and no prescription names a plan"


def test_prescriptions_alone_are_a_plan_until_the_last_day_on_record(three_people, make_protocol, frame) -> None:
    columns = "participant_id from_day to_day sessions_per_week active_minutes"
    rows = [("A", 0, 13, 3, 20), ("B", 0, np.nan, 3, 20)]
    three_people["prescriptions"] = frame("prescriptions", columns, rows)
    dose = dose_by_visit(three_people, make_protocol(training=""))
    assert at(dose, "A", "week4")["planned_active_minutes"] == 6 * 20
    assert at(dose, "B", "week2")["planned_sessions"] == 6
    assert np.isnan(at(dose, "C", "week2")["planned_sessions"])


def test_without_a_sessions_table_the_frames_are_empty_and_say_why(three_people, make_protocol) -> None:
    del three_people["sessions"]
    for frame in (dose_by_visit(three_people, make_protocol()), dose_by_week(three_people, make_protocol())):
        assert len(frame) == 0
        assert frame.attrs["reason"] == "the study has no sessions table"
    assert "planned_sessions" in dose_by_visit(three_people, make_protocol()).columns


def test_a_session_without_a_day_is_counted_for_no_visit_and_beside(three_people, make_protocol) -> None:
    three_people["sessions"].loc[0, "started_day"] = np.nan
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert dose["delivered_sessions"] == 4
    assert dose["not_recorded_sessions"] == 1
    assert dose["sessions_without_day"] == 1


def test_a_session_whose_state_is_not_on_record_is_neither_delivered_nor_missed(three_people, make_protocol) -> None:
    three_people["sessions"].loc[0, "status"] = np.nan
    dose = at(dose_by_visit(three_people, make_protocol()), "A", "week2")
    assert (dose["delivered_sessions"], dose["missed_sessions"], dose["sessions_without_status"]) == (4, 1, 1)
    assert dose["delivered_active_minutes"] == 80
    assert dose["planned_sessions"] == 6


def test_minutes_written_at_a_missed_session_are_not_delivered(three_people, make_protocol) -> None:
    three_people["sessions"].loc[5, "active_minutes"] = 30.0
    assert at(dose_by_visit(three_people, make_protocol()), "A", "week2")["delivered_active_minutes"] == 100


def test_sessions_before_enrolment_and_after_the_programme_have_weeks_of_their_own(three_people, make_protocol) -> None:
    three_people["sessions"].loc[[0, 11], "started_day"] = [-3.0, 30.0]
    weeks = dose_by_week(three_people, make_protocol())
    a = weeks[weeks["participant_id"] == "A"].set_index("week")
    assert a.index.tolist() == [0, 1, 2, 3, 4, 5]
    assert a["delivered_active_minutes"].tolist() == [20, 40, 40, 58, 90, 30]
    assert a["planned_sessions"].tolist() == [0, 3, 3, 3, 3, 0]
    assert a["sessions_beyond_plan"].tolist() == [1, 0, 0, 0, 0, 1]


def test_weeks_add_up_to_the_visit_at_the_end(three_people, make_protocol) -> None:
    weeks = dose_by_week(three_people, make_protocol())
    visits = dose_by_visit(three_people, make_protocol())
    for column in ("planned_sessions", "delivered_sessions", "planned_active_minutes", "delivered_active_minutes"):
        for person in ("A", "C"):
            assert weeks[weeks["participant_id"] == person][column].sum() == at(visits, person, "week4")[column]


def test_traces_as_the_source_of_the_dose_need_traces(three_people, make_protocol) -> None:
    with pytest.raises(DesignError, match="takes the dose from traces, and the study has none"):
        dose_by_visit(three_people, make_protocol(source="traces"))


def test_with_traces_as_the_source_minutes_and_work_are_theirs(three_people, make_protocol) -> None:
    traces = [("A", "a01", 1200.0, 600.0, 9000.0), ("A", "a03", 1500.0, 660.0, 5000.0)]
    columns = ["participant_id", "session_id", "total_s", "active_s", "recorded_work_j"]
    rows = pd.DataFrame(traces, columns=columns).assign(voluntary_s=0.0, mean_power_w=9.0, mean_cadence_rpm=45.0)
    dose = dose_by_visit({**three_people, "trace_sessions": rows}, make_protocol(source="traces"))
    # by hand: two of the five sessions before week 2 have a trace; the others have no value
    found = at(dose, "A", "week2")
    assert (found["delivered_active_minutes"], found["delivered_work_kj"]) == (10 + 11, 9 + 5)
    assert (found["delivered_sessions"], found["sessions_without_work"]) == (5, 3)
    assert np.isnan(at(dose, "B", "week2")["delivered_active_minutes"])
    assert "dose_from_traces" in rules(make_protocol(source="traces"))


def test_a_table_without_the_column_that_places_its_rows_is_refused(three_people, make_protocol) -> None:
    three_people["sessions"] = three_people["sessions"].drop(columns="started_day")
    with pytest.raises(DataError, match="sessions: expected column 'started_day'"):
        dose_by_visit(three_people, make_protocol())


def test_the_tables_are_left_as_they_were(three_people, make_protocol) -> None:
    before = {name: frame.copy(deep=True) for name, frame in three_people.items()}
    dose_by_visit(three_people, make_protocol())
    dose_by_week(three_people, make_protocol())
    for name, frame in three_people.items():
        pd.testing.assert_frame_equal(frame, before[name])


def test_every_rule_of_a_protocol_has_its_sentence(make_protocol) -> None:
    told = rules(make_protocol(lag_days=3, cumulate="recent", recent_days=7, planned_until="programme end"))
    assert {"dose_lag", "dose_recent", "dose_planned_until_programme_end", "dose_matching"} <= told.keys()
    assert all(METHODS[key] == sentence for key, sentence in told.items())
    assert "dose_lag" not in rules(make_protocol())


def test_every_public_name_exists() -> None:
    assert all(hasattr(outcomes.dose, name) for name in outcomes.dose.__all__)


def test_importing_the_room_loads_no_heavy_library() -> None:
    code = "import sys, outcomes.dose; print([m for m in ('numpy', 'pandas', 'pydantic', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
