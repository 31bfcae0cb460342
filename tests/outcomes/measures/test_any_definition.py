"""Any value in any place of a definition is read or refused in words, never with a trace."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DefinitionError
from outcomes.measures import Catalogue, card
from outcomes.measures.catalogue import FOLDER
from outcomes.measures.loading import parse_definition

FILES = sorted(FOLDER.glob("*.toml"))
VALUES: list[Any] = [
    0, -1, 1, 2.5, 1e308, float("inf"), float("nan"), True, False, "", "x", "mas", "1+", [], [1], [[1]], ["a", "a"], {},
    {"a": 1}, [{}], [{"key": "a"}], datetime.date(2026, 2, 1), [1, 2], [2, 1], [float("inf"), float("inf")],
]  # fmt: skip


def toml(value: Any) -> str:
    """Return a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(toml(one) for one in value)}]"
    return str(value)


def lines_with_a_value(path: Path) -> list[int]:
    lines = path.read_text(encoding="utf-8").split("\n")
    return [i for i, line in enumerate(lines) if " = " in line and not line.endswith(("[", "{"))]


def said_of(text: str, name: str) -> str:
    """Return the card of a definition with the names of its levels, or what is wrong with it."""
    try:
        definition = parse_definition(text, name)
    except DefinitionError as refusal:
        return str(refusal)
    names = [name for scale in definition.scales for name in definition.level_names(scale.key)]
    return "\n".join([card(definition), *names])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_value_in_any_place_is_read_or_refused_in_words(path: Path, data: st.DataObject) -> None:
    lines = path.read_text(encoding="utf-8").split("\n")
    at = data.draw(st.sampled_from(lines_with_a_value(path)))
    name, _, _ = lines[at].partition(" = ")
    value = data.draw(st.sampled_from(VALUES))
    lines[at] = data.draw(st.sampled_from([f"{name} = {toml(value)}", f"{name}x = {toml(value)}", "", lines[at] * 2]))
    assert said_of("\n".join(lines), path.name)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_files_are_found_by_the_catalogue(path: Path) -> None:
    key, _, version = path.stem.partition("@")
    assert Catalogue.packaged().get(key, version or None).file == path.name
