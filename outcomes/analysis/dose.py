"""Training that was planned and training that was delivered, up to each visit and week by week."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work

EXPOSURES = {
    "sessions": ("1", "planned_sessions", "delivered_sessions", "not_recorded_sessions", "sessions"),
    "active_minutes": (
        "min", "planned_active_minutes", "delivered_active_minutes", "sessions_without_active_minutes",
        "active minutes",
    ),
    "work_kj": ("kJ", "planned_work_kj", "delivered_work_kj", "sessions_without_work", "work"),
    "charge_c": ("C", "planned_charge_c", "delivered_charge_c", "sessions_without_charge", "stimulation charge"),
}  # fmt: skip
RATES = {"active_minutes": "active_minutes_per_week", "work_kj": "work_kj_per_week", "charge_c": "charge_c_per_week"}


def sum_dose(work: Work) -> None:
    """Write planned and delivered dose up to each visit, week by week, and what became of the planned sessions."""
    from outcomes.dose import dose_by_visit, dose_by_week

    study = work.study
    if study.protocol.training is None and not study.has("sessions"):
        return
    if not study.has("sessions"):
        _refuse(work, "the study has no sessions table")
        return
    try:
        dose = dose_by_visit(study.tables, study.protocol)
        weeks = dose_by_week(study.tables, study.protocol)
    except DesignError as refusal:
        _refuse(work, refusal.reason)
        return
    work.people["dose"], work.people["dose_by_week"] = dose, weeks
    dose, weeks = (frame[~frame["participant_id"].isin(work.untrained)] for frame in (dose, weeks))
    for visit in study.protocol.visits:
        at = dose[(dose["visit"] == visit.key) & dose["visit_day"].notna()]
        if visit.when == "baseline" or not len(at):
            continue
        for group, members in _groups(work):
            mine = at[at["participant_id"].isin(members)]
            for exposure in _exposures(work) if len(mine) else ():
                _up_to(work, visit, exposure, mine, group)
    _tables(work, dose, weeks)


def _groups(work: Work) -> list[tuple[str, Any]]:
    """Return everybody, and each group where there are groups: what was delivered to one says nothing of another.

    A group for which the programme is not (``trained = false``) has no planned dose and is in no sum.
    """
    everybody = work.participants
    trained = [group for group in work.study.protocol.groups if group.trained]
    groups = [(g.key, everybody.index[everybody["group"] == g.key]) for g in trained]
    return [("all", everybody.index), *groups]


def _exposures(work: Work) -> list[str]:
    """Return the doses that the study can have: the charge only where it has rows of stimulation."""
    return [name for name in EXPOSURES if name != "charge_c" or work.study.has("stimulation")]


def _refuse(work: Work, reason: str) -> None:
    for exposure in _exposures(work):
        unit, *_, label = EXPOSURES[exposure]
        key = work.key("dose", "delivered_sum", exposure=exposure)
        work.record.refuse(key, reason, label=f"{label} delivered", unit=unit)


def _up_to(work: Work, visit: Any, exposure: str, at: pd.DataFrame, group: str) -> None:
    """Write one exposure up to one visit, over the people seen at it whose dose is known."""
    unit, planned_column, delivered_column, without_column, words = EXPOSURES[exposure]
    planned, delivered = at[planned_column], at[delivered_column]
    parts: dict[str, Any] = {"contrast": visit.key, "exposure": exposure, "group": group}
    inputs = ("people/dose",)
    known = delivered.dropna()
    n = len(known)
    without = int(at[without_column].sum())

    def put(statistic: str, value: float, label: str, unit: str = unit, people: int = n, **more: Any) -> None:
        estimate = Estimate(
            value=float(value), unit=unit, n_people=people, n_values=people, **{"method": statistic, **more}
        )
        work.add(work.key("dose", statistic, **parts), estimate, f"{label} up to {visit.label}", inputs=inputs)

    key = work.key("dose", "sessions_without", **parts)
    label = "planned sessions without a row" if exposure == "sessions" else f"sessions whose {words} are not known"
    work.count(key, without, f"{label} up to {visit.label}", people=len(at), inputs=inputs)
    if n:
        caveats = _doubts(at, delivered_column, without_column) if exposure != "sessions" else ()
        put("delivered_sum", known.sum(), f"{words} delivered", caveats=caveats)
        put("delivered_mean", known.mean(), f"{words} delivered per person", caveats=caveats)
        if n > 1:
            put("delivered_sd", known.std(ddof=1), f"{words} delivered per person, standard deviation", caveats=caveats)
        if exposure in RATES and at[RATES[exposure]].notna().any():
            rate = at[RATES[exposure]].dropna()
            put("per_week_mean", rate.mean(), f"{words} per week", f"{unit}/wk", len(rate), caveats=caveats)
    else:
        for statistic in ("delivered_sum", "delivered_mean"):
            key, label = work.key("dose", statistic, **parts), f"{words} delivered up to {visit.label}"
            work.record.refuse(key, "no delivered session has a value of it", label=label, unit=unit)
    _against_plan(work, visit, planned, delivered, put, parts)


def _doubts(at: pd.DataFrame, delivered: str, without: str) -> tuple[str, ...]:
    """Return what limits a dose: people whose dose is not known at all, and sessions without a value of the others."""
    unknown = at[delivered].isna()
    found = ("dose_people_unknown",) if unknown.any() else ()
    return (*found, "dose_lower_bound") if at.loc[~unknown, without].sum() > 0 else found


def _against_plan(work: Work, visit: Any, planned: Any, delivered: Any, put: Any, parts: dict[str, Any]) -> None:
    from outcomes.dose import dose_intensity

    words = EXPOSURES[parts["exposure"]][-1]
    if planned.isna().all():
        for statistic in ("planned_sum", "mean_of_ratios", "ratio_of_sums"):
            key = work.key("dose", statistic, **parts)
            label = f"{words} planned up to {visit.label}"
            work.record.refuse(key, "none was prescribed", label=label, status="not planned")
        return
    people = int(planned.notna().sum())
    caveats = ("plan_people_unknown",) if people < len(planned) else ()
    put("planned_sum", planned.sum(), f"{words} planned", people=people, caveats=caveats)
    put("planned_mean", planned.mean(), f"{words} planned per person", people=people, caveats=caveats)
    try:
        intensity = dose_intensity(planned.to_numpy(), delivered.to_numpy())
    except DesignError as refusal:
        key = work.key("dose", "ratio_of_sums", **parts)
        work.record.refuse(key, refusal.reason, label=f"{words} delivered of planned", unit="1")
        return
    for statistic, label in (
        ("mean_of_ratios", "relative dose intensity, mean of each person's ratio"),
        ("ratio_of_sums", "relative dose intensity, delivered sum over planned sum"),
    ):
        key = work.key("dose", statistic, **parts)
        work.add(key, getattr(intensity, statistic), f"{words}: {label}, up to {visit.label}", inputs=("people/dose",))


def _totals(at: pd.DataFrame, sums: list[str]) -> list[float]:
    """Return the sums of planned and delivered columns, in pairs, each over the people for whom both are known."""
    totals: list[float] = []
    for planned, delivered in zip(sums[::2], sums[1::2], strict=True):
        both = at[[planned, delivered]] if at[planned].isna().all() else at[[planned, delivered]].dropna()
        totals += [both[planned].sum(min_count=1), both[delivered].sum(min_count=1)]
    return totals


def _tables(work: Work, dose: pd.DataFrame, weeks: pd.DataFrame) -> None:
    from outcomes.dose import session_counts

    sums = ["planned_sessions", "delivered_sessions", "planned_active_minutes", "delivered_active_minutes"]
    sums += ["planned_work_kj", "delivered_work_kj", "planned_charge_c", "delivered_charge_c"]
    units = dict(zip(sums, ("1", "1", "min", "min", "kJ", "kJ", "C", "C"), strict=True))
    labels = {visit.key: visit.label for visit in work.study.protocol.visits}
    seen = dose[dose["visit_day"].notna()]
    rows = []
    for visit, label in labels.items():
        at = seen[seen["visit"] == visit]
        rows.append((visit, label, len(at), *_totals(at, sums), at["hours_since_last_session"].median()))
    columns = {"visit": "", "label": "", "people": "1", **units, "median_hours_since_last_session": "h"}
    work.record.add_table("dose_by_visit", columns, rows)
    by_week = weeks.groupby("week", sort=True)
    rows = [
        (part["week"].iloc[0], part["participant_id"].nunique(), *(part[column].sum(min_count=1) for column in sums))
        for _, part in by_week
    ]
    work.record.add_table("dose_by_week", {"week": "1", "people": "1", **units}, rows)
    sessions = work.study.table("sessions")
    counts = session_counts(work.study.tables)[["status", "reason", "n"]].itertuples(index=False, name=None)
    work.record.add_table("session_status", {"status": "", "reason": "", "n": "1"}, counts)
    status = sessions["status"].value_counts()
    for word in ("done", "shortened", "missed", "cancelled"):
        key = work.key("dose", f"sessions_{word}")
        people = sessions["participant_id"].nunique()
        work.count(key, int(status.get(word, 0)), f"sessions {word}", people=people, inputs=("ledger/sessions",))
