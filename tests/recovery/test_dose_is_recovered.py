"""The dose summed from the tables is the dose that was put into them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from outcomes.dose import dose_by_visit, dose_by_week, dose_intensity
from outcomes.intake import read_folder
from outcomes.measures import Catalogue
from protocols import Protocol, read_protocol
from synthetic_cohort import write_cohort

Read = tuple[dict[str, pd.DataFrame], Protocol, dict[str, Any]]


@pytest.fixture(scope="module", params=[7, 31])
def read(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Read:
    folder: Path = tmp_path_factory.mktemp("cohort")
    written = write_cohort(folder, seed=request.param, people=30)
    protocol = read_protocol(written.protocol)
    truth = json.loads(written.truth.read_text())
    return read_folder(folder, protocol, Catalogue.packaged()).tables, protocol, truth


def test_sessions_and_minutes_up_to_every_visit_are_those_of_the_truth(read: Read) -> None:
    tables, protocol, truth = read
    dose = dose_by_visit(tables, protocol).set_index(["participant_id", "visit"])
    held = tables["visits"].query("status == 'held'")
    assert len(held) > 100
    for name, visit in zip(held["participant_id"], held["visit"], strict=True):
        true = next(p for p in truth["people"] if p["participant_id"] == name)["visits"][visit]
        found = dose.loc[(name, visit)]
        assert found["delivered_sessions"] == true["delivered_sessions"]
        if true["delivered_sessions"]:
            assert found["delivered_active_minutes"] == pytest.approx(true["delivered_active_minutes"], abs=1e-6)
            assert found["hours_since_last_session"] == pytest.approx(true["hours_since_last_session"], abs=1e-5)
        if found["sessions_without_work"] == 0 and true["delivered_sessions"]:
            assert found["delivered_work_kj"] == pytest.approx(true["delivered_work_kj"], abs=1e-6)


def test_planned_and_missing_sessions_of_the_whole_programme_are_those_of_the_truth(read: Read) -> None:
    tables, protocol, truth = read
    weeks = dose_by_week(tables, protocol).groupby("participant_id").sum(numeric_only=True)
    for person in truth["people"]:
        found = weeks.loc[person["participant_id"]]
        assert found["planned_sessions"] == person["planned_sessions"]
        assert found["delivered_sessions"] == person["delivered_sessions"]
        assert found["planned_active_minutes"] == pytest.approx(person["planned_active_minutes"], abs=1e-6)


def test_relative_dose_both_ways_is_that_of_the_truth(read: Read) -> None:
    tables, protocol, truth = read
    weeks = dose_by_week(tables, protocol).groupby("participant_id").sum(numeric_only=True)
    found = dose_intensity(weeks["planned_active_minutes"], weeks["delivered_active_minutes"])
    people = truth["people"]
    planned = [p["planned_active_minutes"] for p in people]
    delivered = [p["delivered_active_minutes"] for p in people]
    ratios = [d / p for d, p in zip(delivered, planned, strict=True)]
    assert found.mean_of_ratios.value == pytest.approx(sum(ratios) / len(ratios), abs=1e-9)
    assert found.ratio_of_sums.value == pytest.approx(sum(delivered) / sum(planned), abs=1e-9)
