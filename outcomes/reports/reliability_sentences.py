"""Sentences of a test-retest study: how well a measurement agrees with itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.wording import Sentence, not_reported, sentence_of


def series(facts: Facts) -> list[dict[str, Any]]:
    """Return the rows of the measures table that the report is about, the primary one first."""
    rows = rows_of(facts.record, "measures")
    order = {"primary": 0, "secondary": 1, "exploratory": 2}
    return sorted(rows, key=lambda r: order.get(r["role"], 3))


def name_of(row: Any) -> str:
    """Return what a series is called beside others of its measure: title and place."""
    place = str(row["place"]).replace(".", ", ").replace("_", " ").strip("-, ")
    return f"{fmt.clean(row['title'], 120)} ({place})" if place else fmt.clean(row["title"], 120)


def _name(facts: Facts, row: Any) -> str:
    """Return what a series is called in a sentence: its title, with the place where another has the same title."""
    alike = sum(other["title"] == row["title"] for other in series(facts))
    return name_of(row) if alike > 1 else fmt.clean(row["title"], 120)


def reliability(facts: Facts) -> Iterator[Sentence]:
    """Yield agreement, standard error of measurement and minimal detectable change of every measure."""
    found = series(facts)
    if not found:
        yield not_reported("reliability", "results", "[[measures]] in the protocol")
    for index, row in enumerate(found):
        yield from _unit(facts, row, 0 if index == 0 else 6)
        yield _one(facts, row, 0 if index == 0 else 5)


def _unit(facts: Facts, row: Any, priority: int) -> Iterator[Sentence]:
    """Yield what one value of the error study is: place, sides, readings, raters."""
    place: dict[str, Any] = {"measure": f"{row['measure']}.{row['scale']}", "place": str(row["place"])}
    entry = facts.entry("reliability", "icc_a_1", **place)
    name = fmt.clean(row["title"], 120)
    if entry is not None and entry.unit_of_analysis not in ("", "participant"):
        text = f"{name}, one value: {fmt.clean(entry.unit_of_analysis, 160)}."
        yield Sentence(f"{name}, unit", "methods", text, priority)


def _one(facts: Facts, row: Any, priority: int) -> Sentence:
    name = _name(facts, row)
    place: dict[str, Any] = {"measure": f"{row['measure']}.{row['scale']}", "place": str(row["place"])}
    icc = facts.entry("reliability", "icc_a_1", **place)
    mdc = facts.entry("reliability", "mdc95", **place)
    if icc is None or mdc is None or not isinstance(icc.value, int | float) or not isinstance(mdc.value, int | float):
        entry = mdc or icc
        why = f"{fmt.clean(entry.reason)}; " if entry is not None and entry.reason else ""
        return not_reported(f"{name}: measurement error", "results", f"{why}the table repeats", priority)
    if facts.small.hides(icc.n_people):
        return Sentence(name, "results", f"{name}: not shown ({facts.small.words} people).", priority)
    error = facts.value("reliability", "standard_error_agreement", **place)
    unit, places = str(row["unit"]), fmt.decimals_for(mdc.value if error is None else error)
    text = f"{name}: ICC(A,1) {_with_ends(facts, icc, '1', 2)}"
    if error is not None:
        text += f", standard error of measurement {fmt.quantity(error, unit, places)}"
    text += f", minimal detectable change {_with_ends(facts, mdc, unit, places)} (n = {icc.n_people})."
    return Sentence(name, "results", text, priority)


def _with_ends(facts: Facts, entry: Any, unit: str, places: int) -> str:
    if entry.interval is None:
        return fmt.quantity(entry.value, unit, places)
    return fmt.with_interval(entry.value, entry.interval.low, entry.interval.high, unit, places, facts.ci)


def conclusion(facts: Facts) -> Iterator[Sentence]:
    """Yield what the measurement error means for one person, without a word of good or poor."""
    found = series(facts)
    if found:
        row = found[0]
        key: dict[str, Any] = {"measure": f"{row['measure']}.{row['scale']}", "place": str(row["place"])}
        mdc = facts.value("reliability", "mdc95", **key)
        name = _name(facts, row)
        if mdc is None:
            text = f"{name}: the study could not tell how large its measurement error is."
        else:
            error = facts.value("reliability", "standard_error_agreement", **key)
            size = fmt.quantity(mdc, str(row["unit"]), fmt.decimals_for(mdc if error is None else error))
            text = f"{name}: a change of one person smaller than {size} cannot be told from measurement error."
        yield Sentence("conclusion", "conclusion", text)
    text = "Limit: the values hold for these people, raters and conditions of measurement."
    yield Sentence("limit", "conclusion", text)
    if "limitations" in facts.statements:
        yield Sentence("limitations", "conclusion", sentence_of(facts.statements["limitations"]), 2)
