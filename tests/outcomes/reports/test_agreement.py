"""A study of people measured twice, from the invented cohort to the section of reliability, without a notebook."""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import cohen_kappa_score

from outcomes.analysis import Analysis, analyse, write_results
from outcomes.coverage import TABLE
from outcomes.errors import DesignError, UsageError
from outcomes.reports.agreement_figures import agreement_blocks
from outcomes.reports.agreement_tables import GRRAS, RETEST_TABLES
from outcomes.reports.facts import Facts
from outcomes.reports.figures import agreement_plot
from outcomes.reports.people import People
from outcomes.reports.reliability_sentences import reliability as sentences
from outcomes.study import Study
from synthetic_cohort import write_retest

GIRTH = "reliability/limb_girth.girth/mid_thigh.mean/all/-/-/"
TONE = "reliability/mas.rank/knee_extensors.worse/all/-/-/"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("twice")
    write_retest(place, people=36, seed=3)
    return place


@pytest.fixture(scope="module")
def analysed(folder: Path) -> tuple[Analysis, Path]:
    study = Study.open(folder)
    analysis = analyse(study)
    return analysis, write_results(study, analysis)


def pairs(analysis: Analysis, series: str) -> pd.DataFrame:
    repeats = analysis.people["repeats"]
    return (
        repeats[repeats["series"] == series].pivot(index="participant_id", columns="occasion", values="value").dropna()
    )


def test_bias_and_limits_are_those_of_the_values_by_plain_arithmetic(analysed: tuple[Analysis, Path]) -> None:
    analysis, _ = analysed
    wide = pairs(analysis, "limb_girth.girth/mid_thigh.mean")
    differences = (wide["test_2"] - wide["test_1"]).to_numpy()
    record, spread = analysis.record, differences.std(ddof=1)
    assert record[GIRTH + "agreement_bias"].value == pytest.approx(differences.mean())
    assert record[GIRTH + "limit_lower"].value == pytest.approx(differences.mean() - 1.96 * spread)
    assert record[GIRTH + "limit_upper"].value == pytest.approx(differences.mean() + 1.96 * spread)
    assert record[GIRTH + "limit_upper"].n_people == len(wide)
    assert record[GIRTH + "limit_upper"].interval.method == "exact"


def test_kappa_counts_over_the_whole_scale_of_the_measure(analysed: tuple[Analysis, Path]) -> None:
    analysis, _ = analysed
    wide = pairs(analysis, "mas.rank/knee_extensors.worse").astype(int)
    theirs = cohen_kappa_score(wide["test_1"], wide["test_2"], labels=range(6), weights="quadratic")
    assert analysis.record[TONE + "kappa_quadratic"].value == pytest.approx(theirs)
    assert analysis.record[TONE + "mdc95"].status == "not estimable"


def test_who_lacks_an_occasion_counts_in_the_correlations_of_everybody(analysed: tuple[Analysis, Path]) -> None:
    record = analysed[0].record
    whole, everybody = record[GIRTH + "icc_a_1"], record[GIRTH + "icc_a_1_incomplete"]
    assert everybody.n_people > whole.n_people
    assert everybody.value == pytest.approx(whole.value, abs=0.02)


def test_every_number_has_its_method_note(analysed: tuple[Analysis, Path]) -> None:
    record = analysed[0].record
    mine = [e for key, e in record.entries.items() if key.startswith("reliability/") and e.status == "estimated"]
    assert len(mine) > 60
    assert all(record.methods[e.method] for e in mine)
    assert all(record.caveats[c] for e in mine for c in e.caveats)


def test_the_tally_says_who_is_still_to_measure(analysed: tuple[Analysis, Path]) -> None:
    table = analysed[0].record.tables["retest_tally"].to_frame().set_index("label")
    row = table.loc["Limb girth (mid thigh, mean of both sides)"]
    assert row["n_done"] + row["n_missing"] == row["n_needed"] == 49  # chi-square interval with 48 df, 25 %
    assert row["n_incomplete"] >= 3


@pytest.mark.parametrize(
    ("settings", "there", "absent"),
    [
        ({"analysis.agreement": "precision"}, "least_significant_change", "limit_lower"),
        ({"analysis.agreement": "limits ratio"}, "limit_upper_ratio", "limit_upper"),
        ({"analysis.agreement": "limits by size"}, "limit_upper_median", "concordance"),
        ({"analysis.agreement": "limits replicates"}, "limit_upper_replicates", "icc_a_1"),
    ],
)
def test_the_plan_says_what_is_computed(folder: Path, settings: dict, there: str, absent: str) -> None:
    record = analyse(Study.open(folder, settings=settings)).record
    assert record[GIRTH + there].status == "estimated"
    assert GIRTH + absent not in record.entries
    assert record[GIRTH + "mdc95"].status == "estimated"
    if there == "limit_upper_ratio":
        assert 1 < record[GIRTH + there].value < 1.2
        assert record[GIRTH + there].unit == "1"


def facts_of(analysed: tuple[Analysis, Path], **more: Any) -> Facts:
    return Facts(analysed[0].record, **more)


@pytest.mark.parametrize("name", sorted(RETEST_TABLES))
def test_every_table_of_the_section_has_rows(analysed: tuple[Analysis, Path], name: str) -> None:
    table = RETEST_TABLES[name](facts_of(analysed))
    assert table.rows
    assert not any("nan" in cell for row in table.rows for cell in row)


@pytest.mark.parametrize(
    ("name", "interval", "what"),
    [
        ("reliability", "F, ICC(A,1)", "ICC(A,1)"),
        ("reliability", "chi-square, standard error of agreement and MDC", "standard error and MDC"),
        ("agreement", "exact, limit of agreement", "a limit"),
        ("agreement", "Fisher z with t, concordance", "concordance"),
    ],
)
def test_a_table_quotes_how_often_its_intervals_held_the_truth(
    analysed: tuple[Analysis, Path], name: str, interval: str, what: str
) -> None:
    people = min(e.n_people for k, e in analysed[0].record.entries.items() if k.endswith("/mdc95") and e.n_people)
    size = max(n for n in (8, 12, 24, 60) if n <= people)
    with TABLE.open(encoding="utf-8", newline="") as stream:
        rows = [r for r in csv.DictReader(stream) if r["interval"] == interval and int(r["n"]) == size]
    note = RETEST_TABLES[name](facts_of(analysed)).note
    assert f"In simulated studies of {size} people the 95% interval held the truth:" in note
    (said,) = re.findall(rf"{re.escape(what)} in ([^;.]+)[;.]", note.partition("held the truth: ")[2])
    for row, part in zip(rows, said.split("), "), strict=True):
        share = 100 * int(row["held"]) / (int(row["replicates"]) - int(row["refused"]))
        assert float(part.split("%")[0]) == pytest.approx(share, abs=0.51)


@pytest.mark.parametrize("name", sorted(RETEST_TABLES))
def test_another_design_has_these_tables_only_where_its_plan_names_them(
    analysed: tuple[Analysis, Path], name: str
) -> None:
    facts = facts_of(analysed)
    asked = facts.record.meta["agreement"]
    facts.record.meta["design"] = "single arm"
    try:
        assert bool(RETEST_TABLES[name](facts).rows) == (name != "grras")
        facts.record.meta["agreement"] = []
        assert RETEST_TABLES[name](facts).rows == ()
    finally:
        facts.record.meta |= {"design": "test-retest", "agreement": asked}


def test_every_item_of_the_guideline_is_answered_or_names_what_would_answer_it(analysed: tuple[Analysis, Path]) -> None:
    facts = facts_of(analysed)
    answers = {row[0]: row[2] for row in RETEST_TABLES["grras"](facts).rows}
    assert list(answers) == [str(n) for n in range(1, 16)] == [item for item, *_ in GRRAS]
    assert not any("NOT REPORTED" in text for text in answers.values())
    told = facts.record.meta["statements"].pop("raters")
    try:
        answers = {row[0]: row[2] for row in RETEST_TABLES["grras"](facts_of(analysed)).rows}
        assert answers["4"] == "NOT REPORTED; answered by statements.raters"
    finally:
        facts.record.meta["statements"]["raters"] = told


def test_the_figures_print_the_numbers_of_the_record(analysed: tuple[Analysis, Path]) -> None:
    analysis, results = analysed
    blocks = list(agreement_blocks(facts_of(analysed), People(results / "people")))
    drawn = [block for block in blocks if block.kind == "figure"]
    assert [block.name for block in drawn][:2] == [
        "agreement_limb_girth_mid_thigh_mean",
        "agreement_limb_girth_calf_max_mean",
    ]
    low = analysis.record[GIRTH + "limit_lower"].value
    assert re.search(rf"limits −{abs(low):.2f} ", drawn[0].data["alt"])
    assert all(block.svg and block.png for block in drawn)


def test_few_people_are_not_drawn_and_not_printed(analysed: tuple[Analysis, Path]) -> None:
    facts = facts_of(analysed)
    facts.record.meta["privacy"]["internal_minimum"] = 40
    try:
        few = facts_of(analysed)
        blocks = list(agreement_blocks(few, People(analysed[1] / "people")))
        assert {block.kind for block in blocks} == {"text"}
        assert all("not shown" in row[3] for row in RETEST_TABLES["reliability"](few).rows)
    finally:
        facts.record.meta["privacy"]["internal_minimum"] = 5


def test_what_may_not_be_shown_of_a_measure_is_one_line(analysed: tuple[Analysis, Path]) -> None:
    record = analysed[0].record
    shown = RETEST_TABLES["repeats_besides"](Facts(record)).rows
    before = record.meta["privacy"]
    record.meta["privacy"] = {"internal_minimum": 100, "public_minimum": 100}
    try:
        hidden = RETEST_TABLES["repeats_besides"](Facts(record)).rows
    finally:
        record.meta["privacy"] = before
    measures = Counter(row[0].rpartition(": ")[0] for row in shown)
    lines = {f"{name}: all {count} statistics" for name, count in measures.items() if count > 1}
    assert {row[0] for row in hidden if ": all " in row[0]} == lines
    assert len(lines) == 3
    assert {row[1:] for row in hidden} == {("fewer than 100", "not shown")}
    assert len(hidden) == len(measures)


def test_a_sentence_names_the_place_where_another_measure_has_the_same_title(analysed: tuple[Analysis, Path]) -> None:
    said = [sentence.text for sentence in sentences(Facts(analysed[0].record)) if sentence.section == "results"]
    starts = [text.partition(": ICC")[0] for text in said if ": ICC" in text]
    assert starts == ["Limb girth (mid thigh, mean)", "Limb girth (calf max, mean)", "10-metre walk test"]


def test_a_figure_of_agreement_needs_pairs() -> None:
    line = (0.0, -1.0, 1.0)
    with pytest.raises(DesignError, match="two measurements"):
        agreement_plot([1.0, 2.0], [1.0], bias=line, lower=line, upper=line)
    axes = agreement_plot([1.0, 2.0], [1.5, 2.0], bias=line, lower=(-2, -3, -1), upper=(2, 1, 3))
    assert axes.get_ylim()[0] < -3 < 3 < axes.get_ylim()[1]


def test_the_invented_study_is_the_same_for_the_same_seed_and_refuses_nonsense(tmp_path: Path) -> None:
    first, second = (write_retest(tmp_path / name, people=13, seed=5) for name in ("a", "b"))
    assert [p.read_bytes() for p in first.tables.values()] == [p.read_bytes() for p in second.tables.values()]
    repeats = pd.read_csv(first.tables["repeats"], dtype=str)
    once = repeats.groupby("participant_id")["occasion"].nunique()
    assert (once == 1).sum() == 1  # every twelfth does not come back
    assert np.isin(repeats["measure"], ["limb_girth", "mas", "tenmwt"]).all()
    for more in ({"people": 0}, {"seed": -1}):
        with pytest.raises(UsageError, match="expected"):
            write_retest(tmp_path / "c", **more)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="other files"):
        write_retest(tmp_path / "other")
