"""Intervals: second opinions of scipy, mirrored effects, decided edges."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from outcomes.errors import DesignError
from outcomes.intervals import (
    bca_interval,
    clopper_pearson_interval,
    correlation_interval,
    f_quantile,
    flip_signs,
    hodges_lehmann,
    midranks,
    noncentral_t_interval,
    standard_deviation_interval,
    t_interval,
    t_quantile,
    t_two_sided,
    wilson_interval,
)
from outcomes.intervals.quantiles import chi_square_quantile, normal_quantile

RNG = np.random.default_rng(20)
SAMPLE = RNG.gamma(2.0, size=24)


def mean(x: np.ndarray) -> np.ndarray:
    return x.mean(axis=-1)


@pytest.mark.parametrize("p", [0.005, 0.025, 0.5, 0.9, 0.975, 0.995])
def test_quantiles_are_those_of_scipy(p: float) -> None:
    assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), rel=1e-12)
    for df in (1, 2.5, 9, 300):
        assert t_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=1e-9, abs=1e-12)
        assert chi_square_quantile(p, df) == pytest.approx(stats.chi2.ppf(p, df), rel=1e-9)
        for df2 in (1, 7, 200):
            assert f_quantile(p, df, df2) == pytest.approx(stats.f.ppf(p, df, df2), rel=1e-9)


def test_two_sided_t_is_that_of_scipy() -> None:
    assert t_two_sided(-2.1, 7) == pytest.approx(2 * stats.t.sf(2.1, 7), rel=1e-12)
    assert t_two_sided(2.1, None) == pytest.approx(2 * stats.norm.sf(2.1), rel=1e-12)


@pytest.mark.parametrize("level", [0, 1, -1, 95, math.nan])
def test_a_level_outside_0_and_1_is_refused(level: float) -> None:
    with pytest.raises(DesignError, match="level"):
        t_interval([1.0, 2.0], level=level)


def test_the_t_interval_is_that_of_scipy() -> None:
    low, high = stats.ttest_1samp(SAMPLE, 0).confidence_interval(0.9)
    found = t_interval(SAMPLE, level=0.9)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-10)


@pytest.mark.parametrize("values", [[1.0], [2.0, 2.0, 2.0], [0.9 - 0.8, 0.2 - 0.1]])
def test_a_mean_without_spread_has_no_t_interval(values: list[float]) -> None:
    with pytest.raises(DesignError):
        t_interval(values)


@pytest.mark.parametrize(("count", "n"), [(0, 5), (1, 5), (3, 5), (5, 5), (12, 48)])
def test_the_wilson_interval_is_that_of_scipy(count: int, n: int) -> None:
    theirs = stats.binomtest(count, n).proportion_ci(method="wilson")
    found = wilson_interval(count, n)
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert 0 <= found.low <= count / n <= found.high <= 1


@pytest.mark.parametrize(("count", "n"), [(0, 0), (3, 2), (-1, 2)])
def test_a_share_that_is_none_is_refused(count: int, n: int) -> None:
    with pytest.raises(DesignError):
        wilson_interval(count, n)


@pytest.mark.parametrize(("sd", "df"), [(0.0, 5), (1.0, 0), (math.nan, 5), (-1.0, 5)])
def test_a_standard_deviation_without_spread_or_df_has_no_interval(sd: float, df: float) -> None:
    with pytest.raises(DesignError):
        standard_deviation_interval(sd, df)


@pytest.mark.parametrize(("r", "n"), [(1.0, 10), (-1.0, 10), (0.3, 3)])
def test_a_correlation_at_its_bound_or_of_three_people_has_no_interval(r: float, n: int) -> None:
    with pytest.raises(DesignError):
        correlation_interval(r, n)


@pytest.mark.parametrize("t", [0.0, 0.3, 2.0, 4.74, 15.0, 60.0])
@pytest.mark.parametrize("df", [1, 2, 9, 47, 300])
def test_the_ends_of_the_noncentral_t_interval_give_the_tails_in_scipy(t: float, df: int) -> None:
    found = noncentral_t_interval(t, df)
    assert stats.nct.cdf(t, df, found.low) == pytest.approx(0.975, abs=2e-7)
    assert stats.nct.cdf(t, df, found.high) == pytest.approx(0.025, abs=2e-7)


@pytest.mark.parametrize("t", [0.5, 4.06, 40.0])
def test_a_negative_effect_has_the_mirrored_interval(t: float) -> None:
    up, down = noncentral_t_interval(t, 9), noncentral_t_interval(-t, 9)
    assert (down.low, down.high) == (-up.high, -up.low)


@pytest.mark.parametrize(("t", "df"), [(math.inf, 5), (math.nan, 5), (1.0, 0)])
def test_a_t_without_spread_has_no_noncentral_interval(t: float, df: float) -> None:
    with pytest.raises(DesignError):
        noncentral_t_interval(t, df)


def test_bca_agrees_with_scipy() -> None:
    ours = bca_interval([SAMPLE], mean, resamples=20_000, rng=np.random.default_rng(3))
    theirs = stats.bootstrap((SAMPLE,), np.mean, n_resamples=20_000, rng=np.random.default_rng(4), method="BCa")
    width = ours.interval.high - ours.interval.low
    # Monte-Carlo error of an end at 20,000 resamples is about 1 % of the width.
    assert ours.interval.low == pytest.approx(theirs.confidence_interval.low, abs=0.04 * width)
    assert ours.interval.high == pytest.approx(theirs.confidence_interval.high, abs=0.04 * width)
    assert ours.standard_error == pytest.approx(float(theirs.standard_error), rel=0.03)


def test_bca_is_the_same_for_the_same_seed_and_in_any_order_of_blocks() -> None:
    first = bca_interval([SAMPLE], mean, rng=np.random.default_rng(1))
    again = bca_interval([SAMPLE], mean, rng=np.random.default_rng(1))
    assert first == again


def test_bca_keeps_what_belongs_to_a_person_together() -> None:
    before, after = SAMPLE, SAMPLE + 1.5
    with pytest.raises(DesignError, match=r"lies outside|changes nothing"):
        bca_interval([before, after], lambda a, b: mean(b) - mean(a), rng=np.random.default_rng(1))


@pytest.mark.parametrize(
    ("arrays", "statistic", "reason"),
    [
        ([[1.0] * 6], mean, "constant"),
        ([[1.0, 2.0]], mean, "at least 3"),
        ([[1.0, 2.0, 3.0], [1.0, 2.0]], mean, "at least 3"),
        ([[1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0]], mean, "differ in length"),
        ([[1.0, 1.0, 1.0, 5.0]], lambda x: x.mean(axis=-1) / x.std(axis=-1), "undefined in"),
        ([[0.0, 0, 0, 0, 0, 0, 0, 1]], lambda x: np.median(x, axis=-1), "changes nothing|outside"),
    ],
)
def test_an_undefined_bca_interval_is_refused_with_its_reason(arrays: list, statistic: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        bca_interval(arrays, statistic, rng=np.random.default_rng(1))  # type: ignore[arg-type]


def test_too_few_resamples_are_refused() -> None:
    with pytest.raises(DesignError, match="at least 1000"):
        bca_interval([SAMPLE], mean, resamples=999, rng=np.random.default_rng(1))


@pytest.mark.parametrize("seed", range(12))
def test_sign_flips_count_as_full_enumeration_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = np.round(rng.normal(0.3, 1, size=int(rng.integers(1, 11))), int(rng.integers(0, 4)))
    sums = np.array(list(itertools.product((-1, 1), repeat=len(values)))) @ values
    found = flip_signs(values)
    assert found.two_sided == pytest.approx(np.mean(np.abs(sums) >= abs(values.sum()) - 1e-9), abs=1e-12)
    assert found.upper == pytest.approx(np.mean(sums >= values.sum() - 1e-9), abs=1e-12)


def test_the_two_exact_ways_and_random_flips_agree() -> None:
    from outcomes.intervals.signs import _by_halves, _random

    values = np.round(np.random.default_rng(8).normal(0.3, 1, size=22), 1)
    exact = flip_signs(values)
    assert exact.way == "convolution"
    assert _by_halves(values) == pytest.approx((exact.two_sided, exact.upper), abs=1e-12)
    drawn = _random(values, 100_000, np.random.default_rng(1))
    assert drawn.error is not None
    assert drawn.two_sided == pytest.approx(exact.two_sided, abs=4 * drawn.error)


@pytest.mark.parametrize("n", [60, 300])
def test_means_of_trials_and_limbs_lie_on_a_grid_at_every_n(n: int) -> None:
    rng = np.random.default_rng(n)
    readings = [np.round(40 + 3 * rng.normal(size=(n, 6)), 1).mean(axis=1) for _ in range(2)]
    assert flip_signs(readings[1] - readings[0]).way == "convolution"


def test_reals_go_by_halves_up_to_40_and_by_random_flips_beyond() -> None:
    rng = np.random.default_rng(5)
    assert flip_signs(rng.normal(size=40)).way == "halves"
    with pytest.raises(DesignError, match="give rng"):
        flip_signs(rng.normal(size=41))
    found = flip_signs(rng.normal(size=41), rng=rng, resamples=999)
    assert found.way == "random"
    assert not found.exact
    assert found.two_sided >= 1 / 1000


@pytest.mark.parametrize("n", [1, 50, 1500])
def test_p_is_never_0_however_many_changes_go_one_way(n: int) -> None:
    found = flip_signs(np.ones(n))
    assert 0 < found.two_sided <= 1
    assert found.two_sided == pytest.approx(2.0 ** (1 - n) if n < 1000 else 0.0, rel=1e-9, abs=1e-300)


def test_without_any_change_p_is_1() -> None:
    assert flip_signs(np.zeros(4)).two_sided == 1


@pytest.mark.parametrize("n", [6, 10, 24])
def test_the_attained_level_of_hodges_lehmann_is_that_of_the_signed_rank_distribution(n: int) -> None:
    found = hodges_lehmann(np.random.default_rng(n).normal(size=n))
    ranks = np.arange(1, n + 1)
    sums = np.zeros(n * (n + 1) // 2 + 1)
    sums[0] = 1
    for rank in ranks:
        sums[rank:] = sums[rank:] + sums[:-rank].copy()
    tail = np.cumsum(sums) / 2**n
    assert found.attained_level >= 0.95
    assert any(found.attained_level == pytest.approx(1 - 2 * share, abs=1e-12) for share in tail[tail <= 0.025])


@pytest.mark.parametrize("n", [1, 2, 5])
def test_hodges_lehmann_says_when_no_interval_reaches_the_level(n: int) -> None:
    found = hodges_lehmann(np.arange(float(n)))
    assert found.interval is None
    assert "widest reaches" in found.reasons["interval"]
    assert found.value == pytest.approx((n - 1) / 2)


def test_hodges_lehmann_of_hundreds_uses_the_normal_approximation_and_says_so() -> None:
    sample = np.random.default_rng(1).normal(size=301)
    found, nearly = hodges_lehmann(sample), hodges_lehmann(sample[:300])
    assert found.interval is not None
    assert nearly.interval is not None
    assert "normal approximation" in found.interval.method
    assert found.attained_level == pytest.approx(0.95, abs=0.001)
    assert found.interval.high - found.interval.low == pytest.approx(
        nearly.interval.high - nearly.interval.low, rel=0.05
    )


def test_midranks_are_those_of_scipy() -> None:
    values = np.array([3.0, 0.9 - 0.8, 0.2 - 0.1, -2.0, 3.0, 3.0])
    np.testing.assert_array_equal(midranks(values), stats.rankdata([3, 0.1, 0.1, -2, 3, 3]))


def test_results_say_themselves_in_a_sentence_and_a_row() -> None:
    found = bca_interval([SAMPLE], mean, rng=np.random.default_rng(1))
    assert "BCa" in found.summary()
    assert "no interval" in hodges_lehmann([1.0]).summary()
    assert list(hodges_lehmann([1.0, 2.0]).to_frame().columns)[:1] == ["value"]


@pytest.mark.parametrize(("count", "n"), [(0, 12), (12, 12), (1, 29), (81, 263)])
@pytest.mark.parametrize("level", [0.9, 0.95])
def test_the_clopper_pearson_interval_is_the_exact_one_of_scipy(count: int, n: int, level: float) -> None:
    found, theirs = (
        clopper_pearson_interval(count, n, level=level),
        stats.binomtest(count, n).proportion_ci(level, "exact"),
    )
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    turned = clopper_pearson_interval(n - count, n, level=level)
    assert (turned.low, turned.high) == pytest.approx((1 - found.high, 1 - found.low), abs=1e-12)


def test_the_clopper_pearson_interval_holds_every_share_at_least_as_often_as_it_says() -> None:
    counts = np.arange(13)
    ends = [clopper_pearson_interval(int(count), 12) for count in counts]
    for share in np.linspace(0.01, 0.99, 99):
        inside = np.array([end.low <= share <= end.high for end in ends])
        assert stats.binom.pmf(counts, 12, share)[inside].sum() >= 0.95


@pytest.mark.parametrize(("count", "n"), [(1, 0), (-1, 5), (6, 5), (2.5, 5), (math.nan, 5)])
def test_what_is_no_share_of_whole_people_is_refused(count: float, n: int) -> None:
    with pytest.raises(DesignError, match="share"):
        clopper_pearson_interval(count, n)  # type: ignore[arg-type]


def test_the_jackknife_error_of_a_mean_is_its_standard_error_and_percentile_ends_are_plain_quantiles() -> None:
    found = bca_interval([SAMPLE], mean, rng=np.random.default_rng(1))
    assert found.jackknife_error == pytest.approx(SAMPLE.std(ddof=1) / math.sqrt(24))
    index = np.random.default_rng(1).integers(0, 24, (100_000 // 24, 24), dtype=np.int32)
    first = SAMPLE[index].mean(axis=1)
    assert found.percentile.low == pytest.approx(np.quantile(first, 0.025), rel=0.03)
    assert found.percentile.method == "percentile bootstrap"
