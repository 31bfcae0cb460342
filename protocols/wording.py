"""The library's validation errors in this package's words, each at its line of the file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import Problem, near_word, printable
from outcomes.toml_source import TomlSource
from protocols.keys import PATTERN_WORDS, Shape, keys_at, shape_at
from protocols.schema import STATEMENTS

if TYPE_CHECKING:
    from pydantic import ValidationError

Path = tuple[str | int, ...]


def problems_of(error: ValidationError, source: TomlSource) -> list[Problem]:
    """Return one problem for each fault that the schema found."""
    faults = error.errors(include_url=False)
    found = [_problem(tuple(one["loc"]), one["type"], one["input"], source) for one in faults]
    return list(dict.fromkeys(found))


def unknown_statements(data: dict[str, Any], source: TomlSource) -> list[Problem]:
    """Return a problem for each key of ``[statements]`` that no report prints."""
    given = data.get("statements")
    names = given if isinstance(given, dict) else {}
    return [source.unknown_key(("statements", name), tuple(STATEMENTS)) for name in names if name not in STATEMENTS]


def _problem(path: Path, kind: str, found: Any, source: TomlSource) -> Problem:
    parent, last = path[:-1], path[-1]
    if kind == "extra_forbidden":
        return source.unknown_key(path, keys_at(parent))
    if kind == "missing" and isinstance(last, str):
        return source.problem(parent, _required(path))
    shape = shape_at(path)
    if kind == "missing" or (kind == "too_long" and shape is not None and shape.kind == "pair"):
        at = parent if kind == "missing" else path
        return source.problem(at, "two values are needed: [first, second]")
    if shape is None:
        return source.unknown_key(path, keys_at(parent))
    if kind == "literal_error" and isinstance(found, str | int) and not isinstance(found, bool):
        return source.problem(path, not_one_of(found, shape.words))
    return source.problem(path, f"found {found_text(found)}, expected {_expected(shape, found)}")


def not_one_of(found: object, words: Sequence[object]) -> str:
    """Return the message for a word that is none of a closed list.

    Examples
    --------
    >>> not_one_of("holms", ("holm", "bh", "none"))
    "'holms' is not one of holm, bh, none; did you mean 'holm'?"
    """
    spoken = [str(word) for word in words]
    near = near_word(found, spoken) if isinstance(found, str) else ""
    return f"'{printable(found)}' is not one of {', '.join(spoken)}{near}"


def _required(path: Path) -> str:
    shape = shape_at(path)
    name = path[-1]
    if shape is not None and shape.kind == "tables":
        return f"at least one [[{name}]] is required"
    if shape is not None and shape.kind == "table" and len(path) == 1:
        return f"section [{name}] is required"
    return f"key '{name}' is required"


def _expected(shape: Shape, found: Any) -> str:
    if shape.pattern and isinstance(found, str):
        return PATTERN_WORDS[shape.pattern]
    return shape.expected


def found_text(value: Any) -> str:
    """Return a value of the file in words: its kind, and the value itself where it is short.

    Examples
    --------
    >>> found_text("12"), found_text(12), found_text(True), found_text((1, 2))
    ("the text '12'", 'the number 12', 'true', 'a list')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"the text '{printable(value)}'" if value.strip() else "an empty text"
    if isinstance(value, int | float):
        return f"the number {printable(value)}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    return f"the date or time {printable(value)} without quotes"
