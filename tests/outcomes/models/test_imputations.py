"""Imputed tables: one number of them, decided edges; information criteria of a known likelihood."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DesignError
from outcomes.models import information_criteria, least_squares_log_likelihood, pool_imputations

GIVEN: dict[str, Any] = {
    "estimates": [2.1, 2.5, 1.9, 2.3, 2.0],
    "variances": [0.20, 0.22, 0.19, 0.21, 0.20],
    "unit": "cm",
    "n_people": 50,
    "complete_df": 48,
}


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"estimates": [2.1], "variances": [0.2]}, "estimates: 1 value; at least 2 are needed"),
        ({"estimates": []}, "estimates: 0 values"),
        ({"estimates": [2.1, 2.5]}, "2 estimates and 5 variances"),
        ({"estimates": [2.1, 2.5, math.nan, 2.3, 2.0]}, "1 of 5 values missing"),
        ({"estimates": [2.1, 2.5, math.inf, 2.3, 2.0]}, "an infinite value"),
        ({"estimates": ["a"] * 5}, "not all numbers"),
        ({"variances": [0.2, -0.1, 0.2, 0.2, 0.2]}, "1 variances are below 0"),
        ({"variances": [0.0] * 5}, "all variances are 0"),
        ({"variances": [1e-300] * 5}, "no degree of freedom left"),
        ({"complete_df": 0}, "must be above 0"),
        ({"complete_df": math.nan}, "must be above 0"),
        ({"n_people": 0}, "must be above 0"),
        ({"level": 1.0}, "does not exist"),
    ],
)
def test_what_cannot_be_pooled_is_refused(changed: dict[str, Any], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        pool_imputations(**{**GIVEN, **changed})


def test_tables_that_agree_lose_nothing() -> None:
    found = pool_imputations(**{**GIVEN, "estimates": [0.1 + 0.2, 0.3, 0.3, 0.3, 0.3]})
    assert (found.between_variance, found.missing_share, found.relative_increase) == (0, 0, 0)
    assert found.total_variance == found.within_variance
    assert found.rubin_degrees_of_freedom == math.inf
    assert found.degrees_of_freedom == pytest.approx(48 * 49 / 51)


def test_without_complete_degrees_of_freedom_tables_that_agree_are_normal() -> None:
    found = pool_imputations([2.0, 2.0], [0.25, 0.25], unit="cm", n_people=50)
    assert found.degrees_of_freedom == math.inf
    assert found.estimate.interval.high == pytest.approx(2 + 1.959963985 * 0.5)  # type: ignore[union-attr]
    assert found.estimate.test.df == ()  # type: ignore[union-attr]


def test_the_sentence_has_value_interval_p_and_what_is_missing() -> None:
    assert pool_imputations(**GIVEN).summary() == (
        "2.16 cm (1.08 to 3.24), p = 0.00044; 5 imputed tables, fraction of missing information 0.31 (n = 50)"
    )


values = st.lists(st.tuples(st.integers(-50, 50), st.integers(1, 40)), min_size=2, max_size=8)


@settings(max_examples=50, deadline=None, derandomize=True)
@given(values, st.floats(2, 200), st.sampled_from([0.01, 7.0, 1000.0]), st.randoms(use_true_random=False))
def test_unit_sign_and_order_are_nothing_and_more_is_never_known_than_of_complete_data(
    pairs: list[tuple[int, int]], complete: float, scale: float, random: Any
) -> None:
    q, u = np.array(pairs, dtype=float).T
    found = pool_imputations(q, u, unit="cm", n_people=20, complete_df=complete)
    order = list(range(len(q)))
    random.shuffle(order)
    turned = pool_imputations(-scale * q[order], scale**2 * u[order], unit="mm", n_people=20, complete_df=complete)
    assert turned.estimate.value == pytest.approx(-scale * float(found.estimate.value), abs=1e-9 * scale)
    assert turned.estimate.interval.low == pytest.approx(-scale * found.estimate.interval.high)  # type: ignore
    assert turned.degrees_of_freedom == pytest.approx(found.degrees_of_freedom)
    assert turned.fraction_missing == pytest.approx(found.fraction_missing)
    assert found.degrees_of_freedom <= complete
    assert found.total_variance >= found.within_variance
    assert 0 <= found.missing_share <= found.fraction_missing <= 1


def test_criteria_of_a_likelihood_that_is_known() -> None:
    # standard normal values -1 and 1, mean and variance estimated: log likelihood -log 2 pi - 1
    fit = least_squares_log_likelihood(2.0, 2)
    assert fit == pytest.approx(-math.log(2 * math.pi) - 1)
    found = information_criteria(fit, n_parameters=2, n_values=2, n_people=2, method="ancova_information")
    assert found.aic.value == pytest.approx(2 * math.log(2 * math.pi) + 6)
    assert found.bic.value == pytest.approx(2 * math.log(2 * math.pi) + 2 + 2 * math.log(2))
    assert found.aicc is None
    assert "AICc" not in found.summary()


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda: least_squares_log_likelihood(0.0, 5), "no bound"),
        (lambda: least_squares_log_likelihood(1.0, 0), "no bound"),
        (lambda: least_squares_log_likelihood(math.nan, 5), "no bound"),
        (lambda: information_criteria(math.inf, n_parameters=1, n_values=2, n_people=2, method="m"), "not finite"),
        (lambda: information_criteria(-1.0, n_parameters=0, n_values=2, n_people=2, method="m"), "one of each"),
        (lambda: information_criteria(-1.0, n_parameters=1, n_values=0, n_people=2, method="m"), "one of each"),
    ],
)
def test_no_criterion_without_a_likelihood(call: Any, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        call()
