"""Figures that show everybody or everything at once: attendance, and all changes on one scale."""

from __future__ import annotations

from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, figure_block
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.figure_words import better_way, good_is_up, not_drawn, number_or
from outcomes.reports.people import People
from outcomes.reports.tables import Table


def attendance(facts: Facts, people: People) -> Block:
    """Return who came in which week; a copy for others has none, as a row is a person."""
    from outcomes.reports.figures import attendance_map

    weeks = people.dose_by_week
    name, heading = "attendance", "Attendance, person by week"
    if facts.public or weeks is None or not len(weeks):
        why = "a public report has no mark of a person" if facts.public else "the table sessions is absent"
        return not_drawn(name, heading, why)
    planned, done = (
        weeks.pivot(index="participant_id", columns="week", values=f"{kind}_sessions")
        for kind in ("planned", "delivered")
    )
    order = (done.sum(axis=1) / planned.sum(axis=1)).sort_values(ascending=False, kind="stable").index
    planned, done = planned.loc[order], done.loc[order]
    title = "Share of the planned sessions that each person came to, week by week"
    axes = attendance_map(
        done.to_numpy(), planned.to_numpy(), weeks=[float(w) for w in planned.columns], title=title,
        note=f"n = {len(order)} people, sorted by the share they came to; sessions done or shortened count.",
        synthetic=facts.synthetic,
    )  # fmt: skip
    rows = rows_of(facts.record, "dose_by_week")
    lines = [
        (
            f"Week {fmt.number(r['week'])}",
            facts.small.count(int(r["people"])),
            number_or(r["delivered_sessions"], "not recorded"),
            number_or(r["planned_sessions"], "none planned"),
        )
        for r in rows
    ]
    table = Table.build(heading, ("Week", "People", "Sessions delivered", "Sessions planned"), lines)
    ends = [f"{line[0]}: {line[2]} of {line[3]} sessions" for line in (lines[0], lines[-1])] if lines else []
    alt = f"One row a person, one column a week, darker for a larger share of the plan. {'; '.join(ends)}."
    margin = [("n", fmt.number(len(order))), ("source", "table dose_by_week")]
    return figure_block(name, axes, title, alt, table, margin=margin)


def forest(facts: Facts) -> Block:
    """Return every mean change, divided by its own spread, better or hoped for to the right."""
    from outcomes.reports.figures import forest_of_effects

    found: list[tuple[dict[str, Any], float, float, float]] = []
    for row in [*facts.rows, *facts.others()]:
        entry = facts.entry("change", "d_z", row)
        if row["level"] == "ordinal" or entry is None or entry.interval is None or facts.small.hides(row["n"]):
            continue
        turn = 1.0 if good_is_up(row) else -1.0
        low, high = sorted((turn * entry.interval.low, turn * entry.interval.high))
        found.append((row, turn * float(entry.value or 0.0), low, high))
    heading = "Every change on one scale"
    if not found:
        return not_drawn("forest", heading, "no outcome has a mean change with an interval")
    labels, texts = [], []
    for row, value, low, high in found:
        group = "" if row["group"] == "all" else f", {facts.group_label(row['group'])}"
        labels.append(f"{facts.title_of(row)[0]}{group} (n = {row['n']})")
        texts.append(fmt.with_interval(value, low, high, "1", 2))
    neutral = any(row["words_better"] not in ("better", "worse") for row, *_ in found)
    right = "better or hoped for" if neutral else "better"
    title = f"Mean changes divided by their own spread, {right} to the right"
    axes = forest_of_effects(
        labels, [f[1] for f in found], [f[2] for f in found], [f[3] for f in found], texts=texts,
        primary=[row["role"] == "primary" for row, *_ in found], ends=("the other way", right),
        xlabel=f"mean change / standard deviation of the changes (d_z, {facts.ci})", title=title,
        note="In the protocol's order, the primary outcome larger. Grades only rank and are not here.",
        synthetic=facts.synthetic,
    )  # fmt: skip
    lines = [(label, text, better_way(row)) for (row, *_), label, text in zip(found, labels, texts, strict=True)]
    table = Table.build(title, ("Outcome", f"d_z ({facts.ci})", "To the right"), lines, left=(2,))
    told = "; ".join(f"{label}: {text}" for label, text, _ in lines)
    n = f"{min(r['n'] for r, *_ in found)} to {max(r['n'] for r, *_ in found)}"
    return figure_block(
        "forest", axes, title, f"{title}. {told}.", table, margin=[("n", n), ("source", "record change, d_z")]
    )
