"""Which values a scale can take, and what they are called."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from outcomes.measures.schema import Definition, Scale

MOST_LEVELS = 1000
"""A scale that can take more values than this has no list of them."""


def item_values(definition: Definition, scale: Scale, item: str) -> dict[str, float]:
    """Return the number of every code of an item, as the scale counts it; empty for an item without codes."""
    codes = definition.item(item).codes
    return dict(scale.recode) if scale.recode else dict(codes)


def attainable(definition: Definition, scale: Scale) -> tuple[float, ...] | None:
    """Return every value that `scale` can take, or None where that is no short list."""
    raw = _raw(definition, scale)
    if raw is None:
        return None
    values = {value * scale.factor + scale.offset for value in raw}
    if scale.cap is not None:
        values = {min(value, scale.cap) for value in values}
    if scale.unable is not None:
        values.add(scale.unable)
    return tuple(sorted(values))


def _raw(definition: Definition, scale: Scale) -> set[float] | None:
    if scale.codes:
        return set(scale.codes.values())
    if scale.rule not in ("value", "recode", "sum", "largest") or (scale.rule == "sum" and scale.missing != "no score"):
        return None
    parts = _values_of(definition, scale, scale.items or scale.scales)
    if not parts or not all(parts):
        return None
    if scale.rule == "largest":
        return set().union(*parts)
    if scale.times:
        factors = _values_of(definition, scale, scale.times)
        parts = [{a * b for a in part for b in by} for part, by in zip(parts, factors, strict=True)]
    if scale.weights:
        parts = [{value * weight for value in part} for part, weight in zip(parts, scale.weights, strict=True)]
    sums = {0.0}
    for part in sorted(parts, key=len):
        sums = {a + b for a in sums for b in part}
        if len(sums) > MOST_LEVELS:
            return None
    return sums


def _values_of(definition: Definition, scale: Scale, names: tuple[str, ...]) -> list[set[float]]:
    """Return the values that each item, or each scale, of `scale` can take; empty where there is no list of them."""
    if scale.items:
        return [set(item_values(definition, scale, item).values()) for item in names]
    return [set(attainable(definition, definition.scale(name)) or ()) for name in names]


def names_of(definition: Definition, scale: Scale) -> tuple[str, ...]:
    """Return the names of the attainable values in the same order; empty where there is no list of them."""
    levels = attainable(definition, scale)
    if levels is None:
        return ()
    names: dict[float, str] = {value: name for name, value in scale.codes.items()}
    if scale.rule in ("value", "recode") and scale.items:
        values = item_values(definition, scale, scale.items[0])
        names = {value * scale.factor + scale.offset: code for code, value in reversed(values.items())}
    return tuple(names.get(level, f"{level:g}") for level in levels)
