"""The two-way analysis of variance behind every statistic of this room, for one matrix or many at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DUST = 1e-12
"""Standard deviations below this share of the largest score are floating-point dust and count as 0."""


@dataclass(frozen=True, slots=True, eq=False)
class MeanSquares:
    """Mean squares of a people x occasions table, or of a stack of them.

    Parameters
    ----------
    people, occasions, error, within : array of shape (...)
        Mean squares in the squared unit of the scores.
    n, k : int
        People and occasions.
    """

    people: Array
    occasions: Array
    error: Array
    within: Array
    n: int
    k: int

    @property
    def df_people(self) -> int:
        """Degrees of freedom of `people`."""
        return self.n - 1

    @property
    def df_occasions(self) -> int:
        """Degrees of freedom of `occasions`."""
        return self.k - 1

    @property
    def df_error(self) -> int:
        """Degrees of freedom of `error`."""
        return (self.n - 1) * (self.k - 1)

    @property
    def df_within(self) -> int:
        """Degrees of freedom of `within`."""
        return self.n * (self.k - 1)


def mean_squares(scores: Array) -> MeanSquares:
    """Return the mean squares of complete tables.

    Parameters
    ----------
    scores : array of shape (..., n_participants, n_occasions)
        In the measure's unit; no missing values; at least 2 x 2. Leading axes are a stack, such as resamples.

    Returns
    -------
    MeanSquares

    Notes
    -----
    score = grand mean + person + occasion + error. A mean square whose root is below `DUST` times the largest score is
    0.

    References
    ----------
    McGraw & Wong (1996) Psychol Methods 1:30-46, table 3.

    Examples
    --------
    >>> squares = mean_squares(np.array([[1.0, 2.0], [3.0, 6.0]]))
    >>> float(squares.people), float(squares.occasions), float(squares.error)
    (9.0, 4.0, 1.0)
    """
    n, k = scores.shape[-2:]
    middle = scores.mean(axis=(-2, -1), keepdims=True)
    centred = scores - middle
    rows, columns = centred.mean(axis=-1, keepdims=True), centred.mean(axis=-2, keepdims=True)
    dust = (DUST * np.abs(scores).max(axis=(-2, -1))) ** 2

    def clean(squares: Array) -> Array:
        return np.where(squares <= dust, 0.0, squares)

    people = k * np.sum(rows**2, axis=(-2, -1)) / (n - 1)
    occasions = n * np.sum(columns**2, axis=(-2, -1)) / (k - 1)
    error = np.sum((centred - rows - columns) ** 2, axis=(-2, -1)) / ((n - 1) * (k - 1))
    within = np.sum((centred - rows) ** 2, axis=(-2, -1)) / (n * (k - 1))
    return MeanSquares(clean(people), clean(occasions), clean(error), clean(within), n, k)
