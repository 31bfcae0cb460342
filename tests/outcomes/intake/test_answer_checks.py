"""Answers that contradict each other: sides, visits, raters, units, last digits, a scale turned round."""

from __future__ import annotations

import pytest

from outcomes.intake import read_folder
from outcomes.measures import Catalogue
from protocols import packaged_path, read_protocol

HEADER = "participant_id,visit,measure,place,side,item,trial,response,assessed_at,rater"
DAYS = {"week0": "2026-01-06", "week4": "2026-02-03", "week16": "2026-04-28"}


@pytest.fixture
def check(tmp_path):
    """Read answers under the packaged protocol and its catalogue; return the findings of a rule."""

    def rows_of(rule, *rows, people=12):
        names = [f"P{i:02d}" for i in range(1, people + 1)]
        (tmp_path / "participants.csv").write_text(
            "participant_id,enrolled_on\n" + "".join(f"{name},2026-01-05\n" for name in names), encoding="utf-8"
        )
        (tmp_path / "assessments.csv").write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")
        protocol = read_protocol(packaged_path("leg_cycling_16_weeks"))
        intake = read_folder(tmp_path, protocol, Catalogue.packaged())
        return [finding for finding in intake.findings if finding.rule == rule]

    return rows_of


def girth(visit, side, value, person="P01", rater="R1"):
    return f"{person},{visit},limb_girth,mid_thigh,{side},reading,1,{value},{DAYS[visit]},{rater}"


def test_sides_that_differ_more_than_usual_are_asked_about(check):
    rows = [girth("week0", "left", 48), girth("week0", "right", 51.5), girth("week0", "left", 48, "P02")]
    [finding] = check("side_difference", *rows, girth("week0", "right", 50.9, "P02"))
    assert (finding.grade, finding.row, finding.column) == ("ask", 2, "response")
    assert "at most 3 cm; left 48 and right 51.5 at week0" in finding.expected


def test_a_change_that_four_weeks_do_not_bring_is_asked_about_and_one_over_months_is_not(check):
    rows = [girth("week0", "left", 48), girth("week4", "left", 52), girth("week16", "left", 57)]
    [finding] = check("jump", *rows)
    assert finding.row == 3
    assert "usually -2.5 to 3 cm since week0" in finding.expected  # limits.toml: the plausible change in four weeks
    assert "it was 48 and is 52" in finding.expected


def test_sides_that_fit_the_other_way_round_are_asked_about(check):
    rows = [girth(visit, side, value) for visit, left, right in (("week0", 46, 48.8), ("week4", 48.9, 46.1))
            for side, value in (("left", left), ("right", right))]  # fmt: skip
    [finding] = check("sides_swapped", *rows)
    assert finding.row == 4
    assert "now left 48.9, right 46.1, which would fit the other way round" in finding.expected
    assert not check("sides_swapped", *rows[:2], girth("week4", "left", 46.3), girth("week4", "right", 49))


def test_another_rater_at_the_second_visit_is_asked_about_once(check):
    rows = [girth(visit, "left", 48, person, rater) for person, second in (("P01", "R2"), ("P02", "R1"), ("P03", "R3"))
            for visit, rater in (("week0", "R1"), ("week16", second))]  # fmt: skip
    [finding] = check("rater_changed", *rows)
    assert (finding.row, finding.column) == (3, "rater")
    assert "limb_girth 2 of 3" in finding.expected


def test_a_mixture_of_units_is_asked_about_once_besides_its_cells(check):
    rows = [girth("week0", "left", 17.5 if i < 3 else 46, f"P{i + 1:02d}") for i in range(10)]
    [finding] = check("unit_mixture", *rows)
    assert "3 of 10 values would fit inches (in)" in finding.expected
    assert len(check("unit_slip", *rows)) == 3


@pytest.mark.parametrize(("step", "asked"), [(0.5, True), (0.1, False)])
def test_readings_that_end_in_0_or_5_far_too_often_are_asked_about(check, step, asked):
    rows = [girth(visit, side, round(44 + (i % 7) * step + 0.5, 1), f"P{i + 1:02d}")
            for i in range(12) for visit in ("week0", "week4") for side in ("left", "right")]  # fmt: skip
    assert bool(check("digit_preference", *rows)) is asked


def test_a_scale_at_whose_best_end_all_begin_may_be_turned_round(check):
    def tone(grade):
        return [f"P{i:02d},week0,mas,knee_extensors,{side},grade,,{grade},2026-01-06,R1"
                for i in range(1, 11) for side in ("left", "right")]  # fmt: skip

    [finding] = check("direction", *tone("0"))
    assert "for mas lower is better" in finding.expected
    assert "100% of 10 people are in the best fifth of 0 to 5" in finding.expected
    assert not check("direction", *tone("2"))


def test_a_session_exported_twice_with_another_start_is_asked_about(room):
    header = "participant_id,session_id,started_at,status,total_minutes,active_minutes,work_kj"
    rows = ["P01,s1,2026-01-08 09:00,done,40,30,20", "P01,s2,2026-01-08 09:02,done,40,30,20",
            "P01,s3,2026-01-09 09:00,done,40,30,20"]  # fmt: skip
    finding = room.only(room.read({"sessions.csv": room.sessions(*rows, header=header)}), "same_numbers")
    assert (finding.grade, finding.row) == ("ask", 3)
    assert "row 2 on the same day: exported twice?" in finding.expected


def test_work_in_joules_is_recognised_from_power_and_minutes(room):
    header = "participant_id,session_id,started_at,status,active_minutes,mean_power_w,work_kj"
    row = "P01,s1,2026-01-08 09:00,done,30,10,18000"
    intake = room.read({"sessions.csv": room.sessions(row, header=header)}, intake='on_error = "set_aside"')
    assert "would fit J" in room.only(intake, "hard_limit").expected


def test_what_a_clinician_should_see_stands_apart_from_errors(room):
    people = "participant_id,enrolled_on,neurological_level\nP01,2026-01-05,T4\nP02,2026-01-05,T10\n"
    header = "participant_id,session_id,started_at,status,total_minutes,active_minutes,work_kj,mean_heart_rate_bpm"
    rows = [f"{person},s{i},2026-01-0{8 + i} 09:00,done,40,30,20,{rate}"
            for i, (person, rate) in enumerate([("P01", 47), ("P02", 47)])]  # fmt: skip
    events = "participant_id,event_id,occurred_on,kind,severity,relatedness\n"
    events += (
        "P01,e1,2026-02-01,fall,severe,none\nP02,e2,2026-02-02,skin,mild,definite\nP02,e3,2026-02-03,cold,mild,none\n"
    )
    stimulation = "participant_id,session_id,channel,current_ma,pulse_width_us,frequency_hz,electrode_area_cm2\n"
    stimulation += "P01,s0,1,140,500,60,10\nP01,s0,2,60,300,35,80\n"
    intake = room.read({
        "participants.csv": people, "sessions.csv": room.sessions(*rows, header=header), "events.csv": events,
        "stimulation.csv": stimulation,
    })  # fmt: skip
    told = [(one.participant_id, one.file, one.row, one.column) for one in intake.review]
    assert told == [
        ("P01", "events.csv", 2, "severity"),
        ("P01", "stimulation.csv", 2, "current_ma"),  # 140 mA x sqrt(500 us x 60 Hz) / 10 cm2 = 2.42, by hand
        ("P02", "events.csv", 3, "relatedness"),
        ("P02", "sessions.csv", 3, "mean_heart_rate_bpm"),  # 45 bpm is the lower limit from T6 upwards
    ]
    assert intake.review[1].value == "2.425"
    assert {one.wording for one in intake.review} == {"for clinical review"}
