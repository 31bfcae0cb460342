"""Who was there: flow, characteristics, harms, what changed in between, and what happened to the data."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from outcomes.analysis.values import by_person_and_visit
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work

NUMERIC = {"age_years": "a", "months_since_onset": "mo", "height_cm": "cm", "body_mass_kg": "kg"}
PEOPLE = ("ledger/participants",)
WORDS = ("sex", "condition", "ais_grade", "trained_side")


def describe_people(work: Work) -> None:
    """Write flow, characteristics, reasons for leaving, harms, changes and data quality."""
    _flow(work)
    _characteristics(work)
    _harms(work)
    _changes(work)
    _quality(work)


def _flow(work: Work) -> None:
    people = work.participants
    left = people["left_day"].notna() | people["left_on"].notna()
    work.count(work.key("flow", "enrolled"), len(people), "people enrolled", inputs=PEOPLE)
    work.count(work.key("flow", "left"), int(left.sum()), "people who left before the end", inputs=PEOPLE)
    rows: list[tuple[str, int, str]] = [("enrolled", len(people), ""), ("left before the end", int(left.sum()), "")]
    if work.study.protocol.groups:
        alone = int((~people["group"].isin([g.key for g in work.study.protocol.groups])).sum())
        work.count(
            work.key("flow", "without_group"), alone, "people without a group, in no group's numbers", inputs=PEOPLE
        )
        rows += [("without a group", alone, "in no group's numbers")] if alone else []
    for visit in work.study.protocol.visits:
        held = work.visit_days[(work.visit_days["visit"] == visit.key) & (work.visit_days["status"] != "missed")]
        n = held["participant_id"].nunique()
        work.count(
            work.key("flow", "held", contrast=visit.key), n, f"people seen at {visit.label}", inputs=("ledger/visits",)
        )
        rows.append((visit.label, n, "visit held"))
        if work.contrast and visit.key == work.contrast[1]:
            for group, _, members in work.groups():
                for series in work.study.series:
                    _flow_of(work, series, group, members, rows)
    work.record.add_table("flow", {"stage": "", "n": "1", "note": ""}, rows)
    reasons = Counter(people.loc[left, "left_reason"].fillna("not recorded").astype(str))
    ordered = sorted(reasons.items(), key=lambda reason: (-reason[1], reason[0]))
    work.record.add_table("left", {"reason": "", "n": "1"}, ordered)


def _flow_of(work: Work, series: Any, group: str, members: Any, rows: list[tuple[str, int, str]]) -> None:
    """Write how many people of a group have a value before, after and at both of the compared visits."""
    values = work.values[series.name]
    values = values[values["participant_id"].isin(members)]
    assert work.contrast is not None
    have = [
        set(values.loc[(values["visit"] == visit) & values["value"].notna(), "participant_id"])
        for visit in work.contrast
    ]
    both = have[0] & have[1]

    def key(statistic: str) -> str:
        return work.key("flow", statistic, series, group=group, contrast=work.contrast_part)

    inputs = ("people/values",)
    work.count(key("analysed"), len(both), f"{series.label}: people analysed", inputs=inputs)
    work.count(
        key("missing_before"),
        len(members) - len(have[0]),
        f"{series.label}: people without a first value",
        inputs=inputs,
    )
    work.count(
        key("missing_after"),
        len(members) - len(have[1]),
        f"{series.label}: people without a second value",
        inputs=inputs,
    )
    flagged = values["flags"].fillna("").str.contains("unable", regex=False)
    unable = values[flagged & values["visit"].isin(list(work.contrast))]["participant_id"]
    if len(unable):
        n = len(set(unable) & both)
        label = f"{series.label}: people analysed who were unable at a compared visit, scored as the measure says"
        work.count(key("unable"), n, label, inputs=inputs)
    if series.plan.role == "primary":
        note = "" if group == "all" else f"group {group}" if both else f"group {group}, nobody left to compare"
        rows.append((f"analysed, {series.label}", len(both), note))


def _mean(values: pd.Series, unit: str) -> Estimate:
    return Estimate(value=float(values.mean()), unit=unit, method="mean", n_people=len(values), n_values=len(values))


def _characteristics(work: Work) -> None:
    people = work.participants
    columns = {"characteristic": "", "level": "", "n": "1", "n_known": "1", "mean": "", "sd": "", "median": ""}
    columns |= {"low": "", "high": "", "unit": ""}
    rows: list[tuple[Any, ...]] = []
    for name, unit in NUMERIC.items():
        known = people[name].dropna()
        if not len(known):
            continue
        spread = float(known.std(ddof=1)) if len(known) > 1 else None
        low, median, high = (float(known.quantile(q)) for q in (0.25, 0.5, 0.75))
        rows.append((name, "", len(people), len(known), float(known.mean()), spread, median, low, high, unit))
        work.add(work.key("people", f"{name}_mean"), _mean(known, unit), f"{_spoken(name)}, mean", inputs=PEOPLE)
        middle = Estimate(value=median, unit=unit, method="median", n_people=len(known), n_values=len(known))
        work.add(work.key("people", f"{name}_median"), middle, f"{_spoken(name)}, median", inputs=PEOPLE)
        if spread is not None:
            sd = Estimate(value=spread, unit=unit, method="sd", n_people=len(known), n_values=len(known))
            work.add(work.key("people", f"{name}_sd"), sd, f"{_spoken(name)}, standard deviation", inputs=PEOPLE)
    for name in WORDS:
        known = people[name].dropna()
        for level, n in sorted(known.value_counts().items()):
            rows.append((name, str(level), int(n), len(known), *(None,) * 5, "1"))
    work.record.add_table("participants", columns, rows)


def _spoken(name: str) -> str:
    return name.rpartition("_")[0].replace("_", " ")


def _harms(work: Work) -> None:
    study = work.study
    collection = study.protocol.harms.collection
    columns = {"kind": "", "severity": "", "relatedness": "", "events": "1", "people": "1"}
    events_key, people_key = work.key("harms", "events"), work.key("harms", "people_with_events")
    labels = "adverse events", "people with an adverse event"
    if collection == "not collected":
        for key, label in zip((events_key, people_key), labels, strict=True):
            work.record.refuse(key, "harms were not collected", label=label, status="not planned", unit="1")
        work.record.add_table("harms", columns, [])
        return
    inputs = ("ledger/events",) if study.has("events") else ("protocol/harms",)
    if not study.has("events"):
        n_events = n_people = 0
        rows: list[tuple[Any, ...]] = []
    else:
        events = study.table("events")
        n_events, n_people = len(events), events["participant_id"].nunique()
        words = ["kind", "severity", "relatedness"]
        grouped = events.assign(**{w: events[w].fillna("not recorded") for w in words}).groupby(words, sort=True)
        rows = [(*key, len(part), part["participant_id"].nunique()) for key, part in grouped]
    work.count(events_key, n_events, labels[0], inputs=inputs)
    work.count(people_key, n_people, labels[1], inputs=inputs)
    work.record.add_table("harms", columns, rows)


def _changes(work: Work) -> None:
    """Write how many people had a change of medicine, therapy, chair, aid or an illness between the compared visits."""
    rows: list[tuple[str, int]] = []
    if work.contrast and work.study.has("changes"):
        changes = work.study.table("changes")
        by_visit = by_person_and_visit(work.visit_days)
        if set(work.contrast) <= set(by_visit.columns):
            low = changes["participant_id"].map(by_visit[work.contrast[0]])
            high = changes["participant_id"].map(by_visit[work.contrast[1]])
            between = changes[(changes["changed_day"] > low) & (changes["changed_day"] <= high)]
            for kind, part in between.groupby("kind", sort=True):
                n = part["participant_id"].nunique()
                rows.append((str(kind), n))
                key = work.key("people", f"changed_{kind}", contrast=work.contrast_part)
                label = f"people whose {str(kind).replace('_', ' ')} changed between the visits"
                work.count(key, n, label, inputs=("ledger/changes", "ledger/visits"))
    work.record.add_table("changes_between", {"kind": "", "people": "1"}, rows)


def _quality(work: Work) -> None:
    balance = work.study.ledger.balance()
    queries = work.study.queries()
    asked = {name: sum(f.table == name for f in queries) for name in balance["table"]}
    balance = balance.assign(queries=[asked[name] for name in balance["table"]])
    columns = {name: "" if name == "table" else "1" for name in balance.columns}
    work.record.add_table("data_quality", columns, balance.itertuples(index=False, name=None))
    people, inputs = len(work.participants), tuple(f"ledger/{name}" for name in balance["table"])
    totals = balance.drop(columns="table").sum()
    for statistic, column, label in (
        ("rows_read", "rows_read", "rows read"),
        ("rows_used", "used", "rows used"),
        ("rows_duplicate", "duplicates", "rows that repeat another"),
        ("rows_set_aside", "set_aside", "rows set aside"),
        ("cells_read", "cells_read", "cells read"),
        ("cells_as_typed", "as_typed", "cells as typed"),
        ("cells_normalised", "normalised", "cells respelled"),
        ("cells_emptied", "emptied", "values set aside"),
        ("cells_in_duplicates", "in_duplicates", "cells of rows that repeat another"),
        ("cells_in_set_aside", "in_set_aside", "cells of rows set aside"),
    ):
        work.count(work.key("data", statistic), int(totals[column]), label, people=people, inputs=inputs)
    work.count(work.key("data", "queries"), len(queries), "queries asked", people=people, inputs=inputs)
    names = ["query", "decision", "role", "date", "reason"]
    answered = work.study.full_ledger.decisions()[names].itertuples(index=False, name=None)
    work.record.add_table("decisions", dict.fromkeys(names, ""), answered)
