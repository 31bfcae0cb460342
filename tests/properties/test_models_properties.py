"""What holds for every mixed model: order, names and units of the data do not matter; deviances are ordered."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DesignError
from outcomes.models import MixedModel, mixed_model

often = settings(max_examples=60, deadline=None, derandomize=True)
seldom = settings(max_examples=20, deadline=None, derandomize=True)


@st.composite
def studies(draw: st.DrawFn) -> dict[str, Any]:
    """Unbalanced repeated values on a grid, with a drawn size of the differences between people."""
    people = draw(st.integers(3, 10))
    sizes = draw(st.lists(st.integers(1, 5), min_size=people, max_size=people))
    sizes[:2] = [4, 5]
    rng = np.random.default_rng(draw(st.integers(0, 2**20)))
    between, slopes = draw(st.sampled_from([0.0, 0.5, 5.0])), draw(st.sampled_from([0.0, 0.1, 1.0]))
    group = np.repeat(np.arange(people), sizes)
    week = np.concatenate([np.sort(rng.choice(6, size=n, replace=False)) for n in sizes]).astype(float)
    y = between * rng.normal(size=people)[group] + slopes * rng.normal(size=people)[group] * week
    y = np.round(y + rng.normal(size=len(group)), draw(st.sampled_from([0, 2])))
    return {"outcome": y, "week": week, "group": group, "slope": draw(st.booleans()),
            "method": draw(st.sampled_from(["REML", "ML"]))}  # fmt: skip


def fitted(study: dict[str, Any]) -> MixedModel | None:
    """Return the model, or None if the data are refused with a reason."""
    fixed = np.column_stack([np.ones(len(study["week"])), study["week"]])
    try:
        return mixed_model(
            study["outcome"],
            fixed,
            study["group"],
            slope="week" if study["slope"] else None,
            names=["intercept", "week"],
            unit="cm",
            method=study["method"],
        )
    except DesignError:
        return None


def numbers(model: MixedModel) -> list[float]:
    parts = [model.residual_sd.value, model.intercept_sd.value, model.deviance]
    for term in model.fixed_effects:
        parts += [term.estimate.value, term.standard_error, term.df, term.p]
    return [float(one) for one in parts]  # type: ignore[arg-type]


def close(first: list[float], second: list[float]) -> None:
    assert second == pytest.approx(first, rel=1e-5, abs=1e-6)


@often
@given(studies())
def test_every_number_is_finite_and_every_variance_at_least_0(study: dict[str, Any]) -> None:
    model = fitted(study)
    if model is None:
        return
    assert all(math.isfinite(one) for one in numbers(model))
    assert model.residual_sd.value > 0  # type: ignore[operator]
    assert model.intercept_sd.value >= 0  # type: ignore[operator]
    assert all(term.standard_error > 0 and term.df > 0 and 0 < term.p <= 1 for term in model.fixed_effects)
    assert (model.boundary == "") == (not {"no_difference_between_people", "one_line_between_people"}
                                      & set(model.residual_sd.caveats))  # fmt: skip


@often
@given(studies(), st.randoms(use_true_random=False))
def test_the_order_of_the_rows_and_the_names_of_the_people_do_not_matter(study: dict[str, Any], random: Any) -> None:
    model = fitted(study)
    order = list(range(len(study["week"])))
    random.shuffle(order)
    renamed = [f"P{7 * (person + 3) % 11:02d}" for person in study["group"]]
    moved = study | {"outcome": study["outcome"][order], "week": study["week"][order],
                     "group": [renamed[i] for i in order]}  # fmt: skip
    again = fitted(moved)
    assert (model is None) == (again is None)
    if model is not None and again is not None:
        close(numbers(model), numbers(again))
        assert model.boundary == again.boundary


@often
@given(studies(), st.sampled_from([0.001, 2.54, 1000.0]))
def test_another_unit_of_the_outcome_scales_what_has_that_unit(study: dict[str, Any], factor: float) -> None:
    model, scaled = fitted(study), fitted(study | {"outcome": study["outcome"] * factor})
    assert (model is None) == (scaled is None)
    if model is None or scaled is None:
        return
    lost = len(study["week"]) - (2 if study["method"] == "REML" else 0)
    assert scaled.deviance - model.deviance == pytest.approx(2 * lost * math.log(factor), abs=1e-6)
    for first, second in zip(model.fixed_effects, scaled.fixed_effects, strict=True):
        found = [second.estimate.value / factor, second.standard_error / factor, second.df, second.p]  # type: ignore[operator]
        close([first.estimate.value, first.standard_error, first.df, first.p], found)  # type: ignore[list-item]
    close([model.residual_sd.value], [scaled.residual_sd.value / factor])  # type: ignore[operator, list-item]


@often
@given(studies(), st.sampled_from([-40.0, 273.15, 1e5]))
def test_a_shift_of_the_outcome_moves_the_intercept_only(study: dict[str, Any], shift: float) -> None:
    model, moved = fitted(study), fitted(study | {"outcome": study["outcome"] + shift})
    assert (model is None) == (moved is None)
    if model is None or moved is None:
        return
    close([model.deviance, model.residual_sd.value], [moved.deviance, moved.residual_sd.value])  # type: ignore[list-item]
    first, second = model.fixed_effects[0], moved.fixed_effects[0]
    close([first.estimate.value, first.df], [second.estimate.value - shift, second.df])  # type: ignore[operator, list-item]
    first, second = model.fixed_effects[1], moved.fixed_effects[1]
    close([first.estimate.value, first.p], [second.estimate.value, second.p])  # type: ignore[list-item]


@often
@given(studies(), st.sampled_from([(1 / 7, 0.0), (7.0, 0.0), (1.0, -3.0), (1.0, 2020.0)]))
def test_another_unit_or_origin_of_time_leaves_the_test_of_its_slope(
    study: dict[str, Any], turn: tuple[float, float]
) -> None:
    factor, origin = turn
    model, turned = fitted(study), fitted(study | {"week": study["week"] * factor + origin})
    assert (model is None) == (turned is None)
    if model is None or turned is None:
        return
    first, second = model.fixed_effects[1], turned.fixed_effects[1]
    close([first.t, first.df, first.p], [second.t, second.df, second.p])
    volume = 2 * math.log(factor) if study["method"] == "REML" else 0.0
    assert turned.deviance - model.deviance == pytest.approx(volume, abs=1e-5)


@seldom
@given(studies())
def test_a_slope_for_each_person_never_fits_worse(study: dict[str, Any]) -> None:
    one, two = fitted(study | {"slope": False}), fitted(study | {"slope": True})
    if one is not None and two is not None:
        assert two.deviance <= one.deviance + 1e-8


@seldom
@given(studies())
def test_the_fit_is_not_below_any_other_covariance(study: dict[str, Any]) -> None:
    """The deviance at 200 random covariances between people is never below that of the fit."""
    model = fitted(study)
    if model is None:
        return
    inside = model._inference.fit
    rng = np.random.default_rng(8)
    factors = rng.normal(size=(200, *inside.optimum.covariance.shape)) * np.exp(rng.normal(size=(200, 1, 1)) * 2)
    near = inside.optimum.covariance + 1e-3 * factors[:50] @ factors[:50].swapaxes(1, 2)
    tried = np.concatenate([factors @ factors.swapaxes(1, 2), near])
    assert inside.likelihood.values(tried).min() >= inside.optimum.expansion.value - 1e-9
