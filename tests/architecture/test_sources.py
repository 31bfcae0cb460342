"""Every rule and every expected value names the publication it comes from, or says that it has none."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEFINITIONS = sorted((ROOT / "outcomes" / "measures" / "definitions").glob("*.toml"))
CASES = sorted((ROOT / "tests" / "published" / "cases").glob("*.toml"))
SOURCED_TABLES = ("bands", "published", "examples")


def read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def test_there_are_definitions_and_cases() -> None:
    assert len(DEFINITIONS) >= 6
    assert CASES


@pytest.mark.parametrize("path", DEFINITIONS, ids=lambda path: path.stem)
def test_a_definition_its_bands_published_values_and_examples_name_a_source(path: Path) -> None:
    definition = read(path)
    assert len(definition["source"]) > 10
    for table in SOURCED_TABLES:
        for number, row in enumerate(definition.get(table, [])):
            assert row.get("source", "").strip(), f"{table}[{number}]"
    assert definition["examples"], "a definition without a worked example is not tested"
    for number, row in enumerate(definition.get("published", [])):
        assert row.get("population", "").strip(), f"published[{number}] names no population"


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_published_case_names_its_source_and_how_it_was_checked(path: Path) -> None:
    case = read(path)
    assert len(case["source"]) > 10
    assert case["checked"].strip()
    assert case["cases"]


def test_data_under_the_tests_have_a_file_beside_them_that_names_their_source() -> None:
    tests = ROOT / "tests"
    for folder in {path.parent for path in tests.rglob("*.csv")}:
        above = [parent for parent in (folder, *folder.parents) if parent.is_relative_to(tests)]
        told = [path for parent in above for path in parent.glob("SOURCES.md")]
        assert told, f"{folder.relative_to(ROOT)} holds data and no SOURCES.md"


def test_the_schema_of_the_record_is_json() -> None:
    assert json.loads((ROOT / "outcomes" / "record.schema.json").read_text(encoding="utf-8"))["title"]
