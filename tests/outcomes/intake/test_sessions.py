"""Sessions, prescriptions and stimulation: limits, and what one column says about another."""

from __future__ import annotations

import pytest

HEADER = (
    "participant_id,session_id,started_at,status,total_minutes,passive_minutes,active_minutes,work_kj,mean_power_w,"
    "mean_cadence_rpm,distance_km,rpe,rpe_scale"
)


def row(name="s1", day="08", **values):
    cells = {
        "participant_id": "P01",
        "session_id": name,
        "started_at": f"2026-01-{day} 09:00",
        "status": "done",
        "total_minutes": "40",
        "passive_minutes": "5",
        "active_minutes": "30",
        "work_kj": "18",
        "mean_power_w": "10",
        "mean_cadence_rpm": "45",
        "distance_km": "6",
        "rpe": "5",
        "rpe_scale": "0-10",
    }
    return ",".join((cells | values)[column] for column in HEADER.split(","))


def read(room, *rows):
    return room.read({"sessions.csv": room.sessions(*rows, header=HEADER)})


def test_a_plausible_session_has_no_finding(room):
    assert read(room, row()).findings == ()


@pytest.mark.parametrize(
    ("values", "rule", "grade", "column"),
    [
        ({"active_minutes": "1800", "total_minutes": "", "work_kj": ""}, "hard_limit", "set_aside", "active_minutes"),
        ({"total_minutes": "2400"}, "hard_limit", "set_aside", "total_minutes"),
        ({"active_minutes": "45"}, "active_over_total", "set_aside", "active_minutes"),
        ({"passive_minutes": "12"}, "minutes_disagree", "ask", "total_minutes"),
        ({"work_kj": "4.3"}, "work_disagrees", "ask", "work_kj"),
        ({"mean_cadence_rpm": "0"}, "power_without_cadence", "ask", "mean_cadence_rpm"),
        ({"distance_km": "35", "total_minutes": "40"}, "speed", "ask", "distance_km"),
        ({"status": "missed"}, "not_delivered", "ask", None),
        ({"rpe": "11"}, "hard_limit", "set_aside", "rpe"),
        ({"rpe": "5", "rpe_scale": "6-20"}, "hard_limit", "set_aside", "rpe"),
        ({"status": "compl"}, "not_a_word", "set_aside", "status"),
        ({"status": ""}, "required_blank", "ask", "status"),
        ({"started_at": ""}, "required_blank", "ask", "started_at"),
        ({"mean_power_w": "120", "work_kj": "", "rpe": ""}, "soft_limit", "ask", "mean_power_w"),
    ],
)
def test_each_rule_names_its_cell(room, values, rule, grade, column):
    found = room.of_rule(read(room, row(**values)), rule)
    assert found
    assert {(f.grade, f.file, f.row) for f in found} == {(grade, "sessions.csv", 2)}
    assert column is None or [f.column for f in found] == [column]


def test_seconds_in_a_column_of_minutes_are_named(room):
    finding = room.only(read(room, row(active_minutes="1800", total_minutes="", work_kj="")), "hard_limit")
    assert finding.expected == "0 to 180 min; 1800 would fit s"


def test_work_in_kilocalories_is_named(room):
    # 18 kJ are 4.302 kcal: 1 kcal is 4.184 kJ by definition.
    assert "kcal would fit" in room.only(read(room, row(work_kj="4.3")), "work_disagrees").expected


def test_work_within_a_tenth_of_power_and_time_is_accepted(room):
    # 10 W for 30 min is 18 kJ; a tenth of it is 1.8 kJ.
    assert read(room, row(work_kj="19.7")).findings == ()
    assert room.of_rule(read(room, row(work_kj="19.9")), "work_disagrees")


def test_a_session_longer_than_four_hours_is_set_aside(room):
    finding = room.only(read(room, row(total_minutes="250")), "hard_limit")
    assert (finding.grade, finding.column, finding.expected) == ("set_aside", "total_minutes", "0 to 240 min")


def test_two_sessions_at_the_same_moment_are_asked_about_with_both_rows(room):
    intake = read(room, row("s1"), row("s2"))
    finding = room.only(intake, "same_start")
    assert (finding.grade, finding.row) == ("ask", 3)
    assert "row 2" in finding.expected


def test_a_session_exported_twice_is_a_duplicate(room):
    intake = read(room, row("s1"), row("s1"))
    assert intake.findings == ()
    assert room.count(intake, "sessions", "duplicates") == 1


def test_many_sessions_a_week_are_asked_about(room):
    days = ["05", "06", "07", "08", "09", "10"]
    intake = read(room, *(row(f"s{i}", day) for i, day in enumerate(days)))
    finding = room.only(intake, "sessions_per_week")
    assert (finding.grade, finding.expected) == ("ask", "usually at most 5 a week; there are 6")


@pytest.mark.parametrize(
    ("column", "value", "rule", "grade", "says"),
    [
        ("current_ma", "120000", "hard_limit", "set_aside", "120000 would fit uA"),
        ("pulse_width_us", "0.3", "unit_slip", "ask", "0.3 would fit ms"),
        ("current_ma", "1250", "hard_limit", "set_aside", "0 to 200 mA"),
    ],
)
def test_units_of_stimulation_that_slipped_are_named(room, column, value, rule, grade, says):
    text = f"participant_id,from_on,{column}\nP01,2026-01-05,{value}\n"
    finding = room.only(room.read({"prescriptions.csv": text}), rule)
    assert (finding.grade, finding.row, finding.column) == (grade, 2, column)
    assert says in finding.expected


def test_percent_of_the_maximum_in_place_of_milliampere_is_asked_about(room):
    head = "participant_id,session_id,channel,segment,current_ma,pulse_width_us,frequency_hz\n"
    percent = [f"P01,s1,{i},1,{100 if i % 3 == 0 else 60 + i},300,35" for i in range(1, 13)]
    milliampere = [f"P02,s1,{i},1,{60 + 4 * i},300,35" for i in range(1, 13)]
    text = head + "\n".join([*milliampere, *percent]) + "\n"
    finding = room.only(room.read({"sessions.csv": room.sessions(room.GOOD_SESSION), "stimulation.csv": text}),
                        "percent_of_maximum")  # fmt: skip
    assert (finding.grade, finding.file, finding.row, finding.column) == ("ask", "stimulation.csv", 14, "current_ma")
    assert finding.expected.startswith("mA; ")
    assert finding.expected.endswith("(12 rows of this person)")


def test_current_without_pulse_width_is_asked_about(room):
    text = "participant_id,session_id,channel,segment,current_ma,pulse_width_us,frequency_hz\nP01,s1,1,1,80,0,35\n"
    intake = room.read({"sessions.csv": room.sessions(room.GOOD_SESSION), "stimulation.csv": text})
    assert room.where(intake, "no_stimulation") == ("ask", "stimulation.csv", 2, "pulse_width_us")


@pytest.mark.parametrize(
    ("header", "cells", "rule", "column"),
    [
        ("age_years,months_since_onset", "40,500", "onset_before_birth", "months_since_onset"),
        ("height_cm,body_mass_kg", "200,45", "mass_and_height", "body_mass_kg"),
        ("left_on", "2025-01-01", "left_before_enrolment", "left_on"),
        ("ais_grade", "E", "unusual", "ais_grade"),
    ],
)
def test_what_one_column_of_participants_says_about_another(room, header, cells, rule, column):
    blanks = "," * cells.count(",")
    people = f"participant_id,enrolled_on,{header}\nP01,2026-01-05,{cells}\nP02,2026-01-05,{blanks}\n"
    intake = room.read({"participants.csv": people})
    assert room.where(intake, rule) == ("ask", "participants.csv", 2, column)


def test_a_segment_that_does_not_exist_is_set_aside(room):
    people = "participant_id,enrolled_on,neurological_level\nP01,2026-01-05,C9\nP02,2026-01-05,T12\n"
    intake = room.read({"participants.csv": people})
    assert room.where(intake, "level") == ("set_aside", "participants.csv", 2, "neurological_level")


def test_usual_power_follows_the_persons_condition(room):
    people = (
        "participant_id,enrolled_on,condition,ais_grade\n"
        "P01,2026-01-05,spinal_cord_injury,A\nP02,2026-01-05,multiple_sclerosis,\n"
    )
    rows = [row(mean_power_w="50", work_kj="90"), row(mean_power_w="50", work_kj="90").replace("P01", "P02")]
    intake = room.read({"participants.csv": people, "sessions.csv": room.sessions(*rows, header=HEADER)})
    finding = room.only(intake, "soft_limit")
    assert (finding.row, finding.column) == (2, "mean_power_w")
    assert finding.expected.startswith("usually 0 to 35 W")
