"""The packaged definitions as one JSON file that is quick to load, where Python keeps compiled modules.

The file is written the first time that all definitions are read, and again when one of them does not fit. Each entry
holds the hash of its TOML file, and all stand under the hash of the modules of this room: what has changed
since is read from its TOML.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

from outcomes.errors import UsageError
from outcomes.files import write_whole
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

HERE = Path(__file__).parent
FILE = HERE / "definitions" / "__pycache__" / "definitions.json"
Entries = Mapping[str, tuple[str, dict[str, Any]]]


def plain(value: Any) -> Any:
    """Return a definition, or a part of one, as nested dicts and lists without the fields that have their default."""
    if is_dataclass(value):
        pairs = ((one, getattr(value, one.name)) for one in fields(value))
        return {one.name: plain(found) for one, found in pairs if found != one.default}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return {key: plain(one) for key, one in value.items()} if isinstance(value, Mapping) else value


def restored(data: dict[str, Any]) -> Definition:
    """Return the definition that `plain` was made of; lists in `data` become tuples."""
    rows = dict(_tupled(data["rows"]))
    if "trial" in rows:
        rows["trial"] = Trial(**rows["trial"])
    return Definition(
        **{
            **_tupled(data),
            "rows": Rows(**rows),
            "items": tuple([_item(_tupled(one)) for one in data["items"]]),
            "scales": tuple([Scale(**_tupled(one)) for one in data["scales"]]),
            "bands": tuple([Band(**_tupled(one)) for one in data.get("bands", ())]),
            "published": tuple([PublishedValue(**_tupled(one)) for one in data.get("published", ())]),
            "examples": tuple([Example(**one) for one in data.get("examples", ())]),
        }
    )


def _tupled(data: dict[str, Any]) -> dict[str, Any]:
    """Turn the lists of a part into tuples; only examples hold lists, as they were typed."""
    for key, value in data.items():
        if value.__class__ is list:
            data[key] = tuple(value)
    return data


def _item(data: dict[str, Any]) -> Item:
    if "usual_at" in data:
        _tupled(data["usual_at"])
    if "asked_if" in data:
        return Item(**{**data, "asked_if": Condition(**data["asked_if"])})
    return Item(**data)


def load(path: Path, raw: bytes) -> Definition | None:
    """Return the compiled definition of a TOML file with this content; None where there is none that fits.

    Parameters
    ----------
    path : Path
    raw : bytes
        What the file holds now.
    """
    digest, data = _entries().get(path.name, ("", {}))
    return restored(data) if digest == hashlib.sha256(raw).hexdigest() else None


def write(definitions: Iterable[tuple[Path, Definition]]) -> bool:
    """Write the compiled form of all packaged definitions; return whether the place can be written.

    Parameters
    ----------
    definitions : iterable of (Path, Definition)
        Each as its file gives it.
    """
    entries = {path.name: (hashlib.sha256(path.read_bytes()).hexdigest(), plain(one)) for path, one in definitions}
    try:
        write_whole(FILE, json.dumps([_readers(), entries], separators=(",", ":")).encode())
    except UsageError:
        return False
    _entries.cache_clear()
    return True


@cache
def _readers() -> str:
    """Return the hash of every module of the room: each may change what is read from the same TOML."""
    digest = hashlib.sha256()
    for path in sorted(HERE.rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


@cache
def _entries() -> Entries:
    """Return the compiled entries by file name; none where the file is absent, damaged, or of other readers."""
    try:
        readers, entries = json.loads(FILE.read_bytes())
    except (OSError, ValueError, TypeError):
        return {}
    return entries if readers == _readers() and isinstance(entries, dict) else {}
