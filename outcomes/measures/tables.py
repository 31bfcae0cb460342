"""Scores of a whole table of answers."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from outcomes.errors import DataError, Finding, UsageError, near_word
from outcomes.measures.catalogue import Catalogue
from outcomes.measures.grouping import Groups, group_rows
from outcomes.measures.kernel import Answers, Scored, evaluate
from outcomes.measures.keys import Keys, finding_at, read_keys, words_of
from outcomes.measures.reasons import explain, explanations, flags
from outcomes.measures.responses import as_text, read_responses
from outcomes.measures.typed import total_scales, with_totals
from outcomes.vocabulary import ABSENT_WORDS

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
        be formed), reason (why not), flags, items_answered, items_expected, cells (row_ids), context,
        explanation (how an algorithm reached the value). Sorted by participant, time, place, side, variant, scale; the
        order of the rows of `frame` does not matter.

    Raises
    ------
    UsageError
        No such measure or version; a column is not there.
    DataError
        Impossible responses, unknown items, places or sides, two answers for one key, two versions: all findings.

    Notes
    -----
    A context row (pace, device) without place, side and trial holds for the whole measure at that visit, one with them
    for its own rows only. An answer without a trial beside others with one holds for all readings. A row whose item is
    a scale that may be typed as a total gives its score, with the flag "total typed", where no item of it is answered.
    """
    definition = _definition(measure, frame, version, catalogue or Catalogue.packaged())
    rows = _rows(definition, frame)
    totals = rows["item"].isin(total_scales(definition)).to_numpy(dtype=bool)
    typed, rows = rows[totals].reset_index(drop=True), rows[~totals].reset_index(drop=True)
    keys = read_keys(definition, rows)
    text, value, absent = _read(definition, rows, keys)
    groups = group_rows(definition, keys, text)
    answers = _answers(definition, keys, groups, value, absent)
    scored = evaluate(definition, answers)
    reasons = explain(definition, answers, scored)
    scores = _assemble(definition, keys, groups, scored, reasons, _cells(definition, rows, keys, groups))
    return with_totals(definition, scores, typed, keys.time_name) if len(typed) else scores


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


def _read(
    definition: Definition, rows: pd.DataFrame, keys: Keys
) -> tuple[NDArray[np.object_], NDArray[np.float64], NDArray[np.int8]]:
    """Return text, number and reason of absence of every row, by the one reading of a response."""
    n = len(rows)
    text, value, absent = np.full(n, "", dtype=object), np.full(n, np.nan), np.zeros(n, dtype=np.intp)
    responses = rows["response"].to_numpy(dtype=object)
    said, words = words_of(rows, "absent_because", ABSENT_WORDS)
    findings: list[Finding] = []
    for number, item in enumerate(definition.items, start=1):
        mine = np.flatnonzero(keys.item == number)
        reading = read_responses(definition, item.key, responses[mine].tolist())
        text[mine], value[mine] = reading.text, reading.value
        for word in set(reading.absent.tolist()) - {""}:
            absent[mine[reading.absent == word]] = 1 + words.index(word)
        for j in np.flatnonzero(reading.problem != "").tolist():
            i = int(mine[j])
            found = as_text(responses[i])
            findings.append(finding_at(rows, i, reading.problem[j], item.key, found, reading.expected))
    both = (said > 0) & ((text != "") | ((absent > 0) & (absent != said)))
    for i in np.flatnonzero((said < 0) | both).tolist():
        name = definition.items[keys.item[i] - 1].key
        if said[i] < 0:
            found = as_text(rows["absent_because"].iloc[i])
            expected = f"one of {', '.join(words)}{near_word(found, words)}"
            findings.append(finding_at(rows, i, "unknown_word", "absent_because", found, expected))
        else:
            expected = f"an answer or '{words[said[i] - 1]}' in absent_because, not both"
            findings.append(finding_at(rows, i, "answer_and_absence", name, as_text(responses[i]), expected))
    if findings:
        raise DataError(findings)
    return text, value, np.where(said > 0, said, absent).astype(np.int8)


def _answers(
    definition: Definition, keys: Keys, groups: Groups, value: NDArray[np.float64], absent: NDArray[np.int8]
) -> Answers:
    """Return the answers as item x reading x group."""
    order = [one.key for one in definition.items]
    position = np.full(len(order) + 1, -1, dtype=np.intp)
    for at, one in enumerate(definition.answers):
        position[1 + order.index(one.key)] = at
    rows, group = groups.answer_row, groups.answer_group
    item = position[keys.item[rows]]
    slot, readings, unnumbered, shared = _slots(definition, len(groups), item, group, keys.trial[rows])
    shape = (len(definition.answers), int(slot.max(initial=0)) + 1, len(groups))
    numbers, reasons = np.full(shape, np.nan), np.zeros(shape, dtype=np.int8)
    numbers[item, slot, group], reasons[item, slot, group] = value[rows], absent[rows]
    for i in np.flatnonzero(shared.any(axis=1)):
        numbers[i][:, shared[i]] = numbers[i][0, shared[i]]
    return Answers(numbers, reasons, readings, unnumbered, shared)


def _slots(
    definition: Definition, n: int, item: NDArray[np.intp], group: NDArray[np.intp], trial: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the place of each answer among its group's readings, how many there are, and the answers without one."""
    slot, readings = np.zeros(len(trial), dtype=np.intp), np.ones(n, dtype=np.intp)
    numbered, plain = (np.zeros((len(definition.answers), n), dtype=bool) for _ in range(2))
    has = trial > 0
    if definition.rows.trial is None or not has.any():
        return slot, readings, numbered, plain
    numbered[item[has], group[has]] = True
    plain[item[~has], group[~has]] = True
    trials, rank = np.unique(trial[has], return_inverse=True)
    different, which = np.unique(group[has] * len(trials) + rank.reshape(-1), return_inverse=True)
    of_group = different // len(trials)
    first = np.searchsorted(of_group, np.arange(n))
    slot[has] = (np.arange(len(different)) - first[of_group])[which.reshape(-1)]
    readings = np.maximum(np.bincount(of_group, minlength=n), 1)
    return slot, readings, plain & numbered, plain & ~numbered & numbered.any(axis=0)


def _assemble(
    definition: Definition,
    keys: Keys,
    groups: Groups,
    scored: dict[str, Scored],
    reasons: dict[str, NDArray[np.object_]],
    cells: list[list[str]],
) -> pd.DataFrame:
    """Return one row for each group and scale."""
    import pandas as pd

    scales, n = definition.scales, len(groups)

    def of_groups(values: Any) -> NDArray[np.object_]:
        return np.repeat(np.asarray(values, dtype=object), len(scales))

    def of_scales(parts: list[Any], dtype: Any) -> NDArray[Any]:
        return np.array(parts, dtype=dtype).reshape(len(scales), n).T.reshape(-1)

    def words(known: tuple[str, ...], numbers: NDArray[np.intp]) -> NDArray[np.object_]:
        return np.array([None, *known], dtype=object)[numbers]

    several = [scored[scale.key] for scale in scales]
    columns = {
        "participant_id": of_groups(keys.people[groups.participant]),
        keys.time_name: of_groups(keys.times[groups.time]),
        "measure": of_groups([definition.key] * n),
        "version": of_groups([definition.version] * n),
        "variant": of_groups(groups.variant),
        "scale": np.tile(np.array([scale.key for scale in scales], dtype=object), n),
        "place": of_groups(words(keys.places, groups.place)),
        "side": of_groups(words(keys.sides, groups.side)),
        "value": of_scales([one.value for one in several], float),
        "reason": of_scales([reasons[scale.key] for scale in scales], object),
        "flags": of_scales([flags(one) for one in several], object),
        "items_answered": of_scales([one.answered for one in several], float),
        "items_expected": of_scales([one.expected for one in several], float),
        "cells": of_scales(cells, object),
        "context": of_groups(groups.context),
        "explanation": of_scales([explanations(one) for one in several], object),
    }
    numbers = ("value", "items_answered", "items_expected")
    return pd.DataFrame(
        {name: pd.Series(one, dtype="float64" if name in numbers else "str") for name, one in columns.items()}
    )


def _cells(definition: Definition, rows: pd.DataFrame, keys: Keys, groups: Groups) -> list[list[str]]:
    """Return for each scale the row_ids behind each group's score, in the order of items and readings."""
    if "row_id" not in rows.columns:
        return [[""] * len(groups) for _ in definition.scales]
    ids = rows["row_id"].to_numpy(dtype=object)
    row = np.concatenate([groups.answer_row, groups.context_row])
    group = np.concatenate([groups.answer_group, groups.context_group])
    order = np.lexsort((row, keys.trial[row], keys.item[row], group))
    row, group = row[order], group[order]
    out: list[list[str]] = []
    known: dict[frozenset[str], list[str]] = {}
    for scale in definition.scales:
        items = definition.items_of(scale)
        used = {*definition.rows.variant, *(item.key for item in items)}
        used |= {item.asked_if.item for item in items if item.asked_if}
        if frozenset(used) in known:
            out.append(known[frozenset(used)])
            continue
        wanted = np.array([False, *(item.key in used for item in definition.items)])[keys.item[row]]
        mine, ends = ids[row[wanted]].tolist(), np.searchsorted(group[wanted], np.arange(len(groups) + 1)).tolist()
        known[frozenset(used)] = [" ".join(mine[a:b]) for a, b in pairwise(ends)]
        out.append(known[frozenset(used)])
    return out
