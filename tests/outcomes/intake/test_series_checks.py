"""Readings from visit to visit and from side to side, through the command line: what is hardly possible is asked about,
what a person can do is left in peace. Limits and their basis stand in limits.toml.
"""

from __future__ import annotations

import csv
import io
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes.cli import run
from outcomes.intake import read_folder
from outcomes.intake.limits import limits
from outcomes.measures import Catalogue
from protocols import parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Series"
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
week = 12
when = "end"
[[measures]]
measure = "{}"
role = "primary"
"""
HEADER = "participant_id,visit,measure,place,side,item,trial,response"


def write(folder, measure, rows):
    """Write a study with one measure; a row is ``visit,place,side,item,trial,response``."""
    places = Catalogue.packaged().get(measure).rows.place
    chosen = f'places = ["{places[0]}"]\n' if places else ""
    (folder / "protocol.toml").write_text(PROTOCOL.format(measure) + chosen, encoding="utf-8")
    (folder / "participants.csv").write_text("participant_id\nP1\n", encoding="utf-8")
    lines = [f"P1,{row.partition(',')[0]},{measure},{row.partition(',')[2]}" for row in rows]
    (folder / "assessments.csv").write_text("\n".join([HEADER, *lines, ""]), encoding="utf-8")


def check(folder, measure, rows):
    """Return exit code and findings of ``outcomes check``."""
    write(folder, measure, rows)
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run(["check", str(folder)])
    assert "Traceback" not in out.getvalue() + err.getvalue()
    with (folder / "results/check/findings.csv").open(encoding="utf-8", newline="") as file:
        return left.value.code, list(csv.DictReader(file))


def pair(item, before, after, place="", side="", trial="1"):
    return [f"before,{place},{side},{item},{trial},{before}", f"after,{place},{side},{item},{trial},{after}"]


SCIM = {
    "before": "0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
    "after": "3 3 3 3 3 3 10 15 10 5 6 2 2 8 8 8 3 2 1",
}
"""Least and largest grade of each of the nineteen items: 0 and 100 points."""


def scim(before, after):
    items = [item.key for item in Catalogue.packaged().get("scim3").items][:19]
    rows = [
        (visit, item, grade)
        for visit, grades in zip(("before", "after"), (before, after), strict=True)
        for item, grade in zip(items, grades.split(), strict=True)
    ]
    return [f"{visit},,,{item},,{grade}" for visit, item, grade in rows]


JUMPS = {
    "pounds for kilograms": (
        "grip",
        pair("force", 22, 48.5, side="left"),
        "less than 2 times, or 6.12 kg, from before",
    ),
    "kilogram-force for newtons": (
        "isometric_torque",
        [row for trial in "123" for row in pair("force", 294, 30, "knee_extension", "left", trial)],
        "less than 4 times, or 36.73 N",
    ),
    "weight in pounds": ("vo2peak", pair("body_mass", 80, 176, trial=""), "less than 1.8 times, or 20 kg"),
    "another pace": ("tenmwt", pair("time", 12, 30), "less than 2 times, or 5 s"),
    "another course": ("tenmwt", pair("distance_timed", 10, 6, trial=""), "the same as at before"),
    "metres for feet": ("t25fw", pair("time", 20, 6), "less than 2 times"),
    "chair another day": ("tug", pair("time", 15, 40, trial=""), "less than 2 times, or 10.8 s"),
    "feet for metres": ("sixmwt", pair("distance", 210, 689, trial=""), "less than 2 times, or 45.8 m"),
    "another corridor": ("sixmwt", pair("course_length", 30, 15, trial=""), "the same as at before"),
    "six minutes for two": ("twomwt", pair("distance", 90, 270, trial=""), "less than 2 times, or 42.5 m"),
    "pushed feet": ("sixmpt", pair("distance", 300, 984, trial=""), "less than 2 times, or 60.7 m"),
    "the other hand": ("nhpt", pair("time", 25, 80, side="left"), "less than 2 times, or 10 s"),
    "all of a scale": ("scim3", scim(*SCIM.values()), "a change of usually -10 to 30 points since before (logic)"),
}


@pytest.mark.parametrize("name", JUMPS)
def test_a_change_that_looks_like_another_unit_or_test_is_asked_about(tmp_path, name):
    measure, rows, words = JUMPS[name]
    code, found = check(tmp_path, measure, rows)
    jumps = [one for one in found if one["rule"] == "jump"]
    assert jumps, found
    assert {(one["grade"], one["file"], one["column"]) for one in jumps} == {("ask", "assessments.csv", "response")}
    assert all(words in one["expected"] and one["query"] for one in jumps)
    assert code == (3 if any(one["grade"] != "ask" for one in found) else 0)


POSSIBLE = {
    "hand gets stronger": ("grip", pair("force", 4, 9, side="left")),  # more than twice, but within 6.12 kg
    "no strength before": ("grip", pair("force", 0, 9, side="left")),
    "thigh gets stronger": (
        "isometric_torque",
        [row for trial in "123" for row in pair("force", 40, 120, "knee_extension", "left", trial)],
    ),
    "walks better": ("tenmwt", pair("time", 20, 11)),
    "walks further": ("sixmwt", pair("distance", 200, 390, trial="")),
    "first steps": ("sixmwt", pair("distance", 15, 55, trial="")),
    "same corridor": ("sixmwt", pair("course_length", 30, 30, trial="")),
    "lost weight": ("vo2peak", pair("body_mass", 90, 70, trial="")),
    "more independent": ("scim3", scim(SCIM["before"], "3 3 3 3 3 3 10 0 0 0 0 0 0 0 0 0 0 0 0")),
}


@pytest.mark.parametrize("name", POSSIBLE)
def test_a_change_that_people_show_is_not_asked_about(tmp_path, name):
    _, found = check(tmp_path, *POSSIBLE[name])
    assert not [one for one in found if one["rule"] == "jump"], found


def sides(item, left, right, place="", trials="1"):
    """Return readings of both sides before and after."""
    both = (("left", left), ("right", right))
    return [row for side, (a, b) in both for trial in trials for row in pair(item, a, b, place, side, trial)]


SWAPPED = {
    "grip": sides("force", (10, 30), (31, 11)),
    "isometric_torque": sides("force", (100, 310), (300, 105), "knee_extension", "123"),
    "nhpt": sides("time", (60, 21), (20, 58)),
}


@pytest.mark.parametrize("measure", SWAPPED)
def test_swapped_sides_are_asked_about_in_every_measure_with_sides(tmp_path, measure):
    _, found = check(tmp_path, measure, SWAPPED[measure])
    [one] = [one for one in found if one["rule"] == "sides_swapped"]
    assert one["grade"] == "ask"
    assert "would fit the other way round" in one["expected"]


def test_pressures_in_the_wrong_order_are_set_aside_both(tmp_path):
    code, found = check(tmp_path, "bp_hr_rest", ["before,,,sbp,1,72", "before,,,dbp,1,112", "after,,,sbp,1,112"])
    assert code == 3
    wrong = [one for one in found if one["rule"] == "order"]
    assert [(one["grade"], one["row"], one["found"]) for one in wrong] == [
        ("set_aside", "2", "72"),
        ("set_aside", "3", "112"),
    ]
    assert "dbp below sbp; dbp is 112 and sbp 72: swapped?" in wrong[0]["expected"]


@pytest.mark.parametrize(("catch", "asked"), [(80, 1), (70, 0), (40, 0)])
def test_a_catch_beyond_the_end_of_the_range_is_asked_about(tmp_path, catch, asked):
    place = Catalogue.packaged().get("mts").rows.place[0]
    _, found = check(tmp_path, "mts", [f"before,{place},left,r1,,{catch}", f"before,{place},left,r2,,70"])
    assert sum(one["rule"] == "order" for one in found) == asked


def test_every_limit_between_visits_is_one_of_a_packaged_measure_in_its_unit_with_its_basis():
    catalogue = Catalogue.packaged()
    for between in limits().between:
        definition = catalogue.get(between.measure)
        if between.item:
            [item] = [item for item in definition.items if item.key == between.item]
            assert (item.unit, item.range is not None) == (between.unit, True), between
        else:
            assert definition.scale(between.scale)
        told = (between.side_difference, between.change_28_days, between.change, between.factor, between.sides_apart)
        assert any(told)
        assert all(one.basis for one in told if one)
    for order in limits().order:
        assert {order.lower, order.upper} <= {item.key for item in catalogue.get(order.measure).items}
        assert order.basis


TWICE = [(one.measure, one.item, one.factor) for one in limits().between if one.factor]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_changes_by_less_than_its_factor_is_never_asked_about(data):
    """Any value of the usual range, and one that is less than the factor away from it."""
    measure, name, factor = data.draw(st.sampled_from(TWICE))
    definition = Catalogue.packaged().get(measure)
    [item] = [item for item in definition.items if item.key == name]
    low, high = item.usual or item.range
    before = data.draw(st.floats(max(low, 1), high))
    after = data.draw(st.floats(max(low, before / factor.above * 1.01), min(high, before * factor.above * 0.99)))
    place = definition.rows.place[0] if definition.rows.place else ""
    rows = pair(name, repr(before), repr(after), place, "left" if definition.rows.side else "")
    with tempfile.TemporaryDirectory() as name_of_folder:
        folder = Path(name_of_folder)
        write(folder, measure, rows)
        protocol = parse_protocol((folder / "protocol.toml").read_text(encoding="utf-8"), "protocol.toml")
        found = read_folder(folder, protocol, Catalogue.packaged()).findings
    assert not [one for one in found if one.rule in ("jump", "sides_swapped", "order")]
