"""What every kind of cell shares: its text is settled in one form, and a cell that cannot be read is set aside."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.intake.drafts import EMPTIED, NORMALISED, USED, Draft
from outcomes.intake.raw import unique

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Floats, Integers
    from protocols.schema import Protocol

MAY_BE_BLANK = ("version", "place", "side", "trial", "segment")
"""Parts of a key that may be empty."""

FULL_WIDTH = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)} | {0x2212: ord("-"), 0x3000: ord(" ")}
"""Full-width forms and the minus sign, which have one reading."""


@dataclass(slots=True)
class Reader:
    """What the cells of a study are read by.

    Parameters
    ----------
    protocol : Protocol
    words : mapping of str to mapping of str to str
        words.csv: column to word as typed to what it means; with the protocol's words for groups.
    found : Collector
    """

    protocol: Protocol
    words: Mapping[str, Mapping[str, str]]
    found: Collector

    @property
    def missing_words(self) -> frozenset[str]:
        """Words that the protocol declares missing."""
        return frozenset(self.protocol.intake.missing_words)


def reject(
    draft: Draft,
    reader: Reader,
    name: str,
    rows: Integers,
    rule: str,
    expected: str | list[str],
    *,
    remedy: str = "",
) -> None:
    """Set cells aside, and their rows too where the column is a part of the key."""
    open_rows = draft.row_state[rows] == USED
    if isinstance(expected, list):
        expected = [text for text, is_open in zip(expected, open_rows.tolist(), strict=True) if is_open]
    rows = rows[open_rows]
    if not len(rows):
        return
    reader.found.at(draft, rows, name, "set_aside", rule, expected, remedy=remedy)
    if _key_column(draft, name):
        draft.set_aside(rows, rule)
    else:
        draft.empty(name, rows, rule)


def _key_column(draft: Draft, name: str) -> bool:
    known = draft.table.by_heading.get(name)
    return known is not None and known.name in draft.table.key


def settle(draft: Draft, name: str, kind: str, reader: Reader) -> tuple[Integers, list[str]]:
    """Settle the texts of a column: trimmed, in one Unicode form, with declared words and missing words.

    Returns
    -------
    codes : int array of shape (n_rows,)
    different : list of str
        Canonical texts; "" where missing.
    """
    import numpy as np

    codes, different = unique(draft.typed[name])
    declared = reader.words.get(name, {})
    missing = frozenset() if kind == "id" else reader.missing_words
    if name == "response":
        missing |= {"NA"}
    settled = list(different)
    reasons: dict[str, list[int]] = {}
    for i, text in enumerate(different):
        tidied = _tidy(text, kind)
        reason = "" if tidied == text else ("blanks" if tidied == text.strip() else "unicode_form")
        if tidied in declared:
            tidied, reason = declared[tidied], "declared_word"
        if tidied and tidied in missing:
            tidied, reason = "", "missing_word"
        settled[i] = tidied
        if reason:
            reasons.setdefault(reason, []).append(i)
    for reason, positions in reasons.items():
        flags = np.zeros(len(different), dtype=bool)
        flags[positions] = True
        rows = np.flatnonzero(flags[codes])
        if reason == "missing_word":
            draft.empty(name, rows, reason)
        else:
            draft.mark(name, rows, NORMALISED, reason)
    done = np.flatnonzero(draft.state[name] == EMPTIED)
    if len(done) and not all(settled[code] == "" for code in np.unique(codes[done]).tolist()):
        codes = codes.copy()
        codes[done] = len(settled)
        settled.append("")
    return codes, settled


def _tidy(text: str, kind: str) -> str:
    if text.isascii():
        return text.strip()
    tidied = unicodedata.normalize("NFC", text.strip())
    return tidied if kind in ("id", "text") else tidied.translate(FULL_WIDTH).strip()


def rounded(values: Floats) -> Floats:
    """Return numbers at 15 digits, so that 17.5 in is 44.45 cm and not 44.449999999999996."""
    import numpy as np

    return np.array([float(f"{value:.15g}") for value in values.tolist()], dtype=np.float64)
