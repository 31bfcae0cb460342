from __future__ import annotations

import itertools
import math

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


@pytest.mark.parametrize(("minimum", "most"), [(2, 24), (3, 24), (5, 24), (11, 40)])
@pytest.mark.parametrize("first", [None, 1])
def test_no_withheld_count_follows_from_the_others(minimum, most, first):
    """Every table of three counts with the same total, read as a reader does who knows the rule."""
    rule = SmallNumbers(minimum)
    for total in range(most + 1):
        tables = [(a, b, total - a - b) for a in range(total + 1) for b in range(total + 1 - a)]
        printed = {t: tuple(rule.texts(list(t), first=first)) for t in tables}
        possible: dict[tuple, list] = {}
        for table, form in printed.items():
            possible.setdefault(form, []).append(table)
        for table, form in printed.items():
            for i, n in enumerate(table):
                assert not (rule.hides(n) and form[i] == str(n))
                values = {other[i] for other in possible[form]}
                if form[i] == rule.words:
                    assert values == set(range(1, minimum))
                elif rule.hides(n) and total > 3:  # of three people, one in each class, nothing hides
                    assert len(values) > 1


@pytest.mark.parametrize(("minimum", "classes", "totals"), [(5, 2, range(30)), (5, 4, range(27)), (5, 5, (8, 14, 20)),
                                                            (11, 2, range(50)), (11, 4, (20, 33, 46))])  # fmt: skip
def test_more_classes_single_nobody_out(minimum, classes, totals):
    """A reader who adds up finds every small count possible; one who knows the rule as well, more than one."""
    rule = SmallNumbers(minimum)
    for total in totals:
        possible: dict[tuple, list] = {}
        for table in itertools.product(range(total + 1), repeat=classes - 1):
            if sum(table) <= total:
                whole = (*table, total - sum(table))
                possible.setdefault(tuple(rule.texts(list(whole))), []).append(whole)
        for form, tables in possible.items():
            for i, text in enumerate(form):
                values = {table[i] for table in tables}
                if text == rule.words:
                    assert added_up(form, i, total, rule) == set(range(1, minimum))
                if not text.isdecimal() and total > minimum:
                    assert len(values) > 1, form


def added_up(form, i, total, rule):
    """Return the small values of one withheld count that leave a possible sum to the other withheld ones."""
    left = total - sum(int(text) for text in form if text.isdecimal())
    others = [text for j, text in enumerate(form) if j != i and not text.isdecimal()]
    low = sum(1 if text == rule.words else rule.minimum for text in others)
    high = math.inf if any(text != rule.words for text in others) else (rule.minimum - 1) * len(others)
    return {n for n in range(1, rule.minimum) if low <= left - n <= high}
