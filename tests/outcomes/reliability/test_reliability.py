"""Intraclass correlations and measurement error: second opinion of pingouin, decided edges, named conventions."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pandas as pd
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.reliability import (
    CAVEATS,
    METHODS,
    concordance_correlation,
    intraclass_correlations,
    mean_squares,
    measurement_error,
)
from outcomes.result import Estimate

FIELDS = ("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k")
TABLES = [(30, 2, 1), (12, 3, 2), (5, 2, 3), (8, 6, 4)]


def scores(n: int, k: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 50 + 4 * rng.normal(size=(n, 1)) + rng.normal(size=(1, k)) + 2 * rng.normal(size=(n, k))


def pingouin_icc(table: np.ndarray) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)
        import pingouin

        long = pd.DataFrame(
            [(i, j, table[i, j]) for i in range(table.shape[0]) for j in range(table.shape[1])],
            columns=["person", "occasion", "score"],
        )
        found = pingouin.intraclass_corr(long, targets="person", raters="occasion", ratings="score")
    return found.set_index("Type")


@pytest.mark.parametrize(("n", "k", "seed"), TABLES)
def test_pingouin_gives_the_same_values_and_intervals_to_its_two_decimals(n: int, k: int, seed: int) -> None:
    table = scores(n, k, seed)
    ours, theirs = intraclass_correlations(table), pingouin_icc(table)
    labels = ("ICC(1,1)", "ICC(A,1)", "ICC(C,1)", "ICC(1,k)", "ICC(A,k)", "ICC(C,k)")
    for field, label in zip(FIELDS, labels, strict=True):
        estimate = getattr(ours, field)
        assert estimate.value == pytest.approx(theirs.loc[label, "ICC"], abs=1e-9)
        interval = (estimate.interval.low, estimate.interval.high)
        assert interval == pytest.approx(tuple(theirs.loc[label, "CI95"]), abs=0.00501)


def test_every_method_and_caveat_has_its_sentence() -> None:
    found = intraclass_correlations(scores(6, 2, 1))
    error = measurement_error(np.abs(scores(6, 2, 1)), unit="cm", scale="ratio")
    concordance = concordance_correlation(scores(6, 2, 1))
    estimates = [getattr(r, name) for r in (found, error, concordance) for name in r.__slots__ if name != "reasons"]
    estimates = [e for e in estimates if isinstance(e, Estimate)]
    assert len(estimates) == 6 + 8 + 1
    assert {e.method for e in estimates} <= set(METHODS)
    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)


def test_negative_correlations_and_limits_are_kept() -> None:
    found = intraclass_correlations([[1, 2, 9], [3, 4, 1], [5, 1, 2]])
    assert found.icc_1_1 is not None
    assert found.icc_1_1.value < 0
    assert found.icc_1_1.interval.low < found.icc_1_1.value


def test_perfect_agreement_is_1_without_interval_and_says_so() -> None:
    found = intraclass_correlations([[1, 1], [2, 2], [5, 5]])
    for field in FIELDS:
        estimate = getattr(found, field)
        assert (estimate.value, estimate.interval) == (1.0, None)
        assert "perfect_agreement" in estimate.caveats
    assert (found.f_one_way, found.f_two_way) == (None, None)


def test_a_constant_shift_is_perfect_consistency_but_not_agreement() -> None:
    found = intraclass_correlations([[1, 3], [2, 4], [5, 7]])
    assert (found.icc_c_1.value, found.icc_c_1.interval) == (1.0, None)
    assert found.icc_a_1.value < 1
    assert found.icc_a_1.interval is not None
    error = measurement_error([[1, 3], [2, 4], [5, 7]], unit="cm")
    assert error.standard_error_consistency.value == 0
    assert error.standard_error_consistency.interval is None
    assert "perfect_agreement" in error.mdc95_consistency.caveats
    assert error.standard_error_agreement.value == pytest.approx(math.sqrt(2))
    assert error.degrees_of_freedom == pytest.approx(1)


def test_people_who_cannot_be_told_apart_have_no_correlation_of_a_mean() -> None:
    found = intraclass_correlations([[1, 2], [2, 1], [1, 2], [2, 1]])
    assert found.icc_1_k is None
    assert "not above 0" in found.reasons["icc_1_k"]
    assert found.icc_1_1.value == pytest.approx(-1)
    assert found.icc_1_1.interval is None
    assert found.icc_1_1.caveats == ("no_interval_variance",)


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([[5, 5], [5, 5]], "all scores are equal"),
        ([[0.1 + 0.2, 0.3], [0.3, 0.1 + 0.2]], "all scores are equal"),
        ([[1, 2]], "one person"),
        ([[1], [2]], "1 occasion"),
        ([[1, np.nan], [2, 3]], "missing"),
    ],
)
def test_tables_without_a_correlation_are_refused(table: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        intraclass_correlations(table)


def test_identical_repeats_have_no_measurement_error_to_estimate() -> None:
    with pytest.raises(DesignError, match="identical"):
        measurement_error([[1, 1], [2, 2], [5, 5]], unit="cm")


def test_a_negative_variance_of_occasions_counts_as_0_with_a_caveat() -> None:
    first, second = [62, 78, 81, 55, 66], [63, 76, 82, 55, 65]
    found = measurement_error(np.column_stack([first, second]), unit="W")
    assert found.variance_occasions < 0
    assert found.standard_error_agreement.value == found.standard_error_consistency.value
    assert "occasion_variance_negative" in found.mdc95.caveats
    assert found.degrees_of_freedom == 4


def test_the_agreement_error_contains_the_variance_of_occasions() -> None:
    table = scores(20, 3, 7) + np.array([0.0, 5.0, 10.0])
    found = measurement_error(table, unit="cm")
    squares = mean_squares(table)
    occasions = (float(squares.occasions) - float(squares.error)) / 20
    assert found.standard_error_agreement.value**2 == pytest.approx(float(squares.error) + occasions)
    assert found.degrees_of_freedom < squares.df_error
    assert found.mdc95.value == pytest.approx(1.96 * math.sqrt(2) * found.standard_error_agreement.value)
    assert found.mdc95.interval.high == pytest.approx(
        1.96 * math.sqrt(2) * found.standard_error_agreement.interval.high
    )


def test_the_root_mean_square_of_five_standard_deviations_is_not_their_mean() -> None:
    # Five SDs of a teaching page on measurement error from two measurements (R. Baker): 4.355916; their mean is 4.1.
    half = np.array([5.7, 4.2, 5.7, 2.8, 2.1]) * math.sqrt(2) / 2
    found = measurement_error(np.column_stack([50 - half, 50 + half]), unit="deg")
    assert found.within_person_standard_deviation.value == pytest.approx(4.35591551801, abs=4.4e-6)


def test_percent_forms_exist_for_positive_ratio_scores_only() -> None:
    table = scores(10, 2, 3)
    interval, ratio = measurement_error(table, unit="cm"), measurement_error(table, unit="cm", scale="ratio")
    assert interval.mdc95_percent is None
    assert "ratio scales only" in interval.reasons["mdc95_percent"]
    assert ratio.mdc95_percent.value == pytest.approx(100 * ratio.mdc95.value / table.mean())
    assert ratio.mdc95_percent.unit == "%"
    below = measurement_error(table - 60, unit="cm", scale="ratio")
    assert "not above 0" in below.reasons["mdc95_percent"]
    with pytest.raises(DesignError, match="neither"):
        measurement_error(table, unit="cm", scale="nominal")  # type: ignore[arg-type]


def test_few_retested_people_are_a_caveat() -> None:
    assert "few_retested" in measurement_error(scores(9, 2, 1), unit="cm").mdc95.caveats
    assert "few_retested" not in measurement_error(scores(10, 2, 1), unit="cm").mdc95.caveats


def test_one_analysis_serves_a_whole_stack_of_resamples() -> None:
    stack = np.stack([scores(7, 3, seed) for seed in range(5)])
    together = mean_squares(stack)
    alone = [mean_squares(table) for table in stack]
    np.testing.assert_allclose(together.error, [one.error for one in alone])
    np.testing.assert_allclose(together.people, [one.people for one in alone])


def test_results_say_themselves() -> None:
    table = scores(10, 2, 3)
    assert "10 people, 2 occasions" in intraclass_correlations(table).summary()
    assert "cm" in measurement_error(table, unit="cm").summary()
    row = intraclass_correlations(table).to_frame().iloc[0]
    assert row["icc_a_1_low"] < row["icc_a_1"] < row["icc_a_1_high"]


def test_concordance_is_pearson_times_bias_and_below_both() -> None:
    found = concordance_correlation(scores(12, 2, 5) + np.array([0.0, 3.0]))
    assert found.concordance.value == pytest.approx(found.pearson * found.bias_correction, rel=1e-12)
    assert found.concordance.interval.low < found.concordance.value < found.concordance.interval.high
    assert found.concordance.value < found.pearson


def test_the_interval_of_a_concordance_by_t_is_wider_than_the_published_one_by_the_ratio_of_the_quantiles() -> None:
    by_t, published = (concordance_correlation(scores(8, 2, 5), interval=word).concordance for word in ("t", "normal"))
    middle = math.atanh(by_t.value)
    ratio = (math.atanh(by_t.interval.high) - middle) / (math.atanh(published.interval.high) - middle)
    assert ratio == pytest.approx(2.3646242515927849 / 1.959963984540054)  # R 4.2.2, qt(0.975, 7) and qnorm(0.975)
    with pytest.raises(DesignError, match="'z' is none of t, normal"):
        concordance_correlation(scores(8, 2, 5), interval="z")  # type: ignore[arg-type]


def test_concordance_of_two_occasions_is_near_the_agreement_correlation() -> None:
    table = scores(400, 2, 6)
    agreement = intraclass_correlations(table).icc_a_1
    assert concordance_correlation(table).concordance.value == pytest.approx(agreement.value, abs=0.002)


def test_concordance_is_the_same_in_another_unit_and_order_and_turns_with_the_sign() -> None:
    table = scores(9, 2, 8)
    here, there = concordance_correlation(table), concordance_correlation(2.54 * table[:, ::-1])
    assert there.concordance.value == pytest.approx(here.concordance.value, rel=1e-12)
    assert there.concordance.interval.low == pytest.approx(here.concordance.interval.low, rel=1e-9)
    around = table - table.mean(axis=0)
    turned = concordance_correlation(around * np.array([1.0, -1.0]))
    assert turned.concordance.value == pytest.approx(-concordance_correlation(around).concordance.value, rel=1e-12)


def test_identical_scores_agree_perfectly_without_an_interval() -> None:
    found = concordance_correlation([[1, 1], [2, 2], [5, 5]])
    assert (found.concordance.value, found.concordance.interval) == (1.0, None)
    assert found.concordance.caveats == ("perfect_agreement",)


def test_a_line_that_is_no_line_of_equal_scores_is_no_perfect_agreement() -> None:
    found = concordance_correlation([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]])
    assert found.pearson == pytest.approx(1.0)
    assert found.concordance.value == pytest.approx(8 / 22)  # by hand: 2 * 4/3 / (2/3 + 8/3 + 4)
    assert found.bias_correction == pytest.approx(8 / 22)


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([[1, 2], [2, 3]], "at least 3"),
        ([[1, 2, 3], [2, 3, 4], [5, 6, 8]], "compares two"),
        ([[1, 2], [2, 2], [3, 2]], "all equal"),
        ([[1, np.nan], [2, 2], [3, 2]], "missing"),
    ],
)
def test_tables_without_a_concordance_are_refused(table: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        concordance_correlation(table)


def test_unbiased_variances_change_a_concordance_by_the_shift_alone() -> None:
    apart, same = [[1.0, 2.0], [2.0, 3.5], [4.0, 4.0], [5.0, 7.0]], [[1.0, 2.0], [2.0, 1.0], [4.0, 5.0], [5.0, 4.0]]
    other = [concordance_correlation(table, divisor="n-1").concordance.value for table in (apart, same)]
    lins = [concordance_correlation(table).concordance.value for table in (apart, same)]
    assert other[0] > lins[0]
    assert other[1] == pytest.approx(lins[1])
    with pytest.raises(DesignError, match="divisor 'n-2' is neither 'n' nor 'n-1'"):
        concordance_correlation(apart, divisor="n-2")  # type: ignore[arg-type]
