"""What the class notebook calls: every number with where it comes from, exercises, and one choice varied."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from outcomes.errors import UsageError
from outcomes.reports import format as fmt
from outcomes.reports.abstract import page_notes, running
from outcomes.reports.blocks import lines_block, show, table_block
from outcomes.reports.change_sentences import both_numbers
from outcomes.reports.conference import planned_facts, refuse_other_analysis
from outcomes.reports.conference_figures import Figures
from outcomes.reports.exercises import exercises
from outcomes.reports.facts import DESIGNS, Facts
from outcomes.reports.opening import open_facts
from outcomes.reports.people import People
from outcomes.reports.sentences import conference_sentences
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table
from outcomes.result import Entry
from outcomes.units import printed_unit

ROOMS = ("reliability", "change", "dose", "dose_response", "models", "missing_data", "single_case", "planning")
"""Rooms of the library that make numbers, with the sentence of each method in their ``METHODS``."""

ALWAYS = ("flow", "data", "dose", "delivery", "harms")
"""First part of the keys of counts that every report prints, or that count no people."""


@dataclass(frozen=True)
class ClassReport:
    """One record for a class; every method shows something and returns nothing.

    Use `open_class_report`.
    """

    facts: Facts
    figures: Figures
    run: dict[str, Any]
    paper: str = "A4"
    protocol_facts: Facts | None = None
    answers: dict[str, str] = field(default_factory=dict)

    def head(self) -> None:
        """Show title, design and the lines that stand on every page."""
        facts = self.facts
        lines = [f"{DESIGNS.get(facts.design, 'Design not reported (design under [study])')}. For a class.",
                 *page_notes(facts)]  # fmt: skip
        show(
            lines_block(
                "head", "head", lines, title=facts.title, synthetic=facts.synthetic, paper=self.paper,
                until=facts.meta.get("data_until") or "", running=running(facts),
            )
        )  # fmt: skip

    def findings(self) -> None:
        """Show every sentence that the record can fill, numbered, none left out for a word limit."""
        said = [
            f"{i}. {s.text}" for i, s in enumerate((s for s in conference_sentences(self.facts) if s.text), start=1)
        ]
        show(lines_block("text", "findings", said))

    def versions(self) -> None:
        """Show what went in: files with their hashes, protocol, definitions, packages, seed."""
        run = self.run
        lines = [("file", name, sha[:16]) for name, sha in (run.get("inputs") or {}).items()]
        lines += [("definition", name, sha[:16]) for name, sha in (run.get("definitions") or {}).items()]
        lines.append(("protocol", "protocol.toml", str(run.get("protocol_sha256") or "not recorded")[:16]))
        found = {**(run.get("software") or {}), **(run.get("packages") or {})}
        lines += [("software", name, str(version)) for name, version in found.items()]
        lines.append(("seed", "analysis.seed", str(run.get("seed", "not recorded"))))
        lines.append(("analysis", "results/", str(run.get("id") or "not recorded")))
        note = "Hashes are the first 16 digits of SHA-256; the same files, versions and seed give the same numbers."
        cleaned = [tuple(fmt.clean(cell, 80) or "not named" for cell in line) for line in lines]
        show(table_block("versions", Table.build("What went in", ("Kind", "Name", "Version or hash"), cleaned,
                                                 left=(1, 2), note=note)))  # fmt: skip

    def figure(self, name: str) -> None:
        """Show a figure of the record; of a real study without marks of persons."""
        draw = getattr(self.figures, name, None)
        if draw is None:
            raise UsageError(f"there is no figure '{name}'")
        for block in draw():
            show(block)

    def table(self, name: str) -> None:
        """Show a table of the record: participants, outcomes, dose, associations, harms, data or measures."""
        from outcomes.reports.conference import TABLES

        if name not in TABLES:
            raise UsageError(f"there is no table '{name}'; there are {', '.join(TABLES)}")
        show(table_block(name, TABLES[name](self.facts)))

    def numbers(self) -> None:
        """Show every number of the record with its key, how and from what it was made, and the call for it."""
        for heading, entries in self._by_analysis():
            lines = [self._line(entry) for entry in entries]
            columns = ("Key", "Value", "n", "Made by", "From")
            show(table_block(f"numbers_{heading}", Table.build(f"Numbers: {heading}", columns, lines, left=(3, 4))))
        call = "outcomes.analyse(outcomes.Study.open(FOLDER)).record[KEY]"
        show(
            lines_block("text", "call", [f"The call that makes any of them again: {call}. Its .value is not rounded."])
        )

    def _by_analysis(self) -> Iterator[tuple[str, list[Entry]]]:
        found: dict[str, list[Entry]] = {}
        for entry in self.facts.record.entries.values():
            found.setdefault(entry.key.partition("/")[0], []).append(entry)
        yield from found.items()

    def _line(self, entry: Entry) -> tuple[str, ...]:
        made = _made_by(entry.method)
        sources = ", ".join(entry.inputs) or "not recorded"
        return entry.key, self._value(entry), self._people(entry), made, fmt.clean(sources, 300)

    def _people(self, entry: Entry) -> str:
        return fmt.number(entry.n_people) if self.facts.synthetic else self.facts.small.count(entry.n_people)

    def _value(self, entry: Entry) -> str:
        if entry.status != "estimated" or entry.value is None:
            return f"{entry.status}: {fmt.clean(entry.reason, 200) or 'no reason given'}"
        if not self.facts.synthetic and self._withheld(entry):
            return NOT_SHOWN
        if isinstance(entry.value, str):
            return fmt.clean(entry.value, 80)
        places = 0 if isinstance(entry.value, int) else fmt.MOST_DECIMALS
        unit = printed_unit(entry.unit)
        text = f"{fmt.number(entry.value, places)} {unit}".rstrip()
        if entry.interval is not None:
            ends = f"{fmt.number(entry.interval.low, places)} to {fmt.number(entry.interval.high, places)}"
            text += f" ({fmt.level_words(entry.interval.level)} {ends})"
        return f"{text}, {fmt.p_value(entry.test.p)}" if entry.test is not None else text

    def _withheld(self, entry: Entry) -> bool:
        """Return whether a number of a real study counts few people, or could give a count of few away."""
        if self.facts.small.hides(entry.n_people):
            return True
        counts = entry.method.startswith(("count", "share"))
        return counts and entry.key.partition("/")[0] not in ALWAYS

    def methods(self) -> None:
        """Show the sentence of every method and caveat."""
        record = self.facts.record
        lines = [f"{name}: {fmt.clean(text)}" for name, text in sorted(record.methods.items())]
        lines += [f"Caveat {name}: {fmt.clean(text)}" for name, text in sorted(record.caveats.items())]
        show(lines_block("text", "methods", lines or ["No method note."], as_list=True))

    def varied(self) -> None:
        """Show the outcome by the protocol and in this record, where a choice was changed; else how to change one."""
        if self.protocol_facts is None:
            ways = [
                "outcomes report FOLDER --for class --set minimal_change=none",
                'outcomes report FOLDER --for class --set "dose_window=since last visit"',
                "outcomes report FOLDER --for class --set dose_lag=7",
                "outcomes report FOLDER --for class --set analysis.alpha=0.1",
                "outcomes report FOLDER --for class --set analysis.compare=week0,week8",
            ]
            lines = ["This is the protocol's own analysis. Change one choice and look at what moves:", *ways]
            show(lines_block("text", "varied", lines))
            return
        changed = "; ".join(self.facts.changed_choices)
        pairs = both_numbers(self.protocol_facts, self.facts)
        columns = ("Number", "By the protocol", "In this record")
        show(table_block("varied", Table.build(f"Differs from protocol: {changed}", columns, pairs, left=(1, 2))))

    def exercise(self, key: str) -> None:
        """Show one exercise: its data, its task, and whether the answer given is right."""
        if key not in exercises():
            raise UsageError(f"there is no exercise '{key}'; there are {', '.join(exercises())}")
        one = exercises()[key]
        show(lines_block("exercise", f"task_{key}", [f"{one.title}. The data are invented.", *one.task]))
        show(table_block(f"data_{key}", one.data))
        show(lines_block("text", f"answer_{key}", [one.check(self.answers.get(key, ""))]))


def _made_by(method: str) -> str:
    """Return where the function of a method lives: the room whose notes explain it."""
    from importlib import import_module

    for room in ROOMS:
        try:
            notes = getattr(import_module(f"outcomes.{room}"), "METHODS", {})
        except ModuleNotFoundError:
            continue
        if method in notes:
            return f"outcomes.{room}, {method}"
    return f"outcomes.analysis, {method}" if method else "not estimated"


def open_class_report(
    *, study: str, record: str = "", reader: str = "class", measure: str = "", contrast: str = "",
    dose_metric: str = "", dose_window: str = "", dose_lag: str = "", limbs: str = "", minimal_change: str = "",
    paper: str = "A4", public: bool = False, who: str = "",
    answer_work: str = "", answer_swap: str = "", answer_limbs: str = "", answer_time: str = "",
) -> ClassReport:  # fmt: skip
    """Open one record of a study for a class.

    Parameters
    ----------
    study : str
        The study folder.
    record : str
        Name of a folder under ``results``; empty for the latest.
    reader : str
        "class".
    measure, contrast, dose_metric : str
        What the report is about, of what the record holds; empty for the protocol's own.
    dose_window, dose_lag, limbs, minimal_change : str
        What the record was analysed with; another choice is another analysis, which `write_report` runs, and is refused
        here.
    paper : {"A4", "Letter"}
    public : bool
        No marks of persons, and the larger minimum of people; a real study has no marks of persons here anyway.
    who : str
        For the participant's page only.
    answer_work, answer_swap, answer_limbs, answer_time : str
        The student's answers to the exercises; empty while not answered.

    Returns
    -------
    ClassReport

    Raises
    ------
    UsageError
        A parameter does not fit this record or this reader.
    """
    if reader != "class":
        raise UsageError(f"this notebook writes the report of a class, not '{reader}'")
    if who:
        raise UsageError("'who' names a participant; the report of a class is about all of them")
    folder = Path(study)
    facts, results = open_facts(folder, record, measure=measure, contrast=contrast, dose_metric=dose_metric,
                                public=public)  # fmt: skip
    if not facts.synthetic:
        facts, _ = open_facts(folder, record, measure=measure, contrast=contrast, dose_metric=dose_metric, public=True)
    refuse_other_analysis(
        facts, reader,
        {"dose_window": dose_window, "dose_lag": dose_lag, "limbs": limbs, "minimal_change": minimal_change},
    )  # fmt: skip
    run = json.loads((results / "run.json").read_text(encoding="utf-8")) if (results / "run.json").is_file() else {}
    answers = {"work": answer_work, "swap": answer_swap, "limbs": answer_limbs, "time": answer_time}
    planned = planned_facts(folder, results) if facts.meta.get("changed_choices") else None
    return ClassReport(facts, Figures(facts, People(results / "people")), run, paper, planned, answers)
