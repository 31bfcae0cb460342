"""Energy and internal load of every delivered session, the assumption in the name of each column."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.dose.agreement import values_of_traces
from outcomes.dose.energy import KJ_PER_KCAL
from outcomes.dose.items import TRACE_SESSIONS
from outcomes.dose.load import SCI_MET, STANDARD_MET, heart_rate_load
from outcomes.dose.timeline import numbers, table_of, texts
from outcomes.errors import DesignError
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose.timeline import Tables
    from protocols import Protocol

LOAD_COLUMNS = (
    "participant_id",
    "session_id",
    "active_minutes",
    "total_minutes",
    "work_kj",
    "work_kj_per_active_hour",
    "mechanical_kcal",
    "assumed_gross_efficiency",
    "metabolic_kcal_at_assumed_efficiency",
    "rpe",
    "rpe_scale",
    "session_rpe_load_0_10_total_minutes",
    "session_rpe_load_6_20_total_minutes",
    "oxygen_uptake_ml_kg_min",
    "standard_mets",
    "sci_mets",
    "standard_met_active_minutes",
    "sci_met_active_minutes",
    "mean_heart_rate_bpm",
    "rest_heart_rate_bpm",
    "peak_heart_rate_bpm",
    "heart_rate_load_measured_peak_total_minutes",
    "heart_rate_load_reason",
)
"""Columns of `internal_load`."""

RATE_COLUMNS = ("participant_id", "day", "kind", "bpm")
"""Columns of a table of heart rates; `kind` is ``"rest"``, ``"measured peak"`` or ``"predicted peak"``."""

NO_PEAK = "no measured peak heart rate of the person on or before the day of the session"
NO_REST = "no resting heart rate of the person on or before the day of the session"
_WORDS = ("participant_id", "session_id", "rpe_scale", "heart_rate_load_reason")


def internal_load(tables: Tables, protocol: Protocol, heart_rates: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return energy, METs, session-RPE load and heart-rate load of every delivered session.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        As `dose_by_visit` takes them.
    protocol : Protocol
        Its dose says whether minutes and work come from the rows or the traces, and which gross efficiency is assumed.
    heart_rates : DataFrame, optional
        Columns `RATE_COLUMNS`: what tests of the person found, with the day of the test. The last on or before the day
        of a session counts for it.

    Returns
    -------
    DataFrame
        A row per delivered session, columns `LOAD_COLUMNS`; nan where an input is not on record. Nothing is assumed but
        the gross efficiency, which the protocol must name. Empty without a sessions table.

    Notes
    -----
    mechanical kcal = work / 4.184; metabolic kcal = mechanical / gross efficiency; METs = oxygen uptake over 3.5
    (standard) or 2.7 mL/kg/min (after spinal cord injury, Collins et al. 2010), MET-minutes = METs x active minutes;
    session-RPE load = exertion x total minutes, each scale by itself; heart-rate load as `heart_rate_load`, over the
    total minutes, which the mean heart rate of a session row is about.
    """
    import numpy as np
    import pandas as pd

    sessions = table_of(tables, "sessions")
    if sessions is None:
        return pd.DataFrame({n: pd.Series(dtype="str" if n in _WORDS else "float64") for n in LOAD_COLUMNS})
    plan = protocol.dose
    values = {name: numbers(sessions, name) for name in LOAD_COLUMNS if name not in _WORDS}
    if plan is not None and plan.source == "traces" and TRACE_SESSIONS in tables:
        traced = values_of_traces(sessions, tables[TRACE_SESSIONS])
        values |= {name: traced[name] for name in ("active_minutes", "total_minutes", "work_kj")}
    efficiency = np.nan if plan is None or plan.gross_efficiency is None else plan.gross_efficiency
    active, work, total = (values[name] for name in ("active_minutes", "work_kj", "total_minutes"))
    work = np.where(work >= 0, work, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        values["work_kj_per_active_hour"] = np.where(active > 0, work * 60 / active, np.nan)
    values["mechanical_kcal"] = work / KJ_PER_KCAL
    values["assumed_gross_efficiency"] = np.full(len(sessions), efficiency)
    values["metabolic_kcal_at_assumed_efficiency"] = values["mechanical_kcal"] / efficiency
    for kind, of_one in (("standard", STANDARD_MET), ("sci", SCI_MET)):
        values[f"{kind}_mets"] = values["oxygen_uptake_ml_kg_min"] / of_one
        values[f"{kind}_met_active_minutes"] = values[f"{kind}_mets"] * active
    scale = np.array(texts(sessions, "rpe_scale"), dtype=object)
    for word in ("0-10", "6-20"):
        of_scale = np.where(scale == word, values["rpe"], np.nan)
        values[f"session_rpe_load_{word.replace('-', '_')}_total_minutes"] = of_scale * total
    words = {name: texts(sessions, name) for name in _WORDS}
    frame = pd.DataFrame({n: pd.Series(words[n], dtype="str") if n in _WORDS else values[n] for n in LOAD_COLUMNS})
    done = np.isin(np.array(texts(sessions, "status"), dtype=object), DELIVERED)
    frame["day"] = numbers(sessions, "started_day")
    return _with_heart_rates(frame[done].reset_index(drop=True), tables, heart_rates)


def _with_heart_rates(frame: pd.DataFrame, tables: Tables, rates: pd.DataFrame | None) -> pd.DataFrame:
    """Return sessions with what tests found before them, their heart-rate load, and why one has none."""
    import pandas as pd

    kinds = pd.Series([], dtype="str") if rates is None else rates["kind"]
    rest, measured, predicted = (
        _last_before(frame, None if rates is None else rates[kinds == kind])
        for kind in ("rest", "measured peak", "predicted peak")
    )
    frame["rest_heart_rate_bpm"], frame["peak_heart_rate_bpm"] = rest, measured
    people = table_of(tables, "participants")
    of_person: dict[str, tuple[str, str]] = {}
    if people is not None:
        columns = (texts(people, name) for name in ("participant_id", "sex", "neurological_level"))
        of_person = {person: (sex, level) for person, sex, level in zip(*columns, strict=True)}
    loads, reasons = [], []
    columns = (frame[name].tolist() for name in ("participant_id", "total_minutes", "mean_heart_rate_bpm"))
    for person, *held in zip(*columns, rest, measured, predicted, strict=True):
        sex, level = of_person.get(person, ("", ""))
        load, reason = float("nan"), ""
        try:
            load = _load(*held, sex=sex, level=level)
        except DesignError as refusal:
            reason = refusal.reason
        loads.append(load)
        reasons.append(reason)
    frame["heart_rate_load_measured_peak_total_minutes"] = loads
    frame["heart_rate_load_reason"] = pd.Series(reasons, dtype="str")
    return frame[list(LOAD_COLUMNS)]


def _load(
    minutes: float, mean: float, rest: float, measured: float, predicted: float, *, sex: str, level: str
) -> float:
    """Return the heart-rate load of one session.

    Raises
    ------
    DesignError
        Something that it needs is not on record, or the peak was predicted.
    """
    if mean != mean:
        raise DesignError("no mean heart rate of the session")
    if minutes != minutes:
        raise DesignError("no total minutes of the session")
    if measured != measured and predicted != predicted:
        raise DesignError(NO_PEAK)
    if rest != rest:
        raise DesignError(NO_REST)
    peak, peak_bpm = ("measured", measured) if measured == measured else ("predicted", predicted)
    return heart_rate_load(minutes, mean, rest_bpm=rest, peak_bpm=peak_bpm, peak=peak, sex=sex, level=level)


def _last_before(frame: pd.DataFrame, rates: pd.DataFrame | None) -> list[float]:
    """Return for every session the last rate of its person on or before its day, nan where there is none."""
    import numpy as np
    import pandas as pd

    found = np.full(len(frame), np.nan)
    if rates is None or not len(rates):
        return found.tolist()
    dated = frame.loc[frame["day"].notna(), ["participant_id", "day"]].assign(place=lambda rows: rows.index)
    known = rates[rates["day"].notna()].sort_values("day", kind="stable")
    joined = pd.merge_asof(
        dated.sort_values("day", kind="stable"), known[["participant_id", "day", "bpm"]], on="day", by="participant_id"
    )
    found[joined["place"].to_numpy()] = joined["bpm"].to_numpy(dtype=np.float64)
    return found.tolist()
