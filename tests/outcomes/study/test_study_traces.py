"""The traces of a study: opened batch by batch, summed on threads, remembered, reconciled with session rows."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from outcomes.dose import Batch, one_session
from outcomes.errors import DataError, UsageError
from outcomes.intake import write_traces
from outcomes.study import Study

PROTOCOL = """
schema = 1
[study]
title = "Two people"
design = "single arm"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
[dose]
source = "{source}"
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 4
when = "end"
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
hoped_for = "increase"
"""
SESSIONS = """participant_id,session_id,started_at,status,total_minutes,active_minutes,work_kj
P1,S1,2025-01-08 10:00,done,12,10,6
P1,S2,2025-01-10 10:00,done,12,10,1.434
P2,S1,2025-01-08 10:00,done,12,10,6
"""


def trace(person: str, session: str, power: float = 10.0, seconds: int = 600) -> Batch:
    """Return ten minutes at a power that alternates about its mean, with a minute of the motor before and after."""
    t = np.arange(-60.0, seconds + 61)
    on = (t >= 0) & (t < seconds)
    watts = np.where(on, power + np.where(t % 2, 1, -1), -3 - t % 2)
    return one_session(
        t + 60, participant_id=person, session_id=session, power_w=watts, current_ma=np.where(on, 60.0, 0)
    )


@pytest.fixture
def folder(tmp_path: Path):
    def make(source: str = "sessions") -> Path:
        (tmp_path / "protocol.toml").write_text(PROTOCOL.format(source=source))
        (tmp_path / "sessions.csv").write_text(SESSIONS)
        (tmp_path / "participants.csv").write_text("participant_id,enrolled_on\nP1,2025-01-06\nP2,2025-01-06\n")
        answers = "\n".join(
            f"P{i},{visit},limb_girth,mid_thigh,{side},reading,1,50,{day}"
            for i in (1, 2)
            for visit, day in (("before", "2025-01-06"), ("after", "2025-02-03"))
            for side in ("left", "right")
        )
        head = "participant_id,visit,measure,place,side,item,trial,response,assessed_at\n"
        (tmp_path / "assessments.csv").write_text(head + answers + "\n")
        return tmp_path

    return make


def test_a_study_lists_its_traces_and_opens_them_batch_by_batch(folder) -> None:
    study = folder()
    write_traces(study / "traces" / "a.parquet", [trace("P1", "S1"), trace("P2", "S1")], group_samples=100)
    traces = Study.open(study).traces
    assert [source.file for source in traces.sources] == ["traces/a.parquet"]
    assert [batch.sessions for batch in traces.batches()] == [["S1"], ["S1"]]
    assert traces.session("P2", "S1").participants == ["P2"]
    with pytest.raises(UsageError, match="no trace of session 'P9/S1'"):
        traces.session("P9", "S1")


def test_the_protocol_says_whether_rows_or_traces_count(folder) -> None:
    from outcomes.dose import dose_by_week

    study = folder()
    write_traces(study / "traces" / "a.parquet", [trace("P1", "S1", 20.0)])
    by_rows, by_traces = (Study.open(folder(source)) for source in ("sessions", "traces"))
    assert by_rows.id != by_traces.id
    work = [
        dose_by_week(study.tables, study.protocol).groupby("participant_id")["delivered_work_kj"].sum(min_count=1)
        for study in (by_rows, by_traces)
    ]
    assert work[0].to_dict() == pytest.approx({"P1": 7.434, "P2": 6})
    assert work[1]["P1"] == pytest.approx(12.0)
    assert np.isnan(work[1]["P2"])


def test_rows_that_differ_from_their_trace_are_asked_about_with_row_and_unit(folder) -> None:
    study = folder()
    parts = [trace("P1", "S1"), trace("P1", "S2"), trace("P2", "S1", 20.0), trace("P2", "S9")]
    for i, part in enumerate(parts):
        write_traces(study / "traces" / f"{i}.parquet", [part])
    found = {(f.participant, f.found, f.rule): f for f in Study.open(study).trace_queries()}
    slip = found.pop(("P1", "1.434", "trace_differs"))
    assert (slip.file, slip.row, slip.column) == ("sessions.csv", 3, "work_kj")
    assert slip.expected == "within 1 kJ of the trace's 6 kJ; kcal would fit"
    assert {key[1:] for key in found} == {("6", "trace_differs"), ("session S9", "no_session_row")}


def test_traces_of_several_centres_lie_in_a_folder_of_the_centre(folder) -> None:
    study = folder()
    for name in ("participants", "sessions", "assessments"):
        path = study / f"{name}.csv"
        head, *rows = path.read_text().splitlines()
        again = [row.replace("P1", "P3").replace("P2", "P1") for row in rows if row.startswith("P2")]
        both = [*(f"{row},north" for row in rows), *(f"{row},south" for row in again)]
        path.write_text("\n".join([f"{head},centre_id", *both]) + "\n")
    for centre, power in (("north", 10.0), ("south", 5.0)):
        place = study / "traces" / centre / "P1"
        place.mkdir(parents=True)
        batch = trace("", "", power)
        frame = pd.DataFrame({"t_s": batch.t_s, **batch.channels})
        frame.to_csv(place / "S1.csv", index=False)
    write_traces(study / "traces" / "north.parquet", [trace("north/P1", "S2", 9.0), trace("P2", "S1", 7.0)])
    opened = Study.open(study)
    found = opened.trace_summary.sessions
    work = found.set_index(["participant_id", "session_id"])["recorded_work_j"] / 600
    assert work.to_dict() == pytest.approx(
        {("P2", "S1"): 7, ("north/P1", "S1"): 10, ("north/P1", "S2"): 9, ("south/P1", "S1"): 5}
    )
    beyond = [f for f in opened.trace_findings() if f.rule == "no_session_row"]
    assert [f.participant for f in beyond] == ["P2"]
    assert "CENTRE/PARTICIPANT: north/P2" in beyond[0].expected
    differs = {(f.participant, f.column) for f in opened.trace_findings() if f.rule == "trace_differs"}
    assert ("south/P1", "work_kj") in differs


def test_a_session_in_two_files_is_counted_once(folder) -> None:
    study = folder()
    write_traces(study / "traces" / "a.parquet", [trace("P1", "S1")])
    write_traces(study / "traces" / "b.parquet", [trace("P1", "S1"), trace("P2", "S1")][:1])
    write_traces(study / "traces" / "c.parquet", [trace("P1", "S2")])
    summary = Study.open(study).trace_summary
    assert summary.sessions["session_id"].tolist() == ["S1", "S2"]
    rules = {finding.rule: finding for finding in summary.findings}
    assert (rules["exported_twice"].file, rules["exported_twice"].grade) == ("traces/b.parquet", "set_aside")
    assert "equals that of P1/S1 in traces/a.parquet" in rules["same_trace"].expected


def test_an_interrupted_run_goes_on_and_finished_files_are_not_computed_twice(folder, monkeypatch) -> None:
    from outcomes.intake.traces import TraceSource

    study = folder()
    for i in range(3):
        write_traces(study / "traces" / f"{i}.parquet", [trace("P1", f"S{i}", 10.0 + i)])
    read = TraceSource.piece
    opened: list[str] = []

    def broken(self, number, *, gap_s=5.0):
        opened.append(self.file)
        if self.file.endswith("2.parquet") and len(opened) == 3:
            raise KeyboardInterrupt
        return read(self, number, gap_s=gap_s)

    monkeypatch.setattr(TraceSource, "piece", broken)
    with pytest.raises(KeyboardInterrupt):
        Study.open(study).traces.summary(workers=1)
    again = Study.open(study).traces.summary(workers=1)
    assert opened == [f"traces/{i}.parquet" for i in (0, 1, 2, 2)]
    assert again.reused == 2
    monkeypatch.undo()
    for place in (study / "results" / "traces").iterdir():
        place.unlink()
    fresh = Study.open(study).traces.summary(workers=2)
    pd.testing.assert_frame_equal(again.sessions, fresh.sessions)
    # a file that changed is computed again; a damaged memory is no memory
    write_traces(study / "traces" / "1.parquet", [trace("P1", "S1", 30.0, 601)])
    first = sorted((study / "results" / "traces").iterdir())[0]
    first.write_text(json.dumps({"columns": 3}))
    changed = Study.open(study).traces.summary()
    assert changed.reused < 3
    assert changed.sessions["recorded_work_j"].max() > 18000


def test_a_table_of_traces_in_memory_is_a_source(folder) -> None:
    from protocols import read_protocol

    batch = trace("P1", "S1")
    frame = pd.DataFrame(
        {"participant_id": "P1", "session_id": "S1", "t_s": batch.t_s, "power_w": batch.channels["power_w"]}
    )
    place = folder()
    tables = {name: pd.read_csv(place / f"{name}.csv", dtype="str") for name in ("participants", "assessments")}
    study = Study.from_tables(read_protocol(place / "protocol.toml"), **tables, traces=frame)
    assert study.trace_summary.sessions["recorded_work_j"].item() == pytest.approx(6000)


def test_a_table_of_traces_is_checked_like_a_file(folder) -> None:
    from protocols import read_protocol

    frame = pd.DataFrame({"participant_id": "P1", "session_id": "S1", "t_s": np.arange(200), "power_w": 12.0})
    place = folder()
    tables = {name: pd.read_csv(place / f"{name}.csv", dtype="str") for name in ("participants", "assessments")}
    study = Study.from_tables(read_protocol(place / "protocol.toml"), **tables, traces=frame)
    told = study.trace_findings()
    assert [(f.rule, f.file, f.found) for f in told] == [("stuck", "table traces", "session S1 at 0 s")]


@pytest.mark.parametrize("command", ["dose", "analyse"])
def test_no_command_loses_what_is_said_about_traces(folder, command) -> None:
    from typer.testing import CliRunner

    from outcomes.analysis import latest_results
    from outcomes.cli.app import app

    study = folder()
    t = np.arange(200.0)
    stuck = one_session(t, participant_id="P2", session_id="S1", power_w=np.full(200, 12.0))
    write_traces(study / "traces" / "all.parquet", [trace("P1", "S2", 9.0), stuck])
    query = next(f.query for f in Study.open(study).trace_findings() if f.column == "work_kj")
    (study / "decisions.csv").write_text(f"query,decision,role,date,reason\n{query},keep,assessor,2025-03-01,known\n")
    ran = CliRunner().invoke(app, [command, str(study)])
    assert ran.exit_code == 0
    said = Study.open(study).trace_findings()
    assert {f.rule for f in said} == {"stuck", "trace_differs"}
    CliRunner().invoke(app, [command, str(study), "--quiet"])
    check = pd.read_csv(study / "results" / "check" / "findings.csv")
    assert set(check["rule"]) >= {"stuck", "trace_differs"}
    assert pd.read_csv(study / "results" / "check" / "decisions.csv")["query"].tolist() == [query]
    if command == "analyse":
        assert f"{len(said)} findings about traces" in ran.stderr
        results = latest_results(study)
        ledger = pd.read_csv(results / "ledger" / "trace_findings.csv")
        assert sorted(ledger["rule"]) == sorted(f.rule for f in said)
        record = json.loads((results / "record.json").read_text())
        tables = {table["name"]: table for table in record["tables"]}
        assert tables["decisions"]["rows"][0][0] == query
        counted = {(grade, rule): n for grade, rule, n in tables["trace_findings"]["rows"]}
        assert counted == {("ask", "stuck"): 1, ("ask", "trace_differs"): len(said) - 1}
        entry = next(e for e in record["estimates"] if e["key"].endswith("traces/-/-/all/-/-/findings_asked"))
        assert entry["value"] == len(said)
    else:
        assert "stuck (1)" in ran.stderr


def test_a_decision_answers_a_query_about_a_trace(folder) -> None:
    study = folder()
    write_traces(study / "traces" / "all.parquet", [trace("P1", "S1"), trace("P1", "S2", 9.0), trace("P9", "S9", 7.0)])
    asked = Study.open(study).trace_findings()
    differs = next(f for f in asked if f.rule == "trace_differs" and f.column == "work_kj")
    beyond = next(f for f in asked if f.rule == "no_session_row")
    head = "query,decision,role,date,reason\n"
    (study / "decisions.csv").write_text(
        head
        + f"{differs.query},keep,assessor,2025-03-01,typed in kcal by the old console\n"
        + f"{beyond.query},keep,assessor,2025-03-01,a try-out\n"
        + "q00000000,keep,assessor,2025-03-01,typed wrongly\n"
    )
    opened = Study.open(study)
    assert [f.rule for f in opened.findings if f.column == "query"] == []
    left = opened.trace_findings()
    assert {f.query for f in asked} - {f.query for f in left} == {differs.query, beyond.query}
    wrong = next(f for f in left if f.rule == "no_such_query")
    assert (wrong.file, wrong.row, wrong.column, wrong.found) == ("decisions.csv", 4, "query", "q00000000")
    told = opened.full_ledger.decisions()
    assert told["query"].tolist() == [differs.query, beyond.query]
    assert told["rule"].tolist() == ["trace_differs", "no_session_row"]
    assert differs.query not in {f.query for f in opened.trace_queries()}


def test_a_decision_sets_no_trace_aside(folder) -> None:
    study = folder()
    write_traces(study / "traces" / "all.parquet", [trace("P1", "S2", 9.0)])
    query = Study.open(study).trace_queries()[0].query
    text = f"query,decision,role,date,reason\n{query},set_aside,assessor,2025-03-01,wrong\n"
    (study / "decisions.csv").write_text(text)
    with pytest.raises(DataError) as refused:
        Study.open(study).trace_findings()
    found = refused.value.findings[0]
    assert (found.grade, found.rule, found.row, found.column) == ("block", "decision", 2, "decision")
    assert "source under [dose] says which of the two counts" in found.expected


def test_findings_and_decisions_on_file_hold_those_about_traces(folder) -> None:
    from typer.testing import CliRunner

    from outcomes.cli.app import app

    study = folder()
    write_traces(study / "traces" / "all.parquet", [trace("P1", "S2", 9.0)])
    queries = [f.query for f in Study.open(study).trace_queries()]
    text = f"query,decision,role,date,reason\n{queries[0]},keep,assessor,2025-03-01,known\n"
    (study / "decisions.csv").write_text(text)
    assert CliRunner().invoke(app, ["check", str(study)]).exit_code == 0
    check = study / "results" / "check"
    assert pd.read_csv(check / "decisions.csv")["query"].tolist() == queries[:1]
    written = set(pd.read_csv(check / "findings.csv")["query"].dropna())
    assert set(queries[1:]) <= written
    assert queries[0] not in written
