"""Sums of the examined grades; a star does not count, and one grade that is not known leaves the sum open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.measures.algorithms.contract import Formed, Given
from outcomes.measures.algorithms.isncsci.examination import examined, is_starred
from outcomes.measures.algorithms.isncsci.segments import ARM, DERMATOMES, LEG, SIDES, item_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.measures.algorithms.contract import Floats

MOST_NAMED = 4


def _of(kind: str, side: str, segments: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(item_of(kind, side, segment) for segment in segments)


PARTS = {
    f"{name}_{side}": _of(kind, side, segments)
    for name, kind, segments in (
        ("uems", "motor", ARM),
        ("lems", "motor", LEG),
        ("lt", "lt", DERMATOMES),
        ("pp", "pp", DERMATOMES),
    )
    for side in SIDES
}
"""Sums of one side with their items."""
SUMS = {
    **PARTS,
    **{name: (*PARTS[f"{name}_right"], *PARTS[f"{name}_left"]) for name in ("uems", "lems", "lt", "pp")},
}
"""Every sum with its items."""


def totals(given: Given) -> dict[str, Formed]:
    """Return every sum."""
    return {name: _total(given, name, items) for name, items in SUMS.items()}


def _total(given: Given, name: str, items: tuple[str, ...]) -> Formed:
    import numpy as np

    typed = np.array([given.once(item) for item in items])
    grades, formed = examined(typed), Formed.empty(given.people)
    formed.value = grades.sum(axis=0)
    most = 5 if items[0].startswith("motor") else 2
    whole = np.flatnonzero(~np.isnan(formed.value))
    parts = _parts(grades[:, whole].astype(int), name)
    formed.explanation[whole] = [f"{name} = {x:g}: {part}" for x, part in zip(formed.value[whole], parts, strict=True)]
    for i in np.flatnonzero(np.isnan(formed.value)).tolist():
        formed.reason[i] = _open(items, grades[:, i], most)
    formed.mark(is_starred(typed).sum(axis=0) > 0, "starred grades counted as examined")
    return formed


def _parts(grades: NDArray[np.int64], name: str) -> list[str]:
    """Return what each sum is made of: the sides, the grades of five muscles, or the dermatomes by score."""
    if name not in PARTS:
        half = len(grades) // 2
        sides = zip(grades[:half].sum(axis=0).tolist(), grades[half:].sum(axis=0).tolist(), strict=True)
        return [f"right {right}, left {left}" for right, left in sides]
    if len(grades) == len(ARM):
        return [", ".join(map(str, column)) for column in grades.T.tolist()]
    counts = zip(*((grades == score).sum(axis=0).tolist() for score in (2, 1, 0)), strict=True)
    return [f"{normal} dermatomes normal, {altered} altered, {absent} absent" for normal, altered, absent in counts]


def _open(items: tuple[str, ...], grades: Floats, most: int) -> str:
    """Return which grades are not known and what the sum may be."""
    unknown = [item for item, grade in zip(items, grades.tolist(), strict=True) if grade != grade]
    low = int(sum(grade for grade in grades.tolist() if grade == grade))
    return f"not determinable: {low} to {low + most * len(unknown)}, unknown {named(unknown)}"


def named(items: list[str]) -> str:
    """Return a few item keys, and how many more there are.

    Examples
    --------
    >>> named(["a", "b"]), named(list("abcdef"))
    ('a, b', 'a, b, c, d and 2 more')
    """
    more = len(items) - MOST_NAMED
    return ", ".join(items[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
