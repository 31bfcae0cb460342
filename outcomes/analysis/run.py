"""Carry out the protocol's plan on a study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from outcomes import __version__
from outcomes.analysis.agreement import measure_agreement
from outcomes.analysis.association import associate_dose
from outcomes.analysis.change import compare_visits
from outcomes.analysis.delivery import sum_delivery
from outcomes.analysis.dose import sum_dose
from outcomes.analysis.dose_models import model_dose
from outcomes.analysis.error import measure_error
from outcomes.analysis.groups import compare_groups
from outcomes.analysis.important import find_important_change
from outcomes.analysis.items import measure_items
from outcomes.analysis.load import sum_load
from outcomes.analysis.methods import note_methods
from outcomes.analysis.model import model_outcomes
from outcomes.analysis.people import describe_people
from outcomes.analysis.plan import Work
from outcomes.analysis.recorded import sum_recorded
from outcomes.analysis.sensitivity import question_change
from outcomes.vocabulary import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.result import Record
    from outcomes.study import Study

STAGES: tuple[tuple[str, Callable[[Work], None]], ...] = (
    ("people", describe_people),
    ("measurement error", measure_error),
    ("agreement", measure_agreement),
    ("items", measure_items),
    ("change", compare_visits),
    ("groups", compare_groups),
    ("important change", find_important_change),
    ("models", model_outcomes),
    ("other rules", question_change),
    ("dose", sum_dose),
    ("recorded sessions", sum_recorded),
    ("energy and internal load", sum_load),
    ("delivery", sum_delivery),
    ("dose and change", associate_dose),
    ("dose models", model_dose),
    ("method notes", note_methods),
)
COMPARING = ("change", "groups", "important change")
"""Stages of a study that compares visits."""


MOST_GRADES = 12
"""An ordinal scale with more values than this is printed by its numbers."""


@dataclass(frozen=True)
class Analysis:
    """What `analyse` returns.

    Parameters
    ----------
    record : Record
        Every number, without a value of one person.
    people : dict of str to DataFrame
        Person-level tables: scores, values, change, dose, dose_by_week, repeats.
    run : dict
        How it was made: software and package versions, input hashes, seed, changed choices; no times, no paths.
    """

    record: Record
    people: dict[str, pd.DataFrame]
    run: dict[str, Any]


def analyse(study: Study, progress: Callable[[str], None] | None = None) -> Analysis:
    """Carry out the plan of the study's protocol.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    Analysis
        Equal for the same inputs, protocol, seed and package versions.
    """
    work = Work(study)
    work.record.meta = _meta(study)
    for name, stage in STAGES:
        if name in COMPARING and work.contrast is None:
            continue
        if progress is not None:
            progress(name)
        stage(work)
    _keep_values(work)
    _note_measures(work)
    return Analysis(work.record, work.people, _run(study))


def _keep_values(work: Work) -> None:
    import pandas as pd

    work.people["scores"] = work.scores
    parts = []
    for series in work.study.series:
        values = work.values[series.name].copy()
        values["group"] = values["participant_id"].map(work.participants["group"])
        values["measure"], values["scale"] = series.definition.key, series.scale.key
        values["place"], values["side_rule"] = series.place, series.sides
        parts.append(values)
    columns = [
        "participant_id",
        "group",
        "measure",
        "scale",
        "place",
        "side_rule",
        "visit",
        "value",
        "reason",
        "flags",
        "cells",
    ]
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    work.people["values"] = frame[columns]
    _note_marks(work, frame)


def _note_marks(work: Work, values: pd.DataFrame) -> None:
    """Write how many scores bear which mark, such as a total that was typed instead of items."""
    keys = ["measure", "scale", "place", "side_rule"]
    scored = values[values["value"].notna()]
    marked = scored.assign(mark=scored["flags"].fillna("").str.split("; ")).explode("mark")
    people = marked[marked["mark"] != ""].groupby([*keys, "mark"], sort=False, dropna=False)["participant_id"]
    of = scored.groupby(keys, dropna=False)["participant_id"].nunique().rename("of").reset_index()
    counts = people.agg(["size", "nunique"]).reset_index().merge(of, on=keys, how="left")
    columns = dict.fromkeys([*keys, "mark"], "") | {"scores": "1", "people": "1", "people_scored": "1"}
    work.record.add_table("marked_scores", columns, counts.fillna("").itertuples(index=False, name=None))


def _note_measures(work: Work) -> None:
    columns = dict.fromkeys(
        ("measure", "version", "title", "scale", "place", "role", "unit", "level", "better", "source", "status",
         "from_memory"), ""
    )  # fmt: skip
    rows = [
        (
            s.definition.key,
            s.definition.version,
            s.definition.title,
            s.scale.key,
            s.place_part,
            s.plan.role,
            s.scale.unit,
            s.scale.level,
            s.scale.better,
            s.definition.source,
            s.definition.status,
            "; ".join(s.definition.from_memory),
        )
        for s in work.study.series
    ]
    work.record.add_table("measures", columns, rows)
    grades: dict[tuple[str, str, float], str] = {}
    for s in work.study.series:
        names = s.definition.level_names(s.scale.key) if s.ordinal else ()
        if 0 < len(names) <= MOST_GRADES:
            levels = s.definition.levels(s.scale.key) or ()
            grades |= {(s.measure_part, s.scale.key, v): name for v, name in zip(levels, names, strict=True)}
    columns = dict.fromkeys(("measure", "scale", "value", "grade"), "")
    work.record.add_table("grades", columns, [(*key, name) for key, name in grades.items()])


def _meta(study: Study) -> dict[str, Any]:
    protocol = study.protocol
    plain = protocol.model_dump(mode="json")
    return {
        "title": protocol.study.title,
        "question": protocol.study.question,
        "design": protocol.study.design,
        "allocation": protocol.study.allocation,
        "setting": protocol.study.setting,
        "funder": protocol.study.funder,
        "registered_as": protocol.study.registered_as,
        "approved_by": protocol.study.approved_by,
        "synthetic": bool(protocol.study.synthetic),
        "data_until": _last_date(study),
        "visits": [{"key": v.key, "label": v.label, "week": v.week, "when": v.when} for v in protocol.visits],
        "compare": list(protocol.analysis.compare or ()),
        "groups": [
            {"key": g.key, "label": g.label, "reference": g.reference, "trained": g.trained} for g in protocol.groups
        ],
        "level": 1.0 - protocol.analysis.alpha,
        "multiplicity": protocol.analysis.multiplicity,
        "agreement": list(protocol.analysis.agreement) if "agreement" in protocol.analysis.model_fields_set else [],
        "protocol_sha256": protocol.sha256,
        "frozen": {
            "on": plain["frozen"]["on"] if plain.get("frozen") else None,
            "changed": protocol.changed_after_freezing if protocol.frozen is not None else None,
        },
        "definitions": {
            s.definition.key: {"version": s.definition.version, "sha256": s.definition.sha256} for s in study.series
        },
        "plain_names": [
            {"measure": m.measure, "places": list(m.places), "name": m.plain_name}
            for m in protocol.measures
            if m.plain_name
        ],
        "changed_choices": _meta_choices(study),
        "statements": plain.get("statements") or {},
        "not_applicable": plain.get("not_applicable") or [],
        "harms_collection": protocol.harms.collection,
        "report": plain.get("report") or {},
        "privacy": plain.get("privacy") or {},
        "training": plain.get("training"),
        "dose_plan": plain.get("dose"),
        "caution": CAUTION,
        "software_version": __version__,
    }


def _meta_choices(study: Study) -> list[dict[str, str]]:
    """Return what was chosen otherwise than the protocol says, for this run."""
    return [{"key": key, "protocol": _spelled(a), "used": _spelled(b)} for key, a, b in study.choices]


def _spelled(value: object) -> str:
    """Return a choice as a protocol spells it."""
    if isinstance(value, tuple | list):
        return ", ".join(_spelled(one) for one in value)
    return "not set" if value is None else str(value)


def _last_date(study: Study) -> str | None:
    """Return the last day that any table speaks of; None where days are counted from enrolment."""
    import pandas as pd

    dates = [
        frame[column].max()
        for frame in study.tables.values()
        for column in frame.columns
        if column.endswith(("_on", "_at")) and pd.api.types.is_datetime64_any_dtype(frame[column].dtype)
    ]
    known = [date for date in dates if not pd.isna(date)]
    return max(known).date().isoformat() if known else None


def _run(study: Study) -> dict[str, Any]:
    import platform
    from importlib.metadata import version

    packages = ("numpy", "pandas", "scipy", "statsmodels", "scikit-learn", "pingouin", "pydantic")
    return {
        "id": study.id,
        "software": {"outcomes": __version__, "python": platform.python_version()},
        "packages": {name: version(name) for name in packages},
        "inputs": dict(sorted({**study.files, **study.trace_files}.items())),
        "protocol_sha256": study.protocol.sha256,
        "definitions": {s.definition.key: s.definition.sha256 for s in study.series},
        "seed": study.protocol.analysis.seed,
        "changed_choices": _meta_choices(study),
    }
