"""Stimulation exposure of every session and channel, segment by segment of the current."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from outcomes.dose import stimulation as one
from outcomes.dose.timeline import numbers, texts
from outcomes.errors import DesignError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd

    from outcomes.dose.timeline import Floats

SETTINGS = ("current_ma", "pulse_width_us", "frequency_hz", "phases", "electrode_area_cm2", "duty_fraction")

CHANNEL_COLUMNS = (
    "participant_id",
    "session_id",
    "channel",
    "muscle",
    "side",
    "segments",
    "stimulated_s",
    "mean_current_ma",
    "peak_current_ma",
    "peak_charge_per_phase_uc",
    "peak_charge_density_uc_cm2",
    "peak_rms_current_ma",
    "peak_rms_density_ma_cm2",
    "peak_energy_per_pulse_mj",
    "pulses",
    "charge_stimulating_phase_c",
    "charge_both_phases_c",
    "net_charge_c",
    "reason",
    "cells",
)
"""Columns of `stimulation_by_channel`. Peaks are those of the segment with the most."""

SESSION_COLUMNS = (
    "participant_id",
    "session_id",
    "channels",
    "channels_without_charge",
    "charge_stimulating_phase_c",
    "charge_both_phases_c",
    "peak_rms_density_ma_cm2",
    "peak_energy_per_pulse_mj",
)
"""Columns of `stimulation_by_session`."""

_WORDS = ("participant_id", "session_id", "muscle", "side", "reason", "cells")


def stimulation_by_channel(table: pd.DataFrame, active_minutes: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return what each channel delivered in each session.

    Parameters
    ----------
    table : DataFrame
        The table ``stimulation``: a row per segment, in which the settings stay the same.
    active_minutes : DataFrame, optional
        Columns participant_id, session_id, active_minutes: how long a channel ran whose only segment has no times.

    Returns
    -------
    DataFrame
        A row per session and channel, columns `CHANNEL_COLUMNS`. A quantity that needs a setting which is not on record
        is nan, and ``reason`` names the setting; no setting is ever assumed. The charge is that of the stimulating
        phase; both phases carry twice as much, and 0 net, where two balanced phases are on record.

    Notes
    -----
    The charge is the sum over the segments of I x PW x f x duty x t, so a current that was stepped up counts as it was,
    not at its maximum.
    """
    import pandas as pd

    columns = ["participant_id", "session_id", "row_id", "muscle", "side"]
    frame = pd.DataFrame({name: texts(table, name) for name in columns})
    for name in ("channel", "segment", "from_s", "to_s", *SETTINGS):
        frame[name] = numbers(table, name)
    minutes: dict[tuple[str, str], float] = {}
    if active_minutes is not None:
        ids = zip(texts(active_minutes, "participant_id"), texts(active_minutes, "session_id"), strict=True)
        minutes = dict(zip(ids, numbers(active_minutes, "active_minutes").tolist(), strict=True))
    rows = []
    groups: dict[tuple[str, str, float], list[dict[str, Any]]] = {}
    for row in frame.sort_values(["participant_id", "session_id", "channel", "segment"]).to_dict("records"):
        groups.setdefault((row["participant_id"], row["session_id"], row["channel"]), []).append(
            {str(name): value for name, value in row.items()}
        )
    for (person, session, _), segments in groups.items():
        rows.append(_channel(segments, 60 * minutes.get((person, session), math.nan)))
    found = pd.DataFrame(rows, columns=list(CHANNEL_COLUMNS))
    return found.astype({name: "str" if name in _WORDS else "float64" for name in CHANNEL_COLUMNS})


def session_charges(table: pd.DataFrame, sessions: pd.DataFrame) -> Floats:
    """Return the charge of the stimulating phases of each session, over all its channels, in C.

    Parameters
    ----------
    table : DataFrame
        The table ``stimulation``.
    sessions : DataFrame
        The table ``sessions``, whose active minutes stand for the time of a channel whose only segment has none.

    Returns
    -------
    array of shape (n_sessions,)
        nan where the session has no row of stimulation, or one of which a setting is not on record.
    """
    import numpy as np
    import pandas as pd

    keys = ["participant_id", "session_id"]
    frame = pd.DataFrame({name: texts(table, name) for name in keys})
    frame["channel"] = numbers(table, "channel")
    minutes = pd.DataFrame({name: texts(sessions, name) for name in keys})
    minutes["active_s"] = 60 * numbers(sessions, "active_minutes")
    active = frame.merge(minutes.drop_duplicates(keys), on=keys, how="left")["active_s"].to_numpy(dtype=np.float64)
    alone = ~frame.duplicated([*keys, "channel"], keep=False).to_numpy()
    seconds = numbers(table, "to_s") - numbers(table, "from_s")
    seconds = np.where(alone & np.isnan(seconds), active, seconds)
    current, width, frequency, duty = (
        numbers(table, name) for name in ("current_ma", "pulse_width_us", "frequency_hz", "duty_fraction")
    )
    frame["charge"] = current * width * 1e-9 * frequency * duty * seconds
    groups = frame.groupby(keys)["charge"]
    known = groups.sum(min_count=1).where(groups.count() == groups.size()).rename("charge").reset_index()
    return minutes.merge(known, on=keys, how="left")["charge"].to_numpy(dtype=np.float64)


def _channel(segments: list[dict[str, Any]], active_s: float) -> dict[str, Any]:
    """Return the row of one channel."""
    for segment in segments:
        segment["seconds"] = segment["to_s"] - segment["from_s"]
        if len(segments) == 1 and math.isnan(segment["seconds"]):
            segment["seconds"] = active_s
    width, area = ("current_ma", "pulse_width_us"), ("electrode_area_cm2",)
    train = (*width, "frequency_hz", "phases")
    charges = _each(segments, one.charge_delivered, (*width, "frequency_hz", "duty_fraction", "seconds"))
    stimulated = _each(segments, lambda seconds: seconds, ("seconds",))
    charge, seconds = math.fsum(charges), math.fsum(stimulated)
    balanced = all(segment["phases"] == 2 for segment in segments)
    currents = [segment["current_ma"] for segment in segments]
    weighted = math.fsum(c * s for c, s in zip(currents, stimulated, strict=True))
    first = segments[0]
    return {
        **{name: first[name] for name in ("participant_id", "session_id", "channel", "muscle", "side")},
        "segments": len(segments),
        "stimulated_s": seconds,
        "mean_current_ma": weighted / seconds if seconds > 0 else math.nan,
        "peak_current_ma": _peak(currents),
        "peak_charge_per_phase_uc": _peak(_each(segments, one.charge_per_phase, width)),
        "peak_charge_density_uc_cm2": _peak(_each(segments, one.charge_density, (*width, *area))),
        "peak_rms_current_ma": _peak(_each(segments, one.rms_current, train)),
        "peak_rms_density_ma_cm2": _peak(_each(segments, one.rms_density, (*train, *area))),
        "peak_energy_per_pulse_mj": _peak(_each(segments, one.energy_per_pulse, (*width, "phases"))),
        "pulses": math.fsum(_each(segments, one.pulses_delivered, ("frequency_hz", "duty_fraction", "seconds"))),
        "charge_stimulating_phase_c": charge,
        "charge_both_phases_c": 2 * charge if balanced else math.nan,
        "net_charge_c": 0.0 if balanced and not math.isnan(charge) else math.nan,
        "reason": _reason(segments),
        "cells": " ".join(segment["row_id"] for segment in segments if segment["row_id"]),
    }


def _each(segments: Sequence[dict[str, Any]], formula: Callable[..., float], names: tuple[str, ...]) -> list[float]:
    """Return a quantity of every segment; nan where a setting is missing or cannot be."""
    found = []
    for segment in segments:
        values = [segment[name] for name in names]
        try:
            found.append(math.nan if any(math.isnan(value) for value in values) else formula(*values))
        except DesignError:
            found.append(math.nan)
    return found


def _peak(values: list[float]) -> float:
    """Return the largest value; nan where any is not known, for that one might be larger."""
    return math.nan if any(math.isnan(value) for value in values) else max(values)


def _reason(segments: list[dict[str, Any]]) -> str:
    names = {**{name: name for name in SETTINGS}, "seconds": "from_s and to_s"}
    missing = [words for name, words in names.items() if any(math.isnan(segment[name]) for segment in segments)]
    return f"not on record: {', '.join(missing)}" if missing else ""


def stimulation_by_session(channels: pd.DataFrame) -> pd.DataFrame:
    """Return what all channels of each session delivered together.

    Parameters
    ----------
    channels : DataFrame
        Of `stimulation_by_channel`.

    Returns
    -------
    DataFrame
        A row per session, columns `SESSION_COLUMNS`. Sums are over the channels whose charge is known, with the number
        of the others beside (then the sum is a lower bound); nan where none is. Peaks are those of the channel with
        the most, nan where one is not known.
    """
    import pandas as pd

    rows = []
    for (person, session), part in channels.groupby(["participant_id", "session_id"], sort=True):
        charge, both = part["charge_stimulating_phase_c"], part["charge_both_phases_c"]
        peaks = [_peak(part[f"peak_{name}"].tolist()) for name in ("rms_density_ma_cm2", "energy_per_pulse_mj")]
        sums = (charge.sum(min_count=1), both.sum(min_count=1))
        rows.append((person, session, len(part), int(charge.isna().sum()), *sums, *peaks))
    frame = pd.DataFrame(rows, columns=list(SESSION_COLUMNS))
    return frame.astype({name: "str" if name in _WORDS else "float64" for name in SESSION_COLUMNS})


def limit_lines(channels: pd.DataFrame) -> list[str]:
    """Return one sentence for each published limit: what it says, and how many channels of sessions lie above it.

    Parameters
    ----------
    channels : DataFrame
        Of `stimulation_by_channel`.
    """
    lines = []
    for limit in one.LIMITS:
        values = channels[f"peak_{limit.quantity}"].dropna()
        above = int((values > limit.value).sum())
        lines.append(
            f"{limit.source}: {limit.says}. Above it: {above} of {len(values)} channels of sessions "
            f"({len(channels) - len(values)} not known). This states an exposure, not whether a setting is safe."
        )
    return lines
