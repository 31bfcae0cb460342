"""Counts of people that hang together by their totals: what a page for others may print of them.

A count that is too small is never printed beside a gap that a reader could fill by subtraction: it is counted together
with another, under both names. What is printed then adds up to the total, and each small count could still be anything
from 1 to one below the minimum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from outcomes.reports.small_numbers import SmallNumbers

Cell = tuple[tuple[int, ...], int]
"""Positions of the counts that are printed as one, and their sum."""

REST = 3
"""Position of the people enrolled who have no result, behind the three classes of change."""

_ALONE = (((0,), (1,), (2,)), ((0,), (1, 2)), ((0, 1), (2,)), ((0, 1, 2),))
_WITH_REST = (((0,), (1, REST), (2,)), ((0,), (1, 2, REST)))
"""Ways to print three classes, the fullest first, in a fixed order: one that followed the counts would tell them."""


@dataclass(frozen=True, slots=True)
class Shown:
    """The classes of one outcome as a page prints them.

    Parameters
    ----------
    n : int or None
        People with a result; None where it is withheld.
    cells : tuple of Cell
        Classes printed alone or together (position `REST`: those without a result); empty where nothing may be printed.
    rest : int or None
        People enrolled without a result; None where it is withheld.
    """

    n: int | None
    cells: tuple[Cell, ...]
    rest: int | None

    def alone(self, position: int) -> int | None:
        """Return the count of one class; None where it is not printed by itself."""
        return next((n for members, n in self.cells if members == (position,)), None)


NOTHING = Shown(None, (), None)


def split(small: SmallNumbers, enrolled: int, parts: Sequence[int]) -> Shown:
    """Return the three classes of people with a result, so that no subtraction gives a few away.

    Parameters
    ----------
    small : SmallNumbers
    enrolled : int
        Known to every reader.
    parts : sequence of three int
        Good direction, about the same, other direction; together at most `enrolled`.

    Examples
    --------
    >>> split(SmallNumbers(5), 48, [23, 13, 1]).cells
    (((0,), 23), ((1, 2), 14))
    >>> split(SmallNumbers(5), 40, [23, 8, 6]).cells
    (((0,), 23), ((1, 3), 11), ((2,), 6))
    >>> split(SmallNumbers(5), 40, [25, 9, 2]).cells
    (((0,), 25), ((1, 2, 3), 15))
    """
    n = sum(parts)
    rest = enrolled - n
    if n == 0 or small.hides(n) or small.hides(enrolled):
        return NOTHING
    counts = [*parts, rest]
    hidden = small.hides(rest)
    for way in _WITH_REST if hidden else _ALONE:
        cells = tuple((members, sum(counts[i] for i in members)) for members in way)
        if all(_covers(small, members, count) for members, count in cells):
            return Shown(None if hidden else n, cells, None if hidden else rest)
    return NOTHING


def _covers(small: SmallNumbers, members: tuple[int, ...], count: int) -> bool:
    """Return whether a printed count tells of no few people, not even when those few without a result are taken off."""
    return not small.hides(count) and (REST not in members or count >= 2 * small.minimum - 1)


def groups_of(small: SmallNumbers, enrolled: int, groups: Sequence[Sequence[int]]) -> list[Shown]:
    """Return the classes of groups that share no person; with those in no group's numbers they add up to `enrolled`.

    Where the people in no group's numbers are few, nothing of any group is printed: its size would give them away.
    """
    if len(groups) == 1:
        return [split(small, enrolled, groups[0])]
    sizes = [sum(group) for group in groups]
    if small.hides(enrolled - sum(sizes)) or any(small.hides(n) for n in sizes):
        return [NOTHING for _ in groups]
    return [split(small, n, group) for n, group in zip(sizes, groups, strict=True)]


def lump(small: SmallNumbers, counts: Sequence[int]) -> list[Cell]:
    """Return counts that add up to a known total, the small ones counted together as one cell at the end.

    Parameters
    ----------
    small : SmallNumbers
    counts : sequence of int

    Returns
    -------
    list of Cell
        Where the small ones together are still too small, others join them, the last first.

    Examples
    --------
    >>> lump(SmallNumbers(5), [7, 3, 2]), lump(SmallNumbers(5), [33, 10, 3])
    ([((0,), 7), ((1, 2), 5)], [((0,), 33), ((1, 2), 13)])
    """
    joined = [i for i, n in enumerate(counts) if small.hides(n)]
    others = [i for i, n in enumerate(counts) if n and i not in joined]
    while joined and others and not small.safe([counts[i] for i in joined]):
        joined.append(others.pop())
    alone: list[Cell] = [((i,), n) for i, n in enumerate(counts) if i not in joined]
    return [*alone, (tuple(sorted(joined)), sum(counts[i] for i in joined))] if joined else alone
