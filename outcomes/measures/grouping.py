"""Which answers belong together: one participant at one time, in one variant, at one place and side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition

    Whole = NDArray[np.intp]

SPECIFIC = ((1, 1, 1), (1, 1, 0), (1, 0, 1), (0, 1, 1), (1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 0))
"""Which of place, side and trial a context row shares with an answer, the most specific first."""


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

    def packed(self) -> NDArray[np.int64]:
        """Return each row's whole key as one number."""
        _, trial = np.unique(self.trial, return_inverse=True)
        return pack(self.participant, self.time, self.place, self.side, self.item, trial)


@dataclass(frozen=True, slots=True)
class Group:
    """Answers that make one score of each scale.

    Parameters
    ----------
    count : int
        Groups.
    participant, time, place, side : array of int
        Of each group, as in `Keys`.
    variant, context : list of str
        Of each group.
    rows : array of int
        Rows that are answers.
    number : array of int
        Group of each row; -1 for context rows.
    cell_rows, cell_groups : array of int
        Pairs of a row and a group that it belongs to; a context row may belong to several.
    """

    count: int
    participant: Whole
    time: Whole
    place: Whole
    side: Whole
    variant: list[str]
    context: list[str]
    rows: Whole
    number: Whole
    cell_rows: Whole
    cell_groups: Whole


def pack(*columns: Whole) -> NDArray[np.int64]:
    """Return columns of small whole numbers as one number for each row; the first column counts most."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        if len(column) and key.max(initial=0) > (2**62) // (int(column.max()) + 1):
            _, ranked = np.unique(key, return_inverse=True)
            key = ranked.astype(np.int64)
        key = key * (int(column.max(initial=0)) + 1) + column
    return key


def group_rows(definition: Definition, keys: Keys, text: NDArray[np.object_]) -> Group:
    """Return the groups of the answers, each with its variant and context.

    Parameters
    ----------
    definition : Definition
    keys : Keys
    text : array of str
        Canonical response of every row.
    """
    context_keys = {item.key for item in definition.context}
    names = [item.key for item in definition.items]
    is_context = np.array([False, *(name in context_keys for name in names)])[keys.item]
    rows, alone = np.flatnonzero(~is_context), np.flatnonzero(is_context)
    if not definition.rows.place and not definition.rows.side and len(alone):
        alone = _without_answers(keys, rows, alone)  # a walk of which only the pace was written down
    else:
        alone = np.zeros(0, dtype=np.intp)
    members = np.concatenate([rows, alone])
    found = {
        key: _holding(keys, members, np.flatnonzero(keys.item == 1 + names.index(key)), text) for key in context_keys
    }
    variant, which = _together(definition.rows.variant, found, text, len(members))
    context, _ = _together(definition.rows.context, found, text, len(members))
    packed = pack(keys.participant[members], keys.time[members], keys.place[members], keys.side[members], which)
    _, first, number = np.unique(packed, return_index=True, return_inverse=True)
    number = number.reshape(-1)
    of_row = np.full(len(keys.item), -1, dtype=np.intp)
    of_row[rows] = number[: len(rows)]
    pairs = {(int(row), int(group)) for key in definition.rows.variant for row, group in _used(found[key], number)}
    extra = np.array(sorted(pairs), dtype=np.intp).reshape(-1, 2)
    head = members[first]
    return Group(
        count=len(first),
        participant=keys.participant[head],
        time=keys.time[head],
        place=keys.place[head],
        side=keys.side[head],
        variant=variant[first].tolist(),
        context=_joined(context, number, len(first)),
        rows=rows,
        number=of_row,
        cell_rows=np.concatenate([rows, extra[:, 0]]),
        cell_groups=np.concatenate([number[: len(rows)], extra[:, 1]]),
    )


def _without_answers(keys: Keys, rows: Whole, context: Whole) -> Whole:
    """Return one context row of each participant and time that has no answer at all."""
    both = pack(keys.participant, keys.time)
    lonely = context[~np.isin(both[context], both[rows])]
    _, first = np.unique(both[lonely], return_index=True)
    return lonely[first]


def _holding(keys: Keys, members: Whole, context: Whole, text: NDArray[np.object_]) -> Whole:
    """Return for each answer the row of one context item that holds for it, -1 for none."""
    found = np.full(len(members), -1, dtype=np.intp)
    context = context[text[context] != ""]
    if not len(context):
        return found
    _, trial = np.unique(np.append(keys.trial, 0.0), return_inverse=True)  # so that 0, no trial, is the first
    both = np.concatenate([context, members])
    for share in SPECIFIC:
        parts = [keys.participant[both], keys.time[both], keys.place[both], keys.side[both], trial[both]]
        for column, kept in zip(parts[2:], share, strict=True):
            if not kept:
                column[len(context) :] = 0
        packed = pack(*parts)
        of_context, of_members = packed[: len(context)], packed[len(context) :]
        order = np.argsort(of_context)
        at = np.minimum(np.searchsorted(of_context[order], of_members), len(context) - 1)
        hit = (of_context[order][at] == of_members) & (found < 0)
        found[hit] = context[order][at][hit]
    return found


def _together(
    items: tuple[str, ...], found: dict[str, Whole], text: NDArray[np.object_], n: int
) -> tuple[NDArray[np.object_], Whole]:
    """Return ``item=word`` of several context items, joined by commas, and a number for each different text."""
    out = np.full(n, "", dtype=object)
    for key in items:
        there = np.flatnonzero(found[key] >= 0)
        parts = [f"{key}={word}" for word in text[found[key][there]]]
        out[there] = [f"{before},{part}" if before else part for before, part in zip(out[there], parts, strict=True)]
    words, which = np.unique(out.astype(str), return_inverse=True) if n else (out, np.zeros(0, dtype=np.intp))
    return out, which.reshape(-1)


def _used(found: Whole, number: Whole) -> set[tuple[int, int]]:
    there = found >= 0
    return set(zip(found[there].tolist(), number[there].tolist(), strict=True))


def _joined(context: NDArray[np.object_], number: Whole, count: int) -> list[str]:
    """Return the context of each group; different contexts of one group stand side by side."""
    out = [""] * count
    there = np.flatnonzero(context != "")
    pairs = sorted(set(zip(number[there].tolist(), context[there].tolist(), strict=True)))
    for group, text in pairs:
        out[group] = f"{out[group]} | {text}" if out[group] else text
    return out
