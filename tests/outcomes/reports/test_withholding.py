"""What is withheld cannot be had back: every table is made, printed and attacked with all that is printed."""

from __future__ import annotations

import itertools
from collections import defaultdict

import pytest

from outcomes.reports.small_numbers import SmallNumbers
from outcomes.reports.withholding import NOTHING, groups_of, lump, split


def compositions(total, parts):
    """Yield every way to put `total` people into `parts` classes."""
    for bars in itertools.combinations(range(total + parts - 1), parts - 1):
        ends = (-1, *bars, total + parts - 1)
        yield tuple(b - a - 1 for a, b in itertools.pairwise(ends))


def attack(printed, minimum):
    """Return the small counts that a reader who knows the rule and the page could bound more tightly than its name.

    `printed` maps a page to the tables that give it: what a reader cannot tell apart.
    """
    found = []
    for page, tables in printed.items():
        for position in range(len(tables[0])):
            values = {table[position] for table in tables}
            small = {n for n in values if 0 < n < minimum}
            if small and len(values) == 1:
                found.append((page, position, small))
    return found


@pytest.mark.parametrize(("minimum", "enrolled"), [(5, 12), (5, 26), (11, 24), (11, 38)])
def test_no_class_of_change_can_be_found_out(minimum, enrolled):
    small = SmallNumbers(minimum)
    printed = defaultdict(list)
    for table in compositions(enrolled, 4):
        printed[split(small, enrolled, table[:3])].append(table)
    for page in printed:
        assert not any(0 < n < minimum for _, n in page.cells)
        assert page.rest is None or not 0 < page.rest < minimum
    shown = {page: tables for page, tables in printed.items() if page != NOTHING}
    assert attack(printed, minimum) == []
    assert len(shown) > enrolled / 4


@pytest.mark.parametrize(("minimum", "enrolled"), [(5, 26), (11, 38)])
def test_a_small_count_is_bounded_no_tighter_than_by_its_name(minimum, enrolled):
    small = SmallNumbers(minimum)
    printed = defaultdict(list)
    for table in compositions(enrolled, 4):
        printed[split(small, enrolled, table[:3])].append(table)
    for page, tables in printed.items():
        for members, total in page.cells:
            for position in members if len(members) > 1 else ():
                values = {t[position] for t in tables}
                if total >= 2 * minimum and any(0 < v < minimum for v in values):
                    assert min(values) <= 1, (page, position)
                    assert max(values) >= minimum - 1, (page, position)


@pytest.mark.parametrize(("minimum", "total"), [(5, 18), (11, 26)])
@pytest.mark.parametrize("levels", [2, 3, 4])
def test_no_lumped_count_can_be_found_out(minimum, total, levels):
    small = SmallNumbers(minimum)
    printed = defaultdict(list)
    for table in compositions(total, levels):
        printed[tuple(lump(small, table))].append(table)
    for page in printed:
        alone = [n for members, n in page if len(members) == 1]
        assert not any(0 < n < minimum for n in alone)
        assert sum(n for _, n in page) == total
    assert attack(printed, minimum) == []


def test_groups_whose_size_gives_a_few_away_are_not_printed():
    small = SmallNumbers(5)
    assert groups_of(small, 42, [[10, 5, 5], [10, 5, 5]]) == [NOTHING, NOTHING]
    assert groups_of(small, 40, [[10, 5, 5], [10, 5, 5]])[0].n == 20


@pytest.mark.parametrize("minimum", [5, 11])
def test_a_study_smaller_than_the_minimum_prints_nothing(minimum):
    small = SmallNumbers(minimum)
    for n in range(1, minimum):
        for table in compositions(n, 3):
            assert split(small, n, table) == NOTHING
