"""What can be wrong with a trace: each session is checked, each doubt becomes a finding with file and time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from outcomes.dose import CHANNELS, Batch
from outcomes.errors import Finding, Grade
from outcomes.intake.collector import Collector
from outcomes.intake.slips import PERCENT, PERCENT_CEILING, fits_percent

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Integers = NDArray[np.int64]

CLOCK_JUMP_S = 60.0
"""A time that falls by more than this is a clock that jumped; by less, samples written out of order."""

LONG_STEP_S = 3600.0
"""A step longer than this is asked about: a clock that jumped forward, or two sessions in one file."""

DAY_S = 86_400.0
STUCK_S, STUCK_SAMPLES = 120.0, 60
"""A power above 0 W that stays exactly the same for so long looks like a sensor that got stuck."""

BLOCK = 1 << 15
"""Samples whose doubts are looked for at once: few enough for the caches of a processor."""

HARD = {
    "power_w": (-500.0, 2500.0),
    "cadence_rpm": (0.0, 250.0),
    "left_power_w": (-500.0, 2500.0),
    "right_power_w": (-500.0, 2500.0),
    "current_ma": (0.0, 200.0),
    "heart_rate_bpm": (25.0, 250.0),
}
"""What a sample can be, in the unit of its channel; common practice, no source. Wider than the limits of a session's
means: a sample may be a moment's peak of a rider without any impairment."""

USUAL_W = (-50.0, 600.0)


@dataclass(slots=True)
class RawTrace:
    """One session as a file gives it, before any check.

    Parameters
    ----------
    t_s : array of float
    channels : dict of str to array of float
        nan where missing.
    phase : array of int8 or None
    row : int or None
        The spreadsheet's row of the first sample, where the file has rows.
    """

    participant: str
    session: str
    t_s: Floats
    channels: dict[str, Floats]
    phase: NDArray[np.int8] | None = None
    row: int | None = None

    def keep(self, chosen: NDArray[np.intp] | Flags) -> None:
        """Keep some of the samples, in the order given."""
        self.t_s = self.t_s[chosen]
        self.channels = {name: values[chosen] for name, values in self.channels.items()}
        self.phase = None if self.phase is None else self.phase[chosen]


@dataclass(slots=True)
class TraceChecks:
    """Findings of the sessions of one file."""

    file: str
    gap_s: float = 5.0
    found: Collector = field(default_factory=Collector)

    def tell(self, grade: Grade, rule: str, expected: str, trace: RawTrace, *, at: float | None, column: str) -> None:
        """Add one finding of a session, at a time of it."""
        time = "" if at is None else f" at {at:.10g} s"
        self.found.add(
            grade,
            rule,
            expected,
            file=self.file,
            table="traces",
            row=trace.row,
            column=column,
            participant=trace.participant,
            found=f"session {trace.session}{time}",
        )

    def checked(self, trace: RawTrace) -> bool:
        """Check one session in place; return whether anything of it is left."""
        import numpy as np

        known = ~np.isnan(trace.t_s)
        if not known.all():
            lost = int((~known).sum())
            expected = f"a time at every sample; {_counted(lost)} without one set aside"
            self.tell("set_aside", "no_time", expected, trace, at=None, column="t_s")
            trace.keep(known)
        if not len(trace.t_s):
            self.tell("set_aside", "no_samples", "at least one sample", trace, at=None, column="t_s")
            return False
        self._times(trace)
        self._values(trace)
        self._dropouts(trace)
        self._stuck(trace)
        self._against_cadence(trace)
        self._current(trace)
        return True

    def _times(self, trace: RawTrace) -> None:
        import numpy as np

        falls = np.flatnonzero(np.diff(trace.t_s) < 0)
        if len(falls):
            drop = float((trace.t_s[falls] - trace.t_s[falls + 1]).max())
            at = float(trace.t_s[falls[0]])
            if drop > CLOCK_JUMP_S:
                latest = np.maximum.accumulate(trace.t_s)
                kept = np.append(True, trace.t_s[1:] > latest[:-1])
                expected = (
                    f"a clock that only goes forward; it fell by {drop:.10g} s (set back, or the hour of summer time), "
                    f"and {_counted(int((~kept).sum()))} not later than those before are set aside"
                )
                self.tell("set_aside", "clock_jump", expected, trace, at=at, column="t_s")
                trace.keep(kept)
            else:
                expected = f"samples in order of time; {len(falls)} out of order, sorted"
                self.tell("ask", "unsorted", expected, trace, at=at, column="t_s")
                trace.keep(np.argsort(trace.t_s, kind="stable"))
        self._repeated(trace)
        self._long(trace)

    def _repeated(self, trace: RawTrace) -> None:
        import numpy as np

        same = np.append(False, np.diff(trace.t_s) == 0)
        if not same.any():
            return
        at = np.flatnonzero(same)
        equal = np.ones(len(at), dtype=np.bool_)
        for values in trace.channels.values():
            equal &= (values[at] == values[at - 1]) | (np.isnan(values[at]) & np.isnan(values[at - 1]))
        time = float(trace.t_s[at[0]])
        if equal.all():
            expected = f"each time once; {_counted(len(at))} repeated with the same values, counted once"
            self.tell("ask", "repeated_time", expected, trace, at=time, column="t_s")
        else:
            expected = f"each time once; {_counted(len(at))} repeated, with other values, the first of each kept"
            self.tell("set_aside", "repeated_time", expected, trace, at=time, column="t_s")
        trace.keep(~same)

    def _long(self, trace: RawTrace) -> None:
        import numpy as np

        total = float(trace.t_s[-1] - trace.t_s[0])
        steps = np.diff(trace.t_s)
        if total > DAY_S:
            usual = float(np.median(steps))
            hint = f"; steps of {usual:.10g} would fit ms" if usual >= 100 else ""
            expected = f"a session of at most a day; it lasts {total / 3600:.1f} h{hint}"
            self.tell("ask", "longer_than_a_day", expected, trace, at=float(trace.t_s[-1]), column="t_s")
        jumps = np.flatnonzero(steps > LONG_STEP_S)
        if len(jumps):
            expected = (
                f"steps of at most {LONG_STEP_S:g} s; the next sample comes {steps[jumps[0]]:.10g} s later (a clock "
                "that jumped, or two sessions in one); the time between counts as unrecorded"
            )
            self.tell("ask", "long_step", expected, trace, at=float(trace.t_s[jumps[0]]), column="t_s")
        elif len(steps) and float(np.median(steps)) > self.gap_s:
            expected = (
                f"samples at most {self.gap_s:g} s apart; they usually are {float(np.median(steps)):.10g} s apart, so "
                "that most of the session counts as unrecorded; [dose] gap_s says how long a sample stands"
            )
            self.tell("ask", "sparse", expected, trace, at=None, column="t_s")

    def _values(self, trace: RawTrace) -> None:
        import numpy as np

        for name, values in trace.channels.items():
            low, high = HARD[name]
            wrong = np.isinf(values) | (values < low) | (values > high)
            if wrong.any():
                at = int(np.argmax(wrong))
                expected = f"{low:g} to {high:g}; found {values[at]:g}, {_counted(int(wrong.sum()))} set aside"
                rule = "negative_cadence" if name == "cadence_rpm" and values[at] < 0 else "hard_limit"
                self.tell("set_aside", rule, expected, trace, at=float(trace.t_s[at]), column=name)
                trace.channels[name] = np.where(wrong, np.nan, values)
        power = trace.channels.get("power_w")
        if power is None or np.isnan(power).all():
            expected = "power; without it there is no work of this session, which is not 0 J"
            self.tell("ask", "no_power", expected, trace, at=None, column="power_w")
            return
        unusual = (power < USUAL_W[0]) | (power > USUAL_W[1])
        if unusual.any():
            at = int(np.argmax(unusual))
            expected = (
                f"usually {USUAL_W[0]:g} to {USUAL_W[1]:g} W; {_counted(int(unusual.sum()))} beyond, {power[at]:g} W"
            )
            self.tell("ask", "soft_limit", expected, trace, at=float(trace.t_s[at]), column="power_w")

    def _dropouts(self, trace: RawTrace) -> None:
        import numpy as np

        power = trace.channels.get("power_w")
        if power is None or not (lost := np.isnan(power)).any() or lost.all():
            return
        known = trace.t_s[~lost]
        steps = np.diff(known)
        step_in_file = np.diff(trace.t_s).max(initial=0.0)
        long = np.flatnonzero((steps > self.gap_s) & (steps > step_in_file))
        edge = float(known[0] - trace.t_s[0] + trace.t_s[-1] - known[-1])
        seconds = float(steps[long].sum()) + edge
        if len(long) or edge > self.gap_s:
            at = float(known[long[0]]) if len(long) else float(known[0] if known[0] > trace.t_s[0] else known[-1])
            expected = f"power all the time; it dropped out for {seconds:.10g} s, which count as unrecorded"
            self.tell("ask", "dropout", expected, trace, at=at, column="power_w")

    def _stuck(self, trace: RawTrace) -> None:
        import numpy as np

        power = trace.channels.get("power_w")
        if power is None or len(power) < STUCK_SAMPLES:
            return
        edges = np.flatnonzero(np.append(True, np.diff(power) != 0))
        ends = np.append(edges[1:], len(power)) - 1
        long = (ends - edges + 1 >= STUCK_SAMPLES) & (trace.t_s[ends] - trace.t_s[edges] >= STUCK_S)
        long &= power[edges] > 0
        if long.any():
            at, end = int(edges[long][0]), int(ends[long][0])
            expected = (
                f"a power that varies; it is exactly {power[at]:g} W for "
                f"{trace.t_s[end] - trace.t_s[at]:.10g} s, as if the sensor were stuck"
            )
            self.tell("ask", "stuck", expected, trace, at=float(trace.t_s[at]), column="power_w")

    def _against_cadence(self, trace: RawTrace) -> None:
        import numpy as np

        power, cadence = trace.channels.get("power_w"), trace.channels.get("cadence_rpm")
        if power is None or cadence is None:
            return
        wrong = (power > 0) & (cadence == 0)
        seconds = float(np.minimum(np.diff(trace.t_s), self.gap_s)[wrong[:-1]].sum())
        if seconds > self.gap_s:
            at = float(trace.t_s[int(np.argmax(wrong))])
            expected = f"a cadence above 0 rpm where there is power; there is none for {seconds:.10g} s"
            self.tell("ask", "power_without_cadence", expected, trace, at=at, column="cadence_rpm")

    def _current(self, trace: RawTrace) -> None:
        """A current with a ceiling of exactly 100 may be percent of the device's maximum."""
        import numpy as np

        current = trace.channels.get("current_ma")
        if current is not None and fits_percent(current):
            at = float(trace.t_s[int(np.argmax(current == PERCENT_CEILING))])
            self.tell("ask", "percent_of_maximum", PERCENT, trace, at=at, column="current_ma")


def _counted(number: int) -> str:
    return f"{number:,} sample" + ("" if number == 1 else "s")


def checked_batch(batch: Batch, checks: TraceChecks) -> Batch | None:
    """Check a batch that is in order of time; return what is left of it, None where nothing is.

    Only the sessions that `doubtful` names are checked one by one, so that a batch without fault costs little.
    """
    doubts = doubtful(batch, checks.gap_s).tolist()
    if not any(doubts):
        return batch
    kept = []
    for i, doubt in enumerate(doubts):
        cut = slice(int(batch.starts[i]), int(batch.starts[i + 1]))
        channels = {name: values[cut] for name, values in batch.channels.items()}
        phase = None if batch.phase is None else batch.phase[cut]
        trace = RawTrace(batch.participants[i], batch.sessions[i], batch.t_s[cut], channels, phase)
        if not doubt or checks.checked(trace):
            kept.append(trace)
    return batch_of(kept)


def doubtful(batch: Batch, gap_s: float) -> Flags:
    """Return the sessions that a rule of `TraceChecks` may find something in; a session without doubt passes them all.

    Parameters
    ----------
    batch : Batch
    gap_s : float
        The longest step between samples that is still a recording.

    Returns
    -------
    array of bool, shape (n_sessions,)
    """
    import numpy as np

    parts = [_doubtful(part, gap_s) for part in batch.blocks(BLOCK)]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.bool_)


def _doubtful(batch: Batch, gap_s: float) -> Flags:
    import numpy as np

    starts, t = batch.starts, batch.t_s
    total = t[starts[1:] - 1] - t[starts[:-1]]
    doubts: Flags = total > np.minimum(DAY_S, (np.diff(starts) - 1) * gap_s / 2)  # half of the steps above the gap

    def doubt(samples: Flags) -> None:
        if samples.any():
            doubts[np.searchsorted(starts, np.flatnonzero(samples), side="right") - 1] = True

    power, cadence, current = (batch.channels.get(name) for name in ("power_w", "cadence_rpm", "current_ma"))
    if power is None:
        return np.ones(len(batch), dtype=np.bool_)
    step = np.empty(len(t))
    np.subtract(t[1:], t[:-1], out=step[:-1])
    step[starts[1:] - 1] = 1.0
    if not (step.min() > 0 and step.max() <= LONG_STEP_S):
        doubt((step == 0) | (step > LONG_STEP_S))
    for name, values in batch.channels.items():
        low, high = USUAL_W if name == "power_w" else HARD[name]
        if not (values.min() >= low and values.max() <= high):
            doubt(~((values >= low) & (values <= high)) if values is power else (values < low) | (values > high))
    doubts[np.searchsorted(starts, _maybe_stuck(power), side="right") - 1] = True
    if cadence is not None and not cadence.min() > 0:
        doubt((power > 0) & (cadence == 0))
    if current is not None:
        doubt(current == PERCENT_CEILING)
    return doubts


def _maybe_stuck(power: Floats) -> Integers:
    """Return where the same power above 0 stands for half of `STUCK_SAMPLES`, of every stretch that long one place."""
    import numpy as np

    half = STUCK_SAMPLES // 2
    at = np.arange(0, len(power) - half, half)
    at = at[power[at] > 0]
    for ahead in range(half, 0, -1):
        if not len(at):
            break
        at = at[power[at + ahead] == power[at]]
    return at


def batch_of(traces: Sequence[RawTrace]) -> Batch | None:
    """Return checked sessions as a batch by participant and session; None where there is none."""
    import numpy as np

    if not traces:
        return None
    ordered = sorted(traces, key=lambda trace: (trace.participant, trace.session))
    lengths = [len(trace.t_s) for trace in ordered]

    def channel(name: str) -> Floats:
        return np.concatenate(
            [trace.channels.get(name, np.full(n, np.nan)) for trace, n in zip(ordered, lengths, strict=True)]
        )

    def phase() -> NDArray[np.int8]:
        blank: Callable[[int], NDArray[np.int8]] = lambda n: np.full(n, -1, dtype=np.int8)  # noqa: E731
        return np.concatenate([blank(n) if t.phase is None else t.phase for t, n in zip(ordered, lengths, strict=True)])

    recorded = [name for name in CHANNELS if any(name in trace.channels for trace in ordered)]
    return Batch.of(
        [trace.participant for trace in ordered],
        [trace.session for trace in ordered],
        np.append(0, np.cumsum(lengths)),
        np.concatenate([trace.t_s for trace in ordered]),
        {name: channel(name) for name in recorded},
        phase() if any(trace.phase is not None for trace in ordered) else None,
    )


def ordered_findings(checks: TraceChecks) -> list[Finding]:
    """Return the findings of a file, those that set something aside first."""
    return checks.found.sorted()
