"""Checked arrays: from a table or plain values to the complete matrix or vector that a statistic is defined for.

Nothing is dropped here without being listed: a missing value is refused with its count, a participant without all
occasions is named in `ScoreMatrix.incomplete`.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

Vector = NDArray[np.float64]
"""One-dimensional array of floats."""

Matrix = NDArray[np.float64]
"""Array of floats with participants in rows."""

TIE_DIGITS = 9
"""Significant digits, of the largest value, to which values are compared when ties are looked for."""


@dataclass(frozen=True, slots=True, eq=False)
class ScoreMatrix:
    """Scores with participants in rows and occasions (or raters) in columns.

    Parameters
    ----------
    values : array of shape (n_participants, n_occasions)
        In the measure's unit; nan where there is no score.
    rows, columns : tuple
        Labels, sorted.
    incomplete : tuple
        Labels of the rows without all scores.
    """

    values: Matrix
    rows: tuple[Hashable, ...]
    columns: tuple[Hashable, ...]
    incomplete: tuple[Hashable, ...]

    @property
    def n_incomplete(self) -> int:
        """Participants who lack a score on at least one occasion."""
        return len(self.incomplete)

    def complete(self, *, at_least: tuple[int, int] = (2, 2)) -> Matrix:
        """Return the rows that have every score.

        Parameters
        ----------
        at_least : tuple of int
            Rows and columns that must remain.

        Returns
        -------
        array of shape (n_complete, n_occasions)
            In the measure's unit.

        Raises
        ------
        DesignError
            Fewer rows or columns remain.
        """
        whole = self.values[~np.isnan(self.values).any(axis=1)]
        if len(whole) < at_least[0] and self.incomplete:
            raise DesignError(
                f"{_people(len(whole))} with a score on all {len(self.columns)} occasions "
                f"({self.n_incomplete} without); at least {at_least[0]} are needed"
            )
        return complete_matrix(whole, at_least=at_least)


def as_matrix(
    table: pd.DataFrame | Mapping[str, Sequence[Any]], *, rows: str, columns: str, values: str
) -> ScoreMatrix:
    """Spread a long table into a matrix, refusing two values for one cell.

    Parameters
    ----------
    table : DataFrame or mapping of column name to values
        One row for each score.
    rows, columns, values : str
        Columns that hold the participant, the occasion (or rater) and the score. A missing score leaves its cell empty.

    Returns
    -------
    ScoreMatrix
        Rows and columns sorted by label; the order of the table's rows does not matter.

    Raises
    ------
    DesignError
        A column does not exist, a label is missing, a score is no number, or a cell has two scores.

    Notes
    -----
    A duplicated score is never averaged away: an intraclass correlation of averaged duplicates is another number.

    Examples
    --------
    >>> long = {"who": ["b", "a", "b", "a"], "when": [1, 1, 2, 2], "cm": [41.0, 50.0, 42.0, 51.0]}
    >>> as_matrix(long, rows="who", columns="when", values="cm").complete()
    array([[50., 51.],
           [41., 42.]])
    """
    missing = [name for name in (rows, columns, values) if name not in table]
    if missing:
        raise DesignError(f"the table has no column '{missing[0]}'")
    row_labels, row_index = _labels(table[rows], rows)
    column_labels, column_index = _labels(table[columns], columns)
    scores = _numbers(table[values], values)
    if not len(scores):
        raise DesignError("the table has no rows")
    if np.isinf(scores).any():
        raise DesignError(f"'{values}' holds an infinite value")
    cell = row_index * len(column_labels) + column_index
    first = np.unique(cell, return_index=True)[1]
    if len(first) < len(cell):
        again = int(np.setdiff1d(np.arange(len(cell)), first)[0])
        where = f"{rows} {row_labels[row_index[again]]}, {columns} {column_labels[column_index[again]]}"
        raise DesignError(f"two values for one cell: {where}")
    out = np.full((len(row_labels), len(column_labels)), np.nan)
    out[row_index, column_index] = scores
    incomplete = tuple(row_labels[i] for i in np.flatnonzero(np.isnan(out).any(axis=1)))
    return ScoreMatrix(out, row_labels, column_labels, incomplete)


def complete_matrix(scores: ArrayLike, *, at_least: tuple[int, int] = (2, 2)) -> Matrix:
    """Return `scores` as a matrix of finite floats.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In the measure's unit; no missing values.
    at_least : tuple of int
        Participants and occasions that are needed.

    Returns
    -------
    array of shape (n_participants, n_occasions)

    Raises
    ------
    DesignError
        Not two-dimensional, too small, or a value is missing or infinite.

    Examples
    --------
    >>> complete_matrix([[1, 2], [3, 4]])
    array([[1., 2.],
           [3., 4.]])
    """
    matrix = _numbers(scores, "scores")
    if matrix.ndim != 2:
        raise DesignError("scores must have participants in rows and occasions in columns")
    _refuse_missing(matrix, "scores")
    n, k = matrix.shape
    if n < at_least[0]:
        raise DesignError(f"{_people(n)}; at least {at_least[0]} are needed")
    if k < at_least[1]:
        raise DesignError(f"{k} occasion{'' if k == 1 else 's'}; at least {at_least[1]} are needed")
    return matrix


def finite_vector(values: ArrayLike, *, name: str, at_least: int = 1) -> Vector:
    """Return `values` as a vector of finite floats.

    Parameters
    ----------
    values : array of shape (n,)
        No missing values.
    name : str
        What the values are, for the reason of a refusal.
    at_least : int
        Values that are needed.

    Returns
    -------
    array of shape (n,)

    Raises
    ------
    DesignError
        Not one-dimensional, too short, or a value is missing or infinite.

    Examples
    --------
    >>> finite_vector([1, 2.5], name="changes")
    array([1. , 2.5])
    """
    vector = _numbers(values, name)
    if vector.ndim != 1:
        raise DesignError(f"{name} must be one row of values")
    _refuse_missing(vector, name)
    if len(vector) < at_least:
        raise DesignError(
            f"{name}: {len(vector)} value{'' if len(vector) == 1 else 's'}; at least {at_least} are needed"
        )
    return vector


def paired(before: ArrayLike, after: ArrayLike, *, at_least: int = 2) -> tuple[Vector, Vector]:
    """Return two vectors of one value per participant each, in the same order.

    Parameters
    ----------
    before, after : array of shape (n_participants,)
        In the same unit; no missing values.
    at_least : int
        Participants that are needed.

    Returns
    -------
    tuple of two arrays of shape (n_participants,)

    Raises
    ------
    DesignError
        Different lengths, too few participants, or a value is missing or infinite.

    Examples
    --------
    >>> paired([1, 2], [2, 4])
    (array([1., 2.]), array([2., 4.]))
    """
    first = finite_vector(before, name="before", at_least=0)
    second = finite_vector(after, name="after", at_least=0)
    if len(first) != len(second):
        raise DesignError(f"{len(first)} values before and {len(second)} after")
    if len(first) < at_least:
        raise DesignError(f"{_people(len(first))} with both values; at least {at_least} are needed")
    return first, second


def snapped(values: Vector, *, scale: float | None = None) -> Vector:
    """Return `values` with floating-point dust removed, for looking for ties and zeros only.

    Parameters
    ----------
    values : array of shape (n,)
    scale : float, optional
        Size that the digits are counted from; the largest absolute value by default.

    Returns
    -------
    array of shape (n,)
        Rounded to `TIE_DIGITS` significant digits of the scale: 0.9 - 0.8 and 0.2 - 0.1 become equal.

    Examples
    --------
    >>> snapped(np.array([0.9 - 0.8, 0.2 - 0.1]))
    array([0.1, 0.1])
    """
    size = float(np.max(np.abs(values), initial=0.0)) if scale is None else scale
    if size == 0:
        return values
    digits = TIE_DIGITS - 1 - int(np.floor(np.log10(size)))
    rounded: Vector = np.round(values, digits) if abs(digits) < 300 else values
    return rounded + 0.0


def all_equal(values: Vector, *, scale: float | None = None) -> bool:
    """Return whether `values` are equal but for floating-point dust of values of size `scale`.

    Examples
    --------
    >>> all_equal(np.array([0.9 - 0.8, 0.2 - 0.1]))
    True
    """
    size = float(np.max(np.abs(values))) if scale is None else scale
    return float(np.ptp(values)) <= 1e-12 * size


def _numbers(values: Any, name: str) -> NDArray[np.float64]:
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError(f"{name} are not all numbers") from error
    return array


def _refuse_missing(array: NDArray[np.float64], name: str) -> None:
    missing = int(np.isnan(array).sum())
    if missing:
        raise DesignError(
            f"{name}: {missing} of {array.size} values missing; leave incomplete people out and count them"
        )
    if np.isinf(array).any():
        raise DesignError(f"{name}: an infinite value")


def _labels(column: Any, name: str) -> tuple[tuple[Hashable, ...], NDArray[np.intp]]:
    """Return the sorted labels of a column and, for each row, the place of its label."""
    labels = [label.item() if hasattr(label, "item") else label for label in column]
    if any(label is None or label != label or label == "" for label in labels):
        raise DesignError(f"'{name}' is empty in a row")
    try:
        known = sorted(set(labels))
    except TypeError:
        known = sorted(set(labels), key=str)
    place = {label: i for i, label in enumerate(known)}
    return tuple(known), np.array([place[label] for label in labels], dtype=np.intp)


def _people(n: int) -> str:
    return "one person" if n == 1 else f"{n} people"
