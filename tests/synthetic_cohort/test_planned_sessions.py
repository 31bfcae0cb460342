"""Every planned session is in the table or counted as not recorded, and the table adds up to the truth."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date
from typing import Any

import pytest

DELIVERED = ("done", "shortened")


def _by_person(cohort: Any) -> dict[str, list[dict[str, str]]]:
    rows: dict[str, list[dict[str, str]]] = defaultdict(list)
    for row in cohort.tables["sessions"]:
        rows[row["participant_id"]].append(row)
    return rows


def _planned_days(cohort: Any, name: str) -> int:
    """Days of the programme for which a person is planned: until leaving, or to its end."""
    left = cohort.people()[name]["left_day"]
    return 16 * 7 if left is None else min(left, 16 * 7)


def test_planned_sessions_are_those_of_the_prescriptions(cohort: Any) -> None:
    weekly: dict[str, set[int]] = defaultdict(set)
    for row in cohort.tables["prescriptions"]:
        weekly[row["participant_id"]].add(int(row["sessions_per_week"]))
    for name, person in cohort.people().items():
        (per_week,) = weekly[name]
        assert person["planned_sessions"] == per_week * _planned_days(cohort, name) / 7


def test_rows_and_sessions_not_recorded_are_all_that_was_planned(cohort: Any) -> None:
    rows = _by_person(cohort)
    for name, person in cohort.people().items():
        assert len(rows[name]) + person["not_recorded_sessions"] == person["planned_sessions"]
    assert sum(person["not_recorded_sessions"] for person in cohort.truth["people"]) > 0


def test_a_session_that_was_held_is_always_recorded_and_sums_to_the_truth(cohort: Any) -> None:
    rows = _by_person(cohort)
    for name, person in cohort.people().items():
        held = [row for row in rows[name] if row["status"] in DELIVERED]
        assert len(held) == person["delivered_sessions"]
        minutes = sum(float(row["active_minutes"]) for row in held)
        assert minutes == pytest.approx(person["delivered_active_minutes"], abs=1e-6)
        known = [float(row["work_kj"]) for row in held if row["work_kj"]]
        assert sum(known) <= person["delivered_work_kj"] + 1e-6
        if len(known) == len(held):
            assert sum(known) == pytest.approx(person["delivered_work_kj"], abs=1e-6)


def test_weeks_hold_no_more_sessions_than_planned(cohort: Any) -> None:
    enrolled = {row["participant_id"]: date.fromisoformat(row["enrolled_on"]) for row in cohort.tables["participants"]}
    weeks = Counter(
        (
            row["participant_id"],
            (date.fromisoformat(row["started_at"][:10]) - enrolled[row["participant_id"]]).days // 7,
        )
        for row in cohort.tables["sessions"]
    )
    per_week = {row["participant_id"]: int(row["sessions_per_week"]) for row in cohort.tables["prescriptions"]}
    assert all(many <= per_week[name] for (name, _), many in weeks.items())


def test_prescriptions_follow_one_another_without_gap_to_leaving_or_the_end(cohort: Any) -> None:
    spans: dict[str, list[tuple[date, date]]] = defaultdict(list)
    for row in cohort.tables["prescriptions"]:
        spans[row["participant_id"]].append((date.fromisoformat(row["from_on"]), date.fromisoformat(row["to_on"])))
    for name, person in cohort.people().items():
        days = [(after[0] - before[1]).days for before, after in zip(spans[name], spans[name][1:], strict=False)]
        assert set(days) <= {1}
        assert (spans[name][-1][1] - spans[name][0][0]).days + 1 == _planned_days(cohort, name)
        assert person["planned_sessions"] > 0


def test_planned_minutes_of_a_session_are_the_protocols_or_the_prescribed_ones(cohort: Any) -> None:
    ramp = [20, 22.5, 25, 27.5, 30, 32.5, 35, 37.5, 40, 42.5, 45]  # the packaged protocol's minutes by week
    prescribed = {row["participant_id"] for row in cohort.tables["prescriptions"] if row["active_minutes"]}
    enrolled = {row["participant_id"]: date.fromisoformat(row["enrolled_on"]) for row in cohort.tables["participants"]}
    assert prescribed
    for row in cohort.tables["sessions"]:
        name = row["participant_id"]
        week = (date.fromisoformat(row["started_at"][:10]) - enrolled[name]).days // 7
        planned = ramp[min(week, len(ramp) - 1)]
        assert float(row["planned_minutes"]) in (planned, min(planned, 30))
        if name not in prescribed and week >= 8:
            assert float(row["planned_minutes"]) == planned


def test_times_of_a_visit_say_what_was_trained_before_it(cohort: Any) -> None:
    rows = _by_person(cohort)
    moments = {(row["participant_id"], row["visit"]): row["visited_at"] for row in cohort.tables["visits"]}
    for name, person in cohort.people().items():
        for key, visit in person["visits"].items():
            if moments.get((name, key)):
                before = [r for r in rows[name] if r["status"] in DELIVERED and r["started_at"] < moments[name, key]]
                assert len(before) == visit["delivered_sessions"]
