"""The distribution of a sum when every sign may flip: exact on a grid, exact by halves, or seeded flips."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from outcomes.errors import DesignError
from outcomes.intervals.quantiles import possible_p
from outcomes.matrices import Vector, snapped

MOST_STEPS = 100_000_000
"""Steps (values times grid cells) up to which the convolution is carried out."""

MOST_BY_HALVES = 40
"""Values up to which sums of reals are enumerated in two halves."""

_FINEST = 100_000
"""Grid cells under the largest value; a finer grid counts as none."""


@dataclass(frozen=True, slots=True)
class SignFlips:
    """Where the observed sum lies among the sums under all (or many random) flips of sign.

    Parameters
    ----------
    two_sided, upper : float
        Probability of a sum at least as far from 0, and of one at least as high; in (0, 1].
    way : {"convolution", "halves", "random"}
        How it was found; the first two are exact.
    error : float, optional
        Monte-Carlo standard error of `two_sided`.
    flips : int
        Sign assignments looked at: 2^n, or the number drawn.
    """

    two_sided: float
    upper: float
    way: Literal["convolution", "halves", "random"]
    error: float | None
    flips: int

    @property
    def exact(self) -> bool:
        """Whether all sign assignments were counted."""
        return self.way != "random"


def flip_signs(values: Vector, *, resamples: int = 100_000, rng: np.random.Generator | None = None) -> SignFlips:
    """Return where the sum of `values` lies among its sums under flipped signs.

    Parameters
    ----------
    values : array of shape (n,)
        Finite; dust of floating point is removed before ties are counted.
    resamples : int
        Flips to draw where exact counting is out of reach.
    rng : numpy.random.Generator, optional
        Needed only then.

    Returns
    -------
    SignFlips

    Raises
    ------
    DesignError
        Exact counting is out of reach and no `rng` was given.

    Notes
    -----
    On a grid, the distribution of the sum is the convolution of the two-point distributions of its terms (Pagano &
    Tritchler 1983, J Am Stat Assoc 78:435-440). Reals: the sums of both halves are enumerated, sorted and matched
    (Horowitz & Sahni 1974, J ACM 21:277-292). Random: p = (b + 1)/(N + 1) (Phipson & Smyth 2010, Stat Appl Genet Mol
    Biol 9:39).

    Examples
    --------
    >>> flip_signs(np.array([1.0, 2.0, 3.0])).two_sided
    0.25
    """
    values = values[snapped(values) != 0]
    n = len(values)
    if n == 0:
        return SignFlips(1.0, 1.0, "convolution", None, 1)
    steps = _grid_steps(values)
    if steps is not None and n * int(np.abs(steps).sum()) <= MOST_STEPS:
        two, upper, way = *_by_convolution(steps), "convolution"
    elif n <= MOST_BY_HALVES:
        two, upper, way = *_by_halves(values), "halves"
    else:
        return _random(values, resamples, rng)
    # Sums of equal sign alone have probability 2^-n, which a double cannot hold beyond n = 1074.
    return SignFlips(possible_p(two), possible_p(upper), way, None, 2**n)  # type: ignore[arg-type]


def _grid_steps(values: Vector) -> NDArray[np.int64] | None:
    """Return `values` as whole multiples of their common step, or None if they have none."""
    sizes = np.unique(np.abs(values))
    largest = float(sizes[-1])
    dust = largest / (_FINEST * 100)
    step = float(sizes[0])
    for size in sizes[1:]:
        a, b = float(size), step
        while b > dust:
            a, b = b, math.fmod(a, b)
            if a - b < dust:
                b = 0.0
        step = float(size) / round(float(size) / a)  # keeps the digits that the remainders lost
        if step * _FINEST < largest:
            return None
    counts = np.round(sizes / step)
    step = float(np.dot(counts, sizes) / np.dot(counts, counts))
    if np.max(np.abs(sizes - counts * step)) > 1e-9 * largest:
        return None
    whole: NDArray[np.int64] = np.round(values / step).astype(np.int64)
    return whole


def _by_convolution(steps: NDArray[np.int64]) -> tuple[float, float]:
    """Return two-sided and upper probability of the sum of whole numbers.

    The sum is 2 T - total, where T, the sum of the positive terms, has a distribution on 0..total.
    """
    sizes = np.abs(steps)
    total = int(sizes.sum())
    chance = np.zeros(total + 1)
    chance[0] = 1.0
    reached = 0
    for size in sorted(int(s) for s in sizes):
        chance[: reached + size + 1] *= 0.5
        moved = chance[: reached + 1].copy()
        chance[size : reached + size + 1] += moved
        reached += size
    positive = int(steps[steps > 0].sum())
    upper = float(chance[positive:].sum())
    far = max(positive, total - positive)
    two = 1.0 if 2 * far == total else 2 * float(chance[far:].sum())
    return min(two, 1.0), min(upper, 1.0)


def _by_halves(values: Vector) -> tuple[float, float]:
    """Return two-sided and upper probability of the sum of reals, ties within floating-point dust counted."""
    sizes = np.abs(values)
    total = float(values.sum())
    dust = 1e-9 * float(sizes.sum())
    middle = len(sizes) // 2
    first, second = _signed_sums(sizes[:middle]), _signed_sums(sizes[middle:])

    def share_from(threshold: float) -> float:
        below = np.searchsorted(second, threshold - dust - first, side="left")
        return 1 - float(below.sum()) / (len(first) * len(second))

    far = abs(total)
    two = 1.0 if far <= dust else 2 * share_from(far)
    return min(two, 1.0), share_from(total)


def _signed_sums(sizes: Vector) -> Vector:
    sums = np.zeros(1)
    for size in sizes:
        sums = np.concatenate([sums - size, sums + size])
    return np.sort(sums)


def _random(values: Vector, resamples: int, rng: np.random.Generator | None) -> SignFlips:
    n = len(values)
    if rng is None:
        raise DesignError(f"{n} values on no common grid need random flips: give rng")
    total, dust = float(values.sum()), 1e-9 * float(np.abs(values).sum())
    far = high = 0
    rows = max(1, 4_000_000 // n)
    for start in range(0, resamples, rows):
        m = min(rows, resamples - start)
        positive = rng.integers(0, 2, (m, n), dtype=np.uint8)
        sums = 2 * (positive @ values) - values.sum()
        far += int(np.sum(np.abs(sums) >= abs(total) - dust))
        high += int(np.sum(sums >= total - dust))
    two = (far + 1) / (resamples + 1)
    error = math.sqrt(two * (1 - two) / resamples)
    return SignFlips(two, (high + 1) / (resamples + 1), "random", error, resamples)
