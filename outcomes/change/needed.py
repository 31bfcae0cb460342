"""Two shares of different people: their difference, and how many people that is one person for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from outcomes.errors import DesignError
from outcomes.intervals import check_level, newcombe_interval
from outcomes.result import Estimate, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberNeeded(Result):
    """Result of `number_needed_to_treat`.

    Parameters
    ----------
    difference : Estimate
        Share of the first group minus that of the second, with Newcombe's interval.
    number : Estimate, optional
        1/difference: above 0 to benefit (NNTB), below 0 to harm (NNTH); None where the shares are equal.
    ends : tuple of float
        1/upper end and 1/lower end of the difference, signed like `number`; infinite where an end is 0.
    straddles : bool
        Whether the interval of the difference holds 0: the number's then runs through infinity.
    reason : str
        Why there is no number.
    """

    difference: Estimate
    number: Estimate | None
    ends: tuple[float, float]
    straddles: bool
    reason: str = ""

    def summary(self) -> str:
        """Return the number and its interval in words, rounded up."""
        value = self.number.value if self.number is not None else None
        return needed_words(value if isinstance(value, float) else None, self.ends, straddles=self.straddles)


def number_needed_to_treat(
    count: int, n: int, reference_count: int, reference_n: int, *, level: float = 0.95
) -> NumberNeeded:
    """People to be treated for one more with the outcome than without treatment, with an honest interval.

    Parameters
    ----------
    count, n : int
        People with the (wanted) outcome, and all, of the treated group.
    reference_count, reference_n : int
        The same of the reference group.
    level : float
        Nominal coverage.

    Returns
    -------
    NumberNeeded

    Raises
    ------
    DesignError
        A group of nobody, or a count outside its group.

    Notes
    -----
    NNT = 1/(p1 - p2). Its interval is that of the difference turned over; where that holds 0, it consists of two
    pieces that meet at infinity, "NNTB a to infinity to NNTH b", never of the stretch from a to -b.

    References
    ----------
    Altman (1998) BMJ 317:1309-1312; Newcombe (1998) Stat Med 17:873-890.

    Examples
    --------
    >>> number_needed_to_treat(56, 70, 48, 80).summary()
    'NNTB 5.0 (NNTB 3.0 to NNTB 19.1)'
    >>> number_needed_to_treat(6, 12, 4, 12).summary()
    'NNTB 6.0 (NNTB 2.1 to infinity to NNTH 4.9)'
    """
    check_level(level)
    interval = newcombe_interval(count, n, reference_count, reference_n, level=level)
    value = count / n - reference_count / reference_n
    people = n + reference_n
    difference = Estimate(
        value=value, unit="1", method="share_difference", n_people=people, n_values=people, interval=interval,
        source="Newcombe (1998) Stat Med 17:873",
    )  # fmt: skip
    number, reason = None, ""
    if count * reference_n == reference_count * n:
        reason = "both groups have the same share, so the number is infinite"
    else:
        number = Estimate(
            value=1 / value, unit="1", method="number_needed", n_people=people, n_values=people,
            source="Altman (1998) BMJ 317:1309",
            caveats=("number_needed_straddles",) if interval.low <= 0 <= interval.high else (),
        )  # fmt: skip
    ends = tuple(math.inf if end == 0 else 1 / end for end in (interval.high, interval.low))
    return NumberNeeded(
        difference=difference, number=number, ends=(ends[0], ends[1]),
        straddles=interval.low <= 0 <= interval.high, reason=reason,
    )  # fmt: skip


def needed_words(
    number: float | None,
    ends: tuple[float, float],
    *,
    straddles: bool,
    shown: Callable[[float], str] = "{:.1f}".format,
) -> str:
    """Return a number needed and its interval in words.

    Parameters
    ----------
    number : float or None
        Above 0 to benefit, below 0 to harm; None where it is infinite.
    ends : tuple of float
        1/upper and 1/lower end of the difference of the shares.
    straddles : bool
        Whether the interval of the difference holds 0.
    shown : function
        How a size above 0 is printed.

    Returns
    -------
    str

    Raises
    ------
    DesignError
        An end or number of 0.

    Examples
    --------
    >>> needed_words(None, (4.0, -5.0), straddles=True)
    'infinite (NNTB 4.0 to infinity to NNTH 5.0)'
    """
    if 0 in (number, *ends):
        raise DesignError("a number needed of 0 does not exist")
    first, last = (_named(end, shown) for end in ends)
    middle = " to infinity to " if straddles and not any(math.isinf(end) for end in ends) else " to "
    return f"{'infinite' if number is None else _named(number, shown)} ({first}{middle}{last})"


def _named(value: float, shown: Callable[[float], str]) -> str:
    return "infinity" if math.isinf(value) else f"NNT{'B' if value > 0 else 'H'} {shown(abs(value))}"
