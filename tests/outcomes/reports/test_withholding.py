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


@pytest.mark.parametrize(("minimum", "enrolled"), [(5, 12), (5, 26), (11, 24), (11, 30)])
def test_the_abstract_and_the_funder_s_page_together_give_nobody_away(minimum, enrolled):
    """A reader who holds both, with n analysed from the abstract: every table that both pages allow is looked at."""
    rule = SmallNumbers(minimum)
    for n in range(minimum, enrolled + 1):
        possible = defaultdict(list)
        for parts in compositions(n, 3):
            possible[tuple(rule.texts(list(parts), first=1)), split(rule, enrolled, parts)].append(parts)
        for (conference, funder), tables in possible.items():
            for position in range(3):
                values = {table[position] for table in tables}
                small = {v for v in values if 0 < v < minimum}
                if conference[position] == rule.words:
                    assert small == set(range(1, minimum)), (conference, funder, position)
                elif small:
                    assert len(values) > 1, (conference, funder, position)


@pytest.mark.parametrize(("minimum", "total", "most"), [(5, 14, 4), (11, 27, 4)])
def test_no_transition_between_grades_can_be_found_out(minimum, total, most):
    """Transitions within one direction, whose sum is printed: no small one is bounded by what is listed."""
    rule = SmallNumbers(minimum)
    possible = defaultdict(list)
    for cells in range(1, most + 1):
        for parts in compositions(total - cells, cells):
            counts = tuple(n + 1 for n in parts)  # a transition that nobody made is no row
            possible[tuple(rule.texts(list(counts)))].append(counts)
    assert len(possible) > most
    for printed, tables in possible.items():
        for position, text in enumerate(printed):
            values = {table[position] for table in tables}
            if text == rule.words and any(t.isdecimal() for t in printed):
                assert values == set(range(1, minimum)), printed


def test_transitions_of_a_withheld_direction_are_not_listed(builder):
    from outcomes.reports.change_sentences import class_counts, transitions_shown
    from outcomes.reports.facts import Facts

    facts = Facts(builder().full().build())
    row = next(facts.others())
    names, shown = class_counts(facts, row)
    assert dict(zip(names, shown, strict=True)) == {"lower": "12", "the same": "not shown", "higher": "fewer than 5"}
    lines = transitions_shown(facts, row)
    assert ("any", "the same", "not shown") in lines
    assert ("any", "higher", "fewer than 5") in lines
    listed = [line for line in lines if line[0] != "any"]
    assert listed == [("1", "0", "6"), ("1+", "1", "6")]
