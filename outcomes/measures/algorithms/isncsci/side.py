"""One side of an examination: what each score may be, and the levels that follow."""

from __future__ import annotations

from dataclasses import dataclass, replace

from outcomes.measures.algorithms.isncsci.segments import (
    ACTIVE,
    ALTERED,
    C1,
    FELT,
    INTACT,
    KEY,
    NORMAL_MUSCLE,
    NORMAL_SENSE,
    S45,
    WEAK,
    ZERO,
)

Masks = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Side:
    """What the scores of one side may be: masks by position, `C1` normal, place 0 unused.

    Parameters
    ----------
    light, pin : tuple of int
        Light touch and pin prick.
    motor : tuple of int
        Key muscles; 0 where a segment has none.
    starred : frozenset of (str, int)
        Scores with a star: ``light``, ``pin`` or ``motor``, and the position.
    """

    light: Masks
    pin: Masks
    motor: Masks
    starred: frozenset[tuple[str, int]] = frozenset()

    def with_normal(self, stars: frozenset[tuple[str, int]]) -> Side:
        """Return the side with some of its starred scores taken as normal."""
        parts = {"light": list(self.light), "pin": list(self.pin), "motor": list(self.motor)}
        for kind, position in stars:
            parts[kind][position] = NORMAL_MUSCLE if kind == "motor" else NORMAL_SENSE
        return replace(self, light=tuple(parts["light"]), pin=tuple(parts["pin"]), motor=tuple(parts["motor"]))

    @property
    def sacral_zero(self) -> bool:
        """Whether both scores of S4-5 may be 0."""
        return bool(self.light[S45] & self.pin[S45] & ZERO)

    @property
    def sacral_felt(self) -> bool:
        """Whether a score of S4-5 may be above 0."""
        return bool((self.light[S45] | self.pin[S45]) & FELT)


@dataclass(frozen=True, slots=True)
class Case:
    """One possible pair of levels of a side, with what the scores may then be.

    Parameters
    ----------
    sensory, motor : int
        Levels.
    stop : int
        Position at which the walk down the motor segments ended; 0 where it did not.
    side : Side
        Its masks hold only what agrees with the levels.
    """

    sensory: int
    motor: int
    stop: int
    side: Side


def sensory_levels(side: Side) -> list[int]:
    """Return every possible sensory level: the last segment before the first that is not normal in both senses."""
    found = []
    for position in range(C1 + 1, S45 + 1):
        light, pin = side.light[position], side.pin[position]
        if (light | pin) & ALTERED:
            found.append(position - 1)
        if not light & pin & NORMAL_SENSE:
            return found
    return [*found, INTACT]


def _with_sensory(side: Side, level: int) -> Side:
    """Return the side with every segment down to the level normal and the next one not."""
    light, pin = list(side.light), list(side.pin)
    last = min(level, S45)
    light[C1 : last + 1] = pin[C1 : last + 1] = [NORMAL_SENSE] * last
    if level < INTACT:
        _make_abnormal(light, pin, level + 1)
    return replace(side, light=tuple(light), pin=tuple(pin))


def _make_abnormal(light: list[int], pin: list[int], position: int) -> None:
    """Leave out what would make a segment normal, as far as one score alone decides it."""
    if light[position] == NORMAL_SENSE:
        pin[position] &= ALTERED
    if pin[position] == NORMAL_SENSE:
        light[position] &= ALTERED


def cases(side: Side, *, by_dermatome: bool) -> list[Case]:
    """Return every possible pair of levels of a side.

    Parameters
    ----------
    side : Side
    by_dermatome : bool
        Whether a segment without key muscle counts as normal where its own dermatome is normal, instead of where it
        lies at or above the sensory level.

    Returns
    -------
    list of Case
        At least one; exactly one where nothing is unknown.
    """
    found = []
    for level in sensory_levels(side):
        found += _motor_cases(_with_sensory(side, level), level, by_dermatome)
    return found


def _motor_cases(side: Side, sensory: int, by_dermatome: bool) -> list[Case]:
    """Walk down the segments: 5 goes on; 3 or 4 is the level; less, or a segment that is not normal, ends above it."""
    light, pin, motor = list(side.light), list(side.pin), list(side.motor)
    found: list[Case] = []

    def end(level: int, stop: int) -> None:
        kept = Side(tuple(light), tuple(pin), tuple(motor), side.starred)
        found.append(Case(sensory, level, stop, kept))

    for position in range(C1 + 1, S45 + 1):
        if position in KEY:
            possible = motor[position]
            for part, level in ((WEAK, position - 1), (ACTIVE, position)):
                if possible & part:
                    motor[position] = possible & part
                    end(level, position)
            if not possible & NORMAL_MUSCLE:
                return found
            motor[position] = NORMAL_MUSCLE
            continue
        normal, other = _without_muscle(light, pin, position, sensory, by_dermatome)
        if other:
            before = light[position], pin[position]
            _make_abnormal(light, pin, position) if by_dermatome else None
            end(position - 1, position)
            light[position], pin[position] = before
        if not normal:
            return found
        if by_dermatome:
            light[position] = pin[position] = NORMAL_SENSE
    end(INTACT, 0)
    return found


def _without_muscle(
    light: list[int], pin: list[int], position: int, sensory: int, by_dermatome: bool
) -> tuple[bool, bool]:
    """Return whether a segment without key muscle may be normal, and whether it may not."""
    if not by_dermatome:
        return position <= sensory, position > sensory
    return bool(light[position] & pin[position] & NORMAL_SENSE), bool((light[position] | pin[position]) & ALTERED)


def resolve_stars(side: Side, *, by_dermatome: bool) -> list[Side]:
    """Return the side with its stars settled: normal above the level, as examined at and below it.

    Notes
    -----
    So that the rule does not run in a circle, each level is found from the scores without a star alone, the starred
    ones taken as normal; stars above that level then stay normal.
    """
    if not side.starred:
        return [side]
    found = []
    for case in cases(side.with_normal(side.starred), by_dermatome=by_dermatome):
        above = frozenset(
            (kind, position)
            for kind, position in side.starred
            if position < (case.motor if kind == "motor" else case.sensory)
        )
        found.append(_examined(case.side, side, side.starred - above))
    return found


def _examined(settled: Side, side: Side, stars: frozenset[tuple[str, int]]) -> Side:
    """Return the settled side with some starred scores as they were examined."""
    parts = {"light": list(settled.light), "pin": list(settled.pin), "motor": list(settled.motor)}
    for kind, position in stars:
        parts[kind][position] = getattr(side, kind)[position]
    return Side(tuple(parts["light"]), tuple(parts["pin"]), tuple(parts["motor"]))
