"""`outcomes check` lists what is for clinical review apart from the findings."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

from synthetic_cohort import write_cohort


def test_the_list_has_its_own_lines_and_its_own_file(cli: Any, tmp_path: Path) -> None:
    write_cohort(tmp_path / "study", people=12)
    path = tmp_path / "study" / "events.csv"
    row = "P001,E9,2025-02-10,skin,mild,possible,resolved,redness under a pad\n"
    path.write_text(path.read_text(encoding="utf-8") + row, encoding="utf-8")
    ran = cli("check", tmp_path / "study", "--json")
    assert ran.code == 0
    listed = json.loads(ran.out)["for_clinical_review"]
    assert ("P001", "skin") in [(entry["participant_id"], entry["found"]) for entry in listed]
    with (tmp_path / "study/results/check/facts_for_review.csv").open(encoding="utf-8", newline="") as file:
        assert [dict(entry) for entry in csv.DictReader(file)] == listed
    assert not any("clinical" in json.dumps(finding) for finding in json.loads(ran.out)["findings"])
    shown = cli("check", tmp_path / "study").out
    assert "For clinical review:" in shown
    assert "facts, no mistakes of entry and no advice" in shown


def test_a_run_that_stops_has_no_list(cli: Any, tmp_path: Path) -> None:
    write_cohort(tmp_path / "study", people=12, damage="all")
    ran = cli("check", tmp_path / "study")
    assert ran.code == 3
    assert "For clinical review: not listed, as the run stops" in ran.out
    assert not (tmp_path / "study/results/check/facts_for_review.csv").exists()
