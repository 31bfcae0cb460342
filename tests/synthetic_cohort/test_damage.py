"""Every planted fault stands in the file where the truth says, and nothing else is different."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

GRADES = {"block", "set_aside", "ask", "duplicate", None}
STATED = {  # the numbers that the cohort states
    "left_right_swap": 4,
    "duplicate_session": 5,
    "date_typo": 4,
    "mas_typo": 3,
}


def grid(cohort: Any, file: str) -> list[list[str]]:
    with (cohort.folder / file).open(encoding="utf-8", newline="") as opened:
        return list(csv.reader(opened))


@pytest.fixture(scope="module", params=["cells", "all"])
def damaged(request: pytest.FixtureRequest, written: Callable[..., Any]) -> Any:
    return written(damage=request.param)


def test_every_fault_stands_at_its_row_and_column(damaged: Any) -> None:
    for fault in damaged.truth["faults"]:
        rows = grid(damaged, fault["file"])
        assert fault["column"] in rows[0]
        column = rows[0].index(fault["column"])
        if fault["row"] is not None and fault["found"]:
            row = rows[fault["row"] - 1]
            assert row[column] == fault["found"], fault
            assert fault["found"] != fault["was"]
            if fault["row"] > 1:
                assert row[rows[0].index("participant_id")] == fault["participant_id"]


def test_grades_are_known_words_and_only_swapped_sides_have_none(damaged: Any) -> None:
    grades = {fault["grade"] for fault in damaged.truth["faults"]}
    assert grades <= GRADES
    assert {fault["kind"] for fault in damaged.truth["faults"] if fault["grade"] is None} == {"left_right_swap"}


def test_faults_are_as_many_as_stated(damaged: Any) -> None:
    kinds = Counter(fault["kind"] for fault in damaged.truth["faults"])
    assert kinds["duplicate_session"] == STATED["duplicate_session"]
    assert kinds["date_typo"] == STATED["date_typo"]
    assert kinds["mas_typo"] == STATED["mas_typo"]
    assert kinds["impossible_current"] + kinds["current_in_microampere"] == 3
    limbs = {
        tuple(damaged.tables["assessments"][f["row"] - 2][c] for c in ("participant_id", "visit", "side"))
        for f in damaged.truth["faults"]
        if f["kind"] == "unit_swap"
    }
    assert len(limbs) == 6
    swapped = {
        tuple(damaged.tables["assessments"][f["row"] - 2][c] for c in ("participant_id", "visit"))
        for f in damaged.truth["faults"]
        if f["kind"] == "left_right_swap"
    }
    assert len(swapped) == STATED["left_right_swap"]


def test_no_cell_is_damaged_twice(damaged: Any) -> None:
    cells = Counter((f["file"], f["row"], f["column"]) for f in damaged.truth["faults"] if f["row"] is not None)
    assert [cell for cell, many in cells.items() if many > 1] == []


def test_duplicates_are_the_same_row_twice_and_second_values_the_same_key(written: Callable[..., Any]) -> None:
    damaged = written(damage="all")
    for fault in damaged.truth["faults"]:
        if fault["also_row"] is None or fault["kind"] == "two_at_once":
            continue
        rows = grid(damaged, fault["file"])
        first, second = rows[fault["also_row"] - 1], rows[fault["row"] - 1]
        different = [i for i, (a, b) in enumerate(zip(first, second, strict=True)) if a != b]
        expected = [] if fault["grade"] == "duplicate" else [rows[0].index(fault["column"])]
        assert different == expected


def test_damage_to_cells_stops_nothing(written: Callable[..., Any]) -> None:
    assert {fault["grade"] for fault in written(damage="cells").truth["faults"]} == GRADES - {"block"}


def test_damage_to_all_also_stops_the_run_in_every_way(written: Callable[..., Any]) -> None:
    blocks = {fault["kind"] for fault in written(damage="all").truth["faults"] if fault["grade"] == "block"}
    assert blocks == {
        "two_values",
        "totals_row",
        "unknown_participant",
        "id_in_other_case",
        "invisible_sign_in_id",
        "near_heading",
        "heading_twice",
        "decimal_comma_throughout",
        "day_and_month_in_doubt",
    }


def test_cells_without_a_fault_are_those_of_the_undamaged_cohort(cohort: Any, written: Callable[..., Any]) -> None:
    damaged = written(damage="cells")
    added = {
        (f["file"], f["row"])
        for f in damaged.truth["faults"]
        if f["kind"] in ("duplicate_session", "measure_not_planned")
    }
    touched = {(f["file"], f["row"], f["column"]): f["was"] for f in damaged.truth["faults"]}
    for name in cohort.tables:
        clean, harmed = grid(cohort, f"{name}.csv"), grid(damaged, f"{name}.csv")
        kept = [(n, row) for n, row in enumerate(harmed, start=1) if (f"{name}.csv", n) not in added]
        assert len(kept) == len(clean)
        for before, (n, row) in zip(clean, kept, strict=True):
            for column, old, new in zip(harmed[0], before, row, strict=True):
                assert old == touched.get((f"{name}.csv", n, column), new)


def test_a_column_in_doubt_can_be_read_both_ways_throughout(written: Callable[..., Any]) -> None:
    damaged = written(damage="all")
    days = [row["changed_on"] for row in damaged.tables["changes"]]
    assert days
    assert all(int(part) <= 12 for text in days for part in text.split("/")[:2])
    masses = [row["body_mass_kg"] for row in damaged.tables["participants"] if row["participant_id"] != "Mean"]
    assert sum("," in text for text in masses) > len(masses) / 2
    assert not any("." in text for text in masses)


def test_girth_in_inches_lies_below_every_usual_girth(damaged: Any) -> None:
    found = [float(f["found"]) for f in damaged.truth["faults"] if f["kind"] == "unit_swap"]
    # 10 cm is the hard limit; below 24 cm a calf, below 35 cm a thigh is unusual (common practice, no source)
    assert found
    assert all(10 <= value < 20 for value in found)
