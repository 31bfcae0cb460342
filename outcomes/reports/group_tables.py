"""The table of the comparison of groups, cell by cell from the record."""

from __future__ import annotations

from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.group_sentences import (
    difference_interval,
    needed_text,
    p_words,
    shares_shown,
    two_groups,
    withheld,
)
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table


def groups(facts: Facts) -> Table:
    """Return every outcome's difference between groups; no rows where the study has no groups."""
    rows = [_row(facts, row) for row in rows_of(facts.record, "group_differences")]
    ci = facts.ci
    first = ("Outcome; groups", "n", f"Difference ({ci})", "P")
    columns = (*first, f"Difference of mean changes ({ci})", f"d_ppc2 ({ci})", "Number needed")
    note = (
        "Difference: later value given the first value (analysis of covariance); of grades Cliff's delta of the "
        "changes, which only ranks. d_ppc2: difference of the mean changes divided by the pooled standard deviation of "
        "the first visit. Number needed: people of the first group for one more who changed in the good direction by "
        "at least the minimal detectable change; NNTB to benefit, NNTH to harm; where the difference may be none its "
        "interval runs through infinity. Changes within a group are not tested: that one group changed and the other "
        "did not is no evidence of a difference. Exploratory outcomes are not tested."
    )
    return Table.build("Differences between groups", columns, rows, note=note)


def _row(facts: Facts, row: Any) -> tuple[str, ...]:
    group, reference = two_groups(facts, row)
    name = f"{facts.title_of(row)[1]}; {group} minus {reference}; {row['role']}"
    if withheld(facts, row):
        return (name, facts.small.words, *(NOT_SHOWN,) * 5)
    n = f"{fmt.number(row['n_group'] or 0)} and {fmt.number(row['n_reference'] or 0)}"
    if row["difference"] is None:
        return (name, n, f"not estimable: {fmt.clean(row['reason'] or 'no value')}", *("not estimable",) * 4)
    ordinal = row["level"] == "ordinal"
    return (
        name,
        n,
        difference_interval(facts, row, named=False),
        p_words(row, facts) or "not tested",
        "grades" if ordinal else _interval(row, "change_difference", "change_low", "change_high", row["unit"]),
        "grades" if ordinal else _interval(row, "size", "size_low", "size_high", "1"),
        _needed(facts, row),
    )


def _interval(row: Any, value: str, low: str, high: str, unit: str) -> str:
    if row[value] is None:
        return "not estimable"
    if row[low] is None:
        return fmt.quantity(row[value], unit, 2)
    return fmt.with_interval(row[value], row[low], row[high], unit)


def _needed(facts: Facts, row: Any) -> str:
    if row["share_difference"] is None:
        return "grades" if row["level"] == "ordinal" else "not known: no measurement error"
    return needed_text(row) if shares_shown(facts, row) else NOT_SHOWN
