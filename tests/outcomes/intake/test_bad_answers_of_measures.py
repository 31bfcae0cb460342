"""Each kind of bad answer to a packaged measure is refused or asked about with the address of its cell.

| bad answer | tests here, and others |
|---|---|
| code outside the list | `..._cannot_be_...`, `..._exertion_scale_...`; every definition: test_score_any_answers.py |
| text in a number column | `..._cannot_be_...`; test_numbers.py |
| decimal comma | `..._cannot_be_...`; test_numbers.py |
| `4-5` as a date | `..._cannot_be_...`, `..._became_a_date_in_a_workbook_...`; test_workbooks.py |
| total that contradicts its items | `..._total_...`, `..._classification_...`; test_typed_totals.py |
| percent typed as 0.45 | `..._share_...` |
| blank, zero, not applicable, not tested | `..._four_things` |
| left and right swapped | `..._swapped_...`, `..._wrong_way_round_...` |
| items of another version | `..._version_...` |
| circumstances | `..._predicted_from_age_...`; test_circumstances.py |
"""

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

MEASURES = (
    "swls", "eq5d", "sis", "ashworth", "rpe_6_20", "mrs", "isncsci", "limb_girth", "mts",
    "bp_hr_rest", "hrr", "chart",
)  # fmt: skip
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


def check(
    folder: Path, *rows: str, person: str = "P1,2026-01-05,,", version: tuple[str, str] | None = None
) -> list[dict[str, str]]:
    """Run ``outcomes check`` on a study folder with these rows; return the findings that it wrote."""
    roles = dict.fromkeys(MEASURES, "secondary") | {"swls": "primary"}
    planned = "".join(f'[[measures]]\nmeasure = "{key}"\nrole = "{role}"\n' for key, role in roles.items())
    planned = planned.replace('measure = "ashworth"', 'measure = "ashworth"\nlimbs = "worse"')
    if version:
        named = f'[[measures]]\nmeasure = "{version[0]}"\nversion = "{version[1]}"\nrole = "exploratory"\n'
        planned = planned.replace(f'[[measures]]\nmeasure = "{version[0]}"\nrole = "secondary"\n', "") + named
    (folder / "protocol.toml").write_text(PROTOCOL + planned, encoding="utf-8")
    people = f"participant_id,enrolled_on,neurological_level,ais_grade\n{person}\n"
    (folder / "participants.csv").write_text(people, encoding="utf-8")
    if rows:
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


OTHER_VERSION = [
    # the 20-point form beside the 100-point form (Collin 1988, Mahoney 1965); 5 is no answer of the four levels
    ("barthel", "mahoney1965", "transfers,,3", "not_a_code", "response", "it would do for version collin1988"),
    ("msis29", "v2", "msis_1,,5", "not_a_code", "response", "it would do for version v1"),
    ("fac", "levels_0_to_5", "category,,6", "not_a_code", "response", "it would do for version levels_1_to_6"),
    ("wst", "v5_power", "skill_32,,1", "unknown_item", "item", "an item of version v5_manual"),
]


@pytest.mark.parametrize(("measure", "version", "answer", "rule", "column", "told"), OTHER_VERSION)
def test_answers_and_items_of_another_version_are_refused_and_it_is_named(
    tmp_path: Path, measure: str, version: str, answer: str, rule: str, column: str, told: str
) -> None:
    found = only(check(tmp_path, f"P1,before,{measure},,,,{answer},", version=(measure, version)), rule)
    assert address(found) == ("set_aside", rule, "assessments.csv", "2", column)
    assert told in found["expected"]


def test_a_version_that_nobody_named_is_asked_about_once(tmp_path: Path) -> None:
    rows = [f"P1,before,eq5d,,,,d{n},,2," for n in range(1, 6)]
    found = only(check(tmp_path, *rows), "version_not_named")
    assert address(found) == ("ask", "version_not_named", "assessments.csv", "2", "measure")
    assert found["expected"].endswith("five_levels or three_levels; taken as five_levels")
    for given in (rows, [row.replace("eq5d,", "eq5d,five_levels") for row in rows]):
        named = ("eq5d", "five_levels") if given is rows else None
        assert not [f for f in check(tmp_path, *given, version=named) if f["rule"] == "version_not_named"]


def test_a_grade_that_became_a_date_in_a_workbook_is_refused_at_its_sheet_and_cell(tmp_path: Path) -> None:
    import datetime as dt

    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "assessments"
    book.active.append(HEADER.split(","))
    book.active.append(["P1", "before", "swls", None, None, None, "swls_1", None, dt.datetime(2026, 5, 4), None])
    book.save(tmp_path / "clinic.xlsx")
    found = only(check(tmp_path), "looks_like_date")
    assert (found["file"], found["sheet"], found["row"], found["column"]) == (
        "clinic.xlsx", "assessments", "2", "response",
    )  # fmt: skip


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


@pytest.mark.parametrize(
    ("measure", "place", "items", "found"),
    [
        ("mts", "knee_flexors,right", {"r1": "100", "r2": "95"}, "r2 at least as large as r1, which is 100"),
        ("hrr", ",", {"hr_rest": "90", "hr_peak": "80"}, "hr_peak at least as large as hr_rest, which is 90"),
    ],
)
def test_two_answers_the_wrong_way_round_are_asked_about(
    tmp_path: Path, measure: str, place: str, items: dict[str, str], found: str
) -> None:
    rows = [f"P1,before,{measure},,{place},{item},,{value}," for item, value in items.items()]
    finding = only(check(tmp_path, *rows), "pair_reversed")
    first = found.split()[0]
    assert address(finding)[2:] == ("assessments.csv", str(2 + list(items).index(first)), "response")
    assert finding["expected"].startswith(found)


def test_pressures_the_wrong_way_round_are_set_aside_and_not_asked_about_as_well(tmp_path: Path) -> None:
    rows = [f"P1,before,bp_hr_rest,,,,{item},1,{value}," for item, value in (("sbp", "60"), ("dbp", "95"))]
    findings = check(tmp_path, *rows)
    assert {f["rule"] for f in findings} & {"order", "pair_reversed"} == {"order"}


def test_answers_the_right_way_round_are_left_in_peace(tmp_path: Path) -> None:
    rows = ["P1,before,mts,,knee_flexors,right,r1,,95,", "P1,before,mts,,knee_flexors,right,r2,,95,"]
    assert not [f for f in check(tmp_path, *rows) if f["rule"] == "pair_reversed"]


@pytest.mark.parametrize(("level", "taken"), [("T6", False), ("C4", False), ("T7", True), ("", True)])
def test_a_peak_predicted_from_age_is_set_aside_at_or_above_t6(tmp_path: Path, level: str, taken: bool) -> None:
    answers = {"hr_rest": "60", "hr_peak": "180", "peak_from": "predicted"}
    rows = [f"P1,before,hrr,,,,{item},,{value}," for item, value in answers.items()]
    found = [f for f in check(tmp_path, *rows, person=f"P1,2026-01-05,{level},") if f["rule"] == "predicted_peak"]
    told = [("set_aside", "predicted_peak", "assessments.csv", "3", "response")]
    assert [address(f) for f in found] == ([] if taken else told)


def test_a_peak_that_was_measured_is_taken_at_any_level(tmp_path: Path) -> None:
    answers = {"hr_rest": "60", "hr_peak": "110", "peak_from": "measured"}
    rows = [f"P1,before,hrr,,,,{item},,{value}," for item, value in answers.items()]
    assert not [f for f in check(tmp_path, *rows, person="P1,2026-01-05,C4,") if f["rule"] == "predicted_peak"]


def test_points_above_the_cap_of_a_domain_are_kept_and_asked_about(tmp_path: Path) -> None:
    found = only(check(tmp_path, "P1,before,chart,,,,mobility,,104,"), "unusual")
    assert address(found) == ("ask", "unusual", "assessments.csv", "2", "response")
