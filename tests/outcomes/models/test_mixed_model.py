"""The mixed model from outside: optimum, boundary, contrasts and units, intervals, people left out, refusals."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.models import CAVEATS, METHODS, MixedModel, mixed_model
from outcomes.result import Estimate

DATA = Path(__file__).parents[2] / "published" / "data"
SLEEP = pd.read_csv(DATA / "sleepstudy.csv")
TEETH = pd.read_csv(DATA / "orthodont.csv")
GAPS = TEETH[np.arange(1, len(TEETH) + 1) % 5 != 0]


def sleep(**options: Any) -> MixedModel:
    fixed = np.column_stack([np.ones(len(SLEEP)), SLEEP["day"]])
    given: dict[str, Any] = {"names": ["intercept", "day"], "unit": "ms", "term_units": ["1", "d"]} | options
    return mixed_model(SLEEP["reaction_ms"], fixed, SLEEP["participant"], **given)


def teeth(table: pd.DataFrame, **options: Any) -> MixedModel:
    female, age = (table["sex"] == "Female").to_numpy(float), table["age_years"].to_numpy(float)
    fixed = np.column_stack([np.ones(len(table)), age, female, age * female])
    names = ["intercept", "age", "female", "age_female"]
    return mixed_model(table["distance_mm"], fixed, table["participant"], names=names, unit="mm", **options)


def covariance(model: MixedModel) -> np.ndarray:
    a, b, r = model.intercept_sd.value, model.slope_sd.value, model.correlation.value  # type: ignore[union-attr]
    return np.array([[a * a, r * a * b], [r * a * b, b * b]])  # type: ignore[operator]


class TestOptimum:
    def test_a_balanced_random_slope_model_has_its_closed_form(self) -> None:
        """The covariance of the people's own least-squares lines less σ²(Z'Z)⁻¹; σ² pooled (balanced REML = ANOVA)."""
        y = SLEEP["reaction_ms"].to_numpy().reshape(18, 10)
        z = np.column_stack([np.ones(10), np.arange(10.0)])
        lines = np.linalg.lstsq(z, y.T, rcond=None)[0].T
        variance = float(np.sum((y - lines @ z.T) ** 2)) / (18 * 8)
        between = np.cov(lines.T) - variance * np.linalg.inv(z.T @ z)
        found = sleep(slope="day")
        assert found.residual_sd.value**2 == pytest.approx(variance, rel=1e-10)
        assert covariance(found) == pytest.approx(between, rel=1e-8)

    def test_a_balanced_random_intercept_model_has_its_closed_form(self) -> None:
        dye = pd.read_csv(DATA / "dyestuff.csv")
        y = dye["yield_g"].to_numpy(float).reshape(6, 5)
        within = float(np.sum((y - y.mean(axis=1, keepdims=True)) ** 2)) / 24
        between = float(np.var(y.mean(axis=1), ddof=1)) - within / 5
        found = mixed_model(dye["yield_g"], np.ones(30), dye["batch"], names=["mean"], unit="g")
        assert found.residual_sd.value**2 == pytest.approx(within, rel=1e-11)
        assert found.intercept_sd.value**2 == pytest.approx(between, rel=1e-11)

    @pytest.mark.parametrize("method", ["REML", "ML"])
    def test_the_score_equations_of_an_unbalanced_model_hold(self, method: str) -> None:
        """tr(P V_a) = y'P V_a P y under REML, tr(V⁻¹ V_a) = y'P V_a P y under ML, with the whole n x n matrices."""
        found = teeth(GAPS, slope="age", method=method)
        female, age = (GAPS["sex"] == "Female").to_numpy(float), GAPS["age_years"].to_numpy(float)
        x = np.column_stack([np.ones(len(GAPS)), age, female, age * female])
        same = GAPS["participant"].to_numpy()[:, None] == GAPS["participant"].to_numpy()
        z = np.column_stack([np.ones(len(GAPS)), age])
        v = same * (z @ covariance(found) @ z.T) + found.residual_sd.value**2 * np.eye(len(GAPS))
        inverse = np.linalg.inv(v)
        p = inverse - inverse @ x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
        py = p @ GAPS["distance_mm"].to_numpy()
        for part in (same * 1.0, same * (age[:, None] + age), same * np.outer(age, age), np.eye(len(GAPS))):
            trace = float(np.sum((p if method == "REML" else inverse) * part))
            assert float(py @ part @ py) == pytest.approx(trace, rel=1e-8)

    def test_no_variance_between_people_gives_least_squares_and_says_so(self) -> None:
        dye = pd.read_csv(DATA / "dyestuff2.csv")
        found = mixed_model(dye["yield_g"], np.ones(30), dye["batch"], names=["mean"], unit="g", df="satterthwaite")
        mean = found.fixed_effects[0]
        assert found.intercept_sd.value == 0.0
        assert "estimated as 0" in found.boundary
        assert found.boundary in found.summary()
        assert mean.estimate.caveats == ("no_difference_between_people",)
        assert mean.df == pytest.approx(29, rel=1e-12)
        assert mean.standard_error == pytest.approx(dye["yield_g"].std() / math.sqrt(30), rel=1e-12)
        assert found.variance_intervals().intercept_sd.interval.low == 0.0  # type: ignore[union-attr]

    def test_intercepts_and_slopes_on_one_line_are_a_result_in_words(self) -> None:
        found = teeth(TEETH[TEETH["age_years"] >= 10], slope="age")
        assert "on one line" in found.boundary
        assert abs(found.correlation.value) == pytest.approx(1, abs=1e-12)  # type: ignore[union-attr, arg-type]
        assert "one_line_between_people" in found.residual_sd.caveats

    @pytest.mark.parametrize("ratio", [1, 1e2, 1e4, 1e6])
    def test_people_far_apart_cost_no_digits(self, ratio: float) -> None:
        rng = np.random.default_rng(3)
        people, week = np.repeat(np.arange(6), 5), np.tile(np.arange(5.0), 6)
        y = ratio * (rng.normal(size=6)[people] + rng.normal(size=6)[people] * week) + rng.normal(size=30)
        found = mixed_model(
            y, np.column_stack([np.ones(30), week]), people, slope="week", names=["i", "week"], unit="cm"
        )
        z = np.column_stack([np.ones(5), np.arange(5.0)])
        lines = np.linalg.lstsq(z, y.reshape(6, 5).T, rcond=None)[0].T
        variance = float(np.sum((y.reshape(6, 5) - lines @ z.T) ** 2)) / 18
        between = np.cov(lines.T) - variance * np.linalg.inv(z.T @ z)
        assert found.residual_sd.value**2 == pytest.approx(variance, rel=1e-8)
        assert covariance(found) == pytest.approx(between, rel=1e-8)
        assert [term.df for term in found.fixed_effects] == pytest.approx([5, 5], rel=1e-8)

    def test_terms_without_an_intercept_are_those_given(self) -> None:
        """The generalised least-squares equations X'V⁻¹(y - Xβ) = 0, and the score of σ², with the whole matrices."""
        x, y = SLEEP["day"].to_numpy(float)[:, None], SLEEP["reaction_ms"].to_numpy()
        found = mixed_model(y, x, SLEEP["participant"], names=["day"], unit="ms")
        same = (SLEEP["participant"].to_numpy()[:, None] == SLEEP["participant"].to_numpy()) * 1.0
        inverse = np.linalg.inv(same * found.intercept_sd.value**2 + found.residual_sd.value**2 * np.eye(180))
        left = y - x[:, 0] * found.fixed_effects[0].estimate.value
        assert float(x[:, 0] @ inverse @ left) == pytest.approx(0, abs=1e-8)
        assert float(left @ inverse @ left) == pytest.approx(179, rel=1e-9)
        assert found.intercept_sd.value > 200  # type: ignore[operator]

    def test_means_of_cells_are_the_same_model_as_an_intercept_and_a_difference(self) -> None:
        female = (GAPS["sex"] == "Female").to_numpy(float)
        options: dict[str, Any] = {"unit": "mm", "group": GAPS["participant"], "outcome": GAPS["distance_mm"]}
        cells = mixed_model(fixed=np.column_stack([1 - female, female]), names=["male", "female"], **options)
        usual = mixed_model(fixed=np.column_stack([1 + 0 * female, female]), names=["male", "more"], **options)
        assert cells.deviance == pytest.approx(usual.deviance, abs=1e-9)
        difference = cells.contrast([-1, 1])
        assert difference.t == pytest.approx(usual.fixed_effect("more").t, rel=1e-9)
        assert difference.df == pytest.approx(usual.fixed_effect("more").df, rel=1e-9)

    def test_variances_that_lose_all_digits_are_refused_for_their_likely_cause(self) -> None:
        rng = np.random.default_rng(0)
        people, week = np.repeat(np.arange(3), 3), np.tile(np.arange(3.0), 3)
        y = 1e6 * (rng.normal(size=3)[people] + rng.normal(size=3)[people] * week) + rng.normal(size=9)
        fixed = np.column_stack([np.ones(9), week, people == 2])
        with pytest.raises(DesignError, match="wrong unit"):
            mixed_model(y, fixed, people, slope="week", names=["intercept", "week", "group"], unit="cm")


class TestTerms:
    def test_a_term_carries_the_unit_of_the_outcome_per_that_of_its_column(self) -> None:
        found = sleep(slope="day")
        assert [term.estimate.unit for term in found.fixed_effects] == ["ms", "ms/d"]
        assert (found.intercept_sd.unit, found.slope_sd.unit, found.correlation.unit) == ("ms", "ms/d", "1")  # type: ignore[union-attr]
        per = sleep(term_units=["1", "m/s"]).fixed_effect("day").estimate.unit
        assert per == "ms/(m/s)"

    def test_a_contrast_of_one_term_is_that_term(self) -> None:
        found = sleep(slope="day")
        assert found.contrast({"day": 1.0}, name="day") == found.fixed_effect("day")

    def test_a_contrast_scales_with_its_weights(self) -> None:
        found = sleep(slope="day")
        nine = found.contrast([0.0, 9.0], unit="ms", name="nine days")
        assert nine.estimate.value == pytest.approx(9 * found.fixed_effects[1].estimate.value)
        assert (nine.df, nine.p) == pytest.approx((found.fixed_effects[1].df, found.fixed_effects[1].p))
        assert nine.estimate.unit == "ms"
        assert nine.summary().startswith("nine days: 94.2 ms (64.9 to 124), t(17.0) = 6.77")

    def test_a_contrast_against_its_own_value_has_p_1(self) -> None:
        found = sleep()
        assert found.contrast({"day": 1}, null=found.fixed_effect("day").estimate.value).p == 1.0  # type: ignore[arg-type]

    def test_a_sum_of_terms_of_different_units_needs_its_unit(self) -> None:
        found = sleep(slope="day")
        with pytest.raises(DesignError, match="different units"):
            found.contrast({"intercept": 1, "day": 9})
        assert found.contrast({"intercept": 1, "day": 9}, unit="ms").estimate.unit == "ms"

    def test_an_f_of_one_term_is_the_square_of_its_t(self) -> None:
        for df in ("kenward_roger", "satterthwaite"):
            found = teeth(GAPS, slope="age", df=df)
            one, term = found.f_test(["female"]), found.fixed_effect("female")
            assert (one.statistic, one.df_denominator, one.p) == pytest.approx((term.t**2, term.df, term.p), rel=1e-9)

    def test_an_f_does_not_depend_on_how_its_rows_are_written(self) -> None:
        found = teeth(GAPS, slope="age")
        first, second = found.f_test(["female", "age_female"]), found.f_test([[0, 0, 1, 0], [0, 0, 3, -2]])
        assert second.statistic == pytest.approx(first.statistic, rel=1e-9)
        assert second.df_denominator == pytest.approx(first.df_denominator, rel=1e-9)

    @pytest.mark.parametrize(
        ("call", "reason"),
        [
            (lambda m: m.contrast({"week": 1}), "no fixed term 'week'"),
            (lambda m: m.contrast({"day": 0}), "not all 0"),
            (lambda m: m.contrast([1.0]), "1 weights for 2"),
            (lambda m: m.contrast({"day": math.nan}), "must be numbers"),
            (lambda m: m.f_test([[1, 0], [2, 0]]), "follows from the others"),
            (lambda m: m.f_test([]), "follows from|weights"),
            (lambda m: m.f_test(["week"]), "no fixed term"),
            (lambda m: m.contrast({"day": 1}, df="residual"), "neither"),
            (lambda m: m.variance_intervals(level=95), "does not exist"),
        ],
    )
    def test_a_question_that_has_no_answer_is_refused(self, call: Any, reason: str) -> None:
        with pytest.raises(DesignError, match=reason):
            call(sleep(slope="day"))

    def test_kenward_roger_is_refused_under_ml_and_satterthwaite_taken(self) -> None:
        found = sleep(slope="day", method="ML")
        assert found.df == "satterthwaite"
        with pytest.raises(DesignError, match="REML only"):
            found.contrast({"day": 1}, df="kenward_roger")


class TestDiagnostics:
    def test_leaving_one_out_is_the_model_of_the_others(self) -> None:
        whole = teeth(GAPS, slope="age").leave_one_out()
        for place in (0, 13, 26):
            other = teeth(GAPS[GAPS["participant"] != whole.people[place]], slope="age")
            values = [term.estimate.value for term in other.fixed_effects]
            assert whole.coefficients[place] == pytest.approx(values, rel=1e-7)
            assert whole.residual_sd[place] == pytest.approx(other.residual_sd.value, rel=1e-7)
            assert whole.intercept_sd[place] == pytest.approx(other.intercept_sd.value, rel=1e-6)

    def test_the_range_and_the_most_influential_person_are_told(self) -> None:
        found = sleep(slope="day").leave_one_out()
        table = found.table()
        assert len(table) == 18
        assert found.lowest["day"].value == table["day"].min()
        assert found.most_influential == table.loc[table["cooks_distance"].idxmax(), "participant"]
        assert f"({found.most_influential})" in found.summary()

    def test_a_person_without_whom_nothing_can_be_estimated_is_named(self) -> None:
        rng = np.random.default_rng(2)
        people = np.repeat(["a", "b", "c", "d", "e"], 4)
        fixed = np.column_stack([np.ones(20), people == "e"])
        found = mixed_model(rng.normal(size=20), fixed, people, names=["intercept", "e"], unit="cm").leave_one_out()
        assert list(found.reasons) == ["e"]
        assert "cannot be told apart" in found.reasons["e"]
        assert found.people == ("a", "b", "c", "d")
        assert "not estimable without e" in found.summary()

    def test_residuals_and_fitted_values_add_up_in_the_order_of_the_rows(self) -> None:
        mixed = GAPS.sample(frac=1, random_state=4)
        plain, shuffled = teeth(GAPS, slope="age").residuals(), teeth(mixed, slope="age").residuals()
        assert plain.fitted + plain.residual == pytest.approx(GAPS["distance_mm"].to_numpy())
        again = pd.Series(shuffled.residual, index=mixed.index).loc[GAPS.index]
        assert again.to_numpy() == pytest.approx(plain.residual, abs=1e-8)
        assert sum(plain.intercepts) == pytest.approx(0, abs=1e-8)

    def test_standardised_residuals_have_the_length_that_the_model_says(self) -> None:
        """Under REML the generalised residual sum of squares is σ²(n - p), so the standardised ones sum to n - p."""
        found = teeth(GAPS, slope="age").residuals()
        assert float(found.standardised @ found.standardised) == pytest.approx(len(GAPS) - 4, rel=1e-9)

    def test_intervals_of_the_variances_lie_about_them_and_widen_with_the_level(self) -> None:
        found = teeth(GAPS, slope="age")
        narrow, wide = found.variance_intervals(level=0.8), found.variance_intervals()
        for part in ("intercept_sd", "slope_sd", "correlation", "residual_sd"):
            value = getattr(found, part).value
            inner, outer = getattr(narrow, part).interval, getattr(wide, part).interval
            assert outer.low <= inner.low <= value <= inner.high <= outer.high
        assert wide.correlation.interval.high < 0  # type: ignore[union-attr]

    def test_a_correlation_that_the_likelihood_does_not_bound_says_so(self) -> None:
        correlation = teeth(TEETH[TEETH["age_years"] >= 10], slope="age").variance_intervals().correlation
        assert correlation.interval.low == -1.0  # type: ignore[union-attr]
        assert correlation.interval.high == 1.0  # type: ignore[union-attr]
        assert "profile_open" in correlation.caveats  # type: ignore[union-attr]

    def test_an_interval_ends_where_the_likelihood_says(self) -> None:
        """Where the deviance of a model with the standard deviation held is 3.8415 above the smallest."""
        found = sleep()
        interval = found.variance_intervals().intercept_sd.interval
        y = SLEEP["reaction_ms"].to_numpy()
        x = np.column_stack([np.ones(180), SLEEP["day"]])
        same = (SLEEP["participant"].to_numpy()[:, None] == SLEEP["participant"].to_numpy()) * 1.0

        def deviance(between: float, within: float) -> float:
            v = between**2 * same + within**2 * np.eye(180)
            inverse = np.linalg.inv(v)
            information = x.T @ inverse @ x
            left = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
            logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
            return float(logs + left @ inverse @ left + 178 * math.log(2 * math.pi))

        from scipy.optimize import minimize_scalar

        assert deviance(found.intercept_sd.value, found.residual_sd.value) == pytest.approx(found.deviance, abs=1e-7)  # type: ignore[arg-type]
        for end in (interval.low, interval.high):  # type: ignore[union-attr]
            best = minimize_scalar(lambda s, end=end: deviance(end, s), bounds=(20, 45), method="bounded")
            assert best.fun - found.deviance == pytest.approx(3.841458820694124, abs=1e-5)


class TestResults:
    def test_every_method_and_caveat_has_its_sentence(self) -> None:
        small = SLEEP[SLEEP["participant"].isin(SLEEP["participant"].unique()[:4])]
        x = np.column_stack([np.ones(len(small)), small["day"]])
        for options in ({}, {"df": "satterthwaite"}, {"method": "ML"}):
            found = mixed_model(
                small["reaction_ms"], x, small["participant"], slope="day", names=["i", "day"], unit="ms", **options
            )
            intervals, criteria = found.variance_intervals(), found.information_criteria()
            left = found.leave_one_out()
            parts = [*(t.estimate for t in found.fixed_effects), found.intercept_sd, found.residual_sd]
            parts += [intervals.intercept_sd, intervals.residual_sd, criteria.aic, *left.lowest.values()]
            assert {one.method for one in parts} | {found.f_test(["day"]).method} <= set(METHODS)
            assert {caveat for one in parts for caveat in one.caveats if not is_coverage_caveat(caveat)} <= set(CAVEATS)
            assert "few_people" in found.residual_sd.caveats

    def test_numbers_are_plain_and_the_frame_has_one_row(self) -> None:
        found = sleep(slope="day")
        assert type(found.deviance) is float
        assert isinstance(found.slope_sd, Estimate)
        assert type(found.slope_sd.value) is float
        frame = found.to_frame()
        assert len(frame) == 1
        assert {"intercept_sd", "residual_sd", "deviance", "boundary"} <= set(frame.columns)

    def test_aicc_is_left_out_where_there_are_too_few_values(self) -> None:
        y, people = np.array([1.0, 2.0, 2.5, 4.0]), ["a", "a", "b", "b"]
        found = mixed_model(y, np.ones(4), people, names=["mean"], unit="cm").information_criteria()
        assert found.n_parameters == 3
        assert found.aicc is None

    def test_a_probability_below_every_double_is_not_0(self) -> None:
        rng = np.random.default_rng(5)
        people, week = np.repeat(np.arange(30), 40), np.tile(np.arange(40.0), 30)
        y = 1e6 * week + rng.normal(size=1200) + rng.normal(size=30).repeat(40)
        found = mixed_model(y, np.column_stack([np.ones(1200), week]), people, names=["i", "week"], unit="cm")
        assert 0 < found.fixed_effect("week").p < 1e-300


PEOPLE = np.repeat(np.arange(8), 4)
WEEK = np.tile(np.arange(4.0), 8)
ONE = np.ones(32)
NOISE = np.random.default_rng(1).normal(size=32)
OWN = np.random.default_rng(6).normal(size=(2, 8))
REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "a flat outcome": ({"outcome": ONE}, "the same in every row"),
    "an outcome that the terms explain": ({"outcome": 2 * WEEK + 1}, "without rest"),
    "people without variation within": ({"outcome": OWN[0][PEOPLE]}, "residual variance is 0"),
    "people on lines of their own": ({"outcome": OWN[0][PEOPLE] + OWN[1][PEOPLE] * WEEK, "slope": "week"}, "is 0"),
    "collinear terms": (
        {"fixed": np.column_stack([ONE, WEEK, 2 * WEEK + 1]), "names": ["i", "week", "day"]},
        "'i', 'week' and 'day' cannot be told apart",
    ),
    "a column of zeros": ({"fixed": np.column_stack([ONE, 0 * ONE])}, "'week' is 0 in every row"),
    "one value per person": ({"group": np.arange(32)}, "every participant has one value"),
    "two values per person for a slope": (
        {"group": np.arange(32) // 2, "slope": "week"},
        "some need three or more",
    ),
    "a slope on a constant": ({"slope": 3 * ONE}, "the same in every row"),
    "everybody at one value of the slope": ({"slope": PEOPLE * 1.0}, "fewer than two participants"),
    "one participant": ({"group": ["a"] * 32}, "one participant"),
    "terms that use up the people": (
        {"fixed": np.column_stack([WEEK, *(j == PEOPLE for j in range(8))]), "names": list("abcdefghi")},
        "cannot be told apart beside",
    ),
    "more terms than values": (
        {"outcome": NOISE[:4], "fixed": NOISE[:20].reshape(4, 5), "group": [1, 1, 2, 2], "names": list("abcde")},
        "4 values for 5 fixed terms",
    ),
    "a missing value": ({"outcome": np.where(WEEK == 2, np.nan, NOISE)}, "8 of 32 values missing"),
    "an infinite value": ({"outcome": np.where(WEEK == 2, np.inf, NOISE)}, "infinite"),
    "words": ({"outcome": ["a"] * 32}, "not all numbers"),
    "a row without participant": ({"group": [""] + ["a", "b"] * 15 + ["a"]}, "no participant"),
    "columns of different lengths": ({"group": PEOPLE[:30]}, "32 values of the outcome and 30 of group"),
    "too few names": ({"names": ["week"]}, "1 names for 2 columns"),
    "two equal names": ({"names": ["week", "week"]}, "the same name"),
    "a slope that is no column": ({"slope": "day"}, "'day' is no column"),
    "too few units": ({"term_units": ["1"]}, "1 units for 2"),
    "an unknown method": ({"method": "MINQUE"}, "neither 'REML' nor 'ML'"),
    "an unknown df": ({"df": "residual"}, "neither"),
    "a level in percent": ({"level": 95}, "does not exist"),
    "nothing": ({"outcome": [], "fixed": np.zeros((0, 2)), "group": []}, "0 values"),
}  # fmt: skip


@pytest.mark.parametrize(("changed", "reason"), REFUSED.values(), ids=list(REFUSED))
def test_a_design_that_cannot_be_estimated_is_refused_in_words(changed: dict[str, Any], reason: str) -> None:
    given: dict[str, Any] = {"outcome": NOISE, "fixed": np.column_stack([ONE, WEEK]), "group": PEOPLE}
    given |= {"names": ["intercept", "week"], "unit": "cm"} | changed
    with pytest.raises(DesignError, match=reason):
        mixed_model(given.pop("outcome"), given.pop("fixed"), given.pop("group"), **given)
