"""The plan carried out on seven people whose numbers are worked out by hand in the comments."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.measures import Catalogue
from outcomes.study import Study
from protocols import parse_protocol

Tables = dict[str, pd.DataFrame]
Plan = Callable[[], str]

GIRTH = "change/limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/"
TONE = "change/mas.rank/knee_extensors.worse/all/after_minus_before/-/"
ERROR = "reliability/limb_girth.girth/mid_thigh.mean/all/-/-/"


def test_the_person_is_the_unit_and_both_limbs_are_averaged(build: Callable[..., Study]) -> None:
    record = analyse(build()).record
    # changes of the limb means: 2 .5 1 3 -.5; mean 1.2, squares about it .64 .49 .04 3.24 2.89 = 7.3, 4 df
    mean = record[GIRTH + "mean"]
    assert mean.value == pytest.approx(1.2)
    assert record[GIRTH + "sd"].value == pytest.approx(math.sqrt(7.3 / 4))
    half = 2.7764451051977987 * math.sqrt(7.3 / 4 / 5)  # t(4) quantile .975: Student's table, 2.776
    assert mean.interval is not None
    assert (mean.interval.low, mean.interval.high) == (pytest.approx(1.2 - half), pytest.approx(1.2 + half))
    # sign flips: |sum| is 6 of at most 7, kept by turning nothing or one .5 over; 3 of 32, and 3 mirrored
    assert mean.test is not None
    assert mean.test.exact
    assert mean.test.p == pytest.approx(6 / 32)
    assert mean.n_people == 5


def test_a_missing_limb_leaves_no_value_and_is_counted(build: Callable[..., Study]) -> None:
    analysis = analyse(build())
    flow = "flow/limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/"
    assert analysis.record[flow + "analysed"].value == 5
    assert analysis.record[flow + "missing_after"].value == 2  # P6 (one limb), P7 (left)
    values = analysis.people["values"].query("participant_id == 'P6' and visit == 'after' and measure == 'limb_girth'")
    assert values["reason"].tolist() == ["one side has no value"]
    assert "P6" not in set(analysis.people["change"].query("measure == 'limb_girth'")["participant_id"])


def test_the_measurement_error_is_that_of_the_same_unit(build: Callable[..., Study]) -> None:
    record = analyse(build()).record
    # limb means 51 51.4, 44 44.2, 59 58.7, 48 48: differences .4 .2 -.3 0, mean .075, squares about it .2675;
    # MS error = .2675 / 2 / 3; MS occasions = 4 x .075^2 / 2 = .01125 < MS error, so occasions add nothing
    error = math.sqrt(0.2675 / 6)
    assert record[ERROR + "standard_error_agreement"].value == pytest.approx(error)
    assert record[ERROR + "mdc95"].value == pytest.approx(1.96 * math.sqrt(2) * error)
    assert record[ERROR + "mdc95"].unit_of_analysis == "mid thigh, mean of both sides, 2 readings, same rater"


def test_people_are_held_against_it(build: Callable[..., Study]) -> None:
    analysis = analyse(build())
    # MDC .585: P1 2, P3 1 and P4 3 are larger; P2 .5 and P5 -.5 within
    assert [analysis.record[GIRTH + name].value for name in ("better", "within", "other")] == [3, 2, 0]
    assert analysis.record[GIRTH + "better"].label.endswith("people larger by at least the minimal detectable change")
    classes = analysis.people["change"].query("measure == 'limb_girth'").set_index("participant_id")["class"]
    assert classes.to_dict() == {"P1": "larger", "P2": "within", "P3": "larger", "P4": "larger", "P5": "within"}


def test_ordinal_grades_get_ranks_and_transitions_and_no_detectable_change(build: Callable[..., Study]) -> None:
    record = analyse(build()).record
    assert [record[TONE + name].value for name in ("lower", "same", "higher")] == [3, 2, 0]
    assert record[TONE + "mdc95"].status == "not estimable"
    assert TONE + "mean" not in record.entries
    table = record.tables["transitions"].to_frame()
    moved = {(row.before, row.after): row.n for row in table.itertuples()}
    assert moved == {("2", "1+"): 1, ("0", "0"): 1, ("1+", "1"): 1, ("3", "3"): 1, ("1", "0"): 1}


def test_an_exploratory_outcome_is_never_tested(build: Callable[..., Study]) -> None:
    tested = analyse(build()).record
    explored = analyse(build(mas_role="exploratory")).record
    assert tested[TONE + "hodges_lehmann"].test is not None
    assert explored[TONE + "hodges_lehmann"].test is None
    assert explored.tables["outcomes"].to_frame().set_index("measure")["p"].isna()["mas.rank"]


def test_the_record_holds_no_person_and_the_people_tables_lead_to_the_rows(build: Callable[..., Study]) -> None:
    study = build()
    analysis = analyse(study)
    assert not any(f'"P{i}"' in analysis.record.to_json() for i in range(1, 8))
    cells = (
        analysis.people["change"].query("participant_id == 'P4' and measure == 'limb_girth'")["cells"].iloc[0].split()
    )
    assert len(cells) == 8  # two visits, two limbs, two readings
    table = study.table("assessments").set_index("row_id").loc[cells]
    assert set(table["participant_id"]) == {"P4"}
    assert sorted(set(table["response"])) == ["47", "49", "50", "52"]


def test_the_order_of_rows_and_people_does_not_matter(build: Callable[..., Study], tables: Tables) -> None:
    mixed = {name: frame.sample(frac=1, random_state=4).reset_index(drop=True) for name, frame in tables.items()}
    first, second = analyse(build()).record, analyse(build(**mixed)).record
    assert first.to_json() == second.to_json()


def test_the_same_inputs_give_the_same_record(build: Callable[..., Study]) -> None:
    assert analyse(build()).record.to_json() == analyse(build()).record.to_json()


def test_a_visit_outside_its_window_counts_only_if_kept(build: Callable[..., Study], tables: Tables) -> None:
    late = tables["assessments"]
    late.loc[(late["participant_id"] == "P1") & (late["visit"] == "after"), "assessed_at"] = "2025-04-01"
    assert analyse(build(assessments=late)).record[GIRTH + "mean"].n_people == 5
    dropped = analyse(build(analysis='visits_outside = "drop"', assessments=late))
    assert dropped.record[GIRTH + "mean"].n_people == 4
    values = dropped.people["values"].query("participant_id == 'P1' and visit == 'after'")
    assert set(values["reason"]) == {"visit outside its window"}


@pytest.mark.parametrize(("strategy", "n"), [("whatever happened", 5), ("while unchanged", 4), ("excluded", 4)])
def test_a_change_of_medicine_is_handled_as_the_protocol_says(
    build: Callable[..., Study], strategy: str, n: int
) -> None:
    changes = pd.DataFrame({"participant_id": ["P3"], "changed_on": ["2025-02-03"], "kind": ["medicine"]})
    rule = f'[[analysis.events]]\ntable = "changes"\nkind = "medicine"\nstrategy = "{strategy}"'
    record = analyse(build(analysis=rule, changes=changes)).record
    assert record[GIRTH + "mean"].n_people == n
    key = "people/-/-/all/after_minus_before/-/changed_medicine"
    assert record[key].value == 1


def test_too_few_people_are_not_estimated(build: Callable[..., Study], tables: Tables) -> None:
    few = tables["assessments"]
    few = few[few["participant_id"].isin(["P1", "P2"]) | (few["visit"] == "before")]
    record = analyse(build(assessments=few)).record
    assert record[GIRTH + "mean"].status == "not estimable"
    assert record[GIRTH + "mean"].reason == "2 people have both values; at least 3 are needed"
    assert record.tables["outcomes"].to_frame()["reason"].tolist()[0] == record[GIRTH + "mean"].reason


def test_a_change_of_unit_scales_what_it_should(build: Callable[..., Study], tables: Tables) -> None:
    half = tables["assessments"]
    girth = half["measure"] == "limb_girth"
    half.loc[girth, "response"] = [str(float(text) / 2) for text in half.loc[girth, "response"]]
    again = tables["repeats"]
    again["response"] = [str(float(text) / 2) for text in again["response"]]
    whole, halved = analyse(build()).record, analyse(build(assessments=half, repeats=again)).record
    for name in ("mean", "sd", "before_mean", "mdc95_used"):
        assert halved[GIRTH + name].value == pytest.approx(whole[GIRTH + name].value / 2)
    for name in ("d_z", "hedges_g", "better", "expected_by_error"):
        assert halved[GIRTH + name].value == pytest.approx(whole[GIRTH + name].value)


def test_none_occurred_is_zero_and_said(build: Callable[..., Study]) -> None:
    assert analyse(build()).record["harms/-/-/all/-/-/events"].value == 0


def test_every_method_and_caveat_that_is_named_has_its_note(build: Callable[..., Study]) -> None:
    record = analyse(build()).record
    for entry in record.entries.values():
        assert not entry.method or record.methods[entry.method]
        assert all(record.caveats[caveat] for caveat in entry.caveats)


def test_every_number_names_what_it_was_made_of(build: Callable[..., Study]) -> None:
    study = build()
    analysis = analyse(study)
    known = {f"people/{name}" for name in analysis.people} | {f"ledger/{name}" for name in study.tables}
    known |= set(analysis.record.entries) | {"protocol/harms"}
    for entry in analysis.record.entries.values():
        if entry.status == "estimated":
            assert entry.inputs, entry.key
        assert set(entry.inputs) <= known, entry.key


def test_every_person_behind_a_change_leads_to_existing_rows(build: Callable[..., Study]) -> None:
    study = build()
    analysis = analyse(study)
    rows = set(study.table("assessments")["row_id"]) | set(study.table("repeats")["row_id"])
    for name in ("scores", "values", "change", "repeats"):
        for cells in analysis.people[name].query("value.notna()" if name != "change" else "change.notna()")["cells"]:
            assert cells
            assert set(cells.split()) <= rows
    place = study.ledger.locate(analysis.people["change"]["cells"].iloc[0].split()[0])
    assert place.row >= 2


POWER = """
key = "pedal_power"
version = "own"
title = "Pedal power"
construct = "power"
source = "own test definition"
[[items]]
key = "power"
range = [0, 300]
unit = "W"
[[scales]]
key = "power"
main = true
rule = "value"
items = ["power"]
range = [0, 300]
unit = "W"
level = "ratio"
better = "higher"
"""


def test_work_is_refused_as_dose_of_a_power_outcome(tmp_path: Path, plan: Plan, tables: Tables) -> None:
    (tmp_path / "pedal_power.toml").write_text(POWER, encoding="utf-8")
    catalogue = Catalogue.packaged().with_folder(tmp_path)
    text = plan() + '[[measures]]\nmeasure = "pedal_power"\nrole = "secondary"\n[dose]\n'
    people = tables["participants"]["participant_id"]
    sessions = pd.DataFrame(
        {
            "participant_id": people,
            "session_id": [f"S{i}" for i in range(7)],
            "started_at": "2025-01-20",
            "status": "done",
            "active_minutes": [str(20 + i) for i in range(7)],
            "work_kj": [str(10 + i) for i in range(7)],
        }
    )
    answers = [
        {"participant_id": who, "visit": visit, "measure": "pedal_power", "item": "power", "response": str(10 + i)}
        for visit in ("before", "after")
        for i, who in enumerate(people)
    ]
    assessments = pd.concat([tables["assessments"], pd.DataFrame(answers)], ignore_index=True)
    protocol = parse_protocol(text, "protocol.toml")
    changed = {**tables, "assessments": assessments, "sessions": sessions}
    record = analyse(Study.from_tables(protocol, catalogue, **changed)).record
    key = "dose_response/pedal_power.power/-/all/after_minus_before/{}/slope"
    assert record[key.format("work_kj")].reason == "work is power times time, so it is no dose for a power outcome"
    assert "fewer than 10 are described only" in record[key.format("active_minutes")].reason


def test_people_scored_as_unable_are_counted_beside_the_change(plan: Plan, tables: Tables) -> None:
    times = {"P1": ("10", "8"), "P2": ("20", "16"), "P3": ("5", "5"), "P4": (None, None), "P5": (None, "40")}
    walks = [
        {
            "participant_id": who,
            "visit": visit,
            "measure": "tenmwt",
            "item": "time",
            "trial": 1,
            "response": pair[i],
            "absent_because": None if pair[i] else "unable",
        }
        for who, pair in times.items()
        for i, visit in enumerate(("before", "after"))
    ]
    assessments = pd.concat([tables["assessments"], pd.DataFrame(walks)], ignore_index=True)
    text = plan() + '[[measures]]\nmeasure = "tenmwt"\nrole = "secondary"\n'
    study = Study.from_tables(parse_protocol(text, "protocol.toml"), **{**tables, "assessments": assessments})
    record = analyse(study).record
    # 10 m in 10 s and 8 s, 20 and 16, 5 and 5, unable twice (0 and 0 m/s), unable and 40: .25 .125 0 0 .25, mean .125
    assert record["change/tenmwt.speed/-/all/after_minus_before/-/mean"].value == pytest.approx(0.125)
    assert record["flow/tenmwt.speed/-/all/after_minus_before/-/unable"].value == 2
