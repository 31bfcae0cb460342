"""Important change: scikit-learn and statsmodels as second opinions, named ties, refusals, nothing detectable."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from sklearn.metrics import roc_auc_score, roc_curve

from outcomes.change import METHODS, distribution_based_change, important_change
from outcomes.change.roc import area_interval, best_cuts
from outcomes.errors import DesignError

DRAW = np.random.default_rng(4)
CHANGES = np.round(DRAW.normal(2, 3, 60), 0)
RATED = CHANGES + DRAW.normal(0, 3, 60) > 2


def found(changes: object = CHANGES, rated: object = RATED, **options: object):
    arguments = {"unit": "{score}", "rng": np.random.default_rng(1)} | options
    return important_change(changes, rated, **arguments)  # type: ignore[arg-type]


def test_area_and_best_sum_are_those_of_scikit_learn() -> None:
    false, true, _ = roc_curve(RATED, CHANGES, drop_intermediate=False)
    one = found()
    assert one.area.value == pytest.approx(roc_auc_score(RATED, CHANGES))
    assert one.sensitivity.value + one.specificity.value - 1 == pytest.approx(np.max(true - false))


def test_every_cut_as_good_is_named_and_the_middle_one_is_taken() -> None:
    cut, sensitivity, specificity, good = best_cuts(
        np.array([0, 1, 1, 2, 3, 2, 4, 4, 5, 6, 3, 1.0]), np.array([0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 0], dtype=bool)
    )
    # by hand: 6/6 + 4/6 at 1.5, 5/6 + 5/6 at 2.5, 4/6 + 6/6 at 3.5
    assert (cut, good) == (2.5, (1.5, 2.5, 3.5))
    assert (sensitivity, specificity) == (pytest.approx(5 / 6), pytest.approx(5 / 6))


def test_the_predicted_change_is_where_the_model_of_statsmodels_meets_the_share() -> None:
    fit = sm.Logit(RATED.astype(float), sm.add_constant(CHANGES)).fit(disp=0)
    p = RATED.mean()
    expected = (math.log(p / (1 - p)) - fit.params[0]) / fit.params[1]
    assert found().predicted.value == pytest.approx(expected, abs=1e-6)
    r = np.corrcoef(CHANGES, RATED)[0, 1]
    # Terluin et al. (2017) J Clin Epidemiol 83:90, formula from memory
    off = (0.090 + 0.103 * r) * np.std(CHANGES, ddof=1) * math.log(p / (1 - p))
    assert found().adjusted.value == pytest.approx(expected - off, abs=1e-6)


def test_an_even_share_needs_no_adjustment_and_meets_the_crossing_at_a_half() -> None:
    order = np.argsort(CHANGES)
    rated = np.isin(np.arange(60), order[30:]) ^ np.isin(np.arange(60), order[[25, 34]])
    one = found(rated=rated)
    assert one.share_important.value == 0.5
    assert one.adjusted.value == pytest.approx(one.predicted.value)


def test_the_unit_of_the_changes_is_nothing_to_the_method() -> None:
    one, other = found(), found(CHANGES * 10)
    for name in ("roc", "predicted", "adjusted"):
        small, large = getattr(one, name), getattr(other, name)
        assert large.value == pytest.approx(10 * small.value, rel=1e-6)
        assert large.interval.low == pytest.approx(10 * small.interval.low, rel=1e-6)


def test_the_mean_change_is_that_of_the_category_above_no_change() -> None:
    slightly = (CHANGES >= 1) & (CHANGES <= 3)
    one = found(slightly=slightly).mean_change
    assert one.value == pytest.approx(CHANGES[slightly].mean())
    assert one.n_people == slightly.sum()
    assert found().mean_change is None
    assert found(slightly=np.arange(60) < 3).reasons["mean_change"].startswith("3 people are")


def test_people_who_are_told_apart_wholly_have_a_cut_and_no_model() -> None:
    one = found(np.arange(20.0), np.arange(20) >= 10)
    assert one.roc.value == 9.5
    assert one.predicted is one.adjusted is None
    assert "do not overlap" in one.reasons["predicted"]
    assert one.area.value == 1
    assert one.area.interval.high == 1


@pytest.mark.parametrize(
    ("changes", "rated", "reason"),
    [
        (np.arange(20.0), np.arange(20) >= 17, "3 people have an important change"),
        (np.arange(20.0), np.arange(20) >= 1, "1 person has no important change"),
        (np.ones(20), np.arange(20) >= 10, "same amount"),
        (np.arange(20.0), np.arange(19) >= 10, "lengths differ"),
        (np.arange(20.0), np.arange(20), "true or false"),
        ([math.nan, *range(19)], np.arange(20) >= 10, "missing"),
        (np.arange(20.0), ["yes"] * 10 + ["no"] * 10, "true or false"),
        (np.arange(20.0), [None] + [True] * 19, "missing"),
    ],
)
def test_what_has_no_answer_is_refused(changes: object, rated: object, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        found(changes, rated)


def test_the_same_seed_gives_the_same_intervals() -> None:
    assert found() == found()


def test_no_detectable_change_stands_in_what_is_called_important() -> None:
    names = [name for name in METHODS if name.startswith(("important", "roc", "share_important", "half", "one_"))]
    assert len(names) >= 8
    assert not [name for name in names if "detectable" in METHODS[name] or "mdc" in METHODS[name].lower()]
    assert not [name for name in found().__slots__ if "mdc" in name]


def test_two_people_of_each_kind_are_needed_for_an_interval_of_the_area() -> None:
    with pytest.raises(DesignError, match="two people"):
        area_interval(np.array([1.0, 2.0, 3.0]), np.array([True, False, False]))


@pytest.mark.parametrize("turned", [False, True])
def test_an_area_at_its_bound_has_a_one_sided_interval_by_the_smaller_kind(turned: bool) -> None:
    values, flag = np.arange(8.0), np.arange(8) >= 5
    z2 = 1.959963984540054**2
    found = area_interval(values, ~flag if turned else flag)
    ends = (found.low, found.high)
    assert ends == pytest.approx((0, z2 / (3 + z2)) if turned else (3 / (3 + z2), 1))
    assert area_interval(values, flag, interval="delong") is None


def test_an_area_of_ties_alone_has_no_interval() -> None:
    assert area_interval(np.ones(6), np.arange(6) >= 3) is None


def test_an_interval_of_the_area_that_is_none_is_refused() -> None:
    with pytest.raises(DesignError, match="'wald' of an area is none of logit, delong"):
        found(interval="wald")


def test_a_size_without_an_anchor_needs_spread() -> None:
    with pytest.raises(DesignError, match="all equal"):
        distribution_based_change([3, 3, 3], unit="cm")
    alone = distribution_based_change([3, 4, 6], unit="cm")
    assert alone.one_standard_error is None
    assert alone.reason == "no standard error of measurement was given"


def test_a_resample_whose_logistic_steps_run_away_has_no_value_and_warns_of_nothing() -> None:
    from outcomes.change.anchored import _predicted_rows

    changes = np.array([[0.0, 0.1, 0.2, 0.1, 0.0, 0.0, 0.0, 0.9, 0.2, 1.0, 0.3, 0.0]])
    assert np.isnan(_predicted_rows(changes, changes == 0.9)).all()
    both = np.vstack([changes, changes])
    rated = np.vstack([changes[0] == 0.9, np.arange(12) % 2 == 0])
    assert np.isfinite(_predicted_rows(both, rated)).tolist() == [False, True]
