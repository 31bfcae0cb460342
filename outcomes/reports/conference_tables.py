"""The tables of the conference page, cell by cell from the record."""

from __future__ import annotations

from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.change_sentences import change_words, class_counts, mdc_words, p_words, transitions_shown
from outcomes.reports.facts import Facts, rows_of, source_of
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table
from outcomes.units import printed_unit

CHARACTERISTICS = {
    "age_years": "Age",
    "months_since_onset": "Time since onset",
    "height_cm": "Height",
    "body_mass_kg": "Body mass",
    "sex": "Sex",
    "condition": "Condition",
    "ais_grade": "AIS grade",
    "trained_side": "Trained side",
}


def participants(facts: Facts) -> Table:
    """Return who the people were."""
    small = facts.small
    lines: list[tuple[str, ...]] = []
    rows = rows_of(facts.record, "participants")
    enrolled = facts.value("flow", "enrolled") or 0
    for row in (r for r in rows if r["level"] == ""):
        name = CHARACTERISTICS.get(row["characteristic"], row["characteristic"])
        unit = printed_unit(row["unit"])
        if small.hides(row["n_known"]):
            value = NOT_SHOWN
        else:
            ends = f"{fmt.number(row['low'])} to {fmt.number(row['high'])}"
            spread = fmt.with_spread(row["mean"], row["sd"], "1", 0)
            value = f"{spread}; {fmt.number(row['median'])} ({ends})"
        lines.append((f"{name}, {unit}: mean (SD); median (quartiles)", _known(row), value))
    for name in dict.fromkeys(r["characteristic"] for r in rows if r["level"]):
        levels = [r for r in rows if r["characteristic"] == name]
        shown = small.texts([int(r["n"]) for r in levels])
        for row, n in zip(levels, shown, strict=True):
            label = f"{CHARACTERISTICS.get(name, name)}: {fmt.clean(row['level'], 60).replace('_', ' ')}"
            text = fmt.share(int(row["n"]), row["n_known"]) if n.isdecimal() else n
            lines.append((label, _known({"n_known": row["n_known"], "n": enrolled}), text))
    columns = ("Characteristic", "n known", "People enrolled")
    return Table.build("People enrolled", columns, lines, note=facts.small.note)


def _known(row: Any) -> str:
    return f"{fmt.number(row['n_known'])} of {fmt.number(row['n'])}"


def outcomes(facts: Facts) -> Table:
    """Return every outcome: before, after, change, people beyond error."""
    rows = [_outcome(facts, row) for row in [*facts.rows, *facts.others()]]
    columns = ("Outcome", "n", *(f"{facts.visit_label(v)}, mean (SD)" for v in facts.visits))
    columns += (f"Change ({facts.ci})", "P", "People beyond error (MDC)")
    note = (
        "MDC: minimal detectable change (95%), the smallest change of one person beyond the usual error of the test"
        f"{_sources(facts)}. Exploratory outcomes are not tested. A grade only ranks: its change is the "
        "Hodges-Lehmann shift, "
        f"and people are counted by lower, same and higher grade. {facts.small.note}"
    )
    return Table.build("Outcomes", columns, rows, left=(6,), note=note)


def _sources(facts: Facts) -> str:
    """Return where each minimal detectable change comes from."""
    rows = [r for r in [*facts.rows, *facts.others()] if r["mdc"] is not None]
    found = dict.fromkeys(
        f"{facts.title_of(r)[0]}: {mdc_words(facts, r)}, {fmt.clean(r['mdc_source'], 160)}" for r in rows
    )
    return f" ({'; '.join(found)})" if found else ""


def _outcome(facts: Facts, row: Any) -> tuple[str, ...]:
    _, full = facts.title_of(row)
    group = "" if row["group"] == "all" else f", {facts.group_label(row['group'])}"
    name = f"{full}{group}; {row['role']}; {better_words(row)}"
    if facts.small.hides(row["n"]):
        return (name, facts.small.words, *(NOT_SHOWN,) * 5)
    why = fmt.clean(row["reason"] or "")
    if row["change"] is None and row["n_better"] is None:
        return (name, fmt.number(row["n"]), *(f"not estimable: {why or 'no value'}",), *("not estimable",) * 4)
    return (
        name,
        fmt.number(row["n"]),
        *_before_after(facts, row),
        _change(facts, row),
        _p(facts, row),
        _people(facts, row),
    )


def _before_after(facts: Facts, row: Any) -> tuple[str, str]:
    if row["level"] == "ordinal":
        return "grades", "grades"
    places, unit = facts.decimals(row), row["unit"]
    if row["before_mean"] is None or row["after_mean"] is None:
        return "not estimable", "not estimable"
    return (
        fmt.with_spread(row["before_mean"], row["before_sd"], unit, places),
        fmt.with_spread(row["after_mean"], row["after_sd"], unit, places),
    )


def _change(facts: Facts, row: Any) -> str:
    return "not estimable" if row["change"] is None else change_words(facts, row, named=False)


def _p(facts: Facts, row: Any) -> str:
    if row["role"] == "exploratory":
        return "not tested"
    return p_words(facts, row) or "not tested"


def _people(facts: Facts, row: Any) -> str:
    names, shown = class_counts(facts, row)
    counts = ", ".join(f"{name} {n}" for name, n in zip(names, shown, strict=True))
    if not counts:
        return "not known: no measurement error"
    if row["mdc"] is None:
        return counts
    return f"{counts} ({fmt.quantity(row['mdc'], row['unit'], facts.decimals(row))})"


def better_words(row: Any) -> str:
    """Return the direction word of an outcome."""
    words = {"higher": "higher is better", "lower": "lower is better"}
    return words.get(str(row["better"]), "size only, no direction is better")


DOSES = {
    "sessions": "Sessions, delivered of planned",
    "active_minutes": "Active minutes, delivered of planned",
    "work_kj": "Work in kJ, delivered of planned",
    "charge_c": "Charge in C, delivered of planned",
}


def dose(facts: Facts) -> Table:
    """Return planned and delivered training up to each visit."""
    lines: list[tuple[str, ...]] = []
    every = rows_of(facts.record, "dose_by_visit")
    charged = any(row.get("delivered_charge_c") is not None for row in every)
    whats = [what for what in DOSES if charged or what != "charge_c"]
    for row in every:
        if not row["people"] or not (row["planned_sessions"] or row["delivered_sessions"]):
            continue
        label = fmt.clean(row["label"], 60)
        if facts.small.hides(row["people"]):
            lines.append((label, facts.small.words, *(NOT_SHOWN,) * len(whats)))
            continue
        pairs = [_against(row[f"delivered_{what}"], row[f"planned_{what}"]) for what in whats]
        lines.append((label, fmt.number(row["people"]), *pairs))
    columns = ("Up to", "People seen", *(DOSES[what] for what in whats))
    note = "Sums over the people seen at the visit; only minutes in which the muscles drive count."
    return Table.build("Training delivered against plan", columns, lines, note=note)


def _against(delivered: float | None, planned: float | None) -> str:
    done = "not recorded" if delivered is None else fmt.number(delivered)
    return f"{done} (none planned)" if planned is None else f"{done} of {fmt.number(planned)}"


def associations(facts: Facts) -> Table:
    """Return the association of every dose with the change of every outcome."""
    from outcomes.analysis.association import EXPOSURES

    outcomes_by = {(r["measure"], r["place"]): r for r in rows_of(facts.record, "outcomes")}
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "dose_response"):
        ordinal = row["slope"] is None and row["rank"] is not None
        per = "" if ordinal else f", per {row['per']}"
        group = "" if row["group"] in (None, "all") else f"; {facts.group_label(row['group'])}"
        name = f"{fmt.clean(row['label'], 160)}; {EXPOSURES[row['exposure']][4]}{per}{group}"
        n = facts.small.count(row["n"])
        why = fmt.clean(row["reason"] or "")
        if facts.small.hides(row["n"]):
            lines.append((name, n, *(NOT_SHOWN,) * 4))
        elif row["slope"] is None and row["rank"] is None:
            lines.append((name, n, f"not estimable: {why or 'no value'}", *("not estimable",) * 3))
        else:
            outcome = outcomes_by.get((row["measure"], row["place"]))
            lines.append((name, n, *_slope(facts, row, outcome["unit"] if outcome else "1"), _rank(row)))
    columns = ("Change and dose", "n", f"Slope ({facts.ci})", "P", "Leaving one person out", "Rank association")
    note = (
        "Between persons, given the first value. A grade only ranks. P values are not adjusted for the "
        "number of associations. An association; what was not "
        "measured may explain it."
    )
    return Table.build("Association of delivered dose with change", columns, lines, note=note)


def _slope(facts: Facts, row: Any, unit: str) -> tuple[str, str, str]:
    if row["slope"] is None:
        return "rank only", "rank only", "rank only"
    if row["low"] is None or row["high"] is None:
        return fmt.quantity(row["slope"], unit, 2), "not tested", "not computed"
    places = fmt.decimals_for(row["high"] - row["low"])
    slope = fmt.with_interval(row["slope"], row["low"], row["high"], unit, places)
    ends = [row["loo_low"], row["loo_high"]]
    range_ = "not computed" if None in ends else " to ".join(fmt.number(e, places) for e in ends)
    return slope, "not tested" if row["p"] is None else fmt.p_value(row["p"]), range_


def _rank(row: Any) -> str:
    if row["rank"] is None:
        return "not computed"
    value = fmt.number(row["rank"], 2)
    return value if row["rank_p"] is None else f"{value}, {fmt.p_value(row['rank_p'])}"


def harms(facts: Facts) -> Table:
    """Return adverse events by kind, severity and relatedness."""
    small = facts.small
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "harms"):
        words = [fmt.clean(row[k], 60).replace("_", " ") for k in ("kind", "severity", "relatedness")]
        lines.append((words[0], words[1], words[2], fmt.number(row["events"]), small.count(row["people"])))
    columns = ("Kind", "Severity", "Related to the training", "Events", "People")
    return Table.build("Adverse events", columns, lines, left=(1, 2), note=facts.small.note)


def grades(facts: Facts, row: Any) -> Table:
    """Return who moved from which grade to which."""
    before, after = (facts.visit_label(v) for v in facts.visits)
    caption = f"{facts.title_of(row)[1]}: grade at {before} and at {after}"
    lines = transitions_shown(facts, row)
    return Table.build(caption, (before, after, "People"), lines, left=(1,), note=facts.small.note)


def data(facts: Facts) -> Table:
    """Return what happened to the rows and cells of every table."""
    names = {
        "rows_read": "Rows read",
        "used": "used",
        "duplicates": "repeated",
        "set_aside": "set aside",
        "cells_read": "Cells read",
        "normalised": "respelled",
        "emptied": "set aside ",
        "queries": "asked about",
    }
    lines = [
        (fmt.clean(r["table"], 40), *(fmt.number(r[k]) for k in names)) for r in rows_of(facts.record, "data_quality")
    ]
    columns = ("Table", *(n.strip() for n in names.values()))
    return Table.build("What was read, and what became of it", columns, lines)


def measures(facts: Facts) -> Table:
    """Return the measures with their sources."""
    lines = [
        (
            fmt.clean(r["title"], 120),
            f"{fmt.clean(r['measure'], 40)}, version {fmt.clean(r['version'], 40)}",
            fmt.clean(r["scale"], 40).replace("_", " "),
            r["role"],
            better_words(r),
            source_of(r, 300),
        )
        for r in rows_of(facts.record, "measures")
    ]
    columns = ("Measure", "Key", "Scale", "Role", "Direction", "Source")
    return Table.build("Measures", columns, lines, left=(1, 2, 3, 4, 5), note=_marks(facts))


def _marks(facts: Facts) -> str:
    """Return how many people have scores that bear a mark, such as a total that was typed instead of items."""
    parts = [
        f"{fmt.clean(r['measure'], 40)} {fmt.clean(r['scale'], 40).replace('_', ' ')}, {fmt.clean(r['mark'], 120)}: "
        f"{facts.small.share(int(r['people']), int(r['people_scored']))} people"
        for r in rows_of(facts.record, "marked_scores")
    ]
    return f"Scores with a mark: {'; '.join(parts)}." if parts else ""
