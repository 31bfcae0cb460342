"""Time that summing the dose of a whole study takes; the sums are checked in the same run."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.dose import dose_by_visit, dose_by_week
from protocols import Protocol, packaged_path, read_protocol


def study(people: int, each: int) -> dict[str, pd.DataFrame]:
    ids = [f"P{i:05d}" for i in range(people)]
    n = people * each
    sessions = pd.DataFrame(
        {
            "participant_id": pd.Series(np.repeat(ids, each), dtype="str"),
            "session_id": pd.Series([f"S{i}" for i in range(n)], dtype="str"),
            "started_day": np.tile(np.arange(each) * 112 // each, people).astype(float),
            "started_clock": 600.0,
            "status": pd.Series(np.where(np.arange(n) % 7 == 3, "missed", "done"), dtype="str"),
            "active_minutes": 30.0,
            "work_kj": 12.0,
            "row_id": pd.Series([f"sessions/{i + 1}" for i in range(n)], dtype="str"),
        }
    ).sample(frac=1, random_state=1)
    visits = pd.DataFrame(
        {
            "participant_id": pd.Series(np.repeat(ids, 5), dtype="str"),
            "visit": pd.Series(["week0", "week4", "week8", "week12", "week16"] * people, dtype="str"),
            "visited_day": np.tile([0.0, 28.0, 56.0, 84.0, 112.0], people),
        }
    )
    return {"participants": pd.DataFrame({"participant_id": ids}), "visits": visits, "sessions": sessions}


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return read_protocol(packaged_path("leg_cycling_16_weeks"))


@pytest.mark.parametrize(("people", "each"), [(48, 48), (5000, 100)], ids=["48 people", "5000 people"])
@pytest.mark.parametrize("dose", [dose_by_visit, dose_by_week], ids=["by visit", "by week"])
def test_dose(benchmark: Any, protocol: Protocol, dose: Any, people: int, each: int) -> None:
    tables = study(people, each)
    found = benchmark.pedantic(dose, args=(tables, protocol), rounds=3, warmup_rounds=1)
    delivered = int((tables["sessions"]["status"] == "done").sum())
    at_end = found[found["visit"] == "week16"] if dose is dose_by_visit else found
    assert at_end["delivered_sessions"].sum() == delivered
    assert at_end["delivered_active_minutes"].sum() == 30 * delivered
