"""The values that a measure definition is read into; `fields` says what its TOML file may hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from outcomes.errors import UsageError, near_word

SLACK = 1e-9
"""Binary fractions: 42.1 - 41.1 is a hair above 1, the mean of three times 25.4 a hair below 25.4; neither counts."""

MAY_VARY = ("hours_since_last_session", "rests", "oedema_present")
"""Context items that say something about the day and not about how it was measured."""

FROM_MEMORY = "from memory, check before use: "
"""Beginning of a trap that says what of a definition its makers have not seen in a source."""


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
    at_least: int = 0
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
    left_out_if: tuple[str, ...] | None = None
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
    weights: tuple[float, ...] = ()
    times: tuple[str, ...] = ()
    codes: Mapping[str, float] = field(default_factory=dict)
    range: tuple[float, float] | None = None
    unit: str = "{score}"
    level: str = "ordinal"
    better: str = "none"
    missing: str = "no score"
    at_least: int = 1
    total_only: bool = False
    withheld: str = ""
    unable: float | None = None
    factor: float = 1.0
    offset: float = 0.0
    cap: float | None = None
    combine: str = ""
    combine_on: str = ""

    def name_of(self, value: float) -> str:
        """Return what a value is called, such as ``C6``; the number itself where it has no name."""
        return next((name for name, number in self.codes.items() if number == value), f"{value:g}")


def lies_in(value: float, limits: tuple[float, float], ends: str) -> bool:
    """Whether `value` lies in a range, its open ends left out.

    Examples
    --------
    >>> lies_in(0.4, (0, 0.4), "closed"), lies_in(0.4, (0, 0.4), "high open")
    (True, False)
    """
    low, high = limits
    above = value > low + SLACK if ends in ("low open", "open") else value >= low - SLACK
    below = value < high - SLACK if ends in ("high open", "open") else value <= high + SLACK
    return above and below


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
        return lies_in(value, self.range, self.ends)


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
    people: tuple[str, ...] = ()
    baseline: tuple[float, float] | None = None
    baseline_ends: str = "closed"
    direction: str = ""
    exceeded: bool = False
    age_years: tuple[float, float] | None = None
    sex: str = ""


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
    options: Mapping[str, str] = field(default_factory=dict)
    sha256: str = ""
    file: str = ""

    @property
    def from_memory(self) -> tuple[str, ...]:
        """What of the definition has not been seen in a source; each stands among the traps."""
        return tuple(trap.removeprefix(FROM_MEMORY) for trap in self.traps if trap.startswith(FROM_MEMORY))

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

    @property
    def circumstances(self) -> tuple[str, ...]:
        """Context items that say how it was measured, such as the walking aid, and not what the day was like."""
        return tuple(item.key for item in self.context if item.key not in MAY_VARY)

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
        names = (*scale.scales, *scale.times) if scale.scales else ()
        keys = set(scale.items) | (set() if scale.scales else set(scale.times))
        for name in names:
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
