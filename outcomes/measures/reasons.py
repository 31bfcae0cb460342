"""Why a person has no score, and what to know about one that stands: in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from outcomes.measures.kernel import Answers, Asked, Scored, answered_of_form, ask
from outcomes.measures.responses import span
from outcomes.units import printed_unit
from outcomes.vocabulary import ABSENT_WORDS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from outcomes.measures.schema import Definition, Item, Scale

MISSING, NOT_ASKED, CONTRADICTS = -1, -2, -3
"""States of an item beside 0, answered, and 1 + the index of the reason for its absence."""


def explain(definition: Definition, answers: Answers, scored: dict[str, Scored]) -> dict[str, NDArray[np.object_]]:
    """Return for each scale why a person has no score; empty where there is one.

    Parameters
    ----------
    definition : Definition
    answers : Answers
    scored : dict of str to Scored
        As `kernel.evaluate` returns it.

    Returns
    -------
    dict of str to array of str
    """
    asked = ask(definition, answers)
    return {scale.key: _reasons(definition, scale, scored[scale.key], answers, asked) for scale in definition.scales}


def flags(scored: Scored) -> NDArray[np.object_]:
    """Return the flags of each person's score, joined by ``"; "``."""
    out = np.full(len(scored.value), "", dtype=object)
    for rows, text in scored.marks:
        if rows.any():
            told = [text in before.split("; ") for before in out[rows]]  # two parts of one scale may say the same
            joined = [f"{before}; {text}" if before else text for before in out[rows]]
            out[rows] = [a if known else b for a, b, known in zip(out[rows], joined, told, strict=True)]
    return out


def explanations(scored: Scored) -> NDArray[np.object_]:
    """Return how each person's score was reached, in one line; empty but for the scales of an algorithm."""
    return np.full(len(scored.value), "", dtype=object) if scored.explanation is None else scored.explanation


def _reasons(
    definition: Definition, scale: Scale, scored: Scored, answers: Answers, asked: Asked
) -> NDArray[np.object_]:
    out = np.full(len(scored.value), "", dtype=object)
    people = np.flatnonzero(np.isnan(scored.value))
    if scale.withheld:
        out[people] = f"withheld: {scale.withheld}"
    elif scored.reason is not None:
        own = scored.reason[people] != ""
        own &= answered_of_form(asked)[people] >= definition.rows.at_least
        out[people[own]], people = scored.reason[people[own]], people[~own]
    if not len(people) or scale.withheld:
        return out
    items = definition.items_of(scale)
    position = {item.key: i for i, item in enumerate(definition.answers)}
    rows = [position[item.key] for item in items]
    states = _states(rows, people, answers, asked)
    deciding = [position[item.asked_if.item] for item in items if item.asked_if]
    outside = np.full(len(people), np.nan) if scored.outside is None else scored.outside[people]
    number = answers.value[deciding, 0][:, people]
    extra = [
        answers.readings[people],
        answers.unnumbered[rows][:, people].any(axis=0),
        scored.answered[people],
        outside,
        answered_of_form(asked)[people],
    ]
    pattern = np.column_stack([*states, *number, *extra])
    different, which = np.unique(np.nan_to_num(pattern, nan=np.inf), axis=0, return_inverse=True)
    texts = [_text(definition, scale, items, row) for row in different]
    out[people] = np.array(texts, dtype=object)[which.reshape(-1)]
    return out


def _states(rows: list[int], people: NDArray[np.intp], answers: Answers, asked: Asked) -> list[NDArray[np.intp]]:
    """Return for each item how it stands with each person."""
    states = []
    for i in rows:
        absent = answers.absent[i][:, people]
        first = absent[(absent > 0).argmax(axis=0), np.arange(len(people))].astype(np.intp)
        state = np.where(first > 0, first, MISSING)
        state[~np.isnan(asked.value[i][:, people]).all(axis=0)] = 0
        state[asked.not_asked[i, people]] = NOT_ASKED
        state[asked.contradicts[i, people]] = CONTRADICTS
        states.append(state)
    return states


def _text(definition: Definition, scale: Scale, items: tuple[Item, ...], row: NDArray[np.float64]) -> str:
    """Return the reason in words for one pattern of states."""
    states = [int(state) for state in row[: len(items)]]
    deciding = [item for item in items if item.asked_if]
    readings, unnumbered, answered, outside, of_form = row[len(items) + len(deciding) :]
    if of_form < definition.rows.at_least:
        least = definition.rows.at_least
        return f"{int(of_form)} of {len(definition.answers)} items of the form answered, at least {least} needed"
    numbers = dict(zip((item.key for item in deciding), row[len(items) :], strict=False))
    trial = definition.rows.trial
    parts = []
    for state, word in ((CONTRADICTS, "answered although"), (NOT_ASKED, "not asked because")):
        for item, found in zip(items, states, strict=True):
            if found == state and item.asked_if is not None:
                other = definition.item(item.asked_if.item)
                parts.append(f"{item.key} {word} {other.key} is {_code(other, numbers[item.key])}")
    for i, item in enumerate(items):
        if states[i] == MISSING and item.asked_if is not None and np.isinf(numbers[item.key]):
            parts.append(f"{item.key} not known to be asked as {item.asked_if.item} is missing")
            states[i] = 0
    if not np.isinf(outside):
        parts.append(f"{_with_unit(outside, scale.unit)} is outside {span(scale.range or (0, 0), scale.unit)}")
    if trial is not None and readings > trial.max:
        parts.append(f"{int(readings)} readings, at most {trial.max}")
    if unnumbered:
        parts.append("a reading without its number beside numbered ones")
    if scale.missing != "no score":
        return "; ".join(parts + _too_few(scale, items, states, int(answered)))
    parts += _absences(items, states)
    if not parts:
        few = f"fewer than {trial.min} readings" if trial is not None and scale.rule == "trials" else ""
        few = f"{' or '.join((*scale.scales, *scale.times))} has no score" if scale.scales else few
        parts.append(few or "no reading has all its items")
    return "; ".join(parts)


def _too_few(scale: Scale, items: tuple[Item, ...], states: list[int], answered: int) -> list[str]:
    """Return what a missing rule lacks: items that it may not leave out, else enough of them."""
    if scale.scales:
        return [f"fewer than {scale.at_least} scales have a value"]
    lacking = [
        state if item.left_out_if is not None and not (state > 0 and ABSENT_WORDS[state - 1] in item.left_out_if) else 0
        for item, state in zip(items, states, strict=True)
    ]
    few = f"{answered} of {len(items)} items answered, at least {scale.at_least} needed"
    return _absences(items, lacking) or [few]


def _absences(items: tuple[Item, ...], states: list[int]) -> list[str]:
    """Return which items have no answer, those of one reason together."""
    parts = []
    for state in dict.fromkeys(found for found in states if found > 0 or found == MISSING):
        word = "missing" if state == MISSING else ABSENT_WORDS[state - 1].replace("_", " ")
        keys = [item.key for item, found in zip(items, states, strict=True) if found == state]
        if len(keys) == len(items) > 1:
            return [f"all {len(items)} items {word}"]
        parts.append(f"item{'s' if len(keys) > 1 else ''} {', '.join(keys)} {word}")
    return parts


def _code(item: Item, value: float) -> str:
    return next((code for code, number in item.codes.items() if number == value), f"{value:g}")


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.3g} {printed_unit(unit)}".strip()
