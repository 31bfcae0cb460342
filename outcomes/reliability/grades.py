"""Ratings on a declared scale: their codes, and the weights of agreement between grades."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError, printable
from outcomes.matrices import Matrix

Codes = NDArray[np.intp]
WeightWord = Literal["plain", "linear", "quadratic"]
MISSING = -1
"""Code of a rating that is not there."""


def grade_codes(ratings: Any, grades: Sequence[Hashable], *, name: str) -> Codes:
    """Return the place of every rating in the declared scale, `MISSING` where there is none.

    Parameters
    ----------
    ratings : array of any shape
        Values of the scale; None, nan and an empty text are missing.
    grades : sequence
        Every grade of the scale, lowest first, used or not.
    name : str
        What the ratings are, for a refusal.

    Returns
    -------
    array of int
        Of the same shape.

    Raises
    ------
    DesignError
        A grade that stands twice, fewer than two grades, or a rating that is none of them.

    Examples
    --------
    >>> grade_codes(["0", "1+", None], ("0", "1", "1+"), name="ratings")
    array([ 0,  2, -1])
    """
    place = {grade: i for i, grade in enumerate(grades)}
    if len(place) != len(grades):
        raise DesignError("a grade of the scale stands twice")
    if len(place) < 2:
        raise DesignError("a scale needs at least two grades")
    table = np.asarray(ratings, dtype=object)
    out = np.empty(table.shape, dtype=np.intp)
    for index, rating in np.ndenumerate(table):
        rating = rating.item() if hasattr(rating, "item") else rating
        if rating is None or rating == "" or rating != rating:
            out[index] = MISSING
        elif isinstance(rating, Hashable) and rating in place:
            out[index] = place[rating]
        else:
            known = ", ".join(str(grade) for grade in list(grades)[:12])
            raise DesignError(f"{name}: found '{printable(rating)}', which is none of the grades {known}")
    return out


def agreement_weights(
    weights: WeightWord | ArrayLike, q: int, *, weights_are: Literal["agreement", "disagreement"] = "agreement"
) -> Matrix:
    """Return the weight of agreement between every two of q grades: 1 for the same grade.

    Parameters
    ----------
    weights : {"plain", "linear", "quadratic"} or array of shape (q, q)
        By word over the whole declared scale: 0, 1 - d/(q - 1), 1 - (d/(q - 1))², d grades apart. Or free weights.
    q : int
        Grades of the scale.
    weights_are : {"agreement", "disagreement"}
        What free weights mean; disagreement weights w become 1 - w/max(w).

    Returns
    -------
    array of shape (q, q)

    Raises
    ------
    DesignError
        An unknown word; free weights of another shape, not symmetric, or whose diagonal is not that of equal grades.

    References
    ----------
    Cohen (1968) Psychol Bull 70:213-220.

    Examples
    --------
    >>> agreement_weights("quadratic", 3)
    array([[1.  , 0.75, 0.  ],
           [0.75, 1.  , 0.75],
           [0.  , 0.75, 1.  ]])
    """
    apart = np.abs(np.subtract.outer(np.arange(q), np.arange(q))) / (q - 1)
    if isinstance(weights, str):
        known = {"plain": np.eye(q), "linear": 1 - apart, "quadratic": 1 - apart**2}
        if weights not in known:
            raise DesignError(f"weights '{weights}' are none of {', '.join(known)}")
        return known[weights]
    free = np.asarray(weights, dtype=np.float64)
    if free.shape != (q, q) or not np.isfinite(free).all() or not np.allclose(free, free.T):
        raise DesignError(f"free weights need a symmetric table of {q} x {q} finite numbers")
    if weights_are == "disagreement":
        if free.max() <= 0 or free.min() < 0 or np.diag(free).any():
            raise DesignError("disagreement weights are 0 for equal grades, none below 0, and some above 0")
        return np.asarray(1 - free / free.max())
    if not np.allclose(np.diag(free), 1) or free.max() > 1:
        raise DesignError("agreement weights are 1 for equal grades and nowhere more; say if they are of disagreement")
    return free
