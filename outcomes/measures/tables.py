"""Scores of a whole table of answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from outcomes.errors import DataError, Finding, UsageError, near_word
from outcomes.measures.catalogue import Catalogue
from outcomes.measures.grouping import Group, Keys, group_rows
from outcomes.measures.kernel import Answers, evaluate
from outcomes.measures.reasons import explain, flags
from outcomes.measures.responses import expected_of, read_responses
from outcomes.vocabulary import ABSENT_WORDS, SIDES

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition

NEEDED = ("participant_id", "item", "response")
"""Columns without which nothing can be scored, besides visit or occasion."""


def score_table(
    measure: str | Definition,
    frame: pd.DataFrame,
    *,
    version: str | None = None,
    catalogue: Catalogue | None = None,
) -> pd.DataFrame:
    """Score every participant, visit, variant, place and side of one measure.

    Parameters
    ----------
    measure : str or Definition
        Key of the measure, or its definition.
    frame : DataFrame
        Shaped like ``assessments`` or ``repeats``: one row per answer. Rows of other measures are left out.
    version : str, optional
        Version of the measure; that of the rows, else the current one, by default.
    catalogue : Catalogue, optional
        The packaged one by default.

    Returns
    -------
    DataFrame
        participant_id, visit or occasion, measure, version, variant, scale, place, side, value (nan where no score may
        be formed), reason (why not), flags, items_answered, items_expected, cells (row_ids), context. Sorted by
        participant, time, place, side, variant, scale; the order of the rows of `frame` does not matter.

    Raises
    ------
    UsageError
        No such measure or version; a column is not there.
    DataError
        Impossible responses, unknown items, places or sides, two answers for one key, two versions: all findings.

    Notes
    -----
    A context row (pace, device) without place, side and trial holds for the whole measure at that visit, one with them
    for its own rows only. An answer without a trial beside others with one holds for all readings.
    """
    definition = _definition(measure, frame, version, catalogue or Catalogue.packaged())
    rows = _rows(definition, frame)
    keys = _keys(definition, rows)
    text, value, absent = _read(definition, rows, keys)
    groups = group_rows(definition, keys, text)
    answers = _answers(definition, keys, groups, value, absent)
    scored = evaluate(definition, answers)
    reasons = explain(definition, answers, scored)
    return _assemble(definition, rows, keys, groups, scored, reasons)


def _definition(
    measure: str | Definition, frame: pd.DataFrame, version: str | None, catalogue: Catalogue
) -> Definition:
    """Return the definition in the one version of the rows."""
    key = measure if isinstance(measure, str) else measure.key
    found: list[str] = []
    if "version" in frame.columns:
        of_measure = frame["version"][frame["measure"] == key] if "measure" in frame.columns else frame["version"]
        found = [str(one) for one in of_measure.dropna().unique() if str(one).strip()]
    wanted = version if isinstance(measure, str) else measure.version
    clash = sorted({*found, *([wanted] if wanted is not None else [])})
    if len(clash) > 1:
        finding = Finding(
            grade="block",
            rule="two_versions",
            column="version",
            found=", ".join(clash),
            expected=f"one version of {key}",
            remedy="Different versions are never joined: their codes mean different things. Score them apart.",
        )
        raise DataError([finding])
    if not isinstance(measure, str):
        return measure
    return catalogue.get(key, clash[0] if clash else None)


def _rows(definition: Definition, frame: pd.DataFrame) -> pd.DataFrame:
    time = [name for name in ("occasion", "visit") if name in frame.columns]
    missing = [name for name in NEEDED if name not in frame.columns]
    if not time or missing:
        names = [*missing, *([] if time else ["visit (or occasion)"])]
        raise UsageError(f"answers to {definition.key} need the columns {', '.join(names)}")
    if "measure" in frame.columns:
        frame = frame[(frame["measure"] == definition.key).to_numpy(dtype=bool)]
    return frame.reset_index(drop=True)


def _keys(definition: Definition, rows: pd.DataFrame) -> Keys:
    """Return the key of every row as whole numbers; unknown words and duplicates are refused."""
    import pandas as pd

    time = "occasion" if "occasion" in rows.columns else "visit"
    item, items = _words(rows, "item", [one.key for one in definition.items])
    place, places = _words(rows, "place", definition.rows.place)
    side, sides = _words(rows, "side", SIDES if definition.rows.side else ())
    participant, people = pd.factorize(rows["participant_id"], sort=True)
    moment, times = pd.factorize(rows[time], sort=True)
    trial = np.zeros(len(rows))
    if "trial" in rows.columns:
        trial = np.nan_to_num(pd.to_numeric(rows["trial"], errors="coerce").to_numpy(dtype=float))
    keys = Keys(
        participant, moment, place, side, item, trial, time, np.asarray(people), np.asarray(times), places, sides
    )
    findings = _key_findings(definition, rows, keys, items)
    if findings:
        raise DataError(findings)
    return keys


def _words(rows: pd.DataFrame, column: str, known: Any) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """Return each row's word as 1 + its index, 0 for none and -1 for one that is not known."""
    import pandas as pd

    words = tuple(known)
    if column not in rows.columns:
        return np.zeros(len(rows), dtype=np.intp), words
    codes, found = pd.factorize(rows[column])
    index = [1 + words.index(word) if word in words else 0 if not str(word).strip() else -1 for word in found]
    return np.array([*index, 0], dtype=np.intp)[codes], words


def _key_findings(definition: Definition, rows: pd.DataFrame, keys: Keys, items: tuple[str, ...]) -> list[Finding]:
    findings: list[Finding] = []
    context = {one.key for one in definition.context}
    is_context = np.array([False, *(key in context for key in items)])[np.maximum(keys.item, 0)]
    wrong = {
        "item": keys.item <= 0,
        "place": (keys.place < 0) | ((keys.place == 0) & bool(definition.rows.place) & ~is_context),
        "side": (keys.side < 0) | ((keys.side == 0) & definition.rows.side & ~is_context),
        "participant_id": keys.participant < 0,
        keys.time_name: keys.time < 0,
    }
    allowed = {"item": items, "place": definition.rows.place, "side": SIDES if definition.rows.side else ()}
    for column, bad in wrong.items():
        for i in np.flatnonzero(bad):
            found = "" if column not in rows.columns else str(rows[column].iloc[i])
            known = allowed.get(column, ())
            expected = f"one of {', '.join(known)}{near_word(found, known)}" if known else "nothing: it has none"
            if column not in allowed:
                expected = "an answer's key without gaps"
            findings.append(_finding(rows, i, "unknown_word", column, found, expected))
    trial = keys.trial
    bad = (trial < 0) | (trial != np.floor(trial)) | ((trial > 1) & (definition.rows.trial is None))
    for i in np.flatnonzero(bad):
        expected = "no trial: it is measured once" if definition.rows.trial is None else "a whole number from 1"
        findings.append(_finding(rows, i, "trial", "trial", f"{trial[i]:g}", expected))
    if findings:
        return findings
    packed = keys.packed()
    _, first, inverse = np.unique(packed, return_index=True, return_inverse=True)
    for i in np.flatnonzero(first[inverse] != np.arange(len(packed))):
        earlier = _row_id(rows, int(first[inverse[i]]))
        expected = f"one answer for one key; the other is {earlier or f'row {first[inverse[i]] + 1} of the frame'}"
        findings.append(_finding(rows, i, "two_answers", items[keys.item[i] - 1], _cell(rows, i), expected))
    return findings


def _row_id(rows: pd.DataFrame, i: int) -> str:
    return str(rows["row_id"].iloc[i]) if "row_id" in rows.columns else ""


def _cell(rows: pd.DataFrame, i: int) -> str:
    value = rows["response"].iloc[i]
    return value if isinstance(value, str) else "" if value != value or value is None else str(value)


def _finding(rows: pd.DataFrame, i: Any, rule: str, column: str, found: str, expected: str) -> Finding:
    row_id = _row_id(rows, int(i))
    participant = rows["participant_id"].iloc[i]
    return Finding(
        grade="block",
        rule=rule,
        expected=expected,
        file=row_id or f"row {int(i) + 1} of the frame",
        table=row_id.partition("/")[0],
        column=column,
        participant=str(participant) if isinstance(participant, str) else "",
        found=found,
    )


def _read(
    definition: Definition, rows: pd.DataFrame, keys: Keys
) -> tuple[NDArray[np.object_], NDArray[np.float64], NDArray[np.int8]]:
    """Return text, number and reason of absence of every row, by the one reading of a response."""
    n = len(rows)
    text, value, absent = np.full(n, "", dtype=object), np.full(n, np.nan), np.zeros(n, dtype=np.int8)
    responses = rows["response"].to_numpy(dtype=object)
    said, words = _words(rows, "absent_because", ABSENT_WORDS)
    findings: list[Finding] = []
    for number, item in enumerate(definition.items, start=1):
        mine = np.flatnonzero(keys.item == number)
        if not len(mine):
            continue
        reading = read_responses(definition, item.key, responses[mine].tolist())
        text[mine], value[mine] = reading.text, reading.value
        for word in np.unique(reading.absent[reading.absent != ""]):
            absent[mine[reading.absent == word]] = 1 + words.index(word)
        for j in np.flatnonzero(reading.problem != ""):
            i = int(mine[j])
            findings.append(_finding(rows, i, reading.problem[j], item.key, _cell(rows, i), reading.expected))
    for i in np.flatnonzero(said < 0):
        found = str(rows["absent_because"].iloc[i])
        expected = f"one of {', '.join(words)}{near_word(found, words)}"
        findings.append(_finding(rows, i, "unknown_word", "absent_because", found, expected))
    there = text != ""
    for i in np.flatnonzero((said > 0) & (there | ((absent > 0) & (absent != said)))):
        item = definition.items[keys.item[i] - 1]
        expected = f"an answer or a reason for its absence ({words[said[i] - 1]}), not both"
        findings.append(_finding(rows, i, "answer_and_absence", item.key, _cell(rows, i), expected))
    if findings:
        raise DataError(findings)
    return text, value, np.where(said > 0, said, absent).astype(np.int8)


def _answers(
    definition: Definition, keys: Keys, groups: Group, value: NDArray[np.float64], absent: NDArray[np.int8]
) -> Answers:
    """Return the answers as item x reading x group."""
    order = [one.key for one in definition.items]
    position = np.full(len(order) + 1, -1, dtype=np.intp)
    for i, item in enumerate(definition.answers):
        position[1 + order.index(item.key)] = i
    mine = groups.rows
    item, group = position[keys.item[mine]], groups.number[mine]
    slot, readings, unnumbered, shared = _slots(definition, groups.count, item, group, keys.trial[mine])
    shape = (len(definition.answers), int(slot.max(initial=0)) + 1, groups.count)
    numbers, reasons = np.full(shape, np.nan), np.zeros(shape, dtype=np.int8)
    numbers[item, slot, group], reasons[item, slot, group] = value[mine], absent[mine]
    for i in np.flatnonzero(shared.any(axis=1)):
        numbers[i][:, shared[i]] = numbers[i][0, shared[i]]
    return Answers(numbers, reasons, readings, unnumbered, shared)


def _slots(
    definition: Definition, n: int, item: NDArray[np.intp], group: NDArray[np.intp], trial: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the position of each answer among its group's readings, and which items were read without a number."""
    slot = np.zeros(len(trial), dtype=np.intp)
    readings = np.ones(n, dtype=np.intp)
    shape = (len(definition.answers), n)
    numbered, plain = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    if definition.rows.trial is None:
        return slot, readings, plain, plain
    has = trial > 0
    numbered[item[has], group[has]] = True
    plain[item[~has], group[~has]] = True
    if has.any():
        pairs = np.column_stack([group[has], trial[has]])
        different, which = np.unique(pairs, axis=0, return_inverse=True)
        of_group = different[:, 0].astype(np.intp)
        first = np.searchsorted(of_group, np.arange(n))
        slot[has] = (np.arange(len(different)) - first[of_group])[which.reshape(-1)]
        readings = np.maximum(np.bincount(of_group, minlength=n), 1)
    return slot, readings, plain & numbered, plain & ~numbered & numbered.any(axis=0)


def _assemble(
    definition: Definition, rows: pd.DataFrame, keys: Keys, groups: Group, scored: Any, reasons: Any
) -> pd.DataFrame:
    import pandas as pd

    scales, n = definition.scales, groups.count
    count = len(scales)

    def repeat(values: Any) -> Any:
        return np.repeat(np.asarray(values, dtype=object), count)

    def interleave(parts: list[Any], dtype: Any) -> Any:
        return np.array(parts, dtype=dtype).reshape(count, n).T.reshape(-1)

    cells = _cells(definition, rows, keys, groups)
    columns = {
        "participant_id": repeat(keys.people[groups.participant] if n else []),
        keys.time_name: repeat(keys.times[groups.time] if n else []),
        "measure": np.full(n * count, definition.key, dtype=object),
        "version": np.full(n * count, definition.version, dtype=object),
        "variant": repeat(groups.variant),
        "scale": np.tile(np.array([scale.key for scale in scales], dtype=object), n),
        "place": repeat([keys.places[i - 1] if i else None for i in groups.place]),
        "side": repeat([keys.sides[i - 1] if i else None for i in groups.side]),
        "value": interleave([scored[scale.key].value for scale in scales], float),
        "reason": interleave([reasons[scale.key] for scale in scales], object),
        "flags": interleave([flags(scored[scale.key]) for scale in scales], object),
        "items_answered": interleave([scored[scale.key].answered for scale in scales], float),
        "items_expected": interleave([scored[scale.key].expected for scale in scales], float),
        "cells": interleave(cells, object),
        "context": repeat(groups.context),
    }
    numbers = ("value", "items_answered", "items_expected")
    return pd.DataFrame(
        {name: pd.Series(one, dtype=float if name in numbers else "str") for name, one in columns.items()}
    )


def _cells(definition: Definition, rows: pd.DataFrame, keys: Keys, groups: Group) -> list[list[str]]:
    """Return for each scale the row_ids behind each group's score, in the order of items and readings."""
    if "row_id" not in rows.columns:
        return [[""] * groups.count for _ in definition.scales]
    ids = rows["row_id"].to_numpy(dtype=object)
    pairs_row, pairs_group = groups.cell_rows, groups.cell_groups
    order = np.lexsort((pairs_row, keys.trial[pairs_row], keys.item[pairs_row], pairs_group))
    pairs_row, pairs_group = pairs_row[order], pairs_group[order]
    names = [item.key for item in definition.items]
    whole = {*definition.rows.variant}
    out = []
    for scale in definition.scales:
        used = {item.key for item in definition.items_of(scale)} | whole
        used |= {i.asked_if.item for i in definition.items_of(scale) if i.asked_if}
        wanted = np.array([False, *(name in used for name in names)])[keys.item[pairs_row]]
        mine, group = ids[pairs_row[wanted]].tolist(), pairs_group[wanted]
        ends = np.searchsorted(group, np.arange(groups.count + 1))
        out.append([" ".join(mine[a:b]) for a, b in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True)])
    return out
