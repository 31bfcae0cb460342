"""Two ROC areas of the same people, and the cut-point nearest to the corner: by definition, edges, properties."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from outcomes.change import compare_areas, important_change
from outcomes.change.roc import best_cuts
from outcomes.errors import DesignError

FIRST, SECOND = [1, 2, 3, 4, 5, 6, 4, 2], [2, 1, 4, 6, 3, 5, 5, 3]
FLAGGED = [0, 0, 1, 0, 1, 1, 1, 0]
often = settings(max_examples=40, deadline=None, derandomize=True)


@st.composite
def people(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    n = draw(st.integers(4, 12))
    two = (draw(st.lists(st.integers(0, 5), min_size=n, max_size=n)) for _ in range(2))
    flag = np.array([1, 1, 0, 0, *draw(st.lists(st.integers(0, 1), min_size=n - 4, max_size=n - 4))])
    return (*(np.array(one, dtype=float) for one in two), flag)


@often
@given(people())
def test_the_variance_is_that_of_the_placements_by_definition(
    given_: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    a, b, flag = given_
    yes, no = flag == 1, flag == 0
    pairs = [(np.sign(x[yes][:, None] - x[no][None, :]) + 1) / 2 for x in (a, b)]
    apart = pairs[0] - pairs[1]
    variance = apart.mean(axis=1).var(ddof=1) / yes.sum() + apart.mean(axis=0).var(ddof=1) / no.sum()
    found = compare_areas(a, b, flag)
    assert found.first.value == pytest.approx(pairs[0].mean())
    assert found.difference.value == pytest.approx(apart.mean())
    if variance > 1e-20:
        assert found.difference.test is not None
        assert found.difference.test.statistic == pytest.approx(apart.mean() / math.sqrt(variance))
    else:
        assert found.difference.test is None
        assert found.difference.interval is None
        assert "place everybody alike" in found.reasons["difference"]


@often
@given(people())
def test_swapping_turns_the_difference_and_units_are_nothing(given_: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    a, b, flag = given_
    there, back = compare_areas(a, b, flag), compare_areas(b, 10 * a + 3, flag)
    assert back.difference.value == pytest.approx(-float(there.difference.value))  # type: ignore[arg-type]
    if there.difference.test is not None:
        assert back.difference.test is not None
        assert 0 < there.difference.test.p <= 1
        assert back.difference.test.p == pytest.approx(there.difference.test.p)


def test_the_sentence_names_areas_difference_and_people() -> None:
    said = compare_areas(FIRST, SECOND, FLAGGED).summary()
    assert said.startswith("areas ")
    assert said.endswith("(n = 8)")
    assert "p = " in said
    assert "p = " not in compare_areas(FIRST, FIRST, FLAGGED).summary()


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"first": FIRST[:-1]}, "7 values before and 8 after"),
        ({"first": [], "second": [], "flagged": []}, "at least 4 are needed"),
        ({"first": [*FIRST[:-1], math.nan]}, "missing"),
        ({"second": [*SECOND[:-1], math.inf]}, "infinite"),
        ({"first": ["x"] * 8}, "not all numbers"),
        ({"flagged": FLAGGED[:-1]}, "8 people and 7 flags"),
        ({"flagged": ["yes"] * 8}, "flags are true or false"),
        ({"flagged": [2] * 8}, "flags are true or false"),
        ({"flagged": [math.nan] * 8}, "flags are true or false"),
        ({"flagged": [1] + [0] * 7}, "two people of each kind"),
        ({"level": 1}, "does not exist"),
    ],
)
def test_what_has_no_two_areas_is_refused(changed: dict[str, Any], reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        compare_areas(**{"first": FIRST, "second": SECOND, "flagged": FLAGGED, **changed})


def test_constant_quantities_have_the_area_of_chance() -> None:
    found = compare_areas([3] * 8, FIRST, FLAGGED)
    assert found.first.value == 0.5
    assert found.first.interval is None


@often
@given(people())
def test_the_corner_is_the_nearest_cut_of_all(given_: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    x, _, flag = given_
    assume(np.ptp(x) > 0)
    known = np.unique(x)
    cuts = (known[1:] + known[:-1]) / 2
    away = [math.hypot((x[flag == 1] < cut).mean(), (x[flag == 0] >= cut).mean()) for cut in cuts]
    cut, sensitivity, specificity, good = best_cuts(x, flag == 1, "corner")
    assert math.hypot(1 - sensitivity, 1 - specificity) == pytest.approx(min(away))
    assert cut in good
    assert list(good) == [
        one for one, far in zip(cuts, away, strict=True) if far == pytest.approx(min(away), abs=1e-12)
    ]


def test_the_corner_can_be_another_cut_than_the_largest_sum() -> None:
    # by hand: at 1.5 sensitivity 1 and specificity 0.7 (sum 1.7, 0.3 away), at 2.5 both 0.8 (sum 1.6, 0.28 away)
    x = np.array([1] * 7 + [2, 3, 3] + [2, 2] + [3] * 8, dtype=float)
    flag = np.array([0] * 10 + [1] * 10)
    youden = important_change(x, flag, unit="1", rng=np.random.default_rng(1))
    corner = important_change(x, flag, unit="1", cut="corner", rng=np.random.default_rng(1))
    assert (youden.roc.value, corner.roc.value) == (1.5, 2.5)
    assert (youden.roc.method, corner.roc.method) == ("important_roc", "important_corner")
    with pytest.raises(DesignError, match="'middle' is neither 'youden' nor 'corner'"):
        important_change(x, flag, unit="1", cut="middle", rng=np.random.default_rng(1))  # type: ignore[arg-type]
