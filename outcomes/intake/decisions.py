"""Answers to queries: a query that is answered is no longer asked; "set_aside" empties what it asked about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.intake.drafts import Draft

if TYPE_CHECKING:
    from outcomes.errors import Finding
    from outcomes.intake.collector import Collector, Target
    from outcomes.intake.settings import Decision

REASON = "decision"


def apply_decisions(
    drafts: Mapping[str, Draft], decisions: Sequence[Decision], found: Collector
) -> tuple[list[tuple[Decision, Finding]], bool]:
    """Take the answered queries out of the findings and set aside what the answers say.

    Returns
    -------
    answered : list of (Decision, Finding)
    emptied : bool
        Whether a value or row was set aside.
    """
    queries = {finding.query: finding for finding in found.sorted() if finding.query}
    answered: list[tuple[Decision, Finding]] = []
    emptied = False
    for one in _agreeing(decisions, found):
        finding = queries.get(one.query)
        if finding is None:
            expected = f"a query of results/check/findings.csv{near_word(one.query, queries)}; it may have been settled"
            found.add(
                "ask",
                "no_such_query",
                expected,
                file=one.file,
                sheet=one.sheet,
                row=one.row,
                column="query",
                found=one.query,
            )
            continue
        targets = found.targets.get(one.query, [])
        if one.decision == "set_aside" and not targets:
            expected = "keep; the query is about no single value, so there is nothing to set aside"
            found.add("block", "decision", expected, file=one.file, sheet=one.sheet, row=one.row, column="decision")
            continue
        found.answer(one.query)
        answered.append((one, finding))
        if one.decision == "set_aside":
            emptied = True
            for target in targets:
                _set_aside(drafts[target.table], target)
    return answered, emptied


def _agreeing(decisions: Sequence[Decision], found: Collector) -> list[Decision]:
    """Return one decision a query; two files that answer it differently are refused."""
    known: dict[str, Decision] = {}
    for one in decisions:
        other = known.setdefault(one.query, one)
        if other.decision != one.decision:
            where = ", ".join(part for part in (other.file, other.sheet, f"row {other.row}") if part)
            expected = f"one answer a query; {where} says '{other.decision}'"
            found.add(
                "block", "decision", expected, file=one.file, sheet=one.sheet, row=one.row, column="decision",
                found=one.decision,
            )  # fmt: skip
    return list(known.values())


def _set_aside(draft: Draft, target: Target) -> None:
    import numpy as np

    rows = np.array(target.rows, dtype=np.int64)
    column = draft.table.by_heading.get(target.column)
    if column is None or column.name in draft.table.key:
        draft.set_aside(rows, REASON)
    else:
        draft.empty(target.column, rows, REASON)
