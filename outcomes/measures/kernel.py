"""Scales from answers, for many people at once: the only arithmetic of scores."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from outcomes.measures.algorithms import algorithm, name_of
from outcomes.measures.schema import SLACK
from outcomes.vocabulary import ABSENT_WORDS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from outcomes.measures.algorithms.contract import Formed
    from outcomes.measures.schema import Condition, Definition, Item, Scale

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

UNABLE = 1 + ABSENT_WORDS.index("unable")


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers of many people to the items of one measure.

    Parameters
    ----------
    value : array of shape (n_items, n_readings, n_people)
        In the order of ``definition.answers``; nan where there is no answer.
    absent : array of the same shape
        0, or 1 + the index of the reason in ``vocabulary.ABSENT_WORDS``.
    readings : array of shape (n_people,)
        Different numbers of readings that were given.
    unnumbered : array of shape (n_items, n_people)
        Whether a reading without its number stands beside numbered ones of the same item.
    shared : array of shape (n_items, n_people)
        Whether one answer without a number holds for all readings, such as the distance that was timed.
    """

    value: Floats
    absent: NDArray[np.int8]
    readings: NDArray[np.intp]
    unnumbered: Flags
    shared: Flags


@dataclass(slots=True)
class Scored:
    """One scale of many people.

    Parameters
    ----------
    value : array of shape (n_people,)
        nan where no score may be formed.
    answered, expected : array of int
        Items with an answer, items that were asked.
    marks : list of (array of bool, str)
        Flags: whom they are set for, and their text.
    outside : array of float
        The number that was formed where it lies outside the scale's range, else nan.
    reason, explanation : array of str
        Of an algorithm: why there is no score, and how one was reached.
    """

    value: Floats
    answered: NDArray[np.integer]
    expected: NDArray[np.integer]
    marks: list[tuple[Flags, str]] = field(default_factory=list)
    outside: Floats | None = None
    reason: NDArray[np.object_] | None = None
    explanation: NDArray[np.object_] | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Answers with defaults filled in and with what was not asked taken out."""

    value: Floats
    default: Flags
    not_asked: Flags
    contradicts: Flags


def meets(condition: Condition, value: Floats) -> Flags:
    """Return where the number of the deciding item makes the other item asked; a missing one does not forbid it."""
    met = np.isnan(value)
    for limit, compare in (
        (condition.above, np.greater),
        (condition.at_least, np.greater_equal),
        (condition.below, np.less),
        (condition.at_most, np.less_equal),
    ):
        if limit is not None:
            met |= compare(value, limit)
    return met


def ask(definition: Definition, answers: Answers) -> Asked:
    """Return the answers as the scales take them: by default where an item may be left out, asked or not asked."""
    items = definition.answers
    shape = (len(items), answers.value.shape[2])
    value = answers.value
    default, not_asked, contradicts = (np.zeros(shape, dtype=bool) for _ in range(3))
    if not any(item.default is not None or item.asked_if for item in items):
        return Asked(value, default, not_asked, contradicts)
    value, position = value.copy(), {item.key: i for i, item in enumerate(items)}
    for i, item in enumerate(items):
        if item.default is not None:
            default[i] = np.isnan(value[i]).all(axis=0) & (answers.absent[i] == 0).all(axis=0)
            value[i][:, default[i]] = item.default
    for i, item in enumerate(items):
        if item.asked_if is not None:
            not_asked[i] = ~meets(item.asked_if, value[position[item.asked_if.item], 0])
            contradicts[i] = not_asked[i] & ~np.isnan(value[i]).all(axis=0)
            value[i][:, not_asked[i]] = np.nan
    return Asked(value, default, not_asked, contradicts)


def evaluate(definition: Definition, answers: Answers) -> dict[str, Scored]:
    """Return every scale of a measure.

    Parameters
    ----------
    definition : Definition
    answers : Answers

    Returns
    -------
    dict of str to Scored
        In the order of the definition.

    Notes
    -----
    Sums and means are added item by item and reading by reading in the order of the definition, so that one person's
    score is the same number alone and among a million. Readings are combined before scoring (``combine_on =
    "readings"``) or after it (``"scores"``).
    """
    asked = ask(definition, answers)
    scales: dict[str, Scored] = {}
    formed: dict[str, dict[str, Formed]] = {}
    for scale in definition.scales:
        if name := name_of(scale.rule):
            if name not in formed:
                keys = [item.key for item in definition.answers]
                formed[name] = algorithm(name).form(keys, asked.value, answers.absent, definition.options)
            scored = _of_algorithm(definition, scale, formed[name][scale.key], asked, answers)
        elif scale.scales:
            scored = _of_scales(definition, scale, scales, asked)
        elif scale.rule in ("trials", "ratio"):
            scored = _of_readings(definition, scale, asked, answers)
        else:
            scored = _of_items(definition, scale, asked, answers)
        _finish(definition, scale, scored, asked, answers)
        scales[scale.key] = scored
    if definition.rows.at_least:
        _withhold(scales, answered_of_form(asked) < definition.rows.at_least)
    return scales


def _of_algorithm(definition: Definition, scale: Scale, formed: Formed, asked: Asked, answers: Answers) -> Scored:
    rows, trial = _positions(definition, scale.items), definition.rows.trial
    expected = (~asked.not_asked[rows]).sum(axis=0)
    scored = Scored(formed.value, _answered(asked, rows), expected, formed.marks)
    scored.reason, scored.explanation = formed.reason, formed.explanation
    if trial is not None:
        formed.withdraw((answers.readings > trial.max) | answers.unnumbered[rows].any(axis=0))
        scored.marks = formed.marks
    return scored


def answered_of_form(asked: Asked) -> NDArray[np.intp]:
    """Return how many items of the whole form each person answered."""
    return _answered(asked, list(range(len(asked.value))))


def _withhold(scales: dict[str, Scored], few: Flags) -> None:
    """Take every score away from people who answered too few items of the form."""
    for scored in scales.values():
        scored.value[few] = np.nan
        scored.marks = [(rows & ~few, text) for rows, text in scored.marks]
        if scored.explanation is not None:
            scored.explanation[few] = ""


def _positions(definition: Definition, items: tuple[str, ...]) -> list[int]:
    keys = [item.key for item in definition.answers]
    return [keys.index(item) for item in items]


def _of_items(definition: Definition, scale: Scale, asked: Asked, answers: Answers) -> Scored:
    rows = _positions(definition, scale.items)
    parts = [asked.value[i, 0] for i in rows]
    if scale.rule == "recode":
        parts = [_recoded(definition.item(scale.items[0]), scale, parts[0])]
    factors = _positions(definition, scale.times)
    parts = _weighted(scale, parts, [asked.value[i, 0] for i in factors])
    total, answered = added(parts, leave_out=scale.missing != "no score")
    if scale.rule == "largest":
        total = np.fmax.reduce(parts)
    if scale.missing != "no score":
        total[_not_left_out(definition, rows, asked, answers).any(axis=0)] = np.nan
    if factors:
        rows = list(dict.fromkeys((*rows, *factors)))
        answered = _answered(asked, rows)
    expected = np.full(len(total), len(rows), dtype=np.intp)
    for i in rows:
        if definition.answers[i].asked_if is not None:
            expected -= asked.not_asked[i]
    scored = Scored(total, answered, expected)
    _allow_missing(scale, scored, len(rows))
    return scored


def _weighted(scale: Scale, parts: list[Floats], factors: list[Floats]) -> list[Floats]:
    """Return the parts of a sum, each times its own factor and its weight; 0 times what is not known is 0."""
    if factors:
        pairs = zip(parts, factors, strict=True)
        parts = [np.where((part == 0) | (factor == 0), 0.0, part * factor) for part, factor in pairs]
    if scale.weights:
        parts = [part * weight for part, weight in zip(parts, scale.weights, strict=True)]
    return parts


def _not_left_out(definition: Definition, rows: list[int], asked: Asked, answers: Answers) -> Flags:
    """Return which items have no answer although the missing rule may not leave them out."""
    out = np.zeros((len(rows), asked.value.shape[2]), dtype=bool)
    for row, i in zip(out, rows, strict=True):
        allowed = definition.answers[i].left_out_if
        if allowed is not None:
            codes = [1 + ABSENT_WORDS.index(word) for word in allowed]
            row[:] = np.isnan(asked.value[i, 0]) & ~np.isin(answers.absent[i, 0], codes)
    return out


def added(parts: list[Floats], *, leave_out: bool = True) -> tuple[Floats, NDArray[np.integer]]:
    """Return the sum of the parts, one after the other, and how many of them are there.

    Parameters
    ----------
    parts : list of array of float
        nan where one is missing.
    leave_out : bool
        Whether a missing part is left out of the sum; else the sum is nan.
    """
    total = np.zeros(len(parts[0]))
    count: NDArray[Any] = np.zeros(len(parts[0]), dtype=np.uint8 if len(parts) < 256 else np.intp)
    for part in parts:
        there = part == part
        count += there.view(np.uint8)
        total += part if not leave_out or there.all() else np.where(there, part, 0.0)
    return total, count


def _recoded(item: Item, scale: Scale, value: Floats) -> Floats:
    out = np.full(len(value), np.nan)
    for code, number in item.codes.items():
        out[value == number] = scale.recode[code]
    return out


def _allow_missing(scale: Scale, scored: Scored, n: int) -> None:
    """Turn a sum of what was answered into the score that the missing rule allows, in place."""
    if scale.rule == "largest":
        scored.value[scored.answered < scale.at_least] = np.nan
        return
    if scale.missing == "no score":  # the sum is missing where one of its parts is
        if scale.rule == "mean":
            scored.value /= n
        return
    complete = scored.answered == n
    enough = scored.answered >= scale.at_least
    scored.value[~enough] = np.nan
    if scale.rule == "mean":
        scored.value[enough] /= scored.answered[enough]
    elif scale.missing == "mean of answered":
        part = enough & ~complete
        scored.value[part] = scored.value[part] / scored.answered[part] * n
    scored.marks.append((enough & ~complete & ~np.isnan(scored.value), "items missing"))


def _of_scales(definition: Definition, scale: Scale, scales: dict[str, Scored], asked: Asked) -> Scored:
    parts = _weighted(
        scale, [scales[name].value for name in scale.scales], [scales[name].value for name in scale.times]
    )
    if scale.rule == "ratio":
        parts = [np.divide(parts[0], parts[1], out=np.full(len(parts[0]), np.nan), where=parts[1] > 0)]
    total, there = added(parts, leave_out=scale.missing != "no score")
    scored = Scored(total, there, np.full(len(total), len(scale.scales), dtype=np.intp))
    _allow_missing(scale, scored, len(scale.scales))
    rows = _positions(definition, tuple(item.key for item in definition.items_of(scale)))
    scored.answered = _answered(asked, rows)
    scored.expected = (~asked.not_asked[rows]).sum(axis=0)
    for name in (*scale.scales, *scale.times):
        scored.marks += scales[name].marks
    return scored


def _answered(asked: Asked, rows: list[int]) -> NDArray[np.intp]:
    """Return how many items have an answer; one that was taken by default has none."""
    count: NDArray[np.intp] = (~np.isnan(asked.value[rows]).all(axis=1) & ~asked.default[rows]).sum(axis=0)
    return count


def _of_readings(definition: Definition, scale: Scale, asked: Asked, answers: Answers) -> Scored:
    rows = _positions(definition, scale.items)
    values = asked.value[rows]
    answered = _answered(asked, rows)
    expected = (~asked.not_asked[rows]).sum(axis=0)
    whole: Flags = np.logical_not(np.isnan(values).any(axis=0))
    readings = [np.where(whole, one, np.nan) for one in values]
    how, on = scale.combine or definition.rows.combine, scale.combine_on or definition.rows.combine_on
    if scale.rule == "ratio":
        if on == "readings":
            top, bottom = (combined(definition, scale, one, how)[0] for one in readings)
            value, spread = top / bottom, np.zeros(len(top), dtype=bool)
        else:
            value, spread = combined(definition, scale, readings[0] / readings[1], how)
    else:
        value, spread = combined(definition, scale, readings[0], how)
    scored = Scored(value, answered, expected)
    _mark_readings(definition, scale, scored, whole, spread, asked, answers)
    return scored


def combined(definition: Definition, scale: Scale, readings: Floats, how: str) -> tuple[Floats, Flags]:
    """Return one value from the readings of each person, and where they lie too far apart for the usual rule."""
    if len(readings) == 1:
        return readings[0], np.zeros(readings.shape[1], dtype=bool)
    value = _combine(readings, how, scale.better)
    limit = definition.rows.if_spread_over
    if limit is None:
        return value, np.zeros(len(value), dtype=bool)
    spread = np.fmax.reduce(readings) - np.fmin.reduce(readings) > limit + SLACK
    other = _combine(readings[:, spread], definition.rows.then, scale.better)
    value[spread] = other
    return value, spread


def _combine(readings: Floats, how: str, better: str) -> Floats:
    if how == "best":
        best: Floats = np.fmax.reduce(readings) if better == "higher" else np.fmin.reduce(readings)
        return best
    if how == "median":
        ordered = np.sort(readings, axis=0)  # nan last
        n = (~np.isnan(readings)).sum(axis=0)
        low, high = np.maximum(n - 1, 0) // 2, np.maximum(n, 1) // 2
        people = np.arange(readings.shape[1])
        middle: Floats = (ordered[low, people] + ordered[np.minimum(high, len(ordered) - 1), people]) / 2
        return middle
    total, count = added(list(readings))
    mean: Floats = np.divide(total, count, out=np.full(len(total), np.nan), where=count > 0)
    return mean


def _mark_readings(
    definition: Definition, scale: Scale, scored: Scored, whole: Flags, spread: Flags, asked: Asked, answers: Answers
) -> None:
    """Set the flags of a score that is formed from readings, and take it away where there are too few or too many."""
    rows, trial = _positions(definition, scale.items), definition.rows.trial
    there = ~np.isnan(scored.value)
    count = whole.sum(axis=0)
    if trial is not None:
        few = there & (count < trial.min)
        if definition.rows.fewer == "flag":
            scored.marks.append((few, "low_quality"))
        else:
            scored.value[few] = np.nan
        scored.value[answers.readings > trial.max] = np.nan
    scored.value[answers.unnumbered[rows].any(axis=0)] = np.nan
    there = ~np.isnan(scored.value)
    if len(whole) > 1:
        scored.marks.append((there & spread, f"{definition.rows.then} of readings"))
        own = ~np.isnan(asked.value[rows]) & ~(asked.default[rows] | answers.shared[rows])[:, None]
        scored.marks.append((there & (own.any(axis=0) & ~whole).any(axis=0), "reading left out"))
        absent = (answers.absent[rows] > 0).any(axis=(0, 1))
        scored.marks.append((there & absent, "reading absent"))
    for i, row in enumerate(rows):
        item = definition.item(scale.items[i])
        scored.marks.append((there & asked.default[row], f"{item.key} by default"))


def _finish(definition: Definition, scale: Scale, scored: Scored, asked: Asked, answers: Answers) -> None:
    """Apply factor, offset and cap, the range of the scale, and the score of who was unable; or withhold it."""
    if (scale.factor, scale.offset) != (1.0, 0.0):
        scored.value = scored.value * scale.factor + scale.offset
    if scale.cap is not None:
        above = scored.value > scale.cap + SLACK
        scored.value = np.where(above, scale.cap, scored.value)
        scored.marks.append((above, f"{scale.key} capped at {scale.cap:g}"))
    if scale.range is not None and (scale.rule != "sum" or scale.weights or scale.times):
        out = (scored.value < scale.range[0] - SLACK) | (scored.value > scale.range[1] + SLACK)
        if out.any():
            scored.outside = np.where(out, scored.value, np.nan)
            scored.value = np.where(out, np.nan, scored.value)
    if scale.unable is not None:
        rows = _positions(definition, scale.items)
        none = np.isnan(asked.value[rows]).all(axis=1)
        unable = (none & (answers.absent[rows] == UNABLE).any(axis=1)).any(axis=0) & np.isnan(scored.value)
        scored.value[unable] = scale.unable
        scored.marks.append((unable, "unable"))
    if scored.explanation is not None:
        scored.explanation[np.isnan(scored.value)] = ""
    if scale.withheld:
        scored.value = np.full(len(scored.value), np.nan)
        scored.outside, scored.marks = None, []
