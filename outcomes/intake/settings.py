"""The three small files of a study folder: columns.csv, words.csv, decisions.csv. A fault names its row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.intake.text_files import read_text_file
from outcomes.vocabulary import DECISIONS, DECISIONS_CSV, TABLES, WORDS_CSV

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from protocols.schema import IntakeRules


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a settings file: its spreadsheet row and its trimmed cells by heading."""

    row: int
    cells: dict[str, str]

    def __getitem__(self, heading: str) -> str:
        return self.cells.get(heading, "")


@dataclass(frozen=True, slots=True)
class Decision:
    """An answer to a query."""

    row: int
    query: str
    decision: str
    role: str
    date: str
    reason: str
    file: str = "decisions.csv"
    sheet: str = ""


def read_lines(
    name: str, raw: bytes, headings: Sequence[str], required: Sequence[str], rules: IntakeRules, found: Collector
) -> list[Line]:
    """Read a settings file; unknown and missing headings are refused."""
    try:
        raw.decode("utf-8-sig")
        encoding = None
    except UnicodeDecodeError:
        encoding = rules.encoding
    own = rules.model_copy(
        update={"encoding": encoding, "separator": None, "header_row": 1, "unit_row": None, "decimal": "."}
    )
    if not raw.strip():
        return []
    sheet = read_text_file(name, raw, own, headings, found)
    if sheet is None:
        return []
    for heading in sheet.headings:
        if heading not in headings:
            found.add(
                "block",
                "unknown_heading",
                f"one of {', '.join(headings)}{near_word(heading, headings)}",
                file=name,
                row=1,
                column=heading,
            )
    for heading in headings:
        count = sheet.headings.count(heading)
        if count > 1 or (heading in required and count == 0):
            rule = "duplicate_heading" if count else "missing_heading"
            found.add("block", rule, f"the heading '{heading}' once", file=name, row=1)
    return [
        Line(
            int(row),
            {heading: str(column[i]).strip() for heading, column in zip(sheet.headings, sheet.columns, strict=True)},
        )
        for i, row in enumerate(sheet.rows.tolist())
    ]


def read_words(raw: bytes | None, rules: IntakeRules, found: Collector) -> dict[str, dict[str, str]]:
    """Return the declared words: column to word as typed to what it means."""
    words: dict[str, dict[str, str]] = {}
    if raw is None:
        return words
    columns = {column for table in TABLES.values() for column in table.by_name}
    for line in read_lines("words.csv", raw, WORDS_CSV, WORDS_CSV, rules, found):
        column, word, means = line["column"], line["word"], line["means"]
        if column not in columns:
            expected = f"a column of a table{near_word(column, columns)}"
            found.add(
                "block", "unknown_column", expected, file="words.csv", row=line.row, column="column", found=column
            )
        elif not word or not means:
            empty = "word" if not word else "means"
            remedy = "Words that mean missing belong under [intake] missing_words in protocol.toml."
            found.add("block", "empty_word", "some text", file="words.csv", row=line.row, column=empty, remedy=remedy)
        elif words.setdefault(column, {}).setdefault(word, means) != means:
            expected = f"one meaning; an earlier row says '{words[column][word]}'"
            found.add("block", "two_meanings", expected, file="words.csv", row=line.row, column="means", found=means)
    return words


def read_decisions(raw: bytes | None, rules: IntakeRules, found: Collector) -> list[Decision]:
    """Return the answers to queries; a decision needs its role, date and reason."""
    if raw is None:
        return []
    return decisions_of(read_lines("decisions.csv", raw, DECISIONS_CSV, DECISIONS_CSV, rules, found), found)


def decisions_of(
    lines: Iterable[Line], found: Collector, *, file: str = "decisions.csv", sheet: str = ""
) -> list[Decision]:
    """Return the answers that rows of a file or sheet give, one a query; the others are refused by row."""
    decisions: dict[str, Decision] = {}
    for line in lines:
        fault = _decision_fault(line, decisions)
        if fault:
            column, expected = fault
            found.add(
                "block",
                "decision",
                expected,
                file=file,
                sheet=sheet,
                row=line.row,
                column=column,
                found=line[column],
            )
            continue
        query, decision, role, date, reason = (line[heading] for heading in DECISIONS_CSV)
        decisions.setdefault(query, Decision(line.row, query, decision, role, date, reason, file, sheet))
    return list(decisions.values())


def _decision_fault(line: Line, earlier: dict[str, Decision]) -> tuple[str, str] | None:
    """Return the heading and what would do, or None."""
    for heading in DECISIONS_CSV:
        if not line[heading]:
            return heading, "some text"
    if line["decision"] not in DECISIONS:
        return "decision", f"one of {', '.join(DECISIONS)}{near_word(line['decision'], DECISIONS)}"
    try:
        dt.date.fromisoformat(line["date"])
    except ValueError:
        return "date", "a day such as 2026-03-31"
    known = earlier.get(line["query"])
    if known is not None and known.decision != line["decision"]:
        return "decision", f"one answer a query; row {known.row} says '{known.decision}'"
    return None
