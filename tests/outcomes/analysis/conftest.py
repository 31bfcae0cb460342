"""A study of seven people, small enough to work out by hand, built in memory through the ordinary checks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from outcomes.study import Study
from protocols import parse_protocol

PROTOCOL = """
schema = 1
[study]
title = "Seven people"
design = "single arm"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
min_people = 3
{analysis}
[[visits]]
key = "before"
label = "Before"
week = 0
window_days = [7, 7]
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 8
window_days = [7, 7]
when = "end"
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
minimal_change = "own"
hoped_for = "increase"
[[measures]]
measure = "mas"
role = "{mas_role}"
places = ["knee_extensors"]
limbs = "worse"
"""

BEFORE = {
    "P1": (50, 52),
    "P2": (44, 44),
    "P3": (60, 58),
    "P4": (47, 49),
    "P5": (51, 51),
    "P6": (40, 42),
    "P7": (55, 55),
}
AFTER = {"P1": (53, 53), "P2": (44, 45), "P3": (60, 60), "P4": (50, 52), "P5": (51, 50), "P6": (41, None)}
"""Girth left and right in cm. P6 lacks the right limb after, P7 left. Means 51 44 59 48 51; 53 44.5 60 51 50.5."""

TONE = {"P1": ("2", "1"), "P2": ("0", "0"), "P3": ("1+", "1"), "P4": ("3", "2"), "P5": ("1", "0")}
TONE_AFTER = {"P1": ("1", "1+"), "P2": ("0", "0"), "P3": ("1", "1"), "P4": ("3", "3"), "P5": ("0", "0")}
"""Worse side: 2 0 1+ 3 1 before, 1+ 0 1 3 0 after; ranks 3 0 2 4 1 and 2 0 1 4 0: three lower, two the same."""

RETEST = {
    "P1": ((50, 52), (50.4, 52.4)),
    "P2": ((44, 44), (44, 44.4)),
    "P3": ((60, 58), (59.4, 58)),
    "P4": ((47, 49), (47, 49)),
}
"""Limb means on two occasions: 51 51.4, 44 44.2, 59 58.7, 48 48."""


def rows(
    kind: str, when: str, day: str, values: dict[str, Any], measure: str, item: str, place: str
) -> list[dict[str, Any]]:
    """Return a row for each limb that has a value; girth is read twice with the same result."""
    found = []
    trials = (1, 2) if item == "reading" else (None,)
    for person, pair in values.items():
        for side, value in zip(("left", "right"), pair, strict=True):
            for trial in trials if value is not None else ():
                found.append(
                    {
                        "participant_id": person,
                        kind: when,
                        "measure": measure,
                        "item": item,
                        "place": place,
                        "side": side,
                        "trial": trial,
                        "response": str(value),
                        "assessed_at": day,
                        "rater": "R1",
                    }
                )
    return found


def frames() -> dict[str, pd.DataFrame]:
    """Return the tables of the study."""
    people = pd.DataFrame({"participant_id": list(BEFORE), "enrolled_on": "2025-01-06", "age_years": range(30, 37)})
    people.loc[6, ["left_on", "left_reason"]] = ["2025-02-10", "moved away"]
    girth, tone = ("limb_girth", "reading", "mid_thigh"), ("mas", "grade", "knee_extensors")
    answers = [
        *rows("visit", "before", "2025-01-06", BEFORE, *girth),
        *rows("visit", "after", "2025-03-03", AFTER, *girth),
        *rows("visit", "before", "2025-01-06", TONE, *tone),
        *rows("visit", "after", "2025-03-03", TONE_AFTER, *tone),
    ]
    again = [
        row
        for i, occasion in enumerate(("first", "second"))
        for row in rows("occasion", occasion, "2025-01-06", {p: pair[i] for p, pair in RETEST.items()}, *girth)
    ]
    return {"participants": people, "assessments": pd.DataFrame(answers), "repeats": pd.DataFrame(again)}


@pytest.fixture
def build() -> Callable[..., Study]:
    """Return a function that builds the study, with other tables or lines of [analysis] where a test wants them."""

    def make(analysis: str = "", mas_role: str = "secondary", **changed: pd.DataFrame) -> Study:
        protocol = parse_protocol(PROTOCOL.format(analysis=analysis, mas_role=mas_role), "protocol.toml")
        return Study.from_tables(protocol, **{**frames(), **changed})

    return make


@pytest.fixture
def tables() -> dict[str, pd.DataFrame]:
    """Return fresh tables of the study, for a test to change."""
    return frames()


@pytest.fixture
def plan() -> Callable[[], str]:
    """Return a function that gives the text of the protocol."""
    return lambda: PROTOCOL.format(analysis="", mas_role="secondary")
