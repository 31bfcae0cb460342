"""Recorded rides against the totals that their devices wrote; SOURCES.md says where they come from.

The csv files hold raw values; the tests write FIT and TCX files from them and read those as a clinic's.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from outcomes.dose import TraceRules, summarise
from outcomes.intake.traces import TraceSource
from outcomes.intake.traces_ride import session_right_share

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((HERE / f"{name}.csv").read_text(encoding="utf-8").splitlines()))


DEVICES = {row["ride"]: row for row in rows("devices")}


def samples(name: str) -> list[dict[str, Any]]:
    return [{key: float(text) if text else None for key, text in row.items()} for row in rows(name)]


def read(path: Path) -> tuple[Any, list[str]]:
    batch, findings = TraceSource(path, path.name, ("P", "S")).piece(0)
    assert batch is not None
    assert set(batch.channels) <= {"power_w", "cadence_rpm", "left_power_w", "right_power_w", "heart_rate_bpm"}
    return summarise(batch).iloc[0], [finding.rule for finding in findings]


@pytest.fixture(scope="module")
def rides(tmp_path_factory: pytest.TempPathFactory, write_fit: Callable[..., Path]) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("rides")
    return {name: read(write_fit(folder / f"{name}.fit", samples(name))) for name in DEVICES}


def naive_trapezoid(name: str) -> float:
    known = [row for row in samples(name) if row["power_w"] is not None]
    t, p = (np.array([row[key] for row in known]) for key in ("t_s", "power_w"))
    return float((np.diff(t) * (p[1:] + p[:-1]) / 2).sum())


def test_a_gap_free_ride_gives_the_device_its_own_work(rides: dict[str, Any]) -> None:
    found, rules = rides["long_ride"]
    device = float(DEVICES["long_ride"]["total_work_j"])
    for name in ("recorded_work_j", "trapezoid_work_j"):
        assert found[name] == pytest.approx(device, rel=1e-4), name
    assert found["recorded_work_j"] == 1830773  # sum of the watts, each for one second
    assert found["unrecorded_s"] == 0
    assert "dropout" not in rules


# the gap rule of 5 s gives 13,953 and 23,526 J, the naive trapezoid 17,781 and 32,320 J; computed with numpy 2.4
@pytest.mark.parametrize(
    ("name", "ruled", "naive", "pause", "agreement"),
    [("paused_ride", 13953, 17781, 33 - 5, 0.025), ("twice_paused_ride", 23526, 32320, 14 - 5 + 121 - 5, 0.07)],
)
def test_a_pause_is_not_ridden(
    rides: dict[str, Any], name: str, ruled: int, naive: int, pause: int, agreement: float
) -> None:
    found, _ = rides[name]
    device = float(DEVICES[name]["total_work_j"])
    assert found["trapezoid_work_j"] == ruled
    assert found["unrecorded_s"] == pause
    for work in ("recorded_work_j", "trapezoid_work_j"):
        assert found[work] == pytest.approx(device, rel=agreement), work
    assert naive_trapezoid(name) == naive
    assert naive_trapezoid(name) != pytest.approx(device, rel=0.2)


@pytest.mark.parametrize("name", ["long_ride", "paused_ride"])
def test_both_exports_of_one_ride_agree_to_a_joule(
    rides: dict[str, Any], name: str, tmp_path: Path, write_tcx: Callable[..., Path]
) -> None:
    tcx, _ = read(write_tcx(tmp_path / "ride.tcx", samples(f"{name}_tcx")))
    for work in ("recorded_work_j", "trapezoid_work_j"):
        assert tcx[work] == pytest.approx(rides[name][0][work], abs=1), work


# the device's own share of the right side and the power-weighted mean of the samples, both in percent
@pytest.mark.parametrize(
    ("name", "device", "weighted"),
    [("long_ride", 52.18, 52.17), ("paused_ride", 51.31, 51.27), ("twice_paused_ride", 47.83, 47.44)],
)
def test_the_balance_is_weighted_by_power(rides: dict[str, Any], name: str, device: float, weighted: float) -> None:
    assert 100 * session_right_share(int(DEVICES[name]["balance"])) == pytest.approx(device, abs=0.005)
    both = [(row["power_w"], int(row["balance"]) & 0x7F) for row in samples(name) if row["power_w"] and row["balance"]]
    power, right = (np.array(column) for column in zip(*both, strict=True))
    assert float((power * right).sum() / power.sum()) == pytest.approx(weighted, abs=0.005)
    found, _ = rides[name]
    share = 100 * found["right_work_j"] / (found["left_work_j"] + found["right_work_j"])
    # weighted by seconds too: the last sample before a pause stands longer, which moves it by up to 0.2 points
    assert share == pytest.approx(weighted, abs=0.01 if name == "long_ride" else 0.2)


def test_a_longer_gap_rule_counts_more_of_a_pause(tmp_path: Path, write_fit: Callable[..., Path]) -> None:
    batch, _ = TraceSource(write_fit(tmp_path / "r.fit", samples("paused_ride")), "r.fit", ("P", "S")).piece(0)
    assert batch is not None
    loose = summarise(batch, TraceRules(gap_s=math.inf)).iloc[0]
    assert loose["trapezoid_work_j"] == 17781
    assert loose["unrecorded_s"] == 0
