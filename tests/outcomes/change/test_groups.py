"""Groups: second opinions of scipy, statsmodels and pingouin, honest intervals, decided edges."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from outcomes.change import (
    analysis_of_covariance,
    difference_of_changes,
    needed_words,
    number_needed_to_treat,
    pre_post_control,
    rank_comparison,
    two_group_effect_sizes,
)
from outcomes.errors import DesignError

DRAW = np.random.default_rng(3)
BEFORE = np.round(50 + 5 * DRAW.normal(size=30), 1)
GROUP = np.array(["trained", "waiting", "other"] * 10)
AFTER = np.round(BEFORE + np.where(GROUP == "trained", 1.5, 0.2) + DRAW.normal(size=30) * (1 + (GROUP == "other")), 1)
TABLE = pd.DataFrame({"before": BEFORE, "after": AFTER, "g": GROUP, "change": AFTER - BEFORE})


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def ancova(**options: object):
    arguments = {"reference": "waiting", "unit": "cm"} | options
    return analysis_of_covariance(BEFORE, AFTER, GROUP, **arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize("spread", ["equal", "hc3"])
def test_analysis_of_covariance_is_that_of_statsmodels(spread: str) -> None:
    model = smf.ols("after ~ before + C(g, Treatment('waiting'))", TABLE)
    theirs = model.fit() if spread == "equal" else model.fit(cov_type="HC3", use_t=True)
    found = ancova(spread=spread)
    for group in ("trained", "other"):
        name, one = f"C(g, Treatment('waiting'))[T.{group}]", found.difference[group]
        assert one.value == pytest.approx(theirs.params[name])
        assert (one.interval.low, one.interval.high) == pytest.approx(tuple(theirs.conf_int().loc[name]))
        assert one.test.p == pytest.approx(theirs.pvalues[name])
    assert found.slope.value == pytest.approx(theirs.params["before"])
    assert found.degrees_of_freedom == theirs.df_resid


def test_slopes_that_differ_are_told_by_the_f_test_of_statsmodels() -> None:
    small = smf.ols("after ~ before + C(g)", TABLE).fit()
    f, p, df = smf.ols("after ~ before * C(g)", TABLE).fit().compare_f_test(small)
    found = ancova().slopes_differ
    assert (found.statistic, found.p, found.df) == (pytest.approx(f), pytest.approx(p), (df, 24))


def test_change_in_place_of_the_later_value_moves_the_slope_by_one_and_nothing_else() -> None:
    of_change = analysis_of_covariance(BEFORE, AFTER - BEFORE, GROUP, reference="waiting", unit="cm")
    assert of_change.slope.value == pytest.approx(ancova().slope.value - 1)
    assert of_change.difference["trained"].value == pytest.approx(ancova().difference["trained"].value)


def test_swapping_the_reference_turns_every_difference_over_and_the_order_of_people_is_nothing() -> None:
    two = GROUP != "other"
    arguments = (BEFORE[two], AFTER[two], GROUP[two])
    there, back = (analysis_of_covariance(*arguments, reference=r, unit="cm") for r in ("waiting", "trained"))
    assert back.difference["waiting"].value == pytest.approx(-there.difference["trained"].value)
    order = np.random.default_rng(1).permutation(two.sum())
    mixed = analysis_of_covariance(*(a[order] for a in arguments), reference="waiting", unit="cm")
    assert mixed.difference["trained"].value == pytest.approx(there.difference["trained"].value)
    assert mixed.difference["trained"].test.p == pytest.approx(there.difference["trained"].test.p)


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"groups": ["a"] * 6}, "only one group"),
        ({"groups": ["a", "a", "a", "a", "a", "b"]}, "group b has 1 person"),
        ({"groups": ["a", "b"]}, "lengths differ"),
        ({"before": [5.0] * 6}, "all first values are equal"),
        ({"before": [1, 1, 1, 2, 2, 2]}, "cannot be told apart"),
        ({"before": [1, 2, 3, 4, 5, math.nan]}, "missing"),
        ({"before": [1, 2, 3, 4, 5, math.inf]}, "infinite"),
        ({"after": ["x"] * 6}, "not all numbers"),
        ({"before": [1, 2, 3, 4, 5, 6], "after": [2, 4, 6, 8, 10, 12]}, "no spread about the model"),
        ({"spread": "hc2"}, "neither 'equal' nor 'hc3'"),
        ({"reference": "c"}, "group c has 0 people"),
    ],
)
def test_what_cannot_be_compared_is_refused(changed: dict, reason: str) -> None:
    given = {"before": [1, 2, 4, 3, 5, 7], "after": [2, 1, 5, 4, 4, 9], "groups": ["a", "a", "a", "b", "b", "b"]}
    with pytest.raises(DesignError, match=reason):
        analysis_of_covariance(**{**given, "reference": "a", "unit": "cm", **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize("spread", ["unequal", "equal"])
def test_the_difference_of_changes_is_the_t_test_of_scipy(spread: str) -> None:
    first, second = (TABLE.loc[TABLE["g"] == g, "change"] for g in ("trained", "other"))
    found = difference_of_changes(first, second, unit="cm", spread=spread)  # type: ignore[arg-type]
    theirs = stats.ttest_ind(first, second, equal_var=spread == "equal")
    ends = theirs.confidence_interval()
    assert (found.difference.interval.low, found.difference.interval.high) == pytest.approx((ends.low, ends.high))
    assert found.difference.test.p == pytest.approx(theirs.pvalue)


def test_two_groups_without_any_spread_are_refused() -> None:
    with pytest.raises(DesignError, match="no spread"):
        difference_of_changes([1, 1, 1], [0, 0], unit="cm")
    with pytest.raises(DesignError, match="at least 2"):
        difference_of_changes([1], [0, 2], unit="cm")


def test_pre_post_control_is_the_difference_of_changes_over_the_pooled_first_spread() -> None:
    pairs = [(BEFORE[g == GROUP], AFTER[g == GROUP]) for g in ("trained", "waiting")]
    found = pre_post_control(*pairs[0], *pairs[1], rng=rng())
    pooled = math.sqrt(sum(np.var(b, ddof=1) for b, _ in pairs) / 2)
    raw = (np.mean(pairs[0][1] - pairs[0][0]) - np.mean(pairs[1][1] - pairs[1][0])) / pooled
    # 1 - 3/(4 df - 1), df 18: within 0.012 % of the exact factor (Hedges 1981)
    assert found.d_ppc2.value == pytest.approx(raw * (1 - 3 / 71), rel=2e-4)
    assert found.d_ppc2_bootstrap is None
    assert found.reason == "fewer than 20 people in a group"


def test_the_bootstrap_of_pre_post_control_draws_within_groups() -> None:
    draw = np.random.default_rng(8)
    a, b = 50 + 5 * draw.normal(size=25), 50 + 5 * draw.normal(size=22)
    values = (a, a + 2 + draw.normal(size=25), b, b + draw.normal(size=22))
    found = pre_post_control(*values, rng=rng()).d_ppc2_bootstrap
    assert found.interval.low < found.value < found.interval.high
    assert found.interval.low == pytest.approx(pre_post_control(*values, rng=rng()).d_ppc2.interval.low, abs=0.1)


def test_the_two_group_sizes_are_those_of_pingouin_where_that_is_right() -> None:
    import pingouin

    first, second = (TABLE.loc[TABLE["g"] == g, "change"].to_numpy() for g in ("trained", "waiting"))
    found = two_group_effect_sizes(first, second)
    assert found.d_s.value == pytest.approx(pingouin.compute_effsize(first, second, eftype="cohen"))
    # pingouin's hedges uses 1 - 3/(4 df - 1)
    assert found.g_s.value == pytest.approx(pingouin.compute_effsize(first, second, eftype="hedges"), rel=2e-4)
    back = two_group_effect_sizes(second, first).d_s
    assert (back.value, back.interval.low) == pytest.approx((-found.d_s.value, -found.d_s.interval.high))


def test_the_interval_of_d_s_holds_the_noncentralities_that_leave_a_fortieth_on_either_side() -> None:
    found = two_group_effect_sizes([3, 5, 4, 6, 7, 5], [1, 2, 4, 2, 3, 3])
    root = math.sqrt(6 * 6 / 12)
    low, high = (end * root for end in (found.d_s.interval.low, found.d_s.interval.high))
    assert stats.nct.sf(found.d_s.value * root, 10, low) == pytest.approx(0.025, abs=1e-9)
    assert stats.nct.cdf(found.d_s.value * root, 10, high) == pytest.approx(0.025, abs=1e-9)


# ------------------------------------------------------------------------------------------------------- shares


def test_a_number_needed_that_may_be_harm_runs_through_infinity() -> None:
    found = number_needed_to_treat(6, 12, 4, 12)
    assert found.straddles
    assert found.ends[0] > 0 > found.ends[1]
    assert "to infinity to NNTH" in found.summary()
    assert found.number.caveats == ("number_needed_straddles",)
    assert found.number.interval is None


def test_swapping_the_groups_turns_benefit_into_harm() -> None:
    there, back = number_needed_to_treat(9, 10, 3, 10), number_needed_to_treat(3, 10, 9, 10)
    assert back.number.value == pytest.approx(-there.number.value)
    assert sorted(-end for end in back.ends) == pytest.approx(sorted(there.ends))
    assert there.summary() == "NNTB 1.7 (NNTB 1.2 to NNTB 5.9)"
    assert back.summary() == "NNTH 1.7 (NNTH 5.9 to NNTH 1.2)"


def test_equal_shares_have_no_number_and_say_so() -> None:
    found = number_needed_to_treat(3, 6, 4, 8)
    assert found.number is None
    assert found.reason == "both groups have the same share, so the number is infinite"
    assert found.summary().startswith("infinite (NNTB ")


def test_an_end_at_0_is_infinity() -> None:
    assert needed_words(4.0, (2.0, math.inf), straddles=True) == "NNTB 4.0 (NNTB 2.0 to infinity)"
    with pytest.raises(DesignError, match="does not exist"):
        needed_words(0.0, (2.0, 3.0), straddles=False)


@pytest.mark.parametrize("counts", [(1, 0, 1, 5), (6, 5, 1, 5), (-1, 5, 1, 5)])
def test_what_is_no_share_is_refused(counts: tuple[int, int, int, int]) -> None:
    with pytest.raises(DesignError):
        number_needed_to_treat(*counts)


# -------------------------------------------------------------------------------------------------------- ranks


def test_the_rank_sum_test_counts_every_division_of_the_people() -> None:
    first, second = [1, 2, 2, 3, 3], [0, 0, 1, 1, 2]
    ranks = stats.rankdata([*first, *second])
    sums = np.array([ranks[list(chosen)].sum() for chosen in itertools.combinations(range(10), 5)])
    p = np.mean(np.abs(sums - ranks.sum() / 2) >= abs(ranks[:5].sum() - ranks.sum() / 2) - 1e-9)
    assert rank_comparison(first, second).cliff_dominance.test.p == pytest.approx(p)


def test_without_ties_it_is_the_exact_test_of_scipy() -> None:
    first, second = TABLE["after"][:9] + np.arange(9) * 1e-4, TABLE["before"][9:20] + np.arange(11) * 1e-5
    theirs = stats.mannwhitneyu(first, second, method="exact")
    found = rank_comparison(first, second)
    assert found.cliff_dominance.test.p == pytest.approx(theirs.pvalue)
    assert found.u == theirs.statistic
    assert found.common_language.value == pytest.approx(theirs.statistic / 99)


def test_many_people_are_shuffled_and_agree_with_the_normal_approximation() -> None:
    first, second = rng().integers(0, 5, 140), rng().integers(0, 5, 130) + 0
    with pytest.raises(DesignError, match="give rng"):
        rank_comparison(first, second)
    found = rank_comparison(first, second, rng=rng()).cliff_dominance.test
    theirs = stats.mannwhitneyu(first, second, use_continuity=False).pvalue
    assert found.p == pytest.approx(theirs, abs=5 * found.error + 0.005)


def test_groups_apart_have_an_interval_that_ends_at_one() -> None:
    found = rank_comparison([4, 5, 6, 7, 8], [0, 1, 2, 3]).cliff_dominance
    assert (found.value, found.interval.high) == (1, 1)
    # (m - z^2)/(m + z^2), m the smaller group (Feng & Cliff 2004, from memory)
    assert found.interval.low == pytest.approx((4 - 1.959964**2) / (4 + 1.959964**2), abs=1e-6)
    assert rank_comparison([0, 1, 2, 3], [4, 5, 6, 7, 8]).cliff_dominance.interval.low == -1


def test_equal_grades_are_no_difference_and_no_p_below_one() -> None:
    found = rank_comparison([2, 2, 2], [2, 2, 2])
    assert found.cliff_dominance.value == 0
    assert found.cliff_dominance.test.p == found.smallest_p == 1
    assert found.cliff_dominance.caveats == ("p_cannot_reach",)


@pytest.mark.parametrize("spread", ["equal", "hc3"])
def test_groups_that_differ_are_told_by_the_f_test_of_statsmodels(spread: str) -> None:
    model = smf.ols("after ~ before + C(g)", TABLE)
    theirs = model.fit() if spread == "equal" else model.fit(cov_type="HC3", use_t=True)
    wanted = theirs.f_test("C(g)[T.trained] = C(g)[T.waiting] = 0")
    found = ancova(spread=spread).groups_differ
    assert (found.statistic, found.p, found.df) == (
        pytest.approx(float(wanted.fvalue)),
        pytest.approx(float(wanted.pvalue)),
        (2, 26),
    )


def test_criteria_count_the_residual_variance_which_statsmodels_does_not() -> None:
    theirs = smf.ols("after ~ before + C(g)", TABLE).fit()
    found = ancova().criteria
    assert found.n_parameters == 5
    assert found.log_likelihood == pytest.approx(theirs.llf)
    assert found.aic.value == pytest.approx(theirs.aic + 2)
