"""Tests of a change: flipping signs, and the signed-rank test, both conditional on the sizes of the changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import SignFlips, flip_signs, midranks
from outcomes.matrices import Vector, finite_vector, snapped
from outcomes.result import HypothesisTest, Result

_WORDS = {"convolution": "exact, by convolution", "halves": "exact, by halves", "random": "random flips"}


@dataclass(frozen=True, slots=True, kw_only=True)
class SignFlipTest(Result):
    """Result of `sign_flip_test`.

    Parameters
    ----------
    test : HypothesisTest
        Two-sided; its statistic is the sum of the changes in their unit.
    p_higher : float
        One-sided: sums at least as high as the observed one.
    n_assignments : int
        Sign assignments of the changes that are not 0, or flips drawn.
    n_as_high : int, optional
        Sign assignments with a sum at least as high; None where flips were drawn or the count exceeds 2^52.
    way : {"convolution", "halves", "random"}
        How the probability was found.
    smallest_p : float
        Smallest two-sided p that these sizes allow.
    n_people : int
        Changes.
    """

    test: HypothesisTest
    p_higher: float
    n_assignments: int
    n_as_high: int | None
    way: str
    smallest_p: float
    n_people: int

    def summary(self) -> str:
        """Return p, rounded, with n and the way it was found."""
        return f"sign-flip test: p = {self.test.p:.2g} ({_WORDS[self.way]}, n = {self.n_people})"


def sign_flip_test(
    changes: ArrayLike, *, rng: np.random.Generator | None = None, resamples: int = 100_000
) -> SignFlipTest:
    """Test that changes are symmetric about 0, by flipping their signs.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        One change per participant, in the measure's unit; no missing values.
    rng : numpy.random.Generator, optional
        Needed only for more than 40 changes that lie on no common grid.
    resamples : int
        Flips drawn then.

    Returns
    -------
    SignFlipTest
        p is never 0; 1 if no change differs from 0.

    Raises
    ------
    DesignError
        No changes, a missing one, or random flips are needed and `rng` is not given.

    Notes
    -----
    p = share of the 2^n sign assignments with |sum| at least the observed one. Exact by convolution where the changes
    are multiples of a common step (any n), by enumeration in halves for reals up to n = 40; else (b + 1)/(N + 1) of N
    random flips. The flipped units are participants: never pass two limbs of one person.

    References
    ----------
    Fisher (1935) The Design of Experiments, section 21; Pagano & Tritchler (1983) J Am Stat Assoc 78:435-440.

    Examples
    --------
    Darwin's maize (Fisher 1935): 863 of 32768 sums are at least as high.

    >>> found = sign_flip_test([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48])
    >>> found.n_as_high, found.n_assignments, round(found.test.p, 4)
    (863, 32768, 0.0527)
    """
    x = finite_vector(changes, name="changes")
    flips = flip_signs(x, resamples=resamples, rng=rng)
    moved = int(np.count_nonzero(snapped(x)))
    countable = flips.exact and moved <= 52
    return SignFlipTest(
        test=_hypothesis(flips, f"sign-flip, {_WORDS[flips.way]}", float(np.sum(x))),
        p_higher=flips.upper,
        n_assignments=flips.flips,
        n_as_high=round(flips.upper * flips.flips) if countable else None,
        way=flips.way,
        smallest_p=_smallest(moved),
        n_people=len(x),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedRankTest(Result):
    """Result of `wilcoxon_signed_rank`.

    Parameters
    ----------
    test : HypothesisTest
        Two-sided; its statistic is the rank sum of the rises.
    p_higher : float
        One-sided, for rises.
    rank_sum_rises, rank_sum_falls : float
        W+ and W-.
    rank_biserial : float
        (W+ - W-)/(W+ + W-), between -1 and 1.
    zeros : {"wilcoxon", "pratt"}
        Rule for changes of 0.
    smallest_p : float
        Smallest two-sided p that this number of changes allows.
    n_people, n_zeros : int
        All changes, and those of 0.
    """

    test: HypothesisTest
    p_higher: float
    rank_sum_rises: float
    rank_sum_falls: float
    rank_biserial: float
    zeros: str
    smallest_p: float
    n_people: int
    n_zeros: int

    def summary(self) -> str:
        """Return p and rank sums, rounded, with n."""
        return (
            f"{self.test.name}: p = {self.test.p:.2g}, W+ = {self.rank_sum_rises:g}, W- = {self.rank_sum_falls:g} "
            f"(n = {self.n_people}, {self.n_zeros} without change)"
        )


def wilcoxon_signed_rank(changes: ArrayLike, *, zeros: Literal["wilcoxon", "pratt"] = "wilcoxon") -> SignedRankTest:
    """Exact signed-rank test of changes, ties by mid-ranks.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        One change per participant; no missing values. Differences of floating-point dust count as ties.
    zeros : {"wilcoxon", "pratt"}
        Changes of 0 are left out before ranking, or ranked and then left out.

    Returns
    -------
    SignedRankTest

    Raises
    ------
    DesignError
        No changes, a missing one, an unknown rule, or all changes are 0.

    Notes
    -----
    p over all flips of the signs of the (mid-)ranks, so it is exact with ties and zeros at every n.

    References
    ----------
    Wilcoxon (1945) Biometrics Bull 1:80-83; Pratt (1959) J Am Stat Assoc 54:655-667; Kerby (2014) Compr Psychol
    3:11.IT.3.1.

    Examples
    --------
    >>> found = wilcoxon_signed_rank([1, 2, 3, 4, -5, 6])
    >>> found.rank_sum_rises, found.rank_sum_falls, found.test.p
    (16.0, 5.0, 0.3125)
    """
    if zeros not in ("wilcoxon", "pratt"):
        raise DesignError(f"zero rule '{zeros}' is neither 'wilcoxon' nor 'pratt'")
    x = snapped(finite_vector(changes, name="changes"))
    moved = x != 0
    if not moved.any():
        raise DesignError("nobody changed, so there is nothing to rank")
    signed = signed_ranks(x, zeros)
    flips = flip_signs(signed)
    rises, falls = float(signed[signed > 0].sum()), float(-signed[signed < 0].sum())
    return SignedRankTest(
        test=_hypothesis(flips, f"Wilcoxon signed-rank, zeros by {zeros.capitalize()}", rises),
        p_higher=flips.upper,
        rank_sum_rises=rises,
        rank_sum_falls=falls,
        rank_biserial=(rises - falls) / (rises + falls),
        zeros=zeros,
        smallest_p=_smallest(int(moved.sum())),
        n_people=len(x),
        n_zeros=int((~moved).sum()),
    )


def signed_ranks(changes: Vector, zeros: str) -> Vector:
    """Return the signed mid-ranks of the sizes of changes that are not 0.

    Parameters
    ----------
    changes : array of shape (n,)
    zeros : {"wilcoxon", "pratt"}
        Whether zeros are left out before or after ranking.

    Returns
    -------
    array of shape (n_nonzero,)

    Examples
    --------
    >>> signed_ranks(np.array([0.0, -1.0, 2.0]), "pratt")
    array([-2.,  3.])
    """
    kept = changes[changes != 0] if zeros == "wilcoxon" else changes
    signed: Vector = np.sign(kept) * midranks(np.abs(kept))
    kept_signs: Vector = signed[signed != 0]
    return kept_signs


def _hypothesis(flips: SignFlips, name: str, statistic: float) -> HypothesisTest:
    return HypothesisTest(name=name, p=flips.two_sided, statistic=statistic, exact=flips.exact, error=flips.error)


def _smallest(n: int) -> float:
    """Return the two-sided p of n changes that all go one way."""
    return 1.0 if n == 0 else max(2.0 ** (1 - min(n, 1000)), 2.0**-999)
