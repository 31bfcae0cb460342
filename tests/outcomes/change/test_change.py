"""Change: second opinions of scipy and pingouin, decided edges, ties, directions."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from outcomes.change import (
    CAVEATS,
    METHODS,
    analysis_of_covariance,
    benjamini_hochberg,
    benjamini_yekutieli,
    bonferroni,
    change_classes,
    classify,
    compare_areas,
    difference_of_changes,
    distribution_based_change,
    hedges_correction,
    holm,
    important_change,
    number_needed_to_treat,
    ordinal_change,
    paired_change,
    paired_effect_sizes,
    percent_change,
    pre_post_control,
    rank_comparison,
    reliable_change,
    sign_flip_test,
    transition_table,
    two_group_effect_sizes,
    wilcoxon_signed_rank,
)
from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.result import Estimate


def rng() -> np.random.Generator:
    return np.random.default_rng(11)


BEFORE = np.round(45 + 4 * np.random.default_rng(1).normal(size=24), 1)
AFTER = np.round(BEFORE + 0.8 + 1.5 * np.random.default_rng(2).normal(size=24), 1)


def changed(before: object = BEFORE, after: object = AFTER, **options: object):
    return paired_change(before, after, unit="cm", rng=rng(), **options)  # type: ignore[arg-type]


def test_mean_interval_and_spread_are_those_of_scipy() -> None:
    found = changed()
    theirs = stats.ttest_rel(AFTER, BEFORE)
    assert (found.mean.interval.low, found.mean.interval.high) == pytest.approx(tuple(theirs.confidence_interval()))
    assert found.sd.value == pytest.approx(np.std(AFTER - BEFORE, ddof=1))
    assert found.mean.unit == found.sd.unit == found.before_sd.unit == "cm"


def test_scipy_counts_the_same_sign_flips() -> None:
    changes = (AFTER - BEFORE)[:12]
    theirs = stats.permutation_test((np.round(changes, 6),), np.sum, permutation_type="samples", n_resamples=np.inf)
    assert sign_flip_test(changes).test.p == pytest.approx(theirs.pvalue, abs=1e-12)


def test_the_bootstrap_stands_beside_the_mean_from_twenty_people() -> None:
    assert changed().mean_bca.value == pytest.approx(changed().mean.value)
    assert changed().d_av.interval is not None
    few = changed(BEFORE[:19], AFTER[:19])
    assert few.mean_bca is None
    assert few.reasons["mean_bca"] == "fewer than 20 people"
    assert few.d_av.interval is None
    assert few.d_av.caveats == ("below_bootstrap",)


def test_pingouin_divides_by_another_spread_and_ours_say_which() -> None:
    found = changed()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)
        import pingouin

        theirs = pingouin.compute_effsize(AFTER, BEFORE, paired=True, eftype="cohen")
    spread = math.sqrt((np.var(BEFORE, ddof=1) + np.var(AFTER, ddof=1)) / 2)
    assert theirs == pytest.approx(found.mean.value / spread)
    assert found.d_z.value == pytest.approx(found.mean.value / found.sd.value)
    assert found.d_av.value == pytest.approx(found.mean.value / ((found.before_sd.value + found.after_sd.value) / 2))
    assert found.hedges_g.value == pytest.approx(found.d_z.value * hedges_correction(23))


def test_swapping_the_visits_turns_every_effect_over() -> None:
    there, back = changed(), changed(AFTER, BEFORE)
    for name in ("mean", "d_z", "d_av", "hedges_g"):
        assert getattr(back, name).value == pytest.approx(-getattr(there, name).value)
    assert (back.d_z.interval.low, back.d_z.interval.high) == pytest.approx(
        (-there.d_z.interval.high, -there.d_z.interval.low)
    )
    assert back.mean.test.p == there.mean.test.p


def test_equal_changes_have_a_mean_and_nothing_that_needs_spread() -> None:
    found = paired_change([0.8, 0.1, 1.2], [0.9, 0.2, 1.3], unit="m/s", rng=rng())
    assert found.mean.value == pytest.approx(0.1)
    assert found.mean.interval is None
    # of the 8 flips of three equal changes two have a sum as far from 0
    assert (found.mean.test.p, found.mean.test.exact) == (0.25, True)
    assert found.mean.caveats == ("all_equal", "p_cannot_reach")
    assert found.sd.value == 0
    assert found.d_z is found.d_av is found.hedges_g is found.mean_bca is None
    assert set(found.reasons) == {"mean.interval", "mean_bca", "d_z", "d_av", "hedges_g"}
    assert found.correlation.value == pytest.approx(1)
    assert found.correlation.interval is None


def test_nobody_changed_is_a_mean_of_0() -> None:
    found = paired_change([1, 2, 3], [1, 2, 3], unit="cm", rng=rng())
    assert found.mean.value == 0
    assert found.mean.test.p == 1


def test_floating_point_dust_is_no_change() -> None:
    before = np.array([51.3, 44.7, 60.1, 49.9, 38.8])
    found = paired_change(before, (before + 0.1) - 0.1 + 1e-14, unit="cm", rng=rng())
    assert found.mean.test.p == 1


def test_everybody_rising_by_the_same_is_evidence_by_both_tests() -> None:
    before = np.arange(10.0)
    # all ten signs alike: 2 of 2^10 flips
    assert paired_change(before, before + 1, unit="cm", rng=rng()).mean.test.p == 2**-9
    assert ordinal_change(before, before + 1, levels=None).hodges_lehmann.test.p == 2**-9


def test_two_people_are_said_and_one_is_refused() -> None:
    found = paired_change([1.0, 2.0], [2.0, 4.0], unit="cm", rng=rng())
    assert {"two_people", "p_cannot_reach"} <= set(found.mean.caveats)
    assert found.mean.test.p == 0.5
    assert found.hedges_g is None
    assert found.correlation.interval is None
    with pytest.raises(DesignError, match="one person"):
        paired_change([1.0], [2.0], unit="cm", rng=rng())


@pytest.mark.parametrize(
    ("before", "after", "reason"),
    [([], [], "0 people"), ([1, np.nan], [1, 2], "missing"), ([1, 2], [1, 2, 3], "2 values before and 3 after")],
)
def test_what_is_not_paired_is_refused(before: list, after: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        paired_change(before, after, unit="cm", rng=rng())


def test_a_constant_visit_has_no_correlation_but_its_change_stands() -> None:
    found = paired_change([0, 0, 0, 0], [1, 2, 4, 3], unit="cm", rng=rng())
    assert found.correlation is None
    assert "all equal" in found.reasons["correlation"]
    assert found.d_z is not None
    assert found.before_sd.value == 0


def test_changes_that_all_go_one_way_have_a_small_p_that_is_not_0() -> None:
    found = sign_flip_test(np.arange(1.0, 13.0))
    assert found.test.p == found.smallest_p == 2.0**-11
    assert found.n_as_high == 1


def test_five_people_cannot_reach_a_p_of_005_and_six_can() -> None:
    six = np.array([1.0, 3.0, -2.0, 4.0, 5.0, 2.0])
    assert "p_cannot_reach" in changed(np.zeros(5), six[:5]).mean.caveats
    assert "p_cannot_reach" not in changed(np.zeros(6), six).mean.caveats
    assert "p_cannot_reach" in changed(np.zeros(6), np.where(six == 4, 0, six)).mean.caveats


def test_random_flips_carry_their_monte_carlo_error() -> None:
    shift = np.random.default_rng(3).normal(0.1, 1, size=60)
    found = paired_change(np.zeros(60), shift, unit="cm", rng=rng())
    assert not found.mean.test.exact
    assert found.mean.test.error == pytest.approx(math.sqrt(found.mean.test.p * (1 - found.mean.test.p) / 100_000))
    assert "p_simulated" in found.mean.caveats
    assert sign_flip_test(shift, rng=rng()).n_as_high is None


def test_every_method_and_caveat_has_its_sentence() -> None:
    results = [changed(), changed(BEFORE[:2], AFTER[:2]), paired_change([1, 2], [2, 3], unit="cm", rng=rng())]
    results += [ordinal_change([1, 2, 3, 1, 2, 3, 1], [1, 1, 2, 1, 1, 1, 1], levels=range(5))]
    results += [change_classes([1.0, 2.0], mdc=1.0, standard_error=0.4, degrees_of_freedom=df) for df in (5, None)]
    results += [paired_effect_sizes(BEFORE, AFTER, rng=rng()), two_group_effect_sizes(BEFORE, AFTER)]
    results += [percent_change(BEFORE, AFTER, scale="ratio"), rank_comparison(BEFORE, AFTER)]
    results += [reliable_change(BEFORE, AFTER, standard_error=0.5), number_needed_to_treat(6, 12, 4, 12)]
    results += [difference_of_changes(BEFORE, AFTER, unit="cm", spread=s) for s in ("unequal", "equal")]
    results += [pre_post_control(BEFORE, AFTER, AFTER, BEFORE, rng=rng())]
    results += [distribution_based_change(BEFORE, unit="cm", standard_error=0.5)]
    flags = (AFTER - BEFORE > 0.8) ^ (np.arange(24) % 7 == 0)
    results += [important_change(AFTER - BEFORE, flags, unit="cm", slightly=flags, rng=rng())]
    results += [important_change(AFTER - BEFORE, flags, unit="cm", cut="corner", rng=rng())]
    results += [compare_areas(BEFORE, AFTER, flags)]
    group = ["a", "b"] * 12
    fits = [analysis_of_covariance(BEFORE, AFTER, group, reference="a", unit="cm", spread=s) for s in ("equal", "hc3")]
    estimates = [getattr(r, name) for r in [*results, *fits] for name in r.__slots__]
    estimates += [e for fit in fits for e in (*fit.difference.values(), *fit.unadjusted.values())]
    estimates += [e for fit in fits for e in (fit.criteria.aic, fit.criteria.bic, fit.criteria.aicc)]
    estimates = [e for e in estimates if isinstance(e, Estimate)]
    of_tests = {"sign_flip", "signed_rank", "slopes_differ", "number_needed_end"}
    assert {e.method for e in estimates} == set(METHODS) - of_tests
    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)


# ------------------------------------------------------------------------------------------------------ ordinal


def test_the_signed_rank_test_is_exact_with_ties_and_zeros_where_scipy_permutes() -> None:
    changes = np.array([1, 0, -1, 1, 2, 1, 0, 3, -1, 2])
    theirs = stats.wilcoxon(changes, zero_method="wilcox", method=stats.PermutationMethod(n_resamples=np.inf))
    assert wilcoxon_signed_rank(changes).test.p == pytest.approx(theirs.pvalue, abs=1e-12)
    pratt = stats.wilcoxon(changes, zero_method="pratt", method=stats.PermutationMethod(n_resamples=np.inf))
    assert wilcoxon_signed_rank(changes, zeros="pratt").test.p == pytest.approx(pratt.pvalue, abs=1e-12)


def test_dust_does_not_break_ties_of_ranks() -> None:
    dusty = np.array([0.9 - 0.8, 0.2 - 0.1, -(1.3 - 1.2), 0.7 - 0.5])
    assert wilcoxon_signed_rank(dusty).test.p == wilcoxon_signed_rank([1, 1, -1, 2]).test.p


def test_the_zero_rule_is_part_of_the_name_and_an_unknown_one_is_refused() -> None:
    assert "Pratt" in wilcoxon_signed_rank([1, 0, 2], zeros="pratt").test.name
    with pytest.raises(DesignError, match="neither"):
        wilcoxon_signed_rank([1, 0, 2], zeros="zsplit")  # type: ignore[arg-type]
    with pytest.raises(DesignError, match="nobody changed"):
        wilcoxon_signed_rank([0, 0])


def test_grades_give_medians_counts_and_shift_but_no_mean() -> None:
    found = ordinal_change([3, 2, 2, 4, 1, 3, 2], [2, 2, 1, 3, 1, 1, 3], levels=range(6))
    assert (found.median_before.value, found.median_after.value) == (2, 2)
    assert (found.lower.value, found.same.value, found.higher.value) == (4, 2, 1)
    assert found.hodges_lehmann.value == -0.5
    assert found.rank_biserial.value == found.signed_rank.rank_biserial
    assert not hasattr(found, "mean")


def test_nobody_changed_grade_is_a_shift_of_0_with_p_1() -> None:
    found = ordinal_change([1, 2, 3], [1, 2, 3], levels=range(6))
    assert found.hodges_lehmann.value == 0
    assert found.hodges_lehmann.test.p == 1
    assert found.rank_biserial is None
    assert found.reasons["rank_biserial"] == "nobody changed grade"


@pytest.mark.parametrize(
    ("before", "after", "levels", "reason"),
    [
        ([1, 6], [1, 2], range(6), "grade 6 is not on the declared scale 0 to 5"),
        ([1, 2], [1, 2], [0, 2, 1], "upward"),
        ([1, 2], [1, 2], [], "upward"),
        ([1], [1], range(6), "one person"),
        ([1, np.nan], [1, 2], range(6), "missing"),
    ],
)
def test_grades_off_the_scale_are_refused(before: list, after: list, levels: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        ordinal_change(before, after, levels=levels)  # type: ignore[arg-type]


def test_a_long_scale_needs_no_list_of_grades() -> None:
    assert ordinal_change([40, 55], [42, 60], levels=None).higher.value == 2


def test_the_transition_table_has_every_grade_of_the_scale_and_every_person_once() -> None:
    table = transition_table([3, 2, 2, 4], [2, 2, 1, 4], levels=range(6))
    assert len(table.counts) == len(table.counts[0]) == 6
    assert sum(map(sum, table.counts)) == table.n_people == 4
    assert table.counts[3][2] == table.counts[2][2] == table.counts[2][1] == table.counts[4][4] == 1
    assert table.summary() == "2 of 4 people stayed in their grade"


# ------------------------------------------------------------------------------------------------------ classes


def test_a_change_of_exactly_the_detectable_change_is_beyond_it() -> None:
    assert 0.9 - 0.8 < 0.1
    assert classify([0.9 - 0.8, -(0.9 - 0.8), 0.0999], mdc=0.1) == ("better", "other", "within")


@pytest.mark.parametrize(("better", "counts"), [("higher", (2, 1, 1)), ("larger", (2, 1, 1)), ("lower", (1, 1, 2))])
def test_the_direction_decides_what_counts_as_better(better: str, counts: tuple[int, int, int]) -> None:
    found = change_classes([3.0, 2.5, 0.0, -4.0], mdc=2.0, better=better)  # type: ignore[arg-type]
    assert (found.better.value, found.within.value, found.other.value) == counts
    assert found.share_better.value == counts[0] / 4
    assert found.expected_by_error is None
    assert "standard error" in found.reasons["expected_by_error"]


def test_error_alone_gives_5_percent_if_it_is_known_and_more_if_it_is_estimated() -> None:
    se = 0.7
    known = change_classes([0.0], mdc=1.96 * math.sqrt(2) * se, standard_error=se)
    assert known.expected_by_error.value == pytest.approx(2 * stats.norm.sf(1.96), abs=1e-12)
    assert known.expected_by_error.interval is None
    few = change_classes([0.0], mdc=1.96 * math.sqrt(2) * se, standard_error=se, degrees_of_freedom=7)
    assert few.expected_by_error.value == pytest.approx(2 * stats.t.sf(1.96, 7), abs=1e-12)
    assert few.expected_by_error.interval.low < 0.05 < few.expected_by_error.interval.high


@pytest.mark.parametrize(
    "options",
    [{"mdc": 0.0}, {"mdc": math.nan}, {"mdc": 1.0, "better": "up"}, {"mdc": 1.0, "standard_error": 0.0}],
)
def test_classes_without_an_error_or_direction_are_refused(options: dict) -> None:
    with pytest.raises(DesignError):
        change_classes([1.0, 2.0], **options)


# ------------------------------------------------------------------------------------------------- multiplicity


def test_three_of_fifteen_pass_holm_and_four_pass_benjamini_hochberg() -> None:
    # Benjamini & Hochberg (1995), from memory; reproduced with R p.adjust.
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.324,
        0.4262,
        0.5719,
        0.6528,
        0.759,
        1,
    ]
    assert sum(q <= 0.05 for q in holm(p)) == 3
    assert sum(q <= 0.05 for q in benjamini_hochberg(p)) == 4


@pytest.mark.parametrize("adjust", [holm, benjamini_hochberg])
def test_what_is_no_p_value_is_refused(adjust: object) -> None:
    for p in ([0.0, 0.5], [1.2], [], [math.nan]):
        with pytest.raises(DesignError):
            adjust(p)  # type: ignore[operator]


def test_scipy_adjusts_the_same_false_discovery_rate() -> None:
    p = np.random.default_rng(4).uniform(size=9)
    assert benjamini_hochberg(p) == pytest.approx(stats.false_discovery_control(p))


def test_the_small_sample_correction_needs_two_degrees_of_freedom() -> None:
    with pytest.raises(DesignError):
        hedges_correction(1)


def test_results_say_themselves() -> None:
    assert "sign-flip p" in changed().summary()
    assert "n = 24" in changed().summary()
    assert "exact, by convolution" in sign_flip_test([1, 2, 3]).summary()
    assert "without change" in wilcoxon_signed_rank([1, 0]).summary()
    assert "median" in ordinal_change([1, 2], [1, 1], levels=range(3)).summary()
    assert "within" in change_classes([1.0], mdc=2.0).summary()
    assert changed().to_frame().loc[0, "mean_low"] == changed().mean.interval.low


def test_the_shift_of_means_of_three_answers_keeps_its_digits() -> None:
    # Walsh averages of 1/3 - 1/3 and 2/3 - 1/3 are 0, 1/6 and 1/3: follows from the definition
    found = ordinal_change([1 / 3, 1 / 3], [1 / 3, 2 / 3], levels=None)
    assert found.hodges_lehmann.value == pytest.approx(1 / 6, rel=1e-15)


def test_the_short_correction_is_near_the_exact_one_and_named() -> None:
    # Hedges (1981) J Educ Stat 6:107: 1 - 3/(4 df - 1), 1.3 % too large at 2 degrees of freedom
    assert hedges_correction(2, form="approximate") / hedges_correction(2) == pytest.approx(1.0128, abs=5e-5)
    assert hedges_correction(200, form="approximate") == pytest.approx(hedges_correction(200), rel=1e-5)
    with pytest.raises(DesignError, match="'short' is neither 'exact' nor 'approximate'"):
        hedges_correction(5, form="short")  # type: ignore[arg-type]


@pytest.mark.parametrize("rule", [holm, bonferroni, benjamini_hochberg, benjamini_yekutieli])
@pytest.mark.parametrize("p", [[], [0.0, 0.5], [0.5, 1.1], [0.5, float("nan")], ["a"]])
def test_what_is_no_p_value_is_not_adjusted(rule: object, p: list) -> None:
    with pytest.raises(DesignError):
        rule(p)  # type: ignore[operator]
