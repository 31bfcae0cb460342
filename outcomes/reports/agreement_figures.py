"""The agreement figures of a test-retest study: pairs from the person-level table, words and lines from the record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from outcomes.reports import format as fmt
from outcomes.reports.agreement_tables import find, forms_of, of_plan
from outcomes.reports.blocks import Block, figure_block
from outcomes.reports.facts import Facts
from outcomes.reports.figure_words import file_part, not_drawn
from outcomes.reports.people import People
from outcomes.reports.reliability_sentences import name_of
from outcomes.reports.tables import Table
from outcomes.result import Entry
from outcomes.units import printed_unit

if TYPE_CHECKING:
    import pandas as pd


def agreement_blocks(facts: Facts, people: People) -> Iterator[Block]:
    """Yield a figure of agreement for every measure that is no grade and each form of limits of two single values, or
    why there is none."""
    for row, ordinal in of_plan(facts):
        if ordinal:
            continue
        for end in [end for end in forms_of(facts, row) if end in ("", "_ratio")]:
            name = f"agreement_{file_part(row['measure'])}_{file_part(row['place'])}".rstrip("_") + end
            lines = (f"{line}{end}" for line in ("agreement_bias", "limit_lower", "limit_upper"))
            entries = [find(facts, row, statistic) for statistic in lines]
            wide = people.repeat_pairs(row)
            why = _why_not(facts, entries, wide)
            if why or wide is None:
                yield not_drawn(name, f"Agreement, {name_of(row)}", why)
            else:
                yield _figure(facts, row, name, [e for e in entries if e is not None], wide)


def _why_not(facts: Facts, entries: list[Entry | None], wide: pd.DataFrame | None) -> str:
    for entry in entries:
        if entry is None or entry.status != "estimated" or entry.interval is None:
            return fmt.clean(entry.reason or "no interval") if entry is not None else "the plan did not ask for limits"
    if wide is None or not len(wide):
        return "the table of repeat tests is not there"
    return f"{facts.small.words} people" if facts.small.hides(len(wide)) else ""


def _figure(facts: Facts, row: Any, name: str, entries: list[Entry], wide: pd.DataFrame) -> Block:
    from outcomes.reports.figures import agreement_plot

    lines = [(float(e.value), e.interval.low, e.interval.high) for e in entries]  # type: ignore[arg-type,union-attr]
    ratio = entries[0].method.endswith("_ratio")
    unit = printed_unit(str(row["unit"]))
    first, second = wide.columns
    said = [fmt.with_interval(*line, entries[0].unit, label=facts.ci) for line in lines]
    title = f"{name_of(row)}: most differences of two measurements lie from {_short(lines[1], entries[1])} to "
    title += _short(lines[2], entries[2])
    note = f"n = {fmt.number(len(wide))} people. Bias {said[0]}; limits {said[1]} and {said[2]}. Grey: their intervals."
    axes = agreement_plot(
        wide[first].to_numpy(), wide[second].to_numpy(), bias=lines[0], lower=lines[1], upper=lines[2], ratio=ratio,
        persons=not facts.public, xlabel=f"mean of both measurements{f' ({unit})' if unit else ''}",
        ylabel="second over first" if ratio else f"second minus first{f' ({unit})' if unit else ''}",
        title=title, note=note, synthetic=facts.synthetic,
    )  # fmt: skip
    ends = [("Bias", said[0]), ("Lower limit of agreement", said[1]), ("Upper limit of agreement", said[2])]
    table = Table.build(f"Agreement, {name_of(row)}", ("Line", "Value"), ends)
    alt = f"Differences of second and first measurement against their mean. {note}"
    return figure_block(
        name, axes, title, alt, table, margin=[("n", fmt.number(len(wide))), ("source", entries[1].key)]
    )


def _short(line: tuple[float, float, float], entry: Entry) -> str:
    return fmt.quantity(line[0], entry.unit, fmt.decimals_for(line[2] - line[1]))
