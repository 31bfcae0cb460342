from __future__ import annotations

import pytest

from outcomes.reports.small_numbers import SmallNumbers


def test_zero_is_shown_and_one_to_four_are_not():
    rule = SmallNumbers(5)  # thresholds 5 and 11: the protocol's own defaults
    assert [rule.hides(n) for n in (0, 1, 4, 5)] == [False, True, True, False]


def test_a_share_hides_its_small_rest():
    assert SmallNumbers(5).share(38, 40) == "all but fewer than 5 of 40"
    assert SmallNumbers(11).share(20, 40) == "20 of 40 (50%)"


def test_public_has_the_larger_minimum():
    privacy = {"internal_minimum": 5, "public_minimum": 11}
    assert SmallNumbers.of(privacy, public=False).minimum == 5
    assert SmallNumbers.of(privacy, public=True).minimum == 11
    assert SmallNumbers.of({}, public=True).minimum == 11


@pytest.mark.parametrize("minimum", [2, 3, 5])
@pytest.mark.parametrize("first", [None, 1])
def test_no_withheld_count_follows_from_the_others(minimum, first):
    """Every table of three counts with the same total up to 24, read as a reader does who knows the rule."""
    rule = SmallNumbers(minimum)
    for total in range(25):
        tables = [(a, b, total - a - b) for a in range(total + 1) for b in range(total + 1 - a)]
        printed = {t: _as_printed(rule, t, first) for t in tables}
        possible: dict[tuple, list] = {}
        for table, form in printed.items():
            possible.setdefault(form, []).append(table)
        for table, form in printed.items():
            for i, n in enumerate(table):
                assert not (rule.hides(n) and form[i] == n)
                left = [m for m in form if isinstance(m, int) and m > 0]
                if rule.hides(n) and left:
                    assert {other[i] for other in possible[form]} == set(range(1, minimum))


def _as_printed(rule, table, first):
    parts = rule.parts(list(table), first=first)
    return tuple(
        k if k is not None else rule.words if rule.hides(n) else "not shown" for n, k in zip(table, parts, strict=True)
    )
