"""Invented traces for the benchmark: 1-Hz sessions of 45 minutes in Parquet files of whole sessions."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from outcomes.dose import PHASES, Batch
from outcomes.intake import write_traces

SECONDS = 2700
PER_FILE = 370
"""Sessions in a file: about a million rows."""


def make(folder: Path, rows: int, seed: int = 1) -> list[Path]:
    """Write at least `rows` rows and return the files; power falls, drops out, and is the motor's at both ends."""
    rng = np.random.default_rng(seed)
    files = []
    codes = {word: PHASES.index(word) for word in ("passive", "ramp", "active", "cooldown")}
    phase = np.full(SECONDS, codes["active"], dtype=np.int8)
    phase[:120], phase[120:180], phase[-120:] = codes["passive"], codes["ramp"], codes["cooldown"]
    t = np.arange(float(SECONDS))
    for number in range(-(-rows // (SECONDS * PER_FILE))):
        times = np.tile(t, PER_FILE) + np.repeat(rng.integers(0, 60, PER_FILE), SECONDS)
        pause = rng.integers(600, 2000, PER_FILE)
        times += np.where(np.tile(t, PER_FILE) > np.repeat(pause, SECONDS), 45.0, 0.0)
        power = np.where(phase == codes["active"], 8 + 9 * np.exp(-t / 180), -4)
        power = np.round(np.tile(power, PER_FILE) * rng.normal(1, 0.1, SECONDS * PER_FILE), 1)
        cadence = np.round(45 + rng.normal(0, 1.5, SECONDS * PER_FILE))
        ids = [f"P{number:03d}{i // 40:02d}" for i in range(PER_FILE)]
        sessions = [f"S{i % 40:03d}" for i in range(PER_FILE)]
        starts = np.arange(0, SECONDS * PER_FILE + 1, SECONDS)
        channels = {"power_w": power, "cadence_rpm": cadence}
        batch = Batch.of(ids, sessions, starts, times, channels, np.tile(phase, PER_FILE))
        path = folder / f"traces_{number:03d}.parquet"
        write_traces(path, [batch])
        files.append(path)
    return files


if __name__ == "__main__":
    print(len(make(Path(sys.argv[1]), int(sys.argv[2]))), "files")
