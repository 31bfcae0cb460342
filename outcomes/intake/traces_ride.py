"""Ride files of public sensor formats, FIT and TCX: time, power, cadence, sides and heart rate; positions never."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

KEPT = ("power_w", "cadence_rpm", "left_power_w", "right_power_w", "heart_rate_bpm")
"""Channels that are taken from a ride file. Whatever else it holds, places above all, is never read into a table."""

NEEDS_EXTRA = "the extra 'rides': pip install 'outcomes[rides]', which reads FIT files"

Sample = dict[str, float]


@dataclass(slots=True)
class Ride:
    """What a ride file holds.

    Parameters
    ----------
    times : list of datetime
        Moment of every sample, in the file's own order.
    samples : list of dict
        Channel to value; a missing channel is absent.
    device : dict of str to float
        Totals that the device itself wrote: ``total_work_j``, ``timer_s``, ``right_percent``.
    trouble : str
        Why reading ended early; empty for a whole file.
    unknown_sides : int
        Samples with a balance whose side the file does not say.
    sessions : int
        Sessions that the file itself speaks of; 0 where it names none.
    """

    times: list[datetime] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)
    device: dict[str, float] = field(default_factory=dict)
    trouble: str = ""
    unknown_sides: int = 0
    sessions: int = 0

    def seconds(self) -> NDArray[np.float64]:
        """Return seconds from the first sample; no clock of summer or midnight bends them."""
        import numpy as np

        first = self.times[0] if self.times else None
        return np.array([(time - first).total_seconds() for time in self.times if first], dtype=np.float64)

    def channels(self) -> dict[str, NDArray[np.float64]]:
        """Return every channel that any sample has, nan where one lacks it."""
        import numpy as np

        found = {}
        for name in KEPT:
            values = np.array([sample.get(name, math.nan) for sample in self.samples], dtype=np.float64)
            if not np.isnan(values).all():
                found[name] = values
        return found


def right_share(raw: object) -> float:
    """Return the right side's share of a sample's power from its raw balance; nan where the side is not known.

    Parameters
    ----------
    raw : int, str or None
        Bit 7 set: the low 7 bits are the right side's percent. Bit 7 clear: some side's, nobody says whose. The word
        "right" is what the decoder makes of exactly 128.

    Examples
    --------
    >>> right_share(179), right_share("right"), right_share(51)
    (0.51, 0.0, nan)
    """
    code = 128 if raw == "right" else raw
    if not isinstance(code, int) or not code & 0x80 or code & 0x7F > 100:
        return math.nan
    return (code & 0x7F) / 100


def session_right_share(raw: object) -> float:
    """Return the right side's share of a whole ride from its raw balance; nan where the side is not known.

    Parameters
    ----------
    raw : int or None
        Bit 15 set: the low 14 bits are the right side's percent times 100.

    Examples
    --------
    >>> session_right_share(37986)
    0.5218
    """
    if not isinstance(raw, int) or not raw & 0x8000 or raw & 0x3FFF > 10_000:
        return math.nan
    return (raw & 0x3FFF) / 10_000


def read_fit(path: Path) -> Ride:
    """Read a FIT file as far as it can be read.

    Raises
    ------
    ImportError
        The extra ``rides`` is not installed.
    """
    import fitdecode

    ride = Ride()
    try:
        with fitdecode.FitReader(str(path), check_crc=fitdecode.CrcCheck.RAISE) as reader:
            for frame in reader:
                if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                    _take(frame.name, {one.name: one.value for one in frame.fields}, ride)
    except (fitdecode.FitError, OSError, EOFError, ValueError, KeyError, IndexError) as error:
        ride.trouble = f"{type(error).__name__}: {error}"
    return ride


def _take(name: str, values: dict[str, Any], ride: Ride) -> None:
    if name == "session":
        ride.sessions += 1
        work, timer = values.get("total_work"), values.get("total_timer_time")
        share = session_right_share(values.get("left_right_balance"))
        known = {"total_work_j": work, "timer_s": timer, "right_percent": None if share != share else 100 * share}
        ride.device |= {key: float(value) for key, value in known.items() if isinstance(value, int | float)}
    if name != "record" or not isinstance(values.get("timestamp"), datetime):
        return
    sample: Sample = {}
    _put(sample, "power_w", values.get("power"))
    _put(sample, "heart_rate_bpm", values.get("heart_rate"))
    _put(sample, "cadence_rpm", values.get("cadence"))
    if "cadence_rpm" in sample and isinstance(values.get("fractional_cadence"), int | float):
        sample["cadence_rpm"] += float(values["fractional_cadence"])
    raw = values.get("left_right_balance")
    share = right_share(raw)
    if share == share and "power_w" in sample:
        sample["right_power_w"] = share * sample["power_w"]
        sample["left_power_w"] = (1 - share) * sample["power_w"]
    elif raw is not None:
        ride.unknown_sides += 1
    ride.times.append(values["timestamp"])
    ride.samples.append(sample)


def _put(sample: Sample, name: str, value: object) -> None:
    if isinstance(value, int | float) and math.isfinite(value):
        sample[name] = float(value)


def read_tcx(path: Path) -> Ride:
    """Read a TCX file as far as it can be read."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException

    ride = Ride()
    try:
        for time, sample in _trackpoints(path, ride):
            ride.times.append(time)
            ride.samples.append(sample)
    except (ParseError, DefusedXmlException, OSError, ValueError) as error:
        ride.trouble = f"{type(error).__name__}: {error}"
    return ride


def _trackpoints(path: Path, ride: Ride) -> Iterator[tuple[datetime, Sample]]:
    from defusedxml.ElementTree import iterparse

    with path.open("rb") as file:
        for _, element in iterparse(file, events=("end",)):
            ride.sessions += _local(element.tag) == "Activity"
            if _local(element.tag) != "Trackpoint":
                continue
            texts = {_named(node, element): (node.text or "").strip() for node in element.iter()}
            element.clear()
            if texts.get("Time"):
                sample: Sample = {}
                for tag, name in (("Watts", "power_w"), ("Cadence", "cadence_rpm"), ("Heart", "heart_rate_bpm")):
                    if texts.get(tag):
                        _put(sample, name, float(texts[tag]))
                yield datetime.fromisoformat(texts["Time"]), sample


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _named(node: Any, point: Any) -> str:
    """Return the tag of a node; the value of the heart rate by the name of what holds it."""
    name = _local(node.tag)
    if name != "Value":
        return name
    return "Heart" if any(_local(one.tag) == "HeartRateBpm" and node in list(one) for one in point) else name
