"""Segments of the cord, rostral to caudal, and the masks in which the possible values of an answer are kept."""

from __future__ import annotations

NAMES = (
    *(f"C{n}" for n in range(1, 9)), *(f"T{n}" for n in range(1, 13)), *(f"L{n}" for n in range(1, 6)),
    "S1", "S2", "S3", "S4-5",
)  # fmt: skip
"""Every segment; C1 is not tested and taken as normal."""
POSITION = {name: number for number, name in enumerate(NAMES, start=1)}
C1, T1, L1, S3, S45, INTACT = 1, POSITION["T1"], POSITION["L1"], POSITION["S3"], POSITION["S4-5"], 30
"""Numbers of some segments; `INTACT` stands below them all: nothing is abnormal."""
LEVELS = {**POSITION, "INT": INTACT}
"""Every level with its number."""

DERMATOMES = NAMES[1:]
KEY_MUSCLES = ("C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1")
ARM, LEG = KEY_MUSCLES[:5], KEY_MUSCLES[5:]
KEY = frozenset(POSITION[name] for name in KEY_MUSCLES)
SIDES = ("right", "left")

NORMAL_SENSE, ZERO, ALTERED, FELT, ANY_SENSE = 0b100, 0b001, 0b011, 0b110, 0b111
"""Masks of a sensory score: bit g says that grade g (0, 1, 2) is possible."""
NORMAL_MUSCLE, WEAK, ACTIVE, MOVES, USEFUL, ANY_MUSCLE = 0b100000, 0b000111, 0b011000, 0b111110, 0b111000, 0b111111
"""Masks of a muscle, grades 0 to 5: 5; 0 to 2; 3 or 4; 1 or more; 3 or more; any."""


def name_of(level: int) -> str:
    """Return the name of a segment or level.

    Examples
    --------
    >>> name_of(6), name_of(30)
    ('C6', 'INT')
    """
    return "INT" if level == INTACT else NAMES[level - 1]


def item_of(kind: str, side: str, segment: str) -> str:
    """Return the key of an item.

    Examples
    --------
    >>> item_of("lt", "right", "S4-5")
    'lt_right_s4_5'
    """
    return f"{kind}_{side}_{segment.lower().replace('-', '_')}"


def items_of(kind: str, side: str) -> tuple[str, ...]:
    """Return the keys of the ten key muscles (``motor``) or the 28 dermatomes (``lt``, ``pp``) of a side."""
    return tuple(item_of(kind, side, name) for name in (KEY_MUSCLES if kind == "motor" else DERMATOMES))


def grades(mask: int) -> tuple[int, ...]:
    """Return the grades that a mask holds.

    Examples
    --------
    >>> grades(0b101)
    (0, 2)
    """
    return tuple(grade for grade in range(6) if mask >> grade & 1)


def grade_text(mask: int) -> str:
    """Return the grades of a mask in words; NT where every one is possible."""
    if mask in (ANY_SENSE, ANY_MUSCLE):
        return "NT"
    return " or ".join(map(str, grades(mask)))
