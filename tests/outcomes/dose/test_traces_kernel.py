"""What the kernel makes of a trace: phases, bouts, work, gaps, motor, sides; by hand unless a source is named."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from outcomes.dose import (
    PHASES,
    Batch,
    TraceRules,
    batch_of_frame,
    fatigue_index,
    one_session,
    phases_of,
    plateau_fit,
    power_decay,
    side_indices,
    summarise,
)
from outcomes.errors import DesignError


def row(*args, rules=None, **channels):
    return summarise(one_session(*args, **channels), rules).iloc[0]


def words(trace, rules=None):
    return [PHASES[code] if code >= 0 else "" for code in phases_of(trace, rules)]


def test_work_from_samples_of_declared_phases() -> None:
    # definition; trapezoid 1560 J and sample-and-hold 1620 J over 180 active seconds
    found = row(
        [0, 60, 120, 180, 240],
        power_w=[0, 8, 10, 9, 6],
        phase=["passive", "active", "active", "active", "active"],
        rules=TraceRules(gap_s=60),
    )
    assert found["trapezoid_work_j"] == pytest.approx(1560, abs=1e-6)
    assert found["recorded_work_j"] == pytest.approx(1620, abs=1e-6)
    assert found["active_s"] == 180
    assert found["passive_s"] == 60


def test_work_of_an_exponential_fall_is_that_of_its_closed_form() -> None:
    # closed form P_inf T + (P_0 - P_inf) tau (1 - exp(-T / tau)) = 12419.926 J, mean 6.899959 W
    t = np.arange(0, 1800.5, 0.5)
    found = row(t, power_w=6 + 9 * np.exp(-t / 180))
    assert found["trapezoid_work_j"] == pytest.approx(12419.926, abs=0.01)
    assert found["trapezoid_work_j"] / found["active_s"] == pytest.approx(6.899959, abs=1e-5)
    fit = plateau_fit(t, 6 + 9 * np.exp(-t[:-1] / 180))
    assert (fit.start_power_w, fit.plateau_power_w) == pytest.approx((15, 6), abs=1e-6)
    assert fit.time_constant_s == pytest.approx(180, abs=1e-4)


def test_a_pause_longer_than_the_gap_is_not_ridden() -> None:
    found = row([0, 1, 2, 40, 41, 42], power_w=[10, 10, 10, 20, 20, 20])
    assert found["recorded_work_j"] == 10 + 10 + 5 * 10 + 20 + 20
    assert found["trapezoid_work_j"] == 10 + 10 + 20 + 20
    assert found["unrecorded_s"] == 33
    assert found["active_bouts"] == 2
    assert found["longest_bout_s"] == 7


def test_a_step_of_just_the_gap_is_no_gap_whatever_its_rounding() -> None:
    assert 8.3 - 3.3 > 5
    assert row([3.3, 8.3, 13.3], power_w=[10, 10, 10])[["active_bouts", "trapezoid_work_j"]].tolist() == [
        1, pytest.approx(100),
    ]  # fmt: skip


def test_a_short_dropout_is_bridged_like_a_short_step_and_a_long_one_is_not() -> None:
    nan = math.nan
    short = row(range(6), power_w=[10, 10, nan, nan, 10, 10])
    assert (short["recorded_work_j"], short["unrecorded_s"]) == (50, 0)
    long = row(range(12), power_w=[10, 10, *[nan] * 8, 10, 10])
    assert (long["recorded_work_j"], long["unrecorded_s"]) == (10 + 50 + 10, 4)


def test_motor_work_stands_apart_and_is_never_added() -> None:
    found = row(range(6), power_w=[-20, -20, 10, 10, -5, 0], current_ma=[0, 60, 60, 60, 60, 60])
    assert found["motor_work_j"] == -45
    assert found["recorded_work_j"] == 20
    assert found["trapezoid_work_j"] == 5 + 10 + 5


def test_the_phases_of_a_stimulated_session_are_inferred() -> None:
    trace = one_session(
        range(10),
        power_w=[-5, -5, -5, 8, 9, 0.5, 0, -4, 12, -4],
        current_ma=[0, 0, 40, 60, 60, 60, 60, 60, 0, 0],
    )
    assert words(trace) == [
        *("passive", "passive", "ramp", "active", "active", "active", "fatigue", "fatigue"),
        *("voluntary", "cooldown"),
    ]


def test_power_that_flickers_between_the_thresholds_does_not_end_a_bout() -> None:
    found = row(range(8), power_w=[5, 0.4, 0.7, 0.2, 5, 0.3, 5, 0], current_ma=[60] * 8)
    assert found["active_bouts"] == 1
    assert found["active_s"] == 7


def test_a_cadence_below_the_floor_ends_a_bout_until_it_is_back_above_it() -> None:
    trace = one_session(range(6), power_w=[9, 9, 9, 9, 9, 9], current_ma=[60] * 6, cadence_rpm=[45, 34, 36, 36, 38, 45])
    rules = TraceRules(cadence_floor_rpm=35, cadence_margin_rpm=2)
    assert words(trace, rules) == ["active", "fatigue", "fatigue", "fatigue", "active", "active"]
    assert summarise(trace, rules)["active_bouts"].item() == 2


def test_declared_phases_stand_and_active_minutes_need_positive_power() -> None:
    found = row(range(5), power_w=[9, 9, 0, -2, 9], phase=["ramp", "active", "active", "active", ""])
    assert (found["ramp_s"], found["active_s"], found["recorded_work_j"]) == (1, 1, 9)


def test_a_session_without_power_has_no_work_instead_of_none_done() -> None:
    found = row(range(5), cadence_rpm=[50] * 5)
    assert found["reason"] == "no power"
    assert math.isnan(found["recorded_work_j"])
    assert math.isnan(found["active_s"])
    declared = row(range(5), cadence_rpm=[50] * 5, phase=["passive", *["active"] * 4])
    assert declared["active_s"] == 3
    assert math.isnan(declared["recorded_work_j"])


def test_sessions_with_and_without_power_share_a_batch() -> None:
    nan = math.nan
    batch = Batch.of(["A", "B"], ["1", "1"], [0, 3, 6], [0, 1, 2, 0, 1, 2], {"power_w": [5, 5, 5, nan, nan, nan]})
    found = summarise(batch)
    assert found["recorded_work_j"].tolist() == pytest.approx([10, nan], nan_ok=True)
    assert found["reason"].tolist() == ["", "no power"]


def test_means_are_weighted_by_time_over_active_riding() -> None:
    found = row([0, 1, 3, 4], power_w=[10, 20, 30, 0], cadence_rpm=[40, 50, math.nan, 10], heart_rate_bpm=[90] * 4)
    assert found["mean_power_w"] == (10 + 40 + 30) / 4
    assert found["peak_power_w"] == 30
    assert found["mean_cadence_rpm"] == pytest.approx((40 + 100) / 3)
    assert found["mean_heart_rate_bpm"] == 90


def test_the_seven_indices_of_left_and_right() -> None:
    # L = 12, R = 8: share 60 %, 20 %, 40 %, 33.3333 % (Dawes 2005), 66.6667 %, symmetry angle -12.5666 %
    found = row(range(3), power_w=[20, 20, 20], left_power_w=[12] * 3, right_power_w=[8] * 3)
    sides = side_indices(
        pd.Series([found["left_work_j"], 0.0, -3.0, 5.0]),
        pd.Series([found["right_work_j"], 0.0, 5.0, math.nan]),
        pd.Series(["right", "left", "left", ""]),
    )
    assert sides.iloc[0].tolist() == pytest.approx([60, 40, 20, 40, 33.3333, 66.6667, -12.5666], abs=1e-3)
    assert sides.iloc[1:].isna().all(axis=None)


def test_a_fall_of_power_needs_time_and_a_plateau() -> None:
    t = np.arange(601.0)
    with pytest.raises(DesignError, match="no plateau in sight"):
        plateau_fit(t, 20 - t[:-1] / 100)
    with pytest.raises(DesignError, match="does not fall"):
        plateau_fit(t, 10 - 4 * np.exp(-t[:-1] / 60))
    with pytest.raises(DesignError, match="less than 180 s"):
        fatigue_index(range(101), [5.0] * 100)
    found = power_decay(one_session(range(100), power_w=[5.0] * 100)).iloc[0]
    assert math.isnan(found["fatigue_index_last_over_first_minute"])
    assert found["decay_reason"] == "less than 180 s of active time"


def test_a_trace_out_of_order_is_refused_by_session() -> None:
    with pytest.raises(DesignError, match="session P/2: the time after 1 s is missing or falls"):
        Batch.of(["P", "P"], ["1", "2"], [0, 2, 5], [5, 6, 0, 1, 0.5], {})
    with pytest.raises(DesignError, match="missing or falls"):
        one_session([math.nan, 1.0])
    with pytest.raises(DesignError, match="no phase of a session; expected one of passive"):
        one_session([0, 1], phase=["active", "rest"])


def test_a_frame_in_any_order_is_a_batch() -> None:
    frame = pd.DataFrame(
        {
            "participant_id": ["B", "A", "A", "B"],
            "session_id": ["1", "1", "1", "1"],
            "t_s": [1.0, 1.0, 0.0, 0.0],
            "power_w": [4.0, 2.0, 1.0, 3.0],
        }
    )
    batch = batch_of_frame(frame)
    assert batch.participants == ["A", "B"]
    assert batch.channels["power_w"].tolist() == [1, 2, 3, 4]
    assert batch.phase is None
