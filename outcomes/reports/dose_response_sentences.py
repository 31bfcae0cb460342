"""The answer on dose, line by line: between and within apart, what is only time, curves, people left out, origins."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.change_sentences import associated
from outcomes.reports.facts import Facts, rows_of
from outcomes.units import printed_unit

Row = dict[str, Any]


def rows_for(facts: Facts, table: str, exposure: str, group: str = "") -> list[Row]:
    """Return the rows of a dose table of the record for the report's outcome, its group and one exposure.

    Parameters
    ----------
    facts : Facts
    table : str
        Such as ``"dose_within"``.
    exposure : str
    group : str
        Instead of the group of the report's outcome.
    """
    row = facts.row
    if row is None:
        return []
    groups = (group,) if group else ("all", row["group"])
    mine = (row["measure"], row["place"], row["contrast"])
    return [
        r
        for r in rows_of(facts.record, table)
        if (r["measure"], r["place"], r["contrast"]) == mine and r["exposure"] == exposure and r["group"] in groups
    ]


def dose_answer(facts: Facts) -> list[str]:
    """Return the lines of the answer on the report's dose; none where the record relates no dose to change.

    Parameters
    ----------
    facts : Facts
    """
    return [
        line
        for exposure in facts.exposures[:1]
        for link in facts.associations(exposure)
        for line in _answer(facts, exposure, link)
    ]


def _answer(facts: Facts, exposure: str, link: Row) -> Iterator[str]:
    from outcomes.analysis.association import EXPOSURES

    row, what, group = facts.row, EXPOSURES[exposure][4], link["group"] or "all"
    assert row is not None
    if group != "all":
        yield f"Group {facts.group_label(group)}:"
    yield f"Dose: {fmt.clean(link['dose'] or what)}; numbers are given per {link['per']}."
    yield associated(facts, link, what)
    if facts.small.hides(link["n"]):
        return
    unit = row["unit"]
    if link["slope"] is not None and link["low"] is not None:
        yield _raw_and_range(link, unit)
    for found in rows_for(facts, "dose_within", exposure, group):
        yield from _within(facts, found, unit)
    yield from _curves(rows_for(facts, "dose_curves", exposure, group), exposure)
    yield from _prediction(rows_for(facts, "dose_prediction", exposure, group), unit, what)
    yield from _origins(facts, exposure, what, group)
    yield "All of this is association: confounding by what was not measured cannot be excluded."


def _raw_and_range(link: Row, unit: str) -> str:
    """Return the raw association beside the adjusted one, and the range leaving one person out."""
    places = fmt.decimals_for(link["high"] - link["low"])
    raw = f"Without holding the first value: {fmt.quantity(link['raw_slope'], unit, places)} per {link['per']}"
    if link["loo_low"] is None or link["loo_high"] is None:
        return f"{raw}."
    ends = f"{fmt.number(link['loo_low'], places)} to {fmt.quantity(link['loo_high'], unit, places)}"
    return f"{raw}. Leaving one person out in turn, first value held: {ends}."


def _within(facts: Facts, row: Row, unit: str) -> Iterator[str]:
    if row["people"] is None or facts.small.hides(row["people"]):
        yield f"Within persons: not estimable ({fmt.clean(row['reason'] or facts.small.words + ' people')})."
        return
    n = f"{fmt.number(row['people'])} people, {fmt.number(row['values'])} values"
    if row["within"] is None:
        yield f"Within persons: not given ({fmt.clean(row['within_reason'])}) ({n})."
    else:
        size = fmt.with_interval(row["within"], row["within_low"], row["within_high"], unit, None, facts.ci)
        zero = row["within_low"] <= 0 <= row["within_high"]
        lead = "could not tell whether a person's value went along with that person's own dose" if zero else (
            "a person's value went along with that person's own dose"
        )  # fmt: skip
        yield f"Within persons, time held: {lead}: {size} per {row['per']} ({n})."
    if row["between"] is not None:
        size = fmt.with_interval(row["between"], row["between_low"], row["between_high"], unit, None, facts.ci)
        yield f"Between persons in the same model, per {row['per']} of mean dose: {size}."
    size = fmt.with_interval(row["time"], row["time_low"], row["time_high"], unit, None, facts.ci)
    yield f"Time within persons, a week: {size}; without dose in the model: {fmt.quantity(row['time_alone'], unit, 3)}."
    if row["only_time"] is not None:
        yield (
            f"Of the dose within persons {fmt.number(100 * row['only_time'])}% is only the passing of time "
            f"(r = {fmt.number(row['r'], 2)}, variance inflation {fmt.number(row['vif'], 1)})."
        )


def _curves(rows: list[Row], exposure: str) -> Iterator[str]:
    from outcomes.analysis.association import EXPOSURES

    curves = [row for row in rows if row["curve"]]
    if not curves:
        yield from (f"Curves: not compared ({fmt.clean(row['reason'])})." for row in rows)
        return
    weights = ", ".join(f"{row['curve']} {fmt.number(row['weight'], 2)}" for row in curves)
    lowest = min(row["aicc"] for row in curves)
    flat = " No dose at all fits no worse than the best of them." if curves[0]["flat_aicc"] <= lowest else ""
    last = curves[-1]
    unit = printed_unit(EXPOSURES[exposure][1])
    half = (
        f"Half-maximal dose: not given ({fmt.clean(last['reason'])})."
        if last["reason"]
        else f"Half-maximal dose: {fmt.number(last['half_dose'])} {unit}."
    )
    yield f"AICc weights of the curves: {weights}.{flat} {half}"


def _prediction(rows: list[Row], unit: str, what: str) -> Iterator[str]:
    for row in rows:
        if row["mean_error"] is None:
            yield f"People left out: not predicted ({fmt.clean(row['reason'])})."
            continue
        places = fmt.decimals_for(row["mean_error"])
        errors = [fmt.number(row[name], places) for name in ("mean_error", "baseline_error", "dose_error")]
        better = "better" if row["gain"] > 0 else "no better"
        yield (
            f"A person left out is predicted with an error of {errors[2]} by first value and {what}, {errors[1]} by "
            f"the first value, {errors[0]} {printed_unit(unit)} by the mean of the others: {better} than by the mean."
        )


def _origins(facts: Facts, exposure: str, what: str, group: str) -> Iterator[str]:
    rows = [r for r in rows_of(facts.record, "dose_origins") if r["exposure"] == exposure]
    rows = [r for r in rows if r["group"] == group and r["rank"] is not None and not facts.small.hides(r["n"])]
    if rows:
        first = max(rows, key=lambda r: abs(r["rank"]))
        name = fmt.clean(first["characteristic"], 120).replace("_", " ")
        yield (
            f"Of what was known before, {what} went along most with {name}: rank correlation "
            f"{fmt.number(first['rank'], 2)} (n = {fmt.number(first['n'])})."
        )
