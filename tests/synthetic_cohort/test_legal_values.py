"""Undamaged, every cell is one that the gym could have meant: words, limits, dates, codes."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from outcomes.vocabulary import ABSENT_WORDS, TABLES

# Hard limits: (low, high), from the project's table of plausibility limits; its basis is in brackets.
HARD = {
    "current_ma": (0, 200),  # studies 0 to 180 mA (van der Scheer 2021, Table 4)
    "pulse_width_us": (0, 1000),  # studies 200 to 500 us (same table); limit from memory
    "frequency_hz": (0, 150),  # studies 20 to 60 Hz (same table)
    "cadence_rpm": (0, 100),  # studies 10 to 60 rpm (same table)
    "mean_cadence_rpm": (0, 100),
    "mean_power_w": (-50, 300),  # common practice, no source
    "peak_power_w": (-50, 600),  # common practice, no source
    "active_minutes": (0, 180),  # sessions up to 100 min reported
    "planned_minutes": (0, 180),
    "passive_minutes": (0, 60),  # common practice, no source
    "total_minutes": (0, 240),  # up to 90 min in a registered trial
    "work_kj": (-50, 500),  # 35 W for 60 min are 126 kJ
    "rpe": (0, 10),  # by definition of the scale
    "mean_heart_rate_bpm": (30, 230),  # common practice, no source
    "age_years": (18, 110),  # adults
    "height_cm": (80, 230),  # common practice, no source
    "body_mass_kg": (20, 300),  # common practice, no source
    "sessions_per_week": (0, 14),  # studies 2 to 5 a week
}

GRADES = {"0", "1", "1+", "2", "3", "4"}  # Bohannon & Smith 1987
LIMITS = {"limb_girth": (10, 100), "tenmwt": (3, 1200)}  # cm; s: common practice, no source
SCIM3_MAXIMA = {  # Itzkovich 2007: subscale maxima 20, 40 and 40
    "self_care": (20, ("feeding", "bathing_upper", "bathing_lower", "dressing_upper", "dressing_lower", "grooming")),
    "respiration_sphincter": (40, ("respiration", "bladder", "bowel", "toilet_use")),
    "mobility": (
        40,
        (
            "bed_mobility",
            "transfer_bed_wheelchair",
            "transfer_wheelchair_toilet",
            "mobility_indoors",
            "mobility_moderate_distance",
            "mobility_outdoors",
            "stairs",
            "transfer_wheelchair_car",
            "transfer_ground_wheelchair",
        ),
    ),
}


def test_closed_words_and_whole_numbers(cohort: Any) -> None:
    for name, rows in cohort.tables.items():
        for column in TABLES[name].columns:
            found = {row[column.name] for row in rows if row.get(column.name)}
            if column.kind == "word":
                assert found <= set(column.words), (name, column.name)
            if column.kind in ("number", "integer"):
                assert all(float(text) >= 0 for text in found), (name, column.name)


@pytest.mark.parametrize("column", sorted(HARD))
def test_numbers_lie_within_hard_limits(cohort: Any, column: str) -> None:
    found = [float(row[column]) for rows in cohort.tables.values() for row in rows if row.get(column)]
    low, high = HARD[column]
    assert found
    assert all(low <= value <= high for value in found)


def test_nobody_was_injured_before_they_were_born(cohort: Any) -> None:
    for row in cohort.tables["participants"]:
        assert float(row["months_since_onset"]) / 12 <= float(row["age_years"])
        assert bool(row["neurological_level"]) == bool(row["ais_grade"]) == (row["condition"] == "spinal_cord_injury")


def test_every_day_and_moment_is_one(cohort: Any) -> None:
    for name, rows in cohort.tables.items():
        for column in TABLES[name].columns:
            texts = [row[column.name] for row in rows if row.get(column.name)]
            if column.kind == "date":
                assert all(date.fromisoformat(text).isoformat() == text for text in texts)
            if column.kind == "moment":
                assert all(datetime.strptime(text, "%Y-%m-%d %H:%M") for text in texts)


def test_nothing_happens_before_enrolment_or_after_leaving(cohort: Any) -> None:
    people = {row["participant_id"]: row for row in cohort.tables["participants"]}
    moments = {"sessions": "started_at", "visits": "visited_at", "assessments": "assessed_at", "repeats": "assessed_at"}
    moments |= {"events": "occurred_on", "changes": "changed_on", "prescriptions": "to_on"}
    for table, column in moments.items():
        for row in cohort.tables[table]:
            person = people[row["participant_id"]]
            if row[column]:
                assert row[column][:10] >= person["enrolled_on"]
                assert not person["left_on"] or row[column][:10] < person["left_on"]


def test_parts_of_a_session_fit_together(cohort: Any) -> None:
    for row in cohort.tables["sessions"]:
        if row["status"] in ("missed", "cancelled"):
            assert row["reason"]
            assert not row["active_minutes"]
            assert not row["work_kj"]
            continue
        active = float(row["active_minutes"])
        parts = sum(float(row[f"{part}_minutes"]) for part in ("passive", "ramp", "cooldown"))
        assert float(row["total_minutes"]) == pytest.approx(active + parts, abs=1e-9)
        assert active <= float(row["planned_minutes"])
        assert bool(row["reason"]) == (row["status"] == "shortened")
        if row["work_kj"]:
            mean = float(row["mean_power_w"])
            # power is printed to 0.1 W and work to 0.1 kJ
            assert float(row["work_kj"]) == pytest.approx(mean * active * 0.06, abs=0.05 + 0.05 * active * 0.06 + 1e-9)
            assert float(row["left_power_w"]) + float(row["right_power_w"]) == pytest.approx(mean, abs=0.1501)


def _answers(cohort: Any, measure: str) -> list[dict[str, str]]:
    both = cohort.tables["assessments"] + cohort.tables["repeats"]
    return [row for row in both if row["measure"] == measure]


def test_an_answer_is_given_or_its_absence_explained(cohort: Any) -> None:
    for row in cohort.tables["assessments"] + cohort.tables["repeats"]:
        assert bool(row["response"]) != bool(row["absent_because"])
        assert row["absent_because"] in ("", *ABSENT_WORDS)


def test_girths_are_two_readings_of_both_sides_and_a_third_where_these_differ(cohort: Any) -> None:
    readings: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for row in _answers(cohort, "limb_girth"):
        assert row["item"] == "reading"
        assert row["place"] in ("mid_thigh", "calf_max")
        assert row["side"] in ("left", "right")
        if row["response"]:
            key = tuple(row.get(c, "") for c in ("participant_id", "visit", "occasion", "place", "side"))
            readings[key].append(row["response"])
            assert int(row["trial"]) == len(readings[key])
    assert {len(texts) for texts in readings.values()} == {2, 3}
    for texts in readings.values():
        values = [float(text) for text in texts]
        assert all(LIMITS["limb_girth"][0] <= value <= LIMITS["limb_girth"][1] for value in values)
        assert all(len(text.partition(".")[2]) <= 1 for text in texts)
        assert (len(values) == 3) == (round(abs(values[0] - values[1]), 9) > 0.5)


def test_tone_is_graded_on_four_muscles(cohort: Any) -> None:
    rows = _answers(cohort, "mas")
    assert {row["response"] for row in rows if row["response"]} == GRADES
    assert {row["item"] for row in rows} == {"grade"}
    assert {(row["place"], row["side"]) for row in rows} == {
        (place, side) for place in ("knee_extensors", "knee_flexors") for side in ("left", "right")
    }


def test_severity_of_spasms_is_asked_only_where_there_are_any(cohort: Any) -> None:
    given: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for row in _answers(cohort, "psfs"):
        given[row["participant_id"], row["visit"]][row["item"]] = row["response"]
    assert {answers.get("frequency") for answers in given.values()} == {"", "0", "1", "2", "3", "4"}
    for answers in given.values():
        assert ("severity" in answers) == (answers["frequency"] not in ("", "0"))
        assert answers.get("severity", "1") in ("1", "2", "3")


def test_independence_has_all_19_items_and_only_grades_that_exist(cohort: Any) -> None:
    by_item: dict[str, set[int]] = defaultdict(set)
    sittings: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in _answers(cohort, "scim3"):
        by_item[row["item"]].add(int(row["response"]))
        sittings[row["participant_id"], row.get("visit", "") + row.get("occasion", "")].add(row["item"])
    names = {item for _, items in SCIM3_MAXIMA.values() for item in items}
    assert set(by_item) == names
    assert all(items == names for items in sittings.values())
    assert by_item["bladder"] <= {0, 3, 6, 9, 11, 13, 15}
    assert by_item["respiration"] <= {0, 2, 4, 6, 8, 10}
    assert by_item["bowel"] <= {0, 5, 8, 10}
    assert by_item["toilet_use"] <= {0, 1, 2, 4, 5}
    assert by_item["bed_mobility"] <= {0, 2, 4, 6}


def test_grades_of_independence_sum_to_the_published_maxima() -> None:
    from synthetic_cohort.answers import SCIM3_CODES

    for top, items in SCIM3_MAXIMA.values():
        assert sum(max(SCIM3_CODES[item]) for item in items) == top


def test_who_cannot_walk_is_unable_and_never_0(cohort: Any) -> None:
    walks = {name: person["walks"] for name, person in cohort.people().items()}
    for row in _answers(cohort, "tenmwt"):
        assert row["item"] in ("pace", "start", "device", "distance_timed", "time")
        if row["item"] == "time":
            assert (row["absent_because"] == "unable") is not walks[row["participant_id"]]
            if row["response"]:
                assert LIMITS["tenmwt"][0] <= float(row["response"]) <= LIMITS["tenmwt"][1]
    assert {walks[row["participant_id"]] for row in _answers(cohort, "tenmwt")} == {True, False}


def test_satisfaction_is_five_answers_from_1_to_7(cohort: Any) -> None:
    rows = _answers(cohort, "swls")
    assert {row["item"] for row in rows} == {f"swls_{n}" for n in range(1, 6)}
    assert {"", "2", "6"} <= {row["response"] for row in rows} <= {"", *"1234567"}


def test_the_first_visit_lies_before_the_first_session(cohort: Any) -> None:
    first = {r["participant_id"]: r["visited_at"] for r in cohort.tables["visits"] if r["visit"] == "week0"}
    assert len(first) == len(cohort.tables["participants"])
    for row in cohort.tables["sessions"]:
        assert first[row["participant_id"]] < row["started_at"]


def test_visits_lie_in_their_windows_and_mostly_a_day_after_the_last_session(cohort: Any) -> None:
    from protocols import read_protocol

    windows = {v.key: (v.week, v.window_days) for v in read_protocol(cohort.folder / "protocol.toml").visits}
    enrolled = {row["participant_id"]: row["enrolled_on"] for row in cohort.tables["participants"]}
    for row in cohort.tables["visits"]:
        assert (row["status"] == "missed") == (not row["visited_at"]) == bool(row["reason"])
        if row["visited_at"]:
            week, (before, after) = windows[row["visit"]]
            planned = date.fromisoformat(enrolled[row["participant_id"]]) + timedelta(weeks=week)
            assert -before <= (date.fromisoformat(row["visited_at"][:10]) - planned).days <= after
    hours = [
        visit["hours_since_last_session"]
        for person in cohort.truth["people"]
        for visit in person["visits"].values()
        if visit["hours_since_last_session"] is not None
    ]
    assert 0 < sum(h < 24 for h in hours) / len(hours) < 0.15
    assert min(hours) > 0
