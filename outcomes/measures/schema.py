"""The shape of a measure definition: every key of its TOML file with its meaning, and the values it is read into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from outcomes.errors import UsageError, near_word

Kind = Literal[
    "key", "keys", "text", "texts", "number", "count", "flag", "range", "word", "codes", "table", "tables", "value"
]
"""Form of a value: a key ``[a-z][a-z0-9_]*`` or a list of them; text; a number; a whole number from 1; true or false;
``[low, high]`` with ``inf`` for an open end; one word of a closed list; codes with their numbers; one table or several;
a number, a list ``[low, high]`` or text."""

RULES = ("value", "recode", "sum", "mean", "trials", "ratio")
COMBINE = ("mean", "median", "best")
COMBINE_ON = ("readings", "scores")
LEVELS = ("ordinal", "interval", "ratio")
BETTER = ("higher", "lower", "none")
MISSING = ("no score", "mean of answered", "sum of answered")
FEWER = ("no score", "flag")
ENDS = ("closed", "low open", "high open", "open")
STATUSES = ("VERIFIED", "COMPUTED", "MEMORY", "COMMON PRACTICE")
"""How far a source was checked: seen in the text read; worked out from seen data; from memory; no source exists."""


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a section: its form, what it means, whether it must be there, and its closed words."""

    kind: Kind
    about: str
    required: bool = False
    words: tuple[str, ...] = ()


FIELDS: dict[str, dict[str, Field]] = {
    "": {
        "key": Field("key", "name of the measure; also the name of the file", True),
        "version": Field("text", "version of the measure; part of the key of every series", True),
        "title": Field("text", "name that readers see", True),
        "construct": Field("text", "what it measures", True),
        "source": Field("text", "publication of the measure, or 'common practice, no source'", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
        "domain": Field("texts", "domains such as 'body structure', 'activity', 'quality of life'"),
        "populations": Field("texts", "people for whom it is used"),
        "mode": Field("text", "who answers or measures"),
        "licence": Field("text", "what its owners allow"),
        "loinc": Field("text", "LOINC code, only where it was verified"),
        "traps": Field("texts", "mistakes that are often made with it"),
        "rows": Field("table", "place, side and trial of its rows, and the context that is never joined"),
        "items": Field("tables", "what is answered or measured", True),
        "scales": Field("tables", "numbers that are formed", True),
        "bands": Field("tables", "published words for ranges of a scale"),
        "published": Field("tables", "published properties of the measurement"),
        "examples": Field("tables", "worked examples; each is a test"),
    },
    "rows": {
        "place": Field("keys", "where on the body; empty for a measure without places"),
        "landmarks": Field("table", "place to the landmark in words"),
        "side": Field("flag", "whether each side has its own row"),
        "trial": Field("table", "{ min, max } of readings that make one score"),
        "fewer": Field("word", "what fewer readings than min give; no score where absent", words=FEWER),
        "combine": Field("word", "how readings become one", words=COMBINE),
        "combine_on": Field("word", "whether readings are combined before or after scoring", words=COMBINE_ON),
        "if_spread_over": Field("number", "largest difference of readings above which 'then' replaces 'combine'"),
        "then": Field("word", "how readings become one where they lie further apart", words=COMBINE),
        "variant": Field("keys", "context items whose different answers are never joined"),
        "context": Field("keys", "context items that are kept beside the score"),
        "absent_words": Field("table", "word typed as a response to the reason why there is none"),
    },
    "rows.trial": {
        "min": Field("count", "readings that one score needs"),
        "max": Field("count", "readings that one score may have", True),
    },
    "items": {
        "key": Field("key", "neutral name of the item"),
        "keys": Field("keys", "several items that are answered alike, instead of key"),
        "codes": Field("codes", "legal codes: a table of code to number, or a list of whole numbers"),
        "words": Field("keys", "legal words of a context item"),
        "range": Field("range", "hard range of a number; outside it the value is impossible"),
        "usual": Field("range", "usual range of a number; outside it the value is asked about"),
        "usual_at": Field("table", "place to its own usual range"),
        "free_text": Field("flag", "true for a context item that takes any text"),
        "unit": Field("text", "UCUM code"),
        "default": Field("number", "number that is taken, with a flag, where the item has no row"),
        "asked_if": Field("table", "{ item, and one of above, at_least, below, at_most }: else it is not asked"),
        "spellings": Field("table", "other spelling to the code or word it stands for"),
    },
    "asked_if": {
        "item": Field("key", "item that decides", True),
        "above": Field("number", "asked where its number is above this"),
        "at_least": Field("number", "asked where its number is this or above"),
        "below": Field("number", "asked where its number is below this"),
        "at_most": Field("number", "asked where its number is this or below"),
    },
    "scales": {
        "key": Field("key", "name of the scale", True),
        "main": Field("flag", "true for the one scale that stands for the measure"),
        "rule": Field("word", "how it is formed", True, RULES),
        "items": Field("keys", "items it is formed from; numerator and denominator for a ratio"),
        "scales": Field("keys", "scales above it that it is formed from, instead of items"),
        "recode": Field("table", "code to another number, for the rule recode"),
        "range": Field("range", "smallest and largest possible value"),
        "unit": Field("text", "UCUM code; {score} where absent"),
        "level": Field("word", "level of measurement", True, LEVELS),
        "better": Field("word", "better direction", True, BETTER),
        "missing": Field("word", "what a missing item does; no score where absent", words=MISSING),
        "at_least": Field("count", "items that must be answered, where missing ones are allowed"),
        "unable": Field("number", "score of a person who was unable; no score where absent"),
        "factor": Field("number", "the formed number times this"),
        "offset": Field("number", "and then plus this"),
        "combine": Field("word", "as in rows, for this scale only", words=COMBINE),
        "combine_on": Field("word", "as in rows, for this scale only", words=COMBINE_ON),
    },
    "bands": {
        "set": Field("key", "name of the set of bands", True),
        "scale": Field("key", "scale; the main one where absent"),
        "range": Field("range", "from and to", True),
        "ends": Field("word", "whether both ends belong to the band; closed where absent", words=ENDS),
        "label": Field("text", "published word for the range", True),
        "source": Field("text", "publication of the set", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
    },
    "published": {
        "key": Field("key", "name that a protocol gives to use the value", True),
        "scale": Field("key", "scale; the main one where absent"),
        "statistic": Field("key", "such as mdc95, mdc90, standard_error, mcid, icc, kappa", True),
        "value": Field("value", "the value as published", True),
        "unit": Field("text", "UCUM code; 1 for what has no dimension", True),
        "population": Field("text", "people it was found in", True),
        "variant": Field("text", "variant it holds for, as score_table writes it"),
        "stratum": Field("text", "range of baseline it holds for"),
        "unit_of_analysis": Field("text", "what one value is, such as 'one value' or 'mean of both sides'"),
        "method": Field("text", "how it was found"),
        "source": Field("text", "publication", True),
        "status": Field("word", "how far the source was checked", True, STATUSES),
    },
    "examples": {
        "given": Field("table", "answers by item; a list for several readings", True),
        "absent": Field("table", "item to the reason why it has no answer"),
        "context": Field("table", "context items with their words"),
        "expected": Field("table", "scale to its value, or to the reason as text where there is none"),
        "bands": Field("table", "scale to the labels of its bands by set"),
        "flags": Field("table", "scale to its list of flags"),
        "refused": Field("key", "item whose answer is refused, instead of expected"),
        "source": Field("text", "where the expected value comes from", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
    },
}
"""Every key of a definition by section; nothing else is allowed in one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """How many readings make one score."""

    max: int
    min: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Place, side and trial of a measure's rows, and the context that decides what may be joined."""

    place: tuple[str, ...] = ()
    landmarks: Mapping[str, str] = field(default_factory=dict)
    side: bool = False
    trial: Trial | None = None
    fewer: str = "no score"
    combine: str = ""
    combine_on: str = "readings"
    if_spread_over: float | None = None
    then: str = ""
    variant: tuple[str, ...] = ()
    context: tuple[str, ...] = ()
    absent_words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """When an item is asked: where the number of another item is above, below, or at a limit."""

    item: str
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    def __str__(self) -> str:
        for word in ("above", "at_least", "below", "at_most"):
            limit = getattr(self, word)
            if limit is not None:
                return f"{self.item} is {word.replace('_', ' ')} {limit:g}"
        return self.item


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing that is answered or measured: codes, or a number in a range, or (context only) words or free text."""

    key: str
    codes: Mapping[str, float] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    range: tuple[float, float] | None = None
    usual: tuple[float, float] | None = None
    usual_at: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    free_text: bool = False
    unit: str = ""
    default: float | None = None
    asked_if: Condition | None = None
    spellings: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """One number that is formed from the answers."""

    key: str
    rule: str = ""
    main: bool = False
    items: tuple[str, ...] = ()
    scales: tuple[str, ...] = ()
    recode: Mapping[str, float] = field(default_factory=dict)
    range: tuple[float, float] | None = None
    unit: str = "{score}"
    level: str = "ordinal"
    better: str = "none"
    missing: str = "no score"
    at_least: int = 1
    unable: float | None = None
    factor: float = 1.0
    offset: float = 0.0
    combine: str = ""
    combine_on: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One published word for a range of a scale."""

    set: str
    scale: str
    range: tuple[float, float]
    label: str
    source: str
    ends: str = "closed"
    status: str = ""

    def holds(self, value: float) -> bool:
        """Whether `value` lies in the band, its open ends left out."""
        low, high = self.range
        above = value > low if self.ends in ("low open", "open") else value >= low
        below = value < high if self.ends in ("high open", "open") else value <= high
        return above and below


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedValue:
    """One published property of a measurement, with the people and the unit of analysis that it holds for."""

    key: str
    scale: str
    statistic: str
    value: float | tuple[float, float] | str
    unit: str
    population: str
    source: str
    status: str
    variant: str = ""
    stratum: str = ""
    unit_of_analysis: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One worked example; every example is a test."""

    given: Mapping[str, object]
    source: str
    absent: Mapping[str, str] = field(default_factory=dict)
    context: Mapping[str, object] = field(default_factory=dict)
    expected: Mapping[str, float | str] = field(default_factory=dict)
    bands: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    flags: Mapping[str, list[str]] = field(default_factory=dict)
    refused: str = ""
    status: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """One measure in one version, as its TOML file defines it.

    Parameters
    ----------
    key, version, title, construct, source : str
    rows : Rows
    items : tuple of Item
    scales : tuple of Scale
        Exactly one of them is the main one.
    bands, published, examples : tuple
    sha256 : str
        Of the parsed definition as canonical JSON; comments and layout do not count.
    file : str
        Name of its file, for messages.
    """

    key: str
    version: str
    title: str
    construct: str
    source: str
    rows: Rows
    items: tuple[Item, ...]
    scales: tuple[Scale, ...]
    bands: tuple[Band, ...] = ()
    published: tuple[PublishedValue, ...] = ()
    examples: tuple[Example, ...] = ()
    status: str = ""
    domain: tuple[str, ...] = ()
    populations: tuple[str, ...] = ()
    mode: str = ""
    licence: str = ""
    loinc: str = ""
    traps: tuple[str, ...] = ()
    sha256: str = ""
    file: str = ""

    @property
    def main_scale(self) -> Scale:
        """The scale that stands for the measure."""
        return next(scale for scale in self.scales if scale.main)

    @property
    def answers(self) -> tuple[Item, ...]:
        """Items that scales are formed from: all but the context."""
        context = {*self.rows.variant, *self.rows.context}
        return tuple(item for item in self.items if item.key not in context)

    @property
    def context(self) -> tuple[Item, ...]:
        """Items that say under what circumstances the answers were taken."""
        context = {*self.rows.variant, *self.rows.context}
        return tuple(item for item in self.items if item.key in context)

    def scale(self, key: str) -> Scale:
        """Return the scale of that key.

        Raises
        ------
        UsageError
            There is none.
        """
        for scale in self.scales:
            if scale.key == key:
                return scale
        known = [scale.key for scale in self.scales]
        raise UsageError(f"{self.key} has no scale '{key}'{near_word(key, known)}")

    def item(self, key: str) -> Item:
        """Return the item of that key.

        Raises
        ------
        UsageError
            There is none.
        """
        for item in self.items:
            if item.key == key:
                return item
        known = [item.key for item in self.items]
        raise UsageError(f"{self.key} has no item '{key}'{near_word(key, known)}")

    def items_of(self, scale: Scale) -> tuple[Item, ...]:
        """Return every item that a scale is formed from, also by way of other scales, in the order of the file."""
        keys = set(scale.items)
        for name in scale.scales:
            keys |= {item.key for item in self.items_of(self.scale(name))}
        return tuple(item for item in self.items if item.key in keys)

    def levels(self, scale: str) -> tuple[float, ...] | None:
        """Return every value that a scale can take, smallest first; None where that is no short list.

        Notes
        -----
        The codes of a single item; the attainable sums of several. Means, ratios and measured numbers have none.
        """
        from outcomes.measures.levels import attainable

        return attainable(self, self.scale(scale))

    def level_names(self, scale: str) -> tuple[str, ...]:
        """Return the names of `levels`: the codes as they are typed, such as ``1+``, else the numbers; () for None."""
        from outcomes.measures.levels import names_of

        return names_of(self, self.scale(scale))
