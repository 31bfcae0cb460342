"""A plan that asks for every statistic of repeat tests and items: each lands in the record with method and source, or
with the reason why not, and is printed."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd
import pytest

from outcomes.analysis import Analysis, analyse, write_results
from outcomes.analysis.agreement import PARTS, RESAMPLED
from outcomes.errors import DefinitionError
from outcomes.reliability import cronbach_alpha, varying_limits_of_agreement
from outcomes.reports import format as fmt
from outcomes.reports.agreement_tables import FORMS, RETEST_TABLES, SHOWN, VERDICTS
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.group_figures import group_blocks
from outcomes.reports.group_sentences import difference_interval, difference_words
from outcomes.reports.people import People
from outcomes.result import Entry, Record
from outcomes.study import Study
from protocols import parse_protocol, read_protocol
from protocols.schema import AgreementWord
from synthetic_cohort import write_cohort, write_retest

WORDS = get_args(AgreementWord)
GIRTH = "reliability/limb_girth.girth/mid_thigh.mean/all/-/-/"
TONE = "reliability/mas.rank/knee_extensors.worse/all/-/-/"
EVERYTHING = {
    "analysis.agreement": ",".join(WORDS), "analysis.mdc_trials": "2", "analysis.mdc_people": "20",
    "analysis.resamples": "2000", "measures.0.acceptable_difference": "1.5",
}  # fmt: skip

OF_NUMBERS = (
    *("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k"),
    *("icc_1_1_incomplete", "icc_a_1_incomplete", "icc_c_1_incomplete"),
    *(f"{name}_bootstrap" for name in RESAMPLED),
    *("standard_error_agreement", "standard_error_consistency", "within_person_standard_deviation"),
    *("standard_error_percent", "standard_error_from_icc", "coefficient_of_variation"),
    *("mdc95", "mdc95_percent", "mdc90", "mdc95_consistency", "mdc95_trials", "mdc95_group"),
    *("precision_error", "precision_error_percent", "precision_df"),
    *("least_significant_change", "least_significant_change_percent"),
    *(f"{name}{end}" for end in ("", "_ratio", "_replicates") for name in
      ("agreement_bias", "agreement_deviation", "limit_lower", "limit_upper")),
    *("acceptable_difference", "acceptable_verdict", "acceptable_share"),
    *("bias_slope", "spread_slope", "size_median", "limit_lower_median", "limit_upper_upper_quartile"),
    "concordance",
)  # fmt: skip
OF_GRADES = ("kappa", "kappa_linear", "kappa_quadratic", "ac1", "ac2_quadratic", "alpha_ordinal")


@pytest.fixture(scope="module")
def retest(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    folder = tmp_path_factory.mktemp("twice")
    write_retest(folder, people=36, seed=3)
    study = Study.open(folder, settings=EVERYTHING)
    analysis = analyse(study)
    return Analysis(Record.read(write_results(study, analysis) / "record.json"), analysis.people, analysis.run)


@pytest.fixture(scope="module")
def waiting_results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("waiting")
    write_cohort(folder, people=60, seed=3, protocol="wait_list")
    study = Study.open(folder, settings=EVERYTHING)
    return write_results(study, analyse(study))


@pytest.fixture(scope="module")
def waiting(waiting_results: Path) -> Record:
    return Record.read(waiting_results / "record.json")


def printed(record: Record) -> set[str]:
    facts = Facts(record)
    return {cell for table in RETEST_TABLES.values() for row in table(facts).rows for cell in row}


def entries(record: Record) -> Iterator[tuple[str, Entry]]:
    for key, entry in record.entries.items():
        if key.startswith("reliability/"):
            yield key.rpartition("/")[2], entry


def test_every_word_has_something_that_computes_it() -> None:
    assert set(PARTS) == set(WORDS)


@pytest.mark.parametrize("name", OF_NUMBERS)
def test_each_statistic_of_a_measured_number_is_in_the_record(retest: Analysis, name: str) -> None:
    entry = retest.record[GIRTH + name]
    assert entry.status == "estimated"
    assert entry.n_people >= 29
    assert retest.record.methods[entry.method]


@pytest.mark.parametrize("name", OF_GRADES)
def test_each_statistic_of_a_grade_is_in_the_record(retest: Analysis, name: str) -> None:
    assert retest.record[TONE + name].status == "estimated"
    assert retest.record[TONE + name].interval is not None


@pytest.mark.parametrize("design", ["retest", "waiting"])
def test_each_number_has_a_method_and_a_source_and_is_printed(design: str, request: pytest.FixtureRequest) -> None:
    found = request.getfixturevalue(design)
    record: Record = found.record if design == "retest" else found
    cells, facts = printed(record), Facts(record)
    told = 0
    for name, entry in entries(record):
        where = f"{entry.key}: {entry.reason}"
        if entry.status != "estimated":
            assert entry.reason, where
            assert any(fmt.clean(entry.reason) in cell for cell in cells) or name == "mdc95", where
            continue
        assert record.methods[entry.method], where
        derived = ("count", "percent_of_mean", "degrees_of_freedom", "size_quantile")
        assert entry.source or entry.method in derived, where
        if facts.small.hides(entry.n_people) or isinstance(entry.value, str):
            continue
        if name not in SHOWN:
            assert fmt.clean(entry.label, 200) in cells, where
        if entry.interval is not None and name != "acceptable_share":
            places = {"places": 2} if name in ("kappa", "kappa_linear", "kappa_quadratic", "ac2_quadratic") else {}
            shown = fmt.with_interval(
                entry.value, entry.interval.low, entry.interval.high, entry.unit, places.get("places")
            )
            assert any(shown in cell for cell in cells) or name == "alpha_ordinal", where
        told += 1
    assert told > 60


def test_what_two_occasions_cannot_give_is_refused_with_its_reason(retest: Analysis) -> None:
    refused = retest.record[GIRTH + "limit_lower_pairs"]
    assert refused.reason == "2 occasions; taken two by two, an even number from 4 is needed"
    assert any(refused.reason in cell for cell in printed(retest.record))


def test_the_verdict_on_a_difference_that_was_fixed_beforehand_is_that_of_the_limits(retest: Analysis) -> None:
    record = retest.record
    lower, upper = (record[GIRTH + name].interval for name in ("limit_lower", "limit_upper"))
    assert (lower.low < -1.5, lower.high > -1.5, upper.low < 1.5, upper.high > 1.5) == (True,) * 4
    assert record[GIRTH + "acceptable_verdict"].value == "undecided"
    assert VERDICTS["undecided"] in printed(record)


def test_of_a_mean_of_trials_and_of_a_group_the_detectable_change_is_smaller_by_the_root(retest: Analysis) -> None:
    record = retest.record
    person, trials, group = (record[GIRTH + name] for name in ("mdc95", "mdc95_trials", "mdc95_group"))
    assert trials.value == pytest.approx(person.value / 2**0.5)
    assert group.value == pytest.approx(person.value / 20**0.5)
    assert trials.label.endswith("of a mean of 2 occasions, 95 %")
    assert group.label.endswith("of the mean of 20 people, 95 %")


def test_limits_by_regression_stand_at_sizes_that_are_no_value_of_one_person(retest: Analysis) -> None:
    repeats = retest.people["repeats"]
    mine = repeats[repeats["series"] == "limb_girth.girth/mid_thigh.mean"]
    means = mine.pivot(index="participant_id", columns="occasion", values="value").dropna().mean(axis=1)
    for name, q in (("lower_quartile", 0.25), ("median", 0.5), ("upper_quartile", 0.75)):
        assert retest.record[GIRTH + f"size_{name}"].value == pytest.approx(np.quantile(means, q))


def test_the_figure_of_groups_says_the_difference_and_holds_the_means(waiting: Record, waiting_results: Path) -> None:
    facts = Facts(waiting)
    (block,) = group_blocks(facts, People(waiting_results / "people"))
    assert block.kind == "figure"
    difference = next(row for row in rows_of(waiting, "group_differences") if row["role"] == "primary")
    assert difference_words(facts, difference) in block.data["alt"]
    lines = block.data["table"]["rows"]
    assert [line[0] for line in lines] == [
        "Training at once",
        "Waiting",
        "Training at once minus Waiting, given the first value",
    ]
    assert lines[2][2] == difference_interval(facts, difference)
    for line, row in zip(lines, facts.rows, strict=False):
        assert tuple(line[1:]) == (fmt.number(row["n"]), fmt.quantity(row["change"], "cm", facts.decimals(row)))


def test_without_groups_there_is_no_such_figure_and_few_people_are_not_drawn(
    waiting: Record, waiting_results: Path
) -> None:
    people, groups = People(waiting_results / "people"), waiting.meta["groups"]
    waiting.meta["privacy"] = {"internal_minimum": 40, "public_minimum": 40}
    try:
        (block,) = group_blocks(Facts(waiting), people)
        assert "not drawn (fewer than 40 people in a group)" in str(block.data)
        waiting.meta["groups"] = []
        assert list(group_blocks(Facts(waiting), people)) == []
    finally:
        waiting.meta |= {"groups": groups, "privacy": {"internal_minimum": 5, "public_minimum": 11}}


def test_a_table_of_another_design_holds_only_what_was_measured_twice(waiting: Record) -> None:
    facts = Facts(waiting)
    rated = RETEST_TABLES["agreement_of_grades"](facts).rows
    assert [row[0] for row in rated if row[1] == "none"] == []
    assert "Global Rating of Change" not in {row[0] for row in rated}  # asked once
    names = {row[0].partition(";")[0] for row in RETEST_TABLES["agreement"](facts).rows}
    assert names == {"Limb girth (mid thigh, mean)", "Limb girth (calf max, mean)"}


def test_what_was_asked_besides_stands_measure_by_measure(retest: Analysis) -> None:
    rows = RETEST_TABLES["repeats_besides"](Facts(retest.record)).rows
    measures = [row[0].partition(": ")[0] for row in rows]
    changes = sum(a != b for a, b in itertools.pairwise(measures))
    assert changes == len(set(measures)) - 1


def test_alpha_is_that_of_the_answers_at_the_first_compared_visit(waiting: Record, tmp_path: Path) -> None:
    write_cohort(tmp_path, people=60, seed=3, protocol="wait_list")
    answers = Study.open(tmp_path).table("assessments")
    mine = answers[(answers["measure"] == "swls") & (answers["visit"] == "week0")]
    wide = mine.pivot(index="participant_id", columns="item", values="response").astype(float)
    ours = cronbach_alpha(wide.to_numpy()).alpha
    entry = waiting["reliability/swls.total/-/all/week0/-/cronbach_alpha"]
    assert entry.value == pytest.approx(ours.value)
    assert entry.interval.method == "Feldt F"
    assert waiting["reliability/swls.total/-/all/week0/-/cronbach_alpha_bootstrap"].value == pytest.approx(ours.value)
    omega = waiting["reliability/swls.total/-/all/week0/-/mcdonald_omega"]
    assert 0 < omega.value <= 1
    assert omega.source.startswith("McDonald")


def test_four_occasions_are_taken_two_by_two(build_four: tuple[Study, Any]) -> None:
    study, table = build_four
    record = analyse(study).record
    theirs = varying_limits_of_agreement(table[:, 0::2], table[:, 1::2], unit="cm")
    for name, entry in (("limit_lower", theirs.lower), ("limit_upper", theirs.upper), ("agreement_bias", theirs.bias)):
        found = record[f"reliability/limb_girth.girth/mid_thigh.left/all/-/-/{name}_pairs"]
        assert found.value == pytest.approx(entry.value)
        assert found.interval.low == pytest.approx(entry.interval.low)
    grades = record["reliability/mas.rank/knee_extensors.left/all/-/-/fleiss_kappa"]
    assert grades.status == "estimated"
    cells = printed(record)
    assert any(cell.endswith(FORMS["_pairs"]) for cell in cells)
    assert any("Fleiss' kappa" in cell for cell in cells)


FOUR = """schema = 1
[study]
title = "Four times"
design = "test-retest"
[harms]
collection = "not collected"
[analysis]
agreement = ["limits pairs", "limits replicates", "kappa"]
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
sides = ["left"]
[[measures]]
measure = "mas"
role = "secondary"
places = ["knee_extensors"]
sides = ["left"]
"""


@pytest.fixture
def build_four() -> tuple[Study, Any]:
    """Return a study of twelve people on four occasions, one reading and one grade each, and the girths."""
    draw = np.random.default_rng(5)
    table = np.round(50 + 4 * draw.standard_normal((12, 1)) + 0.5 * draw.standard_normal((12, 4)), 1)
    table[:, 2:] += 2
    grades = np.clip(np.round(draw.normal(2, 1, (12, 1)) + 0.5 * draw.standard_normal((12, 4))), 0, 4).astype(int)
    base = {"side": "left", "assessed_at": "2026-01-05"}
    rows = []
    for i in range(12):
        for k in range(4):
            one = {"participant_id": f"P{i:02d}", "occasion": f"t{k + 1}", **base}
            rows.append(one | {"measure": "limb_girth", "item": "reading", "place": "mid_thigh", "trial": 1,
                               "response": f"{table[i, k]:.1f}"})  # fmt: skip
            grade = ("0", "1", "2", "3", "4")[grades[i, k]]
            rows.append(one | {"measure": "mas", "item": "grade", "place": "knee_extensors", "trial": None,
                               "response": grade})  # fmt: skip
    people = pd.DataFrame({"participant_id": [f"P{i:02d}" for i in range(12)]})
    protocol = parse_protocol(FOUR, "protocol.toml")
    return Study.from_tables(protocol, participants=people, repeats=pd.DataFrame(rows)), table


def test_a_grade_has_no_acceptable_difference_and_what_was_tested_once_says_so(build_four: tuple[Study, Any]) -> None:
    study, _ = build_four
    text = FOUR.replace('"limits pairs"', '"limits"').replace(
        'measure = "mas"', 'measure = "mas"\nacceptable_difference = 1.0'
    )
    tables = {name: study.table(name) for name in ("participants", "repeats")}
    keys = ("participant_id", "occasion", "measure", "item", "place", "side", "trial", "response")
    rows = tables["repeats"][list(keys)].astype({"response": "str"})
    people = tables["participants"][["participant_id"]]
    protocol = parse_protocol(text, "protocol.toml")
    record = analyse(Study.from_tables(protocol, participants=people, repeats=rows)).record
    tone = "reliability/mas.rank/knee_extensors.left/all/-/-/"
    assert record[tone + "acceptable_verdict"].reason.startswith("a grade only ranks")
    girth = rows[rows["measure"] == "limb_girth"]
    alone = analyse(Study.from_tables(protocol, participants=people, repeats=girth)).record
    assert alone[tone + "acceptable_verdict"].reason == "there are no repeat tests of it"
    assert alone[tone + "kappa_quadratic"].reason == "there are no repeat tests of it"
    (row,) = RETEST_TABLES["agreement_of_grades"](Facts(alone)).rows
    assert row[4] == "not estimable: there are no repeat tests of it"


def test_one_reading_an_occasion_gives_no_limits_of_readings(build_four: tuple[Study, Any]) -> None:
    record = analyse(build_four[0]).record
    entry = record["reliability/limb_girth.girth/mid_thigh.left/all/-/-/limit_lower_replicates"]
    assert entry.reason.startswith("nobody has several numbered readings")


def test_what_only_shapes_a_statistic_needs_the_word_that_asks_for_it(tmp_path: Path) -> None:
    text = (Path(__file__).parents[3] / "protocols" / "studies" / "test_retest.toml").read_text(encoding="utf-8")
    path = tmp_path / "protocol.toml"
    asked = 'agreement = ["correlations", "error", "limits", "concordance", "kappa", "alpha"]'
    assert asked in text
    more = 'agreement = ["kappa"]\nmdc_trials = 3'
    path.write_text(text.replace(asked, more), encoding="utf-8")
    with pytest.raises(DefinitionError, match='mdc_trials: only with "error" under agreement'):
        read_protocol(path)
