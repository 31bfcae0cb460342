"""Worked cases of packaged measures that concern the way in: units, words of a clinic, two values in a cell."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.errors import Finding
from outcomes.intake import Intake, read_folder
from outcomes.measures import Catalogue, score_table
from protocols import read_protocol

PROTOCOL = """
schema = 1
[study]
title = "Cases of measures"
design = "single arm"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 4
when = "end"
[[measures]]
measure = "{measure}"
role = "primary"
limbs = "worse"
"""
COLUMNS = "sheet,heading,table,column,unit,visit,measure,item,place,side,trial\n"
ID = "wide,person,participants,participant_id,,,,,,,\nwide,enrolled,participants,enrolled_on,,,,,,,\n"


def read(folder: Path, measure: str, wide: str, columns: str, words: str = "") -> Intake:
    """Read a folder with one wide sheet."""
    text = PROTOCOL.format(measure=measure)
    catalogue = Catalogue.packaged()
    if not catalogue.get(measure).rows.side:
        text = text.replace('limbs = "worse"\n', "")
    (folder / "protocol.toml").write_text(text, encoding="utf-8")
    (folder / "wide.csv").write_text(wide, encoding="utf-8")
    (folder / "columns.csv").write_text(COLUMNS + ID + columns, encoding="utf-8")
    if words:
        (folder / "words.csv").write_text(words, encoding="utf-8")
    return read_folder(folder, read_protocol(folder / "protocol.toml"), catalogue)


def scores(intake: Intake, measure: str) -> dict[str, float]:
    """Return every score of the only person at the only visit."""
    frame = score_table(measure, intake.tables["assessments"])
    return dict(zip(frame["scale"], frame["value"], strict=True))


def of_cells(intake: Intake) -> list[Finding]:
    return [finding for finding in intake.findings if finding.row and finding.column]


def test_iso_2(tmp_path: Path) -> None:
    # 30 kgf are 30 x 9.80665 = 294.1995 N; at 0.3 m 88.25985 N.m
    force = "".join(
        f"wide,force {n},assessments,response,kgf,before,isometric_torque,force,knee_extension,right,{n}\n"
        for n in (1, 2, 3)
    )
    lever = "wide,lever,assessments,response,m,before,isometric_torque,lever_arm,knee_extension,right,\n"
    wide = "person,enrolled,force 1,force 2,force 3,lever\nP1,2026-01-05,30,30,30,0.3\n"
    intake = read(tmp_path, "isometric_torque", wide, force + lever)
    assert of_cells(intake) == []
    found = scores(intake, "isometric_torque")
    assert found["force"] == pytest.approx(294.1995, abs=5e-5)
    assert found["torque"] == pytest.approx(88.25985, abs=1e-9)


def test_grip_2(tmp_path: Path) -> None:
    # 50 lb are 50 x 0.45359237 = 22.6796 kg
    columns = "wide,grip,assessments,response,lb,before,grip,force,,right,1\n"
    intake = read(tmp_path, "grip", "person,enrolled,grip\nP1,2026-01-05,50\n", columns)
    assert of_cells(intake) == []
    assert scores(intake, "grip")["mean_force"] == pytest.approx(22.6796, abs=5e-5)


@pytest.mark.parametrize(
    ("cell", "words", "response"),
    [
        pytest.param("1.5", "", "", id="mas_2.1"),  # a grade of the coding that the column does not declare
        pytest.param("1.5", "column,word,means\nresponse,1.5,1+\n", "1+", id="mas_2.2"),  # declared
        pytest.param("1+", "", "1+", id="mas_2.3"),
        pytest.param("2026-02-01", "", "", id="mas_2.4"),
    ],
)
def test_mas_2(tmp_path: Path, cell: str, words: str, response: str) -> None:
    columns = "wide,tone,assessments,response,,before,mas,grade,knee_extensors,right,\n"
    intake = read(tmp_path, "mas", f"person,enrolled,tone\nP1,2026-01-05,{cell}\n", columns, words)
    assert intake.tables["assessments"]["response"].fillna("").tolist() == [response]
    assert [(f.grade, f.file, f.row, f.column, f.found) for f in of_cells(intake)] == (
        [] if response else [("set_aside", "wide.csv", 2, "tone", cell)]
    )


def test_bp_2(tmp_path: Path) -> None:
    # 95/60 in one cell is asked to be two cells; as two cells they give 60 + 35 / 3 (measures_bp_hr_rest.toml)
    columns = "wide,pressure,assessments,response,,before,bp_hr_rest,sbp,,,1\n"
    [found] = of_cells(read(tmp_path, "bp_hr_rest", "person,enrolled,pressure\nP1,2026-01-05,95/60\n", columns))
    assert (found.rule, found.file, found.row, found.column, found.found) == (
        "two_values", "wide.csv", 2, "pressure", "95/60",
    )  # fmt: skip
    assert "one value a cell" in found.expected
