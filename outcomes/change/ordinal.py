"""Change of an ordinal scale: by rank, and as a table of who moved from which grade to which."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from outcomes.change.rank_sizes import paired_rank_sizes
from outcomes.change.significance import SignedRankTest, wilcoxon_signed_rank
from outcomes.errors import DesignError
from outcomes.intervals import check_level, hodges_lehmann
from outcomes.matrices import Vector, paired, snapped
from outcomes.result import Estimate, HypothesisTest, Result

_NOBODY = "nobody changed grade"
_NO_CHANGE = HypothesisTest(name="Wilcoxon signed-rank, nobody changed", p=1.0, statistic=0.0, exact=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrdinalChange(Result):
    """Result of `ordinal_change`; in the unit of the grades unless said otherwise.

    Parameters
    ----------
    median_before, median_after : Estimate
        Medians of the people who have both grades.
    hodges_lehmann : Estimate
        Shift with interval and exact signed-rank test.
    rank_biserial : Estimate, optional
        Matched rank-biserial correlation, -1 (all fell) to 1 (all rose); None if nobody changed.
    probability_of_rise : Estimate
        Share of people who rose, those without change counting a half.
    lower, same, higher : Estimate
        Counts of people.
    signed_rank : SignedRankTest, optional
        The test in full; None if nobody changed.
    n_people : int
        People with both grades.
    reasons : dict of str to str
        Why a field is None, or why `hodges_lehmann` has no interval.
    """

    median_before: Estimate
    median_after: Estimate
    hodges_lehmann: Estimate
    rank_biserial: Estimate | None
    probability_of_rise: Estimate
    lower: Estimate
    same: Estimate
    higher: Estimate
    signed_rank: SignedRankTest | None
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return medians and counts."""
        return (
            f"median {self.median_before.value:g} before, {self.median_after.value:g} after; {self.lower.value} lower, "
            f"{self.same.value} the same, {self.higher.value} higher (n = {self.n_people})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TransitionTable(Result):
    """Result of `transition_table`.

    Parameters
    ----------
    levels : tuple of float
        The whole declared scale, also grades that nobody had.
    counts : tuple of tuples of int
        People by grade before (rows) and after (columns), in the order of `levels`.
    n_people : int
        People with both grades.
    """

    levels: tuple[float, ...]
    counts: tuple[tuple[int, ...], ...]
    n_people: int

    def summary(self) -> str:
        """Return how many people stayed in their grade."""
        stayed = sum(row[i] for i, row in enumerate(self.counts))
        return f"{stayed} of {self.n_people} people stayed in their grade"


def ordinal_change(
    before: ArrayLike,
    after: ArrayLike,
    *,
    levels: Sequence[float] | None,
    unit: str = "{score}",
    level: float = 0.95,
) -> OrdinalChange:
    """Change of grades: medians, Hodges-Lehmann shift, counts and the exact signed-rank test.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One grade per participant at each visit, as ranks of the scale; no missing values.
    levels : sequence of float, optional
        Every grade of the declared scale, upward; None for a scale too long to list.
    unit : str
        UCUM code of the grades.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    OrdinalChange
        If nobody changed, the shift is 0 and p is 1: the outcome stays in its family of tests.

    Raises
    ------
    DesignError
        Fewer than two people, different lengths, a missing value, or a grade outside `levels`.

    Notes
    -----
    Changes of grade are ranked by their size in grades. The test leaves out people without change (Wilcoxon's rule);
    the shift and its interval keep them. An ordinal grade has no mean, no standard deviation and no minimal detectable
    change.

    References
    ----------
    Wilcoxon (1945) Biometrics Bull 1:80-83; Hollander & Wolfe (1999) Nonparametric Statistical Methods, 3.1-3.3; Kerby
    (2014) Compr Psychol 3:11.IT.3.1.

    Examples
    --------
    >>> found = ordinal_change([3, 2, 2, 4, 1, 3], [2, 2, 1, 3, 1, 1], levels=range(6))
    >>> found.lower.value, found.same.value, found.higher.value, found.hodges_lehmann.test.p
    (4, 2, 0, 0.125)
    """
    check_level(level)
    first, second = paired(before, after)
    _on_scale(levels, first, second)
    changes = snapped(second - first)
    n = len(changes)
    reasons: dict[str, str] = {}
    signed_rank = None
    sizes = paired_rank_sizes(changes, level=level)
    reasons |= sizes.reasons
    if np.any(changes != 0):
        signed_rank = wilcoxon_signed_rank(changes)
    else:
        reasons["signed_rank"] = _NOBODY

    def estimate(value: float | int, method: str, unit: str = unit) -> Estimate:
        return Estimate(value=value, unit=unit, method=method, n_people=n, n_values=2 * n)

    return OrdinalChange(
        median_before=estimate(float(np.median(first)), "median_before"),
        median_after=estimate(float(np.median(second)), "median_after"),
        hodges_lehmann=_shift(second - first, unit, level, signed_rank, reasons),
        rank_biserial=sizes.rank_biserial,
        probability_of_rise=sizes.probability_of_rise,
        lower=estimate(int(np.sum(changes < 0)), "count_lower", "1"),
        same=estimate(int(np.sum(changes == 0)), "count_same", "1"),
        higher=estimate(int(np.sum(changes > 0)), "count_higher", "1"),
        signed_rank=signed_rank,
        n_people=n,
        reasons=reasons,
    )


def transition_table(before: ArrayLike, after: ArrayLike, *, levels: Sequence[float]) -> TransitionTable:
    """Count people by grade before and grade after, on the whole declared scale.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        One grade per participant at each visit; no missing values.
    levels : sequence of float
        Every grade of the declared scale, upward.

    Returns
    -------
    TransitionTable

    Raises
    ------
    DesignError
        No people, different lengths, a missing value, or a grade outside `levels`.

    Examples
    --------
    >>> transition_table([0, 1, 1], [0, 0, 1], levels=[0, 1, 2]).counts
    ((1, 0, 0), (1, 1, 0), (0, 0, 0))
    """
    first, second = paired(before, after, at_least=1)
    _on_scale(levels, first, second)
    scale = [float(grade) for grade in levels]
    place = {grade: i for i, grade in enumerate(scale)}
    counts = [[0] * len(scale) for _ in scale]
    for a, b in zip(first, second, strict=True):
        counts[place[float(a)]][place[float(b)]] += 1
    return TransitionTable(levels=tuple(scale), counts=tuple(tuple(row) for row in counts), n_people=len(first))


def _on_scale(levels: Sequence[float] | None, *grades: Vector) -> None:
    """Refuse a scale that does not rise, and grades that are not on it."""
    if levels is None:
        return
    scale = [float(grade) for grade in levels]
    if not scale or any(b <= a for a, b in itertools.pairwise(scale)):
        raise DesignError("the grades of the scale must be listed upward, each once")
    strange = sorted({float(g) for values in grades for g in values} - set(scale))
    if strange:
        raise DesignError(f"grade {strange[0]:g} is not on the declared scale {scale[0]:g} to {scale[-1]:g}")


def _shift(
    changes: Vector, unit: str, level: float, signed_rank: SignedRankTest | None, reasons: dict[str, str]
) -> Estimate:
    found = hodges_lehmann(changes, level=level)
    reasons |= {f"hodges_lehmann.{name}": reason for name, reason in found.reasons.items()}
    caveats: tuple[str, ...] = ()
    sizes = np.abs(changes)
    if found.interval is not None and len(np.unique(sizes)) < len(sizes):
        caveats += ("ties_level",)
    if signed_rank is not None and signed_rank.smallest_p > 1 - level:
        caveats += ("p_cannot_reach",)
    return Estimate(
        value=found.value,
        unit=unit,
        method="hodges_lehmann_change",
        n_people=len(changes),
        n_values=2 * len(changes),
        interval=found.interval,
        test=_NO_CHANGE if signed_rank is None else signed_rank.test,
        source="Hollander & Wolfe (1999) Nonparametric Statistical Methods, 3.1-3.3",
        caveats=caveats,
    )
