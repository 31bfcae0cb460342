"""Classification of spinal cord injury: what must hold for any examination."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import Any

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.measures import Catalogue, Score, score, score_table
from outcomes.measures.algorithms.isncsci.segments import (
    DERMATOMES,
    INTACT,
    KEY_MUSCLES,
    POSITION,
    SIDES,
    item_of,
    items_of,
)

SOME = settings(max_examples=40, deadline=None)
Exam = dict[str, str]
ANAL = {"vac": ("no", "yes"), "dap": ("no", "yes"), "prior_deficit": ("no", "yes")}
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


ORDER = [
    "C1", "C2", "C3", "C4", "C5", "C6", "C7", "C8", "T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8", "T9", "T10", "T11",
    "T12", "L1", "L2", "L3", "L4", "L5", "S1", "S2", "S3", "S4-5",
]  # fmt: skip
MUSCLES = ["C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1"]


def classify_plainly(exam: Mapping[str, str]) -> dict[str, str]:
    """Return levels, completeness, grade and zones of a complete examination by name: a second, plain reading."""

    def grade(kind: str, side: str, segment: str) -> int:
        return int(exam[f"{kind}_{side}_{segment.lower().replace('-', '_')}"])

    def felt(side: str, segment: str) -> tuple[int, int]:
        return (2, 2) if segment == "C1" else (grade("lt", side, segment), grade("pp", side, segment))

    found: dict[str, str] = {}
    for side in ("right", "left"):
        abnormal = [segment for segment in ORDER if felt(side, segment) != (2, 2)]
        sensory = ORDER[ORDER.index(abnormal[0]) - 1] if abnormal else "INT"
        found[f"sensory_level_{side}"] = sensory
        found[f"motor_level_{side}"] = motor_level(sensory, {m: grade("motor", side, m) for m in MUSCLES})
    rank = [*ORDER, "INT"].index
    levels = [name for key, name in found.items() if "level" in key]
    nli = min(levels, key=rank)
    vac, dap = exam["vac"] == "yes", exam["dap"] == "yes"
    sacral = {side: felt(side, "S4-5") for side in ("right", "left")}
    spared = vac or dap or any(max(pair) > 0 for pair in sacral.values())
    moves = any(
        rank(segment) - rank(found[f"motor_level_{side}"]) > 3
        for side in ("right", "left")
        for segment in [*(m for m in MUSCLES if grade("motor", side, m) > 0), exam[f"nonkey_{side}"]]
        if segment != "none"
    )
    below = [grade("motor", side, m) for side in ("right", "left") for m in MUSCLES if rank(m) > rank(nli)]
    useful = sum(muscle >= 3 for muscle in below)
    if not spared:
        ais = "A"
    elif set(levels) == {"INT"} and vac and dap:
        ais = "E" if exam["prior_deficit"] == "yes" else "no grade"
    elif not vac and not moves:
        ais = "B"
    else:
        ais = "D" if useful >= len(below) / 2 else "C"
    found |= {"nli": nli, "complete": "incomplete" if spared else "complete", "ais": ais}
    for side in ("right", "left"):
        moving = [m for m in MUSCLES if grade("motor", side, m) > 0]
        zone = max([found[f"motor_level_{side}"], *moving], key=rank)
        found[f"zpp_motor_{side}"] = "not applicable" if vac else zone
        feeling = [segment for segment in ORDER if max(felt(side, segment)) > 0]
        applies = not dap and sacral[side] == (0, 0)
        found[f"zpp_sensory_{side}"] = max(feeling, key=rank) if applies else "not applicable"
    return found


def motor_level(sensory: str, muscles: Mapping[str, int]) -> str:
    """Return the motor level of a side: the lowest segment of which everything above is normal."""
    order = [*ORDER, "INT"]
    normal = [
        muscles[segment] == 5 if segment in muscles else order.index(segment) <= order.index(sensory)
        for segment in ORDER
    ]
    first = normal.index(False) if False in normal else len(normal)
    if first == len(normal):
        return "INT"
    return ORDER[first] if muscles.get(ORDER[first], 0) >= 3 else ORDER[first - 1]


@st.composite
def exams(draw: st.DrawFn) -> Exam:
    """Return a complete examination: mostly normal above a level of each side, anything below."""
    exam = normal()
    for side in SIDES:
        level = draw(st.integers(1, INTACT))
        low = draw(st.sampled_from([0, 0, 1]))
        for kind, segments in KINDS.items():
            for segment in segments:
                item = item_of(kind, side, segment)
                if POSITION[segment] > level:
                    exam[item] = str(draw(st.sampled_from([0, low, draw(st.integers(0, most(item)))])))
        exam[f"nonkey_{side}"] = draw(st.sampled_from(["none", "none", *KEY_MUSCLES]))
    return exam | {key: draw(st.sampled_from(words)) for key, words in ANAL.items()}


def said(scored: Score) -> dict[str, str]:
    """Return every scale as its name, or the beginning of the reason why it has none."""
    return {
        key: scored.names.get(key, f"{value:g}") if value is not None else scored.reasons[key].partition(":")[0]
        for key, value in scored.scales.items()
    }


@SOME
@given(exam=exams())
def test_a_complete_examination_is_classified_as_a_plain_reading_of_the_rules_does(exam: Exam) -> None:
    scored = score("isncsci", exam)
    expected = classify_plainly(exam)
    assert {key: said(scored)[key] for key in expected} == expected


def completions(exam: Exam, unknown: list[str]) -> list[Exam]:
    """Return the examination with every legal value for what is unknown."""
    words = []
    for item in unknown:
        star = exam[item].endswith("*")
        codes = [f"{grade}*" if star and grade < most(item) else str(grade) for grade in range(most(item) + 1)]
        words.append(list(ANAL.get(item, codes)))
    return [{**exam, **dict(zip(unknown, chosen, strict=True))} for chosen in itertools.product(*words)]


@st.composite
def with_unknown(draw: st.DrawFn) -> tuple[Exam, list[str]]:
    """Return an examination with a few stars and a few scores that were not tested, near the levels."""
    exam = draw(exams())
    scores = [item for item in (*MOTOR, *SENSORY) if exam[item] != str(most(item))] or [*MOTOR]
    for item in draw(st.lists(st.sampled_from(scores), max_size=3, unique=True)):
        if exam[item] != str(most(item)):
            exam[item] += "*"
    likely = [*scores[:4], *scores[-4:], *ANAL, "lt_left_s4_5", "pp_right_s4_5", "motor_right_l2", "motor_left_c5"]
    unknown = draw(st.lists(st.sampled_from(likely), min_size=1, max_size=3, unique=True))
    for item in unknown:
        exam[item] = "NT*" if exam[item].endswith("*") else "NT"
    return exam, unknown


def in_a_table(several: list[Exam]) -> list[dict[str, set[str]]]:
    """Return what each scale of each examination may be, scored together."""
    rows = [
        {"participant_id": f"P{number:04}", "visit": "week0", "item": item, "response": text}
        for number, exam in enumerate(several)
        for item, text in exam.items()
    ]
    definition = Catalogue.packaged().get("isncsci")
    found: list[dict[str, set[str]]] = [{} for _ in several]
    for row in score_table(definition, pd.DataFrame(rows, dtype="str")).to_dict("records"):
        scale = definition.scale(str(row["scale"]))
        if scale.codes:
            name = "" if math.isnan(row["value"]) else scale.name_of(row["value"])
            found[int(row["participant_id"][1:])][scale.key] = possible(name, str(row["reason"]))
    return found


def possible(name: str, reason: str) -> set[str]:
    """Return what a scale may be: its value, or the list in the reason why it has none."""
    kind, _, rest = reason.partition(": ")
    if name or kind != "not determinable":
        return {name or kind}
    words = rest.partition(", unknown")[0]
    return {part.strip() for part in words.replace(" or ", ",").split(",")}


@settings(max_examples=25, deadline=None)
@given(found=with_unknown())
def test_what_is_possible_is_what_the_completions_give_and_no_more(found: tuple[Exam, list[str]]) -> None:
    exam, unknown = found
    scored, *each = in_a_table([exam, *completions(exam, unknown)])
    for scale, those in scored.items():
        expected = set().union(*(one[scale] for one in each))
        (first, *_) = those
        if first.startswith("one of "):
            assert len(expected) == int(first.split()[2])
        else:
            assert those == expected


@SOME
@given(exam=exams(), data=st.data())
def test_a_better_score_never_gives_a_higher_level(exam: Exam, data: st.DataObject) -> None:
    better = dict(exam)
    for item in data.draw(st.lists(st.sampled_from([*MOTOR, *SENSORY]), min_size=1, max_size=6)):
        better[item] = str(data.draw(st.integers(int(exam[item]), most(item))))
    before, after = score("isncsci", exam), score("isncsci", better)
    for level in ("nli", *(f"{kind}_level_{side}" for kind in ("sensory", "motor") for side in SIDES)):
        assert (after[level] or 0) >= (before[level] or 0)


@SOME
@given(exam=exams())
def test_grades_sums_and_zones_agree_with_the_scores(exam: Exam) -> None:
    scored = score("isncsci", exam)
    sacral = {exam[f"{kind}_{side}_s4_5"] for kind in ("lt", "pp") for side in SIDES}
    spared = exam["vac"] == "yes" or exam["dap"] == "yes" or sacral != {"0"}
    assert (scored.names.get("ais") == "A") == (not spared)
    assert (scored.names["complete"] == "complete") == (not spared)
    if exam["vac"] == "yes":
        assert scored.names.get("ais") not in ("A", "B")
    for name in ("uems", "lems", "lt", "pp"):
        assert scored[name] == (scored[f"{name}_right"] or 0) + (scored[f"{name}_left"] or 0)
    assert scored["uems_right"] == sum(int(exam[item]) for item in items_of("motor", "right")[:5])
    levels = [scored[f"{kind}_level_{side}"] or 0 for kind in ("sensory", "motor") for side in SIDES]
    assert scored["nli"] == min(levels)
    for side, kind in itertools.product(SIDES, ("sensory", "motor")):
        zone = scored[f"zpp_{kind}_{side}"]
        assert zone is None or zone >= (scored[f"{kind}_level_{side}"] or 0)
    assert scored.explanations.keys() == {key for key, value in scored.scales.items() if value is not None}


@SOME
@given(exam=exams(), order=st.randoms())
def test_the_order_of_the_items_changes_nothing(exam: Exam, order: Any) -> None:
    keys = list(exam)
    order.shuffle(keys)
    assert score("isncsci", {key: exam[key] for key in keys}) == score("isncsci", exam)
