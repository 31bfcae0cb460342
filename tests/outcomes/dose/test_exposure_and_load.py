"""Stimulation exposure segment by segment, internal load, guideline weeks, programme counts and FITT; by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import outcomes.dose
from outcomes.dose import (
    dose_by_mode,
    dose_by_visit,
    dose_windows,
    fitt,
    heart_rate_load,
    limit_lines,
    met_minutes,
    programme_counts,
    session_rpe_load,
    stimulation_by_channel,
    stimulation_by_session,
    weeks_meeting_guidelines,
)
from outcomes.errors import DesignError

COLUMNS = (
    "participant_id session_id channel segment from_s to_s muscle side current_ma pulse_width_us frequency_hz phases "
    "electrode_area_cm2 duty_fraction"
)
NAN = math.nan
THIRD = 1 / 3


def six_channels(seconds=1800.0):
    return [("P", "S", c, 1, 0.0, seconds, "quadriceps", "left", 140, 300, 35, 2, 45, THIRD) for c in range(1, 7)]


def test_a_session_of_six_channels(frame) -> None:
    # 0.882 C per channel, 5.292 C together, 10.584 C both phases, 0 net: definition, to 1e-4
    channels = stimulation_by_channel(frame("stimulation", COLUMNS, six_channels()))
    assert channels["charge_stimulating_phase_c"].tolist() == pytest.approx([0.882] * 6, abs=1e-4)
    assert channels["net_charge_c"].tolist() == [0.0] * 6
    assert channels["pulses"].tolist() == pytest.approx([21000] * 6)
    assert channels["peak_charge_density_uc_cm2"].tolist() == pytest.approx([0.933333] * 6, abs=1e-6)
    session = stimulation_by_session(channels).iloc[0]
    assert session["charge_stimulating_phase_c"] == pytest.approx(5.292, abs=1e-4)
    assert session["charge_both_phases_c"] == pytest.approx(10.584, abs=1e-4)
    assert session["peak_energy_per_pulse_mj"] == pytest.approx(5.88)


def test_a_current_that_is_stepped_up_counts_as_it_was(frame) -> None:
    rows = [
        ("P", "S", 1, 1, 0.0, 600.0, "quadriceps", "left", 70, 300, 35, 1, 45, THIRD),
        ("P", "S", 1, 2, 600.0, 1800.0, "quadriceps", "left", 140, 300, 35, 1, 45, THIRD),
    ]
    channel = stimulation_by_channel(frame("stimulation", COLUMNS, rows)).iloc[0]
    # a third of the time at half the current: 5/6 of the charge at the maximum throughout
    assert channel["charge_stimulating_phase_c"] == pytest.approx(0.882 * 5 / 6, abs=1e-4)
    assert channel["mean_current_ma"] == pytest.approx((70 * 600 + 140 * 1200) / 1800)
    assert channel["peak_current_ma"] == 140
    assert math.isnan(channel["charge_both_phases_c"])


@pytest.mark.parametrize(
    ("place", "missing", "kept", "reason"),
    [
        (9, ["charge_stimulating_phase_c", "peak_charge_per_phase_uc"], ["pulses"], "pulse_width_us"),
        (12, ["peak_charge_density_uc_cm2", "peak_rms_density_ma_cm2"], ["charge_stimulating_phase_c"], "electrode"),
        (11, ["peak_rms_current_ma", "charge_both_phases_c"], ["charge_stimulating_phase_c"], "phases"),
        (13, ["charge_stimulating_phase_c", "pulses"], ["peak_rms_current_ma"], "duty_fraction"),
        (5, ["charge_stimulating_phase_c"], ["peak_rms_current_ma"], "from_s and to_s"),
    ],
)
def test_a_setting_that_is_missing_is_never_assumed(frame, place, missing, kept, reason) -> None:
    row = list(six_channels()[0])
    row[place] = NAN
    channel = stimulation_by_channel(frame("stimulation", COLUMNS, [row])).iloc[0]
    assert all(math.isnan(channel[name]) for name in missing)
    assert all(channel[name] > 0 for name in kept)
    assert reason in channel["reason"]


def test_a_channel_without_times_runs_for_the_active_minutes_of_its_session(frame) -> None:
    row = [*six_channels()[0][:4], NAN, NAN, *six_channels()[0][6:]]
    sessions = frame("sessions", "participant_id session_id status active_minutes", [("P", "S", "done", 30)])
    channel = stimulation_by_channel(frame("stimulation", COLUMNS, [row]), sessions).iloc[0]
    assert channel["charge_stimulating_phase_c"] == pytest.approx(0.882, abs=1e-4)


def test_the_charge_is_a_dose_of_its_own_and_never_planned(three_people, make_protocol, frame) -> None:
    rows = [("A", f"a0{i}", 1, 1, 0.0, 1800.0, "quadriceps", "left", 140, 300, 35, 2, 45, THIRD) for i in (1, 2, 3)]
    rows[2] = (*rows[2][:9], NAN, *rows[2][10:])
    three_people["stimulation"] = frame("stimulation", COLUMNS, rows)
    found = dose_by_visit(three_people, make_protocol()).set_index(["participant_id", "visit"]).loc[("A", "week2")]
    # 0.882 C in each of two sessions; of the other three before week 2 no charge is known
    assert found["delivered_charge_c"] == pytest.approx(2 * 0.882, abs=1e-6)
    assert found["sessions_without_charge"] == 3
    assert math.isnan(found["planned_charge_c"])


def test_channels_without_a_charge_are_counted_beside_the_sum(frame) -> None:
    rows = six_channels()
    rows[0] = (*rows[0][:9], NAN, *rows[0][10:])
    session = stimulation_by_session(stimulation_by_channel(frame("stimulation", COLUMNS, rows))).iloc[0]
    assert (session["channels"], session["channels_without_charge"]) == (6, 1)
    assert session["charge_stimulating_phase_c"] == pytest.approx(5 * 0.882, abs=1e-3)
    assert math.isnan(session["peak_rms_density_ma_cm2"])


def test_limits_are_facts_with_a_source_and_nothing_says_that_a_setting_is_safe(frame) -> None:
    rows = [*six_channels(), ("P", "S", 7, 1, 0.0, 60.0, "biceps", "left", 180, 1000, 100, 2, 20, THIRD)]
    lines = limit_lines(stimulation_by_channel(frame("stimulation", COLUMNS, rows)))
    # 180 mA x sqrt(2 x 1000 us x 100 Hz) / 20 cm2 = 4.02 mA/cm2, by hand
    assert "IEC 60601-2-10" in lines[0]
    assert "Above it: 1 of 7 channels" in lines[0]
    assert "Above it: 0 of 7 channels" in lines[1]
    assert all("not whether a setting is safe" in line for line in lines)
    folder = Path(outcomes.dose.__file__).parent
    texts = " ".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    assert texts.count("is safe") == texts.count("says that a setting is safe") + texts.count(
        "whether a setting is safe"
    )


def test_exertion_load_keeps_its_scale() -> None:
    assert session_rpe_load(4, 30, scale="0-10") == 120
    with pytest.raises(DesignError, match="exertion 12 is not on the scale 0-10"):
        session_rpe_load(12, 30, scale="0-10")
    assert met_minutes(2, 30) == 60


@pytest.mark.parametrize(("level", "says"), [("C5", "at or above T6"), ("T6", "at or above T6"), ("", "not known")])
def test_a_heart_rate_load_needs_a_measured_peak(level, says) -> None:
    with pytest.raises(DesignError, match=says):
        heart_rate_load(30, 100, rest_bpm=70, peak_bpm=180, peak="predicted", sex="male", level=level)
    with pytest.raises(DesignError, match="measured peak; a predicted one misleads"):
        heart_rate_load(30, 100, rest_bpm=70, peak_bpm=180, peak="predicted", sex="male", level="T10")
    # 30 x 0.5 x 0.64 x exp(0.96), by hand; weights from memory
    found = heart_rate_load(30, 100, rest_bpm=70, peak_bpm=130, peak="measured", sex="male", level=level)
    assert found == pytest.approx(30 * 0.5 * 0.64 * math.exp(0.96))


def test_weeks_that_meet_the_guidelines(three_people, make_protocol) -> None:
    found = weeks_meeting_guidelines(three_people, make_protocol()).set_index(["participant_id", "guideline"])
    # A: three sessions of 20 min in week 1, of 25 and 15 in week 2, of 30 and 28 in week 3, of 30 (four) in week 4
    fitness, heart = found.loc[("A", "fitness")], found.loc[("A", "cardiometabolic")]
    assert (fitness["weeks"], fitness["weeks_met"], fitness["percent_of_weeks"]) == (4, 3, 75)
    assert (heart["weeks_met"], heart["percent_of_weeks"]) == (1, 25)
    # B left on day 17, after two whole weeks; the session of week 2 without minutes reaches nothing
    b = found.loc[("B", "fitness")]
    assert (b["weeks"], b["weeks_met"], b["sessions_unknown"]) == (2, 2, 1)


def test_programme_counts_name_their_denominators(three_people, make_protocol) -> None:
    counts = programme_counts(three_people, make_protocol()).set_index(["metric", "denominator"])
    left = counts.loc[("attendance", "sessions planned until withdrawal")]
    end = counts.loc[("attendance", "sessions planned until programme end")]
    assert left["number"] == end["number"] == 11 + 5
    assert left["of"] < end["of"] == 12 + 12 + 10
    gone = counts.loc[("discontinuation, people", "people enrolled")]
    assert (gone["number"], gone["of"]) == (1, 3)
    assert counts.loc[("early stop, sessions", "sessions delivered"), "number"] == 1
    assert ("discontinuation, people: not stated", "people enrolled") in counts.index


def test_every_window_of_a_dose_stands_beside_the_others(three_people, make_protocol) -> None:
    found = dose_windows(three_people, make_protocol(), recent_days=7)
    at = found[(found["participant_id"] == "A") & (found["visit"] == "week4")].set_index("window")
    assert at["delivered_active_minutes"].to_dict() == {
        "to visit": 278,
        "since last visit": 178,
        "last 7 days": 120,
    }


def test_planned_and_delivered_stand_side_by_side(three_people, make_protocol) -> None:
    three_people["sessions"]["mode"] = ["legs"] * 12 + ["arms"] * 6
    three_people["sessions"] = three_people["sessions"].astype({"mode": "str"})
    table = fitt(three_people, make_protocol()).set_index("quantity")
    assert set(table["element"]) == {"frequency", "intensity", "time", "type"}
    assert table.loc["active minutes per session", "planned"] == "20 to 30"
    assert table.loc["limbs", ["planned", "delivered"]].tolist() == ["legs", "arms 5, legs 11"]
    assert table.loc["current", "delivered"] == "not recorded"
    assert table.loc["mean power", "planned"] == "not planned"
    modes = dose_by_mode(three_people).set_index(["participant_id", "mode"])
    assert modes.loc[("A", "legs"), "delivered_active_minutes"] == 278
    assert modes.loc[("B", "arms"), "sessions_without_work"] == 5
    assert np.isnan(modes.loc[("B", "arms"), "delivered_work_kj"])
