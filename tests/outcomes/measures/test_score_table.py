"""Scores of a whole table: grouping, variants, context, reasons, cells, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import DataError, UsageError
from outcomes.measures import Catalogue, score_table

Frame = Callable[..., pd.DataFrame]

COLUMNS = [
    "participant_id", "visit", "measure", "version", "variant", "scale", "place", "side", "value", "reason", "flags",
    "items_answered", "items_expected", "cells", "context", "explanation",
]  # fmt: skip


def girth(*readings: object, place: str = "mid_thigh", side: str = "left", **row: Any) -> list[dict[str, Any]]:
    return [
        {"item": "reading", "place": place, "side": side, "trial": i, "response": str(r), **row}
        for i, r in enumerate(readings, start=1)
    ]


def walk(*times: object, **row: Any) -> list[dict[str, Any]]:
    return [{"item": "time", "trial": i, "response": str(t), **row} for i, t in enumerate(times, start=1)]


def refused(measure: str, table: pd.DataFrame, **options: Any) -> list[tuple[str, str, str, str]]:
    with pytest.raises(DataError) as refusal:
        score_table(measure, table, **options)
    return [(f.file, f.column, f.rule, f.found) for f in refusal.value.findings]


def test_the_columns_are_those_of_the_table_of_scores(frame: Frame) -> None:
    scored = score_table("limb_girth", frame(*girth(44, 45), measure="limb_girth"))
    assert list(scored.columns) == COLUMNS
    assert {str(scored[c].dtype) for c in ("value", "items_answered", "items_expected")} == {"float64"}
    assert {str(scored[c].dtype) for c in COLUMNS if not c.startswith("items") and c != "value"} == {"str"}


def test_each_participant_visit_place_and_side_is_scored_alone(frame: Frame) -> None:
    table = frame(
        *girth(44, 45),
        *girth(46, 46, side="right"),
        *girth(33, 34, place="calf_max"),
        *girth(50, 50, participant_id="P02"),
        *girth(45, 45, visit="week4"),
        measure="limb_girth",
    )
    scored = score_table("limb_girth", table)
    keys = ["participant_id", "visit", "place", "side", "value"]
    assert scored[keys].to_numpy().tolist() == [
        ["P01", "week0", "mid_thigh", "left", 44.5],
        ["P01", "week0", "mid_thigh", "right", 46],
        ["P01", "week0", "calf_max", "left", 33.5],
        ["P01", "week4", "mid_thigh", "left", 45],
        ["P02", "week0", "mid_thigh", "left", 50],
    ]


def test_repeats_are_grouped_by_occasion_even_where_they_name_a_visit(frame: Frame) -> None:
    table = frame(
        *girth(44, 45, occasion="first"), *girth(45, 46, occasion="second"), measure="limb_girth", time="occasion"
    )
    table["visit"] = pd.Series(["week0"] * len(table), dtype="str")
    scored = score_table("limb_girth", table)
    assert scored[["occasion", "value"]].to_numpy().tolist() == [["first", 44.5], ["second", 45.5]]
    assert "visit" not in scored.columns


def test_the_order_of_the_readings_is_that_of_their_trials(frame: Frame) -> None:
    table = frame(*girth(44, 45, 60), measure="limb_girth")
    table["trial"] = [5.0, 2.0, 9.0]
    scored = score_table("limb_girth", table)
    assert scored["value"].tolist() == [45]  # median of three that lie far apart
    assert scored["cells"].tolist() == ["assessments/2 assessments/1 assessments/3"]


def test_rows_of_other_measures_are_left_out(frame: Frame) -> None:
    table = frame(*girth(44, 45), {"measure": "mas", "item": "grade", "response": "7"}, measure="limb_girth")
    assert len(score_table("limb_girth", table)) == 1
    assert len(score_table("psfs", table)) == 0
    assert list(score_table("psfs", table).columns) == COLUMNS


def test_context_without_place_holds_for_the_whole_visit(frame: Frame) -> None:
    table = frame(
        {"item": "posture", "response": "supine"},
        {"item": "posture", "response": "seated", "place": "mid_arm", "side": "left"},
        *girth(44, 45),
        *girth(30, 30, place="mid_arm"),
        *girth(44, 45, visit="week4"),
        measure="limb_girth",
    )
    scored = score_table("limb_girth", table)
    assert scored["context"].tolist() == ["posture=supine", "posture=seated", ""]
    assert scored["cells"].tolist()[0] == "assessments/3 assessments/4"


def test_the_variant_is_written_in_the_order_of_the_definition(frame: Frame) -> None:
    table = frame(
        {"item": "start", "response": "dynamic"},
        {"item": "pace", "response": "comfortable"},
        {"item": "device", "response": "two sticks"},
        {"item": "distance_timed", "response": "10"},
        *walk(10, 20),
        measure="tenmwt",
    )
    scored = score_table("tenmwt", table).set_index("scale")
    assert scored["variant"].unique().tolist() == ["pace=comfortable,start=dynamic"]
    assert scored["context"].unique().tolist() == ["device=two sticks"]
    assert scored["value"].to_dict() == pytest.approx({"speed": 0.75, "speed_of_mean_time": 2 / 3, "fastest_speed": 1})
    assert scored.loc["speed", "cells"] == "assessments/4 assessments/5 assessments/6 assessments/2 assessments/1"
    assert scored.loc["speed", "flags"] == ""


def test_two_paces_at_one_visit_are_never_joined_and_share_their_distance(frame: Frame) -> None:
    table = frame(
        {"item": "distance_timed", "response": "6"},
        *(
            {"item": "pace", "trial": i, "response": pace}
            for i, pace in enumerate(["comfortable"] * 2 + ["fast"] * 2, 1)
        ),
        *walk(10, 12, 5, 6),
        measure="tenmwt",
    )
    scored = score_table("tenmwt", table)
    main = scored[scored["scale"] == "speed"].set_index("variant")
    assert main["value"].to_dict() == pytest.approx(
        {"pace=comfortable": (0.6 + 0.5) / 2, "pace=fast": (1.2 + 1.0) / 2}, abs=1e-12
    )
    assert main["cells"].tolist() == [
        "assessments/1 assessments/6 assessments/7 assessments/2 assessments/3",
        "assessments/1 assessments/8 assessments/9 assessments/4 assessments/5",
    ]


def test_a_distance_for_each_walk_belongs_to_its_walk(frame: Frame) -> None:
    distances = [{"item": "distance_timed", "trial": i, "response": d} for i, d in enumerate(["10", "6"], 1)]
    scored = score_table("tenmwt", frame(*distances, *walk(10, 10), measure="tenmwt"))
    assert scored["value"].tolist()[0] == pytest.approx((1.0 + 0.6) / 2, abs=1e-12)


def test_a_visit_of_which_only_the_pace_is_known_has_no_score(frame: Frame) -> None:
    table = frame({"item": "pace", "response": "fast"}, *walk(10, visit="week4"), measure="tenmwt")
    scored = score_table("tenmwt", table)
    main = scored[scored["scale"] == "speed"]
    assert main[["visit", "variant", "reason"]].to_numpy().tolist() == [
        ["week0", "pace=fast", "item time missing"],
        ["week4", "", ""],
    ]
    assert main["cells"].tolist() == ["assessments/1", "assessments/2"]


def test_unable_is_zero_speed_with_its_flag(frame: Frame) -> None:
    rows = [{"item": "time", "trial": i, "absent_because": "unable"} for i in (1, 2)]
    scored = score_table("tenmwt", frame(*rows, measure="tenmwt"))
    assert scored[["value", "reason", "flags"]].drop_duplicates().to_numpy().tolist() == [[0, "", "unable"]]


def test_a_reading_without_its_number_beside_numbered_ones_is_no_score(frame: Frame) -> None:
    table = frame(*girth(44, 45), {**girth(46)[0], "trial": None}, measure="limb_girth")
    scored = score_table("limb_girth", table)
    assert scored["reason"].tolist() == ["a reading without its number beside numbered ones"]


def test_a_single_reading_needs_no_number(frame: Frame) -> None:
    scored = score_table("limb_girth", frame({**girth(46)[0], "trial": None}, measure="limb_girth"))
    assert scored[["value", "flags"]].to_numpy().tolist() == [[46, "low_quality"]]


def test_a_blank_response_is_missing_with_its_reason(frame: Frame) -> None:
    table = frame(
        *girth("", ""),
        *({**row, "absent_because": "equipment"} for row in girth("", "", side="right")),
        *girth("NT", visit="week4"),
        measure="limb_girth",
    )
    scored = score_table("limb_girth", table)
    assert scored["reason"].tolist() == ["item reading missing", "item reading equipment", "item reading not tested"]
    assert np.isnan(scored["value"]).all()
    assert scored["items_answered"].tolist() == [0, 0, 0]


def test_two_answers_for_one_key_are_refused_and_never_averaged(frame: Frame) -> None:
    table = frame(*girth(44, 45), *girth(46), measure="limb_girth")
    assert refused("limb_girth", table) == [("assessments/3", "reading", "two_answers", "46")]
    with pytest.raises(DataError, match="the other is assessments/1"):
        score_table("limb_girth", table)


def test_impossible_responses_are_refused_with_all_their_rows(frame: Frame) -> None:
    table = frame(*girth(412, "44,5"), *girth("44 cm", visit="week4"), measure="limb_girth")
    assert refused("limb_girth", table) == [
        ("assessments/1", "reading", "hard_limit", "412"),
        ("assessments/2", "reading", "decimal_comma", "44,5"),
        ("assessments/3", "reading", "unit_in_cell", "44 cm"),
    ]


@pytest.mark.parametrize(
    ("change", "finding"),
    [
        ({"item": "redaing"}, ("item", "unknown_word", "redaing")),
        ({"item": None}, ("item", "unknown_word", "")),
        ({"place": "thigh"}, ("place", "unknown_word", "thigh")),
        ({"place": None}, ("place", "unknown_word", "")),
        ({"side": "L"}, ("side", "unknown_word", "L")),
        ({"side": None}, ("side", "unknown_word", "")),
        ({"trial": 0}, ("trial", "trial", "0")),
        ({"trial": 1.5}, ("trial", "trial", "1.5")),
        ({"participant_id": None}, ("participant_id", "no_key", "")),
        ({"visit": None}, ("visit", "no_key", "")),
        ({"absent_because": "lost", "response": None}, ("absent_because", "unknown_word", "lost")),
        ({"absent_because": "refused"}, ("reading", "answer_and_absence", "44")),
    ],
)
def test_a_row_without_a_sound_key_is_refused(frame: Frame, change: dict[str, Any], finding: tuple[str, ...]) -> None:
    table = frame({**girth(44)[0], **change}, measure="limb_girth")
    assert refused("limb_girth", table) == [("assessments/1", *finding)]


def test_a_measure_without_places_sides_and_trials_has_none(frame: Frame) -> None:
    table = frame({"item": "frequency", "response": "1", "place": "arm", "side": "left", "trial": 2}, measure="psfs")
    assert [(column, found) for _, column, _, found in refused("psfs", table)] == [
        ("place", "arm"),
        ("side", "left"),
        ("trial", "2"),
    ]


def test_two_versions_are_never_joined(frame: Frame) -> None:
    table = frame(*girth(44, 45), measure="limb_girth")
    table["version"] = pd.Series(["mean_of_readings", "another"], dtype="str")
    ((_, column, rule, found),) = refused("limb_girth", table)
    assert (column, rule, found) == ("version", "two_versions", "another, mean_of_readings")
    table["version"] = pd.Series(["mean_of_readings"] * 2, dtype="str")
    assert score_table("limb_girth", table)["version"].tolist() == ["mean_of_readings"]
    assert refused("limb_girth", table, version="another")
    table["version"] = pd.Series([None, None], dtype="str")
    assert score_table("limb_girth", table)["version"].tolist() == ["mean_of_readings"]
    table["version"] = pd.Series(["another"] * 2, dtype="str")
    with pytest.raises(UsageError, match="limb_girth has no version 'another'"):
        score_table("limb_girth", table)


def test_a_column_that_is_not_there_is_a_fault_of_use(frame: Frame) -> None:
    table = frame(*girth(44, 45), measure="limb_girth")
    with pytest.raises(UsageError, match=r"need the columns response, visit \(or occasion\)"):
        score_table("limb_girth", table.drop(columns=["response", "visit"]))


def test_a_bare_frame_of_three_columns_and_a_visit_is_enough() -> None:
    table = pd.DataFrame(
        {"participant_id": ["A", "A"], "visit": ["w0", "w0"], "item": ["frequency", "severity"], "response": [2, 3.0]}
    )
    scored = score_table("psfs", table)
    assert scored[["scale", "value", "cells"]].to_numpy().tolist() == [["frequency", 2, ""], ["severity", 3, ""]]


def test_the_frame_is_left_as_it_was(frame: Frame) -> None:
    table = frame(*girth(44, 45), measure="limb_girth")
    table.index = pd.Index([7, 3])
    before = table.copy()
    score_table("limb_girth", table)
    pd.testing.assert_frame_equal(table, before)


def test_a_definition_may_stand_for_its_key(frame: Frame) -> None:
    table = frame(*girth(44, 45), measure="limb_girth")
    by_key = score_table("limb_girth", table)
    pd.testing.assert_frame_equal(score_table(Catalogue.packaged().get("limb_girth"), table), by_key)
