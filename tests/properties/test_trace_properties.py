"""What holds for any trace: cutting adds up, finer sampling changes nothing, order of sessions is irrelevant."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.dose import Batch, TraceRules, bouts_of, one_session, summarise
from outcomes.dose.batch import CHANNELS
from outcomes.intake import TraceChecks, checked_batch, find_sources, write_traces
from outcomes.intake.traces_check import RawTrace, doubtful
from outcomes.study import Traces

SETTINGS = settings(max_examples=60, deadline=None)
RULES = TraceRules()
SUMS = (
    *("total_s", "recorded_s", "unrecorded_s", "active_s", "passive_s", "fatigue_s"),
    *("recorded_work_j", "trapezoid_work_j", "voluntary_work_j", "motor_work_j"),
)

sample = st.tuples(
    st.floats(0.1, 9.0), st.integers(-30, 60).map(float), st.sampled_from(["passive", "active", "fatigue", "voluntary"])
)
traces = st.lists(sample, min_size=3, max_size=40)

faulty = st.lists(
    st.tuples(
        st.sampled_from([1.0, 1.0, 1.0, 0.0, 4.0, 6.0, 40.0, 3601.0, 90_000.0]),
        st.sampled_from([9.0, 9.0, 9.0, 10.0, -60.0, 650.0, 2600.0, math.inf, math.nan]),
        st.sampled_from([45.0, 45.0, 0.0, -1.0, 251.0, math.nan]),
        st.sampled_from([100.0, 60.0, 0.0, 201.0]),
        st.sampled_from([1, 2, 70, 140]),
    ),
    min_size=1,
    max_size=6,
)
"""Stretches of equal samples: step, power, cadence, current, number."""


def stretched(rows, session):
    count = [n for *_, n in rows]
    step, *channels = (np.repeat([row[i] for row in rows], count) for i in range(4))
    named = dict(zip(("power_w", "cadence_rpm", "current_ma"), channels, strict=True))
    return one_session(np.cumsum(step), participant_id="P", session_id=session, **named)


def built(rows, low=0, high=None):
    t = np.cumsum([step for step, _, _ in rows])
    part = slice(low, high)
    return one_session(t[part], power_w=[p for _, p, _ in rows][part], phase=[word for *_, word in rows][part])


@SETTINGS
@given(rows=traces, data=st.data())
def test_a_session_cut_at_a_sample_adds_up(rows, data) -> None:
    cut = data.draw(st.integers(1, len(rows) - 2))
    whole, first, second = (
        summarise(trace, RULES).iloc[0] for trace in (built(rows), built(rows, 0, cut + 1), built(rows, cut))
    )
    for name in SUMS:
        assert first[name] + second[name] == pytest.approx(whole[name], abs=1e-9), name
    assert max(p for p in (first["peak_power_w"], second["peak_power_w"], -1) if p == p) == pytest.approx(
        max(whole["peak_power_w"], -1) if whole["peak_power_w"] == whole["peak_power_w"] else -1
    )


@SETTINGS
@given(
    rows=st.lists(st.tuples(st.floats(0.2, 5.0), st.integers(-30, 60).map(float), st.integers(0, 90)), min_size=2),
    pieces=st.integers(2, 5),
)
def test_finer_samples_of_a_stepwise_trace_change_nothing(rows, pieces) -> None:
    steps = np.array([step for step, *_ in rows])
    t = np.append(0.0, np.cumsum(steps))
    fine = np.append((t[:-1, None] + np.arange(pieces) * (steps / pieces)[:, None]).ravel(), t[-1])

    def channels(values):
        once = np.append(values, values[-1])
        return once, np.append(np.repeat(values, pieces), values[-1])

    power, current = channels([p for _, p, _ in rows]), channels([float(c) for *_, c in rows])
    coarse, finer = (
        summarise(one_session(times, power_w=power[i], current_ma=current[i]), RULES).iloc[0]
        for i, times in enumerate((t, fine))
    )
    for name in (*(n for n in SUMS if n != "trapezoid_work_j"), "active_bouts", "longest_bout_s", "mean_power_w"):
        assert finer[name] == pytest.approx(coarse[name], abs=1e-6, nan_ok=True), name


@SETTINGS
@given(sessions=st.lists(traces, min_size=1, max_size=6), block=st.integers(1, 60))
def test_sessions_do_not_touch_each_other(sessions, block) -> None:
    alone = [summarise(built(rows), RULES).iloc[0] for rows in sessions]
    parts = [built(rows) for rows in sessions]
    together = Batch.of(
        ["P"] * len(parts),
        [str(i) for i in range(len(parts))],
        np.append(0, np.cumsum([len(part.t_s) for part in parts])),
        np.concatenate([part.t_s for part in parts]),
        {"power_w": np.concatenate([part.channels["power_w"] for part in parts])},
        np.concatenate([part.phase for part in parts]),
    )
    found = summarise(together, RULES)
    names = [name for name in found.columns if name not in ("participant_id", "session_id", "reason")]
    for i, one in enumerate(alone):
        assert found.loc[i, names].tolist() == pytest.approx(one[names].tolist(), abs=1e-9, nan_ok=True)
    assert sum(len(part) for part in together.blocks(block)) == len(together)


@SETTINGS
@given(rows=faulty)
def test_bouts_of_samples_are_those_of_the_summary(rows) -> None:
    trace = stretched(
        [row for row in rows if row[1] < math.inf or row[1] != row[1]] or [(1.0, 9.0, 45.0, 60.0, 3)], "S"
    )
    found = summarise(trace, RULES).iloc[0]
    bout, until = bouts_of(trace, RULES)
    if found["active_bouts"] == found["active_bouts"]:
        assert bout.max() == found["active_bouts"]
        assert (until - trace.t_s)[bout > 0].sum() == pytest.approx(found["active_s"])
        assert (trace.channels["power_w"][bout > 0] > 0).all()


@SETTINGS
@given(rows=traces)
def test_missing_values_never_become_zero(rows) -> None:
    t = np.cumsum([step for step, *_ in rows])
    found = summarise(one_session(t, cadence_rpm=[50.0] * len(rows)), RULES).iloc[0]
    assert all(math.isnan(found[name]) for name in ("recorded_work_j", "motor_work_j", "active_s", "peak_power_w"))
    assert found["total_s"] == pytest.approx(t[-1] - t[0])
    assert set(CHANNELS) >= {"power_w", "cadence_rpm"}


@SETTINGS
@given(rows=st.lists(faulty, min_size=1, max_size=4))
def test_no_session_that_a_rule_finds_something_in_is_without_doubt(rows) -> None:
    parts = [stretched(one, f"S{i}") for i, one in enumerate(rows)]
    together = Batch.of(
        ["P"] * len(parts),
        [part.sessions[0] for part in parts],
        np.append(0, np.cumsum([len(part.t_s) for part in parts])),
        np.concatenate([part.t_s for part in parts]),
        {name: np.concatenate([part.channels[name] for part in parts]) for name in parts[0].channels},
    )
    doubts = doubtful(together, RULES.gap_s)
    told = []
    for part, doubt in zip(parts, doubts.tolist(), strict=True):
        alone = TraceChecks("f", RULES.gap_s)
        alone.checked(RawTrace("P", part.sessions[0], part.t_s, dict(part.channels)))
        assert doubt or not alone.found.sorted()
        told += alone.found.sorted()
    checks = TraceChecks("f", RULES.gap_s)
    assert checked_batch(together, checks) is not None
    assert sorted(map(str, checks.found.sorted())) == sorted(map(str, told))


@settings(max_examples=12, deadline=None)
@given(sessions=st.lists(traces, min_size=2, max_size=5), data=st.data())
def test_the_order_and_the_cut_of_files_are_irrelevant(sessions, data) -> None:
    names = [f"S{i}" for i in range(len(sessions))]
    order = data.draw(st.permutations(range(len(sessions))))
    files = data.draw(st.lists(st.integers(0, 2), min_size=len(sessions), max_size=len(sessions)))
    parts = []
    for rows, name in zip(sessions, names, strict=True):
        t = np.cumsum([step for step, *_ in rows])
        channel = {"power_w": [p for _, p, _ in rows], "phase": [word for *_, word in rows]}
        parts.append(one_session(t, participant_id="P", session_id=name, **channel))
    with tempfile.TemporaryDirectory() as whole, tempfile.TemporaryDirectory() as shuffled:
        write_traces(Path(whole) / "traces" / "all.parquet", parts)
        for number in sorted(set(files)):
            mine = [parts[i] for i in order if files[i] == number]
            write_traces(Path(shuffled) / "traces" / f"{9 - number}.parquet", mine)
        found = [
            Traces(tuple(find_sources(Path(folder))[0]), (), RULES).summary().sessions.drop(columns="file")
            for folder in (whole, shuffled)
        ]
    pd.testing.assert_frame_equal(*found)
