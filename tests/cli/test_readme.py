"""What the README tells a newcomer to do works as it stands there."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from outcomes.vocabulary import CAUTION, TABLES
from protocols import packaged, packaged_path

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of one language, without their indent."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", README, flags=re.MULTILINE | re.DOTALL)
    return ["\n".join(line.removeprefix(indent) for line in body.split("\n")) for indent, body in found]


def test_both_commands_stand_there_in_both_forms() -> None:
    assert [block.strip() for block in blocks("sh")] == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/outcomes demo",
        "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest",
    ]
    main, tests = (block.split("\n") for block in blocks("bat"))
    assert main[:3] == ["py -m venv .venv", r".venv\Scripts\pip install .", r".venv\Scripts\outcomes demo"]
    assert tests[:3] == ["py -m venv .venv", r'.venv\Scripts\pip install ".[test]"', r".venv\Scripts\pytest"]


def test_the_caution_stands_there_word_for_word() -> None:
    assert CAUTION in " ".join(README.split())


def test_the_study_folder_is_described_with_tables_that_exist() -> None:
    named = set(re.findall(r"\b([a-z]+)\.csv", README))
    assert named - {"columns", "words", "decisions"} - {"ledger", "cells"} <= set(TABLES)
    for name in packaged():
        assert name in README


@pytest.fixture
def own_spreadsheet(tmp_path: Path) -> Path:
    """A clinic's own wide sheet beside the README's columns.csv."""
    folder = tmp_path / "my_study"
    folder.mkdir()
    shutil.copy(packaged_path("leg_cycling_16_weeks"), folder / "protocol.toml")
    (folder / "columns.csv").write_text(blocks("csv")[0], encoding="utf-8")
    (folder / "girth.csv").write_text("Code,thigh L pre,thigh L post\nA1,50.2,51.9\nA2,47.0,46.8\n", encoding="utf-8")
    (folder / "participants.csv").write_text("participant_id,age_years\nA1,44\nA2,61\n", encoding="utf-8")
    return folder


def test_the_columns_csv_of_the_readme_is_understood(cli: Any, own_spreadsheet: Path) -> None:
    ran = cli("check", own_spreadsheet)
    assert ran.code == 0, ran.out + ran.err
    counts = next(line.split() for line in ran.out.splitlines() if line.startswith("assessments"))
    assert counts[1:5] == ["4", "4", "0", "0"], "two people, two headings: four answers, all used"
    scores = cli("score", own_spreadsheet).out
    assert "limb_girth" in scores
    assert "mid_thigh,left" in scores


def test_the_python_of_the_readme_runs(demo_run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(demo_run[0], tmp_path / "my_study", ignore=shutil.ignore_patterns("results", "reports"))
    monkeypatch.chdir(tmp_path)
    (code,) = blocks("python")
    names: dict[str, Any] = {}
    exec(compile(code, "README.md", "exec"), names)
    assert names["analysis"].record.entries
