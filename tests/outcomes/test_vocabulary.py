"""The tables agree with themselves: keys are columns, words are closed, physical columns end in their unit."""

from __future__ import annotations

import re

import pytest

from outcomes.units import SUFFIX_UNITS
from outcomes.vocabulary import ANSWER_TABLES, CAUTION, COLUMNS_CSV, DELIVERED, PLACE_PATTERN, TABLES, Column, Table

WITHOUT_UNIT = {"rpe", "trial", "channel", "segment", "phases", "sessions_per_week"}
"""Numbers that have no unit, or whose unit is in words."""


@pytest.fixture(params=sorted(TABLES))
def table(request: pytest.FixtureRequest) -> Table:
    return TABLES[request.param]


def test_a_key_is_made_of_columns(table: Table) -> None:
    assert set(table.key) <= set(table.by_name)


def test_required_columns_exist(table: Table) -> None:
    assert set(table.required_columns) <= set(table.by_name)


def test_no_heading_stands_for_two_columns(table: Table) -> None:
    headings = [heading for column in table.read for heading in column.headings]
    assert len(headings) == len(set(headings))
    assert set(table.by_heading) == set(headings)


def test_columns_are_spelled_in_lower_case_words(table: Table) -> None:
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", column.name) for column in table.columns)


def test_only_word_columns_have_words_and_each_has_some(table: Table) -> None:
    for column in table.columns:
        assert bool(column.words) == (column.kind == "word"), column.name


def test_a_physical_number_ends_in_its_unit(table: Table) -> None:
    numbers = [column for column in table.columns if column.kind in ("number", "integer")]
    without = {column.name for column in numbers if not column.unit}
    assert without <= WITHOUT_UNIT


def test_days_end_in_on_and_moments_in_at(table: Table) -> None:
    for column in table.columns:
        assert column.name.endswith("_on") == (column.kind == "date"), column.name
        assert column.name.endswith("_at") == (column.kind == "moment"), column.name


def test_a_day_has_two_forms_and_a_moment_three() -> None:
    assert Column("left_on", "date").headings == ("left_on", "left_day")
    assert Column("started_at", "moment").headings == ("started_at", "started_day", "started_clock")
    assert Column("rpe", "number").headings == ("rpe",)


def test_only_participants_and_assessments_are_required() -> None:
    assert {name for name, table in TABLES.items() if table.required} == {"participants", "assessments"}


def test_answers_have_one_shape() -> None:
    shapes = [[column.name for column in TABLES[name].columns] for name in ANSWER_TABLES]
    shared = ["measure", "version", "place", "side", "item", "trial", "response", "absent_because"]
    for shape in shapes:
        start = shape.index("measure")
        assert shape[start : start + len(shared)] == shared


def test_columns_csv_fixes_only_parts_of_an_answers_key_and_its_rater() -> None:
    fixed = COLUMNS_CSV[-9:]
    known = {column.name for name in ANSWER_TABLES for column in TABLES[name].columns}
    assert set(fixed) <= known


def test_delivered_sessions_are_a_part_of_the_session_words() -> None:
    assert set(DELIVERED) < set(TABLES["sessions"].by_name["status"].words)


def test_a_place_is_a_neutral_key() -> None:
    assert re.fullmatch(PLACE_PATTERN, "thigh_5cm")
    assert not re.fullmatch(PLACE_PATTERN, "Thigh")


def test_a_name_ends_in_one_suffix_at_most() -> None:
    assert [(a, b) for a in SUFFIX_UNITS for b in SUFFIX_UNITS if a.endswith(f"_{b}")] == []


def test_the_caution_says_no_device_no_advice_no_parameter() -> None:
    for words in ("No medical device", "no individual advice", "sets no training or stimulation parameter"):
        assert words in CAUTION
