"""Studies of the intervals of a change, its sizes, its shares, and of the tests of no change."""

from __future__ import annotations

from functools import cache
from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import CHANGES, NEAR_AND_FAR, Data
from coverage_registry import interval, no_change

# ------------------------------------------------------------------------------------------------- the mean change


def _student(x: np.ndarray, rng: Any) -> Any:
    from outcomes.intervals import t_interval

    return t_interval(x)


interval(
    "Student t, mean",
    "mean_change", "agreement_bias", "percent_mean", "important_mean_change", "visit_pairs", "limb_person_means",
    "limbs_as_people", "agreement_bias_ratio", "percent_geometric",
    shapes=CHANGES, draw=data.changes, truth=data.mean_change, one=_student, many=data.t_ends,
)  # fmt: skip


def _bca(x: np.ndarray, rng: np.random.Generator) -> Any:
    from outcomes.intervals import bca_interval

    return bca_interval([x], lambda v: v.mean(axis=-1), resamples=1_000, rng=rng).interval


interval(
    "BCa bootstrap, mean", "mean_change_bca", shapes=CHANGES, draw=data.changes, truth=data.mean_change, one=_bca,
    smallest=24,
)  # fmt: skip


def _walsh(x: np.ndarray, rng: Any) -> Any:
    from outcomes.intervals import hodges_lehmann

    return hodges_lehmann(x).interval


def _walsh_ends(x: np.ndarray) -> Any:
    from outcomes.intervals.ranks import _order

    i, j = np.triu_indices(x.shape[-1])
    averages = np.sort((x[:, i] + x[:, j]) / 2, axis=-1)
    k = _order(x.shape[-1], 0.025)[0]
    return averages[:, k - 1], averages[:, -k]


interval(
    "Hodges-Lehmann", "hodges_lehmann_change",
    shapes=CHANGES, draw=data.changes, truth=data.pseudomedian, one=_walsh, many=_walsh_ends,
)  # fmt: skip


# ---------------------------------------------------------------------------------------------------- effect sizes


@cache
def noncentral_table(df: int) -> tuple[Any, Any]:
    """Return the ends of the noncentral t interval as smooth functions of arsinh t, from the package's own at 321."""
    from scipy.interpolate import CubicSpline

    from outcomes.intervals import noncentral_t_interval

    place = np.linspace(0, np.arcsinh(MOST_T), 321)
    found = [noncentral_t_interval(float(t), df) for t in np.sinh(place)]
    return CubicSpline(place, [one.low for one in found]), CubicSpline(place, [one.high for one in found])


MOST_T = 2_000.0


def noncentral_ends(t: np.ndarray, df: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the noncentral t intervals of many values of t."""
    if np.abs(t).max() > MOST_T:
        raise RuntimeError(f"t of {np.abs(t).max():.3g} lies outside the table")
    below, above = (end(np.arcsinh(np.abs(t))) for end in noncentral_table(df))
    return np.where(t < 0, -above, below), np.where(t < 0, -below, above)


def _d_z(x: np.ndarray, rng: Any) -> Any:
    from outcomes.change.sizes import standardised

    return standardised(x, level=0.95)[0].interval


def _d_z_ends(x: np.ndarray) -> Any:
    root = np.sqrt(x.shape[-1])
    low, high = noncentral_ends(root * x.mean(axis=-1) / x.std(axis=-1, ddof=1), x.shape[-1] - 1)
    return low / root, high / root


interval(
    "noncentral t, d_z", "d_z", "hedges_g",
    shapes=NEAR_AND_FAR, draw=data.changes, truth=data.mean_change, one=_d_z, many=_d_z_ends,
)  # fmt: skip

RISE = 0.8


def visits(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return values of two visits of standard deviation √5, correlation 0.8, means 0.8 apart."""
    (scores,) = data.repeats(rng, n, shape, size)
    return scores[..., 0], scores[..., 1] + RISE


SPREAD = float(np.sqrt(data.PEOPLE**2 + data.ERROR**2))


def _sized(name: str) -> Any:
    def one(before: np.ndarray, after: np.ndarray, rng: np.random.Generator) -> Any:
        from outcomes.change import effect_sizes, sizes
        from outcomes.intervals import bca_interval

        statistic = sizes._d_av if name == "d_av" else effect_sizes._DIVISORS[name][0]
        assert statistic is not None
        return bca_interval([before, after], statistic, resamples=1_000, rng=rng).interval

    return one


for _name, _ids in (("d_av", ("d_av", "d_rms")), ("d_rm", ("d_rm",)), ("d_before", ("d_before", "g_before"))):
    interval(
        f"BCa bootstrap, {_name}", *_ids, shapes=NEAR_AND_FAR, draw=visits, truth=lambda shape: RISE / SPREAD,
        one=_sized(_name), smallest=24,
    )  # fmt: skip


def _related(before: np.ndarray, after: np.ndarray, rng: Any) -> Any:
    from outcomes.intervals import correlation_interval

    return correlation_interval(float(np.corrcoef(before, after)[0, 1]), len(before))


interval(
    "Fisher z, correlation", "correlation_before_after", shapes=NEAR_AND_FAR, draw=visits,
    truth=lambda shape: data.RELIABILITY, one=_related,
    many=lambda x, y: data.fisher_ends(data.correlation(x, y), 1 / (x.shape[-1] - 3)),
)  # fmt: skip


# ------------------------------------------------------------------------------------------------- sizes by rank


def moved(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes of which some are falls: normal of mean 0.5, exponential of mean 0.5, or of grades."""
    (x,) = data.changes(rng, n, shape, size)
    return (x - 0.5 if shape == "skewed" else x,)


@cache
def true_rank_biserial(shape: str) -> float:
    """Return (W+ - W-)/(W+ + W-) of very many people."""
    from scipy.special import ndtr

    if shape == "normal":
        return float(2 * ndtr(0.5 * np.sqrt(2)) - 1)
    if shape == "skewed":
        return float(2 * 2 * np.exp(-1) - 1)
    values, shares = (part[data.GRADED[0] != 0] for part in data.GRADED)
    height = np.array([shares[np.abs(values) < abs(v)].sum() + shares[np.abs(values) == abs(v)].sum() / 2
                       for v in values])  # fmt: skip
    return float((np.sign(values) * height * shares).sum() / (height * shares).sum())


def _rank_sizes(name: str) -> Any:
    def one(x: np.ndarray, rng: Any) -> Any:
        from outcomes.change.rank_sizes import paired_rank_sizes

        found = getattr(paired_rank_sizes(x), name)
        return None if found is None else found.interval

    return one


def _rank_biserial_ends(x: np.ndarray) -> Any:
    size = np.abs(x)
    there = size > 0
    # people without change rank below all others: take their number off
    m = there.sum(axis=-1)
    rank = np.where(there, data.ranks(size) - (x.shape[-1] - m)[:, None], 0.0)
    r = (np.sign(x) * rank).sum(axis=-1) / rank.sum(axis=-1)
    pairs = np.sign(x[:, :, None] + x[:, None, :]) * (there[:, :, None] & there[:, None, :])
    own = pairs.sum(axis=2)
    without = ((own.sum(axis=-1) + np.sign(x).sum(axis=-1)) / 2)[:, None] - own
    left_out = np.where(there, without / (m * (m - 1) / 2)[:, None], 0.0)
    away = np.where(there, left_out - (left_out.sum(axis=-1) / m)[:, None], 0.0)
    v = np.maximum((m - 1) / m * (away**2).sum(axis=-1), (1 - r**2) / (m * (m + 1) / 2 - 1))
    low, high = data.bounded_ends(r, data.t_half(np.maximum(m - 1, 1), np.sqrt(v)))
    return data.at_bound(r, low, high, m)


interval(
    "Feng-Cliff with jackknife variance, rank-biserial", "rank_biserial", shapes=CHANGES, draw=moved,
    truth=true_rank_biserial, one=_rank_sizes("rank_biserial"), many=_rank_biserial_ends,
)  # fmt: skip


def true_rise(shape: str) -> float:
    """Return the chance of a rise, no change counting a half."""
    from scipy.special import ndtr

    if shape == "normal":
        return float(ndtr(0.5))
    if shape == "skewed":
        return float(np.exp(-0.5))
    values, shares = data.GRADED
    return float(shares[values > 0].sum() + shares[values == 0].sum() / 2)


interval(
    "Wilson, probability of a rise", "probability_of_rise", shapes=CHANGES, draw=moved, truth=true_rise,
    one=_rank_sizes("probability_of_rise"),
    many=lambda x: data.wilson_ends((x > 0).sum(axis=-1) + (x == 0).sum(axis=-1) / 2, x.shape[-1]),
)  # fmt: skip


# --------------------------------------------------------------------------------------------------------- shares


def counts(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return counts of n people with a property, and n."""
    return rng.binomial(n, float(shape.split()[1]), size=size), np.full(size, n)


def _wilson(count: int, n: int, rng: Any) -> Any:
    from outcomes.intervals import wilson_interval

    return wilson_interval(int(count), int(n))


interval(
    "Wilson, share", "share_beyond", "rci_share", "share_important", "acceptable_share",
    shapes=("share 0.5", "share 0.2", "share 0.05"), draw=counts, truth=lambda shape: float(shape.split()[1]),
    one=_wilson, many=data.wilson_ends,
)  # fmt: skip


# ------------------------------------------------------------------------------------------- tests of no change


def _sign_flip(x: np.ndarray, rng: np.random.Generator) -> float:
    from outcomes.change import sign_flip_test

    return sign_flip_test(x, rng=rng).test.p


def _signed_rank(x: np.ndarray, rng: Any) -> Any:
    from outcomes.change import wilcoxon_signed_rank

    return wilcoxon_signed_rank(x).test.p


no_change("sign flip", shapes=("normal", "long tails", "ordinal"), draw=data.null_changes, one=_sign_flip)
no_change("Wilcoxon signed rank", shapes=("normal", "long tails", "ordinal"), draw=data.null_changes, one=_signed_rank)
