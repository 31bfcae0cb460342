"""The rest of the answer on dose: curves, within persons, people left out, and who did more."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from outcomes.analysis.association import (
    EXPOSURES,
    Stratum,
    association_key,
    association_label,
    doubted,
    doubts_of,
    exposures_of,
    joined,
    refuse_power,
    related_series,
    strata,
)
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.study import Series

_HEAD = {"key": "", "measure": "", "label": "", "place": "", "group": "", "contrast": "", "exposure": ""}
CURVES = _HEAD | {
    "curve": "", "n": "1", "start": "", "size": "", "half_dose": "", "offset": "", "aicc": "1", "weight": "1",
    "flat_aicc": "1", "reason": "",
}  # fmt: skip
WITHIN = _HEAD | {
    "per": "", "people": "1", "values": "1", "within": "", "within_low": "", "within_high": "", "between": "",
    "between_low": "", "between_high": "", "time": "", "time_low": "", "time_high": "", "time_alone": "",
    "only_time": "1", "r": "1", "vif": "1", "together": "1", "together_low": "1", "together_high": "1",
    "own_courses": "", "within_reason": "", "reason": "",
}  # fmt: skip
PREDICTIONS = _HEAD | {
    "n": "1", "mean_error": "", "baseline_error": "", "dose_error": "", "gain": "1", "gain_of_dose": "1", "reason": "",
}  # fmt: skip
ORIGINS = {
    "key": "", "group": "", "contrast": "", "exposure": "", "characteristic": "", "n": "1", "rank": "1", "low": "1",
    "high": "1", "reason": "",
}  # fmt: skip

NUMBERS = ("age_years", "months_since_onset", "height_cm", "body_mass_kg")
WORDS = ("sex", "condition", "ais_grade")
INPUTS = ("people/change", "people/dose")

Row = dict[str, Any]
Part = Callable[["Work", "Series", str, Stratum, Row], list[Row]]


def model_dose(work: Work) -> None:
    """Write curves, within-person models, predictions and origins of every cumulative dose of the plan."""
    plan = work.study.protocol.dose
    if plan is None or work.contrast is None or "dose" not in work.people:
        return
    exposures = [name for name in exposures_of(plan) if not name.endswith("_per_week")]
    parts: dict[str, tuple[dict[str, str], Part]] = {
        "dose_curves": (CURVES, _curves), "dose_within": (WITHIN, _within), "dose_prediction": (PREDICTIONS, _predict),
    }  # fmt: skip
    for table, (columns, part) in parts.items():
        rows: list[Row] = []
        for stratum, series, exposure in itertools.product(strata(work), related_series(work), exposures):
            if not series.ordinal and (part is not _within or not exposure.startswith("planned_")):
                rows += _tried(work, series, exposure, stratum, part)
        work.record.add_table(table, columns, ([row.get(c) for c in columns] for row in rows))
    origins = [row for stratum in strata(work) for name in exposures for row in _origins(work, name, stratum)]
    work.record.add_table("dose_origins", ORIGINS, ([row.get(c) for c in ORIGINS] for row in origins))


_FIRST = {"_curves": "ed50", "_within": "within", "_predict": "prediction_gain"}
"""Statistic under which a whole part is refused."""


def _tried(work: Work, series: Series, exposure: str, stratum: Stratum, part: Part) -> list[Row]:
    row: Row = {
        "measure": series.measure_part, "label": series.label, "place": series.place_part, "group": stratum.group,
        "contrast": work.contrast_part, "exposure": exposure,
        "key": association_key(work, series, exposure, stratum, _FIRST[part.__name__]),
    }  # fmt: skip
    try:
        refuse_power(series, exposure)
        return part(work, series, exposure, stratum, row)
    except DesignError as refusal:
        _refuse(work, series, row["key"], f"{association_label(series, exposure)}: {part.__name__[1:]}", refusal.reason)
        return [row | {"reason": refusal.reason}]


def _refuse(work: Work, series: Series, key: str, label: str, reason: str) -> None:
    work.record.refuse(key, reason, label=label, role=series.plan.role)


def _put(
    work: Work, series: Series, exposure: str, stratum: Stratum, statistic: str, estimate: Estimate, words: str,
    doubts: tuple[str, ...], inputs: tuple[str, ...] = INPUTS,
) -> str:  # fmt: skip
    key = association_key(work, series, exposure, stratum, statistic)
    label = f"{association_label(series, exposure)}: {words}"
    work.add(key, doubted(estimate, doubts), label, series.plan.role, inputs=inputs)
    return key


def _ends(row: Row, name: str, estimate: Estimate | None) -> None:
    """Write value and interval of an estimate into a row."""
    if estimate is None:
        return
    row[name] = estimate.value
    if estimate.interval is not None:
        row |= {f"{name}_low": estimate.interval.low, f"{name}_high": estimate.interval.high}


def _columns(work: Work, series: Series, exposure: str, stratum: Stratum) -> tuple[pd.DataFrame, Any]:
    import numpy as np

    both = joined(work, series, EXPOSURES[exposure][0], stratum.people)
    held = stratum.held(both.index)
    first = both["before"].to_numpy(dtype=float)
    return both, first if held is None else np.column_stack([first, held])


def _curves(work: Work, series: Series, exposure: str, stratum: Stratum, row: Row) -> list[Row]:
    from outcomes.dose_response import curve_shortlist

    both, held = _columns(work, series, exposure, stratum)
    found = curve_shortlist(
        both["dose"].to_numpy(dtype=float), both["change"].to_numpy(dtype=float), baseline=held,
        dose_unit=EXPOSURES[exposure][1], outcome_unit=series.scale.unit, level=work.level,
    )  # fmt: skip
    doubts = doubts_of(work, both.index, exposure)

    def put(statistic: str, estimate: Estimate, words: str) -> str:
        return _put(work, series, exposure, stratum, statistic, estimate, words, doubts)

    put("curve_flat_aicc", found.flat_aicc, "AICc without dose")
    rows = []
    for curve in found.curves:
        key = put(f"curve_{curve.name}_weight", curve.weight, f"AICc weight of the {curve.name} curve")
        put(f"curve_{curve.name}_aicc", curve.aicc, f"AICc of the {curve.name} curve")
        half = None if curve.half_dose is None else curve.half_dose.value
        rows.append(
            row
            | {"key": key, "curve": curve.name, "n": found.n_people, "start": curve.start.value, "half_dose": half}
            | {"size": curve.size.value, "aicc": curve.aicc.value, "weight": curve.weight.value}
            | {"offset": found.offset, "flat_aicc": found.flat_aicc.value}
        )
    words = "dose of half the largest change"
    if found.ed50 is not None:
        put("ed50", found.ed50, words)
    else:
        _refuse(work, series, row["key"], f"{association_label(series, exposure)}: {words}", found.reasons["ed50"])
        rows[-1]["reason"] = found.reasons["ed50"]
    return rows


def _over_visits(work: Work, series: Series, exposure: str, stratum: Stratum) -> pd.DataFrame:
    """Return value, week and dose of everybody at each visit from the earlier to the later compared one."""
    assert work.contrast is not None
    keys = [visit.key for visit in work.study.protocol.visits]
    between = keys[keys.index(work.contrast[0]) : keys.index(work.contrast[1]) + 1]
    values = work.values[series.name]
    if series.name in work.refused:
        raise DesignError(work.refused[series.name])
    values = values[values["value"].notna() & values["visited_day"].notna() & values["visit"].isin(between)]
    dose = work.people["dose"][["participant_id", "visit", EXPOSURES[exposure][0]]]
    rows = values.merge(dose.rename(columns={EXPOSURES[exposure][0]: "dose"}), on=["participant_id", "visit"])
    rows = rows[rows["dose"].notna() & rows["participant_id"].isin(stratum.people)]
    return rows.assign(week=rows["visited_day"] / 7).sort_values(["participant_id", "week"])


def _within(work: Work, series: Series, exposure: str, stratum: Stratum, row: Row) -> list[Row]:
    from outcomes.dose_response import repeated_measures_correlation, within_person_association

    rows = _over_visits(work, series, exposure, stratum)
    person = rows["participant_id"].to_numpy()
    week, dose, value = (rows[name].to_numpy(dtype=float) for name in ("week", "dose", "value"))
    _, unit, per, words, name = EXPOSURES[exposure]
    found = within_person_association(
        person, week, dose, value, dose_unit=unit, per=per, outcome_unit=series.scale.unit, level=work.level
    )
    doubts = doubts_of(work, rows.set_index("participant_id").index, exposure)
    inputs = ("people/values", "people/dose")

    def put(statistic: str, estimate: Estimate | None, said: str) -> None:
        if estimate is not None:
            _put(work, series, exposure, stratum, statistic, estimate, said, doubts, inputs)

    put("within", found.within, f"within persons, per {words}, time held")
    put("between_mean", found.between, f"between persons, per {words} of mean {name}, time held")
    put("time", found.time, "within persons, per week")
    put("time_alone", found.time_alone, "within persons, per week, no dose in the model")
    put("only_time", found.only_time, "share of dose within persons that is only time")
    if found.within is None:
        label = f"{association_label(series, exposure)}: within persons, per {words}, time held"
        _refuse(work, series, row["key"], label, found.reasons["within"])
    row |= {"per": words, "people": found.n_people, "values": found.n_values}
    for name, estimate in (("within", found.within), ("between", found.between), ("time", found.time)):
        _ends(row, name, estimate)
    row |= {"time_alone": found.time_alone.value, "within_reason": found.reasons.get("within")}
    row |= {"only_time": None if found.only_time is None else found.only_time.value}
    row["own_courses"] = "level and course" if found.random_slope else "level only"
    if found.collinearity is not None:
        row |= {"r": found.collinearity.within_person_r.value, "vif": found.collinearity.vif.value}
        put("within_vif", found.collinearity.vif, "variance inflation of dose beside time, at the visits")
    try:
        together = repeated_measures_correlation(person, dose, value, level=work.level).correlation
        put("together", together, "correlation of value and dose within persons, time not held")
        _ends(row, "together", together)
    except DesignError:
        row["together"] = None
    return [row]


def _predict(work: Work, series: Series, exposure: str, stratum: Stratum, row: Row) -> list[Row]:
    from outcomes.dose_response import left_out_prediction

    both = joined(work, series, EXPOSURES[exposure][0], stratum.people)
    arrays = [both[name].to_numpy(dtype=float) for name in ("dose", "change", "before")]
    found = left_out_prediction(*arrays, outcome_unit=series.scale.unit, covariates=stratum.held(both.index))
    doubts = doubts_of(work, both.index, exposure)
    row["n"] = found.n_people
    for name, words in (
        ("mean_error", "error for a person left out, by the mean of the others"),
        ("baseline_error", "error for a person left out, by the first value"),
        ("dose_error", "error for a person left out, by first value and dose"),
        ("gain", "gain over the mean of the others"),
        ("gain_of_dose", "gain over the first value alone"),
    ):
        estimate = getattr(found, name)
        row[name] = estimate.value
        _put(work, series, exposure, stratum, f"prediction_{name}", estimate, words, doubts)
    return [row]


def _known(work: Work, people: pd.Index[Any]) -> dict[str, Any]:
    """Return what was known of people before they began, by the words for it."""
    frame = work.participants.loc[people]
    known: dict[str, Any] = {}
    for name in (*NUMBERS, *WORDS):
        if name in frame and frame[name].notna().any():
            known[name] = frame[name].to_numpy(dtype=float) if name in NUMBERS else frame[name].to_numpy(dtype=object)
    assert work.contrast is not None
    for series in work.study.series:
        values = work.values[series.name]
        first = values[values["visit"] == work.contrast[0]].set_index("participant_id")["value"]
        if series.name not in work.refused and first.notna().any():
            known[f"first value of {series.label}"] = first.reindex(people).to_numpy(dtype=float)
    return known


def _origins(work: Work, exposure: str, stratum: Stratum) -> list[Row]:
    """Write the rank correlation of dose with each characteristic known at baseline."""
    from outcomes.dose_response import dose_origins

    assert work.contrast is not None
    dose = work.people["dose"]
    at = dose[(dose["visit"] == work.contrast[1]) & dose["participant_id"].isin(stratum.people)]
    doses = at.set_index("participant_id")[EXPOSURES[exposure][0]].dropna().sort_index()
    head: Row = {"group": stratum.group, "contrast": work.contrast_part, "exposure": exposure}
    try:
        found = dose_origins(doses.to_numpy(dtype=float), _known(work, doses.index), level=work.level)
    except DesignError as refusal:
        return [head | {"characteristic": "any", "n": len(doses), "reason": refusal.reason}]
    rows: list[Row] = []
    for name, estimate in found.ranks.items():
        word = "".join(c if c.isalnum() else "_" for c in name.lower())
        key = association_key(work, None, exposure, stratum, f"origin_{word}")
        label = f"{EXPOSURES[exposure][4]} and {name}: rank correlation"
        work.add(key, dataclasses.replace(estimate, caveats=()), label, inputs=("people/dose", "people/values"))
        row = head | {"key": key, "characteristic": name, "n": estimate.n_people}
        row["rank"] = estimate.value
        if estimate.interval is not None:
            row |= {"low": estimate.interval.low, "high": estimate.interval.high}
        rows.append(row)
    rows += [head | {"characteristic": name, "reason": reason} for name, reason in found.reasons.items()]
    return rows
