"""Studies of the intervals of reliability, measurement error and agreement."""

from __future__ import annotations

from functools import cache, partial
from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import ERROR, NEAR_AND_FAR, PEOPLE, RELIABILITY, SHIFT, Data
from coverage_registry import MOST, RESAMPLED, interval

REPEATS = ("normal", "shifted", "skewed")

# ------------------------------------------------------------------------------------------- intraclass correlations


def _icc(name: str) -> Any:
    def one(scores: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import intraclass_correlations

        found = getattr(intraclass_correlations(scores), name)
        return None if found is None else found.interval

    return one


def _true_icc(name: str, shape: str) -> float:
    error = ERROR**2 + (0.0 if name == "icc_c_1" else SHIFT.get(shape, 0.0))
    return PEOPLE**2 / (PEOPLE**2 + error)


def _by_f(people: np.ndarray, error: np.ndarray, df1: int, df2: int, k: int) -> Any:
    f = people / error
    low, high = f / data.f_upper(df1, df2), f * data.f_upper(df2, df1)
    return (low - 1) / (low + k - 1), (high - 1) / (high + k - 1)


def _icc_ends(name: str, scores: np.ndarray) -> Any:
    from outcomes.reliability.variance import mean_squares

    m = mean_squares(scores)
    n, k, p, o, e = m.n, m.k, m.people, m.occasions, m.error
    if name == "icc_1_1":
        return _by_f(p, m.within, m.df_people, m.df_within, k)
    if name == "icc_c_1":
        return _by_f(p, e, m.df_people, m.df_error, k)
    icc = (p - e) / (p + (k - 1) * e + k * (o - e) / n)
    first, second = k * icc * o, (n * (1 - icc) + k * icc * (n - 1)) * e
    v = (first + second) ** 2 / (first**2 / m.df_occasions + second**2 / m.df_error)
    rest = k * o + (k * n - k - n) * e
    high, low = data.f_upper(n - 1, v), data.f_upper(v, n - 1)
    lower, upper = n * (p / high - e) / (rest + n * p / high), n * (low * p - e) / (rest + n * low * p)
    between = (lower <= icc) & (icc <= upper)
    return np.where(between, lower, np.nan), np.where(between, upper, np.nan)


for _name, _label, _shapes in (
    ("icc_1_1", "ICC(1,1)", NEAR_AND_FAR),
    ("icc_a_1", "ICC(A,1)", REPEATS),
    ("icc_c_1", "ICC(C,1)", REPEATS),
):
    interval(
        f"F, {_label}", _name, _name.replace("_1", "_k") if _name != "icc_1_1" else "icc_1_k",
        shapes=_shapes, draw=data.repeats, truth=partial(_true_icc, _name), one=_icc(_name),
        many=partial(_icc_ends, _name),
    )  # fmt: skip


def _resampled(statistic: str, scores: np.ndarray, rng: np.random.Generator) -> Any:
    from outcomes.reliability import participant_bootstrap

    return participant_bootstrap(scores, statistic, resamples=1_000, rng=rng).interval


for _name, _label, _ids, _true in (
    ("icc_c_1", "ICC(C,1)", ("participant_bootstrap",), RELIABILITY),
    ("icc_a_1", "ICC(A,1)", (), RELIABILITY),
    ("standard_error_agreement", "standard error of agreement", ("participant_bootstrap_spread",), ERROR),
):
    interval(
        f"expanded bootstrap over people, {_label}", *_ids, shapes=NEAR_AND_FAR, draw=data.repeats,
        truth=lambda shape, value=_true: value, one=partial(_resampled, _name),
        replicates=MOST if _name == "icc_c_1" else 2_000, why=RESAMPLED,
    )  # fmt: skip


def gaps(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return scores on two occasions, a quarter of the people without the second."""
    (scores,) = data.repeats(rng, n, shape, size)
    scores[:, : n // 4, 1] = np.nan
    return (scores,)


def _incomplete(scores: np.ndarray, rng: np.random.Generator) -> Any:
    from outcomes.reliability import incomplete_intraclass_correlations

    found = incomplete_intraclass_correlations(scores).icc_a_1
    return None if found is None else found.interval


def _incomplete_ends(scores: np.ndarray) -> Any:
    from outcomes.reliability.components import ROUGH, person_parts, variance_components

    n = scores.shape[1]
    parts = np.stack([person_parts(one - np.nanmean(one)) for one in scores])
    total = parts.sum(axis=1, keepdims=True)

    def scaled(sums: np.ndarray, **options: int) -> np.ndarray:
        found = variance_components(sums, 2, **options)
        r = found.people / (found.people + found.occasions + found.error)
        return np.arctanh(np.where(np.abs(r) < 1, r, np.nan))

    middle, others = scaled(total[:, 0]), scaled(total - parts, steps=ROUGH)
    half = data.t_half(n - 1, np.sqrt((n - 1) * others.var(axis=1)))
    return np.tanh(middle - half), np.tanh(middle + half)


interval(
    "jackknife on Fisher's scale, ICC(A,1) with gaps",
    *(f"icc_{form}_incomplete" for form in ("a_1", "c_1", "1_1", "a_k", "c_k", "1_k")),
    shapes=REPEATS, draw=gaps, truth=partial(_true_icc, "icc_a_1"), one=_incomplete, many=_incomplete_ends,
)  # fmt: skip


# ------------------------------------------------------------------------------------------------ measurement error


def _error(name: str) -> Any:
    def one(scores: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import measurement_error

        return getattr(measurement_error(scores, unit="cm"), name).interval

    return one


def _true_error(name: str, shape: str) -> float:
    return float(np.sqrt(ERROR**2 + (0.0 if name == "standard_error_consistency" else SHIFT.get(shape, 0.0))))


def _error_ends(name: str, scores: np.ndarray) -> Any:
    from outcomes.reliability.variance import mean_squares

    m = mean_squares(scores)
    if name == "within_person_standard_deviation":
        return data.chi_ends(np.sqrt(m.within), m.df_within)
    if name == "standard_error_consistency":
        return data.chi_ends(np.sqrt(m.error), m.df_error)
    o, e, n = m.occasions, m.error, m.n
    first, second = o / n, e * (n - 1) / n
    df = (first + second) ** 2 / (first**2 / m.df_occasions + second**2 / m.df_error)
    return data.chi_ends(np.sqrt(e + np.maximum(0.0, (o - e) / n)), np.where(o <= e, m.df_error, df))


for _name, _label, _ids in (
    ("standard_error_consistency", "standard error of consistency", ("mdc95_consistency",)),
    (
        "standard_error_agreement", "standard error of agreement and MDC",
        ("mdc95", "mdc90", "percent_of_mean", "mdc95_trials", "mdc95_group", "expected_by_error", "one_standard_error"),
    ),
    ("within_person_standard_deviation", "within-person standard deviation", ()),
):  # fmt: skip
    interval(
        f"chi-square, {_label}", _name, *_ids, shapes=REPEATS, draw=data.repeats, truth=partial(_true_error, _name),
        one=_error(_name), many=partial(_error_ends, _name),
    )  # fmt: skip


def _precision(scores: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import precision_error

    return precision_error(scores, unit="cm").precision_error.interval


interval(
    "chi-square, precision error", "precision_error", "least_significant_change", "least_significant_change_exact",
    shapes=NEAR_AND_FAR, draw=data.repeats, truth=lambda shape: ERROR, one=_precision,
    many=partial(_error_ends, "within_person_standard_deviation"),
)  # fmt: skip


def proportional(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return scores whose error grows with them: sizes from 10 to 50, error of 5 % of the size."""
    true = rng.uniform(10, 50, size=(size, n, 1))
    return (true * (1 + 0.05 * data.noise(rng, (size, n, 2), shape)),)


def _precision_percent(scores: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import precision_error

    found = precision_error(scores, unit="cm", scale="ratio").precision_error_percent
    return None if found is None else found.interval


def _precision_percent_ends(scores: np.ndarray) -> Any:
    share = scores.var(axis=-1, ddof=1) / scores.mean(axis=-1) ** 2
    return data.chi_ends(100 * np.sqrt(share.mean(axis=-1)), scores.shape[1])


@cache
def true_percent(shape: str) -> float:
    """Return the root mean square of very many people's coefficients of variation, in percent, by 4,000,000 of them."""
    (scores,) = proportional(np.random.default_rng(1), 4_000_000, shape, 1)
    return float(100 * np.sqrt((scores.var(axis=-1, ddof=1) / scores.mean(axis=-1) ** 2).mean()))


interval(
    "chi-square, precision error in percent", "precision_error_percent", shapes=NEAR_AND_FAR, draw=proportional,
    truth=true_percent, one=_precision_percent, many=_precision_percent_ends,
)  # fmt: skip


def ratios(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return scores above 0 whose logarithms have an error of 0.1."""
    return (np.exp(rng.normal(3, 0.3, size=(size, n, 1)) + 0.1 * data.noise(rng, (size, n, 2), shape)),)


def _variation(scores: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import coefficient_of_variation

    return coefficient_of_variation(scores).interval


def _variation_ends(scores: np.ndarray) -> Any:
    low, high = _error_ends("standard_error_consistency", np.log(scores))
    return 100 * np.expm1(low), 100 * np.expm1(high)


interval(
    "chi-square, coefficient of variation", "coefficient_of_variation", shapes=NEAR_AND_FAR, draw=ratios,
    truth=lambda shape: 100 * float(np.expm1(0.1)), one=_variation, many=_variation_ends,
)  # fmt: skip


def _deviation(first: np.ndarray, second: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import limits_of_agreement

    return limits_of_agreement(first, second, unit="cm").standard_deviation.interval


interval(
    "chi-square, standard deviation of differences", "agreement_deviation", "agreement_deviation_log", "half_sd",
    shapes=NEAR_AND_FAR, draw=data.pairs, truth=lambda shape: float(np.sqrt(2)) * ERROR, one=_deviation,
    many=lambda a, b: data.chi_ends((b - a).std(axis=-1, ddof=1), a.shape[-1] - 1),
)  # fmt: skip


# ------------------------------------------------------------------------------------------------ concordance, alpha


def _concordance(scores: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import concordance_correlation

    return concordance_correlation(scores).concordance.interval


def _concordance_ends(scores: np.ndarray) -> Any:
    n = scores.shape[1]
    (s1, s2), r = scores.std(axis=1).T, data.correlation(scores[..., 0], scores[..., 1])
    shift = scores[..., 0].mean(axis=1) - scores[..., 1].mean(axis=1)
    bias, u2 = 2 * s1 * s2 / (s1**2 + s2**2 + shift**2), shift**2 / (s1 * s2)
    p = r * bias
    variance = bias**2 * (1 - r**2) * (1 - p**2) + 2 * bias * p**2 * (1 - p) * u2 - (bias * p * u2) ** 2 / 2
    return data.fisher_ends(p, np.where(variance > 0, variance, np.nan) / (n - 2) / (1 - p**2) ** 2, df=n - 1)


interval(
    "Fisher z with t, concordance", "concordance", shapes=NEAR_AND_FAR, draw=data.repeats,
    truth=lambda shape: RELIABILITY, one=_concordance, many=_concordance_ends,
)  # fmt: skip


def _alpha(items: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import cronbach_alpha

    return cronbach_alpha(items).alpha.interval


def _alpha_ends(items: np.ndarray) -> Any:
    n, k = items.shape[1:]
    value = k / (k - 1) * (1 - items.var(axis=1, ddof=1).sum(axis=-1) / items.sum(axis=-1).var(axis=1, ddof=1))
    df = n - 1, (n - 1) * (k - 1)
    return 1 - (1 - value) * data.f_upper(*df), 1 - (1 - value) / data.f_upper(df[1], df[0])


TOTAL = 4 * PEOPLE**2 / (4 * PEOPLE**2 + ERROR**2)
interval(
    "Feldt F, Cronbach's alpha", "cronbach_alpha", shapes=NEAR_AND_FAR, draw=partial(data.repeats, k=4),
    truth=lambda shape: TOTAL, one=_alpha, many=_alpha_ends,
)  # fmt: skip


def _omega(items: np.ndarray, rng: np.random.Generator) -> Any:
    from outcomes.reliability import mcdonald_omega

    return mcdonald_omega(items, resamples=1_000, rng=rng).omega["total"].interval


interval(
    "percentile bootstrap, omega", "mcdonald_omega", shapes=NEAR_AND_FAR, draw=partial(data.repeats, k=4),
    truth=lambda shape: TOTAL, one=_omega, replicates=500, why="each replicate fits a factor to 1,000 resamples",
)  # fmt: skip


# ------------------------------------------------------------------------------------------------ limits of agreement


def _limit(how: str) -> Any:
    def one(first: np.ndarray, second: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import limits_of_agreement

        return limits_of_agreement(first, second, unit="cm", interval=how).upper.interval  # type: ignore[arg-type]

    return one


@cache
def _steps(n: int, how: str) -> tuple[float, float]:
    from outcomes.intervals import t_quantile
    from outcomes.reliability.limits import _ends

    return _ends(n, 1.96, t_quantile(0.975, n - 1), how, 0.95)  # type: ignore[arg-type]


def _limit_ends(how: str, first: np.ndarray, second: np.ndarray) -> Any:
    d = second - first
    mean, s = d.mean(axis=-1), d.std(axis=-1, ddof=1)
    inner, outer = _steps(d.shape[-1], how)
    return mean + inner * s, mean + outer * s


UPPER = 1.96 * float(np.sqrt(2)) * ERROR
for _label, _how, _ids in (
    ("1999 formula", "approximate", ()),
    ("1986 formula", "1986", ()),
    ("exact", "exact", ("limit_of_agreement", "limit_of_agreement_ratio")),
):
    interval(
        f"{_label}, limit of agreement", *_ids, shapes=NEAR_AND_FAR, draw=data.pairs, truth=lambda shape: UPPER,
        one=_limit(_how), many=partial(_limit_ends, _how),
    )  # fmt: skip


def replicates(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return two readings by one method and three by another, with a difference of each person's own."""
    own, true = 0.5 * rng.normal(size=(size, n, 1)), PEOPLE * rng.normal(size=(size, n, 1))
    return true + data.noise(rng, (size, n, 2), shape), true + own + data.noise(rng, (size, n, 3), shape)


def _replicated(field: str) -> Any:
    def one(first: np.ndarray, second: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import replicate_limits_of_agreement

        return getattr(replicate_limits_of_agreement(first, second, unit="cm"), field).interval

    return one


def _recovered(parts: list[tuple[float, np.ndarray, float]]) -> Any:
    """Return low and high end of a sum of variances (weight, mean square, degrees of freedom)."""
    from scipy.special import chdtri

    total = sum(w * v for w, v, _ in parts)
    below = sum((w * v * (1 - df / chdtri(df, 0.025))) ** 2 for w, v, df in parts)
    above = sum((w * v * (df / chdtri(df, 0.975) - 1)) ** 2 for w, v, df in parts)
    return total - np.sqrt(below), total + np.sqrt(above)


def _around(bias: np.ndarray, variance: np.ndarray, parts: list[tuple[float, np.ndarray, float]], n: int) -> Any:
    low, high = _recovered(parts)
    s, low, high = np.sqrt(variance), np.sqrt(np.maximum(0.0, low)), np.sqrt(high)
    low, high = np.minimum(low, s), np.maximum(high, s)
    half = data.t_half(n - 1, np.sqrt(parts[0][1] / n))
    upper = bias + 1.96 * s
    return upper - np.hypot(half, 1.96 * (s - low)), upper + np.hypot(half, 1.96 * (high - s)), low, high


def _replicated_ends(field: str, first: np.ndarray, second: np.ndarray) -> Any:
    n = first.shape[1]
    d = second.mean(axis=-1) - first.mean(axis=-1)
    parts = [(1.0, d.var(axis=-1, ddof=1), n - 1.0)]
    for x in (first, second):
        m = x.shape[-1]
        parts.append((1 - 1 / m, x.var(axis=-1, ddof=1).mean(axis=-1), n * (m - 1.0)))
    low, high, *spread = _around(d.mean(axis=-1), sum(w * v for w, v, _ in parts), parts, n)
    return (low, high) if field == "upper" else tuple(spread)


OF_SINGLE = float(np.sqrt(0.25 + 2))
for _field, _label, _id, _truth in (
    ("upper", "limit from replicates", "limit_of_agreement_replicates", 1.96 * OF_SINGLE),
    ("standard_deviation", "standard deviation from replicates", "agreement_deviation_replicates", OF_SINGLE),
):
    interval(
        f"recovered variances, {_label}", _id, shapes=NEAR_AND_FAR, draw=replicates,
        truth=lambda shape, value=_truth: value, one=_replicated(_field), many=partial(_replicated_ends, _field),
    )  # fmt: skip


def varying(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return three pairs of readings of each person whose true value varies, of a third of the people two pairs."""
    first = PEOPLE * rng.normal(size=(size, n, 3))
    second = first + 0.5 * rng.normal(size=(size, n, 1)) + data.noise(rng, (size, n, 3), shape)
    first[:, : n // 3, 2] = second[:, : n // 3, 2] = np.nan
    return first, second


def _varying(first: np.ndarray, second: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import varying_limits_of_agreement

    return varying_limits_of_agreement(first, second, unit="cm").upper.interval


def _varying_ends(first: np.ndarray, second: np.ndarray) -> Any:
    d = second - first
    n, m = d.shape[1], (~np.isnan(d)).sum(axis=-1)
    means = np.nanmean(d, axis=-1)
    total, df = m.sum(axis=-1), (m - 1).sum(axis=-1)
    within = np.nansum((d - means[..., None]) ** 2, axis=(-2, -1)) / df
    bias = (m * means).sum(axis=-1) / total
    square = (m * (means - bias[:, None]) ** 2).sum(axis=-1) / (n - 1)
    q = (total**2 - (m**2).sum(axis=-1)) / ((n - 1) * total)
    parts = [(1.0, means.var(axis=-1, ddof=1), n - 1.0), (1 - (1 / m).mean(axis=-1), within, df.astype(float))]
    return _around(bias, np.maximum(0.0, (square - within) / q) + within, parts, n)[:2]


interval(
    "recovered variances, limit from varying pairs", shapes=NEAR_AND_FAR, draw=varying,
    truth=lambda shape: 1.96 * float(np.sqrt(1.25)), one=_varying, many=_varying_ends,
)  # fmt: skip


# ----------------------------------------------------------------------------------------------- limits by regression

AT, GROWS = 30.0, 0.05


def growing(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return pairs of readings of sizes from 10 to 50 that differ by 5 % of the size."""
    true = rng.uniform(10, 50, size=(size, n))
    error = data.noise(rng, (2, size, n), shape) * GROWS * true / np.sqrt(2)
    return true + error[0], true + error[1]


def _by_size(field: str) -> Any:
    def one(first: np.ndarray, second: np.ndarray, rng: np.random.Generator) -> Any:
        from outcomes.reliability import limits_of_agreement_by_size

        found = getattr(limits_of_agreement_by_size(first, second, unit="cm", at=[AT]), field)
        return (found[0] if isinstance(found, tuple) else found).interval

    return one


def _by_size_ends(field: str, first: np.ndarray, second: np.ndarray) -> Any:
    from scipy.special import chdtri

    a, d = (first + second) / 2, second - first
    n, c = a.shape[-1], a - a.mean(axis=-1, keepdims=True)
    hat = 1 / n + c[:, :, None] * c[:, None, :] / (c * c).sum(axis=-1)[:, None, None]
    maker = np.eye(n) - hat
    rest = (maker @ d[..., None])[..., 0]
    kept = np.einsum("sii->si", maker)
    slopes = c / (c * c).sum(axis=-1, keepdims=True)
    line = 1 / n + (AT - a.mean(axis=-1, keepdims=True)) * slopes
    w = slopes if field.endswith("slope") else line
    q = w * w / kept
    df = (w * w).sum(axis=-1) ** 2 / np.einsum("si,sij,sj->s", q, maker**2, q)
    half = data.t_half(df, np.sqrt((q * rest**2).sum(axis=-1)))
    middle = (w * d).sum(axis=-1)
    if field in ("bias", "bias_slope"):
        return middle - half, middle + half
    size = np.abs(rest)
    c1, mean = (slopes * size).sum(axis=-1), size.mean(axis=-1)
    if field == "spread_slope":
        k = (np.pi / 2 - 1) * data.t_half(n - 2, 1.0) ** 2
        # coefficients of (c1 - x)² - k Σ w² (mean + x c)², a polynomial in x
        square = 1 - k * (w * w * c * c).sum(axis=-1)
        linear = -2 * c1 - 2 * k * mean * (w * w * c).sum(axis=-1)
        rest_of_it = c1**2 - k * mean**2 * (w * w).sum(axis=-1)
        root = np.sqrt(np.maximum(linear**2 - 4 * square * rest_of_it, 0))
        low, high = ((-linear + sign * root) / (2 * square) * np.sqrt(np.pi / 2) for sign in (-1, 1))
        return np.where(square > 0, low, -np.inf), np.where(square > 0, high, np.inf)
    s = np.sqrt(np.pi / 2) * (line * size).sum(axis=-1)
    v = np.pi / 2 * (np.pi / 2 - 1) * (line**2 * (mean[:, None] + c1[:, None] * c) ** 2).sum(axis=-1)
    df = s**2 / (2 * v)
    low, high = np.minimum(s, s * np.sqrt(df / chdtri(df, 0.025))), np.maximum(s, s * np.sqrt(df / chdtri(df, 0.975)))
    limit = middle + 1.96 * s
    ends = limit - np.hypot(half, 1.96 * (s - low)), limit + np.hypot(half, 1.96 * (high - s))
    return tuple(np.where(s > 0, end, np.nan) for end in ends)


for _field, _label, _id, _truth in (
    ("upper", "recovered variances, limit by size", "limit_by_size", 1.96 * GROWS * AT),
    ("bias", "t with HC2, bias by size", "bias_by_size", 0.0),
    ("bias_slope", "t with HC2, slope of bias on size", "bias_slope", 0.0),
    ("spread_slope", "score, slope of spread on size", "spread_slope", GROWS),
):
    interval(
        _label, _id, shapes=NEAR_AND_FAR, draw=growing, truth=lambda shape, value=_truth: value,
        one=_by_size(_field), many=partial(_by_size_ends, _field), smallest=12,
    )  # fmt: skip


# -------------------------------------------------------------------------------------------------------------- grades


def _tables(ratings: np.ndarray) -> np.ndarray:
    size = len(ratings)
    code = ratings[..., 0] * 5 + ratings[..., 1] + 25 * np.arange(size)[:, None]
    return np.bincount(code.ravel(), minlength=25 * size).reshape(size, 5, 5) / ratings.shape[1]


def _kappa(weights: str) -> Any:
    def one(ratings: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import cohen_kappa

        return cohen_kappa(*ratings.T, grades=range(5), weights=weights).kappa.interval  # type: ignore[arg-type]

    return one


def _weights(word: str) -> np.ndarray:
    from outcomes.reliability.grades import agreement_weights

    return agreement_weights(word, 5)  # type: ignore[arg-type]


def _kappa_ends(word: str, ratings: np.ndarray) -> Any:
    p, w, n = _tables(ratings), _weights(word), ratings.shape[1]
    rows, columns = p.sum(axis=2), p.sum(axis=1)
    observed, expected = (w * p).sum(axis=(1, 2)), np.einsum("si,ij,sj->s", rows, w, columns)
    value = (observed - expected) / (1 - expected)
    means = (columns @ w.T)[:, :, None] + (rows @ w)[:, None, :]
    chance, seen = (1 - expected)[:, None, None], (1 - observed)[:, None, None]
    spread = (p * (w * chance - means * seen) ** 2).sum(axis=(1, 2))
    spread -= (observed * expected - 2 * expected + observed) ** 2
    published = np.sqrt(np.maximum(0.0, spread) / n) / (1 - expected) ** 2
    weight = np.where(p > 0, w, np.nan)
    alike = np.nanmax(weight, axis=(1, 2)) - np.nanmin(weight, axis=(1, 2)) < 1e-12
    none = alike | (published < 1e-9) | (1 - expected <= 1e-12)
    left_out = np.stack([_kappa_values(np.delete(ratings, i, axis=1), w) for i in range(n)], axis=-1)
    variance = np.where(none | (np.abs(value) >= 1), np.nan, (n - 1) * left_out.var(axis=-1))
    return data.fisher_ends(value, variance / (1 - value**2) ** 2, df=n - 1)


def _kappa_values(ratings: np.ndarray, w: np.ndarray) -> np.ndarray:
    p = _tables(ratings)
    expected = np.einsum("si,ij,sj->s", p.sum(axis=2), w, p.sum(axis=1))
    rest = 1 - expected
    return ((w * p).sum(axis=(1, 2)) - expected) / np.where(rest > 1e-12, rest, np.nan)


def _true_kappa(word: str, shape: str) -> float:
    from outcomes.reliability import kappa_of_table

    return float(kappa_of_table(1e6 * data.grade_table(), weights=word).kappa.value)  # type: ignore[arg-type]


for _name, _ids in (("plain", ("kappa", "kappa_free")), ("linear", ("kappa_linear",)),
                    ("quadratic", ("kappa_quadratic",))):  # fmt: skip
    interval(
        f"Fisher z with jackknife, kappa, {_name}", *_ids, shapes=("ordinal",), draw=data.grades,
        truth=partial(_true_kappa, _name), one=_kappa(_name), many=partial(_kappa_ends, _name),
    )  # fmt: skip


def _gwet(weights: str) -> Any:
    def one(ratings: np.ndarray, rng: Any) -> Any:
        from outcomes.reliability import gwet_agreement

        return gwet_agreement(ratings, grades=range(5), weights=weights).coefficient.interval  # type: ignore[arg-type]

    return one


def _fleiss(ratings: np.ndarray, rng: Any) -> Any:
    from outcomes.reliability import fleiss_kappa

    return fleiss_kappa(ratings, grades=range(5)).coefficient.interval


def _corrected_ends(word: str, ratings: np.ndarray) -> Any:
    """Return the ends of AC1, AC2 or Fleiss' kappa ("fleiss") of pairs of ratings."""
    w = _weights("plain" if word == "fleiss" else word)
    n = ratings.shape[1]
    counts = (ratings[..., None] == np.arange(5)).sum(axis=2).astype(float)
    shares = counts / 2
    pi = shares.mean(axis=1)
    if word == "fleiss":
        expected, chance = (pi**2).sum(axis=-1), np.einsum("snq,sq->sn", shares, pi)
    else:
        scale = w.sum() / 20
        expected = scale * (pi * (1 - pi)).sum(axis=-1)
        chance = scale * np.einsum("snq,sq->sn", shares, 1 - pi)
    each = (counts * (counts @ w - 1)).sum(axis=-1) / 2
    observed, rest = each.mean(axis=-1), 1 - expected
    value = (observed - expected) / rest
    own = (each - observed[:, None] - 2 * (1 - value)[:, None] * (chance - expected[:, None])) / rest[:, None]
    error = np.sqrt((own**2).sum(axis=-1) / (n * (n - 1)))
    none = (np.ptp(each, axis=-1) < 1e-12) | (rest <= 1e-12)
    variance = np.where(none | (np.abs(value) >= 1), np.nan, (error / (1 - value**2)) ** 2)
    return data.fisher_ends(value, variance, df=n - 1)


def _true_corrected(word: str, shape: str) -> float:
    table, w = data.grade_table(), _weights("plain" if word == "fleiss" else word)
    p = (table.sum(axis=0) + table.sum(axis=1)) / 2
    chance = float((p**2).sum()) if word == "fleiss" else float(w.sum()) / 20 * float((p * (1 - p)).sum())
    return (float((table * w).sum()) - chance) / (1 - chance)


for _word, _label, _id in (("plain", "AC1", "ac1"), ("quadratic", "AC2", "ac2"),
                           ("fleiss", "Fleiss' kappa", "fleiss_kappa")):  # fmt: skip
    interval(
        f"Fisher z linearised, {_label}", _id, shapes=("ordinal",), draw=data.grades,
        truth=partial(_true_corrected, _word), one=_fleiss if _word == "fleiss" else _gwet(_word),
        many=partial(_corrected_ends, _word),
    )  # fmt: skip


def _ordinal_alpha(ratings: np.ndarray, rng: np.random.Generator) -> Any:
    from outcomes.reliability import krippendorff_alpha

    return krippendorff_alpha(ratings, grades=range(5), resamples=1_000, rng=rng).coefficient.interval


def _true_alpha(shape: str) -> float:
    table = data.grade_table()
    p = table.sum(axis=0)
    up = np.cumsum(p) - p / 2
    squared = np.subtract.outer(up, up) ** 2
    return 1 - float((table * squared).sum() / (np.outer(p, p) * squared).sum())


interval(
    "bootstrap over people, ordinal alpha",
    "krippendorff_ordinal", "krippendorff_nominal", "krippendorff_interval", "krippendorff_ratio",
    shapes=("ordinal",), draw=data.grades, truth=_true_alpha, one=_ordinal_alpha,
)  # fmt: skip
