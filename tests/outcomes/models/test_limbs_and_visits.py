"""Two limbs and several visits: whose limb it is counts, a missed visit does not lose a person."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.intervals import t_interval
from outcomes.models import CAVEATS, METHODS, limb_change, mixed_model, visit_model

RNG = np.random.default_rng(21)
N = 10
PERSON, LIMB = np.repeat([f"P{i:02d}" for i in range(N)], 2), np.tile(["left", "right"], N)
CHANGE = np.repeat(1 + RNG.normal(size=N), 2) + np.tile([-0.1, 0.1], N) + 0.3 * RNG.normal(size=2 * N)

VISITS = ("week0", "week8", "week16")
WHO, WHEN = np.repeat([f"P{i:02d}" for i in range(N)], 3), np.tile(VISITS, N)
VALUE = np.repeat(50 + 3 * RNG.normal(size=N), 3) + np.tile([0.0, 0.6, 1.0], N) + 0.4 * RNG.normal(size=3 * N)


def limbs(change: object = CHANGE, person: object = PERSON, limb: object = LIMB, **options: object):
    return limb_change(change, person, limb, unit="cm", **options)  # type: ignore[arg-type]


def visits(**changed: object):
    rows = {"value": VALUE, "person": WHO, "visit": WHEN} | changed
    options = {"visits": VISITS, "compare": ("week0", "week16"), "unit": "cm"}
    return visit_model(**{**options, **rows})  # type: ignore[arg-type]


def test_with_both_limbs_of_everybody_the_model_is_the_person_mean() -> None:
    found = limbs()
    means = CHANGE.reshape(N, 2).mean(axis=1)
    assert found.modelled.value == pytest.approx(means.mean())
    expected = t_interval(means)
    for estimate in (found.modelled, found.person_means):
        assert (estimate.interval.low, estimate.interval.high) == pytest.approx((expected.low, expected.high))
    assert found.limb_difference.value == pytest.approx(CHANGE[1::2].mean() - CHANGE[0::2].mean())


def test_counting_limbs_as_people_claims_a_shorter_interval_and_says_that_it_is_wrong() -> None:
    found = limbs()
    wrong, right = found.limbs_as_people.interval, found.person_means.interval
    expected = t_interval(CHANGE)
    assert (wrong.low, wrong.high) == pytest.approx((expected.low, expected.high))
    assert wrong.high - wrong.low < 0.8 * (right.high - right.low)
    assert found.limbs_as_people.caveats[0] == "limbs_are_not_people"
    assert found.likeness.value > 0.8
    assert "would claim" in found.summary()


def test_a_person_with_one_limb_counts_in_the_model_and_not_in_the_person_means() -> None:
    kept = np.ones(2 * N, dtype=bool)
    kept[[3, 8]] = False
    found = limbs(CHANGE[kept], PERSON[kept], LIMB[kept])
    assert (found.n_people, found.n_both, found.n_limbs) == (10, 8, 18)
    fixed = np.column_stack([np.ones(18), np.where(LIMB[kept] == "right", 0.5, -0.5)])
    model = mixed_model(CHANGE[kept], fixed, PERSON[kept], names=["mean", "limb"], unit="cm")
    assert found.modelled.value == pytest.approx(model.fixed_effect("mean").estimate.value)
    assert found.person_means.n_people == 8


def test_the_order_of_limbs_and_a_shift_do_not_matter() -> None:
    order = np.random.default_rng(3).permutation(2 * N)
    mixed = limbs(CHANGE[order] + 5, PERSON[order], LIMB[order])
    assert mixed.modelled.value == pytest.approx(limbs().modelled.value + 5)
    low, high = limbs().modelled.interval.low, mixed.modelled.interval.low
    assert high == pytest.approx(low + 5, abs=1e-7)


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"limb": np.full(2 * N, "left")}, r"1 different limbs \(left\); a limb term needs values of two"),
        ({"limb": np.tile(["left", "both"], N), "person": np.repeat(["A", "B"], N)}, "2 people have a limb"),
        ({"person": np.repeat([f"P{i}" for i in range(5)], 4)}, "a limb stands twice for one person"),
        ({"change": CHANGE[:-1]}, "19 changes, 20 people and 20 limbs"),
        ({"change": np.where(np.arange(2 * N) == 2, np.nan, CHANGE)}, "change"),
    ],
)
def test_limbs_that_cannot_be_modelled_are_refused(changed: dict[str, object], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        limbs(**changed)


def test_one_limb_of_each_person_leaves_no_model_but_says_why() -> None:
    found = limbs(CHANGE[::2], PERSON[::2], np.tile(["left", "right"], N // 2))
    assert found.modelled is None
    assert "every participant has one value" in found.reasons["modelled"]
    assert found.person_means is None
    flat = limbs(np.full(2 * N, 1.5))
    assert "the same in every row" in flat.reasons["modelled"]


def test_the_change_of_complete_data_is_that_of_pairs() -> None:
    found = visits()
    pairs = VALUE[2::3] - VALUE[0::3]
    assert found.change.value == pytest.approx(pairs.mean())
    assert found.pairs.value == pytest.approx(pairs.mean())
    assert found.test.test.df[0] == 2
    assert [mean.value for mean in found.means] == pytest.approx(VALUE.reshape(N, 3).mean(axis=0))


def test_where_people_have_no_courses_of_their_own_in_the_model_it_is_said_why() -> None:
    found = visits(time=np.zeros(3 * N))
    assert not found.own_courses
    assert found.change.caveats == ("same_course_of_all",)
    assert "the same in every row" in found.reasons["own_courses"]
    assert "own_courses" not in visits().reasons  # nobody asked


def test_people_who_missed_a_visit_stay_in_the_model() -> None:
    kept = np.ones(3 * N, dtype=bool)
    kept[[2, 9, 14]] = False  # two later and one earlier value
    found = visits(value=VALUE[kept], person=WHO[kept], visit=WHEN[kept])
    assert (found.n_people, found.n_pairs, found.n_values) == (10, 7, 27)
    fixed = np.column_stack([(WHEN[kept] == name).astype(float) for name in VISITS])
    model = mixed_model(VALUE[kept], fixed, WHO[kept], names=VISITS, unit="cm")
    expected = model.contrast({"week16": 1, "week0": -1}).estimate
    assert found.change.value == pytest.approx(expected.value)
    assert found.change.interval.high == pytest.approx(expected.interval.high)
    assert found.change.caveats == ("same_course_of_all",)


def test_people_have_courses_of_their_own_where_the_data_tell_them() -> None:
    week = np.tile([0.0, 8.0, 16.0], N)
    assert visits(time=week).own_courses
    assert not visits(
        value=VALUE[week != 8], person=WHO[week != 8], visit=WHEN[week != 8], time=week[week != 8]
    ).own_courses


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"value": VALUE[:15], "person": WHO[:15], "visit": WHEN[:15]}, "5 people; a model of time needs 6"),
        ({"value": VALUE[::3], "person": WHO[::3], "visit": WHEN[::3]}, "nobody has a value at week16"),
        ({"visit": np.full(3 * N, "week0")}, "two values at one visit"),
        ({"value": np.full(3 * N, 7.0)}, "the same in every row"),
        ({"value": VALUE[1:]}, "29 values, 30 people and 30 visits"),
    ],
)
def test_visits_that_cannot_be_modelled_are_refused(changed: dict[str, object], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        visits(**changed)


def test_every_method_and_caveat_has_its_sentence() -> None:
    found, seen = limbs(), visits()
    estimates = [found.modelled, found.person_means, found.limbs_as_people, found.limb_difference, found.likeness]
    estimates += [seen.change, seen.pairs, *seen.means]
    assert all(METHODS[estimate.method] for estimate in estimates)
    said = {caveat for estimate in estimates for caveat in estimate.caveats if not is_coverage_caveat(caveat)}
    assert said <= set(CAVEATS)
