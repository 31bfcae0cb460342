"""Whether a definition has what the algorithms of its scales need."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.measures.algorithms import NAMES, algorithm, name_of
from outcomes.toml_source import KeyPath

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Algorithm
    from outcomes.measures.schema import Definition, Scale

    Found = tuple[KeyPath, str]

DECIDED = ("scales", "recode", "weights", "times", "missing", "at_least", "unable", "cap", "combine", "combine_on")
"""Keys of a scale that an algorithm leaves nothing to say about."""


def used_by(definition: Definition) -> tuple[Algorithm, ...]:
    """Return the algorithms that form scales of a definition, each once; unknown names are left out."""
    names = dict.fromkeys(name_of(scale.rule) for scale in definition.scales)
    return tuple(algorithm(name) for name in names if name in NAMES)


def of_scale(definition: Definition, scale: Scale) -> Iterator[Found]:
    """Yield what is wrong with a scale that an algorithm forms: path below the scale, and message."""
    name = name_of(scale.rule)
    if name not in NAMES:
        yield ("rule",), f"no algorithm '{name}'{near_word(name, NAMES)}"
        return
    found = algorithm(name)
    if scale.key not in found.scales:
        yield ("key",), f"the algorithm {name} forms no scale '{scale.key}'{near_word(scale.key, found.scales)}"
        return
    if scale.items != found.scales[scale.key]:
        yield ("items",), f"leave it out: the algorithm {name} says what it reads"
    default = type(scale)(key=scale.key)
    for key in DECIDED:
        if getattr(scale, key) != getattr(default, key):
            yield (key,), f"leave it out: the algorithm {name} decides it"
    if (scale.factor, scale.offset) != (1.0, 0.0):
        yield ("factor",), f"leave it out: the algorithm {name} decides the number"


def of_definition(definition: Definition) -> Iterator[Found]:
    """Yield what the whole definition lacks for its algorithms: key path and message."""
    used = used_by(definition)
    for one in used:
        yield from _items(definition, one)
        if one.repeated != (definition.rows.trial is not None):
            needs = "needs" if one.repeated else "has no use for"
            yield ("rows", "trial"), f"the algorithm {needs} trial = {{ min, max }}"
    options = {name: words for one in used for name, words in one.options.items()}
    for name, word in definition.options.items():
        if name not in options:
            yield ("options", name), f"no option '{name}'{near_word(name, options)}"
        elif word not in options[name]:
            known = ", ".join(options[name])
            yield ("options", name), f"found '{word}', expected one of {known}{near_word(word, options[name])}"


def _items(definition: Definition, used: Algorithm) -> Iterator[Found]:
    answers = {item.key: item for item in definition.answers}
    for key, numbers in used.items.items():
        item = answers.get(key)
        if item is None:
            yield ("items",), f"the algorithm reads the item '{key}'"
        elif bool(numbers) != bool(item.codes):
            yield ("items", key), f"the algorithm takes {'codes' if numbers else 'a range'} here"
        elif wrong := sorted(set(item.codes.values()) - set(numbers)):
            yield ("items", key, "codes"), f"the algorithm has no meaning for the number {wrong[0]:g}"
