"""A proposal for words.csv, and what a proposed mapping would do to each column. A person decides."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.intake.drafts import SET_ASIDE
from outcomes.vocabulary import TABLES, WORDS_CSV

if TYPE_CHECKING:
    from outcomes.errors import Finding
    from outcomes.intake.intake import Intake
    from protocols.schema import Protocol

MEANT: dict[str, dict[str, str]] = {
    "side": {
        "l": "left", "li": "left", "links": "left", "izquierda": "left", "gauche": "left", "sinistra": "left",
        "lt": "left", "r": "right", "re": "right", "rechts": "right", "derecha": "right", "droite": "right",
        "destra": "right",
        "rt": "right", "b": "both", "bilateral": "both", "beide": "both",
    },
    "sex": {
        "f": "female", "w": "female", "woman": "female", "weiblich": "female", "femme": "female", "mujer": "female",
        "m": "male", "man": "male", "male": "male", "mann": "male", "h": "male", "homme": "male", "hombre": "male",
        "m\u00e4nnlich": "male", "d": "other",
    },
    "status": {
        "yes": "done", "completed": "done", "complete": "done", "ok": "done", "attended": "done", "held": "done",
        "no": "missed", "absent": "missed", "dna": "missed", "no show": "missed", "stopped": "shortened",
        "partial": "shortened", "canceled": "cancelled",
    },
    "setting": {"hospital": "clinic", "centre": "clinic", "center": "clinic", "house": "home"},
    "mode": {"leg": "legs", "arm": "arms", "lower": "legs", "upper": "arms"},
    "severity": {"1": "mild", "2": "moderate", "3": "severe", "serious": "severe", "light": "mild"},
    "absent_because": {"not done": "not_tested", "nt": "not_tested", "unable to do": "unable", "n/a": "not_applicable"},
}  # fmt: skip
"""Words that clinics type, by column, and what they usually mean; common practice, no source."""

BEFORE = ("pre", "pre-test", "pretest", "before", "baseline", "t0", "start", "vorher", "antes", "avant", "0")
AFTER = ("post", "post-test", "posttest", "after", "end", "t1", "final", "nachher", "despu\u00e9s", "apr\u00e8s", "1")
"""Words for the two visits that are compared; common practice, no source."""

STATES = ((1, "as typed"), (2, "normalised"), (3, "emptied"))

WORD_RULES = (
    "not_a_word",
    "unknown_visit",
    "unknown_group",
    "not_a_key",
    "unknown_item",
    "unknown_place",
    "unknown_measure",
)
"""Rules of findings about a word that words.csv can settle."""


@dataclass(frozen=True)
class WordSuggestion:
    """A words.csv that may be right.

    Parameters
    ----------
    proposed : mapping of (str, str) to str
        Column and word as typed to what it may mean.
    unknown : mapping of (str, str) to None
        Column and word for which nothing fits.
    declared : mapping of str to mapping of str to str
        The rows that words.csv already has.
    """

    proposed: Mapping[tuple[str, str], str]
    unknown: Mapping[tuple[str, str], None]
    declared: Mapping[str, Mapping[str, str]]

    @property
    def text(self) -> str:
        """The rows that words.csv already has, then those that are proposed, as csv."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(WORDS_CSV)
        writer.writerows(
            (column, word, means) for column, words in self.declared.items() for word, means in words.items()
        )
        writer.writerows((column, word, means) for (column, word), means in self.proposed.items())
        return out.getvalue()


def suggest_words(findings: Iterable[Finding], earlier: WordSuggestion, protocol: Protocol) -> WordSuggestion:
    """Propose what the words mean that a check did not understand.

    Parameters
    ----------
    findings : iterable of Finding
        Of a reading with the earlier proposal.
    earlier : WordSuggestion
        What is proposed already; the answer holds it too.
    protocol : Protocol
    """
    proposed, unknown = dict(earlier.proposed), dict(earlier.unknown)
    for finding in findings:
        word = finding.found.strip()
        if finding.rule not in WORD_RULES or not word:
            continue
        column = _column(finding)
        meant = _meant(column, word, finding, protocol)
        if meant and (column, word) not in proposed:
            proposed[column, word] = meant
        elif column and not meant:
            unknown[column, word] = None
    return WordSuggestion(proposed, unknown, earlier.declared)


def _column(finding: Finding) -> str:
    """Return the column of the vocabulary that a finding is about, from what it expects where the heading differs."""
    table = TABLES.get(finding.table)
    if table is None:
        return ""
    by_rule = finding.rule.removeprefix("unknown_")
    if by_rule in table.by_name:
        return by_rule
    if finding.column in table.by_name:
        return finding.column
    listed = finding.expected.removeprefix("one of ").partition("; ")[0].split(", ")
    return next((column.name for column in table.columns if column.words and list(column.words) == listed), "")


def _meant(column: str, word: str, finding: Finding, protocol: Protocol) -> str:
    """Return what a word may mean: a usual word, the visit that it names, or the nearest of what is expected."""
    plain = word.casefold()
    if column == "visit":
        compare = protocol.analysis.compare or ()
        for words, position in ((BEFORE, 0), (AFTER, 1)):
            if compare and plain in words:
                return str(compare[position])
        keys = {visit.label.casefold(): visit.key for visit in protocol.visits}
        if plain in keys:
            return keys[plain]
    if plain in MEANT.get(column, {}):
        return MEANT[column][plain]
    listed = finding.expected.partition(": ")[2] or finding.expected.removeprefix("one of ")
    allowed = [part.strip() for part in listed.partition(";")[0].split(",")]
    near = get_close_matches(plain.replace(" ", "_").replace("-", "_"), allowed, n=1, cutoff=0.75)
    return near[0] if near else ""


def effects(intake: Intake) -> list[str]:
    """Return a line a column: how many cells would be read as typed, normalised or not at all, and their findings."""
    lines = []
    counts: dict[tuple[str, str, str], int] = {}
    for finding in intake.findings:
        if finding.column and finding.grade != "ask":
            key = (finding.file, finding.sheet, finding.column)
            counts[key] = counts.get(key, 0) + 1
    for name, draft in intake.ledger.drafts.items():
        for index, feed in enumerate(draft.feeds):
            sheet, mine = draft.sheets[feed.sheet], draft.feed == index
            for column, position in feed.headings.items():
                state = draft.state[column][mine]
                aside = draft.row_state[mine] == SET_ASIDE
                heading = sheet.headings[position]
                fixed = " ".join(f"{part} {text}" for part, text in feed.fixed.items() if column == "response")
                where = f"{name}.{column}" + (f" ({fixed})" if fixed else "")
                told = [
                    f"{int(((state == kind) & ~aside).sum())} {word}"
                    for kind, word in STATES
                    if ((state == kind) & ~aside).any()
                ]
                lost = int((aside & (state != 0)).sum())
                told += [f"{lost} in rows set aside"] if lost else []
                found = counts.get((sheet.file, sheet.name, heading), 0)
                told += [f"{found} findings"] if found else []
                lines.append(f"{sheet.title}, '{heading}' -> {where}: {', '.join(told) or 'no cells'}")
    return list(dict.fromkeys(lines))


def read_with(folder: Path, columns: str, words: str | None, protocol: Protocol, catalogue: object) -> Intake:
    """Read a study folder as if the proposed columns.csv and words.csv stood in it; nothing is written."""
    from outcomes.intake.intake import read_folder

    given = {"columns.csv": columns.encode("utf-8")} | ({} if words is None else {"words.csv": words.encode("utf-8")})
    return read_folder(folder, protocol, catalogue, settings=given)  # type: ignore[arg-type]
