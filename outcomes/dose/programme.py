"""The programme as a whole: how far it was followed with each denominator, FITT planned beside delivered, modes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.dose.adherence import adherence_by_person
from outcomes.dose.timeline import numbers, table_of, texts
from outcomes.dose.totals import dose_by_visit
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose.timeline import Tables
    from protocols import Protocol

COUNT_COLUMNS = ("metric", "number", "of", "percent", "denominator", "definition")
"""Columns of `programme_counts`."""

FITT_COLUMNS = ("element", "quantity", "unit", "planned", "delivered", "people", "sessions", "note")
"""Columns of `fitt`."""

MODE_COLUMNS = (
    "participant_id",
    "mode",
    "delivered_sessions",
    "delivered_active_minutes",
    "delivered_work_kj",
    "sessions_without_active_minutes",
    "sessions_without_work",
)
"""Columns of `dose_by_mode`."""

RECENT_DAYS = 28
NOT_STATED = "not stated"


def programme_counts(tables: Tables, protocol: Protocol) -> pd.DataFrame:
    """Count how the programme was followed, each count with its denominator.

    Parameters
    ----------
    tables, protocol
        As in `dose_by_visit`.

    Returns
    -------
    DataFrame
        A row per metric, columns `COUNT_COLUMNS`. Planned sessions are counted until a person left and, separately,
        until the end of the programme. Empty without a sessions table.

    Raises
    ------
    DataError, DesignError
        As in `dose_by_visit`.

    References
    ----------
    Nilsen et al. 2018, Med Sci Sports Exerc 50:1134; Fairman et al. 2020.
    """
    import pandas as pd

    until = {word: adherence_by_person(tables, protocol, until=word) for word in ("withdrawal", "programme end")}
    people = until["withdrawal"]
    rows: list[tuple[object, ...]] = []

    def count(metric: str, number: float, of: float, denominator: str, definition: str) -> None:
        rows.append((metric, number, of, 100 * number / of if of > 0 else float("nan"), denominator, definition))

    if len(people):
        for word, frame in until.items():
            done, plan = (float(frame[f"{name}_sessions"].sum(min_count=1)) for name in ("delivered", "planned"))
            count("attendance", done, plan, f"sessions planned until {word}", "sessions delivered of sessions planned")
        sessions, n = people["delivered_sessions"].sum(), float(len(people))
        reduced, compared = people["dose_reduced_sessions"].sum(), people["sessions_compared"].sum()
        stops = people["early_stops"].sum()
        less, early = "attended with less than planned", "stopped before the session's planned end"
        count("dose reduction, sessions", reduced, compared, "delivered sessions with both minutes known", less)
        count("dose reduction, people", (people["dose_reduced_sessions"] > 0).sum(), n, "people enrolled", less)
        count("early stop, sessions", stops, sessions, "sessions delivered", early)
        count("early stop, people", (people["early_stops"] > 0).sum(), n, "people enrolled", early)
        for metric, column, says in (
            ("missed run, people", "missed_runs", "1 or 2 planned sessions in a row missed"),
            ("interruption, people", "interruptions", "3 or more planned sessions in a row missed"),
        ):
            count(metric, (people[column] > 0).sum(), n, "people enrolled", says)
        known = people["discontinued"].notna()
        gone = "left before the end of the programme"
        count(
            "discontinuation, people", (people["discontinued"] == 1).sum(), float(known.sum()), "people enrolled", gone
        )
        for reason, number in _left(tables, people):
            count(f"discontinuation, people: {reason}", number, float(known.sum()), "people enrolled", gone)
    frame = pd.DataFrame(rows, columns=list(COUNT_COLUMNS))
    numeric = ("number", "of", "percent")
    return frame.astype({name: "float64" if name in numeric else "str" for name in COUNT_COLUMNS})


def _left(tables: Tables, people: pd.DataFrame) -> list[tuple[str, int]]:
    """Return the reasons of those who left before the end, with their numbers; the commonest first."""
    from collections import Counter

    frame = table_of(tables, "participants")
    if frame is None:
        return []
    gone = set(people.loc[people["discontinued"] == 1, "participant_id"])
    pairs = zip(texts(frame, "participant_id"), texts(frame, "left_reason"), strict=True)
    counts = Counter(reason or NOT_STATED for person, reason in pairs if person in gone)
    return sorted(counts.items(), key=lambda one: (-one[1], one[0]))


def dose_by_mode(tables: Tables) -> pd.DataFrame:
    """Return what each person received with the legs, with the arms, and with both.

    Parameters
    ----------
    tables : mapping of str to DataFrame

    Returns
    -------
    DataFrame
        A row per person and mode that occurs, columns `MODE_COLUMNS`; the mode is empty where none is on record. Sums
        are over the sessions with a value, nan where none has one. Empty without a sessions table.
    """
    import pandas as pd

    frame = table_of(tables, "sessions")
    kinds = {name: "str" if name in MODE_COLUMNS[:2] else "float64" for name in MODE_COLUMNS}
    if frame is None:
        return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})
    done = pd.DataFrame(
        {
            **{name: texts(frame, name) for name in ("participant_id", "mode", "status")},
            "active_minutes": numbers(frame, "active_minutes"),
            "work_kj": numbers(frame, "work_kj"),
        }
    )
    done = done[done["status"].isin(DELIVERED)]
    groups = done.groupby(["participant_id", "mode"], sort=True)
    found = groups.size().rename("delivered_sessions").to_frame()
    for name, without in (("active_minutes", "active_minutes"), ("work_kj", "work")):
        found[f"delivered_{name}"] = groups[name].sum(min_count=1)
        found[f"sessions_without_{without}"] = found["delivered_sessions"] - groups[name].count()
    return found.reset_index()[list(MODE_COLUMNS)].astype(kinds)


def dose_windows(tables: Tables, protocol: Protocol, *, recent_days: int | None = None) -> pd.DataFrame:
    """Return the dose of each visit over every window: up to it, since the visit before, and over the last days.

    Parameters
    ----------
    tables, protocol
        As in `dose_by_visit`; the protocol's lag and end of planning hold for every window.
    recent_days : int, optional
        Length of the trailing window; the protocol's, else 28.

    Returns
    -------
    DataFrame
        The columns of `dose_by_visit` with ``window`` in front.

    Raises
    ------
    DataError, DesignError
        As in `dose_by_visit`.
    """
    import pandas as pd

    from protocols.schema import DosePlan

    plan = protocol.dose or DosePlan()
    days = recent_days or plan.recent_days or RECENT_DAYS
    windows = {"to visit": None, "since last visit": None, "recent": days}
    parts = []
    for word, length in windows.items():
        dose = plan.model_copy(update={"cumulate": word, "recent_days": length})
        found = dose_by_visit(tables, protocol.model_copy(update={"dose": dose}))
        name = word if length is None else f"last {length} days"
        found.insert(0, "window", pd.Series([name] * len(found), dtype="str"))
        parts.append(found)
    return pd.concat(parts, ignore_index=True)


def fitt(tables: Tables, protocol: Protocol) -> pd.DataFrame:
    """Return frequency, intensity, time and type, planned beside delivered.

    Parameters
    ----------
    tables, protocol
        As in `dose_by_visit`.

    Returns
    -------
    DataFrame
        A row per quantity, columns `FITT_COLUMNS`. Planned values are those of the training protocol, as a range where
        it gives one; where prescriptions name the quantity, the mean of theirs. Delivered values are means over
        delivered sessions, or over people for the frequency; empty where none is on record.

    Raises
    ------
    DataError, DesignError
        As in `dose_by_visit`.
    """
    import pandas as pd

    people = adherence_by_person(tables, protocol)
    rows = [*_frequency(tables, protocol, people), *_intensity(tables, protocol), *_time_and_type(tables, protocol)]
    frame = pd.DataFrame(rows, columns=list(FITT_COLUMNS))
    numeric = ("people", "sessions")
    return frame.astype({name: "float64" if name in numeric else "str" for name in FITT_COLUMNS})


Row = tuple[object, ...]


def _frequency(tables: Tables, protocol: Protocol, people: pd.DataFrame) -> list[Row]:
    training = protocol.training
    if training is None or not len(people):
        return []
    import numpy as np

    left = people["left_day"].to_numpy(dtype=np.float64)
    weeks = np.minimum(np.where(np.isnan(left), np.inf, left / 7), training.weeks)
    weeks = np.maximum(weeks, 1 / 7)
    rate = float((people["delivered_sessions"].to_numpy() / weeks).mean())
    planned = _prescribed(tables, "sessions_per_week") or f"{training.sessions_per_week:g}"
    n = float(len(people))
    total = float(people["delivered_sessions"].sum())
    note = "mean over people, each until leaving"
    stayed = f"{float(weeks.mean()):.3g}"
    return [
        ("frequency", "sessions per week", "1/wk", planned, f"{rate:.3g}", n, total, note),
        ("time", "length of the programme", "wk", f"{training.weeks:g}", stayed, n, total, note),
    ]


def _prescribed(tables: Tables, column: str) -> str:
    """Return the mean of what prescriptions say of a quantity; empty where they say nothing."""
    import numpy as np

    frame = table_of(tables, "prescriptions")
    values = np.zeros(0) if frame is None else numbers(frame, column)
    values = values[~np.isnan(values)]
    return f"{values.mean():.3g}" if len(values) else ""


def _delivered(tables: Tables, table: str, column: str) -> tuple[str, float, float]:
    """Return the mean of a column over delivered sessions, with the people and sessions that have a value."""
    import numpy as np

    if table not in tables:
        return "", 0.0, 0.0
    frame = tables[table]
    values, person = numbers(frame, column), np.array(texts(frame, "participant_id"), dtype=object)
    session = np.array(texts(frame, "session_id"), dtype=object)
    known = ~np.isnan(values)
    if table == "sessions":
        known &= np.isin(np.array(texts(frame, "status"), dtype=object), DELIVERED)
    if not known.any():
        return "", 0.0, 0.0
    sessions = len(set(zip(person[known].tolist(), session[known].tolist(), strict=True)))
    return f"{values[known].mean():.3g}", float(len(set(person[known].tolist()))), float(sessions)


def _intensity(tables: Tables, protocol: Protocol) -> list[Row]:
    training = protocol.training
    span = training.current_ma if training is not None else None
    own = {
        "current_ma": f"{span[0]:g} to {span[1]:g}" if span else "",
        **{name: _text(getattr(training, name, None)) for name in ("pulse_width_us", "frequency_hz", "cadence_rpm")},
    }
    wanted = (
        ("current", "mA", "current_ma", "stimulation", "current_ma"),
        ("pulse width", "us", "pulse_width_us", "stimulation", "pulse_width_us"),
        ("pulse frequency", "Hz", "frequency_hz", "stimulation", "frequency_hz"),
        ("cadence", "{rev}/min", "cadence_rpm", "sessions", "mean_cadence_rpm"),
        ("mean power", "W", "", "sessions", "mean_power_w"),
        ("work per session", "kJ", "work_kj", "sessions", "work_kj"),
        ("perceived exertion", "1", "", "sessions", "rpe"),
    )
    rows: list[Row] = []
    for quantity, unit, column, table, given in wanted:
        planned = (_prescribed(tables, column) or own.get(column, "")) if column else ""
        done, people, sessions = _delivered(tables, table, given)
        note = "mean over channels and segments" if table == "stimulation" else "mean over sessions"
        rows.append(
            ("intensity", quantity, unit, planned or "not planned", done or "not recorded", people, sessions, note)
        )
    return rows


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _time_and_type(tables: Tables, protocol: Protocol) -> list[Row]:
    from collections import Counter

    training = protocol.training
    minutes = () if training is None else training.active_minutes
    planned = f"{min(minutes):g} to {max(minutes):g}" if minutes and min(minutes) < max(minutes) else ""
    planned = planned or (f"{minutes[0]:g}" if minutes else "not planned")
    done, people, sessions = _delivered(tables, "sessions", "active_minutes")
    rows: list[Row] = [
        (
            "time",
            "active minutes per session",
            "min",
            planned,
            done or "not recorded",
            people,
            sessions,
            "mean over sessions",
        )
    ]
    frame = table_of(tables, "sessions")
    if frame is not None:
        pairs = zip(texts(frame, "mode"), texts(frame, "status"), strict=True)
        modes = Counter(mode or NOT_STATED for mode, status in pairs if status in DELIVERED)
        said = ", ".join(f"{mode} {number}" for mode, number in sorted(modes.items()))
        total = float(sum(modes.values()))
        person = float(frame["participant_id"].nunique())
        rows.append(("type", "limbs", "", "" if training is None else training.mode, said, person, total, "sessions"))
    return rows
