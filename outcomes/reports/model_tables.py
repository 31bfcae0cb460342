"""Tables of models and of other rules: limbs, all visits, runs beside the main one, flags."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table


def _name(facts: Facts, row: Any) -> str:
    group = "" if row["group"] == "all" else f"; {facts.group_label(row['group'])}"
    return f"{fmt.clean(row['label'], 160)}{group}"


def limbs(facts: Facts) -> Table:
    """Return both limbs modelled, person means, and what counting limbs as people would have claimed."""
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "limbs"):
        name, people = f"{_name(facts, row)}: {row['way']}", row["people"] or 0
        if facts.small.hides(people):
            lines.append((name, facts.small.words, NOT_SHOWN, NOT_SHOWN))
        elif row["change"] is None:
            lines.append((name, fmt.number(people), "0", f"not estimable: {fmt.clean(row['reason'])}"))
        else:
            size = fmt.with_interval(row["change"], row["low"], row["high"], row["unit"])
            lines.append((name, fmt.number(people), fmt.number(row["limbs"]), size))
    note = (
        "Two limbs of a person are no two people: the last line of each outcome is a wrong claim and stands for "
        "comparison only. The model holds the difference of the limbs and knows whose they are; it also uses people "
        "with one limb."
    )
    return Table.build("Both limbs", ("Outcome", "People", "Limbs", f"Change ({facts.ci})"), lines, note=note)


def all_visits(facts: Facts) -> Table:
    """Return the change by a model of all visits beside that of complete pairs."""
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "visit_models"):
        name, people, pairs = _name(facts, row), row["people"] or 0, row["pairs"] or 0
        if row["change"] is None:
            lines.append((name, "not estimable", f"not estimable: {fmt.clean(row['reason'])}", *("not estimable",) * 2))
            continue
        if facts.small.hides(people) or facts.small.hides(pairs):
            lines.append((name, *(NOT_SHOWN,) * 4))
            continue
        hidden = facts.small.hides(people - pairs)
        counts = "not shown: few people differ" if hidden else f"{fmt.number(people)}; {fmt.number(pairs)}"
        size = fmt.with_interval(row["change"], row["low"], row["high"], row["unit"])
        plain = "not estimable"
        if row["pairs_change"] is not None:
            plain = fmt.with_interval(row["pairs_change"], row["pairs_low"], row["pairs_high"], row["unit"])
        words = f"{row['own_courses']}{'. ' + fmt.clean(row['boundary']) if row['boundary'] else ''}"
        lines.append((name, counts, size, plain, words))
    ci = facts.ci
    columns = ("Outcome", "People in the model; with both visits", f"Change by the model ({ci})",
               f"By complete pairs ({ci})", "People differ in")  # fmt: skip
    note = (
        "Mixed model of the values at all visits, Kenward-Roger: people who missed a visit count with what they have, "
        "as if missed visits depended on nothing but the values that were seen."
    )
    return Table.build("All visits of everybody", columns, lines, left=(4,), note=note)


def other_rules(facts: Facts) -> Table:
    """Return the main number by other rules: without early recovery, one rater, medicine unchanged, events."""
    columns = ("Outcome and run", "n; left out", f"Change ({facts.ci})", "Main change; n")
    note = (
        "Each run leaves people out, also those of whom it is not known; of a grade the Hodges-Lehmann shift. Not "
        f"tested: the main number alone is. {facts.small.note}"
    )
    return Table.build("The main number by other rules", columns, list(_runs(facts)), note=note)


def _runs(facts: Facts) -> Iterator[tuple[str, ...]]:
    for row in rows_of(facts.record, "sensitivity"):
        name, main = f"{_name(facts, row)}: {row['run']}", row["main_n"] or 0
        gone = (row["left_out"] or 0) + (row["unknown"] or 0)
        if facts.small.hides(main) or facts.small.hides(row["n"] or 0) or (facts.public and facts.small.hides(gone)):
            yield name, NOT_SHOWN, NOT_SHOWN, NOT_SHOWN
            continue
        few = (
            facts.small.hides(gone) or facts.small.hides(row["left_out"] or 0) or facts.small.hides(row["unknown"] or 0)
        )
        counts = f"{facts.small.words} left out" if few else f"{fmt.number(row['n'] or 0)}; {fmt.number(gone)}"
        usual = "not estimable"
        if row["main_change"] is not None:
            places = fmt.decimals_for(None if row["low"] is None else row["high"] - row["low"])
            usual = f"{fmt.quantity(row['main_change'], row['unit'], places)}; {fmt.number(main)}"
        if row["change"] is None:
            yield name, counts, fmt.clean(row["reason"] or "not estimable"), usual
        elif row["low"] is None:
            yield name, counts, fmt.quantity(row["change"], row["unit"], 2), usual
        else:
            yield name, counts, fmt.with_interval(row["change"], row["low"], row["high"], row["unit"]), usual


def flags(facts: Facts) -> Table:
    """Return what else could have moved the values, and how many people it is true of."""
    labels = {(r["measure"], r["place"]): r["label"] for r in rows_of(facts.record, "outcomes")}
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "flags"):
        label = labels.get((row["measure"], row["place"]), "")
        outcome = fmt.clean(label, 160) if row["measure"] else "everybody"
        words = fmt.clean(row["words"], 300)
        if row["known"] is None:
            lines.append((words, outcome, "see there"))
        elif not row["known"]:
            lines.append((words, outcome, "not known of anybody"))
        else:
            lines.append((words, outcome, facts.small.share(row["people"], row["known"])))
    return Table.build("What else could have moved the values", ("What", "Outcome", "People"), lines, left=(1,),
                       note=facts.small.note)  # fmt: skip
