"""Answers to queries: a query that is answered is no longer asked; "set_aside" empties what it asked about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from outcomes.errors import Finding, near_word
from outcomes.intake.collector import Collector
from outcomes.intake.drafts import Draft
from outcomes.intake.settings import Decision

if TYPE_CHECKING:
    from outcomes.intake.collector import Target

REASON = "decision"
KEEP_TRACES = (
    "keep; a decision sets no trace aside: take the file out of traces/, or correct it or the session row; "
    "source under [dose] says which of the two counts"
)

Answered = tuple[Decision, Finding]


def apply_decisions(
    drafts: Mapping[str, Draft], decisions: Sequence[Decision], found: Collector, *, traced: bool = False
) -> tuple[list[Answered], list[Decision], bool]:
    """Take the answered queries out of the findings and set aside what the answers say.

    Parameters
    ----------
    traced : bool
        Whether the study has traces: an answer to a query that no table asks may be to one of theirs.

    Returns
    -------
    answered : list of (Decision, Finding)
    later : list of Decision
        Answers that may be to queries about traces, which `answer_findings` finds out once they are read.
    emptied : bool
        Whether a value or row was set aside.
    """
    queries = {finding.query: finding for finding in found.sorted() if finding.query}
    answered: list[Answered] = []
    later: list[Decision] = []
    emptied = False
    for one in _agreeing(decisions, found):
        finding = queries.get(one.query)
        if finding is None and traced:
            later.append(one)
            continue
        if finding is None:
            _no_such_query(one, queries, found)
            continue
        targets = found.targets.get(one.query, [])
        if one.decision == "set_aside" and not targets:
            _refuse(one, "keep; the query is about no single value, so there is nothing to set aside", found)
            continue
        found.answer(one.query)
        answered.append((one, finding))
        if one.decision == "set_aside":
            emptied = True
            for target in targets:
                _set_aside(drafts[target.table], target)
    return answered, later, emptied


def answer_findings(findings: Sequence[Finding], decisions: Sequence[Decision]) -> tuple[list[Finding], list[Answered]]:
    """Take the answered queries out of findings about traces.

    Parameters
    ----------
    findings : sequence of Finding
    decisions : sequence of Decision
        The answers that no query of a table takes.

    Returns
    -------
    left : list of Finding
        What is still to be said, with a finding about every answer that fits no query.
    answered : list of (Decision, Finding)
    """
    queries = {finding.query: finding for finding in findings if finding.query}
    found, answered = Collector(), []
    for one in decisions:
        if one.query not in queries:
            _no_such_query(one, queries, found)
        elif one.decision == "set_aside":
            _refuse(one, KEEP_TRACES, found)
        else:
            answered.append((one, queries[one.query]))
    settled = {one.query for one, _ in answered}
    return [*found.sorted(), *(finding for finding in findings if finding.query not in settled)], answered


def _no_such_query(one: Decision, queries: Mapping[str, Finding], found: Collector) -> None:
    expected = f"a query of results/check/findings.csv{near_word(one.query, queries)}; it may have been settled"
    where: dict[str, Any] = {"file": one.file, "sheet": one.sheet, "row": one.row, "column": "query"}
    found.add("ask", "no_such_query", expected, found=one.query, **where)


def _refuse(one: Decision, expected: str, found: Collector) -> None:
    found.add("block", "decision", expected, file=one.file, sheet=one.sheet, row=one.row, column="decision")


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
