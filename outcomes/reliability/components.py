"""Variance of people, occasions and error by restricted maximum likelihood, for one table with gaps or many at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_REACH = 22.0
"""The ratio of two variances is looked for between exp(-22) and exp(22) of its natural size."""
_GRID = 23
STEPS = 44
"""Steps of the golden section: exact to the rounding of the likelihood."""

ROUGH = 22
"""Steps that are enough for resamples: a ratio to one part in 4,000."""

_GOLD = (5**0.5 - 1) / 2


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """Estimated variances, each of shape (...), in the squared unit of the scores; negative ones are kept.

    Parameters
    ----------
    people, occasions, error : array
        Of the two-way model.
    one_way_people, within : array
        Of the one-way model, in which occasions are part of what varies within people.
    at_edge : array of bool
        Whether a ratio was not bounded, as where error is 0.
    """

    people: Array
    occasions: Array
    error: Array
    one_way_people: Array
    within: Array
    at_edge: NDArray[np.bool_]


def person_parts(scores: Array) -> Array:
    """Return what each person adds to the sums that the likelihood needs.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        Centred; nan where there is no score.

    Returns
    -------
    array of shape (n_participants, n_parts)
    """
    n, k = scores.shape
    there = ~np.isnan(scores)
    y, m = np.where(there, scores, 0.0), there.astype(float)
    counts, total = there.sum(axis=1), y.sum(axis=1)
    pieces = [m, y, (y**2).sum(axis=1, keepdims=True)]
    pairs = (m[:, :, None] * m[:, None, :]).reshape(n, k * k)
    own = np.concatenate([np.ones((n, 1)), pairs, m * total[:, None], total[:, None] ** 2], axis=1)
    pieces += [own * (counts == c)[:, None] for c in range(1, k + 1)]
    return np.concatenate(pieces, axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """The sums of `person_parts`, taken apart."""

    there: Array
    values: Array
    squares: Array
    people: Array
    pairs: Array
    cross: Array
    totals: Array
    k: int

    @classmethod
    def of(cls, sums: Array, k: int) -> _Sums:
        head, rest = sums[..., : 2 * k + 1], sums[..., 2 * k + 1 :]
        own = rest.reshape(*sums.shape[:-1], k, k * k + k + 2)
        return cls(
            there=head[..., :k], values=head[..., k : 2 * k], squares=head[..., 2 * k],
            people=own[..., 0], pairs=own[..., 1 : 1 + k * k].reshape(*own.shape[:-1], k, k),
            cross=own[..., 1 + k * k : 1 + k * k + k], totals=own[..., -1], k=k,
        )  # fmt: skip

    @property
    def n(self) -> Array:
        """Scores that are there."""
        return np.asarray(self.there.sum(axis=-1))

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Whether an occasion has no score, as in a resample, or nobody has two, so that no variance is defined."""
        return np.asarray((self.there == 0).any(axis=-1) | (self.people[..., 1:].sum(axis=-1) == 0))

    def weighed(self, ratio: Array) -> tuple[Array, Array, Array, Array]:
        """Return Z'W⁻¹Z, Z'W⁻¹y, y'W⁻¹y and log|W| for a ratio of the variance of people to that of error; Z says of
        which occasion a score is, W = I + ratio for scores of one person."""
        counts = np.arange(1, self.k + 1)
        grown = np.where(self.people > 0, 1 + counts * ratio[..., None], 1.0)
        h = ratio[..., None] / grown
        z = np.eye(self.k) * self.there[..., None] - (h[..., None, None] * self.pairs).sum(axis=-3)
        z = np.where(self.empty[..., None, None], np.eye(self.k), z)
        v = self.values - (h[..., None] * self.cross).sum(axis=-2)
        q = self.squares - (h * self.totals).sum(axis=-1)
        return z, v, q, (self.people * np.log(grown)).sum(axis=-1)


def variance_components(sums: Array, k: int, *, steps: int = STEPS) -> Components:
    """Return the variances at which the restricted likelihood is largest.

    Parameters
    ----------
    sums : array of shape (..., n_parts)
        Sums of `person_parts` over people; leading axes are a stack, such as resamples.
    k : int
        Occasions; each has at least one score.
    steps : int
        Of the search; `ROUGH` for resamples.

    Returns
    -------
    Components
        nan where an occasion has no score or nobody has two, as in a resample.

    Notes
    -----
    score = mean + person + occasion + error, all random; the one-way model is without occasion. Variances of people and
    occasions may be negative as far as all scores together keep a variance, so that for complete tables the values are
    those of the analysis of variance. The ratio of people to error is searched on a grid of logarithms and then by the
    golden section; at each, the ratio of occasions to error in the same way.

    References
    ----------
    Searle, Casella & McCulloch (1992) Variance Components, chapter 6 (from memory).
    """
    parts = _Sums.of(np.asarray(sums, dtype=float), k)
    most = np.where(parts.people > 0, np.arange(1, k + 1), 0).max(axis=-1)
    shape = parts.squares.shape

    def ratio(t: Array) -> Array:
        return np.asarray((np.exp(t) - 1) / most)

    one = _smallest(lambda t: _one_way(parts, ratio(t))[0], shape, steps)
    within = _one_way(parts, ratio(one))[1]
    two = _smallest(lambda t: _two_way(parts, ratio(t), steps)[0], shape, steps)
    _, occasions, error = _two_way(parts, ratio(two), steps)
    edge = (np.abs(one) > _REACH - 1) | (two > _REACH - 1)
    error, within = (np.where(parts.empty, np.nan, found) for found in (error, within))
    return Components(
        people=ratio(two) * error, occasions=occasions, error=error,
        one_way_people=ratio(one) * within, within=within, at_edge=edge & ((one > 0) | (two > 0)),
    )  # fmt: skip


def _one_way(parts: _Sums, ratio: Array) -> tuple[Array, Array]:
    """Return minus twice the restricted log-likelihood of the one-way model, but for a constant, and its error."""
    z, v, q, log_w = parts.weighed(ratio)
    weight, n = z.sum(axis=(-2, -1)), parts.n
    rest = np.maximum(q - v.sum(axis=-1) ** 2 / weight, 1e-300)
    return log_w + np.log(weight) + (n - 1) * np.log(rest), rest / (n - 1)


def _two_way(parts: _Sums, ratio: Array, steps: int) -> tuple[Array, Array, Array]:
    """Return the same of the two-way model, the variance of occasions and that of error, at the best occasions.

    With occasions as constants the scores leave a residual, and contrasts of occasions with a covariance A of their
    own; random occasions add the same variance to each contrast.
    """
    z, v, q, log_w = parts.weighed(ratio)
    n, k = parts.n, parts.k
    inverse = np.linalg.inv(z)
    means = (inverse @ v[..., None])[..., 0]
    rest = np.maximum(q - (v * means).sum(axis=-1), 1e-300)
    contrasts = _contrasts(k)
    own, turn = np.linalg.eigh(contrasts @ inverse @ contrasts.T)
    u2 = ((np.swapaxes(turn, -1, -2) @ (contrasts @ means[..., None]))[..., 0]) ** 2
    least = own[..., 0]
    # occasions of exactly one mean: the same small difference at every ratio, within reach of the search
    u2 = np.maximum(u2, (parts.squares * np.exp(1 - _REACH) / n**2)[..., None])

    def spread(t: Array) -> Array:
        return np.asarray(own + (least * (np.exp(t) - 1))[..., None])

    def misfit(t: Array) -> Array:
        s = spread(t)
        return np.asarray(np.log(s).sum(axis=-1) + (n - 1) * np.log(rest + (u2 / s).sum(axis=-1)))

    if k == 2:
        size = np.log(np.maximum((n - 2) * u2[..., 0], 1e-300)) - np.log(rest) - np.log(least)
        t = np.clip(size, -_REACH, _REACH)
    else:
        t = _smallest(misfit, n.shape, steps)
    error = (rest + (u2 / spread(t)).sum(axis=-1)) / (n - 1)
    value = log_w + np.linalg.slogdet(z)[1] + misfit(t)
    return value, least * (np.exp(t) - 1) * error, error


def _contrasts(k: int) -> Array:
    """Return orthonormal contrasts of k occasions."""
    basis = np.linalg.qr(np.column_stack([np.ones(k), np.eye(k)[:, : k - 1]]))[0]
    return np.asarray(basis[:, 1:].T)


def _smallest(f: Callable[[Array], Array], shape: tuple[int, ...], steps: int) -> Array:
    """Return where `f` is smallest, element by element: a grid, then the golden section around its best point."""
    grid = np.linspace(-_REACH, _REACH, _GRID)
    values = np.stack([f(np.full(shape, t)) for t in grid])
    best = np.argmin(values, axis=0)
    step = grid[1] - grid[0]
    low, high = grid[best] - step, grid[best] + step
    low, high = np.maximum(low, -_REACH), np.minimum(high, _REACH)
    a, b = high - _GOLD * (high - low), low + _GOLD * (high - low)
    fa, fb = f(a), f(b)
    for _ in range(steps):
        left = fa < fb
        low, high = np.where(left, low, a), np.where(left, b, high)
        a_next, b_next = high - _GOLD * (high - low), low + _GOLD * (high - low)
        new = f(np.where(left, a_next, b_next))
        fa, fb = np.where(left, new, fb), np.where(left, fa, new)
        a, b = a_next, b_next
    return np.asarray((low + high) / 2)
