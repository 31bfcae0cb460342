"""The marginal model: second opinion of statsmodels, ids that are no people, decided edges, what holds for any data."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from outcomes.errors import DesignError
from outcomes.models import marginal_model
from outcomes.models.marginal import MarginalModel

DRAW = np.random.default_rng(11)
WHO = np.repeat(np.arange(20), 3)
VISIT = [1, 2, 3] * 20
TRAINED = (WHO % 2).astype(float)
FIXED = np.column_stack([np.ones(60), TRAINED, VISIT])
OUTCOME = np.round(5 + TRAINED + np.repeat(DRAW.normal(size=20), 3) + DRAW.normal(size=60), 1)
GOOD = (OUTCOME > 5.4).astype(float)
NAMES = ["start", "trained", "visit"]


def fitted(**changed: Any) -> MarginalModel:
    arguments: dict[str, Any] = {
        "outcome": OUTCOME, "fixed": FIXED, "people": WHO, "visits": VISIT, "names": NAMES, "family": "normal",
    }  # fmt: skip
    return marginal_model(**{**arguments, **changed})


@pytest.mark.parametrize("family", ["normal", "binary"])
@pytest.mark.parametrize(("sandwich", "theirs"), [("cr0", "robust"), ("cr3", "bias_reduced")])
@pytest.mark.parametrize("likeness", ["exchangeable", "independence"])
def test_the_uncorrected_and_the_left_out_sandwich_are_those_of_statsmodels(
    family: str, sandwich: str, theirs: str, likeness: str
) -> None:
    y = OUTCOME if family == "normal" else GOOD
    kind = sm.families.Gaussian() if family == "normal" else sm.families.Binomial()
    working = sm.cov_struct.Exchangeable() if likeness == "exchangeable" else sm.cov_struct.Independence()
    other = sm.GEE(y, FIXED, groups=WHO, family=kind, cov_struct=working).fit(cov_type=theirs, ctol=1e-10, maxiter=200)
    found = fitted(outcome=y, family=family, sandwich=sandwich, likeness=likeness)
    for term, value, error in zip(found.terms, other.params, other.bse, strict=True):
        assert term.estimate.value == pytest.approx(value)
        assert term.standard_error == pytest.approx(error)
        assert math.isinf(term.df) == (sandwich == "cr0")


def test_in_a_balanced_comparison_of_two_groups_cr2_is_the_t_test_of_the_peoples_means() -> None:
    # one mean a person: CR2 and Satterthwaite are those of two groups of people, equal numbers give n - 2
    found = fitted(fixed=FIXED[:, :2], names=NAMES[:2]).term("trained")
    means = OUTCOME.reshape(20, 3).mean(axis=1)
    first, second = means[1::2], means[::2]
    assert found.estimate.value == pytest.approx(first.mean() - second.mean())
    assert found.standard_error == pytest.approx(math.sqrt(first.var(ddof=1) / 10 + second.var(ddof=1) / 10))
    assert found.df == pytest.approx(18)


def test_each_correction_widens_the_one_before() -> None:
    errors = [fitted(sandwich=one).term("trained").standard_error for one in ("cr0", "cr1", "cr2", "cr3")]
    assert errors == sorted(errors)


@pytest.mark.parametrize("family", ["normal", "binary"])
def test_order_of_rows_and_names_of_people_are_nothing(family: Any) -> None:
    y = OUTCOME if family == "normal" else GOOD
    there, order = fitted(outcome=y, family=family), np.random.default_rng(2).permutation(60)
    back = fitted(
        outcome=y[order], fixed=FIXED[order], people=[f"p{99 - i}" for i in WHO[order]],
        visits=[VISIT[i] for i in order], family=family,
    )  # fmt: skip
    for a, b in zip(there.terms, back.terms, strict=True):
        assert b.estimate.value == pytest.approx(a.estimate.value)
        assert (b.standard_error, b.df) == pytest.approx((a.standard_error, a.df))


def test_the_unit_scales_and_turning_a_column_turns_its_coefficient() -> None:
    there = fitted(unit="cm").term("trained")
    mm = fitted(outcome=10 * OUTCOME, unit="mm").term("trained")
    turned = fitted(fixed=np.column_stack([np.ones(60), 1 - TRAINED, VISIT])).term("trained")
    assert (mm.estimate.value, mm.standard_error) == pytest.approx(
        (10 * float(there.estimate.value), 10 * there.standard_error)
    )  # type: ignore[arg-type]
    assert (turned.estimate.value, turned.df) == pytest.approx((-float(there.estimate.value), there.df))  # type: ignore[arg-type]
    assert there.estimate.unit == "cm"


def test_several_columns_together_name_a_person() -> None:
    centre, own = WHO // 10, WHO % 10
    found = fitted(people=np.column_stack([centre, own]))
    assert found.n_people == 20
    assert found.term("visit").standard_error == pytest.approx(fitted().term("visit").standard_error)
    with pytest.raises(DesignError, match="two values of person 0 at visit 1: the ids name 10 people for 60 rows"):
        fitted(people=own)


def test_ids_across_which_the_group_changes_are_no_people() -> None:
    apart = [f"{visit} {who // 10}" for visit, who in zip(VISIT, WHO, strict=True)]
    with pytest.raises(DesignError, match="'trained' changes within a person, which it cannot: the 6 ids"):
        fitted(people=apart, visits=list(range(60)), constant=["trained"])


def test_the_sentence_names_coefficient_interval_and_people() -> None:
    said = fitted(unit="cm").summary()
    assert said.startswith("start: ")
    assert "trained: " in said
    assert said.endswith("(marginal model, CR2, 60 values of 20 people)")
    assert "z = " in fitted(sandwich="cr0").term("visit").summary()


FEW = np.array([0, 0, 1, 1, 2, 2])
BY_GROUP, GROUPS = np.column_stack([TRAINED, 1 - TRAINED]), ["trained", "waiting"]


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"outcome": []}, "outcome: 0 values"),
        ({"outcome": ["x"] * 60}, "outcome are not all numbers"),
        ({"outcome": [*OUTCOME[:-1], math.nan]}, "1 of 60 values missing"),
        ({"outcome": [*OUTCOME[:-1], math.inf]}, "an infinite value"),
        ({"outcome": [3.0] * 60}, "all values of the outcome are equal"),
        ({"outcome": 2 + 3 * TRAINED}, "no spread about the model"),
        ({"family": "binary"}, "a binary outcome is 0 or 1"),
        ({"outcome": GOOD, "family": "binary", "unit": "cm"}, "a log odds ratio has no unit"),
        ({"outcome": TRAINED, "family": "binary"}, "predict some values without error|no bound"),
        ({"fixed": FIXED[:-1]}, "need 60 rows and a column for each of 3 names"),
        ({"fixed": FIXED[:, :2]}, "a column for each of 3 names"),
        ({"fixed": [["a"] * 3] * 60}, "columns of the model are not all numbers"),
        ({"fixed": np.where(FIXED == 3, np.nan, FIXED)}, "missing or an infinite value"),
        ({"fixed": np.column_stack([FIXED[:, :2], 1 - TRAINED])}, "depend on each other"),
        ({"people": WHO[:-1]}, "60 values need one id each"),
        ({"people": ["", *WHO[1:]]}, "a row has no id"),
        ({"people": [None, *WHO[1:]]}, "a row has no id"),
        ({"people": [math.nan, *WHO[1:]]}, "a row has no id"),
        ({"visits": VISIT[:-1]}, "60 values and 59 visits"),
        ({"constant": ["group"]}, "no column 'group'"),
        ({"likeness": "alike"}, "'alike' is none of exchangeable, independence"),
        ({"sandwich": "cr4"}, "'cr4' is none of cr0, cr1, cr2, cr3"),
        ({"family": "poisson"}, "'poisson' is none of normal, binary"),
        ({"level": 0}, "does not exist"),
        (
            {"outcome": OUTCOME[:6], "fixed": FIXED[:6], "people": FEW, "visits": [1, 2] * 3},
            "3 people are too few for 3 coefficients",
        ),
        ({"people": np.arange(60)}, "too few people have two values"),
        (
            {"outcome": np.where(TRAINED == 1, 4.0, OUTCOME), "fixed": BY_GROUP, "names": GROUPS},
            "do not spread about 'trained' at all",
        ),
    ],
)
def test_what_cannot_be_fitted_is_refused(changed: dict[str, Any], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        fitted(**changed)


def test_one_value_a_person_is_least_squares_with_the_sandwich_of_persons() -> None:
    found = fitted(people=np.arange(60), likeness="independence", sandwich="cr3")
    other = sm.OLS(OUTCOME, FIXED).fit(cov_type="HC3")
    assert [one.standard_error for one in found.terms] == pytest.approx(list(other.bse))
    half = fitted(people=np.arange(60), likeness="independence", sandwich="cr2")
    assert [one.standard_error for one in half.terms] == pytest.approx(
        list(sm.OLS(OUTCOME, FIXED).fit(cov_type="HC2").bse)
    )


@pytest.mark.parametrize("sandwich", ["cr0", "cr1", "cr2", "cr3"])
@pytest.mark.parametrize("column", [np.arange(60) == 0, WHO == 0, (WHO == 0) * np.array(VISIT)])
def test_a_coefficient_that_one_person_alone_tells_is_refused(column: np.ndarray, sandwich: Any) -> None:
    with pytest.raises(DesignError, match="without one of the people a coefficient is not known"):
        fitted(fixed=np.column_stack([FIXED[:, :2], column]), sandwich=sandwich, likeness="independence")


def test_a_name_that_is_no_column_is_refused() -> None:
    with pytest.raises(DesignError, match="no column 'age'; there are start, trained, visit"):
        fitted().term("age")


def test_a_data_frame_of_ids_is_read() -> None:
    ids = pd.DataFrame({"centre": WHO // 10, "id": WHO % 10})
    assert fitted(people=ids).n_people == 20
