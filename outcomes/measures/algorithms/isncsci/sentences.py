"""One line for each decision, and the reason where there is none."""

from __future__ import annotations

from collections.abc import Iterable

from outcomes.measures.algorithms.isncsci.classify import Classified
from outcomes.measures.algorithms.isncsci.examination import Examination
from outcomes.measures.algorithms.isncsci.grade import NO_GRADE, UNDECIDED, A, B, C, D, E
from outcomes.measures.algorithms.isncsci.segments import (
    FELT,
    INTACT,
    KEY,
    LEG,
    S45,
    SIDES,
    grade_text,
    name_of,
)
from outcomes.measures.algorithms.isncsci.side import Case
from outcomes.measures.algorithms.isncsci.zones import NOT_APPLICABLE

GRADES = {A: "A", B: "B", C: "C", D: "D", E: "E"}
MOST_LISTED = 6
NO_DEFICIT = "no grade: everything is normal and there never was a deficit"


def value_name(scale: str, value: int) -> str:
    """Return what a value of a scale is called."""
    if scale == "ais":
        return {**GRADES, NO_GRADE: "no grade", UNDECIDED: "undecided"}[value]
    if scale == "complete":
        return "incomplete" if value else "complete"
    return "not applicable" if value == NOT_APPLICABLE else name_of(value)


def listed(scale: str, values: Iterable[int]) -> str:
    """Return several values in words.

    Examples
    --------
    >>> listed("nli", [7, 9]), listed("nli", range(1, 31))
    ('C7 or T1', 'one of 30 from C1 to INT')
    """
    found = sorted(values)
    if len(found) > MOST_LISTED:
        return f"one of {len(found)} from {value_name(scale, found[0])} to {value_name(scale, found[-1])}"
    names = [value_name(scale, value) for value in found]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def reason(scale: str, values: frozenset[int], exam: Examination) -> str:
    """Return why a scale has no value: it does not apply, or several are possible."""
    if len(values) > 1:
        return f"not determinable: {listed(scale, values)}"
    if scale == "ais":
        undecided = "undecided: no key muscle lies below the neurological level"
        return undecided if UNDECIDED in values else NO_DEFICIT
    if scale.startswith("zpp_motor"):
        return "not applicable: voluntary anal contraction is present"
    present = exam.sacral.pressure == (True,)
    return f"not applicable: {'deep anal pressure is felt' if present else 'S4-5 of this side is felt'}"


def sentence(scale: str, exam: Examination, found: Classified, star: str) -> str:
    """Return how the one value of a scale was reached."""
    (value,) = found.possible[scale]
    kind, _, side = scale.rpartition("_")
    name = value_name(scale, value) + star
    if scale == "nli":
        return f"neurological level = {name}: the most rostral of {_four_levels(found)}"
    if scale == "complete":
        return f"{name}: {_completeness(exam, value)}"
    if scale == "ais":
        return f"impairment grade = {name}: {_grade(value, exam, found)}"
    of_side = found.cases[SIDES.index(side)]
    case = next((case for case in of_side if value in (case.sensory, case.motor)), of_side[0])
    if kind == "sensory_level":
        case = next(case for case in of_side if case.sensory == value)
        return f"sensory level {side} = {name}: {_sensory(case, value)}"
    if kind == "motor_level":
        case = next(case for case in of_side if case.motor == value)
        return f"motor level {side} = {name}: {_motor(case)}"
    what = "sensory" if kind == "zpp_sensory" else "motor"
    return f"{what} zone {side} = {name}: {_zone(kind, case, value)}"


def _sensory(case: Case, level: int) -> str:
    if level == INTACT:
        return "light touch and pin prick are normal everywhere"
    light, pin = case.side.light[level + 1], case.side.pin[level + 1]
    segment = name_of(level + 1)
    return (
        f"at {segment} light touch is {grade_text(light)} and pin prick {grade_text(pin)}, everything above is normal"
    )


def _motor(case: Case) -> str:
    if not case.stop:
        return "every key muscle is 5 and every other segment normal"
    segment = name_of(case.stop)
    if case.stop in KEY:
        legs = segment in LEG or segment == "C5"
        above = "normal" if legs else "5"
        return f"{segment} is {grade_text(case.side.motor[case.stop])}, everything above is {above}"
    return f"{segment} has no key muscle and lies below the sensory level {name_of(case.sensory)}"


def _four_levels(found: Classified) -> str:
    parts = [
        f"{kind} " + ", ".join(f"{side} {listed('nli', found.possible[f'{kind}_level_{side}'])}" for side in SIDES)
        for kind in ("sensory", "motor")
    ]
    return " and ".join(parts)


def _completeness(exam: Examination, incomplete: int) -> str:
    if not incomplete:
        return "no voluntary anal contraction, no deep anal pressure, and S4-5 is 0 on both sides"
    signs = []
    if exam.sacral.contraction == (True,):
        signs.append("voluntary anal contraction")
    if exam.sacral.pressure == (True,):
        signs.append("deep anal pressure")
    for side, of_side in zip(SIDES, exam.sides, strict=True):
        for sense, mask in (("light touch", of_side.light[S45]), ("pin prick", of_side.pin[S45])):
            if mask & FELT and not mask & ~FELT:
                signs.append(f"{sense} {grade_text(mask)} at S4-5 {side}")
    return ", ".join(signs) or "whatever was not tested"


def _grade(value: int, exam: Examination, found: Classified) -> str:
    if value == A:
        return _completeness(exam, 0)
    sparing = _completeness(exam, 1).partition(", ")[0]
    if value == E:
        return "everything is normal after a documented deficit"
    if value == B:
        limits = ", ".join(f"{listed('nli', found.possible[f'motor_level_{side}'])} {side}" for side in SIDES)
        return f"{sparing}, and no movement more than three levels below the motor level of its side ({limits})"
    why = "" if exam.sacral.contraction == (True,) else ", movement more than three levels below the motor level"
    if not found.grades.counts:
        return f"{sparing}{why}, and no key muscle lies below the neurological level"
    counts = found.grades.counts
    half = "half or more" if value == D else "fewer than half"
    if len(counts) > 1:
        return f"{sparing}{why}, and {half} of the key muscles below are 3 or more whatever was not tested"
    level, fewest, most, number = next(iter(counts))
    count = f"{fewest}" if fewest == most else f"{fewest} to {most}"
    return f"{sparing}{why}, and {count} of {number} key muscles below {name_of(level)} are 3 or more: {half}"


def _zone(kind: str, case: Case, value: int) -> str:
    segment = name_of(value)
    if kind == "zpp_sensory":
        if value == case.sensory:
            return "nothing is felt below the sensory level"
        light, pin = grade_text(case.side.light[value]), grade_text(case.side.pin[value])
        return f"at {segment} light touch is {light} and pin prick {pin}, nothing is felt below"
    if value == case.motor:
        return "no key muscle below the motor level moves"
    moves = grade_text(case.side.motor[value]) if value in KEY else "0"
    if kind.endswith("nonkey") and moves == "0":
        return f"a non-key muscle of {segment} moves"
    return f"{segment} is {moves}, no key muscle below moves"


ROOTS = {
    "C5": "shoulder movements, supination",
    "C6": "pronation, wrist flexion",
    "C7": "finger flexion and extension at the middle joint, thumb flexion, extension and abduction in plane",
    "C8": "finger flexion at the base joint, thumb opposition, adduction and abduction out of plane",
    "T1": "index abduction",
    "L2": "hip adduction",
    "L3": "hip external rotation",
    "L4": "hip extension, abduction and internal rotation, knee flexion, foot inversion and eversion, toe extension",
    "L5": "toe flexion at the end joints, toe abduction",
    "S1": "great toe adduction",
}
"""Movements of non-key muscles by segment; from memory."""
