"""Whether more training went with more change: between persons, as an association, with time held apart."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.result import Estimate
    from outcomes.study import Series
    from protocols.schema import DosePlan

EXPOSURES: dict[str, tuple[str, str, float, str, str]] = {
    "active_minutes": ("delivered_active_minutes", "min", 600.0, "10 h", "active time"),
    "active_minutes_per_week": ("active_minutes_per_week", "min/wk", 30.0, "30 min per week", "weekly active time"),
    "work_kj": ("delivered_work_kj", "kJ", 100.0, "100 kJ", "work"),
    "work_kj_per_week": ("work_kj_per_week", "kJ/wk", 10.0, "10 kJ per week", "weekly work"),
    "charge_c": ("delivered_charge_c", "C", 100.0, "100 C", "stimulation charge"),
    "charge_c_per_week": ("charge_c_per_week", "C/wk", 10.0, "10 C per week", "weekly stimulation charge"),
    "planned_active_minutes": ("planned_active_minutes", "min", 600.0, "10 h", "planned active time"),
    "planned_work_kj": ("planned_work_kj", "kJ", 100.0, "100 kJ", "planned work"),
}
"""Exposure to column of the dose table, unit, amount that the slope is given for, that amount in words, name."""

WITHOUT = {
    "active_minutes": "sessions_without_active_minutes",
    "work_kj": "sessions_without_work",
    "charge_c": "sessions_without_charge",
}
"""Dose to the column that counts delivered sessions whose value is not known."""

POWER = "work is power times time, so it is no dose for a power outcome"
COLUMNS = {
    "key": "", "measure": "", "label": "", "place": "", "group": "", "contrast": "", "exposure": "", "dose": "",
    "per": "", "n": "1",
    "slope": "", "low": "", "high": "", "p": "1", "raw_slope": "", "loo_low": "", "loo_high": "", "rank": "1",
    "rank_p": "1", "reason": "",
}  # fmt: skip


@dataclass(frozen=True)
class Stratum:
    """People among whom an association is looked for: everybody, one group, or all groups with a term for the group.

    Parameters
    ----------
    group : str
        Fourth part of the record key.
    people : Index
    terms : DataFrame, optional
        Columns of 0 and 1 that are held constant, by participant_id.
    """

    group: str
    people: pd.Index[Any]
    terms: pd.DataFrame | None = None

    def held(self, people: pd.Index[Any]) -> Any:
        """Return the group's columns of some people; None where groups are not held."""
        return None if self.terms is None else self.terms.loc[people].to_numpy(dtype=float)


def strata(work: Work) -> list[Stratum]:
    """Return the people among whom associations are looked for; groups are never pooled without a term for them."""
    import pandas as pd

    everybody, plan = work.participants.index, work.study.protocol
    if len(plan.groups) < 2:
        return [Stratum("all", everybody)]
    group = work.participants["group"]
    if plan.dose is not None and plan.dose.groups == "group term":
        known = everybody[group.isin([g.key for g in plan.groups])]
        others = [g.key for g in plan.groups if not g.reference]
        return [Stratum("all", known, pd.DataFrame({key: (group[known] == key) * 1.0 for key in others}))]
    return [Stratum(g.key, everybody[group == g.key]) for g in plan.groups]


def exposures_of(plan: DosePlan) -> list[str]:
    """Return the exposures that the protocol relates to change, in the order of `EXPOSURES`."""
    kinds = {name: "planned" if name.startswith("planned_") else "delivered" for name in EXPOSURES}
    return [name for name in EXPOSURES if metric_of(name) in plan.metrics and kinds[name] in plan.which]


def metric_of(exposure: str) -> str:
    """Return the protocol's word for the dose behind an exposure."""
    return exposure.removeprefix("planned_").removesuffix("_per_week")


def dose_words(plan: DosePlan, exposure: str) -> str:
    """Return the name of a dose: planned or delivered, metric, window and lag."""
    name = EXPOSURES[exposure][4]
    kind = "" if name.startswith("planned") else "delivered "
    windows = {"to visit": "up to the visit", "since last visit": "since the visit before"}
    window = windows.get(plan.cumulate, f"in the last {plan.recent_days} days")
    lag = f", sessions of the last {plan.lag_days} days not counted" if plan.lag_days else ""
    return f"{kind}{name} {window}{lag}"


def associate_dose(work: Work) -> None:
    """Write the between-person association of every planned exposure with the change of every series."""
    plan = work.study.protocol.dose
    if plan is None or work.contrast is None or "dose" not in work.people:
        return
    _dose_and_time(work, plan.metrics)
    rows: list[dict[str, Any]] = []
    for stratum, series, exposure in itertools.product(strata(work), related_series(work), exposures_of(plan)):
        row: dict[str, Any] = {"measure": series.measure_part, "place": series.place_part, "label": series.label}
        row |= {"group": stratum.group, "exposure": exposure, "dose": dose_words(plan, exposure), "n": 0}
        row |= {"per": EXPOSURES[exposure][3], "contrast": work.contrast_part}
        try:
            _one(work, series, exposure, stratum, row)
        except DesignError as refusal:
            row["reason"] = refusal.reason
            statistic = "rank" if series.ordinal else "slope"
            row["key"] = association_key(work, series, exposure, stratum, statistic)
            label = association_label(series, exposure)
            work.record.refuse(row["key"], refusal.reason, label=label, role=series.plan.role, n_people=int(row["n"]))
        rows.append(row)
    work.record.add_table("dose_response", COLUMNS, ([row.get(c) for c in COLUMNS] for row in rows))


def related_series(work: Work) -> list[Series]:
    """Return the outcomes whose change is related to dose: all that are not exploratory."""
    return [series for series in work.study.series if series.plan.role != "exploratory"]


def refuse_power(series: Series, exposure: str) -> None:
    """Raise DesignError where work would be the dose of a power outcome."""
    if metric_of(exposure) == "work_kj" and (series.scale.unit == "W" or series.definition.construct == "power"):
        raise DesignError(POWER)


def association_key(work: Work, series: Series | None, exposure: str, stratum: Stratum, statistic: str) -> str:
    """Return the record key of one number of an association."""
    parts = {"group": stratum.group, "contrast": work.contrast_part, "exposure": exposure}
    return work.key("dose_response", statistic, series, **parts)


def association_label(series: Series, exposure: str) -> str:
    """Return what an association is called."""
    return f"{series.label}: association of change with {EXPOSURES[exposure][4]}"


def _one(work: Work, series: Series, exposure: str, stratum: Stratum, row: dict[str, Any]) -> None:
    from outcomes.dose_response import FEWEST, between_person_association, rank_association
    from outcomes.dose_response import describe as describe_dose

    refuse_power(series, exposure)
    column, unit, per, words, _ = EXPOSURES[exposure]
    both = joined(work, series, column, stratum.people)
    row["n"] = len(both)
    if work.study.protocol.analysis.min_people <= len(both) < FEWEST:
        small = describe_dose(both["dose"], both["change"], dose_unit=unit, outcome_unit=series.scale.unit)
        for statistic in ("dose_median", "change_median"):
            key = association_key(work, series, exposure, stratum, statistic)
            what = f"{statistic.replace('_', ', ')} (too few people for an association)"
            label = f"{association_label(series, exposure)}: {what}"
            work.add(key, getattr(small, statistic), label, series.plan.role, inputs=("people/change", "people/dose"))
    doubts = doubts_of(work, both.index, exposure)
    arrays = [both[name].to_numpy() for name in ("dose", "change", "before")]
    seeds = ("dose_response", series.name, exposure, *([] if stratum.group == "all" else [stratum.group]))
    options: dict[str, Any] = {"level": work.level, "rng": work.rng(*seeds), "covariates": stratum.held(both.index)}
    inputs = ("people/change", "people/dose")
    if series.ordinal:
        ranked = rank_association(*arrays, **options)
        row["key"] = association_key(work, series, exposure, stratum, "rank")
        label = association_label(series, exposure) + ", rank"
        work.add(row["key"], doubted(ranked.rank, doubts), label, series.plan.role, inputs=inputs)
        row |= {"rank": ranked.rank.value, "rank_p": ranked.rank.test.p if ranked.rank.test else None}
        return
    result = between_person_association(*arrays, dose_unit=unit, per=per, outcome_unit=series.scale.unit, **options)
    row["key"] = association_key(work, series, exposure, stratum, "slope")
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
            key = association_key(work, series, exposure, stratum, name)
            label = f"{association_label(series, exposure)}: {label}"
            work.add(key, doubted(estimate, doubts), label, series.plan.role, inputs=inputs)
    slope, rank = result.slope, result.rank
    row |= {"slope": slope.value, "raw_slope": result.raw_slope.value}
    row |= {"low": slope.interval.low, "high": slope.interval.high} if slope.interval else {}
    row |= {"p": slope.test.p if slope.test else None, "rank": rank.value if rank else None}
    row |= {"rank_p": rank.test.p if rank and rank.test else None}
    for column, end in (("loo_low", result.leave_one_out_low), ("loo_high", result.leave_one_out_high)):
        row[column] = end.value if end is not None else None


def joined(work: Work, series: Series, column: str, people: pd.Index[Any]) -> pd.DataFrame:
    """Return dose up to the later compared visit beside before and change, for those of some people who have them."""
    assert work.contrast is not None
    dose = work.people["dose"]
    at = dose[dose["visit"] == work.contrast[1]].set_index("participant_id")[column].rename("dose")
    both = work.pairs(series).join(at, how="inner")
    return both[both["dose"].notna() & both.index.isin(people)]


def doubts_of(work: Work, people: pd.Index[Any], exposure: str) -> tuple[str, ...]:
    """Return what limits a dose as the thing that change is related to: caveats of every number of the association."""
    assert work.contrast is not None
    if exposure.startswith("planned_"):
        return ()
    metric = metric_of(exposure)
    dose = work.people["dose"]
    dose = dose[dose["participant_id"].isin(people)]
    first, last = (dose[dose["visit"] == visit] for visit in work.contrast)
    own = {"work_kj": ("work_is_partly_outcome",), "charge_c": ("charge_follows_tolerance",)}
    found: tuple[str, ...] = own.get(metric, ())
    if (last[WITHOUT[metric]] > 0).any():
        found += ("dose_too_low",)
    whole = work.study.protocol.dose is None or work.study.protocol.dose.cumulate == "to visit"
    return (*found, "dose_before") if whole and (first["delivered_sessions"] > 0).any() else found


def doubted(estimate: Estimate, doubts: tuple[str, ...]) -> Estimate:
    """Return an estimate with what limits its dose among its caveats."""
    return dataclasses.replace(estimate, caveats=(*estimate.caveats, *doubts))


def _dose_and_time(work: Work, metrics: Any) -> None:
    """Write how far a person's cumulative dose can be told from the passing of time, over the weeks in training."""
    from outcomes.dose_response import dose_time_collinearity

    every = _weeks_in_training(work)
    for stratum, metric in itertools.product(strata(work), metrics):
        weeks = every[every["participant_id"].isin(stratum.people)]
        column, _, _, _, name = EXPOSURES[metric]
        keys = {
            statistic: association_key(work, None, metric, stratum, statistic)
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
