"""A proposal for columns.csv: what the headings that nobody has mapped yet may mean. A person decides."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.errors import DesignError
from outcomes.intake.collector import Collector
from outcomes.intake.dates import formats_for, order_of
from outcomes.intake.mapping import read_mappings
from outcomes.intake.readers import Contents, read_settings, read_tables
from outcomes.intake.settings import read_words
from outcomes.intake.suggest_words import WordSuggestion, effects, read_with, suggest_words
from outcomes.units import conversion_factor
from outcomes.vocabulary import ANSWER_TABLES, COLUMNS_CSV, TABLES, Table

if TYPE_CHECKING:
    from outcomes.intake.intake import Intake
    from outcomes.intake.raw import Sheet
    from outcomes.measures import Catalogue, Definition
    from protocols.schema import Protocol

ALIASES: dict[str, str] = {
    "id": "participant_id",
    "code": "participant_id",
    "participant": "participant_id",
    "person": "participant_id",
    "gender": "sex",
    "arm": "group",
    "weight": "body_mass_kg",
    "mass": "body_mass_kg",
    "height": "height_cm",
    "diagnosis": "condition",
    "therapist": "rater",
    "assessor": "rater",
    "examiner": "rater",
    "score": "response",
    "value": "response",
    "result": "response",
}
"""Headings that clinics use, and the column they usually mean; common practice, no source."""

OTHER_NAMES = {
    "participant_id": "patient patienten_nr patienten_id teilnehmer proband patient_id paciente participante nr",
    "sex": "geschlecht sexe sexo sesso",
    "age_years": "age alter âge edad età",
    "group": "gruppe groupe grupo gruppo",
    "height_cm": "größe körpergröße taille altura altezza",
    "body_mass_kg": "gewicht körpergewicht poids peso",
    "enrolled_on": "enrolled enrolment enrollment inclusion einschluss einschlussdatum date_d_inclusion",
    "condition": "diagnose diagnostic diagnóstico diagnosi",
    "visit": "time_point timepoint besuch messzeitpunkt zeitpunkt visite visita",
    "measure": "test messung mesure medida misura instrument",
    "place": "site ort stelle lieu lugar",
    "side": "seite côté lado lato",
    "response": "wert messwert ergebnis valeur résultat valor valore",
    "rater": "untersucher therapeut examinateur evaluador",
    "note": "bemerkung remarque comment comments observaciones",
}
"""Columns and more names that clinics give them, also in other languages; common practice, no source."""

ALIASES |= {name: column for column, names in OTHER_NAMES.items() for name in names.split()}

BEFORE = frozenset({"pre", "before", "baseline", "start", "first"})
AFTER = frozenset({"post", "after", "end", "final", "last"})
SIDE_WORDS = {"l": "left", "left": "left", "r": "right", "right": "right"}
CLOSE = 0.75
"""Likeness of two spellings from which one is proposed for the other (difflib ratio)."""

CLOSER = 0.85
"""The same where the table of a heading is not known either."""


@dataclass(frozen=True)
class Suggestion:
    """A columns.csv that may be right.

    Parameters
    ----------
    text : str
        The rows that columns.csv already has, then those that are proposed.
    proposed : int
        Number of proposed rows.
    unknown : tuple of (str, str)
        File (and sheet) and heading of what nothing fits; kept as extra columns unless mapped.
    words : WordSuggestion
        A words.csv that may be right, for the words that are not understood once the columns are.
    effects : tuple of str
        What both together would do to each column, a line each.
    """

    text: str
    proposed: int
    unknown: tuple[tuple[str, str], ...]
    words: WordSuggestion
    effects: tuple[str, ...]


def suggest_columns(folder: str | Path, protocol: Protocol, catalogue: Catalogue) -> Suggestion:
    """Propose a columns.csv for the headings of a study folder that are not understood yet.

    Parameters
    ----------
    folder : path
    protocol : Protocol
        Its measures and visits are looked for in the headings.
    catalogue : Catalogue

    Returns
    -------
    Suggestion
        Nothing is written.
    """
    folder, found, contents = Path(folder), Collector(), Contents()
    read_settings(folder, contents, found)
    raw = contents.settings.get("columns.csv")
    mapped = read_mappings(raw, protocol, catalogue, found)
    known = {heading for table in TABLES.values() for heading in table.by_heading} | {one.heading for one in mapped}
    read_tables(folder, protocol.intake, known, contents, found)
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS_CSV, lineterminator="\n", restval="")
    writer.writeheader()
    for one in mapped:
        writer.writerow(
            {
                "sheet": one.sheet, "heading": one.heading, "table": one.table, "column": one.column,
                "unit": one.unit, "format": one.format, **one.fixed,
            }
        )  # fmt: skip
    proposed, unknown = 0, []
    reader = _Headings(protocol, tuple(_planned(protocol, catalogue)))
    for sheet in contents.sheets:
        taken = {one.heading for one in mapped if not one.sheet or one.sheet in sheet.names}
        for heading, row in reader.read(sheet, taken):
            if row:
                proposed += 1
                writer.writerow({"sheet": sheet.name or sheet.file, "heading": heading, **row})
            else:
                unknown.append((sheet.title, heading))
    text = out.getvalue()
    first = read_with(folder, text, None, protocol, catalogue)
    dated = _with_formats(text, first, contents.sheets)
    declared = read_words(contents.settings.get("words.csv"), protocol.intake, found)
    words = WordSuggestion({}, {}, declared)
    final = read_with(folder, dated, words.text, protocol, catalogue)
    while (more := suggest_words(final.findings, words, protocol)) != words:
        words = more  # a word inside a key hides the words of its row until it is understood
        final = read_with(folder, dated, words.text, protocol, catalogue)
    proposed += dated.count("\n") - text.count("\n")
    return Suggestion(dated, proposed, tuple(unknown), words, tuple(effects(final)))


def _with_formats(text: str, first: Intake, sheets: Sequence[Sheet]) -> str:
    """Return the proposal with the format of each column of dates whose own cells can be read in one order only."""
    rows = list(csv.DictReader(io.StringIO(text)))
    for finding in first.findings:
        if finding.rule != "ambiguous_date" or finding.grade != "block":
            continue
        sheet = next(one for one in sheets if (one.file, one.name) == (finding.file, finding.sheet))
        cells = sheet.columns[sheet.headings.index(finding.column)].tolist()
        day_first, month_first = order_of(cells)
        if bool(day_first) == bool(month_first):
            continue
        pattern = formats_for(day_first or month_first)[0 if day_first else 1]
        mine = [row for row in rows if row["heading"] == finding.column and row["sheet"] in ("", *sheet.names)]
        if not mine:
            name = sheet.name or sheet.file
            mine = [dict.fromkeys(COLUMNS_CSV, "") | {"sheet": name, "heading": finding.column, "table": finding.table}]
            mine[0]["column"] = finding.column
            rows += mine
        for row in mine:
            row["format"] = pattern
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS_CSV, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _planned(protocol: Protocol, catalogue: Catalogue) -> Iterator[Definition]:
    """Yield the definition of every measure of the protocol that exists, once."""
    known = set(catalogue.keys())
    for key in dict.fromkeys(plan.measure for plan in protocol.measures):
        if key in known:
            yield catalogue.get(key)


@dataclass(frozen=True)
class _Headings:
    """Reads headings in the light of one protocol."""

    protocol: Protocol
    definitions: tuple[Definition, ...]

    def read(self, sheet: Sheet, taken: set[str]) -> Iterator[tuple[str, dict[str, str]]]:
        """Yield every heading that is not understood yet, and the rest of its row; empty where nothing fits."""
        table = _table(sheet)
        headings = [heading for heading in sheet.headings if heading]
        own = set(table.by_heading) if table else set()
        free = [heading for heading in headings if heading not in taken and heading not in own]
        missing = sorted(own - set(headings))
        if table is None and any(self._answer(heading) for heading in free):
            table = TABLES["assessments"]  # a wide sheet: its ids are those of its answers
            missing = sorted(set(table.by_heading) - set(headings) - {"response"})
        for heading in free:
            column, answer = _column(heading, table, missing), self._answer(heading)
            wide = table is None or table.name in ANSWER_TABLES
            yield heading, (answer or column) if wide else (column or answer)

    def _answer(self, heading: str) -> dict[str, str]:
        """Return the answer that a wide heading such as ``thigh L pre`` may stand for."""
        words = _words(heading)
        visit = self._visit(words)
        side = next((SIDE_WORDS[word] for word in words if word in SIDE_WORDS), "")
        best: dict[str, str] = {}
        for definition in self.definitions:
            place = _place(definition, words)
            named = bool(set(_words(definition.key)) & set(words)) or definition.key.replace("_", "") in words
            if not (place or named) or not (visit or side or place):
                continue
            items = [item.key for item in definition.items if set(_words(item.key)) & set(words)]
            main = items or list(definition.main_scale.items[:1])
            row = {"table": "assessments", "column": "response", "visit": visit, "measure": definition.key}
            row |= {"item": main[0] if main else "", "place": place, "side": side if definition.rows.side else ""}
            trial = next((word for word in reversed(words) if re.fullmatch(r"[1-9]", word)), "")
            row["trial"] = trial if definition.rows.trial else ""
            if sum(bool(value) for value in row.values()) > sum(bool(value) for value in best.values()):
                best = row
        return best

    def _visit(self, words: Sequence[str]) -> str:
        compare = self.protocol.analysis.compare or ()
        for visit in self.protocol.visits:
            names = ({visit.key}, set(_words(visit.label)), set(_words(visit.key)))
            if any(name and name <= set(words) for name in names):
                return visit.key
        for marks, position in ((BEFORE, 0), (AFTER, 1)):
            if compare and marks & set(words):
                return compare[position]
        return ""


SHEETS = {
    "participants": "patients patient patienten teilnehmer probanden people pacientes",
    "assessments": "measurements tests messungen messwerte mesures mediciones",
    "sessions": "training trainings sitzungen einheiten séances sesiones",
}
"""Tables, and names that clinics give to their sheets and files; common practice, no source."""


def _table(sheet: Sheet) -> Table | None:
    """Return the table that a sheet or file is named after, or nearly."""
    names = [name.strip().lower() for name in (sheet.name, sheet.file.rpartition(".")[0]) if name]
    for name in names:
        near = [name] if name in TABLES else [table for table, names in SHEETS.items() if name in names.split()]
        near = near or get_close_matches(name, list(TABLES), n=1, cutoff=CLOSE)
        if near:
            return TABLES[near[0]]
    return None


def _words(text: str) -> list[str]:
    """Return the words of a heading in small letters, numbers apart from letters (``week0`` is ``week``, ``0``)."""
    return re.findall(r"[^\W\d_]+|\d+", text.lower())


def _place(definition: Definition, words: Sequence[str]) -> str:
    """Return the place that a heading names: all of its words, else the one place that shares its main word."""
    whole = [place for place in definition.rows.place if set(_words(place)) <= set(words)]
    if whole:
        return max(whole, key=len)
    told = {word for word in words if len(word) > 2}
    part = [place for place in definition.rows.place if told & set(_words(place))]
    return part[0] if part else ""


def _column(heading: str, table: Table | None, missing: Sequence[str]) -> dict[str, str]:
    """Return the column of a table that a heading may mean, with its unit where one stands in the heading."""
    base, unit = _unit(heading)
    name = "_".join(_words(base))
    tables = [table] if table else [TABLES["participants"], TABLES["assessments"], TABLES["sessions"]]
    for one in tables:
        free = [h for h in one.by_heading if table is None or h in missing]
        plain = {_without_unit(one, h): h for h in free}
        column = next((h for h in (name, ALIASES.get(name, ""), plain.get(name, "")) if h in free), "")
        if not column:
            near = get_close_matches(name, [*free, *plain], n=1, cutoff=CLOSE if table else CLOSER)
            column = plain.get(near[0], near[0]) if near else ""
        if column:
            return {"table": one.name, "column": column, "unit": _fitting(unit, one.by_heading[column].unit)}
    return {}


def _without_unit(table: Table, heading: str) -> str:
    return heading.rpartition("_")[0] if table.by_heading[heading].unit and "_" in heading else heading


def _unit(heading: str) -> tuple[str, str]:
    """Return a heading without the unit in brackets, and that unit."""
    at = re.search(r"[(\[]([^)\]]+)[)\]]\s*$", heading)
    return (heading[: at.start()], at[1].strip()) if at else (heading, "")


def _fitting(given: str, wanted: str) -> str:
    """Return `given` where it is another unit of the same kind as the column's."""
    try:
        return given if given and wanted and conversion_factor(given, wanted) != 1.0 else ""
    except DesignError:
        return ""
