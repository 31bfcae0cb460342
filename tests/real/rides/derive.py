"""Derive the csv files of this folder from the recordings of the package that SOURCES.md names; no position is read.

pip install --no-deps --target PLACE sweat==0.25.0 && python derive.py PLACE
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path
from xml.etree import ElementTree

import fitdecode

RIDES = {
    "long_ride": "4078723797.fit",
    "paused_ride": "2020-06-01-16-52-40.fit",
    "twice_paused_ride": "6449921903_ACTIVITY.fit",
}
TRACKS = {"long_ride_tcx": "activity_4078723797.tcx", "paused_ride_tcx": "activity_5039744860.tcx"}
HERE = Path(__file__).parent


def fit(path: Path) -> tuple[list[list[object]], list[object]]:
    """Return the samples, and the totals of the device."""
    rows, totals, start = [], [], None
    with fitdecode.FitReader(str(path)) as reader:
        for frame in reader:
            if frame.frame_type != fitdecode.FIT_FRAME_DATA or frame.name not in ("record", "session"):
                continue
            one = {field.name: field.value for field in frame.fields}
            if frame.name == "session":
                totals = [one["total_work"], one["total_timer_time"], one["avg_power"], one["left_right_balance"]]
            else:
                start = start or one["timestamp"]
                balance = 128 if one.get("left_right_balance") == "right" else one.get("left_right_balance")
                seconds = int((one["timestamp"] - start).total_seconds())
                rows.append([seconds, one.get("power"), one.get("cadence"), balance])
    return rows, totals


def tcx(path: Path) -> list[list[object]]:
    """Return seconds and watts of every track point."""
    from datetime import datetime

    rows, start = [], None
    for point in ElementTree.parse(path).iter():
        if point.tag.endswith("}Trackpoint"):
            texts = {node.tag.rpartition("}")[2]: node.text for node in point.iter()}
            time = datetime.fromisoformat(texts["Time"])
            start = start or time
            rows.append([int((time - start).total_seconds()), texts.get("Watts")])
    return rows


def write(name: str, headings: list[str], rows: list[list[object]]) -> None:
    """Write one csv file."""
    with (HERE / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerows([headings, *rows])


if __name__ == "__main__":
    data = Path(sys.argv[1]) / "sweat" / "examples" / "data"
    devices = []
    for name, file in RIDES.items():
        samples, totals = fit(data / file)
        write(name, ["t_s", "power_w", "cadence_rpm", "balance"], samples)
        devices.append([name, *totals])
    for name, file in TRACKS.items():
        write(name, ["t_s", "power_w"], tcx(data / file))
    write("devices", ["ride", "total_work_j", "timer_s", "mean_power_w", "balance"], devices)
