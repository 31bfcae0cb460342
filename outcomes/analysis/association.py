"""Whether more training went with more change: between persons, as an association, with time held apart."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.result import Estimate
    from outcomes.study import Series

EXPOSURES: dict[str, tuple[str, str, float, str, str]] = {
    "active_minutes": ("delivered_active_minutes", "min", 600.0, "10 h", "active time"),
    "active_minutes_per_week": ("active_minutes_per_week", "min/wk", 30.0, "30 min per week", "weekly active time"),
    "work_kj": ("delivered_work_kj", "kJ", 100.0, "100 kJ", "work"),
    "work_kj_per_week": ("work_kj_per_week", "kJ/wk", 10.0, "10 kJ per week", "weekly work"),
}
"""Exposure to column of the dose table, unit, amount that the slope is given for, that amount in words, name."""

WITHOUT = {"active_minutes": "sessions_without_active_minutes", "work_kj": "sessions_without_work"}
"""Dose to the column that counts delivered sessions whose value is not known."""

POWER = "work is power times time, so it is no dose for a power outcome"
GROUPS = "groups were trained differently, so what dose and what group go with cannot be told apart"

COLUMNS = {
    "key": "", "measure": "", "label": "", "place": "", "contrast": "", "exposure": "", "per": "", "n": "1",
    "slope": "", "low": "", "high": "", "p": "1", "raw_slope": "", "loo_low": "", "loo_high": "", "rank": "1",
    "rank_p": "1", "reason": "",
}  # fmt: skip


def associate_dose(work: Work) -> None:
    """Write the between-person association of every planned exposure with the change of every series."""
    plan = work.study.protocol.dose
    if plan is None or work.contrast is None or "dose" not in work.people:
        return
    exposures = [name for name in EXPOSURES if name.removesuffix("_per_week") in plan.metrics]
    _dose_and_time(work, plan.metrics)
    rows: list[dict[str, Any]] = []
    for series in work.study.series:
        if series.plan.role == "exploratory":
            continue
        for exposure in exposures:
            row: dict[str, Any] = {"measure": series.measure_part, "place": series.place_part, "label": series.label}
            row |= {"exposure": exposure, "per": EXPOSURES[exposure][3], "contrast": work.contrast_part, "n": 0}
            try:
                _one(work, series, exposure, row)
            except DesignError as refusal:
                row["reason"] = refusal.reason
                statistic = "rank" if series.ordinal else "slope"
                row["key"] = _key(work, series, exposure, statistic)
                label = _label(series, exposure)
                work.record.refuse(
                    row["key"], refusal.reason, label=label, role=series.plan.role, n_people=int(row["n"])
                )
            rows.append(row)
    work.record.add_table("dose_response", COLUMNS, ([row.get(c) for c in COLUMNS] for row in rows))


def _key(work: Work, series: Series, exposure: str, statistic: str) -> str:
    return work.key("dose_response", statistic, series, contrast=work.contrast_part, exposure=exposure)


def _label(series: Series, exposure: str) -> str:
    return f"{series.label}: association of change with {EXPOSURES[exposure][4]}"


def _one(work: Work, series: Series, exposure: str, row: dict[str, Any]) -> None:
    from outcomes.dose_response import FEWEST, between_person_association, rank_association
    from outcomes.dose_response import describe as describe_dose

    if len(work.study.protocol.groups) > 1:
        raise DesignError(GROUPS)
    if exposure.startswith("work") and (series.scale.unit == "W" or series.definition.construct == "power"):
        raise DesignError(POWER)
    column, unit, per, words, _ = EXPOSURES[exposure]
    both = _joined(work, series, column)
    row["n"] = len(both)
    if work.study.protocol.analysis.min_people <= len(both) < FEWEST:
        small = describe_dose(both["dose"], both["change"], dose_unit=unit, outcome_unit=series.scale.unit)
        for statistic in ("dose_median", "change_median"):
            key = _key(work, series, exposure, statistic)
            label = f"{_label(series, exposure)}: {statistic.replace('_', ', ')} (too few people for an association)"
            work.add(key, getattr(small, statistic), label, series.plan.role, inputs=("people/change", "people/dose"))
    doubts = _doubts(work, both.index, exposure)
    arrays = [both[name].to_numpy() for name in ("dose", "change", "before")]
    options: dict[str, Any] = {"level": work.level, "rng": work.rng("dose_response", series.name, exposure)}
    inputs = ("people/change", "people/dose")
    if series.ordinal:
        ranked = rank_association(*arrays, **options)
        row["key"] = _key(work, series, exposure, "rank")
        label = _label(series, exposure) + ", rank"
        work.add(row["key"], _doubted(ranked.rank, doubts), label, series.plan.role, inputs=inputs)
        row |= {"rank": ranked.rank.value, "rank_p": ranked.rank.test.p if ranked.rank.test else None}
        return
    result = between_person_association(*arrays, dose_unit=unit, per=per, outcome_unit=series.scale.unit, **options)
    row["key"] = _key(work, series, exposure, "slope")
    for name, label in (
        ("slope", f"change per {words}, given the first value"),
        ("raw_slope", f"change per {words}, first value not held"),
        ("partial_correlation", "partial correlation given the first value"),
        ("rank", "partial rank correlation given the first value"),
        ("leave_one_out_low", f"lowest change per {words} with one person left out"),
        ("leave_one_out_high", f"highest change per {words} with one person left out"),
    ):
        estimate = getattr(result, name)
        if estimate is not None:
            key = _key(work, series, exposure, name)
            label = f"{_label(series, exposure)}: {label}"
            work.add(key, _doubted(estimate, doubts), label, series.plan.role, inputs=inputs)
    slope, rank = result.slope, result.rank
    row |= {"slope": slope.value, "raw_slope": result.raw_slope.value}
    row |= {"low": slope.interval.low, "high": slope.interval.high} if slope.interval else {}
    row |= {"p": slope.test.p if slope.test else None, "rank": rank.value if rank else None}
    row |= {"rank_p": rank.test.p if rank and rank.test else None}
    for column, end in (("loo_low", result.leave_one_out_low), ("loo_high", result.leave_one_out_high)):
        row[column] = end.value if end is not None else None


def _joined(work: Work, series: Series, column: str) -> pd.DataFrame:
    """Return dose up to the later compared visit beside before and change, for everybody who has all three."""
    assert work.contrast is not None
    dose = work.people["dose"]
    at = dose[dose["visit"] == work.contrast[1]].set_index("participant_id")[column].rename("dose")
    both = work.pairs(series).join(at, how="inner")
    return both[both["dose"].notna()]


def _doubts(work: Work, people: pd.Index[Any], exposure: str) -> tuple[str, ...]:
    """Return what limits a dose as the thing that change is related to: caveats of every number of the association."""
    assert work.contrast is not None
    metric = exposure.removesuffix("_per_week")
    dose = work.people["dose"]
    dose = dose[dose["participant_id"].isin(people)]
    first, last = (dose[dose["visit"] == visit] for visit in work.contrast)
    found: tuple[str, ...] = ("work_is_partly_outcome",) if metric == "work_kj" else ()
    if (last[WITHOUT[metric]] > 0).any():
        found += ("dose_too_low",)
    whole = work.study.protocol.dose is None or work.study.protocol.dose.cumulate == "to visit"
    return (*found, "dose_before") if whole and (first["delivered_sessions"] > 0).any() else found


def _doubted(estimate: Estimate, doubts: tuple[str, ...]) -> Estimate:
    return dataclasses.replace(estimate, caveats=(*estimate.caveats, *doubts))


def _dose_and_time(work: Work, metrics: Any) -> None:
    """Write how far a person's cumulative dose can be told from the passing of time, over the weeks in training."""
    from outcomes.dose_response import dose_time_collinearity

    weeks = _weeks_in_training(work)
    for metric in metrics:
        column, _, _, _, name = EXPOSURES[metric]
        keys = {
            statistic: work.key("dose_response", statistic, exposure=metric, contrast=work.contrast_part)
            for statistic in ("within_person_r", "median_person_r", "vif")
        }
        try:
            cumulative = _cumulative(weeks, column)
            known = cumulative.notna().to_numpy()
            result = dose_time_collinearity(
                weeks["participant_id"].to_numpy()[known],
                weeks["week"].to_numpy(dtype=float)[known],
                cumulative.to_numpy(dtype=float)[known],
            )
        except DesignError as refusal:
            for key in keys.values():
                work.record.refuse(key, refusal.reason, label=f"{name} and time within persons", unit="1")
            continue
        inputs = ("people/dose_by_week",)
        label = f"cumulative {name} and time: correlation within persons"
        work.add(keys["within_person_r"], result.within_person_r, label, inputs=inputs)
        work.add(keys["vif"], result.vif, f"cumulative {name} and time: variance inflation", inputs=inputs)
        if result.median_person_r is not None:
            label = f"cumulative {name} and time: median of the people's own correlations"
            work.add(keys["median_person_r"], result.median_person_r, label, inputs=inputs)


def _cumulative(weeks: pd.DataFrame, column: str) -> pd.Series:
    """Return the dose up to the end of each week; as up to a visit, missing where no session has had a value so far."""
    person = weeks["participant_id"]
    known = weeks[column].fillna(0.0).groupby(person).cumsum()
    values = weeks[column].where(weeks["delivered_sessions"] > 0).notna().groupby(person).cumsum()
    sessions = weeks["delivered_sessions"].groupby(person).cumsum()
    return known.where((values > 0) | (sessions == 0))


def _weeks_in_training(work: Work) -> pd.DataFrame:
    """Return the weekly dose of each person up to the later compared visit, or to the day on which they left."""
    import pandas as pd

    weeks = work.people["dose_by_week"].sort_values(["participant_id", "week"])
    visits = work.visit_days[work.visit_days["visit"] == (work.contrast or ("", ""))[1]]
    seen = visits.set_index("participant_id")["visited_day"]
    last = pd.concat([work.participants["left_day"], seen], axis=1).min(axis=1)
    end = weeks["participant_id"].map(last)
    return weeks[end.isna() | ((weeks["week"] - 1) * 7 < end)]
