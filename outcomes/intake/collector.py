"""Findings of all tables, gathered; the query id of those that ask; what of the clinic's text may be echoed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

from outcomes.errors import GRADES, Finding, Grade

if TYPE_CHECKING:
    from outcomes.intake.drafts import Draft
    from outcomes.intake.raw import Integers

IDENTIFYING_WORDS = frozenset(
    [
        "name",
        "names",
        "surname",
        "firstname",
        "lastname",
        "forename",
        "nachname",
        "vorname",
        "nom",
        "prenom",
        "apellido",
        "nombre",
        "cognome",
        "initials",
        "initialen",
        "dob",
        "birth",
        "birthday",
        "birthdate",
        "born",
        "geburtsdatum",
        "geburtstag",
        "naissance",
        "nacimiento",
        "mrn",
        "nhs",
        "ssn",
        "hospital",
        "record",
        "address",
        "adresse",
        "strasse",
        "street",
        "direccion",
        "indirizzo",
        "zip",
        "postcode",
        "postal",
        "plz",
        "phone",
        "telephone",
        "telefon",
        "mobile",
        "handy",
        "tel",
        "fax",
        "email",
        "mail",
        "kin",
        "contact",
        "insurance",
        "versicherung",
        "passport",
    ]
)
"""Words of a heading behind which an identifying value may stand, in several languages (common practice, no source)."""


@cache
def identifying(heading: str) -> bool:
    """Whether a heading contains a word behind which an identifying value may stand.

    Examples
    --------
    >>> identifying("Nachname"), identifying("date_of_birth"), identifying("E-Mail"), identifying("session_id")
    (True, True, True, False)
    """
    words = re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading).lower())
    return not IDENTIFYING_WORDS.isdisjoint(words)


@dataclass(frozen=True, slots=True)
class Target:
    """What a query is about: cells of a column, or whole rows where the column is empty."""

    table: str
    rows: tuple[int, ...]
    column: str


def query_id(file: str, sheet: str, row: int | None, column: str, rule: str, found: str) -> str:
    """Return the id of a query: the same as long as the cell, its text and the rule are the same."""
    content = "\x1f".join((file, sheet, str(row or ""), column, rule, found))
    return "q" + hashlib.sha256(content.encode("utf-8")).hexdigest()[:8]


def _is_left(drafts: Mapping[str, Draft], target: Target) -> bool:
    """Whether a row that a query is about is still used, and its cell has not been emptied."""
    from outcomes.intake.drafts import EMPTIED, USED

    draft = drafts.get(target.table)
    if draft is None:
        return True
    state = draft.state.get(target.column)
    return any(draft.row_state[row] == USED and (state is None or state[row] != EMPTIED) for row in target.rows)


@dataclass(slots=True)
class Collector:
    """Findings in the order of discovery, each once, and the targets of the queries among them."""

    _items: dict[Finding, None] = field(default_factory=dict)
    _asked: dict[str, list[Finding]] = field(default_factory=dict)
    targets: dict[str, list[Target]] = field(default_factory=dict)

    @property
    def blocked(self) -> bool:
        """Whether a finding stops the run whatever the protocol says."""
        return any(finding.grade == "block" for finding in self._items)

    def add(
        self,
        grade: Grade,
        rule: str,
        expected: str,
        *,
        file: str = "",
        sheet: str = "",
        table: str = "",
        row: int | None = None,
        column: str = "",
        participant: str = "",
        found: str = "",
        remedy: str = "",
        targets: Sequence[Target] = (),
    ) -> None:
        """Add one finding; a finding that asks gets its query id, and `targets` is what an answer would set aside."""
        query = query_id(file, sheet, row, column, rule, found) if grade == "ask" else ""
        finding = Finding(
            grade=grade,
            rule=rule,
            expected=expected,
            file=file,
            sheet=sheet,
            table=table,
            row=row,
            column=column,
            participant=participant,
            found="" if identifying(column) else found,
            remedy=remedy,
            query=query,
        )
        self._items.setdefault(finding)
        if query:
            self._asked.setdefault(query, []).append(finding)
        if query and targets:
            self.targets.setdefault(query, []).extend(targets)

    def at(
        self,
        draft: Draft,
        rows: Integers,
        column: str,
        grade: Grade,
        rule: str,
        expected: str | Sequence[str],
        *,
        found: Sequence[str] | None = None,
        remedy: str = "",
        aside: str | None = None,
    ) -> None:
        """Add one finding a row of a table, at the cell of `column`; the decision "set_aside" concerns the column
        `aside`: by default the same, a part of the key for the whole row, "" for nothing."""
        target = column if aside is None else aside
        for i, row in enumerate(rows.tolist()):
            place = draft.place(row, column)
            self.add(
                grade,
                rule,
                expected if isinstance(expected, str) else expected[i],
                file=place.file,
                sheet=place.sheet,
                table=draft.name,
                row=place.row,
                column=place.heading,
                participant=draft.participant(row),
                found=draft.shown_text(row, column) if found is None else found[i],
                remedy=remedy,
                targets=[Target(draft.name, (row,), target)] if target else (),
            )

    def over(
        self,
        draft: Draft,
        rows: Integers,
        column: str,
        grade: Grade,
        rule: str,
        expected: str,
        *,
        found: str | None = None,
        remedy: str = "",
    ) -> None:
        """Add one finding for many rows, at the first of them; `expected` says how many where that matters."""
        if not len(rows):
            return
        first = int(rows[0])
        place = draft.place(first, column)
        self.add(
            grade,
            rule,
            expected,
            file=place.file,
            sheet=place.sheet,
            table=draft.name,
            row=place.row,
            column=place.heading,
            participant=draft.participant(first) if len(rows) == 1 else "",
            found=draft.shown_text(first, column) if found is None else found,
            remedy=remedy,
            targets=[Target(draft.name, tuple(rows.tolist()), column)],
        )

    def answer(self, query: str) -> None:
        """Take a query out of the findings."""
        for finding in self._asked.pop(query, []):
            self._items.pop(finding, None)

    def drop_moot(self, drafts: Mapping[str, Draft]) -> None:
        """Take out the queries about values and rows of which nothing is left, as another finding set them aside."""
        for query in [query for query, asked in self._asked.items() if query in self.targets and asked[0].found]:
            if not any(_is_left(drafts, target) for target in self.targets[query]):
                self.answer(query)

    def sorted(self) -> list[Finding]:
        """Return all findings: those that stop first, then by file, sheet, row and column."""
        return sorted(
            self._items,
            key=lambda f: (GRADES.index(f.grade), f.file, f.sheet, f.row or 0, f.column, f.rule, f.found, f.expected),
        )
