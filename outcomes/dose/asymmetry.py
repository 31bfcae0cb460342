"""Left against right: seven indices, none of them agreed upon; each name says the formula and the reference side.

All take the power, work or force of the two sides in one unit. Both sides 0, or either missing (nan), gives nan. A
negative side is refused: there the motor drove the limb. Cycling asymmetry varies from day to day (r = 0.47 between
days in a 1970s ergometer study): average at least three sessions before reading anything into it.
"""

from __future__ import annotations

import math

from outcomes.errors import DesignError


def left_share(left: float, right: float) -> float:
    """Return the left side in percent of both, 100 L / (L + R).

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        0 to 100 percent; 50 is even.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> left_share(12, 8)
    60.0
    """
    return _percent(left, left + right, left, right)


def paretic_share(paretic: float, other: float) -> float:
    """Return the paretic side in percent of both, 100 P / (P + O).

    Parameters
    ----------
    paretic, other : float
        The two sides, in one unit.

    Returns
    -------
    float
        0 to 100 percent; 50 is even.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> paretic_share(8, 12)
    40.0
    """
    return left_share(paretic, other)


def difference_over_sum(left: float, right: float) -> float:
    """Return left minus right in percent of both, 100 (L - R) / (L + R).

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        -100 to 100 percent; 0 is even, positive where the left is stronger.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> difference_over_sum(12, 8)
    20.0
    """
    return _percent(left - right, left + right, left, right)


def symmetry_index(left: float, right: float) -> float:
    """Return left minus right in percent of their mean, 100 (L - R) / (0.5 (L + R)).

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        -200 to 200 percent; 0 is even, positive where the left is stronger; twice `difference_over_sum`.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> symmetry_index(12, 8)
    40.0
    """
    return _percent(left - right, (left + right) / 2, left, right)


def percent_asymmetry(left: float, right: float) -> float:
    """Return how much the weaker side lacks, in percent of the stronger, 100 (strong - weak) / strong.

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        0 to 100 percent; 0 is even; does not say which side is weaker.

    Raises
    ------
    DesignError
        A side is negative.

    References
    ----------
    Dawes et al. 2005, J Sports Sci Med 4:556.

    Examples
    --------
    >>> round(percent_asymmetry(12, 8), 4)
    33.3333
    """
    return _percent(abs(left - right), max(left, right), left, right)


def weak_over_strong(left: float, right: float) -> float:
    """Return the weaker side in percent of the stronger, 100 weak / strong.

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        0 to 100 percent; 100 is even; does not say which side is weaker.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> round(weak_over_strong(12, 8), 4)
    66.6667
    """
    return _percent(min(left, right), max(left, right), left, right)


def symmetry_angle(left: float, right: float) -> float:
    """Return the symmetry angle in percent, 100 (45 deg - atan(L / R)) / 90 deg; no side is the reference.

    Parameters
    ----------
    left, right : float
        The two sides, in one unit.

    Returns
    -------
    float
        -50 to 50 percent; 0 is even, negative where the left is stronger.

    Raises
    ------
    DesignError
        A side is negative.

    Examples
    --------
    >>> round(symmetry_angle(12, 8), 2)
    -12.57
    """
    return _percent(45 - math.degrees(math.atan2(left, right)), 90, left, right)


def _percent(part: float, whole: float, left: float, right: float) -> float:
    if left < 0 or right < 0:
        raise DesignError("one side is negative: there the motor drove the limb")
    if math.isnan(left) or math.isnan(right) or left == right == 0:
        return math.nan
    return 100 * part / whole
