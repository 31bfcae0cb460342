"""The key of every answer: whose, when, of what, where; unknown words and two answers for one key are refused."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from outcomes.errors import DataError, Finding, near_word
from outcomes.measures.responses import as_text
from outcomes.vocabulary import SIDES

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition

    Whole = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Keys:
    """The key of every row as whole numbers: 1 + index of place, side and item, 0 for none; trial 0 for none."""

    participant: Whole
    time: Whole
    place: Whole
    side: Whole
    item: Whole
    trial: NDArray[np.float64]
    time_name: str
    people: NDArray[np.object_]
    times: NDArray[np.object_]
    places: tuple[str, ...]
    sides: tuple[str, ...]

    def base(self) -> NDArray[np.int64]:
        """Return each row's participant, time, place and side as one number."""
        return pack(self.participant, self.time, self.place, self.side)

    def packed(self) -> NDArray[np.int64]:
        """Return each row's whole key as one number."""
        _, trial = np.unique(self.trial, return_inverse=True)
        return pack(self.participant, self.time, self.place, self.side, self.item, trial)


def pack(*columns: Whole) -> NDArray[np.int64]:
    """Return columns of small whole numbers as one number for each row; the first column counts most."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        if len(column) and key.max(initial=0) > (2**62) // (int(column.max()) + 1):
            _, ranked = np.unique(key, return_inverse=True)
            key = ranked.astype(np.int64)
        key = key * (int(column.max(initial=0)) + 1) + column
    return key


def read_keys(definition: Definition, rows: pd.DataFrame) -> Keys:
    """Return the key of every row as whole numbers; unknown words and duplicates are refused."""
    import pandas as pd

    time = "occasion" if "occasion" in rows.columns else "visit"
    item, _ = words_of(rows, "item", [one.key for one in definition.items])
    place, places = words_of(rows, "place", definition.rows.place)
    side, sides = words_of(rows, "side", SIDES if definition.rows.side else ())
    participant, people = pd.factorize(rows["participant_id"], sort=True)
    moment, times = pd.factorize(rows[time], sort=True)
    given = rows["trial"] if "trial" in rows.columns else pd.Series(np.nan, index=rows.index)
    trial = pd.to_numeric(given, errors="coerce").to_numpy(dtype=float)
    keys = Keys(
        participant,
        moment,
        place,
        side,
        item,
        np.nan_to_num(trial),
        time,
        np.asarray(people),
        np.asarray(times),
        places,
        sides,
    )
    findings = [*_unknown_words(definition, rows, keys), *_wrong_trials(definition, rows, given, trial)]
    findings = findings or list(_two_answers(definition, rows, keys))
    if findings:
        raise DataError(findings)
    return keys


def words_of(rows: pd.DataFrame, column: str, known: Iterable[str]) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """Return each row's word as 1 + its index, 0 for none and -1 for one that is not known."""
    import pandas as pd

    words = tuple(known)
    if column not in rows.columns:
        return np.zeros(len(rows), dtype=np.intp), words
    codes, found = pd.factorize(rows[column])
    index = [1 + words.index(word) if word in words else 0 if not str(word).strip() else -1 for word in found]
    return np.array([*index, 0], dtype=np.intp)[codes], words


def _unknown_words(definition: Definition, rows: pd.DataFrame, keys: Keys) -> Iterator[Finding]:
    """Yield a finding for each item, place or side that the measure does not have, or that an answer lacks."""
    names = [item.key for item in definition.items]
    context = [1 + names.index(item.key) for item in definition.context]
    lacks = ~np.isin(keys.item, context)  # context may hold for the whole measure
    sides = SIDES if definition.rows.side else ()
    wrong = (
        ("item", keys.item <= 0, names),
        ("place", (keys.place < 0) | ((keys.place == 0) & bool(definition.rows.place) & lacks), definition.rows.place),
        ("side", (keys.side < 0) | ((keys.side == 0) & definition.rows.side & lacks), sides),
    )
    for column, bad, known in wrong:
        for i in np.flatnonzero(bad).tolist():
            found = as_text(rows[column].iloc[i]) if column in rows.columns else ""
            expected = f"one of {', '.join(known)}{near_word(found, known)}" if known else f"no {column}: it has none"
            yield finding_at(rows, i, "unknown_word", column, found, expected)
    for column, bad in (("participant_id", keys.participant < 0), (keys.time_name, keys.time < 0)):
        for i in np.flatnonzero(bad).tolist():
            yield finding_at(rows, i, "no_key", column, "", f"a {column} for every answer")


def _wrong_trials(
    definition: Definition, rows: pd.DataFrame, given: pd.Series, trial: NDArray[np.float64]
) -> Iterator[Finding]:
    once = definition.rows.trial is None
    whole = (trial >= 1) & (trial == np.floor(trial)) & ((trial == 1) | (not once))
    expected = "no trial, or 1: it is measured once" if once else "a whole number from 1"
    for i in np.flatnonzero(given.notna().to_numpy() & ~whole).tolist():
        yield finding_at(rows, i, "trial", "trial", as_text(given.iloc[i]), expected)


def _two_answers(definition: Definition, rows: pd.DataFrame, keys: Keys) -> Iterator[Finding]:
    """Yield a finding for each row whose key an earlier row has; two answers are never averaged."""
    _, first, inverse = np.unique(keys.packed(), return_index=True, return_inverse=True)
    first = first[inverse]
    for i in np.flatnonzero(first != np.arange(len(first))).tolist():
        other = row_name(rows, int(first[i]))
        item = definition.items[keys.item[i] - 1].key
        expected = f"one answer for one key; the other is {other}"
        yield finding_at(rows, i, "two_answers", item, as_text(rows["response"].iloc[i]), expected)


def row_name(rows: pd.DataFrame, i: int) -> str:
    """Return what messages call a row: its row_id, else its number in the frame."""
    return str(rows["row_id"].iloc[i]) if "row_id" in rows.columns else f"row {i + 1} of the frame"


def finding_at(rows: pd.DataFrame, i: int, rule: str, column: str, found: str, expected: str) -> Finding:
    """Return the finding for one row of the frame."""
    name = row_name(rows, i)
    return Finding(
        grade="block",
        rule=rule,
        expected=expected,
        file=name,
        table=name.partition("/")[0] if "/" in name else "",
        column=column,
        participant=as_text(rows["participant_id"].iloc[i]),
        found=found,
    )
