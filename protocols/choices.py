"""Change single choices of a protocol for one run, through the same checks as the file."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from typing import Any

from outcomes.errors import DefinitionError, UsageError, near_word, printable
from outcomes.toml_source import spell_path
from protocols.keys import Shape, keys_at, shape_at
from protocols.reading import build
from protocols.schema import Protocol

NAME_PATTERN = re.compile(r"[a-z_][a-z0-9_.]*")
FIXED = ("schema", "frozen", "statements")
"""Sections that no run may change: the layout, the seal, and the author's own sentences."""

Change = tuple[str, object, object]
"""Key, value of the protocol, value used."""


def with_choices(protocol: Protocol, choices: Mapping[str, str]) -> tuple[Protocol, list[Change]]:
    """Return the protocol with some choices changed, and the list of those that differ.

    Parameters
    ----------
    protocol : Protocol
        As read from its file.
    choices : mapping of str to str
        Key path to value as typed, such as ``{"analysis.alpha": "0.1"}``. An entry of a list is named by its key or
        measure, or by its number from 0: ``measures.limb_girth.minimal_change``. A list is typed with commas.

    Returns
    -------
    Protocol
        Its `sha256` and `changed_after_freezing` remain those of the file.
    list of (key, protocol value, used value)
        Only choices whose value differs.

    Raises
    ------
    UsageError
        A name that is no key, a value of the wrong kind, or a choice that the protocol's rules refuse.
    """
    data = copy.deepcopy(protocol.source.data)
    named: list[tuple[str, tuple[str | int, ...]]] = []
    for name, text in choices.items():
        path = _path(protocol, name)
        shape = shape_at(path)
        if shape is None or shape.kind in ("table", "tables", "sentences"):
            raise UsageError(f"'{name}' cannot be set for one run; change protocol.toml")
        _put(data, path, _parse(shape, name, text))
        named.append((name, path))
    try:
        changed = build(protocol.source, data)
    except DefinitionError as error:
        given = " ".join(f"{name}={printable(text)}" for name, text in choices.items())
        faults = "; ".join(f"{p.path}: {p.message}" if p.path else p.message for p in error.problems)
        raise UsageError(f"{given} is refused: {faults}") from error
    found = [(name, _value(protocol, path), _value(changed, path)) for name, path in named]
    return changed, [change for change in found if change[1] != change[2]]


def _path(protocol: Protocol, name: str) -> tuple[str | int, ...]:
    """Return the key path that a dotted name stands for."""
    if not NAME_PATTERN.fullmatch(name):
        raise UsageError(f"'{printable(name)}' is no key of protocol.toml; one looks like analysis.alpha")
    path: tuple[str | int, ...] = ()
    for part in name.split("."):
        shape = shape_at(path)
        if shape is not None and shape.kind == "tables":
            path = (*path, _position(protocol, path, part, name))
            continue
        known = [key for key in keys_at(path) if path or key not in FIXED]
        if part not in known:
            where = f" in {spell_path(path)}" if path else ""
            raise UsageError(f"'{name}': no key '{part}'{where} that can be set{near_word(part, known)}")
        path = (*path, part)
    return path


def _position(protocol: Protocol, path: tuple[str | int, ...], part: str, name: str) -> int:
    """Return the position of the entry of an array of tables that `part` names."""
    rows = _value(protocol, path)
    assert isinstance(rows, tuple)
    if part.isdigit() and int(part) < len(rows):
        return int(part)
    words = [str(getattr(row, "measure", None) or getattr(row, "key", None) or "") for row in rows]
    if words.count(part) > 1:
        raise UsageError(
            f"'{name}': {words.count(part)} entries of {spell_path(path)} are '{part}'; give its number from 0"
        )
    if part not in words:
        raise UsageError(f"'{name}': no entry '{part}' in {spell_path(path)}{near_word(part, words)}")
    return words.index(part)


def _parse(shape: Shape, name: str, text: str) -> Any:
    """Return a typed value from what was typed on the command line."""
    if shape.kind in ("list", "pair"):
        assert shape.item is not None
        parts = [part.strip() for part in text.split(",")] if text.strip() else []
        return [_parse(shape.item, name, part) for part in parts]
    try:
        if shape.kind == "whole number" or (shape.words and all(isinstance(word, int) for word in shape.words)):
            return int(text)
        if shape.kind == "number":
            return float(text)
        if shape.kind == "true or false":
            return {"true": True, "false": False}[text]
    except (ValueError, KeyError):
        raise UsageError(f"{name}={printable(text)}: expected {shape.expected}") from None
    return text


def _put(data: dict[str, Any], path: tuple[str | int, ...], value: Any) -> None:
    """Write a value into nested data, making the tables on the way."""
    inner: Any = data
    for part in path[:-1]:
        inner = inner[part] if isinstance(part, int) else inner.setdefault(part, {})
    inner[path[-1]] = value


def _value(protocol: Protocol, path: tuple[str | int, ...]) -> object:
    """Return the value of a checked protocol at a key path; None where a section is absent."""
    value: Any = protocol
    for part in path:
        if value is None:
            return None
        value = value[part] if isinstance(part, int) else getattr(value, part)
    return value
