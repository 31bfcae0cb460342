"""Which sheets and columns a study's data-entry workbook needs: from the protocol and its measures' definitions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import TYPE_CHECKING, Literal

from outcomes.errors import DefinitionError, Problem, near_word
from outcomes.units import printed_unit
from outcomes.vocabulary import ABSENT_WORDS, TABLES, Column

if TYPE_CHECKING:
    from outcomes.measures import Catalogue, Definition
    from outcomes.measures.schema import Item
    from protocols.schema import MeasurePlan, Protocol

Form = Literal["text", "number", "day", "moment"]
"""How cells are formatted: text keeps a grade such as ``1+`` as it is typed."""

TITLE_LIMIT = 31
"""Characters of a sheet name, by the file format."""

OCCASIONS = ("first", "second", "third")
"""Words offered for the occasion of a repeat test; others may be typed."""


@dataclass(frozen=True)
class EntryColumn:
    """One column of an entry sheet.

    Parameters
    ----------
    heading : str
    form : {"text", "number", "day", "moment"}
    words : tuple of str
        Words of the drop-down; empty where anything may be typed.
    closed : bool
        Whether other words are refused while typing.
    low, high : float, optional
        Hard range of a number, in `unit`; an end may be infinite.
    unit : str
        UCUM code; empty where there is none.
    about : str
        What belongs there, in one sentence.
    mapping : dict of str to str
        Columns of columns.csv besides sheet and heading; empty where sheet and heading bear the names of a table and of
        its column, which need no line there.
    """

    heading: str
    form: Form
    about: str
    mapping: dict[str, str]
    words: tuple[str, ...] = ()
    closed: bool = True
    low: float | None = None
    high: float | None = None
    unit: str = ""

    @property
    def help(self) -> str:
        """Unit, allowed words and range, for the person who types."""
        parts = [self.about]
        if self.unit:
            parts.append(f"Unit: {printed_unit(self.unit)}.")
        if self.words:
            parts.append(f"{'One of' if self.closed else 'Such as'}: {', '.join(self.words)}.")
        parts += [f"At least {low:g}." for low in (self.low,) if low is not None and isfinite(low)]
        parts += [f"At most {high:g}." for high in (self.high,) if high is not None and isfinite(high)]
        return " ".join(parts)


@dataclass(frozen=True)
class EntrySheet:
    """One sheet of the workbook: its name, what one row is, and its columns."""

    title: str
    row: str
    columns: tuple[EntryColumn, ...]


@dataclass
class _Wanted:
    """What the entries of ``[[measures]]`` for one measure and version ask for together."""

    definition: Definition
    version: str = ""
    places: list[str] = field(default_factory=list)
    sides: list[str] = field(default_factory=list)
    visits: list[str] = field(default_factory=list)
    repeats: bool = False


def layout(protocol: Protocol, catalogue: Catalogue) -> tuple[EntrySheet, ...]:
    """Return the sheets of the entry workbook.

    Parameters
    ----------
    protocol : Protocol
    catalogue : Catalogue
        Must hold every measure that the protocol names.

    Returns
    -------
    tuple of EntrySheet
        Tables first (participants always; sessions and prescriptions where training is planned; events where harms are
        collected in a table; changes), then one sheet a measure, then one for the repeat tests of each measure whose
        minimal change comes from the clinic's own repeats.

    Raises
    ------
    DefinitionError
        A measure or version that the catalogue does not hold.
    """
    retest = protocol.study.design == "test-retest"
    wanted = _wanted(protocol, catalogue)
    sheets = [_table_sheet(name, protocol) for name in _tables(protocol)]
    titles = {sheet.title for sheet in sheets}
    if not retest:
        sheets += [_answer_sheet("assessments", one, titles) for one in wanted]
    sheets += [_answer_sheet("repeats", one, titles) for one in wanted if one.repeats or retest]
    return tuple(sheets)


def _tables(protocol: Protocol) -> Iterator[str]:
    yield "participants"
    if protocol.study.design == "test-retest":
        return
    if protocol.training is not None:
        yield "prescriptions"
        yield "sessions"
    if protocol.harms.collection == "table":
        yield "events"
    yield "changes"


def _wanted(protocol: Protocol, catalogue: Catalogue) -> list[_Wanted]:
    found: dict[tuple[str, str], _Wanted] = {}
    problems: list[Problem] = []
    visits = [visit.key for visit in protocol.visits]
    for i, plan in enumerate(protocol.measures):
        problem = _unknown(plan, i, protocol, catalogue)
        if problem is not None:
            problems.append(problem)
            continue
        definition = catalogue.get(plan.measure, plan.version)
        one = found.setdefault((plan.measure, plan.version or ""), _Wanted(definition, plan.version or ""))
        one.places += [place for place in plan.places or definition.rows.place if place not in one.places]
        sides = plan.sides or (("left", "right") if definition.rows.side else ())
        one.sides += [side for side in sides if side not in one.sides]
        one.visits += [visit for visit in plan.visits or visits if visit not in one.visits]
        one.repeats = one.repeats or plan.minimal_change == "own"
    if problems:
        raise DefinitionError(problems)
    for one in found.values():
        one.visits.sort(key=visits.index)
    return list(found.values())


def _unknown(plan: MeasurePlan, i: int, protocol: Protocol, catalogue: Catalogue) -> Problem | None:
    keys = tuple(catalogue.keys())
    if plan.measure not in keys:
        message = f"no measure '{plan.measure}'{near_word(plan.measure, keys)}"
        return protocol.source.problem(("measures", i, "measure"), message)
    versions = catalogue.versions(plan.measure)
    if plan.version is not None and plan.version not in versions:
        message = f"'{plan.version}' is not one of {', '.join(versions)}"
        return protocol.source.problem(("measures", i, "version"), message)
    return None


def _table_sheet(name: str, protocol: Protocol) -> EntrySheet:
    columns = [
        _table_column(name, column, protocol)
        for column in TABLES[name].columns
        if column.name != "group" or protocol.groups
    ]
    rows = {
        "participants": "one person",
        "prescriptions": "what one person is to do from a day on, where it differs from the protocol",
        "sessions": "one session, also one that was missed or cancelled",
        "events": "one adverse event",
        "changes": "one change of medicine, therapy, chair, walking aid, or an illness",
    }
    return EntrySheet(name, rows[name], tuple(columns))


def _table_column(table: str, column: Column, protocol: Protocol) -> EntryColumn:
    needed = column.name in TABLES[table].required_columns
    mapping: dict[str, str] = {}
    if column.name == "group":
        words = tuple(word for group in protocol.groups for word in (group.key, *group.words))
        return EntryColumn("group", "text", "Group of the person.", mapping, words)
    abouts = {
        "id": "A code, never a name or a number of the hospital.",
        "number": "A number.",
        "integer": "A whole number.",
        "date": "A day, such as 2026-03-31.",
        "moment": "A day and a time of day, such as 2026-03-31 09:30.",
        "key": "A word of small letters, digits and _.",
    }
    about = abouts.get(column.kind, "Free text." if not column.words else "A word of the list.")
    forms: dict[str, Form] = {"number": "number", "integer": "number", "date": "day", "moment": "moment"}
    return EntryColumn(
        column.name,
        forms.get(column.kind, "text"),
        f"Needed. {about}" if needed else about,
        mapping,
        column.words,
        unit=column.unit,
    )


def _answer_sheet(table: str, wanted: _Wanted, titles: set[str]) -> EntrySheet:
    """Return the sheet of one measure: who and when, then a column for each place, side, trial and item."""
    measure = wanted.definition.key
    title = _title(measure, "" if table == "assessments" else " repeats", titles)
    time, words, closed = ("visit", tuple(wanted.visits), True)
    if table == "repeats":
        time, words, closed = ("occasion", OCCASIONS, False)
    shared = {"table": table}
    fixed = [
        EntryColumn("participant_id", "text", "Needed. The code of the sheet participants.", shared),
        EntryColumn(time, "text", f"Needed. The {time}.", shared, words, closed),
        EntryColumn("assessed_at", "moment", "Day and time of day, such as 2026-03-31 09:30.", shared),
        EntryColumn("rater", "text", "A code of the person who measured.", shared),
        EntryColumn("absent_because", "text", "Why answers of this row are not there.", shared, ABSENT_WORDS),
    ]
    fixed = [_with_column(column) for column in fixed]
    answers = list(_answer_columns(table, wanted, {column.heading for column in fixed}))
    return EntrySheet(title, f"one person at one {time}", (*fixed, *answers))


def _with_column(column: EntryColumn) -> EntryColumn:
    return replace(column, mapping={**column.mapping, "column": column.heading})


def _title(measure: str, ending: str, titles: set[str]) -> str:
    """Return a sheet name that fits the format and is not taken."""
    title = measure[: TITLE_LIMIT - len(ending)] + ending
    number = 2
    while title in titles:
        tail = f" {number}{ending}"
        title, number = measure[: TITLE_LIMIT - len(tail)] + tail, number + 1
    titles.add(title)
    return title


def _answer_columns(table: str, wanted: _Wanted, taken: set[str]) -> Iterator[EntryColumn]:
    """Yield the answers in the order in which they are taken: what holds for the whole visit, then place by place."""
    rows, answers = wanted.definition.rows, wanted.definition.answers
    trials = range(1, rows.trial.max + 1) if rows.trial is not None else (None,)
    for item in wanted.definition.context:
        yield _answer_column(table, wanted, item, "", "", None, taken, named=True)
    for place in wanted.places or [""]:
        for side in wanted.sides or [""]:
            for trial in trials:
                for item in answers:
                    named = len(answers) > 1 or not (place or side)
                    yield _answer_column(table, wanted, item, place, side, trial, taken, named=named)


def _answer_column(
    table: str,
    wanted: _Wanted,
    item: Item,
    place: str,
    side: str,
    trial: int | None,
    taken: set[str],
    *,
    named: bool,
) -> EntryColumn:
    number = "" if trial is None else str(trial)
    heading = " ".join(part for part in (place, side, item.key if named else "", number) if part)
    if heading in taken:
        heading = f"{wanted.definition.key} {heading}"
    taken.add(heading)
    mapping = {
        "table": table,
        "column": "response",
        "unit": item.unit,
        "measure": wanted.definition.key,
        "version": wanted.version,
        "item": item.key,
        "place": place,
        "side": side,
        "trial": number,
    }
    codes = (*item.codes, *item.words)
    if codes or item.free_text:
        words = (*codes, *wanted.definition.rows.absent_words) if codes else ()
        about = "One grade or word, as it is." if codes else "Free text."
        return EntryColumn(heading, "text", about, mapping, words)
    low, high = item.range or (None, None)
    return EntryColumn(heading, "number", "A number.", mapping, low=low, high=high, unit=item.unit)
