"""The one definition of work, minutes, bouts and sides of a session: whole traces in, a row per session out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.batch import PHASES, Batch
from outcomes.dose.phases import ACTIVE, VOLUNTARY, TraceRules, phases_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.dose.timeline import Flags, Floats, Integers

BLOCK = 1 << 15
"""Samples that are worked on at once: few enough for the caches of a processor."""

COLUMNS = (
    "participant_id",
    "session_id",
    "samples",
    "total_s",
    "recorded_s",
    "unrecorded_s",
    *(f"{phase}_s" for phase in PHASES),
    "active_bouts",
    "longest_bout_s",
    "recorded_work_j",
    "trapezoid_work_j",
    "voluntary_work_j",
    "motor_work_j",
    "mean_power_w",
    "peak_power_w",
    "mean_cadence_rpm",
    "mean_heart_rate_bpm",
    "left_work_j",
    "right_work_j",
    "reason",
)
"""Columns of `summarise`, in order."""

ROUNDING_S = 1e-9
"""How far a step may exceed the gap by the rounding of its two times: 8.3 - 3.3 s is no longer than 5 s."""

NO_POWER = "no power"
WORDS = ("participant_id", "session_id", "reason")


@dataclass(frozen=True, slots=True)
class _Held:
    """A batch without the samples whose power dropped out, and how long each sample stands."""

    batch: Batch
    step: Floats
    held: Floats
    short: Flags
    power: Floats | None
    has_power: Flags


def summarise(batch: Batch, rules: TraceRules | None = None) -> pd.DataFrame:
    """Return what each session of a batch holds.

    Parameters
    ----------
    batch : Batch
    rules : TraceRules, optional

    Returns
    -------
    DataFrame
        A row per session in the batch's order, columns `COLUMNS`; seconds, joules, watts. ``reason`` is "no power"
        where no sample has any: then every work and power is nan, never 0, and so are the active seconds unless the
        phases are declared.

    Notes
    -----
    A sample holds until the next one, at most for ``rules.gap_s``; samples without power are passed over, so that a
    short dropout is bridged like a short step and a long one is not. With h_i the time that sample i holds, d_i the
    step to the next one and A the samples that are active with positive power:

        recorded work = sum over A of P_i h_i;
        trapezoid work = sum over A with d_i <= gap of (max(P_i, 0) + max(P_i+1, 0)) / 2 d_i;
        motor work = sum of min(P_i, 0) h_i over the whole session, never added to the rider's.

    Where the phases are inferred, the step into an active sample counts for the trapezoids too: power rises within it.
    The last sample of a session has no time of its own, so that a session cut at a sample adds up.

    Examples
    --------
    >>> from outcomes.dose import one_session
    >>> rows = summarise(one_session([0, 1, 2, 3], power_w=[10, 10, 20, 0]))
    >>> rows[["recorded_work_j", "trapezoid_work_j", "active_s"]].to_numpy().tolist()
    [[40.0, 35.0, 3.0]]
    """
    import numpy as np
    import pandas as pd

    rules = rules or TraceRules()
    names = [name for name in COLUMNS if name not in WORDS]
    numbers = np.zeros((len(batch), len(names)))
    without = np.zeros(len(batch), dtype=np.bool_)
    low = 0
    for part in batch.blocks(BLOCK):
        found, high = summarise_block(part, rules), low + len(part)
        for i, name in enumerate(names):
            numbers[low:high, i] = found[name]
        without[low:high] = found["_no_power"] > 0
        low = high
    frame = pd.DataFrame(numbers, columns=names)
    frame.insert(0, "participant_id", pd.Series(list(batch.participants), dtype="str"))
    frame.insert(1, "session_id", pd.Series(list(batch.sessions), dtype="str"))
    frame["reason"] = pd.Series(np.where(without, NO_POWER, ""), dtype="str")
    return frame


def joined(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Return session rows of several batches, by participant and session: the order of files is irrelevant."""
    import pandas as pd

    parts = [frame for frame in frames if len(frame)]
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype="str" if name in WORDS else "float64") for name in COLUMNS})
    whole = pd.concat(parts, ignore_index=True)
    return whole.sort_values(["participant_id", "session_id"], kind="stable", ignore_index=True)


def summarise_block(batch: Batch, rules: TraceRules) -> dict[str, Floats]:
    """Return the numbers of `summarise` as arrays, and ``_no_power``: 1 where a session has none."""
    import numpy as np

    first, last = batch.starts[:-1], batch.starts[1:] - 1
    total = batch.t_s[last] - batch.t_s[first]
    found = _hold(batch, rules)
    at = found.batch.starts[:-1]
    code, active = _active(found, rules)
    weight = found.held * active
    seconds, recorded = np.add.reduceat(weight, at), np.add.reduceat(found.held, at)
    columns: dict[str, Floats] = {
        "samples": np.diff(batch.starts).astype(np.float64),
        "total_s": total,
        "recorded_s": recorded,
        "unrecorded_s": np.maximum(total - recorded, 0.0),
        "_no_power": (~found.has_power).astype(np.float64),
    }
    columns |= _phase_seconds(found, code) | {"active_s": seconds}
    columns |= _bouts(found, active, weight)
    columns |= _work(found, code, active, weight)
    columns["mean_power_w"] = _over(columns["recorded_work_j"], seconds)
    columns |= _means(found, weight, seconds)
    unknown = ~found.has_power if batch.phase is None else ~found.has_power & (columns["_declared"] == 0)
    for name in ("active_s", "voluntary_s", "active_bouts", "longest_bout_s"):
        columns[name] = np.where(unknown, np.nan, columns[name])
    return columns


def bouts_of(batch: Batch, rules: TraceRules | None = None) -> tuple[Integers, Floats]:
    """Return the active bout of every sample, and until when it holds.

    Parameters
    ----------
    batch : Batch
    rules : TraceRules, optional

    Returns
    -------
    bout : array of int, shape (n_samples,)
        From 1 in each session, 0 outside bouts; a sample whose power dropped out is in none, and a bout that takes
        no time is none.
    until_s : array of float, shape (n_samples,)
        As `t_s`; of a sample whose power dropped out its own time.

    Examples
    --------
    >>> from outcomes.dose import one_session
    >>> bouts_of(one_session([0, 1, 2, 3, 4], power_w=[9, 9, 0, 9, 9]))[0].tolist()
    [1, 1, 0, 2, 2]
    """
    import numpy as np

    rules = rules or TraceRules()
    found = _hold(batch, rules)
    _, active = _active(found, rules)
    starts, begins = found.batch.starts, _begins(found, active)
    stretch = np.cumsum(begins)
    lasting = np.bincount(stretch, weights=found.held * active, minlength=1) > 0
    lasting[0] = False
    counted = np.cumsum(lasting)
    before = counted[stretch[starts[:-1]] - begins[starts[:-1]]]
    number: Integers = counted[stretch] - np.repeat(before, np.diff(starts))
    bout, until = np.zeros(len(batch.t_s), dtype=np.int64), batch.t_s.copy()
    kept = ~_lost(batch)
    bout[kept] = np.where(active & lasting[stretch], number, 0)
    until[kept] = found.batch.t_s + found.held
    return bout, until


def _active(found: _Held, rules: TraceRules) -> tuple[NDArray[np.int8], Flags]:
    """Return the phase of every sample, and whether it is active with the rider's power."""
    code = phases_of(found.batch, rules)
    active = code == ACTIVE
    if found.power is not None:
        active &= found.power > 0 if found.has_power.all() else (found.power > 0) | ~_each(found.has_power, found.batch)
    return code, active


def _begins(found: _Held, active: Flags) -> Flags:
    """Return where a stretch of active riding begins; a gap in the recording ends one."""
    starts = found.batch.starts
    begins = active.copy()
    begins[1:] &= ~(active[:-1] & found.short[:-1])
    begins[starts[:-1]] = active[starts[:-1]]
    return begins


def _lost(batch: Batch) -> Flags:
    """Return the samples whose power dropped out, in sessions that have any power."""
    import numpy as np

    power = batch.channels.get("power_w")
    if power is None or not (lost := np.isnan(power)).any():
        return np.zeros(len(batch.t_s), dtype=np.bool_)
    return lost & _each(~np.logical_and.reduceat(lost, batch.starts[:-1]), batch)


def _each(values: Flags, batch: Batch) -> Flags:
    import numpy as np

    return np.repeat(values, np.diff(batch.starts))


def _hold(batch: Batch, rules: TraceRules) -> _Held:
    """Return the batch without power dropouts, and how long each sample holds."""
    import numpy as np

    power = batch.channels.get("power_w")
    has_power = np.zeros(len(batch), dtype=np.bool_)
    if power is not None:
        lost = np.isnan(power)
        has_power[:] = True
        if lost.any():
            has_power = ~np.logical_and.reduceat(lost, batch.starts[:-1])
            batch = _without(batch, lost & _each(has_power, batch))
            power = batch.channels["power_w"]
    step = np.empty(len(batch.t_s))
    np.subtract(batch.t_s[1:], batch.t_s[:-1], out=step[:-1])
    step[batch.starts[1:] - 1] = 0.0
    return _Held(batch, step, np.minimum(step, rules.gap_s), step <= rules.gap_s + ROUNDING_S, power, has_power)


def _without(batch: Batch, lost: Flags) -> Batch:
    import numpy as np

    kept = ~lost
    if kept.all():
        return batch
    counts = np.add.reduceat(kept.astype(np.int64), batch.starts[:-1])
    return Batch(
        batch.participants,
        batch.sessions,
        np.append(0, np.cumsum(counts)),
        batch.t_s[kept],
        {name: values[kept] for name, values in batch.channels.items()},
        None if batch.phase is None else batch.phase[kept],
    )


def _phase_seconds(found: _Held, code: NDArray[np.int8]) -> dict[str, Floats]:
    """Return the seconds of every phase, summed over the stretches in which it stays the same."""
    import numpy as np

    n, words, starts = len(found.batch), len(PHASES), found.batch.starts
    new = np.empty(len(code), dtype=np.bool_)
    np.not_equal(code[1:], code[:-1], out=new[1:])
    new[starts[:-1]] = True
    at = np.flatnonzero(new)
    place = (np.searchsorted(starts, at, side="right") - 1) * (words + 1) + code[at] + 1
    held = np.add.reduceat(found.held, at)
    seconds = np.bincount(place, weights=held, minlength=n * (words + 1)).astype(np.float64).reshape(n, words + 1)
    columns: dict[str, Floats] = {f"{word}_s": seconds[:, 1 + i] for i, word in enumerate(PHASES)}
    return columns | {"_declared": seconds[:, 1:].sum(axis=1)}


def _bouts(found: _Held, active: Flags, weight: Floats) -> dict[str, Floats]:
    """Return the number and the longest of the stretches of active riding that take time."""
    import numpy as np

    n, starts = len(found.batch), found.batch.starts
    at = np.flatnonzero(_begins(found, active))
    longest, count = np.zeros(n), np.zeros(n)
    if len(at):
        session = np.searchsorted(starts, at, side="right") - 1
        lengths = np.add.reduceat(weight, at)
        np.maximum.at(longest, session, lengths)
        np.add.at(count, session, (lengths > 0).astype(np.float64))
    return {"active_bouts": count, "longest_bout_s": longest}


def _work(found: _Held, code: NDArray[np.int8], active: Flags, weight: Floats) -> dict[str, Floats]:
    import numpy as np

    n, at = len(found.batch), found.batch.starts[:-1]
    names = ("recorded_work_j", "trapezoid_work_j", "voluntary_work_j", "motor_work_j", "peak_power_w")
    if found.power is None:
        return {name: np.full(n, np.nan) for name in names}
    power = found.power
    columns = {"recorded_work_j": np.add.reduceat(power * weight, at)}
    columns["trapezoid_work_j"] = np.add.reduceat(_trapezoids(power, found, active), at)
    columns |= {"voluntary_work_j": np.zeros(n), "motor_work_j": np.zeros(n)}
    free = code == VOLUNTARY
    if free.any():
        columns["voluntary_work_j"] = np.add.reduceat(np.maximum(power, 0.0) * found.held * free, at)
    if (power < 0).any():
        columns["motor_work_j"] = np.add.reduceat(np.minimum(power, 0.0) * found.held, at)
    peak = np.maximum.reduceat(power * active, at)
    columns["peak_power_w"] = np.where(peak > 0, peak, np.nan)
    return {name: np.where(found.has_power, values, np.nan) for name, values in columns.items()}


def _trapezoids(power: Floats, found: _Held, active: Flags) -> Floats:
    """Return the area of every step that counts."""
    import numpy as np

    driven = np.maximum(power, 0.0)
    driven[:-1] += driven[1:]
    driven *= found.step
    driven *= 0.5
    counts = active.copy()
    if found.batch.phase is None:
        counts[:-1] |= active[1:]
    elif not (declared := _declared(found.batch)).all():
        counts[:-1] |= active[1:] & ~declared[:-1]
    counts &= found.short
    driven *= counts
    return driven


def _declared(batch: Batch) -> Flags:
    """Return which samples belong to a session that declares any phase."""
    import numpy as np

    assert batch.phase is not None
    each = np.logical_or.reduceat(batch.phase >= 0, batch.starts[:-1])
    return np.ones(len(batch.t_s), dtype=np.bool_) if each.all() else _each(each, batch)


def _means(found: _Held, weight: Floats, seconds: Floats) -> dict[str, Floats]:
    """Return time-weighted means over active riding, and the work of each side."""
    import numpy as np

    batch = found.batch
    n, at = len(batch), batch.starts[:-1]
    columns: dict[str, Floats] = {}
    for channel, name in (("cadence_rpm", "mean_cadence_rpm"), ("heart_rate_bpm", "mean_heart_rate_bpm")):
        values = batch.channels.get(channel)
        columns[name] = np.full(n, np.nan) if values is None else _mean(values, weight, seconds, at)
    left, right = (batch.channels.get(f"{side}_power_w") for side in ("left", "right"))
    if left is None or right is None:
        return columns | {"left_work_j": np.full(n, np.nan), "right_work_j": np.full(n, np.nan)}
    both = ~(np.isnan(left) | np.isnan(right))
    known = np.logical_or.reduceat(both & (weight > 0), at)
    for side, values in (("left", left), ("right", right)):
        work = np.add.reduceat(np.where(both, values, 0.0) * weight, at)
        columns[f"{side}_work_j"] = np.where(known, work, np.nan)
    return columns


def _mean(values: Floats, weight: Floats, seconds: Floats, at: Integers) -> Floats:
    import numpy as np

    weighted = values * weight
    total = np.add.reduceat(weighted, at)
    if not np.isnan(total).any():
        return _over(total, seconds)
    known = ~np.isnan(values)
    return _over(np.add.reduceat(np.where(known, weighted, 0.0), at), np.add.reduceat(weight * known, at))


def _over(top: Floats, bottom: Floats) -> Floats:
    import numpy as np

    ratio: Floats = np.divide(top, bottom, out=np.full(len(top), np.nan), where=bottom > 0)
    return ratio
