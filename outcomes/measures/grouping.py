"""Which answers belong together: one participant at one time, in one variant, at one place and side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from outcomes.measures.keys import Keys, pack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition

    Whole = NDArray[np.intp]

SPECIFIC = ((1, 1, 1), (1, 1, 0), (1, 0, 1), (0, 1, 1), (1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 0))
"""Which of place, side and trial a context row shares with an answer, the most specific first."""


@dataclass(frozen=True, slots=True)
class Groups:
    """Answers that make one score of each scale; sorted by participant, time, place, side and variant.

    Parameters
    ----------
    participant, time, place, side : array of int
        Of each group, as in `Keys`.
    variant, context : list of str
        Of each group.
    answer_row, answer_group : array of int
        Pairs of a row and a group that it is an answer of; an answer without a trial may belong to several.
    context_row, context_group : array of int
        Pairs of a row and a group whose variant it decided.
    """

    participant: Whole
    time: Whole
    place: Whole
    side: Whole
    variant: list[str]
    context: list[str]
    answer_row: Whole
    answer_group: Whole
    context_row: Whole
    context_group: Whole

    def __len__(self) -> int:
        return len(self.participant)


def group_rows(definition: Definition, keys: Keys, text: NDArray[np.object_]) -> Groups:
    """Return the groups of the answers, each with its variant and context.

    Parameters
    ----------
    definition : Definition
    keys : Keys
    text : array of str
        Canonical response of every row.

    Returns
    -------
    Groups

    Notes
    -----
    Groups are made by the numbered readings, because a variant may differ from reading to reading; an answer without a
    number, such as the distance, then belongs to every group of its participant, time, place and side.
    """
    number_of = {item.key: 1 + i for i, item in enumerate(definition.items)}
    context = np.isin(keys.item, [number_of[item.key] for item in definition.context])
    rows, base = np.flatnonzero(~context), keys.base()
    numbered = keys.trial[rows] > 0
    follows = ~numbered & np.isin(base[rows], base[rows[numbered]])
    own, shared = rows[~follows], rows[follows]
    heads = np.concatenate([own, _without_answers(definition, keys, rows, np.flatnonzero(context))])
    held = {
        item.key: _holding(keys, heads, np.flatnonzero(keys.item == number_of[item.key]), text)
        for item in definition.context
    }
    variant = _together(definition.rows.variant, held, text, len(heads))
    words, which = np.unique(variant.astype(str), return_inverse=True)
    _, first, group = np.unique(pack(base[heads], which.reshape(-1)), return_index=True, return_inverse=True)
    group, chosen = group.reshape(-1), heads[first]
    shared_row, shared_group = _shared(shared, base, chosen)
    context_row, context_group = _used([held[key] for key in definition.rows.variant], group)
    return Groups(
        participant=keys.participant[chosen],
        time=keys.time[chosen],
        place=keys.place[chosen],
        side=keys.side[chosen],
        variant=words[which.reshape(-1)[first]].tolist() if len(first) else [],
        context=_joined(_together(definition.rows.context, held, text, len(heads)), group, len(first)),
        answer_row=np.concatenate([own, shared_row]),
        answer_group=np.concatenate([group[: len(own)], shared_group]),
        context_row=context_row,
        context_group=context_group,
    )


def _shared(rows: Whole, base: NDArray[np.int64], chosen: Whole) -> tuple[Whole, Whole]:
    """Return pairs of each answer without a number and every group of its participant, time, place and side."""
    low, high = np.searchsorted(base[chosen], base[rows], "left"), np.searchsorted(base[chosen], base[rows], "right")
    count = high - low
    start = np.repeat(low - np.cumsum(count) + count, count)
    return np.repeat(rows, count), start + np.arange(len(start))


def _without_answers(definition: Definition, keys: Keys, rows: Whole, context: Whole) -> Whole:
    """Return a context row of each participant and time without any answer: a walk of which only the pace is known."""
    if definition.rows.place or definition.rows.side:
        return np.zeros(0, dtype=np.intp)
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


def _together(items: tuple[str, ...], held: dict[str, Whole], text: NDArray[np.object_], n: int) -> NDArray[np.object_]:
    """Return ``item=word`` of several context items, joined by commas, for each answer."""
    out = np.full(n, "", dtype=object)
    for key in items:
        there = np.flatnonzero(held[key] >= 0)
        parts = [f"{key}={word}" for word in text[held[key][there]]]
        out[there] = [f"{before},{part}" if before else part for before, part in zip(out[there], parts, strict=True)]
    return out


def _used(held: list[Whole], group: Whole) -> tuple[Whole, Whole]:
    """Return the different pairs of a context row and a group that it holds for."""
    rows = np.concatenate([found[found >= 0] for found in held]) if held else np.zeros(0, dtype=np.intp)
    groups = np.concatenate([group[found >= 0] for found in held]) if held else np.zeros(0, dtype=np.intp)
    pairs = np.unique(np.column_stack([rows, groups]), axis=0)
    return pairs[:, 0], pairs[:, 1]


def _joined(context: NDArray[np.object_], group: Whole, count: int) -> list[str]:
    """Return the context of each group; different contexts of one group stand side by side."""
    out = [""] * count
    there = np.flatnonzero(context != "")
    for number, text in sorted(set(zip(group[there].tolist(), context[there].tolist(), strict=True))):
        out[number] = f"{out[number]} | {text}" if out[number] else text
    return out
