"""Session rows against traces: where both exist they should agree, and the protocol says which one counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.energy import KJ_PER_KCAL

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from outcomes.dose.timeline import Floats

DIFFERENCES = (
    "participant_id",
    "session_id",
    "row_id",
    "quantity",
    "unit",
    "in_sessions",
    "in_traces",
    "tolerance",
    "hint",
)
"""Columns of `reconcile`."""

IDS = ("participant_id", "session_id")


@dataclass(frozen=True, slots=True)
class Agreement:
    """How a column of the sessions table is worked out from a trace, and how far the two may lie apart."""

    trace: str
    factor: float
    unit: str
    least: float
    share: float = 0.1

    def of(self, rows: pd.DataFrame) -> pd.Series[float]:
        """Return the column from rows of `summarise`, in the unit of the sessions table."""
        return rows[self.trace] * self.factor


AGREEMENTS: Mapping[str, Agreement] = {
    "active_minutes": Agreement("active_s", 1 / 60, "min", 1.0),
    "total_minutes": Agreement("total_s", 1 / 60, "min", 2.0),
    "voluntary_minutes": Agreement("voluntary_s", 1 / 60, "min", 1.0),
    "work_kj": Agreement("recorded_work_j", 1e-3, "kJ", 1.0),
    "mean_power_w": Agreement("mean_power_w", 1.0, "W", 1.0),
    "mean_cadence_rpm": Agreement("mean_cadence_rpm", 1.0, "rpm", 2.0),
}
"""A difference is asked about beyond the larger of the least and the share of the trace's value (common practice)."""


def values_of_traces(sessions: pd.DataFrame, rows: pd.DataFrame) -> dict[str, Floats]:
    """Return minutes and work of every session row as its trace gives them; nan where it has no trace.

    Parameters
    ----------
    sessions : DataFrame
        The sessions table.
    rows : DataFrame
        Of `summarise`, a row per session.
    """
    import numpy as np

    beside = sessions[list(IDS)].merge(rows, on=list(IDS), how="left", validate="many_to_one")
    return {name: np.asarray(rule.of(beside), dtype=np.float64) for name, rule in AGREEMENTS.items()}


def reconcile(sessions: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return every value of the sessions table that differs from its trace by more than it may.

    Parameters
    ----------
    sessions : DataFrame
        The sessions table.
    rows : DataFrame
        Of `summarise`, a row per session.

    Returns
    -------
    DataFrame
        Columns `DIFFERENCES`, in the order of the sessions table; nan or an empty text where one of the two is absent:
        a trace without a session row has quantity ``"session"``. ``hint`` names a unit that would fit.
    """
    import numpy as np
    import pandas as pd

    found: list[tuple[object, ...]] = []
    traced = values_of_traces(sessions, rows)
    for name, rule in AGREEMENTS.items():
        if name not in sessions:
            continue
        typed, trace = sessions[name].to_numpy(dtype=np.float64, na_value=np.nan), traced[name]
        tolerance = np.maximum(rule.least, rule.share * np.abs(trace))
        for i in np.flatnonzero(np.abs(typed - trace) > tolerance).tolist():
            row = sessions.iloc[i]
            values = (float(typed[i]), float(trace[i]), float(tolerance[i]))
            hint = _hint(name, *values)
            found.append((row[IDS[0]], row[IDS[1]], row["row_id"], name, rule.unit, *values, hint))
    typed_ids = set(zip(sessions[IDS[0]], sessions[IDS[1]], strict=True))
    for person, session in zip(rows[IDS[0]], rows[IDS[1]], strict=True):
        if (person, session) not in typed_ids:
            found.append((person, session, "", "session", "", np.nan, np.nan, np.nan, ""))
    frame = pd.DataFrame(found, columns=list(DIFFERENCES))
    numeric = ("in_sessions", "in_traces", "tolerance")
    return frame.astype({name: "float64" if name in numeric else "str" for name in DIFFERENCES})


def _hint(name: str, typed: float, trace: float, tolerance: float) -> str:
    """Return the unit in which the typed value would agree."""
    others = {
        "work_kj": {"kcal": KJ_PER_KCAL, "J": 1e-3, "Wh": 3.6},
        "active_minutes": {"s": 1 / 60, "h": 60.0},
        "total_minutes": {"s": 1 / 60, "h": 60.0},
    }
    fitting = [unit for unit, factor in others.get(name, {}).items() if abs(typed * factor - trace) <= tolerance]
    return f"{fitting[0]} would fit" if fitting else ""
