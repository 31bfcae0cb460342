"""The one formatter of printed numbers: rounding, intervals, P values, shares of people (SAMPL; Lang and Altman 2015).

Every number of a sentence, table, figure or alternative text passes through here; the record itself is never rounded.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

from outcomes.units import printed_unit

MINUS = "\u2212"
"""The minus sign; a hyphen is no minus."""

PERCENT_FROM = 20
"""Smallest number of people or sessions for which a percentage is printed."""

PERCENT_DECIMAL_FROM = 100
"""Smallest number for which a percentage has a decimal."""

P_FLOOR = 0.001
MOST_DECIMALS = 4


def decimals_for(width: float | None, fallback: int = 1) -> int:
    """Return the decimals that show a spread or an interval's width with two significant digits.

    Parameters
    ----------
    width : float, optional
        Width of an interval, or a standard deviation, in the unit of what is printed; None, 0 or infinite gives
        `fallback`.
    fallback : int

    Returns
    -------
    int
        0 to 4.

    Examples
    --------
    >>> decimals_for(1.6), decimals_for(0.24), decimals_for(37.0)
    (1, 2, 0)
    """
    if width is None or not math.isfinite(width) or width <= 0:
        return fallback
    return min(max(1 - math.floor(math.log10(width)), 0), MOST_DECIMALS)


def decimals_of_interval(low: float, high: float, at_least: int | None = None) -> int:
    """Return the decimals of an interval: two digits of its width, or `at_least`, and one or two more where an end that
    is not zero would else print as zero, so that a reader sees on which side of zero it lies.

    Examples
    --------
    >>> decimals_of_interval(0.4, 2.0), decimals_of_interval(0.04, 2.0), decimals_of_interval(0.0, 2.0)
    (1, 2, 1)
    """
    places = decimals_for(high - low) if at_least is None else at_least
    ends = [end for end in (low, high) if math.isfinite(end)]
    while places < MOST_DECIMALS and any(end != 0 and float(f"{end:.{places}f}") == 0 for end in ends):
        places += 1
    return places


def _decimal(value: float) -> Decimal:
    """Return a number as it would be written with 12 digits: a sum that should end in 5 does, whatever its last bit."""
    return Decimal(f"{value:.12g}") if isinstance(value, float) else Decimal(value)


def number(value: float, decimals: int = 0) -> str:
    """Return a number, rounded half up, with a minus sign and, from 10,000, with commas.

    Parameters
    ----------
    value : float or int
        An infinite value is worded "unbounded".
    decimals : int

    Examples
    --------
    >>> number(2.25, 1), number(-0.04, 1), number(12345), number(-1.5, 1)
    ('2.3', '0.0', '12,345', '−1.5')
    >>> number(-0.44999999999999996, 1)
    '−0.5'
    """
    if math.isinf(value):
        return "unbounded"
    rounded = _decimal(value).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    size = abs(rounded)
    text = f"{size:,}" if size >= 10_000 else str(size)
    return f"{MINUS}{text}" if rounded < 0 else text


def quantity(value: float, unit: str, decimals: int = 0) -> str:
    """Return a number with its unit (UCUM code).

    Examples
    --------
    >>> quantity(1.25, "cm", 1), quantity(3, "{score}"), quantity(0.5, "1", 2)
    ('1.3 cm', '3 points', '0.50')
    """
    return f"{number(value, decimals)} {printed_unit(unit)}".rstrip()


def with_interval(
    value: float, low: float, high: float, unit: str = "1", decimals: int | None = None, label: str = ""
) -> str:
    """Return an estimate with its interval and unit.

    Parameters
    ----------
    value, low, high : float
        In `unit`.
    unit : str
        UCUM code.
    decimals : int, optional
        From the width of the interval by default.
    label : str
        Printed before the interval, such as ``"95% CI"``.

    Examples
    --------
    >>> with_interval(1.21, 0.4, 2.02, "cm")
    '1.2 (0.4 to 2.0) cm'
    """
    places = decimals_of_interval(low, high) if decimals is None else decimals
    ends = f"{number(low, places)} to {number(high, places)}"
    inside = f"{label} {ends}" if label else ends
    return f"{number(value, places)} ({inside}) {printed_unit(unit)}".rstrip()


def with_spread(mean: float, spread: float | None, unit: str = "1", decimals: int | None = None) -> str:
    """Return a mean with its standard deviation, which is labelled.

    Examples
    --------
    >>> with_spread(45.32, 4.11, "cm")
    '45.3 (SD 4.1) cm'
    """
    places = decimals_for(spread) if decimals is None else decimals
    if spread is None:
        return quantity(mean, unit, places)
    return f"{number(mean, places)} (SD {number(spread, places)}) {printed_unit(unit)}".rstrip()


def p_value(p: float) -> str:
    """Return P exact to two significant digits, never below its floor.

    Parameters
    ----------
    p : float
        In (0, 1].

    Examples
    --------
    >>> p_value(0.0123), p_value(0.0004), p_value(0.35), p_value(1.0)
    ('P = 0.012', 'P < 0.001', 'P = 0.35', 'P = 1.0')
    """
    if p < P_FLOOR:
        return "P < 0.001"
    decimals = 1 - math.floor(math.log10(p))
    exact = _decimal(float(p))
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    if rounded.adjusted() > exact.adjusted():  # 0.0996 is 0.10, not 0.100
        rounded = rounded.quantize(Decimal(1).scaleb(1 - decimals), rounding=ROUND_HALF_UP)
    return f"P = {rounded}"


def percent(fraction: float, of: int) -> str:
    """Return a fraction as a percentage; empty where `of` is too small for one.

    Parameters
    ----------
    fraction : float
        Such as 0.45.
    of : int
        Number of people or sessions that it is a fraction of.

    Examples
    --------
    >>> percent(0.4567, 40), percent(0.4567, 400), percent(0.45, 19)
    ('46%', '45.7%', '')
    """
    if of < PERCENT_FROM:
        return ""
    return f"{number(fraction * 100, 1 if of >= PERCENT_DECIMAL_FROM else 0)}%"


def share(n: int, of: int, *, fraction: float | None = None) -> str:
    """Return a count with the number it is out of and, from 20, the percentage.

    Parameters
    ----------
    n, of : int
        ``0 <= n <= of``, except for delivered against planned sessions, where n may be more.
    fraction : float, optional
        The record's own value of n / of; else it is divided here.

    Examples
    --------
    >>> share(9, 14), share(18, 40), share(181, 400)
    ('9 of 14', '18 of 40 (45%)', '181 of 400 (45.3%)')
    """
    text = f"{number(n)} of {number(of)}"
    if of < PERCENT_FROM:
        return text
    return f"{text} ({percent(n / of if fraction is None else fraction, of)})"


def level_words(level: float) -> str:
    """Return the name of an interval of this level.

    Examples
    --------
    >>> level_words(0.95), level_words(0.999)
    ('95% CI', '99.9% CI')
    """
    return f"{Decimal(repr(round(level * 100, 6))).normalize():f}% CI"


def counted(n: int, noun: str, plural: str = "") -> str:
    """Return a number of things.

    Examples
    --------
    >>> counted(1, "session"), counted(3, "person", "people")
    ('1 session', '3 people')
    """
    return f"{number(n)} {noun if n == 1 else plural or noun + 's'}"


def clean(text: object, width: int = 2000) -> str:
    """Return text of a study as one line, blanks joined, invisible and control characters made visible, cut at `width`.

    Examples
    --------
    >>> clean("a\\n  b"), clean("x\\u202ey")
    ('a b', 'x\\\\u202ey')
    """
    from outcomes.errors import printable

    return printable(" ".join(str(text).split()), width)
