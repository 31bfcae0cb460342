"""Classification of spinal cord injury: what is said about each decision, stars, NT, and the open points."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd
import pytest

from outcomes.measures import Catalogue, card, score, score_table
from outcomes.measures.algorithms.isncsci.segments import (
    DERMATOMES,
    KEY_MUSCLES,
    LEVELS,
    POSITION,
    SIDES,
    item_of,
    items_of,
    name_of,
)
from outcomes.measures.schema import Definition

Exam = dict[str, str]
KINDS = {"motor": KEY_MUSCLES, "lt": DERMATOMES, "pp": DERMATOMES}
SENSORY = [item for kind in ("lt", "pp") for side in SIDES for item in items_of(kind, side)]
MOTOR = [item for side in SIDES for item in items_of("motor", side)]


def most(item: str) -> int:
    """Return the normal grade of an item."""
    return 5 if item.startswith("motor") else 2


def normal() -> Exam:
    """Return an examination without any deficit."""
    scores = {item: str(most(item)) for item in (*MOTOR, *SENSORY)}
    return {**scores, "vac": "yes", "dap": "yes", "prior_deficit": "yes", "nonkey_right": "none", "nonkey_left": "none"}


def injured(level: str, below: str = "0", *, vac: str = "no", dap: str = "no") -> Exam:
    """Return an examination that is normal down to a level and has one grade everywhere below."""
    exam = {**normal(), "vac": vac, "dap": dap}
    for kind, segments in KINDS.items():
        for side, segment in itertools.product(SIDES, segments):
            if POSITION[segment] > LEVELS[level]:
                exam[item_of(kind, side, segment)] = below
    return exam


@pytest.mark.parametrize("below", ["0", "1"])
def test_moving_a_deficit_down_never_raises_a_level(below: str) -> None:
    found = [score("isncsci", injured(name_of(level), below))["nli"] or 0 for level in range(1, POSITION["S4-5"])]
    assert found == list(range(1, POSITION["S4-5"]))


@pytest.mark.parametrize(
    ("exam", "scale", "line"),
    [
        (
            injured("T4"),
            "sensory_level_right",
            "sensory level right = T4: at T5 light touch is 0 and pin prick 0, everything above is normal",
        ),
        (
            {**injured("C6"), "motor_right_c6": "4"},
            "motor_level_right",
            "motor level right = C6: C6 is 4, everything above is 5",
        ),
        (injured("C6"), "motor_level_left", "motor level left = C6: C7 is 0, everything above is 5"),
        (
            injured("T4"),
            "motor_level_left",
            "motor level left = T4: T5 has no key muscle and lies below the sensory level T4",
        ),
        (
            injured("C6", "1", vac="yes"),
            "ais",
            "impairment grade = C: voluntary anal contraction, and 0 of 16 key muscles below C6 are 3 or more: "
            "fewer than half",
        ),
        (
            injured("T4", dap="yes"),
            "ais",
            "impairment grade = B: deep anal pressure, and no movement more than three levels below the motor level of "
            "its side (T4 right, T4 left)",
        ),
        (
            injured("T4"),
            "ais",
            "impairment grade = A: no voluntary anal contraction, no deep anal pressure, and S4-5 is 0 on both sides",
        ),
        (normal(), "ais", "impairment grade = E: everything is normal after a documented deficit"),
        (
            {**injured("C6"), "motor_left_t1": "2"},
            "zpp_motor_left",
            "motor zone left = T1: T1 is 2, no key muscle below moves",
        ),
        (
            injured("T4"),
            "nli",
            "neurological level = T4: the most rostral of sensory right T4, left T4 and motor right T4, left T4",
        ),
        ({**injured("C6"), "motor_left_t1": "2"}, "uems_left", "uems_left = 12: 5, 5, 0, 0, 2"),
        (injured("C6"), "lt", "lt = 20: right 10, left 10"),
        (injured("C6"), "lt_left", "lt_left = 10: 5 dermatomes normal, 0 altered, 23 absent"),
    ],
)
def test_each_decision_is_explained_in_one_line(exam: Exam, scale: str, line: str) -> None:
    assert score("isncsci", exam).explanations[scale] == line


def test_a_star_above_the_level_is_normal_and_what_depends_on_it_says_so() -> None:
    # a plexus lesion weakens C7 of one arm, the injury lies at T6: stars above the level count as normal
    exam = {**injured("T6"), "motor_left_c7": "2*"}
    scored = score("isncsci", exam)
    assert (scored.names["motor_level_left"], scored.names["nli"]) == ("T6", "T6")
    assert scored.explanations["motor_level_left"].startswith("motor level left = T6*: ")
    assert scored.flags["motor_level_left"] == ("depends on starred grades, as examined: C6",)
    assert scored.flags["ais"] == ()
    assert scored["uems_left"] == 22
    assert scored.flags["uems_left"] == ("starred grades counted as examined",)
    examined = score("isncsci", {**exam, "starred_grades": "as_examined"})
    assert (examined.names["motor_level_left"], examined.names["nli"]) == ("C6", "C6")
    assert examined.flags["motor_level_left"] == ()


def test_a_star_at_or_below_the_level_counts_as_examined() -> None:
    exam = {**injured("T6"), "lt_left_t6": "1*", "motor_left_l3": "1*"}
    scored = score("isncsci", exam)
    assert scored.names["sensory_level_left"] == "T5"
    assert scored.names["zpp_motor_left"] == "L3"


def test_not_tested_with_a_star_is_normal_above_the_level_and_unknown_below() -> None:
    scored = score("isncsci", {**injured("T6"), "motor_left_c7": "NT*", "motor_left_s1": "NT*"})
    assert scored.names["motor_level_left"] == "T6"
    assert scored.reasons["zpp_motor_left"] == "not determinable: T6 or S1, unknown motor_left_c7, motor_left_s1"
    assert scored.reasons["lems_left"] == "not determinable: 0 to 5, unknown motor_left_s1"


def test_non_key_movement_decides_between_b_and_motor_incomplete_only() -> None:
    b = injured("C6", dap="yes")
    plain = score("isncsci", b)
    moving = score("isncsci", {**b, "nonkey_left": "L4"})
    assert (plain.names["ais"], moving.names["ais"]) == ("B", "C")
    assert moving.flags["ais"] == ("decided by non-key muscles, without them: B",)
    changed = {key for key, value in moving.scales.items() if plain[key] != value}
    assert changed == {"ais", "zpp_motor_with_nonkey_left"}
    assert moving.flags["zpp_motor_left"] == ("open point of the rules, with non-key muscles: L4",)
    left_out = {key: text for key, text in b.items() if not key.startswith("nonkey")}
    assert score("isncsci", left_out).flags["ais"] == ("non-key muscles not recorded, taken as none",)
    assert score("isncsci", {**b, "nonkey_left": "NT"}).reasons["ais"].startswith("not determinable: B or C")


def changed_options(**options: str) -> Definition:
    from dataclasses import replace

    return replace(Catalogue.packaged().get("isncsci"), options=options)


def test_a_motor_incomplete_injury_without_muscles_below_is_d_with_a_warning_or_undecided() -> None:
    exam = {**injured("S2", "1", vac="yes", dap="yes")}
    usual = score("isncsci", exam)
    assert usual.names["ais"] == "D"
    assert usual.flags["ais"] == ("open point of the rules, no key muscle below the neurological level",)
    undecided = score(changed_options(ais_without_key_muscles="undecided"), exam)
    assert undecided.reasons["ais"] == "undecided: no key muscle lies below the neurological level"


def test_the_open_point_of_the_motor_level_warns_where_its_readings_differ() -> None:
    exam = {**injured("T5"), "lt_right_c6": "1"}
    assert score("isncsci", exam).names["motor_level_right"] == "T1"
    assert score("isncsci", exam).flags["motor_level_right"] == (
        "open point of the rules, motor_level_rule by_dermatome: T5",
    )
    other = score("isncsci", exam, version="rules2019_by_dermatome")
    assert other.names["motor_level_right"] == "T5"
    assert other.flags["motor_level_right"] == ("open point of the rules, motor_level_rule strict: T1",)
    assert score("isncsci", injured("T5")).flags["motor_level_right"] == ()


def test_a_sheet_of_motor_scores_alone_gives_its_sums() -> None:
    exam = dict.fromkeys(MOTOR, "5")
    scored = score("isncsci", exam)
    assert (scored["uems"], scored["lems"]) == (50, 50)
    assert scored["nli"] is None
    assert scored.reasons["ais"].startswith("not determinable: ")
    assert scored.reasons["lt"].startswith("not determinable: 0 to 112, unknown lt_right_c2")


def test_what_was_left_empty_is_thought_through_like_nt_and_flagged() -> None:
    exam = {key: text for key, text in injured("T6").items() if key != "lt_left_l3"}
    scored = score("isncsci", exam)
    assert scored.names["ais"] == "A"
    assert scored.flags["ais"] == ("1 empty, taken as not tested",)
    assert scored.flags["sensory_level_right"] == ()


@pytest.mark.parametrize("code", ["6", "3 *", "*", "4.5", "2 or 3", "nt"])
def test_no_other_code_is_taken(code: str, frame: Callable[..., pd.DataFrame]) -> None:
    from outcomes.errors import DataError

    row: Mapping[str, Any] = {"item": "motor_right_c5", "response": code}
    with pytest.raises(DataError) as refusal:
        score_table("isncsci", frame(row, measure="isncsci"))
    (finding,) = refusal.value.findings
    assert (finding.column, finding.found, finding.file) == ("motor_right_c5", code, "assessments/1")


def test_it_is_never_called_official() -> None:
    words = card(Catalogue.packaged().get("isncsci")).lower()
    assert words.count("official") == words.count("not official") + words.count("not an official")
