"""Stimulation rows of every session, and second-by-second recordings of a few: what was put in comes out again."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.dose import dose_by_week, stimulation_by_channel, stimulation_by_session
from outcomes.study import Study
from synthetic_cohort import write_cohort
from synthetic_cohort.stimulating import CHANNELS


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    folder = tmp_path_factory.mktemp("stimulated") / "cohort"
    write_cohort(folder, people=5, seed=11)
    return Study.open(folder)


@pytest.fixture(scope="module")
def people(study: Study) -> list[dict]:
    import json

    assert study.folder is not None
    return json.loads((study.folder / "truth.json").read_text())["people"]


def test_every_delivered_session_has_every_channel(study: Study) -> None:
    sessions, rows = study.table("sessions"), study.table("stimulation")
    done = sessions[sessions["status"].isin(["done", "shortened"])]
    keys = ["participant_id", "session_id"]
    assert set(map(tuple, rows[keys].to_numpy())) == set(map(tuple, done[keys].to_numpy()))
    assert (rows.groupby(keys)["channel"].nunique() == len(CHANNELS)).all()
    assert {f.rule for f in study.findings if f.table == "stimulation"} <= {"soft_limit"}


def test_the_channels_are_those_of_the_protocol(study: Study) -> None:
    assert study.protocol.training is not None
    assert [(c.channel, c.muscle, c.side) for c in study.protocol.training.channels] == list(CHANNELS)


def test_the_charge_that_was_put_in_comes_out(study: Study, people: list[dict]) -> None:
    channels = stimulation_by_channel(study.table("stimulation"))
    charge = stimulation_by_session(channels).groupby("participant_id")["charge_stimulating_phase_c"].sum()
    for person in people:
        assert charge[person["participant_id"]] == pytest.approx(person["charge_stimulating_phase_c"], rel=1e-6)
    assert (channels["segments"] > 1).any()
    weeks = dose_by_week(study.tables, study.protocol).groupby("participant_id")["delivered_charge_c"].sum()
    assert weeks.to_dict() == pytest.approx(charge.to_dict())


def test_work_and_minutes_of_the_recordings_come_out(study: Study, people: list[dict]) -> None:
    summary = study.trace_summary
    truth = {(p["participant_id"], t["session_id"]): t for p in people for t in p["traces"]}
    found = summary.sessions.set_index(["participant_id", "session_id"])
    assert set(found.index) == set(truth)
    assert len(truth) >= 4
    for key, one in truth.items():
        row = found.loc[key]
        # noise of 8 % a sample over some 600 samples: its mean lies within 2 % by far
        assert row["recorded_work_j"] / 1000 == pytest.approx(one["work_kj"], rel=0.02)
        assert row["active_s"] / 60 == pytest.approx(one["active_minutes"], abs=0.15)
        assert row["active_bouts"] == (2 if one["pause_s"] else 1)
        assert row["motor_work_j"] < 0
        assert row["ramp_s"] > 0
    assert summary.findings == ()
    assert [f.rule for f in study.trace_queries()] == []


def test_recordings_are_the_same_bytes_and_an_earlier_cohort_leaves_none_behind(study: Study, tmp_path: Path) -> None:
    assert study.folder is not None
    write_cohort(tmp_path / "c", people=9, seed=11)
    more = {p.relative_to(tmp_path / "c"): p.read_bytes() for p in (tmp_path / "c" / "traces").rglob("*.csv")}
    mine = {p.relative_to(study.folder): p.read_bytes() for p in (study.folder / "traces").rglob("*.csv")}
    assert mine.items() < more.items()
    write_cohort(tmp_path / "c", people=5, seed=11)
    assert {p.relative_to(tmp_path / "c") for p in (tmp_path / "c" / "traces").rglob("*.csv")} == set(mine)
