"""Curves, within-person models, prediction and origins of dose: second opinions, refusals, changes of unit."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.dose_response import (
    CAVEATS,
    METHODS,
    between_person_association,
    curve_shortlist,
    describe,
    dose_origins,
    dose_time_collinearity,
    left_out_prediction,
    repeated_measures_correlation,
    within_person_association,
)
from outcomes.errors import DesignError
from outcomes.models import mixed_model
from outcomes.result import Estimate

RNG = np.random.default_rng(11)
N = 24
FIRST = 50 + 4 * RNG.normal(size=N)
DOSE = RNG.uniform(100, 3000, size=N)
BENT = 4 * DOSE / (300 + DOSE) - 0.05 * (FIRST - 50) + 0.15 * RNG.normal(size=N)
STRAIGHT = 0.002 * DOSE - 0.1 * FIRST + RNG.normal(size=N)

PERSON = np.repeat([f"P{i:02d}" for i in range(14)], 4)
WEEK = np.tile([0.0, 4.0, 8.0, 12.0], 14)
PAUSES = np.cumsum(np.column_stack([np.zeros(14), RNG.choice([0.0, 500.0], (14, 3))]), axis=1).ravel()
VALUE = 50 + np.repeat(3 * RNG.normal(size=14), 4) + 0.001 * PAUSES + 0.02 * WEEK + 0.4 * RNG.normal(size=56)


def curves(dose: object = DOSE, change: object = BENT, **options: object):
    options = {"baseline": FIRST, "dose_unit": "min", "outcome_unit": "cm"} | options
    return curve_shortlist(dose, change, **options)  # type: ignore[arg-type]


def within(**changed: object):
    rows = {"person": PERSON, "time": WEEK, "dose": PAUSES, "outcome": VALUE} | {
        k: v for k, v in changed.items() if k in ("person", "time", "dose", "outcome")
    }
    options = {"dose_unit": "min", "per": 600.0, "outcome_unit": "cm"} | {
        k: v for k, v in changed.items() if k not in rows
    }
    return within_person_association(*rows.values(), **options)  # type: ignore[arg-type]


def test_a_bend_is_found_with_its_half_maximal_dose() -> None:
    found = curves()
    assert found.best.name == "saturating"
    assert not found.flat
    assert found.ed50 is not None
    assert found.ed50.interval.low < 300 < found.ed50.interval.high
    assert sum(curve.weight.value for curve in found.curves) == pytest.approx(1)


def test_the_ends_of_the_half_maximal_dose_are_where_the_residual_squares_reach_the_f_quantile() -> None:
    found = curves()
    limit = found.saturating.squares * (1 + 4.351243478 / 20)  # F(1, 20) quantile .95: printed table of F, 4.35
    for end in (found.ed50.interval.low, found.ed50.interval.high):
        design = np.column_stack([np.ones(N), FIRST, DOSE / (end + DOSE)])
        squares = np.sum((BENT - design @ np.linalg.lstsq(design, BENT)[0]) ** 2)
        assert squares == pytest.approx(limit, rel=1e-6)


def test_the_line_is_that_of_least_squares_with_the_first_value_held() -> None:
    design = np.column_stack([np.ones(N), DOSE, FIRST - FIRST.mean()])
    coefficients = np.linalg.lstsq(design, STRAIGHT)[0]
    found = curves(change=STRAIGHT).linear
    assert (found.start.value, found.size.value) == pytest.approx(tuple(coefficients[:2]))
    assert found.at([1000.0], offset=1.0) == pytest.approx(coefficients[0] + 1000 * coefficients[1])


def test_a_half_maximal_dose_is_refused_where_the_data_do_not_bound_it() -> None:
    assert (
        "do not bound" in curves(change=STRAIGHT).reasons["ed50"]
        or "end of what" in (curves(change=STRAIGHT).reasons["ed50"])
    )
    noise = np.random.default_rng(3).normal(size=N)
    flat = curves(change=noise)
    assert flat.ed50 is None
    assert "no better than no dose at all" in flat.reasons["ed50"]
    assert flat.flat
    assert "no dose at all has a lower AICc" in flat.summary()


def test_a_change_of_unit_of_dose_changes_no_weight_and_scales_the_half_maximal_dose() -> None:
    minutes, hours = curves(), curves(dose=DOSE / 60, dose_unit="h")
    assert hours.ed50.value == pytest.approx(minutes.ed50.value / 60, rel=1e-6)
    for a, b in zip(minutes.curves, hours.curves, strict=True):
        assert b.weight.value == pytest.approx(a.weight.value, rel=1e-6)
    shifted = curves(change=BENT + 100)
    assert shifted.ed50.value == pytest.approx(minutes.ed50.value, rel=1e-6)
    assert shifted.linear.size.value == pytest.approx(minutes.linear.size.value)


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"dose": DOSE[:9], "change": BENT[:9], "baseline": FIRST[:9]}, "9 people .* described only"),
        ({"dose": -DOSE}, "24 doses are below 0; a dose is 0 or more"),
        ({"dose": np.where(np.arange(N) < 2, 0.0, DOSE), "offset": 0.0}, "2 people have a dose of 0, which has no log"),
        ({"dose": np.full(N, 600.0)}, "everybody had the same dose; a curve needs people with different doses"),
        ({"dose": np.repeat([100.0, 200.0, 300.0], 8)}, "3 different doses; .* needs four or more"),
        ({"change": np.full(N, 2.0)}, "everybody changed by the same amount"),
        ({"change": 2 * FIRST}, "the first value explains the change without rest"),
        ({"baseline": 3 * DOSE}, "dose and first value rise together without rest"),
        ({"offset": -1.0}, "the offset of the logarithm must be 0 or more"),
        ({"change": BENT[:-1]}, "24 doses and 23 changes"),
        ({"baseline": np.where(np.arange(N) == 3, np.nan, FIRST)}, "a value to be held constant is missing"),
    ],
)
def test_a_shortlist_that_cannot_be_made_is_refused_with_its_reason(changed: dict[str, object], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        curves(**changed)


def test_within_and_between_are_those_of_the_mixed_model_with_time() -> None:
    found = within()
    mean = np.repeat(PAUSES.reshape(14, 4).mean(axis=1), 4)
    columns = np.column_stack([np.ones(56), mean / 600, (PAUSES - mean) / 600, WEEK - 6])
    model = mixed_model(
        VALUE, columns, PERSON, slope="time", names=["intercept", "between", "within", "time"], unit="cm"
    )
    for name, estimate in (("within", found.within), ("between", found.between), ("time", found.time)):
        term = model.fixed_effect(name)
        assert estimate.value == pytest.approx(term.estimate.value)
        assert estimate.interval.low == pytest.approx(term.estimate.interval.low)
    assert found.random_slope
    assert found.only_time.value == pytest.approx(found.collinearity.within_person_r.value**2)
    assert "of dose within people is only time" in found.summary()


def test_what_differs_between_people_does_not_move_the_association_within_them() -> None:
    added = np.repeat(np.linspace(-900, 900, 14), 4) + 1000
    moved = within(dose=PAUSES + added)
    ends = within().within.interval
    # 1,800 min between people moves it by less than a twentieth of its interval (people's courses weigh a little else)
    assert abs(moved.within.value - within().within.value) < 0.05 * (ends.high - ends.low)
    assert moved.between.value != pytest.approx(within().between.value, rel=0.01)


def test_a_dose_that_is_time_is_not_given_within_people_and_time_is_modelled_alone() -> None:
    steady = within(dose=100 * WEEK + np.random.default_rng(5).normal(0, 20, 56))
    assert steady.within is None
    assert "rose with time alike in everybody" in steady.reasons["within"]
    assert steady.only_time.value > 0.9
    assert steady.between is not None
    exact = within(dose=100 * WEEK)
    assert exact.within is None
    assert "cannot be told from time" in exact.reasons["within"]
    assert exact.reasons["between"] == "everybody had the same mean dose"
    assert exact.time.value == pytest.approx(exact.time_alone.value)


def test_few_people_get_a_model_of_time_without_dose_and_fewer_none() -> None:
    few = within(person=PERSON[:32], time=WEEK[:32], dose=PAUSES[:32], outcome=VALUE[:32])
    assert few.within is None
    assert few.reasons["within"] == "8 people with two values or more; fewer than 10 are described only"
    with pytest.raises(DesignError, match="5 people with two values or more; a model of time needs 6"):
        within(person=PERSON[:20], time=WEEK[:20], dose=PAUSES[:20], outcome=VALUE[:20])


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"outcome": np.full(56, 3.0)}, "the outcome is the same in every row"),
        ({"person": np.arange(56)}, "every person has one value, .* a second visit of the same people is needed"),
        ({"time": np.repeat(np.arange(14.0), 4)}, "nobody was seen at two different times"),
        ({"time": WEEK[:-1]}, "56 people, 55 times"),
        ({"per": 0.0}, "must be above 0"),
    ],
)
def test_a_within_person_model_that_cannot_be_made_is_refused(changed: dict[str, object], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        within(**changed)


def test_a_missed_visit_stays_a_missed_visit() -> None:
    kept = np.ones(56, dtype=bool)
    kept[[3, 10, 22]] = False
    found = within(person=PERSON[kept], time=WEEK[kept], dose=PAUSES[kept], outcome=VALUE[kept])
    assert (found.n_people, found.n_values) == (14, 53)


def test_the_order_of_rows_and_the_unit_of_dose_and_a_shift_do_not_matter() -> None:
    order = np.random.default_rng(2).permutation(56)
    mixed = within(person=PERSON[order], time=WEEK[order], dose=PAUSES[order], outcome=VALUE[order] + 30)
    hours = within(dose=PAUSES / 60, per=10.0, dose_unit="h")
    for other in (mixed, hours):
        for name in ("within", "between", "time"):
            assert getattr(other, name).value == pytest.approx(getattr(within(), name).value, rel=1e-6)


def test_a_perfect_correlation_within_three_people_has_no_interval_and_warns_of_nothing() -> None:
    found = repeated_measures_correlation(list("aabbcc"), [1, 2, 1, 2, 1, 2], [1, 2, 2, 3, 5, 6]).correlation
    assert found.value == pytest.approx(1)
    assert found.interval is None
    assert found.test is not None
    assert 0 < found.test.p < 1e-20


def test_repeated_measures_correlation_refuses_what_it_cannot_say() -> None:
    found = repeated_measures_correlation(PERSON, PAUSES, VALUE)
    assert found.df == 56 - 14 - 1
    assert "an association" in found.summary()
    with pytest.raises(DesignError, match="2 people with two values or more"):
        repeated_measures_correlation(PERSON[:8], PAUSES[:8], VALUE[:8])
    with pytest.raises(DesignError, match="second quantity changes within nobody"):
        repeated_measures_correlation(PERSON, PAUSES, np.repeat(np.arange(14.0), 4))
    with pytest.raises(DesignError, match="one row each"):
        repeated_measures_correlation(PERSON, PAUSES[:-1], VALUE)


def test_the_prediction_of_people_left_out_is_that_of_refitting() -> None:
    found = left_out_prediction(DOSE, STRAIGHT, FIRST, outcome_unit="cm")
    squares = {"mean": 0.0, "dose": 0.0}
    for i in range(N):
        kept = np.arange(N) != i
        design = np.column_stack([np.ones(N), DOSE, FIRST])
        coefficients = np.linalg.lstsq(design[kept], STRAIGHT[kept])[0]
        squares["dose"] += (STRAIGHT[i] - design[i] @ coefficients) ** 2
        squares["mean"] += (STRAIGHT[i] - STRAIGHT[kept].mean()) ** 2
    assert found.dose_error.value == pytest.approx((squares["dose"] / N) ** 0.5)
    assert found.mean_error.value == pytest.approx((squares["mean"] / N) ** 0.5)
    assert found.gain.value == pytest.approx(1 - squares["dose"] / squares["mean"])
    assert "better than the mean" in found.summary()


def test_scikit_learn_predicts_the_same_people_left_out() -> None:
    from sklearn.linear_model import LinearRegression
    from sklearn.model_selection import LeaveOneOut, cross_val_predict

    predicted = cross_val_predict(LinearRegression(), np.column_stack([DOSE, FIRST]), STRAIGHT, cv=LeaveOneOut())
    root = float(np.sqrt(np.mean((STRAIGHT - predicted) ** 2)))
    assert left_out_prediction(DOSE, STRAIGHT, FIRST, outcome_unit="cm").dose_error.value == pytest.approx(root)


def test_a_person_who_alone_decides_cannot_be_predicted() -> None:
    alone = np.where(np.arange(N) == 5, 1.0, 0.0)
    with pytest.raises(DesignError, match="without one of the people"):
        left_out_prediction(DOSE, STRAIGHT, FIRST, outcome_unit="cm", covariates=alone)


def test_noise_predicts_nobody() -> None:
    noise = np.random.default_rng(8).normal(size=N)
    found = left_out_prediction(DOSE, noise, FIRST, outcome_unit="cm")
    assert found.gain.value < 0
    assert "no better than the mean" in found.summary()


def test_who_did_more_is_told_by_rank_with_the_number_known() -> None:
    ages = np.where(np.arange(N) < 3, np.nan, -DOSE)
    sex = np.where(np.median(DOSE) < DOSE, "f", "m").astype(object)
    sex[0] = None
    found = dose_origins(DOSE, {"age_years": ages, "sex": sex, "grade": ["A"] * N, "few": [1.0] * 4 + [np.nan] * 20})
    assert found.ranks["age_years"].value == pytest.approx(-1)
    assert found.ranks["age_years"].n_people == 21
    assert found.ranks["sex: f"].value > 0.8
    assert found.reasons == {"grade": "everybody is alike in it", "few": "it is known of 4 people; 5 are needed"}
    with pytest.raises(DesignError, match="everybody had the same dose"):
        dose_origins(np.ones(N), {"age_years": ages})


def test_a_group_term_is_held_constant() -> None:
    group = np.repeat([0.0, 1.0], N // 2)
    change = STRAIGHT + 5 * group
    design = np.column_stack([np.ones(N), DOSE, FIRST, group])
    found = between_person_association(
        DOSE, change, FIRST, covariates=group, dose_unit="min", per=600.0, outcome_unit="cm",
        rng=np.random.default_rng(1),
    )  # fmt: skip
    assert found.slope.value == pytest.approx(600 * np.linalg.lstsq(design, change)[0][1])
    assert left_out_prediction(DOSE, change, FIRST, outcome_unit="cm", covariates=group).gain.value > 0.8


def test_every_method_and_caveat_has_its_sentence() -> None:
    shortlist, inside = curves(), within()
    few = np.arange(0, 56, 2)  # two values a person: no course of each person's own
    results = [
        shortlist, *shortlist.curves, inside, repeated_measures_correlation(PERSON, PAUSES, VALUE),
        left_out_prediction(DOSE, BENT, FIRST, outcome_unit="cm"), describe(DOSE, BENT),
        dose_time_collinearity(PERSON, WEEK, PAUSES),
        between_person_association(
            DOSE, BENT, FIRST, dose_unit="min", per=600.0, outcome_unit="cm", rng=np.random.default_rng(1)
        ),
        within(person=PERSON[few], time=WEEK[few], dose=PAUSES[few], outcome=VALUE[few]),
    ]  # fmt: skip
    estimates = [getattr(r, name) for r in results for name in r.__slots__]
    estimates = [e for e in estimates if isinstance(e, Estimate)]
    estimates += dose_origins(DOSE, {"age_years": FIRST}).ranks.values()
    assert {e.method for e in estimates} == set(METHODS)
    assert "same_course" in {c for e in estimates for c in e.caveats}
    from outcomes.models import CAVEATS as MODEL_CAVEATS

    assert {c for e in estimates for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS) | set(MODEL_CAVEATS)


def test_the_slope_within_people_is_that_of_least_squares_with_a_level_each() -> None:
    levels = np.array([[one == who for who in dict.fromkeys(PERSON)] for one in PERSON], dtype=float)
    fit = np.linalg.lstsq(np.column_stack([levels, PAUSES]), VALUE, rcond=None)[0]
    assert repeated_measures_correlation(PERSON, PAUSES, VALUE).slope == pytest.approx(fit[-1])
