"""Tables of what traces of sessions hold, and of the weeks that met published exercise guidelines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.reports import format as fmt
from outcomes.reports.facts import rows_of
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table

if TYPE_CHECKING:
    from outcomes.reports.facts import Facts


def recorded(facts: Facts) -> Table:
    """Return sums and medians of the sessions with a trace, the formula of an asymmetry beside its name."""
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "recorded_sessions"):
        name = f"{row['label'][:1].upper()}{row['label'][1:]}"
        name = f"{name}: {row['formula']}" if row["formula"] else name
        if row["value"] is None:
            lines.append((name, fmt.number(row["sessions"]), "0", f"not reported: {row['reason']}", "-"))
        elif facts.small.hides(row["people"]):
            lines.append((name, NOT_SHOWN, facts.small.words, NOT_SHOWN, NOT_SHOWN))
        else:
            places = 2 if row["unit"] == "1" else 1
            value = f"{fmt.quantity(row['value'], row['unit'], places)} ({row['kind']})"
            ends = [row["low"], row["high"]]
            quartiles = "-" if None in ends else " to ".join(fmt.number(end, places) for end in ends)
            lines.append((name, fmt.number(row["sessions"]), fmt.number(row["people"]), value, quartiles))
    differ = facts.value("traces", "differences")
    said = (
        "" if differ is None else f" Values of session rows that differ from the trace and are asked about: {differ:g}."
    )
    aside, asked = (facts.value("traces", f"findings_{grade}") for grade in ("set_aside", "asked"))
    if aside is not None and asked is not None:
        said += f" Findings about traces: {aside:g} that set something aside, {asked:g} asked about."
    note = (
        "Of the sessions of which a trace was recorded, not of all sessions. The motor's work is never added to the "
        f"rider's. An asymmetry of fewer than three sessions of a person says little.{said}"
    )
    columns = ("Recorded sessions", "Sessions", "People", "Value", "Quartiles")
    return Table.build("What the traces of sessions hold", columns, lines, note=note)


def load(facts: Facts) -> Table:
    """Return energy and internal load of a delivered session, the assumption in the name."""
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "internal_load"):
        name = f"{row['label'][:1].upper()}{row['label'][1:]}"
        if row["mean"] is None:
            lines.append((name, "0", "0", f"not reported: {row['reason']}", "-"))
        elif facts.small.hides(row["people"]):
            lines.append((name, NOT_SHOWN, facts.small.words, NOT_SHOWN, NOT_SHOWN))
        else:
            sessions = f"{fmt.number(row['sessions'])} of {fmt.number(row['delivered'])}"
            spread = "-" if row["sd"] is None else fmt.number(row["sd"], 1)
            value = fmt.quantity(row["mean"], row["unit"], 1)
            lines.append((name, sessions, fmt.number(row["people"]), value, spread))
    note = (
        "Of the delivered sessions in which the quantity is known. Mechanical and metabolic energy, the two kinds of "
        "MET and the two scales of exertion are never added or compared with each other."
    )
    columns = ("Energy and internal load of a session", "Sessions", "People", "Mean", "Standard deviation")
    return Table.build("Energy and internal load", columns, lines, note=note)


def guidelines(facts: Facts) -> Table:
    """Return the percent of programme weeks that met each published exercise guideline."""
    from outcomes.dose import GUIDELINE_SOURCE

    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "guideline_weeks"):
        group = "" if row["group"] == "all" else f"; {facts.group_label(row['group'])}"
        name = f"{str(row['guideline']).capitalize()}: {row['words']}{group}"
        if facts.small.hides(row["people"]):
            lines.append((name, facts.small.words, *(NOT_SHOWN,) * 3))
            continue
        met = "not reported: no whole week" if row["percent"] is None else f"{fmt.number(row['percent'])} %"
        counts = f"{fmt.number(row['weeks_met'])} of {fmt.number(row['weeks'])}"
        lines.append((name, fmt.number(row["people"]), met, counts, fmt.number(row["sessions_unknown"])))
    columns = ("Guideline", "People", "Weeks that met it", "Weeks", "Sessions without active minutes")
    note = (
        f"{GUIDELINE_SOURCE}. Minutes alone are compared; whether the effort was moderate to vigorous, and strength, "
        "are not on record here."
    )
    return Table.build("Weeks of training against published exercise guidelines", columns, lines, note=note)
