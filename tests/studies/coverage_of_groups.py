"""Studies of the intervals of a difference between two groups (n people in each) and of important change."""

from __future__ import annotations

from functools import cache, partial
from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import NEAR_AND_FAR, Data
from coverage_of_changes import noncentral_ends
from coverage_registry import RESAMPLED, interval, no_change

APART = 0.5


def two_changes(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes of two groups, the second spreading twice as much; means 0.5 apart."""
    return data.noise(rng, (size, n), shape) + APART, 2 * data.noise(rng, (size, n), shape)


def _difference(spread: str) -> Any:
    def one(a: np.ndarray, b: np.ndarray, rng: Any) -> Any:
        from outcomes.change import difference_of_changes

        return difference_of_changes(a, b, unit="cm", spread=spread).difference.interval  # type: ignore[arg-type]

    return one


def _difference_ends(spread: str, a: np.ndarray, b: np.ndarray) -> Any:
    n = a.shape[-1]
    first, second = a.var(axis=-1, ddof=1) / n, b.var(axis=-1, ddof=1) / n
    df = 2.0 * n - 2 if spread == "equal" else (first + second) ** 2 * (n - 1) / (first**2 + second**2)
    d, half = a.mean(axis=-1) - b.mean(axis=-1), data.t_half(df, np.sqrt(first + second))
    return d - half, d + half


for _spread, _label, _id in (
    ("unequal", "Welch t, difference of mean changes", "change_difference"),
    ("equal", "t with one spread, difference of mean changes", "change_difference_pooled"),
):
    interval(
        _label, _id, shapes=NEAR_AND_FAR, draw=two_changes, groups=2, truth=lambda shape: APART,
        one=_difference(_spread), many=partial(_difference_ends, _spread),
    )  # fmt: skip


# ------------------------------------------------------------------------------------------- analysis of covariance


def two_visits(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return first and later values of two groups: slope 0.7, groups 0.5 apart; "unequal": the second spreads twice."""
    spread = 2.0 if shape == "unequal" else 1.0
    out = []
    for lift, wide in ((APART, 1.0), (0.0, spread)):
        before = data.noise(rng, (size, n), shape)
        out += [before, 0.7 * before + lift + wide * data.noise(rng, (size, n), shape)]
    return tuple(out)


def _covariance(spread: str, what: str) -> Any:
    def one(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray, rng: Any) -> Any:
        from outcomes.change import analysis_of_covariance

        groups = ["trained"] * len(a) + ["waiting"] * len(c)
        found = analysis_of_covariance(
            np.concatenate([a, c]), np.concatenate([b, d]), groups, reference="waiting", unit="cm",
            spread=spread,  # type: ignore[arg-type]
        )  # fmt: skip
        return (found.slope if what == "slope" else found.difference["trained"]).interval

    return one


def _covariance_ends(spread: str, what: str, *values: np.ndarray) -> Any:
    a, b, c, d = values
    n = a.shape[-1]
    x, y = np.concatenate([a, c], axis=-1), np.concatenate([b, d], axis=-1)
    group = np.broadcast_to(np.repeat([1.0, 0.0], n), x.shape)
    design = np.stack([np.ones_like(x), x - x.mean(axis=-1, keepdims=True), group], axis=-1)
    inverse = np.linalg.inv(np.einsum("sni,snj->sij", design, design))
    beta = np.einsum("sij,snj,sn->si", inverse, design, y)
    left = y - np.einsum("sni,si->sn", design, beta)
    if spread == "equal":
        covariance = inverse * ((left**2).sum(axis=-1) / (2 * n - 3))[:, None, None]
    else:
        leverage = np.einsum("sni,sij,snj->sn", design, inverse, design)
        half = np.einsum("sij,snj,sn->sni", inverse, design, left / (1 - leverage))
        covariance = np.einsum("sni,snj->sij", half, half)
    which = 1 if what == "slope" else 2
    half = data.t_half(2 * n - 3, np.sqrt(covariance[:, which, which]))
    return beta[:, which] - half, beta[:, which] + half


for _spread, _what, _label, _id, _truth in (
    ("equal", "difference", "t, ANCOVA difference", "ancova", APART),
    ("hc3", "difference", "t with HC3, ANCOVA difference", "ancova_hc3", APART),
    ("equal", "slope", "t, ANCOVA slope", "ancova_slope", 0.7),
):
    interval(
        _label, _id, shapes=("normal", "unequal", "skewed"), draw=two_visits, groups=2,
        truth=lambda shape, value=_truth: value, one=_covariance(_spread, _what),
        many=partial(_covariance_ends, _spread, _what),
    )  # fmt: skip


# ----------------------------------------------------------------------------------------------------- effect sizes


def _sized(field: str) -> Any:
    def one(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray, rng: np.random.Generator) -> Any:
        from outcomes.change import pre_post_control

        found = getattr(pre_post_control(a, b, c, d, resamples=1_000, rng=rng), field)
        return None if found is None else found.interval

    return one


def _plain_size(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray, rng: np.random.Generator) -> Any:
    from unittest.mock import patch

    from outcomes.change import group_changes

    # without the bootstrap, which the same function does from 20 people
    with patch.object(group_changes, "FROM_PEOPLE", 10**9):
        return group_changes.pre_post_control(a, b, c, d, rng=rng).d_ppc2.interval


def _size_ends(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> Any:
    from outcomes.change.group_changes import _size
    from outcomes.change.sizes import hedges_correction

    n = a.shape[-1]
    m, q, factor = 2 * n - 2, 2 / n, hedges_correction(2 * n - 2)
    own = [x - x.mean(axis=-1, keepdims=True) for x in (a, b, c, d)]
    xy = (own[0] * own[1] + own[2] * own[3]).sum(axis=-1)
    r = xy / np.sqrt((own[0] ** 2 + own[2] ** 2).sum(axis=-1) * (own[1] ** 2 + own[3] ** 2).sum(axis=-1))
    size = _size(a, b, c, d) * factor
    variance = 2 * factor**2 * (1 - r) * q * m / (m - 2) * (1 + size**2 / (2 * (1 - r) * q)) - size**2
    half = data.Z * np.sqrt(np.where(variance > 0, variance, np.nan))
    return size - half, size + half


def alike_visits(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return two groups whose visits have one variance and a correlation of 0.8; the first rises by 0.5 more."""
    out: list[np.ndarray] = []
    for lift in (APART, 0.0):
        (scores,) = data.repeats(rng, n, shape, size)
        scores /= np.sqrt(data.PEOPLE**2 + data.ERROR**2)
        out += [scores[..., 0], scores[..., 1] + lift]
    return tuple(out)


interval(
    "Morris variance, d_ppc2", "d_ppc2", shapes=NEAR_AND_FAR, draw=alike_visits, groups=2, truth=lambda shape: APART,
    one=_plain_size, many=_size_ends,
)  # fmt: skip
interval(
    "BCa bootstrap, d_ppc2", "d_ppc2_bootstrap", shapes=NEAR_AND_FAR, draw=alike_visits, groups=2,
    truth=lambda shape: APART, one=_sized("d_ppc2_bootstrap"), smallest=24,
)  # fmt: skip


def two_groups(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return values of two groups of one spread, 0.5 apart."""
    return data.noise(rng, (size, n), shape) + APART, data.noise(rng, (size, n), shape)


def _d(field: str) -> Any:
    def one(a: np.ndarray, b: np.ndarray, rng: Any) -> Any:
        from outcomes.change import two_group_effect_sizes

        return getattr(two_group_effect_sizes(a, b), field).interval

    return one


def _d_ends(field: str, a: np.ndarray, b: np.ndarray) -> Any:
    n = a.shape[-1]
    second = b.var(axis=-1, ddof=1)
    spread, df = (second, n - 1) if field == "d_second" else ((a.var(axis=-1, ddof=1) + second) / 2, 2 * n - 2)
    root = np.sqrt(n / 2)
    low, high = noncentral_ends(root * (a.mean(axis=-1) - b.mean(axis=-1)) / np.sqrt(spread), df)
    return low / root, high / root


for _field, _ids in (("d_s", ("d_s", "g_s")), ("d_second", ("d_second", "g_second"))):
    interval(
        f"noncentral t, {_field}", *_ids, shapes=NEAR_AND_FAR, draw=two_groups, groups=2, truth=lambda shape: APART,
        one=_d(_field), many=partial(_d_ends, _field),
    )  # fmt: skip


# --------------------------------------------------------------------------------------------------- shares and ranks


def two_shares(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return counts of two groups and their people."""
    shares = _shares(shape)
    return (*(rng.binomial(n, share, size=size) for share in shares), np.full(size, n))


def _shares(shape: str) -> tuple[float, float]:
    first, second = (float(part) for part in shape.removeprefix("shares ").split(", "))
    return first, second


def _newcombe(count: int, other: int, n: int, rng: Any) -> Any:
    from outcomes.intervals import newcombe_interval

    return newcombe_interval(int(count), int(n), int(other), int(n))


def _newcombe_ends(count: np.ndarray, other: np.ndarray, n: np.ndarray) -> Any:
    (l1, u1), (l2, u2) = data.wilson_ends(count, n), data.wilson_ends(other, n)
    p, q = count / n, other / n
    return p - q - np.hypot(p - l1, u2 - q), p - q + np.hypot(u1 - p, q - l2)


def _true_difference(shape: str) -> float:
    first, second = _shares(shape)
    return first - second


interval(
    "Newcombe, difference of shares and number needed", "share_difference", "number_needed_end",
    shapes=("shares 0.5, 0.3", "shares 0.2, 0.05"), draw=two_shares, groups=2, truth=_true_difference, one=_newcombe,
    many=_newcombe_ends,
)  # fmt: skip

OTHER_GRADES = np.array([0.2, 0.3, 0.3, 0.15, 0.05])


def ranked_groups(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return two groups 0.5 apart, or of grades of which the first has the higher ones."""
    if shape == "ordinal":
        first = rng.choice(data.GRADED[0], size=(size, n), p=data.GRADED[1])
        return first, rng.choice(data.GRADED[0], size=(size, n), p=OTHER_GRADES)
    return two_groups(rng, n, shape, size)


@cache
def true_dominance(shape: str) -> float:
    """Return P(first > second) - P(first < second)."""
    from scipy.special import ndtr

    if shape == "normal":
        return float(2 * ndtr(APART / np.sqrt(2)) - 1)
    if shape == "skewed":
        return float(1 - np.exp(-APART))
    sign = np.sign(np.subtract.outer(data.GRADED[0], data.GRADED[0]))
    return float(data.GRADED[1] @ sign @ OTHER_GRADES)


def _cliff(a: np.ndarray, b: np.ndarray, rng: Any) -> Any:
    from outcomes.change.rank_sizes import _feng_cliff

    above = np.sign(a[:, None] - b[None, :])
    return _feng_cliff(above, float(above.mean()), 0.95)


def _cliff_ends(a: np.ndarray, b: np.ndarray) -> Any:
    n = a.shape[-1]
    above = np.sign(a[:, :, None] - b[:, None, :])
    d = above.mean(axis=(1, 2))
    rows, columns = above.mean(axis=2) - d[:, None], above.mean(axis=1) - d[:, None]
    whole = ((above - d[:, None, None]) ** 2).sum(axis=(1, 2))
    variance = (n * n * ((rows**2).sum(axis=-1) + (columns**2).sum(axis=-1)) - whole) / (n * n * (n - 1) ** 2)
    half = data.Z * np.sqrt(np.maximum(variance, (1 - d * d) / (n * n - 1)))
    return data.at_bound(d, *data.bounded_ends(d, half), n)


interval(
    "Feng-Cliff, Cliff's delta", "cliff_dominance", "common_language", shapes=data.CHANGES, draw=ranked_groups,
    groups=2, truth=true_dominance, one=_cliff, many=_cliff_ends,
)  # fmt: skip


def null_groups(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return two groups that do not differ."""
    if shape == "ordinal":
        a, b = (rng.choice(data.GRADED[0], size=(size, n), p=data.GRADED[1]) for _ in range(2))
        return a, b
    return data.noise(rng, (size, n), shape), data.noise(rng, (size, n), shape)


def _rank_sum(a: np.ndarray, b: np.ndarray, rng: Any) -> float:
    from outcomes.change.rank_sizes import _rank_sum as test

    return test(np.concatenate([a, b]), len(a), None)[0].p


def _rank_sum_p(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return 0 where p is at most 5 %, else 1."""
    n = a.shape[-1]
    order = np.argsort(np.concatenate([a, b], axis=-1), axis=-1)
    sums = ((order < n) * np.arange(1, 2 * n + 1)).sum(axis=-1)
    middle = n * (2 * n + 1) / 2
    return np.where(np.abs(sums - middle) >= middle - _critical(n), 0.0, 1.0)


@cache
def _critical(n: int) -> int:
    """Return the largest rank sum on the low side that is found at 5 %, by bisection on the package's own p."""
    lowest, highest = n * (n + 1) // 2, n * (2 * n + 1) // 2
    while highest - lowest > 1:
        total = (lowest + highest) // 2
        moves = np.clip(total - n * (n + 1) // 2 - n * np.arange(n), 0, n)[::-1]
        chosen = np.arange(1, n + 1) + moves
        others = np.setdiff1d(np.arange(1, 2 * n + 1), chosen)
        if _rank_sum(chosen.astype(float), others.astype(float), None) <= 0.05:
            lowest = total
        else:
            highest = total
    return lowest


# ------------------------------------------------------------------------------------------------- important change


def anchored(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes and whether each person calls the change important: the more often the larger it is."""
    x = data.noise(rng, (size, n), shape) + 1.0
    return x, x + rng.normal(size=(size, n)) > 1.0


@cache
def population(shape: str) -> Data:
    """Return changes (upward) and ratings of 2,000,000 people."""
    x, flag = anchored(np.random.default_rng(20261125), 2_000_000, shape, 1)
    order = np.argsort(x[0])
    return x[0][order], flag[0][order]


@cache
def true_area(shape: str) -> float:
    """Return the area under the ROC curve of `population`."""
    x, flag = population(shape)
    yes = int(flag.sum())
    return float((np.flatnonzero(flag) + 1).sum() - yes * (yes + 1) / 2) / (yes * (len(x) - yes))


def _area(x: np.ndarray, flag: np.ndarray, rng: Any) -> Any:
    from outcomes.change.roc import area_interval

    return area_interval(x, flag)


def _area_ends(x: np.ndarray, flag: np.ndarray) -> Any:
    above = np.sign(x[:, :, None] - x[:, None, :]) / 2 + 0.5
    pair = flag[:, :, None] & ~flag[:, None, :]
    yes, no = flag.sum(axis=-1), (~flag).sum(axis=-1)
    won = np.where(pair, above, 0.0)
    value = won.sum(axis=(1, 2)) / (yes * no)
    rows, columns = won.sum(axis=2) / no[:, None], won.sum(axis=1) / yes[:, None]
    first = (np.where(flag, rows - value[:, None], 0) ** 2).sum(axis=-1) / (yes - 1) / yes
    second = (np.where(~flag, columns - value[:, None], 0) ** 2).sum(axis=-1) / (no - 1) / no
    half = data.Z * np.sqrt(first + second) / (value * (1 - value))
    ends = [1 / (1 + (1 - value) / value * np.exp(-side * half)) for side in (-1, 1)]
    few = np.minimum(yes, no)
    low, high = data.at_bound(2 * value - 1, *(2 * end - 1 for end in ends), few)
    return tuple(np.where(few >= 2, (end + 1) / 2, np.nan) for end in (low, high))


interval(
    "DeLong on the logit scale, ROC area", "roc_area", shapes=NEAR_AND_FAR, draw=anchored, truth=true_area, one=_area,
    many=_area_ends,
)  # fmt: skip


AREAS = (1.0, 0.5)
"""Distance of the flagged people from the others by each of two quantities, which correlate by 0.5 within a kind."""


def two_quantities(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return two quantities of n people, every other one flagged: normal values, or grades of them."""
    flag = np.broadcast_to(np.arange(n) % 2 == 0, (size, n))
    common = rng.normal(size=(size, n))
    both = [np.sqrt(0.5) * (common + rng.normal(size=(size, n))) + apart * flag for apart in AREAS]
    if shape == "ordinal":
        both = [np.searchsorted(data.CUTS, one).astype(float) for one in both]
    return both[0], both[1], flag


def true_difference(shape: str) -> float:
    """Return the difference of the true areas, ties counting a half."""
    from scipy.special import ndtr

    ends = np.array([-np.inf, *data.CUTS, np.inf])
    found = []
    for apart in AREAS:
        joint = np.outer(np.diff(ndtr(ends)), np.diff(ndtr(ends - apart)))
        graded = float(np.triu(joint, 1).sum() + np.trace(joint) / 2)
        found.append(graded if shape == "ordinal" else float(ndtr(apart / np.sqrt(2))))
    return found[0] - found[1]


def _area_difference(a: np.ndarray, b: np.ndarray, flag: np.ndarray, rng: Any) -> Any:
    from outcomes.change import compare_areas

    return compare_areas(a, b, flag).difference.interval


def _area_difference_ends(a: np.ndarray, b: np.ndarray, flag: np.ndarray) -> Any:
    yes, no = flag[0], ~flag[0]
    above = [(np.sign(x[:, yes, None] - x[:, None, no]) + 1) / 2 for x in (a, b)]
    apart = above[0] - above[1]
    placed = [apart.mean(axis=axis) for axis in (2, 1)]
    spread = np.sqrt(sum(one.var(axis=1, ddof=1) / one.shape[1] for one in placed))
    value, half = apart.mean(axis=(1, 2)), data.Z * np.where(spread > 1e-12, spread, np.nan)
    return np.maximum(value - half, -1), np.minimum(value + half, 1)


interval(
    "DeLong, difference of two ROC areas", "roc_area_difference", shapes=("normal", "ordinal"), draw=two_quantities,
    truth=true_difference, one=_area_difference, many=_area_difference_ends,
)  # fmt: skip


def _at_cut(kind: str, shape: str) -> Any:
    def one(x: np.ndarray, flag: np.ndarray, rng: Any) -> Any:
        from outcomes.change.roc import best_cuts
        from outcomes.intervals import wilson_interval

        yes, no = int(flag.sum()), int((~flag).sum())
        if min(yes, no) < 5:
            return None
        cut, sensitivity, specificity, _ = best_cuts(x, flag)
        values, rated = population(shape)
        reach = int(np.searchsorted(values, cut))
        if kind == "sensitivity":
            truth = float(rated[reach:].sum() / rated.sum())
            return wilson_interval(round(sensitivity * yes), yes), truth
        truth = float((~rated[:reach]).sum() / (~rated).sum())
        return wilson_interval(round(specificity * no), no), truth

    return one


for _kind in ("sensitivity", "specificity"):
    interval(
        f"Wilson, {_kind} at the best cut-point", f"roc_{_kind}", shapes=("normal",), draw=anchored,
        one=_at_cut(_kind, "normal"), smallest=24,
    )  # fmt: skip


@cache
def true_important(name: str, shape: str) -> float:
    """Return what an important change of very many people is, by `population`."""
    from scipy.ndimage import uniform_filter1d

    from outcomes.change.anchored import _all_ways

    if name not in ("roc", "corner"):
        x, flag = population(shape)
        step = slice(None, None, 10)
        return float(_all_ways(x[None, step], flag[None, step], "youden")[name][0])
    x, flag = population(shape)
    kept, missed = np.cumsum(~flag) / (~flag).sum(), np.cumsum(flag) / flag.sum()
    gain = kept - missed if name == "roc" else -((1 - kept) ** 2) - missed**2
    return float(x[np.argmax(uniform_filter1d(gain, 20_001))])


def _important(name: str) -> Any:
    def one(x: np.ndarray, flag: np.ndarray, rng: np.random.Generator) -> Any:
        from outcomes.change import important_change

        cut: Any = "corner" if name == "corner" else "youden"
        found = important_change(x, flag, unit="cm", cut=cut, resamples=1_000, rng=rng)
        found = getattr(found, "roc" if name == "corner" else name)
        return None if found is None else found.interval

    return one


for _name in ("roc", "corner", "predicted", "adjusted"):
    interval(
        f"percentile bootstrap, important change, {_name}", f"important_{_name}", shapes=NEAR_AND_FAR, draw=anchored,
        truth=partial(true_important, _name), one=_important(_name), replicates=3_000, why=RESAMPLED, smallest=24,
    )  # fmt: skip


# ------------------------------------------------------------------------------------------ tests of no difference

no_change("rank sum", shapes=("normal", "skewed"), draw=null_groups, groups=2, one=_rank_sum, many=_rank_sum_p)
no_change(
    "rank sum, grades", shapes=("ordinal",), draw=null_groups, groups=2, one=_rank_sum
)  # fmt: skip
