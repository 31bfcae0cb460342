"""Every planted fault is found at its row and column, with the grade that it must get; and nothing else is."""

from __future__ import annotations

import csv
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from outcomes.errors import Finding
from outcomes.intake import Intake, read_folder
from outcomes.measures import Catalogue
from protocols import read_protocol
from synthetic_cohort import write_cohort

CASES = [(7, 48, None), (7, 48, "cells"), (7, 48, "all"), (21, 30, "cells"), (22, 30, "all"), (23, 12, "all")]

AFTERMATH = {
    ("sessions_per_day", "started_at"),  # two sessions at one moment are also two on one day
    ("visit_order", "visited_at"),  # a visit five weeks later also comes after the next one
    ("outside_window", "visited_at"),
    ("visit_not_listed", "assessed_at"),  # a visit whose id is refused is not listed under the right one
    ("unknown_session", "session_id"),  # stimulation rows of a session whose own row was refused
    ("soft_limit", "mean_cadence_rpm"),  # a cadence of 0 is unusual and, with power, impossible
}
"""Findings that follow from a planted fault without standing in the very cell of the truth."""


@dataclass(frozen=True)
class Checked:
    """A cohort as it was planted and as it was read."""

    folder: Path
    truth: dict[str, Any]
    intake: Intake

    def at(self, fault: dict[str, Any]) -> Iterator[Finding]:
        """Findings in the cell of a fault, or in that of the other row of its pair."""
        for finding in self.intake.findings:
            rows = (fault["row"], fault["also_row"])
            same = finding.file == fault["file"] and finding.column == fault["column"]
            if same and (fault["row"] is None or finding.row in rows):
                yield finding


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"seed{case[0]}-{case[1]}people-{case[2]}")
def checked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Checked:
    seed, people, damage = request.param
    folder = tmp_path_factory.mktemp("cohort")
    write_cohort(folder, seed=seed, people=people, damage=damage)
    intake = read_folder(folder, read_protocol(folder / "protocol.toml"), Catalogue.packaged())
    return Checked(folder, json.loads((folder / "truth.json").read_text()), intake)


def test_every_fault_is_found_where_it_was_planted_with_its_grade(checked: Checked) -> None:
    lost = [
        fault
        for fault in checked.truth["faults"]
        if fault["grade"] in ("block", "set_aside", "ask")
        and fault["grade"] not in {finding.grade for finding in checked.at(fault)}
    ]
    assert lost == []


def test_nothing_is_found_that_was_not_planted_but_unusual_people(checked: Checked) -> None:
    planted = {(f["file"], row, f["column"]) for f in checked.truth["faults"] for row in (f["row"], f["also_row"])}
    columns = {(f["file"], f["column"]) for f in checked.truth["faults"] if f["row"] is None}
    surprises = [
        finding
        for finding in checked.intake.findings
        if (finding.file, finding.row, finding.column) not in planted
        and (finding.file, finding.column) not in columns
        and (finding.rule, finding.column) not in AFTERMATH
    ]
    assert {finding.grade for finding in surprises} <= {"ask"}
    people = {"soft_limit", "unusual", "mass_and_height", "jump", "side_difference", "rater_changed"}
    assert {finding.rule for finding in surprises} <= people
    assert len(surprises) < 25


def test_the_run_stops_only_for_damage_that_must_stop_it(checked: Checked) -> None:
    blocks = any(fault["grade"] == "block" for fault in checked.truth["faults"])
    assert checked.intake.stops is blocks


def test_duplicates_are_counted_and_only_those(checked: Checked) -> None:
    balance = checked.intake.ledger.balance().set_index("table")
    planted = Counter(fault["file"] for fault in checked.truth["faults"] if fault["grade"] == "duplicate")
    found = {f"{table}.csv": int(n) for table, n in balance["duplicates"].items() if n}
    assert found == dict(planted)


def test_every_row_of_every_readable_table_is_in_the_balance(checked: Checked) -> None:
    balance = checked.intake.ledger.balance().set_index("table")
    broken = {f["file"] for f in checked.truth["faults"] if f["kind"] in ("near_heading", "heading_twice")}
    for path in sorted(checked.folder.glob("*.csv")):
        if path.name in broken:
            continue
        with path.open(encoding="utf-8", newline="") as file:
            rows = len(list(csv.reader(file))) - 1
        line = balance.loc[path.stem]
        assert line["rows_read"] == rows
        assert line["rows_read"] == line["used"] + line["duplicates"] + line["set_aside"]


def test_truth_is_not_read(checked: Checked) -> None:
    assert "truth.json" not in checked.intake.files


def test_an_undamaged_answer_is_read_as_it_was_typed(tmp_path: Path) -> None:
    written = write_cohort(tmp_path, people=12, seed=4)
    intake = read_folder(tmp_path, read_protocol(written.protocol), Catalogue.packaged())
    for table in ("assessments", "repeats"):
        with written.tables[table].open(encoding="utf-8", newline="") as file:
            typed = [row["response"] for row in csv.DictReader(file)]
        assert intake.tables[table]["response"].fillna("").tolist() == typed
