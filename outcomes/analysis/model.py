"""Mixed models beside the plain change: both limbs of everybody, and all visits of everybody."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from outcomes.analysis import values as _values
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.models import LimbChange, VisitModel
    from outcomes.study import Series

LIMB_WAYS = {
    "modelled": ("limb_modelled", "limbs modelled"),
    "person_means": ("limb_person_means", "person means"),
    "limbs_as_people": ("limbs_as_people", "limbs counted as people"),
}
"""Field of `LimbChange` to statistic of the record key and the words for it."""

LIMB_COLUMNS = {
    "key": "", "measure": "", "label": "", "place": "", "group": "", "contrast": "", "unit": "", "way": "",
    "people": "1", "limbs": "1", "change": "", "low": "", "high": "", "reason": "",
}  # fmt: skip

VISIT_COLUMNS = {
    "key": "", "measure": "", "label": "", "place": "", "group": "", "contrast": "", "unit": "", "people": "1",
    "values": "1", "pairs": "1", "change": "", "low": "", "high": "", "pairs_change": "", "pairs_low": "",
    "pairs_high": "", "own_courses": "", "boundary": "", "reason": "",
}  # fmt: skip


def model_outcomes(work: Work) -> None:
    """Write the model of both limbs where the protocol asks for it, and the model of all visits of every series."""
    limbs: list[dict[str, Any]] = []
    visits: list[dict[str, Any]] = []
    if work.contrast is not None:
        for group, _, members in work.groups():
            for series in work.study.series:
                if series.ordinal:
                    continue
                if series.sides == "modelled":
                    limbs += _limbs(work, series, group, members)
                visits.append(_visits(work, series, group, members))
    work.record.add_table("limbs", LIMB_COLUMNS, ([row.get(c) for c in LIMB_COLUMNS] for row in limbs))
    work.record.add_table("visit_models", VISIT_COLUMNS, ([row.get(c) for c in VISIT_COLUMNS] for row in visits))


def _key(work: Work, series: Series, group: str, statistic: str) -> str:
    return work.key("model", statistic, series, group=group, contrast=work.contrast_part)


def _row(work: Work, series: Series, group: str, statistic: str) -> dict[str, Any]:
    return {
        "key": _key(work, series, group, statistic), "measure": series.measure_part, "label": series.label,
        "place": series.place_part, "group": group, "contrast": work.contrast_part, "unit": series.scale.unit,
    }  # fmt: skip


def _put(work: Work, series: Series, key: str, estimate: Estimate, label: str, unit: str, *inputs: str) -> None:
    """Write an estimate of a series; an exploratory one is never tested."""
    if series.plan.role == "exploratory":
        estimate = dataclasses.replace(estimate, test=None)
    label = f"{series.label}: {label}"
    work.add(key, estimate, label, series.plan.role, inputs=inputs or ("people/values",), unit_of_analysis=unit)


def _limb_changes(work: Work, series: Series, members: Any) -> pd.DataFrame:
    """Return the change of every limb that has a value at both compared visits."""
    assert work.contrast is not None
    sides = _values.side_values(work.scores, series)
    sides = _values.drop_values(work.study, sides, series, work.visit_days)
    sides = sides[sides["participant_id"].isin(members) & sides["value"].notna()]
    keys = ["participant_id", "side"]
    before, after = (sides[sides["visit"] == visit].set_index(keys)["value"] for visit in work.contrast)
    return (after - before).dropna().rename("change").sort_index().reset_index()


def _limbs(work: Work, series: Series, group: str, members: Any) -> list[dict[str, Any]]:
    """Write both limbs modelled, person means, and what counting limbs as people would have claimed."""
    from outcomes.models import limb_change

    rows = [_row(work, series, group, key) | {"way": words} for key, words in LIMB_WAYS.values()]
    try:
        if series.name in work.refused:
            raise DesignError(work.refused[series.name])
        changes = _limb_changes(work, series, members)
        found = limb_change(
            changes["change"].to_numpy(dtype=float), changes["participant_id"].to_numpy(), changes["side"].to_numpy(),
            unit=series.scale.unit, level=work.level, min_people=work.study.protocol.analysis.min_people,
        )  # fmt: skip
    except DesignError as refusal:
        for row in rows:
            row["reason"] = refusal.reason
            label = f"{series.label}: mean change, {row['way']}"
            work.record.refuse(row["key"], refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return rows
    for row, field in zip(rows, LIMB_WAYS, strict=True):
        _limb_way(work, series, row, found, field)
    for field, statistic, label in (
        (
            "limb_difference",
            "limb_difference",
            f"change of the {found.limbs[1]} less that of the {found.limbs[0]} limb",
        ),
        ("likeness", "limb_likeness", "correlation of the changes of the two limbs of a person"),
    ):
        estimate = getattr(found, field)
        if estimate is not None:
            _put(work, series, _key(work, series, group, statistic), estimate, label, "limb", "people/scores")
    return rows


def _limb_way(work: Work, series: Series, row: dict[str, Any], found: LimbChange, field: str) -> None:
    estimate = getattr(found, field)
    label = f"mean change, {row['way']}"
    people, limbs = (found.n_both, 2 * found.n_both) if field == "person_means" else (found.n_people, found.n_limbs)
    row |= {"people": people, "limbs": limbs}
    if estimate is None:
        row["reason"] = found.reasons[field]
        work.record.refuse(
            row["key"], row["reason"], label=f"{series.label}: {label}", role=series.plan.role,
            unit=series.scale.unit, n_people=people,
        )  # fmt: skip
        return
    row |= {"change": estimate.value, "low": estimate.interval.low, "high": estimate.interval.high}
    _put(
        work, series, row["key"], estimate, label, "limb" if field != "person_means" else "participant", "people/scores"
    )


def _visits(work: Work, series: Series, group: str, members: Any) -> dict[str, Any]:
    """Write the change by a model of all visits, beside that of complete pairs."""
    from outcomes.models import visit_model

    assert work.contrast is not None
    row = _row(work, series, group, "visit_change")
    try:
        if series.name in work.refused:
            raise DesignError(work.refused[series.name])
        values = work.values[series.name]
        values = values[values["participant_id"].isin(members) & values["value"].notna()]
        values = values.sort_values(["participant_id", "visit"])
        days = values["visited_day"]
        found = visit_model(
            values["value"].to_numpy(dtype=float), values["participant_id"].to_numpy(), values["visit"].to_numpy(),
            visits=[visit.key for visit in work.study.protocol.visits], compare=work.contrast, unit=series.scale.unit,
            time=(days / 7).to_numpy(dtype=float) if days.notna().all() else None, level=work.level,
        )  # fmt: skip
    except DesignError as refusal:
        row["reason"] = refusal.reason
        label = f"{series.label}: change by a model of all visits"
        work.record.refuse(row["key"], refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return row
    _put(work, series, row["key"], found.change, "change by a model of all visits", "participant")
    _visit_parts(work, series, group, found)
    interval = found.change.interval
    assert interval is not None
    row |= {"people": found.n_people, "values": found.n_values, "pairs": found.n_pairs, "boundary": found.boundary}
    row |= {"change": found.change.value, "low": interval.low, "high": interval.high}
    row["own_courses"] = "level and course" if found.own_courses else "level only"
    if found.pairs is not None and found.pairs.interval is not None:
        ends = found.pairs.interval
        row |= {"pairs_change": found.pairs.value, "pairs_low": ends.low, "pairs_high": ends.high}
    return row


def _visit_parts(work: Work, series: Series, group: str, found: VisitModel) -> None:
    """Write the mean at each visit and the test that all are the same."""
    for visit, mean in zip(found.visits, found.means, strict=True):
        key = work.key("model", "visit_mean", series, group=group, contrast=visit)
        _put(work, series, key, mean, f"mean at {visit} by a model of all visits", "participant")
    test = found.test.test
    assert test.statistic is not None
    estimate = Estimate(
        value=test.statistic, unit="1", method=found.test.method, n_people=found.n_people, n_values=found.n_values,
        test=test,
    )  # fmt: skip
    if series.plan.role != "exploratory":
        key = _key(work, series, group, "visit_f")
        _put(work, series, key, estimate, "test that all visits have the same mean", "participant")
