"""Traces, guideline weeks and charge in the record: every expected value is worked out by hand beside it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.analysis.recorded import NO_PARETIC
from outcomes.study import Study
from protocols import parse_protocol

TRAINING = '[training]\nmode = "legs"\nweeks = 8\nsessions_per_week = 3\nactive_minutes = [30]\n[[visits]]'


def sessions(rows: list[tuple[str, str, float]]) -> pd.DataFrame:
    """Return delivered sessions of (person, day, active minutes)."""
    frame = pd.DataFrame(rows, columns=["participant_id", "started_at", "active_minutes"])
    return frame.assign(session_id=[f"S{i}" for i in range(1, len(rows) + 1)], status="done")


def recording(session: str, watts: float, left: float) -> pd.DataFrame:
    """Return a minute at one power, its last sample at no power."""
    power = np.append(np.full(60, watts), 0.0)
    frame = pd.DataFrame({"t_s": np.arange(61.0), "power_w": power, "left_power_w": power * left})
    return frame.assign(participant_id="P1", session_id=session, right_power_w=power * (1 - left))


def table(record, name):
    found = record.tables[name]
    return pd.DataFrame(found.rows, columns=list(found.columns))


def studied(plan: str, tables, **more) -> Study:
    return Study.from_tables(parse_protocol(plan, "protocol.toml"), **tables, **more)


def test_traces_come_into_the_record_with_their_formulas(plan, tables) -> None:
    traces = pd.concat([recording("S1", 10.0, 0.6), recording("S2", 20.0, 0.4)], ignore_index=True)
    rows = sessions([("P1", "2025-01-07", 1.0), ("P1", "2025-01-09", 9.0)])
    found = analyse(studied(plan(), tables, sessions=rows, traces=traces))
    entries = found.record.entries
    # 60 s at 10 W and 60 s at 20 W: 0.6 + 1.2 kJ and two minutes
    assert entries["traces/-/-/all/-/-/recorded_work_kj"].value == pytest.approx(1.8)
    assert entries["traces/-/-/all/-/-/active_minutes"].value == pytest.approx(2.0)
    assert entries["traces/-/-/all/-/-/unrecorded_minutes"].value == 0
    assert entries["traces/-/-/all/-/-/sessions"].value == 2
    # the second row says 9 active minutes where the trace has 1
    assert entries["traces/-/-/all/-/-/differences"].value == 1
    told = table(found.record, "recorded_sessions").set_index("quantity")
    # shares of 60 % and 40 %
    assert told.loc["left_share_percent", "value"] == pytest.approx(50)
    assert told.loc["left_share_percent", "formula"] == "100 L / (L + R); reference left"
    assert told.loc["paretic_share_percent", "reason"] == NO_PARETIC
    assert told.loc["fatigue_index", "reason"] == "no recorded session holds it"
    assert entries["traces/-/-/all/-/-/motor_work_kj"].method in found.record.methods
    assert len(found.people["recorded_sessions"]) == 2


def test_where_sessions_are_many_the_index_stays_and_the_plateau_is_refused_in_words(plan, tables, monkeypatch) -> None:
    # four minutes at 20 W, four at 10 W: last minute over first 0.5
    t = np.arange(481.0)
    power = np.where(t < 240, 20.0, 10.0)
    trace = pd.DataFrame({"participant_id": "P1", "session_id": "S1", "t_s": t, "power_w": power})
    rows = sessions([("P1", "2025-01-07", 8.0)])
    monkeypatch.setattr("outcomes.analysis.dose_output.DECAYS", 0)
    found = analyse(studied(plan(), tables, sessions=rows, traces=trace))
    assert found.record.entries["traces/-/-/all/-/-/fatigue_index"].value == pytest.approx(0.5)
    row = found.people["recorded_sessions"].iloc[0]
    assert np.isnan(row["plateau_power_w"])
    assert row["decay_reason"] == "no plateau is fitted, as there are more than 0 sessions with a trace"


def test_a_study_without_traces_has_no_table_of_them(plan, tables) -> None:
    record = analyse(studied(plan(), tables, sessions=sessions([("P1", "2025-01-07", 1.0)]))).record
    assert "recorded_sessions" not in record.tables
    assert "guideline_weeks" not in record.tables


def test_percent_of_weeks_that_meet_the_guidelines(plan, tables) -> None:
    # week 1: 2 x 20 min; week 2: 3 x 30 min; week 3: 1 x 40 min
    days = [("2025-01-07", 20.0), ("2025-01-09", 20.0), ("2025-01-14", 30.0), ("2025-01-16", 30.0)]
    days += [("2025-01-18", 30.0), ("2025-01-21", 40.0)]
    rows = sessions([("P1", *day) for day in days])
    text = plan().replace("[[visits]]", TRAINING, 1)
    found = analyse(studied(text, tables, sessions=rows))
    # six people of 8 weeks, and P7, who left on day 35, of 5: 53 weeks
    met = table(found.record, "guideline_weeks").set_index("guideline")
    assert met["weeks"].tolist() == [53, 53]
    assert met["weeks_met"].to_dict() == {"fitness": 2, "cardiometabolic": 1}
    entry = found.record.entries["dose/-/-/all/-/fitness/guideline_weeks"]
    assert (entry.value, entry.unit) == (pytest.approx(200 / 53), "%")
    assert "Martin Ginis" in found.record.methods["guideline_weeks"]


def test_charge_is_related_to_change_where_the_protocol_asks(plan, tables) -> None:
    people = ["P1", "P2", "P3", "P4", "P5"]
    rows = sessions([(person, "2025-01-07", 30.0) for person in people])
    stimulation = pd.DataFrame(
        {
            "participant_id": people, "session_id": rows["session_id"], "channel": 1, "segment": 1, "from_s": 0,
            "to_s": 1800, "muscle": "quadriceps", "side": "left", "current_ma": [140, 40, 60, 80, 100],
            "pulse_width_us": 300, "frequency_hz": 35, "phases": 2, "electrode_area_cm2": 45, "duty_fraction": 1 / 3,
        }
    )  # fmt: skip
    text = plan().replace("[[visits]]", '[dose]\nmetrics = ["charge_c"]\n[[visits]]', 1)
    found = analyse(studied(text, tables, sessions=rows, stimulation=stimulation))
    dose = found.people["dose"].set_index(["participant_id", "visit"])["delivered_charge_c"]
    # 140 mA, 300 us, 35 Hz, a third of 30 min: 0.882 C a channel (definition: current x width x pulses)
    assert dose["P1", "after"] == pytest.approx(0.882, abs=1e-6)
    told = table(found.record, "dose_response")
    assert told["exposure"].unique().tolist() == ["charge_c", "charge_c_per_week"]
    assert told["per"].unique().tolist() == ["100 C", "10 C per week"]
    girth = told[told["measure"] == "limb_girth.girth"]
    assert girth["n"].tolist() == [5, 5]
