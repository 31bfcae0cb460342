"""Every published or defined case of dose, as ``cases/dose_*.toml`` gives it."""

from __future__ import annotations

import functools
import tomllib
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

FILES = sorted((Path(__file__).parent / "cases").glob("dose_*.toml"))
CASES = [
    pytest.param(document, case, id=f"{file.stem}-{number}-{case['function'].rpartition('.')[2]}")
    for file in FILES
    for document in [tomllib.loads(file.read_text(encoding="utf-8"))]
    for number, case in enumerate(document["cases"], start=1)
]


def test_there_are_cases() -> None:
    assert len(FILES) >= 2
    assert len(CASES) >= 25


@pytest.mark.parametrize(("document", "case"), CASES)
def test_the_function_gives_the_value_of_its_source(document: dict[str, Any], case: dict[str, Any]) -> None:
    assert case.get("source", document["source"])
    assert document["checked"]
    room, _, name = case["function"].rpartition(".")
    result = getattr(import_module(room), name)(**case["given"])
    for path, expected in case["expected"].items():
        found = result if path == "value" else functools.reduce(getattr, path.split("."), result)
        assert found == pytest.approx(expected, abs=case["tolerance"], rel=0, nan_ok=True), path
