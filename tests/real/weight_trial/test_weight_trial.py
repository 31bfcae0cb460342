"""A published trial, typed as a clinic would, read through columns.csv and analysed to the digits that R computes."""

from __future__ import annotations

import csv
import importlib.util
import shutil
from pathlib import Path

import pytest

HERE = Path(__file__).parent

PRINTED = {
    # Hand et al. 1994, 72 women; computed by R 4.2.2 t.test, confirm.R: n, mean change (lb), 95 % t interval
    "cognitive_behavioural": ("CBT", 29, 3.0069, 0.2269, 5.7869),
    "control": ("Cont", 26, -0.4500, -3.6767, 2.7767),
    "family": ("FT", 17, 7.2647, 3.5847, 10.9447),
}


def confirmed() -> dict[str, dict[str, float]]:
    """Return the numbers that confirm.R wrote, by the trial's own word for the group."""
    lines = (HERE / "confirm.txt").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# R version 4.2.2")
    rows = csv.DictReader(lines[1:])
    return {row["group"]: {name: float(text) for name, text in row.items() if name != "group"} for row in rows}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the study folder, to be written into."""
    return shutil.copytree(HERE / "study", tmp_path_factory.mktemp("weights") / "study")


@pytest.fixture(scope="module")
def study(folder):
    from outcomes import Study

    return Study.open(folder)


@pytest.fixture(scope="module")
def record(study):
    from outcomes import analyse

    return analyse(study).record


def key(group: str, statistic: str, analysis: str = "change") -> str:
    return f"{analysis}/body_weight.weight/-/{group}/after_minus_before/-/{statistic}"


def test_the_workbook_is_what_the_script_makes_of_the_published_file():
    import openpyxl

    spec = importlib.util.spec_from_file_location("make_workbook", HERE / "make_workbook.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    made = [list(row) for row in script.workbook()["Weights"].values]
    kept = [list(row) for row in openpyxl.load_workbook(HERE / "study" / "weights.xlsx")["Weights"].values]
    assert kept == made
    assert len(kept) == 1 + 72


def test_every_row_and_weight_is_used(study):
    balance = study.ledger.balance().set_index("table")
    assert balance.loc["participants", "used"] == 72
    assert balance.loc["assessments", "used"] == 144
    assert int(balance[["duplicates", "set_aside", "emptied"]].to_numpy().sum()) == 0


def test_a_weight_is_found_again_in_the_workbook(study):
    answers = study.table("assessments")
    row = answers[(answers["participant_id"] == "W03") & (answers["visit"] == "after")].iloc[0]
    place = tuple(study.ledger.locate(f"{row['row_id']}/response"))
    assert place == ("weights.xlsx", "Weights", 4, "Weight after (lb)")
    assert row["response"] == "86.4"


def test_the_words_of_the_clinic_become_the_groups_of_the_protocol(study):
    counts = study.table("participants")["group"].value_counts().to_dict()
    assert counts == {"cognitive_behavioural": 29, "control": 26, "family": 17}


@pytest.mark.parametrize("group", PRINTED)
def test_change_and_interval_are_those_of_r(record, group):
    word, n, mean, low, high = PRINTED[group]
    entry = record[key(group, "mean")]
    assert entry.n_people == n
    assert entry.unit == "lb"
    assert entry.interval.level == 0.95
    found = (entry.value, entry.interval.low, entry.interval.high)
    assert found == pytest.approx((mean, low, high), abs=0.00005)
    exact = confirmed()[word]
    assert found == pytest.approx((exact["mean"], exact["low"], exact["high"]), abs=1e-10)
    assert record[key(group, "sd")].value == pytest.approx(exact["sd"], abs=1e-10)


@pytest.mark.parametrize("group", PRINTED)
def test_nobody_is_lost(record, group):
    assert record[key(group, "analysed", "flow")].value == PRINTED[group][1]
    assert record[key(group, "missing_before", "flow")].value == 0
    assert record[key(group, "missing_after", "flow")].value == 0


@pytest.mark.parametrize(
    ("group", "difference", "low", "high", "p"),
    # R 4.2.2, lm(Postwt ~ Prewt + Treat) with the control group as reference, confint(), summary()
    [
        ("family", 8.6601281810, 4.283766668, 13.0364896939, 0.0001890237980),
        ("cognitive_behavioural", 4.0970655281, 0.318659859, 7.8754711972, 0.0339993147203),
    ],
)
def test_groups_differ_by_what_r_computes_given_the_first_weight(record, group, difference, low, high, p):
    entry = record[key(f"{group}_minus_control", "ancova_difference", "groups")]
    assert entry.value == pytest.approx(difference, abs=1e-8)
    assert (entry.interval.low, entry.interval.high) == pytest.approx((low, high), abs=1e-8)
    assert entry.test.p == pytest.approx(p, rel=1e-9)


def test_no_change_within_a_group_of_the_trial_is_tested(record):
    within = [entry for name, entry in record.entries.items() if name.startswith("change/")]
    assert within
    assert all(entry.test is None for entry in within)


def test_without_a_measurement_error_nobody_is_called_better(record):
    assert not [entry for entry in record.entries if entry.endswith(("/better", "/within", "/other"))]


def test_harms_that_were_not_collected_are_no_zero(record):
    entry = record["harms/-/-/all/-/-/events"]
    assert (entry.status, entry.value) == ("not planned", None)


@pytest.mark.parametrize(
    "words", [["check"], ["score"], ["analyse"], ["report", "--for", "conference"]], ids=lambda words: words[0]
)
def test_the_command_line_runs_on_it(folder, words):
    from outcomes.cli import run

    with pytest.raises(SystemExit) as left:
        run([words[0], str(folder), *words[1:]])
    assert left.value.code == 0
