"""Small definitions and frames that the tests of measures share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd
import pytest

from outcomes.measures.loading import parse_definition
from outcomes.measures.schema import Definition

TOP = """
key = "{key}"
version = "v1"
title = "A form of the tests"
construct = "nothing"
source = "made for the tests, no source"
"""

COLUMNS = ("place", "side", "item", "response", "absent_because")


@pytest.fixture(scope="session")
def define() -> Callable[..., Definition]:
    """Return a function that turns the rest of a definition into one."""

    def parsed(body: str, key: str = "form") -> Definition:
        return parse_definition(TOP.format(key=key) + body, f"{key}.toml")

    return parsed


@pytest.fixture(scope="session")
def frame() -> Callable[..., pd.DataFrame]:
    """Return a function that makes a frame of answers as intake writes it, from one dict a row."""

    def made(*rows: Mapping[str, Any], measure: str = "form", time: str = "visit") -> pd.DataFrame:
        defaults = {"participant_id": "P01", time: "week0", "measure": measure}
        table = pd.DataFrame([{**defaults, **row} for row in rows])
        for column in COLUMNS:
            table[column] = pd.Series(table[column] if column in table else [None] * len(table), dtype="str")
        table["trial"] = pd.Series(table.get("trial", [None] * len(table)), dtype="float64")
        table["row_id"] = pd.Series([f"assessments/{i + 1}" for i in range(len(table))], dtype="str")
        for column in ("participant_id", time, "measure"):
            table[column] = table[column].astype("str")
        return table

    return made


@pytest.fixture(scope="session")
def as_rows() -> Callable[..., list[dict[str, Any]]]:
    """Return a function that writes the arguments of `score` as rows of answers."""

    def rows(
        definition: Definition,
        given: Mapping[str, Any],
        absent: Mapping[str, Any] | None = None,
        context: Mapping[str, Any] | None = None,
    ) -> list[dict[str, Any]]:
        absent, where = absent or {}, {}
        if definition.rows.place:
            where["place"] = definition.rows.place[0]
        if definition.rows.side:
            where["side"] = "left"
        answers = {**given, **(context or {})}
        found = []
        for item in definition.items:
            if item.key not in answers and item.key not in absent:
                continue
            texts, words = answers.get(item.key), absent.get(item.key)
            listed = isinstance(texts, list) or isinstance(words, list)
            texts = texts if isinstance(texts, list) else [texts] * (len(words) if isinstance(words, list) else 1)
            words = words if isinstance(words, list) else [words] * len(texts)
            for i, (text, word) in enumerate(zip(texts, words, strict=True)):
                row = {"item": item.key, "response": None if text is None else str(text), "absent_because": word}
                found.append({**row, **where, **({"trial": i + 1} if listed else {})})
        return found

    return rows
