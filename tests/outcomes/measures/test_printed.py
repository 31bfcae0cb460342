"""Grades that a manual forms from what was measured."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.errors import UsageError
from outcomes.measures import spasm_grade


@pytest.mark.parametrize(  # limits: Benz EN et al. (2005) Arch Phys Med Rehabil 86:52-59, grades of report F1766
    ("unit", "amounts"), [pytest.param("s", (0, 2.9, 3, 10, 10.1), id="scats_1"), ("deg", (0, 9.9, 10, 30, 30.1))]
)
def test_a_spasm_is_graded_with_both_ends_in_the_second_grade(unit: Any, amounts: tuple[float, ...]) -> None:
    assert [spasm_grade(amount, unit=unit) for amount in amounts] == [0, 1, 2, 2, 3]


@pytest.mark.parametrize(("amount", "unit"), [(-1, "s"), (float("nan"), "s"), (float("inf"), "deg"), (3, "min")])
def test_what_cannot_be_graded_is_refused(amount: float, unit: Any) -> None:
    with pytest.raises(UsageError):
        spasm_grade(amount, unit=unit)
