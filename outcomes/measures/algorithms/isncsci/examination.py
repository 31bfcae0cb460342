"""Examinations as they were written down, turned into what each score may be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.measures.algorithms.isncsci.grade import Sacral
from outcomes.measures.algorithms.isncsci.segments import (
    ANY_MUSCLE,
    ANY_SENSE,
    DERMATOMES,
    KEY,
    KEY_MUSCLES,
    NORMAL_SENSE,
    POSITION,
    SIDES,
    items_of,
)
from outcomes.measures.algorithms.isncsci.side import Side

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.measures.algorithms.contract import Given

KINDS = {"light": "lt", "pin": "pp", "motor": "motor"}
"""Parts of a `Side` and the beginning of their items."""
PLACES = 31
"""Length of a mask by position: place 0 unused, C1 to S4-5, and one for INT."""
STAR = 0.5
"""What a star adds to a grade; NT with a star is -0.5."""
NORMAL_ABOVE, AS_EXAMINED = 0.0, 1.0
ANYWHERE = (0, *sorted(KEY))
"""Where the lowest non-key muscle may be: nowhere, or in a segment that has a key muscle."""


@dataclass(frozen=True, slots=True)
class Examination:
    """One examination.

    Parameters
    ----------
    right, left : Side
    sacral : Sacral
    others : tuple of tuple of int
        Possible lowest segments of non-key muscles, right and left; 0 for none.
    others_recorded : bool
        Whether both were written down.
    as_examined : bool
        Whether starred scores count as examined everywhere.
    """

    right: Side
    left: Side
    sacral: Sacral
    others: tuple[tuple[int, ...], tuple[int, ...]]
    others_recorded: bool
    as_examined: bool

    @property
    def sides(self) -> tuple[Side, Side]:
        """The right and the left side."""
        return self.right, self.left


def examinations(given: Given) -> Iterator[Examination]:
    """Yield the examination of every person."""
    import numpy as np

    sides = [_sides(given, side) for side in SIDES]
    answers = {key: given.once(key) for key in ("vac", "dap", "prior_deficit", "starred_grades")}
    others = [_others(given, side) for side in SIDES]
    blank = np.isnan([given.once(f"nonkey_{side}") for side in SIDES]).sum(axis=0) > 0
    said = [{key: float(column[i]) for key, column in answers.items()} for i in range(given.people)]
    for i, (right, left, one) in enumerate(zip(*sides, said, strict=True)):
        yield Examination(
            right=right,
            left=left,
            sacral=Sacral(_either(one["vac"]), _either(one["dap"]), _either(one["prior_deficit"])),
            others=(others[0][i], others[1][i]),
            others_recorded=not blank[i],
            as_examined=one["starred_grades"] == AS_EXAMINED,
        )


def _either(answer: float) -> tuple[bool, ...]:
    """Return the possible answers to a question: 1 is yes, 0 is no, nan may be both."""
    return (False, True) if answer != answer else (bool(answer),)


def _others(given: Given, side: str) -> list[tuple[int, ...]]:
    """Return where the lowest non-key muscle of a side may be; left empty it is none, NT it may be anywhere."""
    value, absent = given.once(f"nonkey_{side}").tolist(), given.absent[f"nonkey_{side}"][0].tolist()
    return [
        (int(found),) if found == found else (ANYWHERE if said else (0,))
        for found, said in zip(value, absent, strict=True)
    ]


def _sides(given: Given, side: str) -> list[Side]:
    """Return one side of every person."""
    import numpy as np

    masks, stars = {}, {}
    for part, kind in KINDS.items():
        value = np.array([given.once(item) for item in items_of(kind, side)])
        of_part = np.zeros((given.people, PLACES), dtype=np.int64)
        of_part[:, 1] = 0 if kind == "motor" else NORMAL_SENSE
        positions = [POSITION[name] for name in (KEY_MUSCLES if kind == "motor" else DERMATOMES)]
        of_part[:, positions] = _masks(value, ANY_MUSCLE if kind == "motor" else ANY_SENSE).T
        masks[part] = of_part.tolist()
        stars[part] = (is_starred(value) & (value < (5 if kind == "motor" else 2)), positions)
    starred = _starred(stars, given.people)
    columns = zip(masks["light"], masks["pin"], masks["motor"], starred, strict=True)
    return [Side(tuple(light), tuple(pin), tuple(motor), star) for light, pin, motor, star in columns]


def _masks(value: NDArray[np.float64], anything: int) -> NDArray[np.int64]:
    import numpy as np

    grade = examined(value)
    known = ~np.isnan(grade)
    return np.where(known, 1 << np.where(known, grade, 0).astype(np.int64), anything)


def examined(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the grades without their stars; nan where it was not tested."""
    import numpy as np

    grade: NDArray[np.float64] = np.where(value < 0, np.nan, np.floor(value))
    return grade


def is_starred(value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which scores have a star."""
    starred: NDArray[np.bool_] = value % 1 == STAR
    return starred


def _starred(stars: dict[str, tuple[NDArray[np.bool_], list[int]]], people: int) -> list[frozenset[tuple[str, int]]]:
    import numpy as np

    found: list[set[tuple[str, int]]] = [set() for _ in range(people)]
    for part, (rows, positions) in stars.items():
        for at, person in np.argwhere(rows).tolist():
            found[person].add((part, positions[at]))
    return [frozenset(one) for one in found]
