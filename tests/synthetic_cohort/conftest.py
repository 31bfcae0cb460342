"""The invented cohort as its files say, read with the standard library alone."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from synthetic_cohort import write_cohort

Row = dict[str, str]


@dataclass(frozen=True)
class Written:
    """A written cohort: rows of every table by name, the headings in the files, and the truth."""

    folder: Path
    tables: dict[str, list[Row]]
    headings: dict[str, list[str]]
    truth: dict[str, Any]

    def people(self) -> dict[str, dict[str, Any]]:
        return {person["participant_id"]: person for person in self.truth["people"]}


def read(folder: Path) -> Written:
    tables: dict[str, list[Row]] = {}
    headings: dict[str, list[str]] = {}
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.reader(file)
            headings[path.stem] = next(reader)
            tables[path.stem] = [dict(zip(headings[path.stem], row, strict=True)) for row in reader]
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return Written(folder, tables, headings, truth)


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Written]:
    """Write a cohort with these arguments, once for the session."""
    known: dict[tuple[tuple[str, Any], ...], Written] = {}

    def make(**choices: Any) -> Written:
        key = tuple(sorted(choices.items()))
        if key not in known:
            folder = tmp_path_factory.mktemp("cohort")
            write_cohort(folder, **choices)
            known[key] = read(folder)
        return known[key]

    return make


@pytest.fixture(scope="session")
def cohort(written: Callable[..., Written]) -> Written:
    """The cohort that the demonstration uses."""
    return written()
