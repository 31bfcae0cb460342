"""Whether the parts of one definition fit together: names, ranges, rules, bands and published values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.measures.algorithms import name_of
from outcomes.measures.algorithms.agreement import of_definition, of_scale
from outcomes.measures.fields import NORMS
from outcomes.measures.levels import attainable
from outcomes.toml_source import KeyPath

if TYPE_CHECKING:
    from outcomes.measures.schema import Band, Definition, Item, PublishedValue, Scale

Found = tuple[KeyPath, str]

OF_ERROR = {"mdc95": 2.77, "mdc90": 2.33}
"""Minimal detectable change over standard error: the root of 2 times 1.960 or 1.645, to two decimals. A published pair
that does not give its factor within its own rounding was copied wrongly."""


def problems_of(definition: Definition) -> Iterator[Found]:
    """Yield where the parts of a definition contradict each other: key path and message."""
    yield from _names(definition)
    yield from _rows(definition)
    for item in definition.items:
        yield from ((("items", item.key, *path), text) for path, text in _item(definition, item))
    sound: set[str] = set()
    for i, scale in enumerate(definition.scales):
        yield from ((("scales", i, *path), text) for path, text in _scale(definition, i, scale, sound))
    yield from of_definition(definition)
    yield from _bands(definition)
    yield from _published(definition)
    yield from _examples(definition)


def _unknown(word: str, known: Iterable[str], what: str) -> str:
    names = list(known)
    return f"no {what} '{word}'{near_word(word, names)}"


def _twice(keys: Iterable[str]) -> list[str]:
    seen: set[str] = set()
    return [key for key in keys if key in seen or seen.add(key)]  # type: ignore[func-returns-value]


def _names(definition: Definition) -> Iterator[Found]:
    for key in _twice(item.key for item in definition.items):
        yield ("items", key), f"item '{key}' is defined twice"
    for key in _twice(scale.key for scale in definition.scales):
        yield ("scales",), f"scale '{key}' is defined twice"
    if not definition.items:
        yield ("items",), "at least one item is required"
    main = [scale.key for scale in definition.scales if scale.main]
    if len(main) != 1:
        found = "none has" if not main else f"{' and '.join(main)} have"
        yield ("scales",), f"exactly one scale has main = true; {found}"


def _rows(definition: Definition) -> Iterator[Found]:
    rows, items = definition.rows, [item.key for item in definition.items]
    for name in ("variant", "context"):
        for key in getattr(rows, name):
            if key not in items:
                yield ("rows", name), _unknown(key, items, "item")
    for key in set(rows.variant) & set(rows.context):
        yield ("rows", "context"), f"'{key}' is a variant already"
    for place in rows.landmarks:
        if place not in rows.place:
            yield ("rows", "landmarks", place), _unknown(place, rows.place, "place")
    for word in rows.absent_words:
        if any(word in item.codes or word in item.words for item in definition.items):
            yield ("rows", "absent_words", word), f"'{word}' is also a code"
    if rows.at_least > len(definition.answers):
        yield ("rows", "at_least"), f"{rows.at_least} of {len(definition.answers)} items can never be answered"
    if rows.trial is None:
        given = [name for name in ("combine", "if_spread_over", "then") if getattr(rows, name)]
        if given:
            yield ("rows", given[0]), "needs trial = { min, max }"
        return
    if rows.trial.min > rows.trial.max:
        yield ("rows", "trial"), f"min {rows.trial.min} is above max {rows.trial.max}"
    if (rows.if_spread_over is None) != (not rows.then):
        yield ("rows", "then"), "if_spread_over and then belong together"


def _item(definition: Definition, item: Item) -> Iterator[Found]:
    forms = [name for name in ("codes", "words", "range", "free_text") if getattr(item, name)]
    if len(forms) != 1:
        found = "none" if not forms else " and ".join(forms)
        yield (), f"exactly one of codes, words, range and free_text is required; found {found}"
        return
    context = [one.key for one in definition.context]
    if forms[0] in ("words", "free_text") and item.key not in context:
        yield (forms[0],), "only for items that rows.variant or rows.context names"
    if item.free_text and item.key in definition.rows.variant:
        yield ("free_text",), "a variant needs words or codes: two spellings would be two variants"
    yield from _item_range(definition, item)
    legal = (*item.codes, *item.words)
    for spelling, meant in item.spellings.items():
        if meant not in legal:
            yield ("spellings", spelling), _unknown(meant, legal, "code")
        if spelling in legal:
            yield ("spellings", spelling), f"'{spelling}' is a code itself"
    for code in legal:
        if code != code.strip() or not code:
            yield (forms[0],), f"'{code}' has blanks around it"
    if item.asked_if is not None:
        known = [one.key for one in definition.answers if one.key != item.key and not one.asked_if]
        if item.asked_if.item not in known:
            yield ("asked_if", "item"), _unknown(item.asked_if.item, known, "item")


def _item_range(definition: Definition, item: Item) -> Iterator[Found]:
    usual: dict[KeyPath, tuple[float, float]] = {("usual",): item.usual} if item.usual else {}
    usual |= {("usual_at", place): limits for place, limits in item.usual_at.items()}
    for path, (low, high) in usual.items():
        if item.range is None:
            yield path, "only for an item with a range"
        elif low < item.range[0] or high > item.range[1]:
            yield path, f"{low:g} to {high:g} is not inside the range {item.range[0]:g} to {item.range[1]:g}"
    for place in item.usual_at:
        if place not in definition.rows.place:
            yield ("usual_at", place), _unknown(place, definition.rows.place, "place")
    if item.default is None:
        return
    if item.key in (one.key for one in definition.context):
        yield ("default",), "not for a context item: what was not recorded stays unknown"
    if item.codes and item.default not in item.codes.values():
        yield ("default",), f"{item.default:g} is not the number of a code"
    if item.range and not item.range[0] <= item.default <= item.range[1]:
        yield ("default",), f"{item.default:g} is outside {item.range[0]:g} to {item.range[1]:g}"


def _scale(definition: Definition, i: int, scale: Scale, sound: set[str]) -> Iterator[Found]:
    """Yield what is wrong with a scale; `sound` gathers the scales whose parts all exist."""
    if name_of(scale.rule):
        wrong = list(of_scale(definition, scale))
        yield from wrong or _scale_range(definition, scale)
        sound |= set() if wrong else {scale.key}
        return
    answers = {item.key: item for item in definition.answers}
    context = [item.key for item in definition.context]
    earlier = [one.key for one in definition.scales[:i]]
    for key in scale.items:
        if key not in answers:
            known = _unknown(key, answers, "item")
            yield ("items",), f"'{key}' is context, not an answer" if key in context else known
    for key in scale.scales:
        if key not in earlier:
            yield ("scales",), _unknown(key, earlier, "scale above")
    known_factors, what = (earlier, "scale above") if scale.scales else (list(answers), "item")
    for key in scale.times:
        if key not in known_factors:
            yield ("times",), _unknown(key, known_factors, what)
    if bool(scale.items) == bool(scale.scales):
        yield (), "one of items and scales is required"
    elif scale.rule and _all_there(scale, answers, sound):
        wrong = list(_factors(scale))
        yield from wrong
        if wrong:
            return
        sound.add(scale.key)
        yield from _rule(definition, scale)
        yield from _missing(scale)
        yield from _scale_range(definition, scale)


def _all_there(scale: Scale, answers: Iterable[str], sound: set[str]) -> bool:
    """Whether everything that a scale is formed from exists and is sound."""
    if scale.scales:
        return sound >= {*scale.scales, *scale.times}
    return {*answers} >= {*scale.items, *scale.times}


def _factors(scale: Scale) -> Iterator[Found]:
    """Yield what is wrong with the numbers, or items, that the parts of a sum are multiplied by."""
    count = len(scale.items or scale.scales)
    for name in ("weights", "times"):
        given = len(getattr(scale, name))
        if given and scale.rule != "sum":
            yield (name,), "is for the rule sum"
        elif given and given != count:
            yield (name,), f"{given} for {count} items or scales"
        elif given and scale.missing != "no score":
            yield (name,), f"'{scale.missing}' is for a plain sum"
    if 0 in scale.weights:
        yield ("weights",), "0 leaves a part out: do not name it"


def _rule(definition: Definition, scale: Scale) -> Iterator[Found]:
    count, trial, rule = len(scale.items or scale.scales), definition.rows.trial, scale.rule
    needed = {"value": 1, "recode": 1, "trials": 1, "ratio": 2}.get(rule, count)
    if count != needed:
        yield ("rule",), f"{rule} needs {needed} item{'s' if needed > 1 else ''}; found {count}"
        return
    if scale.scales and rule not in ("value", "sum", "mean", "ratio"):
        yield ("rule",), f"{rule} is formed from items, not from scales"
        return
    if rule == "trials" and trial is None:
        yield ("rule",), "trials needs rows.trial"
    if trial is not None and scale.items and rule not in ("trials", "ratio"):
        yield ("rule",), f"a measure with trials is formed by 'trials' or 'ratio', not by '{rule}'"
    combine = scale.combine or definition.rows.combine
    if trial is not None and trial.max > 1 and rule in ("trials", "ratio") and scale.items and not combine:
        yield ("combine",), "several readings need rows.combine or combine here"
    if (scale.combine or scale.combine_on) and (trial is None or scale.scales or rule not in ("trials", "ratio")):
        yield ("combine",), "only for a scale of several readings"
    if combine == "best" and scale.better == "none" and scale.items and rule in ("trials", "ratio"):
        yield ("better",), "the best of several readings needs better = higher or lower"
    if (rule == "recode") != bool(scale.recode):
        yield ("recode",), 'rule = "recode" and recode = { code = number } belong together'
    elif rule == "recode" and set(scale.recode) != set(definition.item(scale.items[0]).codes):
        codes = ", ".join(definition.item(scale.items[0]).codes) or "none"
        yield ("recode",), f"expected every code of {scale.items[0]} ({codes}) and no other"
    if rule == "ratio" and scale.items:
        item = definition.item(scale.items[1])
        if not item.range or item.range[0] <= 0:
            yield ("items",), f"{item.key} is divided by, so it needs a range above 0"


def _missing(scale: Scale) -> Iterator[Found]:
    count = len(scale.items or scale.scales)
    if scale.missing != "no score" and scale.rule not in ("sum", "mean"):
        yield ("missing",), f"'{scale.missing}' is for sum and mean"
    if scale.missing == "sum of answered" and scale.rule == "mean":
        yield ("missing",), "'sum of answered' is for sum"
    if scale.at_least > 1 and scale.missing == "no score" and scale.rule != "largest":
        yield ("at_least",), "without meaning where a missing item gives no score"
    if scale.at_least > count:
        yield ("at_least",), f"{scale.at_least} of {count} items can never be answered"


def _scale_range(definition: Definition, scale: Scale) -> Iterator[Found]:
    if scale.factor == 0:
        yield ("factor",), "0 makes every score the same"
    if scale.cap is not None and scale.range is not None and scale.cap != scale.range[1]:
        yield ("cap",), f"{scale.cap:g} is not the largest value {scale.range[1]:g} of the range"
    if scale.range is None:
        return
    low, high = scale.range
    possible = attainable(definition, scale)
    if possible is not None and (possible[0], possible[-1]) != (low, high):
        yield ("range",), f"{low:g} to {high:g}, but its codes give {possible[0]:g} to {possible[-1]:g}"
    if scale.rule == "trials" and (scale.factor, scale.offset) == (1.0, 0.0):
        limits = definition.item(scale.items[0]).range
        if limits is not None and (low < limits[0] or high > limits[1]):
            yield ("range",), f"{low:g} to {high:g} goes beyond its item's {limits[0]:g} to {limits[1]:g}"
    if scale.unable is not None and not low <= scale.unable <= high:
        yield ("unable",), f"{scale.unable:g} is outside {low:g} to {high:g}"


def overlap(a: Band, b: Band) -> bool:
    """Whether two bands share a value."""
    low, high = max(a.range[0], b.range[0]), min(a.range[1], b.range[1])
    if low < high:
        return True
    return low == high and a.holds(low) and b.holds(low)


def _bands(definition: Definition) -> Iterator[Found]:
    scales = {scale.key: scale for scale in definition.scales}
    for i, band in enumerate(definition.bands):
        scale = scales.get(band.scale)
        if scale is None:
            yield ("bands", i, "scale"), _unknown(band.scale, scales, "scale")
        elif scale.range and (band.range[0] < scale.range[0] or band.range[1] > scale.range[1]):
            low, high = scale.range
            yield ("bands", i, "range"), f"goes beyond the range {low:g} to {high:g} of {scale.key}"
    for (_, a), (i, b) in combinations(enumerate(definition.bands), 2):
        if (a.set, a.scale) == (b.set, b.scale) and overlap(a, b):
            yield ("bands", i, "range"), f"'{b.label}' overlaps '{a.label}' in the set {a.set}"


def _published(definition: Definition) -> Iterator[Found]:
    scales = [scale.key for scale in definition.scales]
    for key in _twice(value.key for value in definition.published):
        yield ("published",), f"published value '{key}' is given twice"
    for i, value in enumerate(definition.published):
        if value.scale not in scales:
            yield ("published", i, "scale"), _unknown(value.scale, scales, "scale")
        if value.baseline_ends != "closed" and value.baseline is None:
            yield ("published", i, "baseline_ends"), "needs baseline = [low, high]"
        yield from _norm(value, i, definition.published[:i])
        for error in definition.published:
            if error.statistic == "standard_error" and _same_study(value, error):
                yield from ((("published", i, "value"), text) for text in _wrong_factor(value, error))


def _norm(value: PublishedValue, i: int, earlier: tuple[PublishedValue, ...]) -> Iterator[Found]:
    """Yield what is wrong with one row of a table of norms."""
    if value.age_years is None:
        if value.sex:
            yield ("published", i, "sex"), "needs age_years = [first, last]"
        return
    form: type = float if value.statistic == "norm_upper_limit" else tuple
    if value.statistic not in NORMS or not isinstance(value.value, form):
        words = "is for norm_interval or norm_quartiles with [low, high], or norm_upper_limit with one number"
        yield ("published", i, "age_years"), words
    for other in earlier:
        if _same_people(value, other):
            yield ("published", i, "age_years"), f"overlaps the ages of '{other.key}'"


def _same_people(a: PublishedValue, b: PublishedValue) -> bool:
    """Whether two rows of tables of norms hold for some of the same people."""
    if a.age_years is None or b.age_years is None or (a.scale, a.variant) != (b.scale, b.variant):
        return False
    return (a.sex == b.sex or "" in (a.sex, b.sex)) and max(a.age_years[0], b.age_years[0]) <= min(
        a.age_years[1], b.age_years[1]
    )


def _same_study(a: PublishedValue, b: PublishedValue) -> bool:
    names = ("scale", "source", "population", "variant", "stratum", "unit_of_analysis", "unit")
    return all(getattr(a, name) == getattr(b, name) for name in names)


def _wrong_factor(change: PublishedValue, error: PublishedValue) -> Iterator[str]:
    """Yield the message for a pair whose ratio is not the one that its statistic stands for."""
    factor = OF_ERROR.get(change.statistic)
    if factor is None or not isinstance(change.value, float) or not isinstance(error.value, float):
        return
    if error.value <= 0:
        yield f"{change.statistic} stands beside a standard error of {error.value:g}; expected one above 0"
        return
    half, half_error = half_digit(change.value), half_digit(error.value)
    low = (change.value - half) / (error.value + half_error)
    high = (change.value + half) / (error.value - half_error) if error.value > half_error else float("inf")
    if not low <= factor <= high:
        yield (
            f"{change.statistic} {change.value:g} is {change.value / error.value:.2f} times the standard error "
            f"{error.value:g}; expected {factor:g} times"
        )


def half_digit(value: float) -> float:
    """Return half of the last digit that is written of a number.

    Examples
    --------
    >>> half_digit(0.25), half_digit(3.0)
    (0.005, 0.5)
    """
    _, _, decimals = f"{value!r}".partition(".")
    return 0.5 if decimals in ("", "0") else 0.5 * 10 ** -len(decimals)


def _examples(definition: Definition) -> Iterator[Found]:
    items, scales = [item.key for item in definition.items], [scale.key for scale in definition.scales]
    for i, example in enumerate(definition.examples):
        for name in ("given", "absent", "context"):
            for key in getattr(example, name):
                if key not in items:
                    yield ("examples", i, name, key), _unknown(key, items, "item")
        for name in ("expected", "bands", "flags"):
            for key in getattr(example, name):
                if key not in scales:
                    yield ("examples", i, name, key), _unknown(key, scales, "scale")
        if example.refused and example.refused not in items:
            yield ("examples", i, "refused"), _unknown(example.refused, items, "item")
