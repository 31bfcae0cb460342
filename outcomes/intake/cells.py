"""Cells of one table: from text as typed to ids, words, keys, numbers, days and moments, each column by its kind.

Work is done once for every different text of a column.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.intake.doubts import number_doubts, unit_row
from outcomes.intake.drafts import EMPTIED, NORMALISED, USED, Draft
from outcomes.intake.moments import read_moments
from outcomes.intake.numerals import NUMBER_PATTERN, POINTED_EXPECTED, POINTED_PATTERN, number_problem, plain_number
from outcomes.intake.raw import CLOCK, DATE, ERROR, TEXT, UNCALCULATED, texts, unique
from outcomes.intake.settling import MAY_BE_BLANK, Reader, reject, rounded, settle
from outcomes.units import conversion_factor, printed_unit
from outcomes.vocabulary import PLACE_PATTERN, Column

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Integers

NAMES_OF_MEASURES = ("measure", "item", "place")
"""Keys that the definitions of measures check, with their own lists."""

BROKEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
"""Control characters that no typed text holds."""


def read_cells(draft: Draft, reader: Reader) -> None:
    """Read every known column of a table.

    Parameters
    ----------
    draft : Draft
        Takes the canonical values, states and reasons.
    reader : Reader
        Takes the findings.
    """
    unit_row(draft, reader)
    _unreadable(draft, reader)
    for column in draft.table.read:
        forms = [form for form in column.headings if form in draft.typed]
        for form in forms:
            if column.kind in ("date", "moment"):
                read_moments(draft, column, form, reader)
            elif column.kind in ("number", "integer"):
                _numbers(draft, column, reader)
            else:
                _texts(draft, column, reader)
    _blank_keys(draft, reader)


def _unreadable(draft: Draft, reader: Reader) -> None:
    """Set aside error cells, formulas without value and cells with control characters."""
    import numpy as np

    for name in draft.state:
        types = draft.types[name]
        for kind, rule, expected in (
            (ERROR, "formula_error", "a value; the cell holds an error, which is not the same as empty"),
            (UNCALCULATED, "uncalculated", "a value; the formula was never calculated"),
        ):
            rows = np.flatnonzero(types == kind)
            if len(rows):
                remedy = "Open and save the workbook, or paste values." if kind == UNCALCULATED else ""
                reject(draft, reader, name, rows, rule, expected, remedy=remedy)
        if name != "participant_id":
            codes, different = unique(draft.typed[name])
            broken = np.array([bool(BROKEN.search(text)) for text in different], dtype=bool)
            if broken.any():
                rows = np.flatnonzero(broken[codes])
                reject(draft, reader, name, rows, "control_character", "text without control characters")


def _texts(draft: Draft, column: Column, reader: Reader) -> None:
    """Read a column of ids, free text, words or keys."""
    import numpy as np

    name = column.name
    kind = "word" if name == "response" else column.kind
    codes, different = settle(draft, name, kind, reader)
    draft.text[name] = texts(different)[codes] if different else draft.typed[name].copy()
    if column.kind == "id":
        rows = np.flatnonzero(np.isin(draft.types[name], (DATE, CLOCK)))
        if len(rows):
            reject(draft, reader, name, rows, "date_for_id", "an id; the spreadsheet holds a date there")
    elif column.kind in ("word", "key") and name not in NAMES_OF_MEASURES:
        check = _word_check(column, reader)
        rule = f"unknown_{name}" if name in ("visit", "group") else f"not_a_{column.kind}"
        wrong = {i: check(text) for i, text in enumerate(different) if text}
        _reject_different(draft, reader, name, codes, {i: text for i, text in wrong.items() if text}, rule)


def _word_check(column: Column, reader: Reader) -> Callable[[str], str]:
    """Return the function that says what would do for a text, or nothing where it does."""
    plans = {
        "group": [group.key for group in reader.protocol.groups],
        "visit": [visit.key for visit in reader.protocol.visits],
    }
    words = column.words or tuple(plans.get(column.name, ()))
    if words:
        listed = ", ".join(words)
        return lambda text: "" if text in words else f"one of {listed}{near_word(text, words)}"
    return lambda text: (
        "" if re.fullmatch(PLACE_PATTERN, text) else "small letters, digits and _, beginning with a letter"
    )


def _reject_different(
    draft: Draft, reader: Reader, name: str, codes: Integers, wrong: Mapping[int, str], rule: str
) -> None:
    import numpy as np

    if not wrong:
        return
    flags = np.zeros(int(codes.max()) + 1, dtype=bool)
    flags[list(wrong)] = True
    rows = np.flatnonzero(flags[codes])
    expected = [wrong[code] for code in codes[rows].tolist()]
    remedy = "Map other words in words.csv."
    reject(draft, reader, name, rows, rule, expected, remedy=remedy)


def _numbers(draft: Draft, column: Column, reader: Reader) -> None:
    """Read a column of numbers, turning declared units."""
    import numpy as np

    name = column.name
    codes, different = settle(draft, name, "number", reader)
    decimal = reader.protocol.intake.decimal
    values = np.full(len(different), np.nan)
    problems: dict[int, tuple[str, str]] = {}
    commas = np.zeros(len(different), dtype=bool)
    for i, text in enumerate(different):
        plain = plain_number(text, decimal)
        if NUMBER_PATTERN.fullmatch(plain) and abs(float(plain)) != float("inf"):
            values[i], commas[i] = float(plain), plain != text
            if column.kind == "integer" and values[i] != int(values[i]):
                problems[i] = ("not_whole", "a whole number")
        elif text:
            problems[i] = number_problem(text, decimal, printed_unit(column.unit))
    draft.number[name] = values[codes] if different else np.zeros(0)
    if commas.any():
        draft.mark(name, commas[codes], NORMALISED, "decimal_comma")
    _reject_numbers(draft, name, codes, different, problems, reader)
    _turn_units(draft, name, column.unit)


def _reject_numbers(
    draft: Draft, name: str, codes: Integers, different: list[str], problems: dict[int, tuple[str, str]], reader: Reader
) -> None:
    """Set cells aside that hold no number; a column in doubt is refused instead."""
    import numpy as np

    doubted = number_doubts(draft, name, codes, different, reader)
    draft.empty(name, doubted, "column_in_doubt")
    done = doubted | np.isin(draft.types[name], (DATE, CLOCK))
    for kind, what in ((DATE, "a date"), (CLOCK, "a time of day")):
        held = np.flatnonzero((draft.types[name] == kind) & ~doubted)
        if len(held):
            expected = f"a number; the spreadsheet holds {what} there"
            reject(draft, reader, name, held, "date_for_number", expected, remedy="Format the column as a number.")
    if reader.protocol.intake.decimal == ",":
        shaped = np.array([bool(POINTED_PATTERN.fullmatch(text)) for text in different], dtype=bool)
        pointed = shaped[codes] & (draft.types[name] == TEXT)
        reject(draft, reader, name, np.flatnonzero(pointed & ~done), "ambiguous_number", POINTED_EXPECTED)
        done |= pointed
    for i, (rule, expected) in problems.items():
        reject(draft, reader, name, np.flatnonzero((codes == i) & ~done), rule, expected)


def _turn_units(draft: Draft, name: str, wanted: str) -> None:
    import numpy as np

    for i, feed in enumerate(draft.feeds):
        given = feed.units.get(name, "")
        factor = conversion_factor(given, wanted) if given and wanted else 1.0
        if factor != 1.0:
            rows = np.flatnonzero((draft.feed == i) & ~np.isnan(draft.number[name]))
            draft.number[name][rows] = rounded(draft.number[name][rows] * factor)
            draft.mark(name, rows, NORMALISED, f"{given} to {wanted}")


def _blank_keys(draft: Draft, reader: Reader) -> None:
    """Set rows aside that lack a part of their key."""
    import numpy as np

    for name in draft.table.key:
        if name in MAY_BE_BLANK:
            continue
        blank = _missing(draft, name)
        rows = np.flatnonzero(blank & (draft.row_state == USED))
        if len(rows):
            column = next((form for form in draft.table.by_name[name].headings if form in draft.typed), name)
            expected = f"a value; without '{name}' the row belongs to nothing"
            state = draft.state.get(column, np.zeros(len(draft), dtype=np.int8))[rows]
            said = (
                (state == EMPTIED) & (draft.why[column][rows] != draft.reason("missing_word")) if state.any() else state
            )
            reader.found.at(draft, rows[said == 0], column, "set_aside", "blank_key", expected)
            draft.set_aside(rows, "blank_key")


def _missing(draft: Draft, name: str) -> Flags:
    """Return the rows in which a column has no value."""
    import numpy as np

    if name in draft.text:
        return np.asarray(draft.text[name] == "", dtype=bool)
    if name in draft.number:
        return np.isnan(draft.number[name])
    stem = name[:-3]
    gone = np.ones(len(draft), dtype=bool)
    if name in draft.moment:
        gone &= np.isnat(draft.moment[name])
    if f"{stem}_day" in draft.number:
        gone &= np.isnan(draft.number[f"{stem}_day"])
    return gone
