"""Zones of partial preservation, each side and each modality for itself."""

from __future__ import annotations

from collections.abc import Iterable

from outcomes.measures.algorithms.isncsci.segments import C1, FELT, KEY, MOVES, S45, ZERO
from outcomes.measures.algorithms.isncsci.side import Case, Side

NOT_APPLICABLE = 0
"""Stands for a zone that does not apply."""


def sensory_zone(sides: Iterable[Side], pressure: tuple[bool, ...]) -> set[int]:
    """Return what the sensory zone of a side may be.

    Parameters
    ----------
    sides : iterable of Side
        What its scores may be.
    pressure : tuple of bool
        Possible answers to deep anal pressure.

    Notes
    -----
    It applies where there is no deep anal pressure and S4-5 of the side is 0 in both senses. It then ends at the most
    caudal segment with a score above 0, and never above the sensory level, whose segment is normal.
    """
    found: set[int] = set()
    for side in sides:
        if True in pressure or side.sacral_felt:
            found.add(NOT_APPLICABLE)
        if False in pressure and side.sacral_zero:
            found |= _caudal({p: (side.light[p], side.pin[p]) for p in range(C1 + 1, S45)}, C1)
    return found


def _caudal(masks: dict[int, tuple[int, int]], least: int) -> set[int]:
    """Return which position may be the most caudal one with a sensory score above 0."""
    found: set[int] = set()
    for position in range(S45 - 1, C1, -1):
        light, pin = masks[position]
        if (light | pin) & FELT:
            found.add(position)
        if not light & pin & ZERO:
            return found
    return {*found, least}


def motor_zone(cases: Iterable[Case], contraction: tuple[bool, ...], others: Iterable[int] = (0,)) -> set[int]:
    """Return what the motor zone of a side may be.

    Parameters
    ----------
    cases : iterable of Case
        Possible levels of the side with what its scores may then be.
    contraction : tuple of bool
        Possible answers to voluntary anal contraction.
    others : iterable of int
        Possible lowest segments of its non-key muscles, where these are to extend the zone; 0 for none.

    Notes
    -----
    It applies where there is no voluntary anal contraction. It ends at the most caudal key muscle with a grade above
    0, or at the motor level where none lies lower; sensation below does not extend it.
    """
    found: set[int] = {NOT_APPLICABLE} if True in contraction else set()
    if False not in contraction:
        return found
    for case in cases:
        reached: set[int] = set()
        for position in sorted((key for key in KEY if key > case.motor), reverse=True):
            mask = case.side.motor[position]
            if mask & MOVES:
                reached.add(position)
            if not mask & ZERO:
                break  # it moves for certain, so none above it is the most caudal
        else:
            reached.add(case.motor)
        found |= {max(end, other) for end in reached for other in others}
    return found
