"""Effect sizes that only rank: of people graded twice, and of two groups of people."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.change.significance import signed_ranks
from outcomes.errors import DesignError
from outcomes.intervals import (
    around_fisher,
    check_level,
    jackknife_error,
    midranks,
    normal_quantile,
    t_quantile,
    wilson_interval,
)
from outcomes.matrices import Matrix, Vector, finite_vector, snapped
from outcomes.result import Estimate, HypothesisTest, Interval, Result

MOST_EXACT = 200
"""People of both groups together up to which the rank-sum test is exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedRankSizes(Result):
    """Result of `paired_rank_sizes`; without unit.

    Parameters
    ----------
    rank_biserial : Estimate, optional
        Matched rank-biserial correlation, -1 (all fell) to 1 (all rose); None if nobody changed.
    probability_of_rise : Estimate
        Share of people who rose, those without change counting a half.
    n_people : int
    reasons : dict of str to str
        Why a field is None or has no interval.
    """

    rank_biserial: Estimate | None
    probability_of_rise: Estimate
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return both sizes, rounded."""
        r = "none" if self.rank_biserial is None else f"{self.rank_biserial.value:.2f}"
        return f"rank-biserial {r}, probability of a rise {self.probability_of_rise.value:.2f} (n = {self.n_people})"


def paired_rank_sizes(
    changes: ArrayLike, *, level: float = 0.95, interval: Literal["jackknife", "null"] = "jackknife"
) -> PairedRankSizes:
    """Rank-based sizes of the change of people graded twice.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        later - earlier, in grades; no missing values.
    level : float
        Nominal coverage.
    interval : {"jackknife", "null"}
        Of the rank-biserial: from its jackknife variance, or, as other programs give it, from the standard error that
        it has if nothing changes, which is too narrow if something does.

    Returns
    -------
    PairedRankSizes

    Raises
    ------
    DesignError
        Fewer than two people, a missing value, or an interval that is none of those.

    Notes
    -----
    r = (W+ - W-)/(W+ + W-), people without change left out: of the m others, the mean over all pairs i <= j of the sign
    of x_i + x_j. "jackknife": v = (m - 1)/m · Σ(r_(i) - mean)² over the r_(i) that leave one of them out, at least (1 -
    r²)/(m (m + 1)/2 - 1), and the ends (r - r³ ± t √v √((1 - r²)² + t² v))/(1 - r² + t² v) of Feng & Cliff, cut at
    ±1, with the quantile t of m - 1 degrees of freedom; where all went one way from (m - z²)/(m + z²) to the bound.
    "null": tanh(atanh r ± z s) with s = √(m (m+1) (2m+1)/6) / (m (m+1)/2), none where all went one way. The probability
    of a rise is (rises + half of the ties)/n with the Wilson interval, which is too wide rather than too narrow where
    there are ties.

    References
    ----------
    Kerby (2014) Compr Psychol 3:11.IT.3.1; Feng & Cliff (2004) J Mod Appl Stat Methods 3:322-332 (the ends, there of
    Cliff's delta); Efron & Stein (1981) Ann Stat 9:586-596 (jackknife variance); Wilson (1927) J Am Stat
    Assoc 22:209-212; "null" as in R effectsize, rank_biserial(paired = TRUE).

    Examples
    --------
    >>> found = paired_rank_sizes([-1, 0, -1, 2, -3, -2])
    >>> round(found.rank_biserial.value, 4), found.probability_of_rise.value
    (-0.5333, 0.25)
    """
    check_level(level)
    if interval not in ("jackknife", "null"):
        raise DesignError(f"interval '{interval}' is none of jackknife, null")
    x = snapped(finite_vector(changes, name="changes", at_least=2))
    n, reasons = len(x), dict[str, str]()
    moved = x[x != 0]
    rank_biserial = None
    if len(moved):
        signed = signed_ranks(x, "wilcoxon")
        r = float(signed.sum() / np.abs(signed).sum())
        ends = _jackknife(moved, r, level) if interval == "jackknife" else _null(len(moved), r, level)
        if ends is None:
            reasons["rank_biserial.interval"] = "all who changed went one way"
        rank_biserial = _estimate(r, "rank_biserial", n, ends, "Kerby (2014) Compr Psychol 3:11.IT.3.1")
    else:
        reasons["rank_biserial"] = "nobody changed grade"
    count = float(np.sum(x > 0) + np.sum(x == 0) / 2)
    rise = _estimate(
        count / n, "probability_of_rise", n, wilson_interval(count, n, level=level),
        "Wilson (1927) J Am Stat Assoc 22:209",
    )  # fmt: skip
    return PairedRankSizes(rank_biserial=rank_biserial, probability_of_rise=rise, n_people=n, reasons=reasons)


def _jackknife(moved: Vector, r: float, level: float) -> Interval:
    m = len(moved)
    if abs(r) > 1 - 1e-12:
        return _one_sided(r, m, level, "Feng-Cliff, all one way")
    upward = np.sort(moved)
    # of each person, the pairs with a sum above 0 less those with one below
    pairs = m - np.searchsorted(upward, -moved, "right") - np.searchsorted(upward, -moved, "left")
    total = (pairs.sum() + np.sign(moved).sum()) / 2
    left_out = (total - pairs) / (m * (m - 1) / 2)
    s = max(jackknife_error(left_out), math.sqrt((1 - r * r) / (m * (m + 1) / 2 - 1)))
    return _within_bounds(r, t_quantile((1 + level) / 2, m - 1) * s, level, "Feng-Cliff, jackknife variance")


def _null(m: int, r: float, level: float) -> Interval | None:
    if abs(r) > 1 - 1e-12:
        return None
    half = normal_quantile((1 + level) / 2) * math.sqrt(m * (m + 1) * (2 * m + 1) / 6) / (m * (m + 1) / 2)
    return around_fisher(r, half, level=level, method="Fisher z, null standard error")


def _within_bounds(d: float, half: float, level: float, method: str) -> Interval:
    """Return the ends of Feng & Cliff, asymmetric within -1 to 1, for a quantile times standard error of `half`."""
    middle, below = d - d**3, 1 - d**2 + half**2
    away = half * math.sqrt((1 - d**2) ** 2 + half**2)
    return Interval(max((middle - away) / below, -1.0), min((middle + away) / below, 1.0), level, method)


def _one_sided(d: float, people: int, level: float, method: str) -> Interval:
    """Return the interval at a bound, -1 or 1: Wilson's of a share of 0 or 1 of so many people."""
    share = wilson_interval(people if d > 0 else 0, people, level=level)
    return Interval(2 * share.low - 1, 2 * share.high - 1, level, method)


def _estimate(value: float, method: str, n: int, interval: Interval | None, source: str) -> Estimate:
    return Estimate(value=value, unit="1", method=method, n_people=n, n_values=n, interval=interval, source=source)


@dataclass(frozen=True, slots=True, kw_only=True)
class RankComparison(Result):
    """Result of `rank_comparison`; without unit, first group against second.

    Parameters
    ----------
    cliff_dominance : Estimate
        P(first > second) - P(first < second), with the exact rank-sum test.
    common_language : Estimate
        P(first > second), ties counting a half.
    u : float
        Mann-Whitney count of pairs in which the first is higher, ties counting a half.
    smallest_p : float
        Smallest two-sided p that groups of this size and these ties allow.
    n_first, n_second : int
    """

    cliff_dominance: Estimate
    common_language: Estimate
    u: float
    smallest_p: float
    n_first: int
    n_second: int

    def summary(self) -> str:
        """Return Cliff's delta with interval and p, rounded."""
        d = self.cliff_dominance
        ends = f" ({d.interval.low:.2f} to {d.interval.high:.2f})" if d.interval is not None else ""
        p = f", p = {d.test.p:.2g}" if d.test is not None else ""
        return f"Cliff's delta {d.value:.2f}{ends}{p} (n = {self.n_first} and {self.n_second})"


def rank_comparison(
    first: ArrayLike, second: ArrayLike, *, level: float = 0.95, rng: np.random.Generator | None = None
) -> RankComparison:
    """Compare two groups of people by rank: Cliff's delta, common language size, exact rank-sum test.

    Parameters
    ----------
    first, second : array of shape (n_first,), (n_second,)
        One grade, or change of grade, per participant; no missing values.
    level : float
        Nominal coverage.
    rng : numpy.random.Generator, optional
        Needed only for more than 200 people together, where group labels are shuffled 100,000 times.

    Returns
    -------
    RankComparison

    Raises
    ------
    DesignError
        Fewer than two people in a group, a missing value, or random labels are needed and `rng` is not given.

    Notes
    -----
    The interval is Feng & Cliff's, asymmetric within -1 to 1, from its unbiased variance; where no pair
    overlaps it runs from (m - z²)/(m + z²), m the smaller group, to the bound. p is the share of all divisions of the
    people into two such groups whose rank sum is at least as far from its mean: exact with ties.

    References
    ----------
    Cliff (1993) Psychol Bull 114:494-509; Feng & Cliff (2004) J Mod Appl Stat Methods 3:322-332; McGraw & Wong (1992)
    Psychol Bull 111:361-365; Streitberg & Röhmel (1986) Stat Softw Newsl 12:10-17.

    Examples
    --------
    >>> found = rank_comparison([1, 2, 2, 3, 3], [0, 0, 1, 1, 2])
    >>> found.cliff_dominance.value, found.common_language.value, round(found.cliff_dominance.test.p, 4)
    (0.76, 0.88, 0.0794)
    """
    check_level(level)
    a = finite_vector(first, name="first group", at_least=2)
    b = finite_vector(second, name="second group", at_least=2)
    both = snapped(np.concatenate([a, b]))
    a, b = both[: len(a)], both[len(a) :]
    above: Matrix = np.sign(a[:, None] - b[None, :])
    d = float(above.mean())
    interval = _feng_cliff(above, d, level)
    test, smallest = _rank_sum(both, len(a), rng)
    n = len(both)
    size = Estimate(
        value=d, unit="1", method="cliff_dominance", n_people=n, n_values=n, interval=interval, test=test,
        source="Cliff (1993) Psychol Bull 114:494; Feng & Cliff (2004) J Mod Appl Stat Methods 3:322",
        caveats=("p_cannot_reach",) if smallest > 1 - level else (),
    )  # fmt: skip
    half = Interval((interval.low + 1) / 2, (interval.high + 1) / 2, level, interval.method)
    return RankComparison(
        cliff_dominance=size,
        common_language=_estimate((d + 1) / 2, "common_language", n, half, "McGraw & Wong (1992) Psychol Bull 111:361"),
        u=float((above + 1).sum() / 2),
        smallest_p=smallest,
        n_first=len(a),
        n_second=len(b),
    )


def _feng_cliff(above: Matrix, d: float, level: float) -> Interval:
    """Return the interval of Cliff's delta from the matrix of signs of all pairs."""
    m, n = above.shape
    if abs(d) > 1 - 1e-12:
        return _one_sided(d, min(m, n), level, "Feng-Cliff, no overlap")
    rows, columns = above.mean(axis=1) - d, above.mean(axis=0) - d
    whole = float(np.sum((above - d) ** 2))
    variance = (n * n * np.sum(rows**2) + m * m * np.sum(columns**2) - whole) / (m * n * (m - 1) * (n - 1))
    s = math.sqrt(max(float(variance), (1 - d * d) / (m * n - 1)))
    return _within_bounds(d, normal_quantile((1 + level) / 2) * s, level, "Feng-Cliff")


def _rank_sum(both: Vector, m: int, rng: np.random.Generator | None) -> tuple[HypothesisTest, float]:
    """Return the two-sided rank-sum test of the first m values against the others, and the smallest p possible."""
    doubled = np.round(2 * midranks(both)).astype(np.int64)
    observed, total, n = int(doubled[:m].sum()), int(doubled.sum()), len(both)
    far = abs(observed * n - total * m)
    if n > MOST_EXACT:
        return _shuffled(doubled, m, far, observed / 2, rng), 0.0
    counts = np.zeros((m + 1, total + 1))
    counts[0, 0] = 1.0
    for taken, rank in enumerate(doubled, start=1):
        rank = int(rank)
        for k in range(min(m, taken), 0, -1):
            counts[k, rank:] += counts[k - 1, : total + 1 - rank]
    chance = counts[m] / counts[m].sum()
    away = np.abs(np.arange(total + 1) * n - total * m)
    p = float(chance[away >= far].sum())
    smallest = float(chance[away == away[chance > 0].max()].sum())
    name = "rank sum (Mann-Whitney), exact, mid-ranks"
    return HypothesisTest(name=name, p=min(p, 1.0), statistic=observed / 2, exact=True), min(smallest, 1.0)


def _shuffled(
    doubled: np.ndarray, m: int, far: int, statistic: float, rng: np.random.Generator | None
) -> HypothesisTest:
    if rng is None:
        raise DesignError(f"{len(doubled)} people need random labels: give rng")
    draws, n, total, hits = 100_000, len(doubled), int(doubled.sum()), 0
    for start in range(0, draws, 1000):
        order = rng.permuted(np.broadcast_to(doubled, (min(1000, draws - start), n)), axis=1)
        hits += int(np.sum(np.abs(order[:, :m].sum(axis=1) * n - total * m) >= far))
    p = (hits + 1) / (draws + 1)
    name = "rank sum (Mann-Whitney), random labels, mid-ranks"
    return HypothesisTest(name=name, p=p, statistic=statistic, error=math.sqrt(p * (1 - p) / draws))
