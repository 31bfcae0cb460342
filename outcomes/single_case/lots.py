"""Exact tests of a phase whose start was drawn by lot, in one person or in several with staggered starts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.matrices import Vector, finite_vector
from outcomes.result import Estimate, HypothesisTest, Result
from outcomes.single_case.phases import Better, sign_of

MOST_DRAWS = 2_000_000
"""Starts, of all people together, that are counted one by one."""
_ALPHA = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseTest(Result):
    """Result of `phase_start_test` and `multiple_baseline_test`.

    Parameters
    ----------
    difference : Estimate
        Mean of the second phase less mean of the first (over people: their mean), in the unit of the values; never
        turned by `better`.
    test : HypothesisTest, optional
        Exact; None where its smallest p cannot reach `alpha`.
    smallest_p : float
        Smallest p that the lot allows: 1 over the number of draws.
    n_assignments, n_as_good : int
        Draws that were possible; those with a difference at least as good as the observed one, itself included.
    reasons : dict of str to str
        Why there is no test.
    """

    difference: Estimate
    test: HypothesisTest | None
    smallest_p: float
    n_assignments: int
    n_as_good: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the difference and p, rounded, with the number of draws."""
        unit = "" if self.difference.unit == "1" else f" {self.difference.unit}"
        p = f"p = {self.test.p:.2g}, {self.test.name}" if self.test is not None else f"no p: {self.reasons['test']}"
        return (
            f"second phase less first {self.difference.value:.3g}{unit}; {p} ({self.n_assignments} possible draws, "
            f"smallest p {self.smallest_p:.2g})"
        )


def phase_start_test(
    values: ArrayLike,
    start: int,
    possible_starts: Sequence[int],
    *,
    better: Better,
    unit: str,
    alpha: float | None = _ALPHA,
    sides: Literal["one", "two"] = "one",
) -> PhaseTest:
    """Exact randomisation test of one person's second phase, whose start was drawn by lot.

    Parameters
    ----------
    values : array of shape (n_values,)
        In the order of time, in `unit`; no missing values.
    start : int
        Number of the first value of the second phase, counted from 1.
    possible_starts : sequence of int
        All starts that the lot could have drawn, each as likely; `start` among them.
    better : {"higher", "lower"}
        Which values are the better ones.
    unit : str
        UCUM code.
    alpha : float, optional
        No p is given where the lot allows none of at most `alpha`; None gives it whatever the lot.
    sides : {"one", "two"}
        Count differences at least as good, or at least as large in size.

    Returns
    -------
    PhaseTest

    Raises
    ------
    DesignError
        A value that is missing or infinite, a start that was not possible or leaves a phase without values, starts
        that are given twice, an alpha outside 0 to 1, or another word for `better` or `sides`.

    Notes
    -----
    p = share of the possible starts at which mean(B) - mean(A) is at least as good as at the drawn one, which counts.
    It is exact whatever the values' distribution or dependence, but only if the start was really drawn by lot, and
    before the first phase began.

    References
    ----------
    Edgington & Onghena (2007) Randomization Tests, 4th ed; Onghena (1992) Behav Assess 14:153-171.

    Examples
    --------
    >>> found = phase_start_test([20, 20, 26, 25, 22, 23, 28, 25, 24, 27, 30, 30, 29], 7, range(4, 11),
    ...                          better="higher", unit="1", alpha=None)
    >>> found.n_as_good, found.n_assignments, round(found.test.p, 4)
    (2, 7, 0.2857)
    """
    return multiple_baseline_test(
        [values], [start], [possible_starts], better=better, unit=unit, alpha=alpha, sides=sides
    )


def multiple_baseline_test(
    series: Sequence[ArrayLike],
    starts: Sequence[int],
    possible_starts: Sequence[Sequence[int]] | None = None,
    *,
    better: Better,
    unit: str,
    alpha: float | None = _ALPHA,
    sides: Literal["one", "two"] = "one",
) -> PhaseTest:
    """Exact randomisation test of the second phase of several people (or behaviours) with starts drawn by lot.

    Parameters
    ----------
    series : sequence of arrays of shape (n_values,)
        One a person, in the order of time, all in `unit`; lengths may differ; no missing values.
    starts : sequence of int
        Of each person: number of the first value of the second phase, counted from 1.
    possible_starts : sequence of sequences of int, optional
        Of each person: all starts that the lot could have drawn, each as likely and whatever was drawn for the others.
        None: the starts were fixed, and the lot dealt them to the people.
    better : {"higher", "lower"}
        Which values are the better ones.
    unit : str
        UCUM code.
    alpha : float, optional
        No p is given where the lot allows none of at most `alpha`; None gives it whatever the lot.
    sides : {"one", "two"}
        Count differences at least as good, or at least as large in size.

    Returns
    -------
    PhaseTest

    Raises
    ------
    DesignError
        As `phase_start_test`; nobody, lists of different length, or more than 2,000,000 possible draws.

    Notes
    -----
    The difference is the mean over people of mean(B) - mean(A); p the share of all possible draws at which it is at
    least as good, the drawn one included: the product of everybody's possible starts, or all different ways to deal
    the fixed starts to the people.

    References
    ----------
    Marascuilo & Busk (1988) Behav Assess 10:1-28 (starts of their own); Wampold & Worsham (1986) Behav Assess 8:135-143
    (fixed starts, dealt to people).

    Examples
    --------
    >>> people = [[2, 3, 2, 6, 7, 6, 7, 6], [4, 3, 4, 3, 4, 8, 9, 8], [1, 2, 1, 2, 1, 2, 1, 6]]
    >>> found = multiple_baseline_test(people, [4, 6, 8], better="higher", unit="1", alpha=None)
    >>> found.n_assignments, round(found.test.p, 4)
    (6, 0.1667)
    """
    sign = sign_of(better)
    if sides not in ("one", "two"):
        raise DesignError(f"sides '{sides}' are neither 'one' nor 'two'")
    if alpha is not None and not 0 < alpha < 1:
        raise DesignError(f"an alpha of {alpha:g} does not exist; give one between 0 and 1, or None")
    rows = [finite_vector(values, name=f"series {number}") for number, values in enumerate(series, start=1)]
    if not rows or len(starts) != len(rows):
        raise DesignError(f"{len(rows)} series and {len(starts)} starts; one of each is needed a person")
    drawn = _whole(starts)
    if possible_starts is None:
        draws = _dealt(rows, drawn)
    elif len(possible_starts) != len(rows):
        raise DesignError(f"{len(rows)} series and {len(possible_starts)} lists of possible starts")
    else:
        draws = _own(rows, drawn, [_whole(one) for one in possible_starts])
    observed = math.fsum(_difference(values, start) for values, start in zip(rows, drawn, strict=True)) / len(rows)
    good: Callable[[Any], Any] = np.abs if sides == "two" else lambda x: sign * x
    # differences that are equal but for floating-point dust count as equal
    dust = 1e-10 * max(float(np.abs(values).max()) for values in rows)
    as_good, count = int(np.sum(good(draws) >= good(observed) - dust)), len(draws)
    reasons, test = {}, None
    if alpha is not None and 1 / count > alpha:
        reasons["test"] = f"{count} possible draws allow no p below {1 / count:.2g}, so none of at most {alpha:g}"
    else:
        test = HypothesisTest(
            name=f"start drawn by lot, exact, {sides}-sided", p=as_good / count, statistic=observed, exact=True
        )
    return PhaseTest(
        difference=Estimate(
            value=observed, unit=unit, method="phase_difference", n_people=len(rows),
            n_values=sum(len(values) for values in rows), test=test, source="Edgington & Onghena (2007)",
            caveats=("lot_cannot_reach",) if 1 / count > _ALPHA else (),
        ),
        test=test, smallest_p=1 / count, n_assignments=count, n_as_good=as_good, reasons=reasons,
    )  # fmt: skip


def _whole(starts: Sequence[int]) -> list[int]:
    try:
        whole = [int(start) for start in starts]
        if any(start != given for start, given in zip(whole, starts, strict=True)):
            raise ValueError
    except (TypeError, ValueError, OverflowError) as error:
        raise DesignError("a start is the number of a value, counted from 1") from error
    return whole


def _difference(values: Vector, start: int) -> float:
    """Return mean(B) - mean(A) where B begins with value number `start`."""
    if not 2 <= start <= len(values):
        raise DesignError(f"a start at value {start} of {len(values)} leaves a phase without values")
    return float(values[start - 1 :].mean() - values[: start - 1].mean())


def _own(rows: list[Vector], drawn: list[int], possible: list[list[int]]) -> Vector:
    """Return the mean difference at every combination of everybody's possible starts."""
    for start, starts in zip(drawn, possible, strict=True):
        if len(set(starts)) < len(starts):
            raise DesignError("a possible start is given twice")
        if start not in starts:
            raise DesignError(f"the start at value {start} is none of the possible ones")
    _not_too_many(math.prod(len(starts) for starts in possible))
    sums = np.zeros(1)
    for values, starts in zip(rows, possible, strict=True):
        own = np.array([_difference(values, start) for start in starts])
        sums = (sums[:, None] + own[None, :]).ravel()
    return sums / len(rows)


def _dealt(rows: list[Vector], drawn: list[int]) -> Vector:
    """Return the mean difference at every different way to deal the starts to the people."""
    ways = math.factorial(len(drawn)) // math.prod(math.factorial(drawn.count(start)) for start in set(drawn))
    _not_too_many(ways if len(rows) <= 10 else MOST_DRAWS + 1)
    at = [{start: _difference(values, start) for start in set(drawn)} for values in rows]
    different = set(itertools.permutations(drawn))
    return np.array([math.fsum(own[start] for own, start in zip(at, way, strict=True)) for way in different]) / len(
        rows
    )


def _not_too_many(draws: int) -> None:
    if draws > MOST_DRAWS:
        raise DesignError(
            f"more than {MOST_DRAWS:,} possible draws are not counted one by one; test fewer people at once"
        )
