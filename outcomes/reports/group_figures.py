"""The figure of groups: changes from the person-level table, means and differences from the record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, figure_block
from outcomes.reports.facts import Facts
from outcomes.reports.figure_words import axis_label, not_drawn
from outcomes.reports.group_sentences import difference_interval, difference_words, group_rows, two_groups, withheld
from outcomes.reports.people import People
from outcomes.reports.tables import Table
from outcomes.units import printed_unit

NAME, HEADING = "groups", "Changes by group"


def group_blocks(facts: Facts, people: People) -> Iterator[Block]:
    """Yield the report's outcome by group, or why it is not drawn; nothing where the study has no groups."""
    if facts.row is None or not facts.meta.get("groups"):
        return
    order = [str(group["key"]) for group in facts.meta["groups"]]
    rows = sorted((row for row in facts.rows if row["group"] in order), key=lambda row: order.index(row["group"]))
    compared = group_rows(facts, facts.row)
    found = [people.pairs(row) for row in rows]
    why = _why_not(facts, rows, compared, found)
    if why:
        yield not_drawn(NAME, HEADING, why)
    else:
        yield _figure(facts, rows, compared, found)


def _why_not(facts: Facts, rows: list[Any], compared: list[Any], found: list[Any]) -> str:
    if facts.row is not None and facts.row["level"] == "ordinal":
        return "a grade only ranks; see the grades before and after"
    if len(rows) < 2:
        return "the plan reports everybody together"
    if any(pairs is None or not len(pairs) or row["change"] is None for row, pairs in zip(rows, found, strict=True)):
        return "a group has nobody with both values"
    if any(facts.small.hides(row["n"]) for row in rows) or any(withheld(facts, row) for row in compared):
        return f"{facts.small.words} people in a group"
    return ""


def _figure(facts: Facts, rows: list[Any], compared: list[Any], found: list[Any]) -> Block:
    from outcomes.reports.figures import changes_by_group

    shown = [row for row in compared if row["difference"] is not None and row["low"] is not None]
    names = [" minus ".join(two_groups(facts, row)) for row in shown]
    told = " ".join(difference_words(facts, row) for row in compared)
    title = fmt.clean(facts.title_of(rows[0])[0], 120) + ": change of every person by group, and the difference"
    unit = printed_unit(str(rows[0]["unit"]))
    note = "Strong line: mean change of the group. At the right: difference of the later values given the first."
    axes = changes_by_group(
        [pairs["change"].to_numpy() for pairs in found], labels=[facts.group_label(row["group"]) for row in rows],
        means=[float(row["change"]) for row in rows],
        differences=[(row["difference"], row["low"], row["high"]) for row in shown], names=names,
        ylabel=axis_label(facts, rows[0], "change of "), side_label=f"difference{f' ({unit})' if unit else ''}",
        persons=not facts.public, title=title, note=note, synthetic=facts.synthetic,
    )  # fmt: skip
    places = facts.decimals(rows[0])
    lines = [
        (facts.group_label(row["group"]), fmt.number(row["n"]), fmt.quantity(row["change"], row["unit"], places))
        for row in rows
    ]
    lines += [
        (f"{name}, given the first value", fmt.number(row["n"]), difference_interval(facts, row))
        for name, row in zip(names, shown, strict=True)
    ]
    table = Table.build(HEADING, ("Group", "n", "Mean change, or difference"), lines)
    people = "one ring a person, " if not facts.public else ""
    means = "; ".join(f"{name} {change} (n = {n})" for name, n, change in lines[: len(rows)])
    alt = f"Change by group, {people}with the mean of each: {means}. {told}"
    margin = [("n", " and ".join(fmt.number(row["n"]) for row in rows)), ("source", "table group_differences")]
    return figure_block(NAME, axes, title, alt, table, margin=margin)
