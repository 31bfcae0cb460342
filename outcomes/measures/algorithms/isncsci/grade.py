"""Completeness, the impairment scale and the neurological level, over everything that is possible."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

from outcomes.measures.algorithms.isncsci.segments import INTACT, KEY, MOVES, USEFUL, ZERO
from outcomes.measures.algorithms.isncsci.side import Case

NO_GRADE, UNDECIDED, A, B, C, D, E = 0, -1, 1, 2, 3, 4, 5
"""The grades; no grade for a person who never had a deficit; undecided where an option says so."""
MORE_THAN = 3
"""Levels below the motor level of its side that movement must exceed."""
MUSCLES_BELOW = tuple(2 * sum(position > level for position in KEY) for level in range(INTACT + 1))
"""By level: key muscles of both sides below it."""


@dataclass(frozen=True, slots=True)
class Half:
    """What decides the grade in one side, for one pair of levels or several that are alike.

    Parameters
    ----------
    level : int
        The more rostral of its two levels.
    intact : bool
        Whether both levels are INT.
    zero, felt : bool
        Whether S4-5 may be 0 in both senses; whether it may be felt.
    moves, still : bool
        Whether movement more than three levels below the motor level is possible; whether its absence is.
    """

    level: int
    intact: bool
    zero: bool
    felt: bool
    moves: bool
    still: bool


Counts = tuple[tuple[int, ...], tuple[int, ...]]
"""By level: the fewest and the most key muscles below it that are 3 or more."""


def halves_of(cases: Iterable[Case], others: Iterable[int]) -> dict[Half, Counts]:
    """Return what a side contributes to the grade.

    Parameters
    ----------
    cases : iterable of Case
    others : iterable of int
        Possible lowest segments of its non-key muscles; 0 for none.
    """
    found: dict[Half, Counts] = {}
    for case in cases:
        half, (fewest, most) = _half(case, others), _below(case.side.motor)
        if half in found:
            fewest = tuple(map(min, fewest, found[half][0]))
            most = tuple(map(max, most, found[half][1]))
        found[half] = (fewest, most)
    return found


def _half(case: Case, others: Iterable[int]) -> Half:
    motor, last = case.side.motor, case.motor + MORE_THAN
    low = [motor[position] for position in KEY if position > last]
    other = [position > last for position in others]
    return Half(
        level=min(case.sensory, case.motor),
        intact=case.sensory == case.motor == INTACT,
        zero=case.side.sacral_zero,
        felt=case.side.sacral_felt,
        moves=any(mask & MOVES for mask in low) or any(other),
        still=all(mask & ZERO for mask in low) and not all(other),
    )


@lru_cache(maxsize=4096)
def _below(motor: tuple[int, ...]) -> Counts:
    """Return for every level how many key muscles below it are certain to be 3 or more, and how many may be."""
    fewest, most = [0] * (INTACT + 1), [0] * (INTACT + 1)
    for level in range(INTACT - 2, -1, -1):
        mask = motor[level + 1]
        fewest[level] = fewest[level + 1] + bool(mask and not mask & ~USEFUL)
        most[level] = most[level + 1] + bool(mask & USEFUL)
    return tuple(fewest), tuple(most)


@dataclass(frozen=True, slots=True)
class Sacral:
    """The two findings of the anal examination: which answers are possible, and whether there ever was a deficit."""

    contraction: tuple[bool, ...]
    pressure: tuple[bool, ...]
    deficit: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Grades:
    """Possible grades, completeness and neurological levels.

    Parameters
    ----------
    grades, levels : set of int
    complete : set of bool
    counts : set of (int, int, int, int)
        For the grades C and D: neurological level, fewest and most key muscles below it that are 3 or more, and how
        many key muscles there are.
    """

    grades: set[int]
    levels: set[int]
    complete: set[bool]
    counts: set[tuple[int, int, int, int]]


def grade(right: Mapping[Half, Counts], left: Mapping[Half, Counts], sacral: Sacral, *, without_muscles: int) -> Grades:
    """Return every possible grade.

    Parameters
    ----------
    right, left : dict of Half to Counts
    sacral : Sacral
    without_muscles : int
        `D` or `UNDECIDED`: the grade of a motor incomplete injury below whose level no key muscle lies.

    Notes
    -----
    The scores of the two sides, and of the anal examination, are independent of each other; within one pair of levels
    the muscles are as well. So the fewest and the most useful muscles can both occur, and each grade is possible if
    and only if its conditions can be met one by one.
    """
    levels = {min(one.level, other.level) for one, other in product(right, left)}
    found = Grades(set(), levels, set(), set())
    anal = list(product(sacral.contraction, sacral.pressure))
    if (True, True) in anal and any(one.intact for one in right) and any(other.intact for other in left):
        found.grades.update(E if had else NO_GRADE for had in sacral.deficit)
        found.complete.add(False)
    for one, other in product(right, left):
        if found.grades >= {A, B, C, D}:
            break  # nothing is left to find
        for contraction, pressure in anal:
            if not contraction and not pressure and one.zero and other.zero:
                found.complete.add(True)
                found.grades.add(A)
            normal = one.intact and other.intact and contraction and pressure
            if not normal and (contraction or pressure or one.felt or other.felt):
                found.complete.add(False)
                counts = _counts(min(one.level, other.level), right[one], left[other])
                found.grades.update(_incomplete(found, one, other, contraction, counts, without_muscles))
    return found


def _counts(level: int, right: Counts, left: Counts) -> tuple[int, int, int, int]:
    """Return the level, the fewest and the most useful key muscles below it, and how many lie there."""
    return level, right[0][level] + left[0][level], right[1][level] + left[1][level], MUSCLES_BELOW[level]


def _incomplete(
    found: Grades, one: Half, other: Half, contraction: bool, counts: tuple[int, int, int, int], without_muscles: int
) -> Iterator[int]:
    """Yield the grades that an incomplete injury may have."""
    if not contraction and one.still and other.still:
        yield B
    if not (contraction or one.moves or other.moves):
        return
    _, fewest, most, number = counts
    if not number:
        yield without_muscles
        return
    found.counts.add(counts)
    if 2 * most >= number:
        yield D
    if 2 * fewest < number:
        yield C
