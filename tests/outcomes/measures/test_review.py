"""The list for clinical review: recorded facts with their source, apart from mistakes of entry."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from outcomes.measures import Catalogue, for_review
from outcomes.measures.review import COLUMNS, review_rules

WEIGHING_WORDS = ("should", "must", "stop", "hold", "refer", "danger", "severe", "diagnos", "risk of self", "advise")


def answers(*rows: tuple[Any, ...], measure: str, **more: Any) -> pd.DataFrame:
    """Rows of (participant, visit, item, response)."""
    frame = pd.DataFrame(rows, columns=["participant_id", "visit", "item", "response"], dtype="str")
    frame = frame.assign(measure=measure, **more)
    return frame.assign(row_id=[f"assessments/{i + 1}" for i in range(len(frame))])


def people(**columns: Any) -> pd.DataFrame:
    return pd.DataFrame({"participant_id": ["P1"], **{key: [value] for key, value in columns.items()}})


def mood(last: str | None) -> pd.DataFrame:
    rows = [("P1", "week0", f"phq_{n}", "0") for n in range(1, 9)]
    return answers(*rows, *([("P1", "week0", "phq_9", last)] if last is not None else []), measure="phq9")


def pressures(*readings: tuple[str, int, int]) -> pd.DataFrame:
    rows = [
        ("P1", visit, item, str(value))
        for visit, systolic, diastolic in readings
        for item, value in (("sbp", systolic), ("dbp", diastolic))
    ]
    return answers(*rows, measure="bp_hr_rest", trial=1.0)


def girths(left: tuple[float, float], right: tuple[float, float]) -> pd.DataFrame:
    rows, sides, trials = [], [], []
    for side, values in (("left", left), ("right", right)):
        for visit, value in zip(("week0", "week4"), values, strict=True):
            for trial in (1.0, 2.0):
                rows.append(("P1", visit, "reading", str(value)))
                sides.append(side)
                trials.append(trial)
    return answers(*rows, measure="limb_girth", side=sides, place="mid_thigh", trial=trials)


def said(**tables: pd.DataFrame) -> list[tuple[str, str]]:
    listed = for_review(tables)
    assert tuple(listed.columns) == COLUMNS
    return list(zip(listed["what"], listed["found"], strict=True))


def test_an_answer_to_the_item_of_self_harm_is_listed_whatever_the_total() -> None:
    # Kroenke, Spitzer & Williams (2001): item 9 at 1 or more is said apart from the total
    listed = for_review({"assessments": mood("1")})
    row = listed.iloc[0]
    assert (row["participant_id"], row["visit"], row["measure"], row["what"], row["found"]) == (
        "P1",
        "week0",
        "phq9",
        "phq_9",
        "1",
    )
    assert row["rows"] == "assessments/9"
    assert "Kroenke" in row["source"]
    assert len(listed) == 1


def test_a_zero_is_not_listed_and_a_blank_is_unknown_and_never_0() -> None:
    assert said(assessments=mood("0")) == []
    assert said(assessments=mood(None)) == [("phq_9", "no answer")]


@pytest.mark.parametrize(
    ("level", "found"),
    [
        ("C5", [("sbp", "21"), ("sbp", "121")]),
        ("T6", [("sbp", "21"), ("sbp", "121")]),
        ("T7", []),
        ("", []),
        ("C9", []),
    ],
)
def test_pressure_is_held_against_the_first_visit_only_with_a_lesion_at_or_above_t6(
    level: str, found: list[tuple[str, str]]
) -> None:
    # a rise of 20 mmHg or more, and 120 where 90 to 110 is usual (SCIRE and a course on autonomic dysreflexia)
    tables = {"assessments": pressures(("week0", 100, 60), ("week4", 121, 70))}
    assert said(**tables, participants=people(neurological_level=level)) == found


def test_visits_are_ordered_by_their_days_and_not_by_their_names() -> None:
    tables = {
        "assessments": pressures(("a_later", 119, 60), ("b_first", 99, 60)),
        "participants": people(neurological_level="C5"),
        "visits": pd.DataFrame(
            {"participant_id": ["P1"] * 2, "visit": ["a_later", "b_first"], "visited_day": [28.0, 0.0]}
        ),
    }
    listed = for_review(tables)
    assert listed[["visit", "found"]].values.tolist() == [["a_later", "20"]]
    assert set(listed["rows"].iloc[0].split()) == {"assessments/1", "assessments/3"}


def test_pressure_after_stroke_is_listed_above_180_and_110() -> None:
    # common practice, no source
    tables = {"assessments": pressures(("week0", 181, 111)), "participants": people(condition="stroke")}
    assert said(**tables) == [("sbp", "181"), ("dbp", "111")]
    tables["assessments"] = pressures(("week0", 180, 110))
    assert said(**tables) == []
    tables = {"assessments": pressures(("week0", 181, 111)), "participants": people(condition="multiple_sclerosis")}
    assert said(**tables) == []


def test_a_drop_upright_is_listed_at_20_or_10() -> None:
    # consensus of 1996 and 2011: 20 systolic or 10 diastolic within 3 minutes
    given = [("sbp_base", "112"), ("dbp_base", "70"), ("sbp_upright", "95"), ("dbp_upright", "60")]
    frame = answers(*(("P1", "week0", item, text) for item, text in given), measure="orthostatic_hypotension")
    assert said(assessments=frame) == [("diastolic_drop", "10")]


def test_one_sided_growth_is_listed_and_growth_of_both_sides_is_not() -> None:
    # more than 3 cm beyond the other side (1.5 to 3 cm are in use: common practice, no source)
    assert said(assessments=girths((50.0, 55.0), (50.0, 51.0))) == [("girth", "4")]
    assert said(assessments=girths((50.0, 55.0), (50.0, 54.0))) == []


@pytest.mark.parametrize("kind", [kind for rule in review_rules() for kind in rule.kinds])
def test_an_event_of_a_named_kind_is_listed_once_and_another_is_not(kind: str) -> None:
    events = pd.DataFrame({"participant_id": ["P1", "P2"], "kind": [kind, "haematoma"], "row_id": ["e/1", "e/2"]})
    assert said(events=events) == [("events.kind", kind)]


INJURED = {"condition": "spinal_cord_injury", "neurological_level": "T10"}


@pytest.mark.parametrize(
    ("traits", "listed"),
    [
        # previous fracture (an event), motor-complete paraplegia, 10 years, female sex: risk list of PMC4252130
        ({"ais_grade": "A"}, ["A"]),
        ({"ais_grade": "B"}, ["B"]),
        ({"ais_grade": "C"}, []),
        ({"ais_grade": "A", "neurological_level": "C6"}, []),
        ({"months_since_onset": 120.0}, ["120 months"]),
        ({"months_since_onset": 119.0}, []),
        ({"sex": "female"}, ["female"]),
        ({"sex": "male"}, []),
        ({"sex": "female", "condition": "stroke"}, []),
        ({"ais_grade": "A", "months_since_onset": 240.0, "sex": "female"}, ["A", "240 months", "female"]),
    ],
)
def test_risks_of_fracture_after_an_injury_are_listed_one_by_one(traits: dict[str, Any], listed: list[str]) -> None:
    assert [found for _, found in said(participants=people(**(INJURED | traits)))] == listed


def test_spasms_of_the_highest_grade_are_listed() -> None:
    frame = answers(("P1", "week0", "frequency", "4"), ("P1", "week0", "severity", "3"), measure="psfs")
    assert said(assessments=frame) == [("severity", "3")]


def test_nothing_recorded_lists_nothing() -> None:
    assert said() == []
    assert said(assessments=answers(measure="phq9"), participants=people(), events=pd.DataFrame()) == []


@pytest.mark.parametrize("rule", review_rules(), ids=lambda rule: rule.key)
def test_a_rule_names_a_measure_that_is_there_and_says_a_fact_with_its_source(rule: Any) -> None:
    assert rule.source
    assert rule.status in ("VERIFIED", "COMPUTED", "MEMORY", "COMMON PRACTICE")
    assert not any(word in rule.says for word in WEIGHING_WORDS)
    if rule.measure:
        definition = Catalogue.packaged().get(rule.measure)
        assert definition.item(rule.item) if rule.item else definition.scale(rule.scale)
