"""What the participant's notebook calls: one page about one person, for that person."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.errors import UsageError
from outcomes.reports import format as fmt
from outcomes.reports.abstract import page_notes, running
from outcomes.reports.blocks import Block, figure_block, lines_block, show, table_block
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.figure_words import capital, not_drawn
from outcomes.reports.funder_sentences import training_words
from outcomes.reports.opening import open_facts
from outcomes.reports.people import People
from outcomes.reports.tables import Table
from outcomes.units import printed_unit

if TYPE_CHECKING:
    import pandas as pd

MOST_PANELS = 3
"""Measures that are drawn, those with a known error of the test; the others stand in the table."""

LONG_TABLE = 8
"""Measures above which one panel less is drawn, so that the table of all values keeps its place on the page."""

BAND = (
    "No test gives exactly the same value twice. The grey band is the usual error of the test, drawn about your first "
    "value. A change inside it may be nothing but that error."
)
DIRECTIONS = {"higher": "a higher value is better", "lower": "a lower value is better"}


@dataclass(frozen=True)
class ParticipantPage:
    """One person's own training and values; every method shows something and returns nothing.

    Use `open_participant_page`.
    """

    facts: Facts
    people: People
    who: str
    paper: str = "A4"

    @cached_property
    def series(self) -> list[dict[str, Any]]:
        """Every outcome of which this person has a value: its row of the record, the visits and the values."""
        found = []
        for row in self._rows():
            mine = self._values_of(row)
            if mine:
                found.append({"row": row, "values": mine})
        return found

    def _rows(self) -> list[dict[str, Any]]:
        rows = [*self.facts.rows, *self.facts.others()]
        names: dict[tuple[str, str], dict[str, Any]] = {}
        for row in rows:
            names.setdefault((row["measure"], row["place"]), row)
        return list(names.values())

    def _values_of(self, row: Any) -> dict[str, tuple[float | None, str]]:
        """Return the person's value at each visit, or the reason why there is none."""
        frame = self.people.of_person(self.who)
        if frame is None:
            return {}
        mine = self.people.of_series(frame, row)
        found: dict[str, tuple[float | None, str]] = {}
        for _, one in mine.iterrows():
            value = None if one["value"] != one["value"] else float(one["value"])
            reason = one["reason"] if isinstance(one["reason"], str) else ""
            flags = one["flags"] if isinstance(one.get("flags"), str) else ""
            found[str(one["visit"])] = (value, "unable" if "unable" in flags else reason)
        return found if any(value is not None for value, _ in found.values()) else {}

    def visits(self, series: dict[str, Any]) -> list[str]:
        """Return the visits at which a measure was taken in this person, in order."""
        return [v["key"] for v in self.facts.meta.get("visits") or () if v["key"] in series["values"]]

    def head(self) -> None:
        """Show the title and the lines that stand on every page."""
        facts = self.facts
        who = fmt.clean(self.who, 60)
        show(
            lines_block(
                "head", "head", [f"Participant {who}. {facts.title}", *page_notes(facts, plain=True)],
                title="Your training and your tests", synthetic=facts.synthetic, paper=self.paper,
                until=facts.meta.get("data_until") or "", running=running(facts),
            )
        )  # fmt: skip

    def training(self) -> None:
        """Show this person's training."""
        show(lines_block("text", "training", list(self._training())))

    def _training(self) -> Iterator[str]:
        what = training_words(self.facts)
        if what:
            yield f"You took part in {what}."
        row = self._dose()
        done = None if row is None else _number(row["delivered_sessions"])
        if row is None or done is None:
            yield "Your sessions: not reported (the table sessions)."
            return
        plan = _number(row["planned_sessions"])
        until = self.facts.visit_label(str(row["visit"]))
        of = f" of {fmt.number(plan)} planned" if plan else ""
        yield f"Up to {until} you did {fmt.number(done)}{of} sessions."
        minutes = _number(row["delivered_active_minutes"])
        if minutes is not None:
            yield f"That was {fmt.number(minutes)} minutes in which your muscles drove the pedals or cranks."

    def _dose(self) -> Any:
        dose = self.people.dose
        if dose is None or "delivered_sessions" not in dose:
            return None
        mine = dose[(dose["participant_id"] == self.who) & dose["visit_day"].notna()]
        mine = mine[mine["delivered_sessions"].notna()]
        return None if not len(mine) else mine.sort_values("visit_day", kind="stable").iloc[-1]

    def tests(self) -> None:
        """Show at most three measures over time with the usual error of the test, and what they say."""
        measured = [s for s in self.series if s["row"]["level"] != "ordinal"]
        drawn = [s for s in measured if s["row"]["mdc"]] or measured
        drawn.sort(key=lambda one: self._compared(one) is None)  # stable: those that can be compared come first
        drawn = drawn[: MOST_PANELS if len(self.series) <= LONG_TABLE else MOST_PANELS - 1]
        if not drawn:
            show(not_drawn("tests", "Your tests over time", "there is no measured value of yours in this record"))
            return
        if any(s["row"]["mdc"] for s in drawn):
            show(lines_block("text", "band", [BAND]))
        for number, series in enumerate(drawn, start=1):
            show(self._panel(f"test_{number}", series))

    def _panel(self, name: str, series: dict[str, Any]) -> Block:
        from outcomes.reports.figures import one_person

        facts, row = self.facts, series["row"]
        visits = self.visits(series)
        values = [series["values"][v][0] for v in visits]
        labels = [facts.visit_label(v) for v in visits]
        places, unit = self.decimals(series), printed_unit(row["unit"])
        what = capital(facts.plain_name(row))
        said = self.verdict(series)
        axes = one_person(
            labels, [float("nan") if v is None else v for v in values], error=row["mdc"], decimals=places,
            ylabel=unit or what, title=said, note=self._note(row), synthetic=facts.synthetic,
        )  # fmt: skip
        lines = [(label, self._cell(series, v)) for label, v in zip(labels, visits, strict=True)]
        table = Table.build(f"{what}: your values", ("Visit", f"Value, {unit}" if unit else "Value"), lines)
        told = ", ".join(f"{label} {text}" for label, text in lines)
        return figure_block(name, axes, said, f"{what} over time, {unit}: {told}. {said}", table)

    def decimals(self, series: dict[str, Any]) -> int:
        """Return the decimals of one person's values: those of the error they are held against, else of the outcome."""
        row = series["row"]
        return fmt.decimals_for(row["mdc"]) if row["mdc"] else min(self.facts.decimals(row), 2)

    def _note(self, row: Any) -> str:
        direction = DIRECTIONS.get(str(row["better"]), "it only shows a size: neither up nor down is better")
        if row["mdc"] is None:
            return f"{capital(direction)}. The usual error of this test is not known here."
        size = fmt.quantity(row["mdc"], row["unit"], fmt.decimals_for(row["mdc"]))
        return f"{capital(direction)}. Usual error of the test: {size} ({fmt.clean(row['mdc_source'], 160)})."

    def verdict(self, series: dict[str, Any]) -> str:
        """Return what the person's first and last compared value say; no verdict without a known error of the test."""
        row, facts = series["row"], self.facts
        what = capital(facts.plain_name(row))
        pair = self._compared(series)
        if pair is None:
            return f"{what}: there is one value, so nothing can be said about a change."
        (first, before), (last, after) = pair
        places, unit = self.decimals(series), row["unit"]
        ends = ", ".join(
            f"{fmt.quantity(value, unit, places)} at {facts.visit_label(visit)}"
            for visit, value in ((first, before), (last, after))
        )
        if row["mdc"] is None:
            return f"{what}: {ends}. We cannot say whether this is more than the test's own error."
        beyond = abs(after - before) >= row["mdc"]
        word = "more than" if beyond else "within"
        return f"{what}: {ends}. This change is {word} the usual error of the test."

    def _compared(self, series: dict[str, Any]) -> tuple[tuple[str, float], tuple[str, float]] | None:
        """Return the two values that are compared: at the protocol's visits, else the first and the last known."""
        known = [(v, series["values"][v][0]) for v in self.visits(series) if series["values"][v][0] is not None]
        wanted = [pair for pair in known if pair[0] in self.facts.visits]
        ends = wanted if len(wanted) == 2 else [known[0], known[-1]] if len(known) > 1 else []
        return (ends[0], ends[1]) if ends else None

    def values(self) -> None:
        """Show every value of every measure."""
        keys = [v["key"] for v in self.facts.meta.get("visits") or ()]
        used = [k for k in keys if any(k in s["values"] for s in self.series)]
        lines = []
        for series in self.series:
            row = series["row"]
            unit = printed_unit(row["unit"])
            name = capital(self.facts.plain_name(row)) + (f", {unit}" if unit and row["level"] != "ordinal" else "")
            lines.append((name, *(self._cell(series, k) for k in used)))
        if not lines:
            show(lines_block("text", "values", ["There is no value of yours in this record."]))
            return
        note = "A dash stands for a value that was not taken. A grade only ranks: a step between two has no size."
        columns = ("Test", *(self.facts.visit_label(k) for k in used))
        show(table_block("values", Table.build("All your values", columns, lines, note=note)))

    def _cell(self, series: dict[str, Any], visit: str) -> str:
        value, why = series["values"].get(visit, (None, ""))
        if value is None:
            return fmt.clean(why, 60).replace("_", " ") or "–"
        row = series["row"]
        if row["level"] == "ordinal":
            return self._grades.get((row["measure"], value)) or fmt.number(value, _as_typed(value))
        return f"{fmt.number(value, self.decimals(series))}{' (unable)' if why == 'unable' else ''}"

    @cached_property
    def _grades(self) -> dict[tuple[str, float], str]:
        rows = rows_of(self.facts.record, "grades")
        return {(r["measure"], float(r["value"])): fmt.clean(r["grade"], 20) for r in rows}

    def notes(self) -> None:
        """Show what the page does not say, and room to write."""
        text = "This page says what was measured. It does not say why, and it gives no advice. Room for your own notes:"
        show(lines_block("text", "notes", [text]))
        show(lines_block("space", "space", [], rows=3))


def _number(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _as_typed(value: float) -> int:
    return 0 if float(value).is_integer() else 1


def open_participant_page(
    *, study: str, record: str = "", reader: str = "participant", paper: str = "A4", public: bool = False, who: str = ""
) -> ParticipantPage:
    """Open one record of a study for one participant's page.

    Parameters
    ----------
    study : str
        The study folder.
    record : str
        Name of a folder under ``results``; empty for the latest.
    reader : str
        "participant".
    paper : {"A4", "Letter"}
    public : bool
        Must be False: the page is for one person.
    who : str
        The participant's id.

    Returns
    -------
    ParticipantPage

    Raises
    ------
    UsageError
        No participant is named, or the record knows none of that name.
    """
    if reader != "participant":
        raise UsageError(f"this notebook writes a participant's page, not '{reader}'")
    if public:
        raise UsageError("the page of one person is never public; leave --public out")
    if not who:
        raise UsageError("whose page? outcomes report FOLDER --for participant --who ID")
    facts, results = open_facts(Path(study), record)
    people = People(results / "people")
    frame: pd.DataFrame | None = people.of_person(who)
    if frame is None or not len(frame):
        raise UsageError(f"this record has no value of a participant '{fmt.clean(who, 60)}'")
    return ParticipantPage(facts, people, who, paper or "A4")
