"""Settings of all tests: generated examples are the same in every run, so that a failure can be seen again."""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None)
settings.load_profile("steady")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Run all tests side by side, up to four; those of a folder or file that was named, in this process."""
    if config.args_source is pytest.Config.ArgsSource.TESTPATHS:
        return min(4, os.cpu_count() or 1)
    config.option.dist = "no"
    return 0


LONGEST = (
    "cli/test_commands.py",
    "recovery/test_effects_are_recovered.py",
    "outcomes/reports/test_every_number.py",
    "recovery/test_planted_faults_are_found.py",
    "recovery/test_group_difference_is_recovered.py",
    "properties/test_dose_properties.py",
    "recovery/test_whole_path.py",
    "outcomes/reports/test_faults.py",
    "outcomes/intake/test_bad_studies.py",
)
"""Files that take longest, of which one process does each whole: they come first, so that none is left to it alone."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the tests of the longest files first."""
    here = Path(__file__).parent
    first = {here / name: place for place, name in enumerate(LONGEST)}
    gone = [str(path) for path in first if not path.is_file()]
    if gone:
        raise pytest.UsageError(f"tests/conftest.py names files that are not there: {', '.join(gone)}")
    items.sort(key=lambda item: first.get(item.path, len(first)))


def _crc(data: bytes) -> int:
    """Return the 16-bit checksum of a FIT file (its public protocol description)."""
    table = (0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401)
    table += (0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400)
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            crc = ((crc >> 4) & 0x0FFF) ^ table[crc & 0xF] ^ table[nibble]
    return crc


def _fit(
    path: Path, samples: Iterable[Mapping[str, Any]], session: Mapping[str, int] | Sequence[Mapping[str, int]] = ()
) -> Path:
    """Write a small FIT file of records: t_s, power_w, cadence_rpm, heart_rate_bpm, balance; None = invalid."""
    start, body = 1_000_000_000, bytearray()
    place = bytes([0x40, 0, 0]) + struct.pack("<HB", 20, 7)
    fields = [(253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (7, 2, 0x84), (4, 1, 0x02), (3, 1, 0x02), (30, 1, 0x02)]
    body += place + bytes(byte for one in fields for byte in one)
    for sample in samples:
        power, small = sample.get("power_w"), [sample.get(n) for n in ("cadence_rpm", "heart_rate_bpm", "balance")]
        values = [0xFFFF if power is None else int(power), *(0xFF if v is None else int(v) for v in small)]
        body += b"\x00" + struct.pack("<IiiHBBB", start + int(sample["t_s"]), 500_000_000, 100_000_000, *values)
    sessions = [session] if isinstance(session, Mapping) else session
    if sessions:
        body += bytes([0x41, 0, 0]) + struct.pack("<HB", 18, 4)
        body += bytes([253, 4, 0x86, 8, 4, 0x86, 48, 4, 0x86, 37, 2, 0x84])
    for one in sessions:
        values = [one.get("timer_ms", 0), one.get("total_work_j", 0), one.get("balance", 0xFFFF)]
        body += b"\x01" + struct.pack("<IIIH", start, *values)
    head = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    head += struct.pack("<H", _crc(head))
    whole = head + bytes(body)
    path.write_bytes(whole + struct.pack("<H", _crc(whole)))
    return path


def _tcx(path: Path, samples: Iterable[Mapping[str, Any]], start: str = "2025-03-30T00:30:00+00:00") -> Path:
    """Write a small TCX file with positions, which nobody may keep."""
    points = []
    for sample in samples:
        time = datetime.fromisoformat(start) + timedelta(seconds=float(sample["t_s"]))
        power, cadence, heart = (sample.get(name) for name in ("power_w", "cadence_rpm", "heart_rate_bpm"))
        points.append(
            f"<Trackpoint><Time>{time.isoformat().replace('+00:00', 'Z')}</Time>"
            "<Position><LatitudeDegrees>51.5</LatitudeDegrees><LongitudeDegrees>4.5</LongitudeDegrees></Position>"
            + ("" if heart is None else f"<HeartRateBpm><Value>{heart}</Value></HeartRateBpm>")
            + ("" if cadence is None else f"<Cadence>{cadence}</Cadence>")
            + ("" if power is None else f"<Extensions><x:TPX><x:Watts>{power}</x:Watts></x:TPX></Extensions>")
            + "</Trackpoint>"
        )
    spaces = 'xmlns="http://example.org/tcx" xmlns:x="http://example.org/x"'
    track = f"<Activities><Activity><Lap><Track>{''.join(points)}</Track></Lap></Activity></Activities>"
    text = f'<?xml version="1.0"?><TrainingCenterDatabase {spaces}>{track}</TrainingCenterDatabase>'
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def write_fit() -> Callable[..., Path]:
    """Write a small FIT file."""
    return _fit


@pytest.fixture(scope="session")
def write_tcx() -> Callable[..., Path]:
    """Write a small TCX file."""
    return _tcx
