"""What the whole programme delivered, four weeks at a time and in all, who stayed, and what it cost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work

WEEKS = 4
"""Weeks that a row of the table stands for; a programme's months are counted from enrolment."""

SUMS = {
    "planned_sessions": "1", "delivered_sessions": "1", "planned_active_minutes": "min",
    "delivered_active_minutes": "min", "planned_work_kj": "kJ", "delivered_work_kj": "kJ",
}  # fmt: skip
IN_ALL = {
    "sessions": ("planned_sessions", "delivered_sessions", "1", 1.0, "sessions"),
    "hours": ("planned_active_minutes", "delivered_active_minutes", "h", 60.0, "hours of active training"),
    "work_kj": ("planned_work_kj", "delivered_work_kj", "kJ", 1.0, "work"),
}
INPUTS = ("people/dose_by_week",)


def sum_delivery(work: Work) -> None:
    """Write the programme's delivery against plan, everybody together, and what each session and hour cost."""
    people = work.participants
    left = people["left_day"].notna() | people["left_on"].notna()
    work.count(work.key("flow", "stayed"), int((~left).sum()), "people who stayed to the end",
               inputs=("ledger/participants",))  # fmt: skip
    if "dose_by_week" not in work.people:
        return
    weeks = work.people["dose_by_week"]
    _by_month(work, weeks)
    delivered = {name: _in_all(work, weeks, name) for name in IN_ALL}
    _costs(work, delivered)


def _by_month(work: Work, weeks: pd.DataFrame) -> None:
    rows = []
    for month, part in weeks.groupby(((weeks["week"] - 1) // WEEKS + 1).astype(int), sort=True):
        ends = int(part["week"].min()), int(part["week"].max())
        sums = [part[column].sum(min_count=1) for column in SUMS]
        hours = [part[column].sum(min_count=1) / 60 for column in list(SUMS)[2:4]]
        rows.append((int(str(month)), *ends, part["participant_id"].nunique(), *sums, *hours))
    columns = {"month": "1", "first_week": "1", "last_week": "1", "people": "1", **SUMS}
    work.record.add_table("delivery", {**columns, "planned_hours": "h", "delivered_hours": "h"}, rows)


def _in_all(work: Work, weeks: pd.DataFrame, exposure: str) -> float | None:
    """Write planned and delivered sums of one exposure and their ratio; return what was delivered."""
    planned_column, delivered_column, unit, per, words = IN_ALL[exposure]
    n = weeks["participant_id"].nunique()
    sums: dict[str, float | None] = {}
    for kind, column in (("planned", planned_column), ("delivered", delivered_column)):
        total = weeks[column].sum(min_count=1) / per
        sums[kind] = None if total != total else float(total)
        key, label = work.key("delivery", f"{kind}_sum", exposure=exposure), f"{words} {kind}, whole programme"
        value = sums[kind]
        if value is None:
            why = "none was prescribed" if kind == "planned" else "no delivered session has a value of it"
            work.record.refuse(key, why, label=label, unit=unit, inputs=INPUTS)
        else:
            work.add(key, _estimate(value, unit, n, "programme_sum"), label, inputs=INPUTS)
    if sums["planned"] and sums["delivered"] is not None:
        share = _estimate(sums["delivered"] / sums["planned"], "1", n, "programme_share")
        label = f"{words} delivered of planned, whole programme"
        work.add(work.key("delivery", "share", exposure=exposure), share, label, inputs=INPUTS)
    return sums["delivered"]


def _costs(work: Work, delivered: dict[str, float | None]) -> None:
    """Write the sum of the costs that the protocol names, and what it comes to for a session and an hour."""
    costs = work.study.protocol.report.funder.costs
    currencies = {cost.currency for cost in costs}
    if len(currencies) != 1:
        return
    total, currency = sum(cost.amount for cost in costs), currencies.pop()
    n = work.participants.shape[0]
    inputs = ("protocol/report", *INPUTS)
    label = f"costs that the protocol names, in {currency}"
    work.add(work.key("cost", "total"), _estimate(total, "1", n, "cost_sum"), label, inputs=inputs[:1])
    for exposure, word in (("sessions", "session"), ("hours", "hour of active training")):
        amount = delivered[exposure]
        if amount:
            estimate = _estimate(total / amount, "1", n, "cost_per")
            label = f"cost of one delivered {word}, in {currency}"
            work.add(work.key("cost", "per_unit", exposure=exposure), estimate, label, inputs=inputs)


def _estimate(value: float, unit: str, n: int, method: str) -> Any:
    return Estimate(value=float(value), unit=unit, method=method, n_people=n, n_values=n)
