"""The phase of every sample of a trace: declared, or inferred from stimulation, power and cadence with hysteresis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.batch import NO_PHASE, PHASES
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.dose.batch import Batch
    from outcomes.dose.timeline import Flags, Integers

PASSIVE, RAMP, ACTIVE, FATIGUE, COOLDOWN, VOLUNTARY = (
    PHASES.index(word) for word in ("passive", "ramp", "active", "fatigue", "cooldown", "voluntary")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceRules:
    """How a trace is read; the thresholds are common practice, no source.

    Parameters
    ----------
    gap_s : float
        The longest step between two samples that is still a recording. A sample stands for the time to the next one,
        at most for this long; what is beyond counts as unrecorded.
    current_on_ma, current_off_ma : float
        Stimulation begins at the first and ends below the second.
    power_on_w, power_off_w : float
        Active riding begins at the first and ends at or below the second.
    cadence_floor_rpm, cadence_margin_rpm : float or None, float
        A bout ends below the floor, and another begins at the floor plus the margin; None where no cadence ends it.

    Raises
    ------
    DesignError
        A threshold to end that lies above the one to begin, or a gap that is not above 0.
    """

    gap_s: float = 5.0
    current_on_ma: float = 5.0
    current_off_ma: float = 1.0
    power_on_w: float = 1.0
    power_off_w: float = 0.0
    cadence_floor_rpm: float | None = None
    cadence_margin_rpm: float = 2.0

    def __post_init__(self) -> None:
        if not self.gap_s > 0:
            raise DesignError("gap_s, the longest step that is still a recording, must be above 0 s")
        if self.current_off_ma > self.current_on_ma or self.power_off_w > self.power_on_w:
            raise DesignError("the threshold that ends a phase must not lie above the one that begins it")
        if self.cadence_margin_rpm < 0:
            raise DesignError("cadence_margin_rpm must not be negative")


def phases_of(batch: Batch, rules: TraceRules | None = None) -> NDArray[np.int8]:
    """Return the phase of every sample, as its position in the vocabulary's words; -1 where it is not known.

    Parameters
    ----------
    batch : Batch
    rules : TraceRules, optional

    Returns
    -------
    array of int8, shape (n_samples,)

    Notes
    -----
    A session that declares any phase keeps its declared ones, and only those. Of any other the phase is inferred.
    Stimulation on with the rider's power above the threshold is `active`; stimulation on without it is `ramp` before
    the first active sample and `fatigue` after it; power without stimulation is `voluntary`; neither is `passive`, and
    `cooldown` after the last active sample. Where nobody recorded the current, riding counts as active, for nothing
    says that the stimulation was off. Without power nothing is inferred: whether the motor drove is not known.

    Examples
    --------
    >>> from outcomes.dose import one_session
    >>> trace = one_session(range(6), power_w=[-4, -4, 8, 9, 0, 0], current_ma=[0, 40, 60, 60, 60, 0])
    >>> [PHASES[code] for code in phases_of(trace)]
    ['passive', 'ramp', 'active', 'active', 'fatigue', 'cooldown']
    """
    import numpy as np

    rules = rules or TraceRules()
    if batch.phase is not None:
        declared = np.logical_or.reduceat(batch.phase != NO_PHASE, batch.starts[:-1])
        if declared.all():
            return batch.phase
        inferred = _inferred(batch, rules)
        return np.where(declared[batch.session_of_sample()], batch.phase, inferred)
    return _inferred(batch, rules)


def _inferred(batch: Batch, rules: TraceRules) -> NDArray[np.int8]:
    import numpy as np

    n = len(batch.t_s)
    if "power_w" not in batch.channels:
        return np.full(n, NO_PHASE, dtype=np.int8)
    power = batch.channels["power_w"]
    riding = _riding(batch, rules)
    current = batch.channels.get("current_ma")
    if current is None:
        stimulated, known = np.ones(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    else:
        stimulated = latch(current >= rules.current_on_ma, ~(current >= rules.current_off_ma), batch.starts)
        known = np.logical_or.reduceat(~np.isnan(current), batch.starts[:-1])[batch.session_of_sample()]
        stimulated |= ~known
    active = riding & stimulated
    before, after = _outside(active, batch)
    code = np.where(after, COOLDOWN, PASSIVE)
    held = stimulated & known
    code = np.where(held, np.where(before, RAMP, FATIGUE), code)
    code = np.where(riding, np.where(stimulated, ACTIVE, VOLUNTARY), code).astype(np.int8)
    code[np.isnan(power)] = NO_PHASE
    return code


def _riding(batch: Batch, rules: TraceRules) -> Flags:
    """Return where the rider, not the motor, drives the crank, fast enough."""
    import numpy as np

    power = batch.channels["power_w"]
    begins, ends = power >= rules.power_on_w, ~(power > rules.power_off_w)
    cadence = batch.channels.get("cadence_rpm")
    if rules.cadence_floor_rpm is not None and cadence is not None:
        unknown = np.isnan(cadence)
        begins &= unknown | (cadence >= rules.cadence_floor_rpm + rules.cadence_margin_rpm)
        ends |= cadence < rules.cadence_floor_rpm
    return latch(begins, ends, batch.starts)


def latch(begins: Flags, ends: Flags, starts: Integers) -> Flags:
    """Return a state with hysteresis: on from a sample of `begins` until one of `ends`, off at the start of a session.

    Examples
    --------
    >>> import numpy as np
    >>> on, off = np.array([0, 1, 0, 0, 0], bool), np.array([1, 0, 0, 1, 0], bool)
    >>> latch(on, off, np.array([0, 5])).tolist()
    [False, True, True, False, False]
    """
    import numpy as np

    decided = begins | ends
    decided[starts[:-1]] = True
    at = np.flatnonzero(decided)
    state = (begins & ~ends)[at]
    return np.repeat(state, np.diff(at, append=len(begins)))


def _outside(active: Flags, batch: Batch) -> tuple[Flags, Flags]:
    """Return which samples lie before the first, and which after the last active one of their session."""
    import numpy as np

    first, last = np.array(batch.starts[1:]), np.array(batch.starts[:-1]) - 1
    at = np.flatnonzero(active)
    if len(at):
        session = np.searchsorted(batch.starts, at, side="right") - 1
        edge = np.flatnonzero(np.diff(session, prepend=-1))
        first[session[edge]] = at[edge]
        last[session[edge]] = at[np.append(edge[1:], len(at)) - 1]
    sizes = np.diff(batch.starts)
    place = np.arange(len(active))
    none = last < batch.starts[:-1]
    after = (place > np.repeat(last, sizes)) & ~np.repeat(none, sizes)
    return place < np.repeat(first, sizes), after
