"""Each kind of bad answer to a packaged measure is refused or asked about with the address of its cell."""

from __future__ import annotations

import csv
import io
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from outcomes.cli import run
from outcomes.intake import read_folder
from outcomes.measures import Catalogue
from protocols import read_protocol

MEASURES = ("swls", "eq5d", "sis", "ashworth", "rpe_6_20", "mrs", "isncsci", "limb_girth")
PROTOCOL = """
schema = 1
[study]
title = "Bad answers"
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
[intake]
on_error = "set_aside"
"""
HEADER = "participant_id,visit,measure,version,place,side,item,trial,response,absent_because"
EXAM = {  # levels T4, complete: worked out by hand from the rules published in 2019
    "motor": "5 5 5 5 5 0 0 0 0 0",
    "lt": "2 2 2 2 2 2 2 2 2 2 2 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
    "pp": "2 2 2 2 2 2 2 2 2 2 2 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
}
SEGMENTS = [
    *(f"c{n}" for n in range(2, 9)), *(f"t{n}" for n in range(1, 13)), *(f"l{n}" for n in range(1, 6)), "s1", "s2",
    "s3", "s4_5",
]  # fmt: skip
KEY_MUSCLES = ["c5", "c6", "c7", "c8", "t1", "l2", "l3", "l4", "l5", "s1"]


def examination() -> list[str]:
    """Return the rows of a complete examination of P1 at the first visit."""
    rows = [f"P1,before,isncsci,,,,{item},,{answer}," for item, answer in (("vac", "no"), ("dap", "no"))]
    for part, answers in EXAM.items():
        segments = KEY_MUSCLES if part == "motor" else SEGMENTS
        for side in ("right", "left"):
            pairs = zip(segments, answers.split(), strict=True)
            rows += [f"P1,before,isncsci,,,,{part}_{side}_{segment},,{answer}," for segment, answer in pairs]
    return rows


def check(folder: Path, *rows: str, person: str = "P1,2026-01-05,,") -> list[dict[str, str]]:
    """Run ``outcomes check`` on a study folder with these rows; return the findings that it wrote."""
    roles = dict.fromkeys(MEASURES, "secondary") | {"swls": "primary"}
    planned = "".join(f'[[measures]]\nmeasure = "{key}"\nrole = "{role}"\n' for key, role in roles.items())
    planned = planned.replace('measure = "ashworth"', 'measure = "ashworth"\nlimbs = "worse"')
    (folder / "protocol.toml").write_text(PROTOCOL + planned, encoding="utf-8")
    people = f"participant_id,enrolled_on,neurological_level,ais_grade\n{person}\n"
    (folder / "participants.csv").write_text(people, encoding="utf-8")
    (folder / "assessments.csv").write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit):
        run(["check", str(folder)])
    assert "Traceback" not in out.getvalue() + err.getvalue()
    with (folder / "results/check/findings.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def address(found: dict[str, str]) -> tuple[str, str, str, str, str]:
    return found["grade"], found["rule"], found["file"], found["row"], found["column"]


def only(findings: list[dict[str, str]], rule: str) -> dict[str, str]:
    mine = [finding for finding in findings if finding["rule"] == rule]
    assert len(mine) == 1, findings
    return mine[0]


SWLS = "P1,before,swls,,,,swls_1,,{},"
GIRTH = "P1,before,limb_girth,,mid_thigh,left,reading,1,{},"


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        (SWLS.format("8"), "not_a_code"),
        (SWLS.format("3.5"), "not_a_code"),
        (SWLS.format("0"), "not_a_code"),
        (SWLS.format("2026-05-04"), "looks_like_date"),
        (SWLS.format("4-May"), "looks_like_date"),
        ('P1,before,swls,,,,swls_1,,"3,5",', "decimal_comma"),
        (GIRTH.format("about 45"), "not_a_number"),
        ('P1,before,limb_girth,,mid_thigh,left,reading,1,"44,5",', "decimal_comma"),
        (GIRTH.format("-44"), "hard_limit"),
    ],
)
def test_an_answer_that_cannot_be_is_set_aside_at_its_cell(tmp_path: Path, row: str, rule: str) -> None:
    found = only(check(tmp_path, row), rule)
    assert address(found) == ("set_aside", rule, "assessments.csv", "2", "response")


def test_a_total_that_contradicts_its_items_is_shown_with_both(tmp_path: Path) -> None:
    items = [f"P1,before,swls,,,,swls_{n},,4," for n in range(1, 6)]
    found = only(check(tmp_path, *items, "P1,before,swls,,,,total,,21,"), "typed_total")
    assert address(found) == ("set_aside", "typed_total", "assessments.csv", "7", "response")
    assert "the items give 20" in found["expected"]


@pytest.mark.parametrize("row", ["P1,before,eq5d,,,,vas,,0.45,", "P1,before,sis,,,,mobility_entered,,0.45,"])
def test_a_share_typed_for_a_percentage_is_asked_about(tmp_path: Path, row: str) -> None:
    found = only(check(tmp_path, row), "unit_slip")
    assert address(found) == ("ask", "unit_slip", "assessments.csv", "2", "response")
    assert "would be 45" in found["expected"]


@pytest.mark.parametrize("answer", ["0", "1", "45"])
def test_a_percentage_is_not_asked_about(tmp_path: Path, answer: str) -> None:
    assert not [f for f in check(tmp_path, f"P1,before,eq5d,,,,vas,,{answer},") if f["rule"] == "unit_slip"]


def test_items_of_another_version_are_refused_with_the_version_of_the_protocol(tmp_path: Path) -> None:
    found = only(check(tmp_path, "P1,before,swls,other_1990,,,swls_1,,4,"), "version")
    assert address(found)[:4] == ("set_aside", "version", "assessments.csv", "2")
    assert "the version of the protocol" in found["expected"]


def test_sides_that_were_swapped_are_asked_about(tmp_path: Path) -> None:
    values = {("before", "left"): 46, ("before", "right"): 48.8, ("after", "left"): 48.9, ("after", "right"): 46.1}
    rows = [f"P1,{visit},limb_girth,,mid_thigh,{side},reading,1,{v}," for (visit, side), v in values.items()]
    found = only(check(tmp_path, *rows), "sides_swapped")
    assert address(found) == ("ask", "sides_swapped", "assessments.csv", "4", "response")


def test_values_of_the_other_exertion_scale_are_set_aside_and_it_is_named(tmp_path: Path) -> None:
    rows = [f"P{n},before,rpe_6_20,,,,rating,,{value}," for n, value in enumerate((3, 4, 5, 7, 2), start=1)]
    people = "\n".join(f"P{n},2026-01-05,," for n in range(1, 6))
    found = [f for f in check(tmp_path, *rows, person=people) if f["rule"] == "not_a_code"]
    assert [(f["row"], f["found"]) for f in found] == [("2", "3"), ("3", "4"), ("4", "5"), ("6", "2")]
    assert all(f["expected"].endswith("it would do for rpe_cr10") for f in found)


def test_a_death_without_its_grade_is_asked_about(tmp_path: Path) -> None:
    found = only(check(tmp_path, "P1,after,mrs,,,,grade,,,death"), "death_has_a_grade")
    assert address(found) == ("ask", "death_has_a_grade", "assessments.csv", "2", "absent_because")
    assert "the grade 6" in found["expected"]


def test_a_grade_and_level_that_the_examination_does_not_give_are_asked_about(tmp_path: Path) -> None:
    findings = [
        f for f in check(tmp_path, *examination(), person="P1,2026-01-05,T6,B") if f["rule"] == "classification"
    ]
    assert [address(f)[2:] for f in findings] == [
        ("participants.csv", "2", "ais_grade"),
        ("participants.csv", "2", "neurological_level"),
    ]
    assert "AIS A; here B" in findings[0]["expected"]
    assert "NLI T4; here T6" in findings[1]["expected"]


def test_a_grade_and_level_that_agree_are_not_asked_about(tmp_path: Path) -> None:
    findings = check(tmp_path, *examination(), person="P1,2026-01-05,T4,A")
    assert not [f for f in findings if f["rule"] == "classification"]


@pytest.mark.parametrize(("scale", "typed", "formed"), [("ais", "B", "A"), ("nli", "T6", "T4"), ("uems", "48", "50")])
def test_a_typed_classification_that_contradicts_the_examination_is_shown_with_both(
    tmp_path: Path, scale: str, typed: str, formed: str
) -> None:
    rows = examination()
    found = only(check(tmp_path, *rows, f"P1,before,isncsci,,,,{scale},,{typed},"), "typed_total")
    assert address(found) == ("set_aside", "typed_total", "assessments.csv", str(len(rows) + 2), "response")
    assert f"the items give {formed}" in found["expected"]
    assert found["found"] == typed


@pytest.mark.parametrize(("scale", "typed"), [("ais", "A"), ("nli", "T4"), ("uems", "50")])
def test_a_typed_classification_that_agrees_is_left_in_peace(tmp_path: Path, scale: str, typed: str) -> None:
    findings = check(tmp_path, *examination(), f"P1,before,isncsci,,,,{scale},,{typed},")
    assert not [finding for finding in findings if finding["rule"] == "typed_total"]


def test_zero_blank_not_tested_and_not_applicable_stay_four_things(tmp_path: Path) -> None:
    answers = {"c5": "0", "c6": "", "c7": "NT", "c8": "not applicable"}
    rows = [f"P1,before,isncsci,,,,motor_right_{muscle},,{text}," for muscle, text in answers.items()]
    findings = check(tmp_path, *rows)
    protocol = read_protocol(tmp_path / "protocol.toml")
    read = read_folder(tmp_path, protocol, Catalogue.packaged()).tables["assessments"]
    assert read["response"].fillna("").tolist() == ["0", "", "", ""]
    assert read["absent_because"].fillna("").tolist() == ["", "", "not_tested", ""]
    [found] = [finding for finding in findings if finding["found"] == "not applicable"]
    assert address(found) == ("set_aside", "not_a_code", "assessments.csv", "5", "response")
    assert "why there is no answer belongs in absent_because" in found["expected"]
