"""Sentences of models and of other rules: both limbs of everybody, the main number without some people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.wording import Sentence

RUNS = {
    "without early recovery": "Without people early after onset",
    "same rater": "With one rater at both visits",
    "medicine unchanged": "Without people whose medicine changed",
}
"""Run to how its sentence begins."""


def _mine(facts: Facts, table: str) -> list[dict[str, Any]]:
    """Return the rows of a table that are about the report's outcome and group."""
    row = facts.row
    if row is None:
        return []
    parts = ("measure", "place", "group", "contrast")
    return [r for r in rows_of(facts.record, table) if all(r[part] == row[part] for part in parts)]


def limbs(facts: Facts) -> Iterator[Sentence]:
    """Yield the change by the model of both limbs, beside what counting limbs as people would have claimed."""
    by_way = {r["way"]: r for r in _mine(facts, "limbs")}
    found, wrong = by_way.get("limbs modelled"), by_way.get("limbs counted as people")
    if found is None or found["change"] is None or facts.small.hides(found["people"]):
        return
    size = fmt.with_interval(found["change"], found["low"], found["high"], found["unit"], None, facts.ci)
    text = (
        f"With both limbs modelled: {size} ({fmt.number(found['people'])} people, {fmt.number(found['limbs'])} limbs)"
    )
    if wrong is None or wrong["change"] is None:
        yield Sentence("both limbs", "results", f"{text}.", 6)
        return
    claim = fmt.with_interval(wrong["change"], wrong["low"], wrong["high"], wrong["unit"])
    yield Sentence(
        "both limbs", "results", f"{text}; counting limbs as people would have claimed {claim}.", 6, f"{text}."
    )


def other_rules(facts: Facts) -> Iterator[Sentence]:
    """Yield the main number without people early after onset, of one rater, and with medicine unchanged."""
    for row in _mine(facts, "sensitivity"):
        gone = (row["left_out"] or 0) + (row["unknown"] or 0)
        if row["run"] not in RUNS or row["change"] is None or row["low"] is None or facts.small.hides(row["n"]):
            continue
        few = facts.small.hides(gone)
        if few and facts.public:
            continue
        n = f"{facts.small.words} people left out" if few else f"n = {fmt.number(row['n'])}"
        size = fmt.with_interval(row["change"], row["low"], row["high"], row["unit"], None, facts.ci)
        yield Sentence(row["run"], "results", f"{RUNS[row['run']]}: {size} ({n}).", 9)
