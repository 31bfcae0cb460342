"""Rows with the same key: the same row twice is a duplicate, different values are refused with both rows named."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from outcomes.intake.drafts import DUPLICATE, Draft
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import number_text, texts, unique

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Integers, Texts


def find_duplicates(draft: Draft, found: Collector) -> None:
    """Mark repeated rows as duplicates, the first is kept; refuse rows that give one key two values."""
    import numpy as np

    rows = np.flatnonzero(draft.used)
    if len(rows) < 2:
        return
    keys = _codes(draft, _key_columns(draft))[rows]
    _, first, inverse, counts = np.unique(keys, return_index=True, return_inverse=True, return_counts=True)
    if counts.max() == 1:
        return
    everything = _codes(draft, [*draft.text, *draft.number, *draft.moment, *draft.extra])
    repeated = np.flatnonzero(counts[inverse] > 1)
    seen: dict[int, dict[int, int]] = {}
    pairs: dict[tuple[object, ...], list[tuple[int, int]]] = {}
    for i in repeated.tolist():
        row, key = int(rows[i]), int(inverse[i])
        same = seen.setdefault(key, {})
        content = int(everything[row])
        if content in same:
            draft.row_state[row] = DUPLICATE
            draft.row_why[row] = draft.reason("duplicate")
            continue
        same[content] = row
        if len(same) > 1:
            earlier = int(rows[first[key]])
            pairs.setdefault(_together(draft, earlier, row), []).append((earlier, row))
    for together in pairs.values():
        _two_values(draft, together, found)


def _together(draft: Draft, first: int, row: int) -> tuple[object, ...]:
    """Return what two rows for one key have in common with others of which one finding speaks.

    Cells of the same two rows of a sheet belong together; in a long table the answers of one measure, participant and
    time that two raters gave.
    """
    here, there = draft.place(row), draft.place(first)
    if draft.wide:
        return (here.file, here.sheet, here.row, there.file, there.sheet, there.row)
    raters = tuple(_shown(draft, "rater", one) for one in (first, row)) if "rater" in draft.text else ("", "")
    if raters[0] == raters[1]:
        return (row,)
    return (*(_shown(draft, name, row) for name in draft.table.key[:3]), *raters)


def _key_columns(draft: Draft) -> list[str]:
    names = []
    for name in draft.table.key:
        column = draft.table.by_name[name]
        names += [form for form in (*column.headings, name) if form in draft.text or form in draft.number]
        names += [name] if name in draft.moment else []
    return list(dict.fromkeys(names))


def _values(draft: Draft, name: str) -> Integers:
    """Return the values of a column as codes; missing is a value of its own."""
    import numpy as np
    import pandas as pd

    values: Any
    if name in draft.moment:
        values = draft.moment[name].view(np.int64)
    elif name in draft.number:
        values = draft.number[name]
    else:
        values = draft.text.get(name, draft.typed.get(name))
        if name == "response":
            values = _as_numbers(values)
    codes: Integers = pd.factorize(values)[0].astype(np.int64) + 1
    return codes


def _as_numbers(responses: Texts) -> Texts:
    """Return responses with every number in its shortest form, so that 44.1 and 44.10 are one value."""
    codes, different = unique(responses)
    plain = [number_text(float(text)) if NUMBER_PATTERN.fullmatch(text) else text for text in different]
    return texts(plain)[codes]


def _codes(draft: Draft, names: Iterable[str]) -> Integers:
    """Return one code a row for the values of several columns together."""
    import numpy as np
    import pandas as pd

    codes = np.zeros(len(draft), dtype=np.int64)
    for name in names:
        values = _values(draft, name)
        codes, _ = pd.factorize(codes * (int(values.max(initial=0)) + 1) + values)
        codes = codes.astype(np.int64)
    return codes


def _two_values(draft: Draft, pairs: list[tuple[int, int]], found: Collector) -> None:
    """Refuse rows that give one key two values: one finding for the pairs that belong together, at the first."""
    from outcomes.intake.collector import identifying

    first, row = pairs[0]
    column = _differing(draft, first, row)
    earlier = draft.place(first, column)
    names = draft.table.key[1:] if len(pairs) == 1 else draft.table.key[1:3]
    key = ", ".join(part for part in (str(_shown(draft, name, row)) for name in names) if part and part != "nan")
    place = f"row {earlier.row}" if draft.place(row).file == earlier.file else f"{earlier.file}, row {earlier.row}"
    where = f"{place} of sheet {earlier.sheet}" if draft.place(row).sheet != earlier.sheet else place
    what = "two values for one answer" if column == "response" else "two rows for one key"
    if len(pairs) > 1:
        what += f", as in {len(pairs)} cells"
    said = "" if identifying(earlier.heading) else f" '{draft.typed_text(first, column)}'"
    found.over(
        draft,
        _positions([later for _, later in pairs]),
        column,
        "block",
        "two_values",
        f"one row for {key or 'a participant'}, {what}: {where} has{said or ' another'}",
        found=draft.shown_text(row, column),
        remedy="Keep the row that is right, or move a second rater's answers to repeats.",
    )


def _positions(rows: list[int]) -> Integers:
    """Return row numbers as an array."""
    import numpy as np

    return np.array(rows, dtype=np.int64)


def _shown(draft: Draft, name: str, row: int) -> str:
    if name in draft.text:
        return str(draft.text[name][row])
    forms = [form for form in draft.table.by_name[name].headings if form in draft.typed]
    return draft.typed_text(row, forms[0]) if forms else ""


def _differing(draft: Draft, first: int, row: int) -> str:
    """Return the first column in which two rows differ, the answer before the rest."""
    names = [*draft.text, *draft.number, *draft.moment, *draft.extra]
    names.sort(key=lambda name: name != "response")
    for name in names:
        values = _pair(draft, name, first, row)
        if values[0] != values[1] and not (values[0] != values[0] and values[1] != values[1]):
            return name if name in draft.typed else _typed_form(draft, name)
    return draft.table.key[0]


def _pair(draft: Draft, name: str, first: int, row: int) -> tuple[object, object]:
    for values in (draft.text, draft.number, draft.moment, draft.typed):
        if name in values:
            return values[name][first], values[name][row]
    return "", ""


def _typed_form(draft: Draft, name: str) -> str:
    """Return the typed column that a derived one such as ``assessed_clock`` comes from."""
    stem = name.rpartition("_")[0]
    return next((form for form in draft.typed if form.rpartition("_")[0] == stem), draft.table.key[0])
