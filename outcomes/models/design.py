"""Checked columns of a mixed model, turned into blocks; a design that cannot be estimated is refused with a reason."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.matrices import Matrix, Vector, all_equal, finite_vector
from outcomes.models.likelihood import Array, Blocks, blocks_of
from outcomes.models.small_sample import expected_information

_DUST = 1e-9
"""Lengths below this share of the whole length count as 0."""


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What the caller gave, checked.

    Parameters
    ----------
    outcome : array of shape (n,)
    fixed : array of shape (n, p)
        X.
    slope : array of shape (n,), optional
        The column whose slope differs between people.
    place : array of shape (n,)
        Place of each row's person in `people`.
    people : tuple
        Labels of the people, sorted.
    names : tuple of str
        Columns of X.
    """

    outcome: Vector
    fixed: Matrix
    slope: Vector | None
    place: np.ndarray[Any, np.dtype[np.intp]]
    people: tuple[Hashable, ...]
    names: tuple[str, ...]

    @property
    def line(self) -> Array:
        """Z: a column of ones, and the slope's column."""
        ones = np.ones(len(self.outcome))
        return ones[:, None] if self.slope is None else np.column_stack([ones, self.slope])


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The columns in coordinates in which the likelihood is well scaled.

    Parameters
    ----------
    columns : Columns
    blocks : Blocks
        X made orthonormal; what X leaves of the outcome by least squares, scaled to length √n; slope centred, scaled.
    base : array of shape (p,)
        Least-squares coefficients.
    to_terms : array of shape (p, p)
        Turns coefficients of the blocks into differences from `base`.
    scale : float
        Unit of the blocks' outcome.
    to_line : array of shape (q, q)
        Turns the blocks' intercept and slope of a person into those of the caller's.
    log_volume : float
        log|X'X|.
    """

    columns: Columns
    blocks: Blocks
    base: Array
    to_terms: Array
    scale: float
    to_line: Array
    log_volume: float


def checked_columns(
    outcome: ArrayLike, fixed: ArrayLike, group: Any, slope: ArrayLike | str | None, names: Sequence[str]
) -> Columns:
    """Return the columns of a model if they are complete and of one length.

    Parameters
    ----------
    outcome : array of shape (n,)
    fixed : array of shape (n, p) or (n,)
    group : sequence of n labels
    slope : array of shape (n,) or name of a column of `fixed`, optional
    names : sequence of p words

    Returns
    -------
    Columns

    Raises
    ------
    DesignError
        A missing value, different lengths, or names that do not fit.
    """
    y = _without_gaps(outcome, "outcome")
    matrix = np.asarray(fixed)
    columns = [matrix] if matrix.ndim == 1 else list(matrix.T) if matrix.ndim == 2 else []
    words = (names,) if isinstance(names, str) else tuple(names)
    if not columns or len(words) != len(columns):
        raise DesignError(f"{len(words)} names for {len(columns)} columns of fixed terms; one each is needed")
    if len(set(words)) < len(words):
        raise DesignError("two columns of fixed terms have the same name")
    x = np.column_stack([_without_gaps(c, f"column '{w}'") for c, w in zip(columns, words, strict=True)])
    z = _slope_column(slope, x, words)
    labels = group.tolist() if hasattr(group, "tolist") else list(group)
    for what, length in (("fixed terms", len(x)), ("group", len(labels)), ("slope", len(y) if z is None else len(z))):
        if length != len(y):
            raise DesignError(f"{len(y)} values of the outcome and {length} of {what}")
    people, place = _places(labels)
    return Columns(y, x, z, place, people, words)


def _without_gaps(values: ArrayLike, name: str) -> Vector:
    vector = np.asarray(values)
    if vector.dtype.kind == "f" and np.isnan(vector).any():
        raise DesignError(
            f"{name}: {int(np.isnan(vector).sum())} of {vector.size} values missing; leave those rows out and count "
            "them (the person's other values stay)"
        )
    return finite_vector(vector, name=name)


def _slope_column(slope: ArrayLike | str | None, x: Matrix, names: tuple[str, ...]) -> Vector | None:
    if slope is None:
        return None
    if not isinstance(slope, str):
        return _without_gaps(slope, "slope")
    if slope not in names:
        raise DesignError(f"the slope '{slope}' is no column of the fixed terms")
    return x[:, names.index(slope)]


def _places(labels: list[Any]) -> tuple[tuple[Hashable, ...], np.ndarray[Any, np.dtype[np.intp]]]:
    if any(label is None or label != label or label == "" for label in labels):
        raise DesignError("a row has no participant")
    try:
        known = sorted(set(labels))
    except TypeError:
        known = sorted(set(labels), key=str)
    where = {label: i for i, label in enumerate(known)}
    return tuple(known), np.array([where[label] for label in labels], dtype=np.intp)


def prepare(columns: Columns) -> Design:
    """Return the design of checked columns.

    Parameters
    ----------
    columns : Columns

    Returns
    -------
    Design

    Raises
    ------
    DesignError
        The model cannot be estimated from them.
    """
    refuse_simple(columns)
    x, y = columns.fixed, columns.outcome
    lengths = np.linalg.norm(x, axis=0)
    basis, triangle = np.linalg.qr(x / lengths)
    refuse_collinear(x / lengths, triangle, columns.names)
    slope, to_line = _scaled_slope(columns)
    # Directions of X by how much they change within people: what changes only between people stands apart, so that
    # its much smaller weight is not lost beside the others where people are far apart.
    turn = np.linalg.eigh(_blocks(basis, slope, columns).all_within)[1]
    basis, inverse = basis @ turn, np.linalg.inv(triangle) @ turn / lengths[:, None]
    base, left = _least_squares(y, basis)
    size = float(np.linalg.norm(left))
    if size <= _DUST * float(np.linalg.norm(y - y.mean())):
        raise DesignError("the fixed terms explain the outcome without rest, so there is no variance to divide")
    scale = size / math.sqrt(len(y))
    blocks, shift = _centred_blocks(np.column_stack([basis, left / scale]), slope, columns)
    refuse_unidentified(blocks, slope is not None)
    volume = 2 * float(np.log(np.abs(np.diagonal(triangle))).sum() + np.log(lengths).sum())
    return Design(columns, blocks, inverse @ (base + shift * scale), inverse * scale, scale, to_line, volume)


def _least_squares(y: Vector, basis: Array) -> tuple[Array, Array]:
    """Return coefficients of y on an orthonormal basis and what is left; a large mean of y costs no digits."""
    mean, ones = float(y.mean()), np.ones(len(y))
    centre, level = y - mean, basis.T @ ones
    beside = ones - basis @ level
    if float(np.linalg.norm(beside)) <= _DUST * math.sqrt(len(y)):
        beside = np.zeros(len(y))
    coefficients = basis.T @ centre
    left = centre - basis @ coefficients
    more = basis.T @ left
    return coefficients + more + mean * level, left - basis @ more + mean * beside


def _centred_blocks(data: Array, slope: Array | None, columns: Columns) -> tuple[Blocks, Array]:
    """Return the blocks of [X y] and the coefficients that were taken out of y for them.

    People far apart turn least squares away from what holds within them; that is taken out before it has to cancel.
    """
    shift = np.zeros(data.shape[1] - 1)
    blocks = _blocks(data, slope, columns)
    for _ in range(2):
        within = _along(blocks.all_within)
        if blocks.all_within[-1, -1] <= 100 * _rest(blocks.all_within, within):
            break
        data = np.column_stack([data[:, :-1], data[:, -1] - data[:, :-1] @ within])
        blocks, shift = _blocks(data, slope, columns), shift + within
    return blocks, shift


def refuse_simple(columns: Columns) -> None:
    """Raise DesignError for what is seen in the columns alone: too few people or values, nothing that differs."""
    y, s = columns.outcome, columns.slope
    sizes = np.bincount(columns.place)
    if len(sizes) < 2:
        raise DesignError("all values are of one participant; a difference between people needs at least two")
    if all_equal(y):
        raise DesignError("the outcome is the same in every row, so there is no variance to divide")
    if sizes.max() < 2:
        raise DesignError(
            "every participant has one value, so differences between people cannot be told from those within; "
            "some need two or more"
        )
    for name, column in zip(columns.names, columns.fixed.T, strict=True):
        if not column.any():
            raise DesignError(f"the column '{name}' is 0 in every row; leave it out")
    if s is None:
        return
    if all_equal(s):
        raise DesignError("the slope's column is the same in every row; a slope needs at least two values of it")
    spread = _spread_within(columns, s)
    if int((spread > 0).sum()) < 2:
        raise DesignError(
            "the slope's column changes within fewer than two participants, so their slopes cannot be compared; "
            "people with values at two or more of its levels are needed"
        )
    if int(np.sum(sizes - 1 - (spread > 0))) < 1:
        raise DesignError(
            "nobody has more values than the intercept and slope of their own line use up, so a slope for each person "
            "cannot be told from what is left; some need three or more, or leave the slope out"
        )


def _spread_within(columns: Columns, s: Array) -> Array:
    """Return the sum of squares of a column about each person's mean; dust counts as 0."""
    sizes = np.bincount(columns.place)
    centre = s - s.mean()
    means = np.bincount(columns.place, centre) / sizes
    spread = np.bincount(columns.place, (centre - means[columns.place]) ** 2)
    dust = (1e-9 * float(np.abs(s).max())) ** 2 * sizes
    return np.where(spread <= dust, 0.0, spread)


def refuse_collinear(x: Array, triangle: Array, names: tuple[str, ...]) -> None:
    """Raise DesignError, naming the columns, where one follows from the others."""
    n, p = x.shape
    if n <= p:
        raise DesignError(f"{n} values for {p} fixed terms; more values, or fewer terms, are needed")
    singular = np.linalg.svd(triangle)
    if singular.S[-1] > _DUST * singular.S[0]:
        return
    weights = np.abs(singular.Vh[-1])
    said = [f"'{name}'" for name, weight in zip(names, weights, strict=True) if weight > 1e-6 * weights.max()]
    raise DesignError(
        f"the columns {' and '.join([', '.join(said[:-1]), said[-1]])} cannot be told apart: each follows from the "
        "others in these data; leave one out"
    )


def _scaled_slope(columns: Columns) -> tuple[Array | None, Array]:
    if columns.slope is None:
        return None, np.eye(1)
    centre = float(columns.slope.mean())
    spread = _spread_within(columns, columns.slope)
    unit = float(np.sqrt(spread.sum() / (len(columns.slope) - len(columns.people))))
    return (columns.slope - centre) / unit, np.array([[1.0, -centre / unit], [0.0, 1.0 / unit]])


def _blocks(data: Array, slope: Array | None, columns: Columns) -> Blocks:
    """Return the blocks of [X y], or of X alone, by each person's orthonormal line."""
    order = np.argsort(columns.place, kind="stable")
    place, rows = columns.place[order], data[order]
    sizes = np.bincount(place)
    first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    roots = np.sqrt(sizes)
    sums = np.add.reduceat(rows, first)
    rows = rows - (sums / sizes[:, None])[place]
    coordinates = (sums / roots[:, None])[:, None, :]
    loadings = roots[:, None, None]
    if slope is not None:
        s = slope[order]
        means = np.add.reduceat(s, first) / sizes
        lengths = np.sqrt(_spread_within(columns, slope))
        along = np.where(lengths[place] > 0, (s - means[place]) / np.where(lengths > 0, lengths, 1.0)[place], 0.0)
        second = np.add.reduceat(along[:, None] * rows, first)
        rows = rows - along[:, None] * second[place]
        coordinates = np.stack([coordinates[:, 0], second], axis=1)
        zero = np.zeros_like(roots)
        loadings = np.stack([np.stack([roots, roots * means], 1), np.stack([zero, lengths], 1)], 1)
    within = np.add.reduceat(rows[:, :, None] * rows[:, None, :], first)
    return blocks_of(coordinates, loadings, within, sizes.astype(np.float64))


def refuse_unidentified(blocks: Blocks, has_slope: bool) -> None:
    """Raise DesignError where the blocks do not tell the variances, or the fixed terms, apart.

    Parameters
    ----------
    blocks : Blocks
        In scaled coordinates.
    has_slope : bool

    Raises
    ------
    DesignError
        With what would make the model estimable.
    """
    p = blocks.n_terms
    if blocks.n_values <= p or len(blocks.sizes) < 2:
        raise DesignError("too few people or values are left for these fixed terms")
    whole = blocks.all_within + np.einsum("uiixy->xy", blocks.products)
    if np.linalg.eigvalsh(whole[:p, :p])[0] <= _DUST:
        raise DesignError("without this participant the fixed terms cannot be told apart")
    if _rest(blocks.all_within, _along(blocks.all_within)) <= (10 * _DUST) ** 2 * float(whole[p, p]):
        raise DesignError(
            "nothing is left within people beside their own lines and the fixed terms, so the residual variance is 0; "
            "more values per person, or fewer terms, are needed"
        )
    values = np.linalg.eigvalsh(expected_information(blocks, np.eye(blocks.size)))
    if values[0] <= 1e-9 * values[-1]:
        what = "the variances of intercept, slope and residual" if has_slope else "variance between and within people"
        raise DesignError(
            f"{what} cannot be told apart beside these fixed terms; more people, more values per person, or fewer "
            "terms that differ only between people are needed"
        )


def _along(within: Array) -> Array:
    """Return the coefficients of y on X within people, 0 for what does not change within them."""
    p = len(within) - 1
    values, vectors = np.linalg.eigh(within[:p, :p])
    kept = vectors[:, values > _DUST]
    out: Array = kept @ ((kept.T @ within[:p, p]) / values[values > _DUST])
    return out


def _rest(within: Array, coefficients: Array) -> float:
    """Return the squares of y within people that X leaves, at coefficients of y on X within people."""
    line = np.append(-coefficients, 1.0)
    return max(float(line @ within @ line), 0.0)
