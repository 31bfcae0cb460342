"""How power falls within a session: the last minute over the first, and a fall towards a plateau."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.phases import ACTIVE, TraceRules, phases_of
from outcomes.errors import DesignError
from outcomes.result import Result

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

    from outcomes.dose.batch import Batch
    from outcomes.dose.timeline import Floats

SHORTEST_S = 180.0
"""Active seconds below which no decay is described (common practice, no source)."""

WINDOW_S = 60.0
"""Seconds of the first and of the last stretch that a fatigue index compares."""

LONGEST_TAU = 2.0
"""A time constant above so many times the active time is a straight line, not a fall towards a plateau."""

DECAY_COLUMNS = (
    "participant_id",
    "session_id",
    "fatigue_index_last_over_first_minute",
    "start_power_w",
    "plateau_power_w",
    "time_constant_s",
    "decay_reason",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateauFit(Result):
    """Result of `plateau_fit`: watts and seconds."""

    start_power_w: float
    plateau_power_w: float
    time_constant_s: float
    residual_sd_w: float
    n_values: int

    def summary(self) -> str:
        """Return the fit in one sentence."""
        return (
            f"power fell from {self.start_power_w:.1f} W towards {self.plateau_power_w:.1f} W with a time constant of "
            f"{self.time_constant_s:.0f} s (n = {self.n_values} samples)"
        )


def fatigue_index(active_s: ArrayLike, power_w: ArrayLike, *, window_s: float = WINDOW_S) -> float:
    """Return the mean power of the last stretch of active time over that of the first; 1 where nothing fell.

    Parameters
    ----------
    active_s : array of shape (n_samples + 1,)
        Active time at which each sample begins, in s, and the end of the last; pauses are cut out.
    power_w : array of shape (n_samples,)
        In W; no missing values.
    window_s : float
        Length of the two stretches.

    Returns
    -------
    float
        Dimensionless.

    Raises
    ------
    DesignError
        Less than `SHORTEST_S` of active time, lengths that do not fit, or no power in the first stretch.

    Notes
    -----
    mean power of the last `window_s` / mean power of the first `window_s`: final over initial power.

    References
    ----------
    Laubacher et al. 2018, J NeuroEng Rehabil 15:5 (final over initial, after 6 min).

    Examples
    --------
    >>> fatigue_index(range(361), [10.0] * 180 + [5.0] * 180)
    0.5
    """
    import numpy as np

    t, power = _checked(active_s, power_w)
    end = t[-1]
    first = np.clip(t[1:], t[0], t[0] + window_s) - np.clip(t[:-1], t[0], t[0] + window_s)
    last = np.clip(t[1:], end - window_s, end) - np.clip(t[:-1], end - window_s, end)
    initial = float(first @ power / first.sum())
    if not initial > 0:
        raise DesignError("no power in the first stretch of active time")
    return float(last @ power / last.sum()) / initial


def plateau_fit(active_s: ArrayLike, power_w: ArrayLike) -> PlateauFit:
    """Fit an exponential fall of power towards a plateau, by least squares over active time.

    Parameters
    ----------
    active_s, power_w
        As in `fatigue_index`.

    Returns
    -------
    PlateauFit

    Raises
    ------
    DesignError
        Less than `SHORTEST_S` of active time, lengths that do not fit, power that does not fall, or a fall so slow
        that no plateau is in sight.

    Notes
    -----
    P(t) = P_inf + (P_0 - P_inf) exp(-t / tau). For a given tau the two powers are linear least squares, so only tau is
    searched: over a grid of logarithms, then between the neighbours of the best.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(1801.0)
    >>> fit = plateau_fit(t, 6 + 9 * np.exp(-t[:-1] / 180))
    >>> round(fit.start_power_w, 3), round(fit.plateau_power_w, 3), round(fit.time_constant_s, 1)
    (15.0, 6.0, 180.0)
    """
    import numpy as np

    t, power = _checked(active_s, power_w)
    at, length = t[:-1] - t[0], float(t[-1] - t[0])
    grid = np.geomspace(length / 400, LONGEST_TAU * length, 60)
    losses = [_linear(at, power, tau)[0] for tau in grid.tolist()]
    best = int(np.argmin(losses))
    if best == len(grid) - 1:
        raise DesignError("the power has no plateau in sight: it falls along a line, if at all")
    tau = _narrowed(at, power, float(grid[max(best - 1, 0)]), float(grid[best + 1]))
    loss, plateau, extra = _linear(at, power, tau)
    if not extra > 0:
        raise DesignError("the power does not fall within the session")
    return PlateauFit(
        start_power_w=float(plateau + extra),
        plateau_power_w=float(plateau),
        time_constant_s=tau,
        residual_sd_w=float(np.sqrt(loss / max(len(power) - 3, 1))),
        n_values=len(power),
    )


def _checked(active_s: ArrayLike, power_w: ArrayLike) -> tuple[Floats, Floats]:
    import numpy as np

    t, power = np.asarray(active_s, dtype=np.float64), np.asarray(power_w, dtype=np.float64)
    if t.ndim != 1 or len(t) != len(power) + 1:
        raise DesignError("active time needs one value more than power: the end of the last sample")
    if len(power) < 4 or t[-1] - t[0] < SHORTEST_S:
        raise DesignError(f"less than {SHORTEST_S:g} s of active time")
    return t, power


def _linear(at: Floats, power: Floats, tau: float) -> tuple[float, float, float]:
    """Return the loss, the plateau and the excess at the start for one time constant."""
    import numpy as np

    shape = np.exp(-at / tau)
    mean, level = shape.mean(), power.mean()
    spread = float(((shape - mean) ** 2).sum())
    extra = float(((shape - mean) * (power - level)).sum() / spread) if spread > 0 else 0.0
    plateau = float(level - extra * mean)
    return float(((power - plateau - extra * shape) ** 2).sum()), plateau, extra


def _narrowed(at: Floats, power: Floats, low: float, high: float) -> float:
    """Return the best time constant between two, by golden sections of its logarithm."""
    import math

    golden = (math.sqrt(5) - 1) / 2
    a, b = math.log(low), math.log(high)
    c, d = b - golden * (b - a), a + golden * (b - a)
    at_c, at_d = _linear(at, power, math.exp(c))[0], _linear(at, power, math.exp(d))[0]
    while b - a > 1e-9:
        if at_c < at_d:
            b, d, at_d = d, c, at_c
            c = b - golden * (b - a)
            at_c = _linear(at, power, math.exp(c))[0]
        else:
            a, c, at_c = c, d, at_d
            d = a + golden * (b - a)
            at_d = _linear(at, power, math.exp(d))[0]
    return math.exp((a + b) / 2)


def power_decay(batch: Batch, rules: TraceRules | None = None, *, no_plateau: str = "") -> pd.DataFrame:
    """Return fatigue index and plateau of every session of a batch.

    Parameters
    ----------
    batch : Batch
    rules : TraceRules, optional
    no_plateau : str
        Why no plateau is fitted: the fit takes some milliseconds a session, the index a part of one. Empty to fit it.

    Returns
    -------
    DataFrame
        A row per session, columns `DECAY_COLUMNS`; nan where it is not defined, and then the reason beside.
    """
    import pandas as pd

    rules = rules or TraceRules()
    rows = [_decay_row(batch.part(i, i + 1), rules, no_plateau) for i in range(len(batch))]
    frame = pd.DataFrame(rows, columns=list(DECAY_COLUMNS))
    words = ("participant_id", "session_id", "decay_reason")
    return frame.astype({name: "str" if name in words else "float64" for name in DECAY_COLUMNS})


def _decay_row(trace: Batch, rules: TraceRules, no_plateau: str) -> tuple[object, ...]:
    import numpy as np

    index = start = plateau = tau = np.nan
    reasons = []
    t, power = active_time(trace, rules)
    try:
        index = fatigue_index(t, power)
        if no_plateau:
            raise DesignError(no_plateau)
        fit = plateau_fit(t, power)
        start, plateau, tau = fit.start_power_w, fit.plateau_power_w, fit.time_constant_s
    except DesignError as refusal:
        reasons.append(refusal.reason)
    return (trace.participants[0], trace.sessions[0], index, start, plateau, tau, "; ".join(reasons))


def active_time(trace: Batch, rules: TraceRules) -> tuple[Floats, Floats]:
    """Return the active time at which each active sample of one session begins, with the end, and its power."""
    import numpy as np

    if "power_w" not in trace.channels:
        return np.zeros(1), np.zeros(0)
    power = trace.channels["power_w"]
    chosen = (phases_of(trace, rules) == ACTIVE) & (power > 0)
    step = np.minimum(np.diff(trace.t_s, append=trace.t_s[-1]), rules.gap_s)
    chosen &= step > 0
    return np.append(0.0, np.cumsum(step[chosen])), power[chosen]
