"""Each command on a real study folder: what it writes, what it prints, and where."""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest

import outcomes
from outcomes.vocabulary import CAUTION


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def snapshot(folder: Path) -> dict[str, bytes]:
    """Return every file of the study itself, without what the commands write."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in files
        if path.relative_to(folder).parts[0] not in ("results", "reports")
    }


# --------------------------------------------------------------------------------------------------------- demo

STAGES = ("written", "read", "scored", "dose", "measurement error", "analysed", "report")


def test_the_demo_goes_the_whole_way_a_line_a_stage(demo_run: Any) -> None:
    _, ran = demo_run
    assert ran.code == 0, ran.err
    lines = ran.out.splitlines()
    found = [next((stage for stage in STAGES if line.startswith(stage)), "") for line in lines]
    assert [stage for stage in found if stage] == list(STAGES)
    assert lines[-1] == CAUTION
    assert lines[-2].startswith("Next: outcomes ")
    assert ran.err == ""


def test_the_demo_says_where_its_files_are(demo_run: Any) -> None:
    folder, ran = demo_run
    named = [Path(line.split(" (")[0].strip()) for line in ran.out.splitlines() if line.startswith("  ")]
    named = [path for path in named if path.is_relative_to(folder)]
    assert [path for path in named if not path.exists()] == []
    reports = {path.name for path in named if path.is_relative_to(folder / "reports" / "conference")}
    assert {Path(name).suffix for name in reports} >= {".docx", ".txt", ".html", ".ipynb"}
    assert {"record.json", "findings.csv"} <= {path.name for path in named}


def test_the_demos_record_fits_its_schema(demo_run: Any) -> None:
    folder, _ = demo_run
    latest = (folder / "results" / "latest").read_text().strip()
    document = json.loads((folder / "results" / latest / "record.json").read_text(encoding="utf-8"))
    schema = json.loads((Path(outcomes.__file__).parent / "record.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema)
    assert document["estimates"]
    cited = {entry["method"] for entry in document["estimates"] if entry["status"] == "estimated"}
    assert cited <= set(document["methods"]), "every method that a number cites has its note"
    assert {c for entry in document["estimates"] for c in entry["caveats"]} <= set(document["caveats"])


def test_the_demos_counts_are_those_of_the_ledger(cli: Any, tmp_path: Path) -> None:
    ran = cli("demo", tmp_path / "d", "--people", 3, "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    read = told["stages"]["read"]
    assert read["rows_read"] == read["used"] + read["duplicates"] + read["set_aside"]
    assert read["rows_read"] == told["stages"]["written"]["rows"]
    assert told["caution"] == CAUTION
    assert [stage for stage in STAGES if stage in told["stages"]] == list(STAGES)


def test_a_folder_with_something_else_in_it_is_refused_and_left_alone(cli: Any, tmp_path: Path) -> None:
    (tmp_path / "thesis.docx").write_text("mine")
    ran = cli("demo", tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert "is not empty and not an earlier demo (it holds thesis.docx)" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.docx"]


def test_a_study_that_is_no_demo_is_refused(cli: Any, study: Path) -> None:
    (study / "truth.json").unlink()
    before = snapshot(study)
    ran = cli("demo", study)
    assert ran.code == 2
    assert "not an earlier demo" in ran.err
    assert snapshot(study) == before


@pytest.mark.parametrize("words", [("--people", "0"), ("--seed", "-1"), ("--people", "many"), ("--damage", "some")])
def test_a_number_out_of_range_is_refused_and_nothing_is_left(cli: Any, tmp_path: Path, words: tuple[str, str]) -> None:
    ran = cli("demo", tmp_path / "d", *words)
    assert (ran.code, ran.out) == (2, "")
    assert words[0].strip("-") in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_demos_place_is_refused(cli: Any, tmp_path: Path) -> None:
    (tmp_path / "f").write_text("mine")
    assert cli("demo", tmp_path / "f").code == 2
    assert (tmp_path / "f").read_text() == "mine"


def test_an_earlier_demo_is_replaced_whole_and_the_same_seed_gives_the_same_study(cli: Any, study: Path) -> None:
    before = snapshot(study)
    (study / "results").mkdir()
    (study / "results" / "old").write_text("")
    ran = cli("demo", study, "--people", 12, "--damage", "cells", "--quiet")
    assert ran.code == 0, ran.err
    assert snapshot(study) == before
    assert not (study / "results" / "old").exists()


def test_faults_that_stop_the_run_end_in_exit_3_with_every_finding_in_the_file(cli: Any, tmp_path: Path) -> None:
    folder = tmp_path / "d"
    ran = cli("demo", folder, "--people", 12, "--damage", "all")
    assert ran.code == 3
    assert "written" in ran.out
    assert "findings stop the run." in ran.err
    listed = rows((folder / "results" / "check" / "findings.csv").read_text(encoding="utf-8"))
    stopping = [row for row in listed if row["grade"] != "ask"]
    assert ran.err.splitlines()[0] == f"{len(stopping)} findings stop the run."
    printed = [line for line in ran.err.splitlines() if line.startswith("  ") and ": " in line]
    assert len(printed) == min(20, len(stopping))
    assert not (folder / "results" / "latest").exists()
    assert not (folder / "reports").exists()


def test_every_planted_fault_is_listed(cli: Any, tmp_path: Path) -> None:
    folder = tmp_path / "d"
    cli("demo", folder, "--people", 12, "--damage", "all")
    faults = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["faults"]
    listed = rows((folder / "results" / "check" / "findings.csv").read_text(encoding="utf-8"))
    found = {(row["file"], row["row"]) for row in listed}
    assert len(faults) > 5
    missed = [
        fault
        for fault in faults
        if fault["grade"] in ("block", "set_aside", "ask")
        and fault["row"] is not None
        and (fault["file"], str(fault["row"])) not in found
    ]
    assert missed == []


# -------------------------------------------------------------------------------------------------------- check


def test_check_prints_balances_and_findings_and_says_the_next_command(cli: Any, study: Path) -> None:
    before = snapshot(study)
    ran = cli("check", study)
    assert ran.code == 0
    assert "assessments" in ran.out
    assert "Set aside (the value becomes missing)" in ran.out
    assert f"Next: outcomes analyse {study}" in ran.err
    assert snapshot(study) == before, "the study itself is untouched"


def test_check_as_json_holds_every_finding_and_both_balances(cli: Any, study: Path) -> None:
    told = json.loads(cli("check", study, "--json", "--quiet").out)
    listed = rows((study / "results" / "check" / "findings.csv").read_text(encoding="utf-8"))
    assert len(told["findings"]) == len(listed) > 0
    assert told["stops"] is False
    for row in told["balance"]:
        assert int(row["rows_read"]) == int(row["used"]) + int(row["duplicates"]) + int(row["set_aside"])


def test_check_writes_to_a_file_when_asked(cli: Any, study: Path, tmp_path: Path) -> None:
    ran = cli("check", study, "-o", tmp_path / "check.txt")
    assert (ran.code, ran.out) == (0, "")
    assert "assessments" in (tmp_path / "check.txt").read_text(encoding="utf-8")
    assert str(tmp_path / "check.txt") in ran.err


def test_quiet_leaves_the_data_and_drops_the_messages(cli: Any, study: Path) -> None:
    ran = cli("check", study, "--quiet")
    assert ran.err == ""
    assert "assessments" in ran.out


def test_no_rule_hides_another(cli: Any, study: Path) -> None:
    path = study / "participants.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    ran = cli("check", study)
    assert "  header only (1)\n    participants.csv" in ran.out
    stopping = ran.out.partition("Stops the run")[2].partition("Set aside (")[0]
    assert stopping.count(": expected") + stopping.count(": found") <= 20


def test_marked_copies_carry_each_finding_at_its_cell(cli: Any, study: Path) -> None:
    table = rows((study / "participants.csv").read_text(encoding="utf-8"))
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "participants"
    sheet.append(list(table[0]))
    for row in table:
        sheet.append(list(row.values()))
    column = list(table[0]).index("sex") + 1
    sheet.cell(2, column).value = "dreadful"
    (study / "participants.csv").unlink()
    book.save(study / "participants.xlsx")
    before = snapshot(study)
    ran = cli("check", study, "--mark")
    marked = study / "results" / "check" / "participants.marked.xlsx"
    assert str(marked) in ran.err
    cell = openpyxl.load_workbook(marked)["participants"].cell(2, column)
    assert cell.value == "dreadful"
    assert "SET ASIDE: expected one of female, male" in cell.comment.text
    assert snapshot(study) == before


def test_without_a_workbook_there_is_nothing_to_mark(cli: Any, study: Path) -> None:
    assert "there is no copy to mark" in cli("check", study, "--mark").err


def test_a_suggested_mapping_can_be_saved_and_is_then_understood(cli: Any, study: Path) -> None:
    path = study / "participants.csv"
    head, _, rest = path.read_text(encoding="utf-8").partition("\n")
    head = head.replace("age_years", "Age (years)").replace("sex", "Gender").replace("height_cm", "Height [cm]")
    path.write_text(f"{head}\n{rest}", encoding="utf-8")
    ran = cli("check", study, "--suggest", "-o", study / "columns.csv")
    assert (ran.code, ran.out) == (0, "")
    proposed = {row["heading"]: row for row in rows((study / "columns.csv").read_text(encoding="utf-8"))}
    assert proposed["Age (years)"]["column"] == "age_years"
    assert proposed["Gender"]["column"] == "sex"
    assert proposed["Height [cm]"]["column"] == "height_cm"
    checked = cli("check", study)
    assert checked.code == 0, checked.out
    assert cli("check", study, "--suggest").out == (study / "columns.csv").read_text(encoding="utf-8")


def test_a_wide_heading_is_read_as_place_side_visit_and_trial(cli: Any, study: Path) -> None:
    text = "Code,thigh L pre 1,thigh R post 2,shoe size\nP001,50,51,42\n"
    (study / "girths.csv").write_text(text, encoding="utf-8")
    ran = cli("check", study, "--suggest")
    proposed = {row["heading"]: row for row in rows(ran.out) if row["sheet"] == "girths.csv"}
    left = proposed["thigh L pre 1"]
    assert (left["table"], left["column"], left["measure"]) == ("assessments", "response", "limb_girth")
    assert (left["item"], left["side"], left["visit"], left["trial"]) == ("reading", "left", "week0", "1")
    right = proposed["thigh R post 2"]
    assert (right["side"], right["visit"], right["trial"]) == ("right", "week16", "2")
    assert "shoe size" not in proposed
    assert "Nothing fits: girths.csv, 'shoe size'" in ran.err


# ------------------------------------------------------------------------------------------------- bad input


def add_row(path: Path, text: str) -> None:
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")


def two_values(study: Path) -> None:
    first = rows((study / "participants.csv").read_text(encoding="utf-8"))[0]
    text = io.StringIO()
    csv.DictWriter(text, first.keys(), lineterminator="\n").writerow({**first, "age_years": "19"})
    add_row(study / "participants.csv", text.getvalue())


def strange_heading(study: Path) -> None:
    path = study / "sessions.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("started_at", "started_att", 1), encoding="utf-8")


def empty_table(study: Path) -> None:
    (study / "assessments.csv").write_text("", encoding="utf-8")


def header_only(study: Path) -> None:
    path = study / "participants.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")


def no_table(study: Path) -> None:
    (study / "assessments.csv").unlink()


BLOCKED = [
    (two_values, "participants.csv, row"),
    (strange_heading, "started_at"),
    (empty_table, "assessments.csv"),
    (header_only, "participants.csv"),
    (no_table, "assessments"),
]


@pytest.mark.parametrize(("spoil", "says"), BLOCKED, ids=lambda value: getattr(value, "__name__", ""))
@pytest.mark.parametrize("command", ["check", "score", "dose", "analyse"])
def test_blocked_data_end_in_exit_3_and_say_where(cli: Any, study: Path, command: str, spoil: Any, says: str) -> None:
    spoil(study)
    ran = cli(command, study)
    assert ran.code == 3
    assert says in ran.out + ran.err
    assert (study / "results" / "check" / "findings.csv").is_file()
    assert not (study / "results" / "latest").exists()
    if command != "check":
        assert ran.out == ""


SPOILED_PROTOCOLS = [
    ('measure = "mas"', 'measure = "mass"', "no measure 'mass'; did you mean 'mas'?"),
    ("schema = 1", "schema = 1\nanalysys = 2", "unknown key 'analysys'"),
    ("schema = 1", "schema = ", "line"),
    ('role = "primary"', 'role = "first"', "first"),
]


@pytest.mark.parametrize(("old", "new", "says"), SPOILED_PROTOCOLS)
@pytest.mark.parametrize("command", ["check", "score", "analyse", "freeze"])
def test_a_protocol_that_is_refused_ends_in_exit_3_with_its_line(
    cli: Any, study: Path, command: str, old: str, new: str, says: str
) -> None:
    path = study / "protocol.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    ran = cli(command, study)
    if command == "freeze" and "measure '" in says:
        assert ran.code == 0, "names of measures are checked when the study is read"
        return
    assert (ran.code, ran.out) == (3, "")
    assert says in ran.err
    assert "protocol.toml, line " in ran.err


# ------------------------------------------------------------------------------------------------ score and dose


def test_score_is_a_csv_of_values_or_reasons(cli: Any, study: Path) -> None:
    ran = cli("score", study)
    assert ran.code == 0
    table = rows(ran.out)
    assert {"participant_id", "visit", "measure", "scale", "value", "reason", "cells"} <= set(table[0])
    assert all(bool(row["value"]) != bool(row["reason"]) for row in table)


def test_score_as_json_has_the_same_rows(cli: Any, study: Path) -> None:
    table, told = rows(cli("score", study).out), json.loads(cli("score", study, "--json").out)
    assert len(told) == len(table)
    for row, other in zip(table, told, strict=True):
        assert (row["value"] == "") == (other["value"] is None)
        assert other["value"] is None or math.isclose(float(row["value"]), other["value"], rel_tol=1e-12)


def test_dose_is_a_csv_by_participant_and_visit(cli: Any, study: Path, tmp_path: Path) -> None:
    ran = cli("dose", study, "-o", tmp_path / "dose.csv")
    assert (ran.code, ran.out) == (0, "")
    table = rows((tmp_path / "dose.csv").read_text(encoding="utf-8"))
    assert {"participant_id", "visit", "planned_sessions", "delivered_active_minutes"} <= set(table[0])


def test_one_session_is_shown_by_its_id(cli: Any, study: Path) -> None:
    first = rows((study / "sessions.csv").read_text(encoding="utf-8"))[0]
    ran = cli("dose", study, "--session", f"{first['participant_id']}/{first['session_id']}")
    assert ran.code == 0
    shown = rows(ran.out)
    assert [row["session_id"] for row in shown] == [first["session_id"]]
    assert shown[0]["participant_id"] == first["participant_id"]


def test_dose_without_sessions_is_refused_in_words(cli: Any, study: Path) -> None:
    (study / "sessions.csv").unlink()
    ran = cli("dose", study)
    assert (ran.code, ran.out) == (3, "")
    assert "has no table 'sessions'" in ran.err
    assert "a row a session" in ran.err


# --------------------------------------------------------------------------------------------- analyse and report


def test_analyse_prints_the_primary_outcome_and_the_path(cli: Any, study: Path) -> None:
    ran = cli("analyse", study)
    assert ran.code == 0
    assert ran.out.startswith("Primary outcome: ")
    latest = (study / "results" / "latest").read_text().strip()
    assert str(study / "results" / latest / "record.json") in ran.out
    assert f"Next: outcomes report {study} --for conference" in ran.err


def test_the_same_inputs_give_the_same_bytes(cli: Any, study: Path, demo_run: Any) -> None:
    assert cli("analyse", study).code == 0
    for name in ("record.json", "run.json"):
        here, there = (
            (folder / "results" / (folder / "results" / "latest").read_text().strip() / name).read_bytes()
            for folder in (study, demo_run[0])
        )
        assert here == there


def test_a_study_of_repeats_alone_prints_its_measurement_error(cli: Any, tmp_path: Path) -> None:
    source = Path(__file__).parents[1] / "real" / "blood_pressure_repeats" / "observer_j"
    shutil.copytree(source, tmp_path / "retest")
    ran = cli("analyse", tmp_path / "retest")
    assert ran.code == 0, ran.err
    # Bland & Altman 1999: repeatability coefficient 16.95 mm Hg (computed by R 4.2.2 as 1.96 sqrt(2) s_w)
    assert ran.out.startswith("Primary outcome: ")
    assert ": 17 (" in ran.out.splitlines()[0]


def test_each_group_has_its_line(cli: Any, tmp_path: Path) -> None:
    source = Path(__file__).parents[1] / "real" / "weight_trial" / "study"
    shutil.copytree(source, tmp_path / "trial")
    lines = cli("analyse", tmp_path / "trial").out.splitlines()
    groups = [line.split(", ")[0].removeprefix("Primary outcome: ") for line in lines if line.startswith("Primary")]
    assert groups[:3] == ["Control", "Cognitive behavioural treatment", "Family treatment"]
    # the others stand against the control group, 8.66 (4.28 to 13.04) lb (R 4.2.2, lm(Postwt ~ Prewt + Treat))
    assert groups[3:] == ["Body weight: cognitive_behavioural minus control", "Body weight: family minus control"]
    assert "given the first: 8.66 (4.28 to 13) lb, P < 0.001" in next(line for line in lines if "family minus" in line)


def test_a_changed_choice_has_its_own_result_and_latest_stays(cli: Any, study: Path) -> None:
    cli("analyse", study)
    latest = (study / "results" / "latest").read_text()
    told = json.loads(cli("analyse", study, "--set", "analysis.alpha=0.1", "--json").out)
    assert told["differs_from_protocol"][0]["key"] == "analysis.alpha"
    assert Path(told["results"]).name != latest.strip()
    assert (study / "results" / "latest").read_text() == latest


def test_report_prints_the_files_that_it_wrote(cli: Any, study: Path) -> None:
    cli("analyse", study)
    ran = cli("report", study, "--for", "conference")
    assert ran.code == 0, ran.err
    files = [Path(line) for line in ran.out.splitlines()]
    assert files
    assert all(path.is_file() and path.is_relative_to(study / "reports" / "conference") for path in files)


def test_a_parameter_that_changes_the_analysis_has_results_of_its_own_and_is_marked(cli: Any, study: Path) -> None:
    cli("analyse", study)
    latest = (study / "results" / "latest").read_text()
    before = {path.name for path in (study / "results").iterdir()}
    ran = cli("report", study, "--for", "conference", "--set", "dose_lag=7", "--set", "dose_window=to visit")
    assert ran.code == 0, ran.err
    (made,) = {path.name for path in (study / "results").iterdir()} - before
    document = json.loads((study / "results" / made / "record.json").read_text())
    changed = [(c["key"], c["protocol"], c["used"]) for c in document["meta"]["changed_choices"]]
    assert changed == [("dose.lag_days", "0", "7")]
    assert (study / "results" / "latest").read_text() == latest
    page = (study / "reports" / "conference" / "report.html").read_text()
    assert "dose.lag_days" in page
    book = (study / "reports" / "conference" / "conference.ipynb").read_text()
    assert 'dose_lag = \\"7\\"' in book
    assert 'dose_window = \\"to visit' not in book
    for refused in ("dose.lag_days=7", "limbs=both", "minimal_change=guessed"):
        assert cli("report", study, "--for", "conference", "--set", "dose_lag=7", "--set", refused).code == 2


# ------------------------------------------------------------------------------------------------ new and freeze


@pytest.mark.parametrize("name", ["leg_cycling_16_weeks", "arm_cycling_12_weeks", "wait_list"])
def test_a_new_study_folder_is_read_back_by_check(cli: Any, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "mine"
    ran = cli("new", folder, "--from", name)
    assert ran.code == 0, ran.err
    assert (folder / "protocol.toml").is_file()
    assert (folder / "columns.csv").is_file()
    assert list(folder.glob("*.xlsx"))
    assert f"outcomes check {folder}" in ran.err
    checked = cli("check", folder)
    assert checked.code == 3, "an empty workbook has no participant yet"
    assert "participants" in checked.out


def test_new_takes_a_protocol_file_and_never_overwrites(cli: Any, study: Path, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert cli("new", folder, "--from", study / "protocol.toml").code == 0
    before = snapshot(folder)
    ran = cli("new", folder, "--from", study)
    assert (ran.code, ran.out) == (2, "")
    assert snapshot(folder) == before


def test_freeze_seals_and_a_later_change_is_seen(cli: Any, study: Path) -> None:
    ran = cli("freeze", study)
    assert ran.code == 0
    assert "[frozen]" in (study / "protocol.toml").read_text(encoding="utf-8")
    assert "sealed on" in ran.out
    path = study / "protocol.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('title = "', 'title = "Later ', 1), encoding="utf-8")
    ran = cli("analyse", study)
    assert "The protocol was changed after freezing" in ran.err
    latest = (study / "results" / "latest").read_text().strip()
    meta = json.loads((study / "results" / latest / "record.json").read_text(encoding="utf-8"))["meta"]
    assert meta["frozen"]["changed"] is True


# ----------------------------------------------------------------------------------------------------- measures


def test_measures_lists_the_catalogue_and_filters_it(cli: Any) -> None:
    listed = cli("measures").out
    for key in ("limb_girth", "mas", "psfs", "scim3", "tenmwt", "swls"):
        assert f"\n{key} " in listed
    for words, inside, outside in (
        (("--word", "girth"), "limb_girth", "swls"),
        (("--domain", "spasticity"), "mas", "limb_girth"),
        (("--domain", "spasticity", "--word", "modified ashworth"), "mas", "psfs"),
    ):
        some = [line.split()[0] for line in cli("measures", *words).out.splitlines()[1:]]
        assert inside in some
        assert outside not in some
    stroke = cli("measures", "--population", "stroke").out
    assert "\ntenmwt " in stroke
    assert "\nscim3 " not in stroke


def test_a_filter_that_nothing_passes_says_so(cli: Any) -> None:
    ran = cli("measures", "--domain", "astrology")
    assert (ran.code, ran.out) == (2, "")
    assert "no measure for --domain astrology" in ran.err


def test_a_card_names_version_and_source(cli: Any) -> None:
    card = cli("measures", "mas").out
    assert "Bohannon" in card
    assert "bohannon1987" in card


def test_a_studys_own_measure_is_in_the_list(cli: Any, tmp_path: Path) -> None:
    folder = Path(__file__).parents[1] / "real" / "weight_trial" / "study"
    shutil.copytree(folder / "measures", tmp_path / "measures")
    listed = cli("measures", "--study", tmp_path).out
    assert "body_weight" in listed
    assert cli("measures", "--study", tmp_path / "measures").code == 2
