"""What the schema says about each key, read from the models themselves: for messages, choices and documentation."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, NamedTuple, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from outcomes.units import column_unit, printed_unit
from protocols.schema import (
    CURRENCY_PATTERN,
    DAY_PATTERN,
    HASH_PATTERN,
    KEY_PATTERN,
    STATEMENTS,
    TEXT_PATTERN,
    Protocol,
)

PATTERN_WORDS = {
    TEXT_PATTERN: "some text",
    KEY_PATTERN: "small letters, digits and _, beginning with a letter",
    DAY_PATTERN: "a day such as 2026-03-31",
    HASH_PATTERN: "64 hexadecimal digits",
    CURRENCY_PATTERN: "three capital letters, such as EUR",
}
"""What would fit a pattern, in words."""

KIND_WORDS = {
    str: "text in quotes",
    float: "a number",
    int: "a whole number",
    bool: "true or false",
}

_UNITS = {
    "week": "weeks",
    "weeks": "weeks",
    "cap": "s",
    "figure_cm": "cm",
    "window_days": "days",
    "lag_days": "days",
    "recent_days": "days",
}


@dataclass(frozen=True)
class Shape:
    """What a value must look like.

    Parameters
    ----------
    kind : {"text", "number", "whole number", "true or false", "word", "list", "pair", "table", "tables", "sentences"}
    words : tuple of str or int
        Allowed words of kind "word".
    bounds : str
        Range in words, empty where there is none.
    pattern : str
        Pattern of a text, empty where there is none.
    item : Shape, optional
        Shape of an element of a list or pair.
    model : type, optional
        Section model of a table.
    """

    kind: str
    words: tuple[str | int, ...] = ()
    bounds: str = ""
    pattern: str = ""
    item: Shape | None = None
    model: type[BaseModel] | None = None

    @property
    def expected(self) -> str:
        """What would be accepted, in words."""
        if self.kind == "word":
            return "one of " + ", ".join(map(str, self.words))
        if self.kind in ("list", "pair"):
            inner = self.item.expected if self.item else ""
            return f"a list in [ ] of {inner}" if self.kind == "list" else f"[first, second], each {inner}"
        fixed = {"table": "a table", "tables": "tables in [[ ]]", "sentences": "a table of texts"}
        kinds = {"text": str, "number": float, "whole number": int, "true or false": bool}
        if self.kind in fixed:
            return fixed[self.kind]
        text = KIND_WORDS[kinds[self.kind]]
        return f"{text} {self.bounds}" if self.bounds else text


class KeyDescription(NamedTuple):
    """One key of protocol.toml, for documentation."""

    path: str
    """Key path; ``[]`` marks an array of tables."""
    type: str
    """Kind of value, with its unit and range."""
    words: tuple[str | int, ...]
    """Allowed words, where the list is closed."""
    default: str
    """Default as it would be typed; "required", or "absent"."""
    description: str
    """What it means and which report line it answers."""


def shape_of(annotation: Any, metadata: Sequence[Any] = ()) -> Shape:
    """Return the shape of a field's annotation."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return shape_of(args[0], [*_constraints(args[1:]), *metadata])
    if origin in (typing.Union, types.UnionType):
        return shape_of(next(arg for arg in args if arg is not type(None)), metadata)
    if origin is Literal:
        return Shape("word", words=args)
    if origin is tuple:
        item = shape_of(args[0])
        if item.model is not None:
            return Shape("tables", item=item, model=item.model)
        return Shape("list" if args[-1] is Ellipsis else "pair", item=item)
    if origin is dict:
        return Shape("sentences", item=shape_of(args[1]))
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return Shape("table", model=annotation)
    kinds = {str: "text", float: "number", int: "whole number", bool: "true or false"}
    pattern = next((m.pattern for m in metadata if getattr(m, "pattern", None)), "")
    return replace(Shape(kinds[annotation]), bounds=_bounds(metadata), pattern=pattern)


def _constraints(metadata: Sequence[Any]) -> list[Any]:
    """Return the single constraints of an `Annotated` list, where `Field(...)` packs several."""
    found: list[Any] = []
    for one in metadata:
        found += one.metadata if isinstance(one, FieldInfo) else [one]
    return found


def _bounds(metadata: Sequence[Any]) -> str:
    low = high = ""
    for one in metadata:
        if isinstance(one, Ge):
            low = f"at least {one.ge:,}"
        elif isinstance(one, Gt):
            low = f"above {one.gt:,}"
        elif isinstance(one, Le):
            high = f"at most {one.le:,}"
        elif isinstance(one, Lt):
            high = f"below {one.lt:,}"
    return " and ".join(part for part in (low, high) if part)


def fields_of(model: type[BaseModel]) -> dict[str, tuple[FieldInfo, Shape]]:
    """Return field and shape of every key of a section, by the key as it is typed."""
    return {
        field.alias or name: (field, shape_of(field.annotation, field.metadata))
        for name, field in model.model_fields.items()
    }


def shape_at(path: Sequence[str | int]) -> Shape | None:
    """Return the shape that the schema asks for at a key path, or None for a key that it does not know."""
    shape: Shape | None = Shape("table", model=Protocol)
    for part in path:
        if shape is None:
            return None
        if isinstance(part, int):
            shape = shape.item
        elif shape.kind == "sentences":
            shape = shape.item if part in STATEMENTS else None
        else:
            known = fields_of(shape.model) if shape.model is not None and shape.kind == "table" else {}
            shape = known[part][1] if part in known else None
    return shape


def keys_at(path: Sequence[str | int]) -> tuple[str, ...]:
    """Return the keys that the schema knows inside the table at a key path."""
    shape = shape_at(path)
    if shape is None:
        return ()
    if shape.kind == "sentences":
        return tuple(STATEMENTS)
    return tuple(fields_of(shape.model)) if shape.model is not None else ()


def describe() -> Iterator[KeyDescription]:
    """Yield every key of protocol.toml with its type, words, default and the report line it answers.

    Yields
    ------
    KeyDescription
        In the order of the file; an array of tables is marked by ``[]``.

    Examples
    --------
    >>> next(key for key in describe() if key.path == "analysis.alpha").type
    'number above 0 and below 0.5'
    """
    yield from _describe(Protocol, "")


def _describe(model: type[BaseModel], prefix: str) -> Iterator[KeyDescription]:
    for name, (field, shape) in fields_of(model).items():
        path = f"{prefix}{name}" + ("[]" if shape.kind == "tables" else "")
        words = shape.words or (shape.item.words if shape.item is not None else ())
        default = _default_text(field, shape)
        yield KeyDescription(path, _type_text(name, shape), words, default, field.description or "")
        if shape.model is not None:
            yield from _describe(shape.model, path + ".")
        elif shape.kind == "sentences":
            for key, text in STATEMENTS.items():
                yield KeyDescription(f"{path}.{key}", "text", (), "absent", text)


def _type_text(name: str, shape: Shape) -> str:
    item = shape.item if shape.kind in ("list", "pair") else shape
    assert item is not None
    inner = item.kind
    if unit := unit_of(name):
        inner += f" ({unit})"
    if item.bounds:
        inner += f" {item.bounds}"
    if item.pattern and item.pattern != TEXT_PATTERN:
        inner += f" ({PATTERN_WORDS[item.pattern]})"
    return {"list": f"list of {inner}", "pair": f"two of {inner}"}.get(shape.kind, inner)


def unit_of(name: str) -> str:
    """Return the unit of a key as readers see it, from its suffix; empty where it has none."""
    return _UNITS.get(name) or printed_unit(column_unit(name))


def _default_text(field: FieldInfo, shape: Shape) -> str:
    if field.is_required():
        return "required"
    value = field.default
    if shape.kind in ("table", "tables", "sentences") or value is None or value == ():
        return "absent"
    return toml_text(value)


def toml_text(value: object) -> str:
    """Return a value as it would be typed in the file.

    Examples
    --------
    >>> toml_text(("a", "b")), toml_text(False), toml_text(0.05)
    ('["a", "b"]', 'false', '0.05')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_text(one) for one in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
