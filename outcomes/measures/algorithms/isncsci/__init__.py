"""Neurological classification of a spinal cord injury by the rules published in 2019; not an official program."""

from __future__ import annotations

from outcomes.measures.algorithms.contract import Algorithm, Formed, Given
from outcomes.measures.algorithms.isncsci.segments import KEY, LEVELS, SIDES, items_of
from outcomes.measures.algorithms.isncsci.sentences import GRADES, ROOTS
from outcomes.measures.algorithms.isncsci.totals import SUMS, totals


def run(given: Given) -> dict[str, Formed]:
    """Return levels, completeness, grade, zones and sums of every person.

    Parameters
    ----------
    given : Given

    Returns
    -------
    dict of str to Formed
        A value only where every completion of what was not tested gives it; else the reason lists what is possible.

    References
    ----------
    Rupp R et al. (2021) Top Spinal Cord Inj Rehabil 27(2):1-22.
    """
    from outcomes.measures.algorithms.isncsci.forming import classified

    return {**classified(given, CLASSIFIED), **totals(given)}


def _sensory(side: str) -> tuple[str, ...]:
    return (*items_of("lt", side), *items_of("pp", side))


def _of_side(side: str) -> dict[str, tuple[str, ...]]:
    """Return the scales of one side with the items that they depend on."""
    sensory = (*_sensory(side), "starred_grades")
    motor = (*items_of("motor", side), *sensory)
    return {
        f"sensory_level_{side}": sensory,
        f"motor_level_{side}": motor,
        f"zpp_sensory_{side}": (*sensory, "dap"),
        f"zpp_motor_{side}": (*motor, "vac"),
        f"zpp_motor_with_nonkey_{side}": (*motor, "vac", f"nonkey_{side}"),
    }


SENSORY_CODES = (0.0, 1.0, 2.0, 0.5, 1.5, -0.5)
MOTOR_CODES = (*map(float, range(6)), 0.5, 1.5, 2.5, 3.5, 4.5, 5.5, -0.5)
ITEMS = {
    **{item: MOTOR_CODES for side in SIDES for item in items_of("motor", side)},
    **{item: SENSORY_CODES for side in SIDES for item in _sensory(side)},
    **dict.fromkeys(("vac", "dap", "prior_deficit", "starred_grades"), (0.0, 1.0)),
    **{f"nonkey_{side}": (0.0, *map(float, sorted(KEY))) for side in SIDES},
}
SCORES = tuple(item for item in ITEMS if item.startswith(("motor", "lt", "pp")))
CLASSIFIED = {
    **{scale: items for side in SIDES for scale, items in _of_side(side).items()},
    "nli": (*SCORES, "starred_grades"),
    "complete": (*(f"{kind}_{side}_s4_5" for side in SIDES for kind in ("lt", "pp")), "vac", "dap", "starred_grades"),
    "ais": tuple(ITEMS),
}
"""Every scale that is no sum, with the items it depends on."""
LEVEL_CODES = {name: float(number) for name, number in LEVELS.items()}

ALGORITHM = Algorithm(
    items=ITEMS,
    scales={**CLASSIFIED, **SUMS},
    run=run,
    decisions=(
        "Follows the rules published in 2019; not official, not certified: an examiner answers for the result.",
        "Sensory level of a side: the last segment before the first where light touch or pin prick is below 2.",
        "Motor level of a side, walking down: a key muscle of 5 goes on, 3 or 4 is the level, less ends it one segment "
        "above. A segment without key muscle goes on at or above the sensory level and ends it below.",
        "Neurological level: the most rostral of the four.",
        "Complete: no voluntary anal contraction, no deep anal pressure, and S4-5 is 0 on both sides.",
        "A: complete. E: all normal after a documented deficit. Motor incomplete: anal contraction, or sacral sparing "
        "with movement more than three levels below the motor level of that side; else B. Then D where half or more of "
        "the key muscles below the neurological level are 3 or more, else C.",
        "Non-key muscles (their lowest segment of a side) decide between B and motor incomplete only; left empty they "
        "count as none, which is flagged on a B. Their segments, from memory: "
        + ". ".join(f"{root} {movements}" for root, movements in ROOTS.items())
        + ".",
        "Zones of partial preservation, four values: motor where there is no anal contraction, sensory on a side where "
        "there is no deep anal pressure and its S4-5 is 0. Each reaches the most caudal segment with a score above 0.",
        "NT, and what was left empty: every legal value is thought through. A scale has a value only where all agree; "
        "else the reason lists what is possible. Sums with NT are not determinable, and their limits are named.",
        "A star (0* to 4*, NT*: another cause): normal above the level that the scores without a star give, as "
        "examined at and below it. What depends on that is marked with * and says what it would be otherwise. "
        "starred_grades = as_examined takes them as examined everywhere. Sums use the examined grade (from memory).",
        "A star adds one half to the stored number (3* is 3.5); NT* is -0.5. An old 5* counts as 5.",
    ),
    codes={
        **{
            scale: LEVEL_CODES
            for scale in CLASSIFIED
            if scale.startswith(("sensory", "motor", "zpp")) or scale == "nli"
        },
        "complete": {"complete": 0.0, "incomplete": 1.0},
        "ais": {name: float(number) for number, name in GRADES.items()},
    },
    options={
        "motor_level_rule": {
            "strict": "a segment without key muscle is normal at or above the sensory level; an open point",
            "by_dermatome": "such a segment is normal where its own dermatome is",
        },
        "ais_without_key_muscles": {
            "D": "motor incomplete without a key muscle below the neurological level is D; not verified",
            "undecided": "it gets no grade",
        },
    },
)
