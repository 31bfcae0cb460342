"""Rows with the same key: the same row twice is a duplicate, different values are refused with both rows named."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from outcomes.intake.drafts import DUPLICATE, Draft

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Integers


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
            _two_values(draft, int(rows[first[key]]), row, found)


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
    codes: Integers = pd.factorize(values)[0].astype(np.int64) + 1
    return codes


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


def _two_values(draft: Draft, first: int, row: int, found: Collector) -> None:
    column = _differing(draft, first, row)
    earlier = draft.place(first, column)
    key = ", ".join(
        part for part in (str(_shown(draft, name, row)) for name in draft.table.key[1:]) if part and part != "nan"
    )
    place = f"row {earlier.row}" if draft.place(row).file == earlier.file else f"{earlier.file}, row {earlier.row}"
    where = f"{place} of sheet {earlier.sheet}" if draft.place(row).sheet != earlier.sheet else place
    what = "two values for one answer" if column == "response" else "two rows for one key"
    from outcomes.intake.collector import identifying

    said = "" if identifying(earlier.heading) else f" '{draft.typed_text(first, column)}'"
    found.over(
        draft,
        _one(row),
        column,
        "block",
        "two_values",
        f"one row for {key or 'a participant'}, {what}: {where} has{said or ' another'}",
        remedy="Keep the row that is right, or move a second rater's answers to repeats.",
    )


def _one(row: int) -> Integers:
    import numpy as np

    return np.array([row], dtype=np.int64)


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
