"""`outcomes dose`: every table of the training, what the traces hold, and the picture of a session."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from outcomes.dose import one_session
from outcomes.intake import write_traces

TABLES = (
    "by_visit",
    "windows",
    "by_week",
    "by_person",
    "by_mode",
    "programme",
    "fitt",
    "guideline_weeks",
    "internal_load",
    "mean_loads",
)


@pytest.fixture
def traced(study: Path, tmp_path: Path) -> tuple[Path, str]:
    """A copy of the small study with a trace of its first delivered session, which says twice the work."""
    folder = tmp_path / "traced"
    shutil.copytree(study, folder)
    shutil.rmtree(folder / "traces", ignore_errors=True)
    rows = list(csv.DictReader((folder / "sessions.csv").read_text(encoding="utf-8").splitlines()))
    row = next(row for row in rows if row["status"] == "done" and row["work_kj"])
    seconds = 60 * float(row["active_minutes"])
    t = np.arange(seconds + 1)
    watts = 2000 * float(row["work_kj"]) / seconds + np.where(t % 2, 0.5, -0.5)
    ids = {"participant_id": row["participant_id"], "session_id": row["session_id"]}
    write_traces(folder / "traces" / "one.parquet", [one_session(t, power_w=watts, **ids)])
    return folder, f"{row['participant_id']}/{row['session_id']}"


def test_all_tables_are_written_and_the_programme_is_printed(cli: Any, traced: tuple[Path, str]) -> None:
    folder, _ = traced
    ran = cli("dose", folder)
    assert ran.code == 0, ran.err
    assert ran.out.startswith("participant_id,visit,")
    assert "cells" not in ran.out.splitlines()[0].split(",")
    assert "cells" in (folder / "results" / "dose" / "by_visit.csv").read_text().splitlines()[0].split(",")
    written = {path.stem for path in (folder / "results" / "dose").iterdir()}
    assert written >= {*TABLES, "trace_sessions", "trace_queries"}
    for said in (
        "metabolic energy: not reported: no efficiency is assumed",
        "attendance",
        "discontinuation, people",
        "sessions per week",
        "1 session with a trace",
    ):
        assert said in ran.err
    queries = list(csv.DictReader((folder / "results" / "dose" / "trace_queries.csv").read_text().splitlines()))
    differs = [row for row in queries if row["rule"] == "trace_differs" and row["column"] == "work_kj"]
    assert [row["file"] for row in differs] == ["sessions.csv"]
    checked = cli("check", folder)
    for printed in (ran.err, checked.out):
        assert "sessions.csv, row" in printed
        assert "of the trace's" in printed


def test_all_tables_are_one_document_as_json(cli: Any, study: Path) -> None:
    ran = cli("dose", study, "--json", "--quiet")
    assert ran.code == 0
    assert set(json.loads(ran.out)) >= set(TABLES)


def test_a_session_with_a_trace_is_drawn(cli: Any, traced: tuple[Path, str]) -> None:
    folder, session = traced
    ran = cli("dose", folder, "--session", session)
    assert ran.code == 0, ran.err
    assert "in 1 bout" in ran.err
    assert "No findings" not in ran.err
    assert "trace_differs" in (folder / "results" / "check" / "findings.csv").read_text()
    kinds = sorted(path.suffix for path in (folder / "results" / "sessions").iterdir())
    assert kinds == [".csv", ".png", ".svg", ".txt"]
    assert not any(session.partition("/")[0] in path.name for path in (folder / "results" / "sessions").iterdir())


def test_a_dose_from_traces_that_are_not_there_is_refused_in_words(cli: Any, study: Path, tmp_path: Path) -> None:
    folder = tmp_path / "untraced"
    shutil.copytree(study, folder)
    shutil.rmtree(folder / "traces", ignore_errors=True)
    text = (folder / "protocol.toml").read_text(encoding="utf-8")
    (folder / "protocol.toml").write_text(text.replace('source = "sessions"', 'source = "traces"'), encoding="utf-8")
    ran = cli("dose", folder)
    assert ran.code == 3
    assert "takes the dose from traces, and the study has none" in ran.err
