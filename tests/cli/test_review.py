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
    mine = [entry for entry in listed if (entry["participant_id"], entry["value"]) == ("P001", "skin")]
    assert [(entry["file"], entry["wording"]) for entry in mine] == [("events.csv", "for clinical review")]
    with (tmp_path / "study/results/check/for_clinical_review.csv").open(encoding="utf-8", newline="") as file:
        assert [dict(entry) for entry in csv.DictReader(file)] == listed
    assert not any("clinical" in json.dumps(finding) for finding in json.loads(ran.out)["findings"])
    shown = cli("check", tmp_path / "study").out
    assert "For clinical review:" in shown
    assert "facts, no mistakes of entry and no advice" in shown


def test_a_run_that_stops_lists_no_answers(cli: Any, tmp_path: Path) -> None:
    write_cohort(tmp_path / "study", people=12, damage="all")
    ran = cli("check", tmp_path / "study")
    assert ran.code == 3
    assert "answers and scores are not listed, as the run stops" in ran.out
    assert (tmp_path / "study/results/check/for_clinical_review.csv").exists()


def test_a_change_of_walking_aid_is_said_beside_the_findings(cli: Any, tmp_path: Path) -> None:
    write_cohort(tmp_path / "study", people=12)
    path = tmp_path / "study" / "assessments.csv"
    lines = path.read_text(encoding="utf-8").split("\n")
    devices = [i for i, line in enumerate(lines) if ",tenmwt,,,device," in line and ",week16," in line]
    assert devices
    words = lines[devices[0]].split(",")
    was, words[words.index("device") + 2] = words[words.index("device") + 2], "frame on wheels"
    lines[devices[0]] = ",".join(words)
    path.write_text("\n".join(lines), encoding="utf-8")
    ran = cli("check", tmp_path / "study")
    assert f"{words[0]}, tenmwt: device {was} at week8, frame on wheels at week16" in ran.out
    changed = json.loads(cli("check", tmp_path / "study", "--json").out)["other_circumstances"]
    assert (words[0], "frame on wheels") in [(row["participant_id"], row["after"]) for row in changed]
