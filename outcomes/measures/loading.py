"""Read the TOML of a measure definition into its frozen values; report every problem at once."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from outcomes.errors import DefinitionError, Problem, near_word
from outcomes.files import sha256
from outcomes.measures.algorithms import NAMES, algorithm, name_of
from outcomes.measures.checking import problems_of
from outcomes.measures.fields import FIELDS, Field
from outcomes.measures.schema import (
    Band,
    Condition,
    Definition,
    Example,
    Item,
    PublishedValue,
    Rows,
    Scale,
    Trial,
)
from outcomes.toml_source import SIZE_LIMIT, KeyPath, TomlSource, parse_toml, read_toml
from outcomes.vocabulary import ABSENT_WORDS, PLACE_PATTERN

_KEY = re.compile(PLACE_PATTERN)


def read_definition(path: Path) -> Definition:
    """Read one definition file.

    Parameters
    ----------
    path : Path
        ``<key>.toml``, or ``<key>@<version>.toml`` for an older version.

    Raises
    ------
    DefinitionError
        Every problem of the file, each with its line.
    """
    try:
        raw = path.read_bytes()
        data = tomllib.loads(raw.decode("utf-8").replace("\r\n", "\n")) if len(raw) <= SIZE_LIMIT else None
    except (OSError, ValueError, RecursionError):
        data = None
    if data is not None:
        definition, problems = _build(TomlSource(path.name, data, {}), path.stem)
        if not problems:
            return definition
    definition, problems = _build(read_toml(path), path.stem)  # once more, now with the line of every key
    raise DefinitionError(problems)


def parse_definition(text: str, name: str) -> Definition:
    """Read a definition from text; see `read_definition`.

    Parameters
    ----------
    text : str
    name : str
        As a file would be called: ``<key>.toml``.
    """
    definition, problems = _build(parse_toml(text, name), name.removesuffix(".toml"))
    if problems:
        raise DefinitionError(problems)
    return definition


def _build(source: TomlSource, stem: str) -> tuple[Definition, list[Problem]]:
    reader = _Reader(source)
    top = reader.section((), source.data, "")
    rows = _rows(reader, source.data.get("rows", {}))
    definition = Definition(
        key=top.get("key", ""),
        version=top.get("version", ""),
        title=top.get("title", ""),
        construct=top.get("construct", ""),
        source=top.get("source", ""),
        status=top.get("status", ""),
        domain=top.get("domain", ()),
        populations=top.get("populations", ()),
        mode=top.get("mode", ""),
        licence=top.get("licence", ""),
        loinc=top.get("loinc", ""),
        traps=top.get("traps", ()),
        options=reader.mapping(("options",), top.get("options", {}), "text"),
        rows=rows,
        items=tuple(_items(reader)),
        scales=tuple(_scales(reader)),
        sha256=sha256(json.dumps(source.data, sort_keys=True, default=str).encode()),
        file=source.name,
    )
    main = next((scale.key for scale in definition.scales if scale.main), "")
    definition = _with_tables(reader, definition, main)
    names = (definition.key, f"{definition.key}@{definition.version}")
    if definition.key and stem not in names:
        reader.add(("key",), f"the file is named '{stem}', expected '{names[0]}' or '{names[1]}'")
    problems = [*reader.problems, *(source.problem(reader.path(path), text) for path, text in problems_of(definition))]
    return definition, list(dict.fromkeys(problems))


class _Reader:
    """Checks sections against `FIELDS` and collects what is wrong."""

    def __init__(self, source: TomlSource) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.table_of: dict[str, int] = {}

    def add(self, path: KeyPath, message: str) -> None:
        self.problems.append(self.source.problem(path, message))

    def path(self, path: KeyPath) -> KeyPath:
        """Return a path with the key of an item turned into the number of its table."""
        if path[0] == "items" and len(path) > 1:
            return ("items", self.table_of.get(str(path[1]), 0), *path[2:])
        return path

    def tables(self, name: str) -> list[tuple[KeyPath, dict[str, Any]]]:
        """Return the tables of one array with their paths."""
        found = self.source.data.get(name, [])
        if not isinstance(found, list) or not all(isinstance(table, dict) for table in found):
            self.add((name,), f"found {_said(found)}, expected tables in [[{name}]]")
            return []
        return [((name, i), table) for i, table in enumerate(found)]

    def section(self, path: KeyPath, data: Any, section: str) -> dict[str, Any]:
        """Return the values of one section that are as they should be; the others become problems."""
        fields = FIELDS[section]
        if not isinstance(data, dict):
            self.add(path, f"found {_said(data)}, expected a table")
            return {}
        for name in data:
            if name not in fields:
                self.problems.append(self.source.unknown_key((*path, name), list(fields)))
        values = {}
        for name, field in fields.items():
            if name in data:
                value = self.value((*path, name), data[name], field)
                if value is not None:
                    values[name] = value
            elif field.required:
                self.add(path, f"key '{name}' is required: {field.about}")
        return values

    def value(self, path: KeyPath, found: Any, field: Field) -> Any:
        """Return one value in its own form, or None, with a problem, where it has another."""
        value = _READ[field.kind](found)
        opened = bool(field.prefix) and isinstance(value, str) and value.startswith(field.prefix)
        if field.kind == "word" and value is not None and value not in field.words and not opened:
            known = ", ".join(field.words)
            self.add(path, f"found '{found}', expected one of {known}{near_word(str(found), field.words)}")
            return None
        for word in value if field.kind == "words" and value else ():
            if word not in field.words:
                self.add(
                    path, f"found '{word}', expected some of {', '.join(field.words)}{near_word(word, field.words)}"
                )
                return None
        if value is None:
            self.add(path, f"found {_said(found)}, expected {_EXPECTED[field.kind]}: {field.about}")
        return value

    def mapping(self, path: KeyPath, data: Any, kind: str) -> dict[str, Any]:
        """Return a table whose values all have one form; the others become problems."""
        values: dict[str, Any] = {}
        for name, found in data.items() if isinstance(data, dict) else ():
            value = _READ[kind](found)
            if value is None:
                self.add((*path, name), f"found {_said(found)}, expected {_EXPECTED[kind]}")
            else:
                values[name] = value
        return values


def _said(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text '{value}'"
    if isinstance(value, int | float):
        return f"the number {value}"
    return "a table" if isinstance(value, dict) else "a list" if isinstance(value, list) else "a date or time"


def _number(value: Any) -> float | None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and not math.isnan(value)
    return float(value) if good else None


def _finite(value: Any) -> float | None:
    number = _number(value)
    return number if number is not None and math.isfinite(number) else None


def _numbers(value: Any) -> tuple[float, ...] | None:
    found = [_finite(one) for one in value] if isinstance(value, list) else []
    return tuple(one for one in found if one is not None) if found and None not in found else None


def _count(value: Any) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) and value >= 1 else None


def _text(value: Any) -> str | None:
    return value.strip() if isinstance(value, str) and value.strip() else None


def _key(value: Any) -> str | None:
    return value if isinstance(value, str) and _KEY.fullmatch(value) else None


def _keys(value: Any) -> tuple[str, ...] | None:
    good = isinstance(value, list) and all(_key(one) for one in value) and len(set(value)) == len(value)
    return tuple(value) if good else None


def _texts(value: Any) -> tuple[str, ...] | None:
    return tuple(value) if isinstance(value, list) and all(_text(one) for one in value) else None


def _range(value: Any) -> tuple[float, float] | None:
    if not isinstance(value, list) or len(value) != 2:
        return None
    low, high = _number(value[0]), _number(value[1])
    return (low, high) if low is not None and high is not None and low <= high and math.isfinite(low) else None


def _codes(value: Any) -> dict[str, float] | None:
    if isinstance(value, list):
        good = bool(value) and all(isinstance(one, int) and not isinstance(one, bool) for one in value)
        return {str(one): float(one) for one in value} if good and len(set(value)) == len(value) else None
    if not isinstance(value, dict) or not value:
        return None
    numbers = {code: _finite(number) for code, number in value.items()}
    return (
        {code: number for code, number in numbers.items() if number is not None}
        if None not in numbers.values()
        else None
    )


def _value(value: Any) -> float | tuple[float, float] | str | None:
    if isinstance(value, list):
        return _range(value)
    return _text(value) if isinstance(value, str) else _finite(value)


_READ: dict[str, Any] = {
    "key": _key,
    "keys": _keys,
    "text": _text,
    "texts": _texts,
    "number": _finite,
    "numbers": _numbers,
    "count": _count,
    "flag": lambda value: value if isinstance(value, bool) else None,
    "range": _range,
    "word": _text,
    "words": _keys,
    "codes": _codes,
    "table": lambda value: value if isinstance(value, dict) else None,
    "tables": lambda value: value,  # looked into by _Reader.tables
    "value": _value,
    "label": lambda value: value if isinstance(value, str) else None,
}
_EXPECTED = {
    "key": "a key of small letters, digits and _",
    "keys": "a list of different keys of small letters, digits and _",
    "text": "text",
    "texts": "a list of texts",
    "number": "a number",
    "numbers": "a list of numbers",
    "count": "a whole number from 1",
    "flag": "true or false",
    "range": "[low, high] with low not above high",
    "word": "a word",
    "words": "a list of different words",
    "codes": "codes: { code = number, ... }, or a list of different whole numbers",
    "table": "a table",
    "value": "a number, [low, high] or text",
    "label": "text",
}


def _rows(reader: _Reader, data: Any) -> Rows:
    if not isinstance(data, dict):
        return Rows()
    values = reader.section(("rows",), data, "rows")
    values.pop("trial", None)
    if isinstance(data.get("trial"), dict):
        trial = reader.section(("rows", "trial"), data["trial"], "rows.trial")
        if "max" in trial:
            values["trial"] = Trial(**trial)
    values["landmarks"] = reader.mapping(("rows", "landmarks"), values.get("landmarks", {}), "text")
    words = reader.mapping(("rows", "absent_words"), values.get("absent_words", {}), "text")
    for typed, word in words.items():
        if word not in ABSENT_WORDS:
            known = f"one of {', '.join(ABSENT_WORDS)}{near_word(word, ABSENT_WORDS)}"
            reader.add(("rows", "absent_words", typed), f"found '{word}', expected {known}")
    values["absent_words"] = {typed: word for typed, word in words.items() if word in ABSENT_WORDS}
    return Rows(**values)


def _items(reader: _Reader) -> list[Item]:
    items = []
    for path, data in reader.tables("items"):
        values = reader.section(path, data, "items")
        if ("key" in data) == ("keys" in data):
            reader.add(path, "one of 'key' and 'keys' is required")
        values["usual_at"] = reader.mapping((*path, "usual_at"), values.get("usual_at", {}), "range")
        values["spellings"] = reader.mapping((*path, "spellings"), values.get("spellings", {}), "label")
        if "asked_if" in values:
            condition = reader.section((*path, "asked_if"), values.pop("asked_if"), "asked_if")
            if len(condition) == 2 and "item" in condition:
                values["asked_if"] = Condition(**condition)
            else:
                reader.add((*path, "asked_if"), "expected item and one of above, at_least, below, at_most")
        keys = values.pop("keys", ()) or ((values["key"],) if "key" in values else ())
        values.pop("key", None)
        reader.table_of |= {key: int(path[1]) for key in keys if key not in reader.table_of}
        items += [Item(key=key, **values) for key in keys]
    return items


def _scales(reader: _Reader) -> list[Scale]:
    scales = []
    for path, data in reader.tables("scales"):
        values = reader.section(path, data, "scales")
        values["recode"] = reader.mapping((*path, "recode"), values.get("recode", {}), "number")
        if "key" in values:
            if (name := name_of(values.get("rule", ""))) in NAMES:
                values.setdefault("items", algorithm(name).scales.get(values["key"], ()))
                values["codes"] = algorithm(name).codes.get(values["key"], {})
            scales.append(Scale(**values))
    return scales


def _with_tables(reader: _Reader, definition: Definition, main: str) -> Definition:
    """Return the definition with its bands, published values and examples."""
    from dataclasses import replace

    bands = []
    for path, data in reader.tables("bands"):
        values = {"scale": main, **reader.section(path, data, "bands")}
        if FIELDS["bands"].keys() & {"set", "range", "label", "source"} <= values.keys():
            bands.append(Band(**values))
    published = []
    for path, data in reader.tables("published"):
        values = {"scale": main, **reader.section(path, data, "published")}
        if {name for name, field in FIELDS["published"].items() if field.required} <= values.keys():
            published.append(PublishedValue(**values))
    examples = [example for path, data in reader.tables("examples") if (example := _example(reader, path, data))]
    return replace(definition, bands=tuple(bands), published=tuple(published), examples=tuple(examples))


def _example(reader: _Reader, path: KeyPath, data: Mapping[str, Any]) -> Example | None:
    values = reader.section(path, data, "examples")
    if ("expected" in data) == ("refused" in data):
        reader.add(path, "one of 'expected' and 'refused' is required")
    for scale, found in (values.get("expected") or {}).items():
        if _number(found) is None and _text(found) is None:
            reader.add((*path, "expected", scale), f"found {_said(found)}, expected a number or a reason")
            return None
    return Example(**values) if {"given", "source"} <= values.keys() else None
