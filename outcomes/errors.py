"""Every error of the package, and the shape of one finding about the clinic's data.

OutcomesError                 anything a user can mend; printed without a traceback
├── DefinitionError           a TOML file (protocol, measure definition) is refused
├── DataError                 the clinic's data are refused; holds every finding, not only the first
├── DesignError               the data are valid, the statistic is not defined for them (also a ValueError)
├── UsageError                a command, option or parameter that does not exist or does not fit
└── PrivacyError              a privacy gate refused
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Literal

Grade = Literal["block", "set_aside", "ask"]
"""What happens to a wrong value: the run stops, the value becomes missing, or it is kept and asked about."""

GRADES: tuple[Grade, ...] = ("block", "set_aside", "ask")

PRINTED_FINDINGS = 20
"""Findings printed in full; the rest are counted and stand in ``results/check/findings.csv``."""

PRINTED_VALUE = 40
"""Characters of a found value that are printed."""


def printable(value: object, width: int = PRINTED_VALUE) -> str:
    """Return `value` as one short line: control characters made visible, cut at `width` characters.

    Examples
    --------
    >>> printable("a\\tb")
    'a\\\\tb'
    """
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in str(value))
    return text if len(text) <= width else text[: width - 1] + "…"


def near_word(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """Return ``"; did you mean 'x'?"`` for the known word nearest to `word`, whatever its case, or an empty text.

    Examples
    --------
    >>> near_word("alhpa", ["alpha", "seed"])
    "; did you mean 'alpha'?"
    >>> near_word("MAS", ["mas", "psfs"])
    "; did you mean 'mas'?"
    """
    from difflib import get_close_matches

    plain = {other.casefold(): other for other in sorted(known, reverse=True)}
    close = get_close_matches(word.casefold(), sorted(plain), n=1, cutoff=cutoff)
    return f"; did you mean '{plain[close[0]]}'?" if close else ""


class OutcomesError(Exception):
    """Base of all errors that a user can mend."""


class UsageError(OutcomesError):
    """A command, option or parameter that does not exist or does not fit."""


class PrivacyError(OutcomesError):
    """A privacy gate refused to write."""


class DesignError(OutcomesError, ValueError):
    """The data are valid, but the statistic is not defined for them.

    Parameters
    ----------
    reason : str
        One clause in plain words, printed after "not estimable: ".
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a TOML file: where it stands and what would do."""

    file: str
    line: int | None
    path: str
    message: str

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{where}, {self.path}: {self.message}" if self.path else f"{where}: {self.message}"


class DefinitionError(OutcomesError):
    """A protocol or a measure definition is refused; holds every problem found in it.

    Parameters
    ----------
    problems : sequence of Problem
        At least one.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(problems)
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding about the clinic's data, in the words and the row numbers of the clinic's own file.

    Parameters
    ----------
    grade : {"block", "set_aside", "ask"}
        What the finding does to the run and to the value.
    rule : str
        Short key of the rule that was broken (``"hard_limit"``, ``"unknown_heading"``); the same for all its findings.
    expected : str
        What would be accepted there.
    file, sheet : str
        File inside the study folder; sheet of a workbook, else empty.
    table : str
        Table of the vocabulary that the row feeds, empty where none is known.
    row : int, optional
        The spreadsheet's own row number: the header is row 1.
    column : str
        The heading as the clinic wrote it.
    participant : str
        Participant of the row, empty where none is known.
    found : str
        The text found, as typed; never that of an identifying column.
    remedy : str
        What to do next, where it is more than correcting the cell.
    query : str
        For grade "ask": the id that decisions.csv answers. Empty for the other grades.
    """

    grade: Grade
    rule: str
    expected: str
    file: str = ""
    sheet: str = ""
    table: str = ""
    row: int | None = None
    column: str = ""
    participant: str = ""
    found: str = ""
    remedy: str = ""
    query: str = ""

    def __str__(self) -> str:
        """Return one line: where, what was found, what would do."""
        place = [part for part in (self.file, self.sheet) if part]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            place.append(f"column '{printable(self.column)}'")
        where = ", ".join(place) or self.table or "study"
        who = f" ({printable(self.participant)})" if self.participant else ""
        found = f"found '{printable(self.found)}', " if self.found else ""
        line = f"{where}{who}: {found}expected {self.expected}"
        return f"{line} [{self.query}]" if self.query else line


def findings_csv(findings: Iterable[Finding]) -> str:
    """Return findings as csv text, one row each, with text that a spreadsheet would run as a formula made inert."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    names = [field.name for field in fields(Finding)]
    writer.writerow(names)
    values = attrgetter(*names)
    for finding in findings:
        writer.writerow([inert(str("" if value is None else value)) for value in values(finding)])
    return out.getvalue()


def inert(text: str) -> str:
    """Return `text` with a leading apostrophe where a spreadsheet would read it as a formula (OWASP ASVS 5, 1.2.10).

    Examples
    --------
    >>> inert("=1+1"), inert("plain"), inert("-3.2")
    ("'=1+1", 'plain', '-3.2')
    """
    if not text or text[0] not in "=+-@\t\r\n\0":
        return text
    try:
        float(text)
    except ValueError:
        return "'" + text
    return text


class DataError(OutcomesError):
    """The clinic's data are refused; holds every finding of every table.

    Parameters
    ----------
    findings : sequence of Finding
        All findings, also those that would not have stopped the run.
    remedy : str
        The sentence printed under them.
    """

    def __init__(self, findings: Sequence[Finding], remedy: str = "") -> None:
        super().__init__(findings, remedy)
        self.findings = tuple(findings)
        self.remedy = remedy

    def __str__(self) -> str:
        stopping = [f for f in self.findings if f.grade != "ask"] or list(self.findings)
        count = len(stopping)
        lines = [f"{count} finding{'s' if count != 1 else ''} stop{'s' if count == 1 else ''} the run."]
        lines += [f"  {finding}" for finding in stopping[:PRINTED_FINDINGS]]
        if count > PRINTED_FINDINGS:
            lines.append(f"  and {count - PRINTED_FINDINGS} more in results/check/findings.csv")
        remedies = dict.fromkeys(f.remedy for f in stopping if f.remedy)
        lines += list(remedies)[:PRINTED_FINDINGS]
        if self.remedy:
            lines.append(self.remedy)
        return "\n".join(lines)
