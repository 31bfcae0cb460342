"""Tables that a manual prints: rounded half up, as on paper, and not to the even digit."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from outcomes.errors import UsageError

WHOQOL_ITEMS = {"physical": 7, "psychological": 6, "social": 3, "environment": 8}
"""Items of each domain of the WHOQOL-BREF (user manual of 1998)."""

PUSH_AREAS = ("0", "0.2", "0.6", "1.0", "2.0", "3.0", "4.0", "8.0", "12.0", "24.0")
"""Largest area (cm2, to 0.1) of the sizes 0 to 9 of a wound; a larger one is 10 (secondary listing of PUSH 3.0)."""


def half_up(value: float | Decimal, digits: int = 0) -> Decimal:
    """Return a number rounded half up, from the digits that are written of it.

    Parameters
    ----------
    value : float or Decimal
    digits : int
        Decimals that stay.

    Examples
    --------
    >>> half_up(12.5), half_up(62.5), half_up(0.65, 1)
    (Decimal('13'), Decimal('63'), Decimal('0.7'))
    """
    exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    return exact.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)


def whoqol_table(domain: str, raw: int) -> tuple[int, int]:
    """Return what the manual's printed table gives for a raw domain sum: from 4 to 20, and from 0 to 100.

    Parameters
    ----------
    domain : {"physical", "psychological", "social", "environment"}
    raw : int
        Sum of all items of the domain, reversed ones turned.

    Returns
    -------
    tuple of int
        They differ from the exact scores of the measure by up to 3.6 points of 100: one of them per study, and said.

    Raises
    ------
    UsageError
        No such domain, or a sum that its items cannot give.

    Notes
    -----
    Half up twice: t = raw 4 / n, then (t - 4) 6.25.

    Examples
    --------
    >>> whoqol_table("environment", 9), whoqol_table("physical", 24)
    ((5, 6), (14, 63))
    """
    if domain not in WHOQOL_ITEMS:
        raise UsageError(f"no domain '{domain}'; known: {', '.join(WHOQOL_ITEMS)}")
    n = WHOQOL_ITEMS[domain]
    if not n <= raw <= 5 * n:
        raise UsageError(f"raw sum of {domain}: found {raw}, expected {n} to {5 * n}")
    first = int(half_up(Decimal(4 * raw) / n))
    return first, int(half_up(Decimal(first - 4) * Decimal("6.25")))


def push_size(length_cm: float, width_cm: float) -> int:
    """Return the size of a wound, from 0 to 10, that the Pressure Ulcer Scale for Healing takes of length and width.

    Parameters
    ----------
    length_cm, width_cm : float
        Head to toe, and across it; 0 for a closed wound.

    Raises
    ------
    UsageError
        A negative length, or one that is 0 alone.

    Notes
    -----
    The area is rounded half up to 0.1 cm2 first, because the printed bands leave gaps (own choice).

    Examples
    --------
    >>> push_size(2.4, 1.5), push_size(0, 0), push_size(6, 4.1)
    (6, 0, 10)
    """
    if length_cm < 0 or width_cm < 0 or (length_cm == 0) != (width_cm == 0):
        raise UsageError(f"length and width: found {length_cm:g} and {width_cm:g}, expected both above 0, or both 0")
    if length_cm == 0:
        return 0
    area = half_up(Decimal(repr(float(length_cm))) * Decimal(repr(float(width_cm))), 1)
    return max(sum(area > Decimal(limit) for limit in PUSH_AREAS), 1)


def spasm_grade(amount: float, *, unit: Literal["s", "deg"]) -> int:
    """Return the grade of a spinal reflex from what was measured.

    Parameters
    ----------
    amount : float
        Seconds of clonus or of an extensor spasm, or degrees of hip and knee flexion of a flexor spasm; 0 for none.
    unit : {"s", "deg"}

    Returns
    -------
    int
        0 none; 1 below 3 s or 10 degrees; 2 from 3 to 10 s or 10 to 30 degrees, both ends included; 3 above.

    Raises
    ------
    UsageError
        Below 0, no number, or another unit.

    References
    ----------
    Benz EN et al. (2005) Arch Phys Med Rehabil 86:52-59; grades in the NINDS Common Data Elements report F1766.

    Examples
    --------
    >>> [spasm_grade(seconds, unit="s") for seconds in (0, 2.9, 3, 10, 10.1)]
    [0, 1, 2, 2, 3]
    """
    limits = {"s": (3, 10), "deg": (10, 30)}.get(unit)
    if limits is None:
        raise UsageError(f"a spasm is graded by 's' or 'deg', not '{unit}'")
    if not 0 <= amount < float("inf"):
        raise UsageError(f"a spasm needs an amount of 0 or more, not {amount}")
    if amount == 0:
        return 0
    return 1 if amount < limits[0] else 2 if amount <= limits[1] else 3
