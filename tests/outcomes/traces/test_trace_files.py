"""Files of traces: csv, Parquet, FIT and TCX become the same table; what is wrong is told with file and time."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from outcomes.dose import Batch, one_session, summarise
from outcomes.errors import DesignError
from outcomes.intake.traces import TraceSource, find_sources
from outcomes.intake.traces_parquet import groups, read_groups, write_traces
from outcomes.intake.traces_ride import read_fit, right_share

HEADINGS = "participant_id,session_id,t_s,power_w,cadence_rpm,current_ma,phase\n"


def read(path: Path, ids=("", "")):
    batch, findings = TraceSource(path, path.name, ids).piece(0)
    return batch, {finding.rule: finding for finding in findings}


def csv_file(tmp_path, body, headings=HEADINGS) -> Path:
    path = tmp_path / "trace.csv"
    path.write_text(headings + body, encoding="utf-8")
    return path


def steady(seconds=20, power=10.0, **more):
    rows = [f"P1,S1,{t},{power + t % 3},45,60,active" for t in range(seconds)]
    for at, row in more.items():
        rows[int(at[1:])] = row
    return "\n".join(rows) + "\n"


def test_a_csv_of_two_sessions_is_a_batch_in_order(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, "P2,S1,0,5,40,,\nP2,S1,1,6,40,,\nP1,S9,0,7,,,active\nP1,S9,1,,41,,active\n"))
    assert (batch.participants, batch.sessions) == (["P1", "P2"], ["S9", "S1"])
    assert batch.channels["power_w"].tolist() == pytest.approx([7, math.nan, 5, 6], nan_ok=True)
    assert batch.phase.tolist() == [2, 2, -1, -1]
    assert found == {}


def test_every_format_gives_the_same_session(tmp_path, write_fit, write_tcx) -> None:
    samples = [{"t_s": t, "power_w": 10 + t % 7, "cadence_rpm": 45, "heart_rate_bpm": 90} for t in range(60)]
    rows = "".join(f"{s['t_s']},{s['power_w']},45,90\n" for s in samples)
    csv = csv_file(tmp_path, rows, "t_s,power_w,cadence_rpm,heart_rate_bpm\n")
    batches = [
        read(path, ("P", "S"))[0]
        for path in (csv, write_fit(tmp_path / "a.fit", samples), write_tcx(tmp_path / "a.tcx", samples))
    ]
    write_traces(tmp_path / "a.parquet", batches[:1])
    batches.append(read(tmp_path / "a.parquet")[0])
    frames = [summarise(batch) for batch in batches]
    for frame in frames[1:]:
        pd.testing.assert_frame_equal(frame, frames[0])


def test_positions_are_never_kept(tmp_path, write_tcx, write_fit) -> None:
    headings = "participant_id,session_id,t_s,power_w,position_lat,position_long\n"
    for path in (
        csv_file(tmp_path, "P,S,0,5,51.5,4.5\nP,S,1,5,51.5,4.5\n", headings),
        write_tcx(tmp_path / "a.tcx", [{"t_s": 0, "power_w": 5}, {"t_s": 1, "power_w": 5}]),
        write_fit(tmp_path / "a.fit", [{"t_s": 0, "power_w": 5}, {"t_s": 1, "power_w": 5}]),
    ):
        batch, _ = read(path, ("P", "S") if path.suffix != ".csv" else ("", ""))
        assert set(batch.channels) == {"power_w"}


def test_the_balance_names_the_right_side_or_nobody() -> None:
    # bit 7 set: the low 7 bits are the right side's percent; "right" is the decoder's word for exactly 128
    assert right_share(128 + 51) == 0.51
    assert right_share("right") == 0
    assert math.isnan(right_share(51))
    assert math.isnan(right_share(None))
    assert math.isnan(right_share(128 + 101))


def test_a_balance_without_a_side_is_asked_about(tmp_path, write_fit) -> None:
    batch, found = read(
        write_fit(tmp_path / "a.fit", [{"t_s": t, "power_w": 9, "balance": 51} for t in range(5)]), ("P", "S")
    )
    assert set(batch.channels) == {"power_w"}
    assert "no left or right power" in found["side_unknown"].expected


def test_totals_of_the_device_are_read(tmp_path, write_fit) -> None:
    session = {"timer_ms": 60_000, "total_work_j": 1234, "balance": 37986}
    ride = read_fit(write_fit(tmp_path / "a.fit", [{"t_s": 0, "power_w": 9}], session))
    assert ride.device == {"total_work_j": 1234, "timer_s": 60, "right_percent": pytest.approx(52.18)}


# --- what is wrong is told, the rest is kept ---


def test_samples_out_of_order_are_sorted_and_named(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, "P,S,0,5,40,,\nP,S,2,7,40,,\nP,S,1,6,40,,\nP,S,3,8,40,,\n"))
    assert batch.channels["power_w"].tolist() == [5, 6, 7, 8]
    assert found["unsorted"].found == "session S at 2 s"
    assert (found["unsorted"].file, found["unsorted"].row) == ("trace.csv", 2)


def test_a_repeated_time_is_counted_once(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, "P,S,0,5,40,,\nP,S,1,6,40,,\nP,S,1,6,40,,\nP,S,2,8,40,,\n"))
    assert batch.t_s.tolist() == [0, 1, 2]
    assert found["repeated_time"].grade == "ask"
    batch, found = read(csv_file(tmp_path, "P,S,0,5,40,,\nP,S,1,6,40,,\nP,S,1,9,40,,\nP,S,2,8,40,,\n"))
    assert batch.channels["power_w"].tolist() == [5, 6, 8]
    assert found["repeated_time"].grade == "set_aside"


def test_a_clock_that_jumps_back_sets_aside_what_is_not_later(tmp_path) -> None:
    rows = [f"P,S,{t},{t % 5 + 5},40,," for t in [*range(100), *range(5, 110)]]
    batch, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert batch.t_s.tolist() == list(range(110))
    assert found["clock_jump"].found == "session S at 99 s"
    assert "fell by 94 s" in found["clock_jump"].expected
    assert "95 samples" in found["clock_jump"].expected


def test_a_clock_that_jumps_forward_is_asked_about_and_not_ridden(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, "P,S,0,5,40,,\nP,S,1,5,40,,\nP,S,7000,6,40,,\nP,S,7001,5,40,,\n"))
    assert "6999 s later" in found["long_step"].expected
    assert summarise(batch)["recorded_work_j"].item() == 5 + 5 * 5 + 6


def test_the_hour_of_summer_time_and_midnight_in_a_session(tmp_path) -> None:
    headings = "participant_id,session_id,recorded_at,power_w\n"
    # over midnight, no finding; local times without an offset on the night when clocks are set back
    calm, found = read(csv_file(tmp_path, "P,S,2025-03-29T23:59:59,5\nP,S,2025-03-30T00:00:01,5\n", headings))
    assert calm.t_s.tolist() == [0, 2]
    assert found == {}
    body = (
        "P,S,2025-10-26T02:59:58,5\nP,S,2025-10-26T02:59:59,5\nP,S,2025-10-26T02:00:00,6\nP,S,2025-10-26T03:00:01,5\n"
    )
    batch, found = read(csv_file(tmp_path, body, headings))
    assert batch.t_s.tolist() == [0, 1, 3]
    assert "the hour of summer time" in found["clock_jump"].expected
    # with offsets there is no doubt
    body = "P,S,2025-10-26T02:59:59+02:00,5\nP,S,2025-10-26T02:00:00+01:00,6\n"
    batch, found = read(csv_file(tmp_path, body, headings))
    assert batch.t_s.tolist() == [0, 1]
    assert found == {}


def test_a_ride_over_midnight_and_the_change_of_clocks_is_whole(tmp_path, write_tcx) -> None:
    samples = [{"t_s": t, "power_w": 10 + t % 3} for t in range(7200)]
    batch, found = read(write_tcx(tmp_path / "a.tcx", samples, "2025-03-29T23:30:00+00:00"), ("P", "S"))
    assert batch.t_s[-1] == 7199
    assert found == {}


def test_a_session_longer_than_a_day_is_asked_about_with_its_unit(tmp_path) -> None:
    rows = [f"P,S,{t * 1000},{t % 5 + 5},40,," for t in range(200)]
    batch, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert "it lasts 55.3 h; steps of 1000 would fit ms" in found["longer_than_a_day"].expected
    assert len(batch.t_s) == 200


def test_a_dropout_is_told_and_counts_as_unrecorded(tmp_path) -> None:
    rows = [f"P,S,{t},{'' if 10 <= t < 30 else t % 5 + 5},40,," for t in range(40)]
    batch, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert "dropped out for 21 s" in found["dropout"].expected
    assert found["dropout"].found == "session S at 9 s"
    assert summarise(batch)["unrecorded_s"].item() == 16


def test_a_power_that_never_changes_looks_stuck(tmp_path) -> None:
    rows = [f"P,S,{t},{12 if 50 <= t < 200 else t % 5 + 5},40,," for t in range(300)]
    _, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert found["stuck"].found == "session S at 50 s"
    assert "exactly 12 W for 149 s" in found["stuck"].expected


def test_negative_cadence_and_power_without_cadence(tmp_path) -> None:
    rows = [f"P,S,{t},{t % 5 + 5},{-45 if t == 7 else 0 if 20 <= t < 40 else 45},," for t in range(60)]
    batch, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert found["negative_cadence"].found == "session S at 7 s"
    assert math.isnan(batch.channels["cadence_rpm"][7])
    assert found["power_without_cadence"].found == "session S at 20 s"
    assert "none for 20 s" in found["power_without_cadence"].expected


def test_percent_of_the_maximum_is_not_taken_for_milliampere_unasked(tmp_path) -> None:
    rows = [f"P,S,{t},{t % 5 + 5},45,{min(100, 10 * t)}," for t in range(60)]
    _, found = read(csv_file(tmp_path, "\n".join(rows) + "\n"))
    assert "percent of the maximum" in found["percent_of_maximum"].expected


def test_cells_that_are_no_numbers_are_named_by_row(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, steady(s3='P1,S1,3,"9,5",45,60,active', s5="P1,S1,5,9,45,60,pause")))
    assert (found["not_a_number"].row, found["not_a_number"].found) == (5, "9,5")
    assert (found["not_a_word"].row, found["not_a_word"].found) == (7, "pause")
    assert len(batch.t_s) == 20


def test_a_cut_off_ride_keeps_what_was_read(tmp_path, write_fit, write_tcx) -> None:
    samples = [{"t_s": t, "power_w": 10 + t % 3} for t in range(100)]
    for path in (write_fit(tmp_path / "a.fit", samples), write_tcx(tmp_path / "a.tcx", samples)):
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) * 2 // 3])
        batch, found = read(path, ("P", "S"))
        assert 40 < len(batch.t_s) < 80, path
        assert found["damaged_file"].file == path.name
        assert f"at {batch.t_s[-1]:g} s" in found["damaged_file"].found
        path.write_bytes(b"\x00" * 50)
        batch, found = read(path, ("P", "S"))
        assert batch is None
        assert "damaged_file" in found


def test_a_ride_file_of_several_sessions_is_refused(tmp_path, write_fit, write_tcx) -> None:
    samples = [{"t_s": t, "power_w": 9} for t in range(30)]
    fit = write_fit(tmp_path / "a.fit", samples, [{"total_work_j": 130}, {"total_work_j": 131}])
    tcx = write_tcx(tmp_path / "a.tcx", samples)
    activity = tcx.read_text().partition("<Activity>")[2].partition("</Activity>")[0]
    tcx.write_text(tcx.read_text().replace("</Activities>", f"<Activity>{activity}</Activity></Activities>"))
    for path in (fit, tcx):
        batch, found = read(path, ("P", "S"))
        assert batch is None
        assert found["several_sessions"].grade == "set_aside"
        assert "it holds 2" in found["several_sessions"].expected


def test_a_ride_without_power_has_none(tmp_path, write_fit, write_tcx) -> None:
    samples = [{"t_s": t, "cadence_rpm": 60} for t in range(30)]
    for path in (write_fit(tmp_path / "a.fit", samples), write_tcx(tmp_path / "a.tcx", samples)):
        batch, found = read(path, ("P", "S"))
        assert "which is not 0 J" in found["no_power"].expected
        assert summarise(batch)["reason"].item() == "no power"


def test_a_table_without_a_needed_column_is_refused_with_a_near_word(tmp_path) -> None:
    batch, found = read(csv_file(tmp_path, "P,S,0,5\n", "participant,session_id,t_s,power_w\n"))
    assert batch is None
    assert "did you mean 'participant'" in found["missing_column"].expected


# --- Parquet of ours ---


def many(sessions=7, samples=50) -> Batch:
    t = np.tile(np.arange(float(samples)), sessions)
    power = np.where(np.arange(len(t)) % 11 == 3, math.nan, t % 17 - 2)
    starts = np.arange(0, len(t) + 1, samples)
    names = [f"S{i}" for i in range(sessions)]
    return Batch.of(["P"] * sessions, names, starts, t, {"power_w": power}, (t % 5).astype("int8"))


def test_parquet_holds_whole_sessions_and_null_for_missing(tmp_path) -> None:
    batch = many()
    assert write_traces(tmp_path / "a.parquet", [batch], group_samples=120) == 7
    assert groups(tmp_path / "a.parquet") == 4
    back = list(read_groups(tmp_path / "a.parquet"))
    assert [part.sessions for part in back] == [["S0", "S1"], ["S2", "S3"], ["S4", "S5"], ["S6"]]
    pd.testing.assert_frame_equal(pd.concat([summarise(p) for p in back], ignore_index=True), summarise(batch))
    table = pq.read_table(tmp_path / "a.parquet")
    assert table["power_w"].null_count == int(np.isnan(batch.channels["power_w"]).sum())
    assert not np.isnan(table["power_w"].drop_null().to_numpy()).any()


def test_a_session_cannot_come_twice(tmp_path) -> None:
    with pytest.raises(DesignError, match="session P/S0 comes twice"):
        write_traces(tmp_path / "a.parquet", [many(), many()])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("fault", ["NaN", "order", "torn"])
def test_a_file_of_ours_is_checked_on_reading(tmp_path, fault) -> None:
    write_traces(tmp_path / "a.parquet", [many(3)])
    table = pq.read_table(tmp_path / "a.parquet")
    if fault == "NaN":
        values = table["power_w"].to_numpy()
        table = table.set_column(table.schema.get_field_index("power_w"), "power_w", pa.array(values))
    elif fault == "order":
        table = table.take([*range(20), 30, 25, *range(31, 150)])
    else:
        table = table.take([*range(60), *range(100, 150), *range(60, 100)])
    pq.write_table(table, tmp_path / "a.parquet")
    batch, found = read(tmp_path / "a.parquet")
    assert batch is None
    said = {"NaN": "NaN stands where null should", "order": "missing or falls", "torn": "do not lie together"}[fault]
    assert said in found["unreadable_file"].expected


def side_by_side(parts) -> Batch:
    """Return batches of one session each as one batch."""
    return Batch.of(
        [part.participants[0] for part in parts],
        [part.sessions[0] for part in parts],
        np.append(0, np.cumsum([len(part.t_s) for part in parts])),
        np.concatenate([part.t_s for part in parts]),
        {name: np.concatenate([part.channels[name] for part in parts]) for name in parts[0].channels},
    )


@pytest.mark.parametrize(
    ("rule", "channel", "change", "says"),
    [
        ("stuck", "power_w", lambda v: np.where(np.arange(len(v)) // 150 == 1, 13.0, v), "exactly 13 W for 149 s"),
        ("hard_limit", "power_w", lambda v: np.where(np.arange(len(v)) == 7, 2501.0, v), "found 2501"),
        ("soft_limit", "power_w", lambda v: np.where(np.arange(len(v)) == 7, 601.0, v), "601 W"),
        ("negative_cadence", "cadence_rpm", lambda v: np.where(np.arange(len(v)) == 7, -1.0, v), "found -1"),
        ("dropout", "power_w", lambda v: np.where(np.arange(len(v)) // 10 == 3, np.nan, v), "dropped out for 11 s"),
        ("no_power", "power_w", lambda v: np.full(len(v), np.nan), "not 0 J"),
        ("power_without_cadence", "cadence_rpm", lambda v: np.where(np.arange(len(v)) < 9, 0.0, v), "none for 9 s"),
        ("percent_of_maximum", "current_ma", lambda v: np.minimum(v * 2, 100.0), "percent of the maximum"),
    ],
)
def test_values_of_a_file_of_ours_are_doubted_like_those_of_any_other(tmp_path, rule, channel, change, says) -> None:
    t = np.arange(400.0)
    sound = {"power_w": 10 + t % 7, "cadence_rpm": np.full(400, 45.0), "current_ma": np.full(400, 60.0)}
    wrong = sound | {channel: change(sound[channel])}
    parts = [one_session(t, participant_id="P", session_id=name, **c) for name, c in (("A", sound), ("B", wrong))]
    write_traces(tmp_path / "a.parquet", [side_by_side(parts)])
    batch, found = read(tmp_path / "a.parquet")
    assert batch is not None
    assert batch.sessions == ["A", "B"]
    assert set(found) == {rule}
    assert found[rule].file == "a.parquet"
    assert found[rule].found.startswith("session B")
    assert says in found[rule].expected
    assert np.array_equal(batch.channels["power_w"][:400], sound["power_w"])
    if found[rule].grade == "set_aside":
        assert np.isnan(batch.channels[channel][407])


def test_times_of_a_file_of_ours_are_doubted_too(tmp_path) -> None:
    t = np.arange(50.0)
    times = {"A": t, "B": np.where(t > 9, t + 4000, t), "C": np.maximum(t, 1.0), "D": t * 20, "E": t * 1900}
    parts = [one_session(v, participant_id="P", session_id=name, power_w=5 + t % 3) for name, v in times.items()]
    write_traces(tmp_path / "a.parquet", [side_by_side(parts)])
    _, findings = TraceSource(tmp_path / "a.parquet", "a.parquet").piece(0)
    assert sorted((f.found.split()[1], f.rule) for f in findings) == [
        ("B", "long_step"), ("C", "repeated_time"), ("D", "sparse"), ("E", "longer_than_a_day"), ("E", "sparse"),
    ]  # fmt: skip


def test_parquet_of_another_program_is_not_trusted_but_sorted(tmp_path) -> None:
    frame = pd.DataFrame(
        {"participant_id": ["P"] * 4, "session_id": ["S"] * 4, "t_s": [0, 2, 1, 3], "power_w": [5, 7, math.nan, 8]}
    )
    frame.to_parquet(tmp_path / "a.parquet")
    batch, found = read(tmp_path / "a.parquet")
    assert batch.t_s.tolist() == [0, 1, 2, 3]
    assert "unsorted" in found


# --- the folder ---


def test_whose_session_a_file_is(tmp_path, write_fit) -> None:
    root = tmp_path / "traces"
    (root / "P07").mkdir(parents=True)
    ride = [{"t_s": 0, "power_w": 5}, {"t_s": 1, "power_w": 5}]
    for name in ("P07/S001.fit", "loose.fit", "known.fit"):
        write_fit(root / name, ride)
    (root / "files.csv").write_text("file,participant_id,session_id\nknown.fit,P08,S2\ngone.fit,P08,S3\n")
    (root / "note.docx").write_text("x")
    sources, findings = find_sources(tmp_path)
    assert {source.file: source.ids for source in sources} == {
        "traces/P07/S001.fit": ("P07", "S001"),
        "traces/known.fit": ("P08", "S2"),
    }
    rules = {finding.rule: finding.file for finding in findings}
    assert rules == {
        "whose_session": "traces/loose.fit",
        "file_kind": "traces/note.docx",
        "no_such_file": "traces/files.csv",
    }


def test_headings_of_the_clinic_are_explained_in_the_folder(tmp_path) -> None:
    root = tmp_path / "traces"
    (root / "P1").mkdir(parents=True)
    (root / "P1" / "S1.csv").write_text("time,Leistung\n0,0.005\n0.5,0.006\n1,0.007\n")
    (root / "columns.csv").write_text("heading,column,unit\ntime,t_s,min\nLeistung,power_w,kW\nx,power,W\n")
    sources, findings = find_sources(tmp_path)
    batch, _ = sources[0].piece(0)
    assert batch is not None
    assert batch.t_s.tolist() == [0, 30, 60]
    assert batch.channels["power_w"].tolist() == pytest.approx([5, 6, 7])
    assert [finding.rule for finding in findings] == ["trace_heading"]


def test_a_batch_of_one_session_reads_back() -> None:
    assert len(one_session([0.0, 1.0], power_w=[1, 2])) == 1
