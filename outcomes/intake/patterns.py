"""Headings by pattern: a row of columns.csv such as ``girth_{visit}_{side}`` stands for every heading of that shape."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from outcomes.intake.mapping import FIXING, HeadingRule, fixed_faults

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet
    from outcomes.measures import Catalogue
    from protocols.schema import Protocol

WITH_UNDERSCORES = ("place", "item", "measure")
"""Parts whose words may hold underscores; those of the others end at one."""

SHORT, LONG = r"[^\W_]+", r"\w+?"

PART = re.compile(r"\{([a-z]+)\}")


def expand_patterns(
    rules: Sequence[HeadingRule],
    sheets: Sequence[Sheet],
    words: Mapping[str, Mapping[str, str]],
    protocol: Protocol,
    catalogue: Catalogue,
    found: Collector,
) -> list[HeadingRule]:
    """Return the rows of columns.csv with a row for every heading that a pattern fits.

    Parameters
    ----------
    rules : sequence of HeadingRule
        A heading with ``{visit}``, ``{side}``, ``{place}``, ``{item}``, ``{trial}`` or another part of an answer's key
        in braces is a pattern.
    sheets : sequence of Sheet
    words : mapping of str to mapping of str to str
        words.csv says what ``pre`` or ``L`` in a heading means.
    protocol : Protocol
    catalogue : Catalogue
    found : Collector
        Takes the findings: a pattern that fits no heading, a word in a heading that means nothing.

    Returns
    -------
    list of HeadingRule
        A heading that has a row of its own keeps it.
    """
    taken = {(rule.sheet, rule.heading) for rule in rules}
    expanded: list[HeadingRule] = []
    for rule in rules:
        if not PART.search(rule.heading):
            expanded.append(rule)
            continue
        if fault := _pattern_fault(rule):
            found.add("block", "pattern", fault, file="columns.csv", row=rule.row, column="heading", found=rule.heading)
            continue
        fitting = list(_fitting(rule, sheets, taken))
        if not fitting:
            expected = "a pattern that fits a heading; none has this shape"
            found.add(
                "ask", "pattern", expected, file="columns.csv", row=rule.row, column="heading", found=rule.heading
            )
        for sheet, heading, parts in fitting:
            meant = {part: words.get(part, {}).get(text, text) for part, text in parts.items()}
            one = _made(rule, sheet, heading, meant)
            faults = list(fixed_faults({**one.fixed, "unit": one.unit}, one.table, protocol, catalogue))
            for part, _, expected in faults:
                said = f"{expected}, where the heading has '{parts[part]}'" if part in parts else expected
                found.add(
                    "block",
                    "pattern_word",
                    said,
                    file=sheet.file,
                    sheet=sheet.name,
                    row=sheet.header_row,
                    column=heading,
                    found=parts.get(part, ""),
                    remedy="Say what the word means in words.csv, or give the heading a row of its own in columns.csv.",
                )
            if not faults:
                expanded.append(one)
    return expanded


def _pattern_fault(rule: HeadingRule) -> str:
    parts = PART.findall(rule.heading)
    unknown = [part for part in parts if part not in FIXING]
    if unknown:
        return f"parts that an answer has: {', '.join(FIXING)}; not '{unknown[0]}'"
    twice = [part for part in parts if parts.count(part) > 1 or part in rule.fixed]
    return f"each part once; '{twice[0]}' is given twice" if twice else ""


def _fitting(
    rule: HeadingRule, sheets: Sequence[Sheet], taken: set[tuple[str, str]]
) -> Iterator[tuple[Sheet, str, dict[str, str]]]:
    pieces = PART.split(rule.heading)
    shape = "".join(
        re.escape(piece) if i % 2 == 0 else f"(?P<{piece}>{LONG if piece in WITH_UNDERSCORES else SHORT})"
        for i, piece in enumerate(pieces)
    )
    for sheet in sheets:
        if rule.sheet and rule.sheet not in sheet.names:
            continue
        for heading in sheet.headings:
            match = re.fullmatch(shape, heading)
            if match and (rule.sheet, heading) not in taken:
                yield sheet, heading, match.groupdict()


def _made(rule: HeadingRule, sheet: Sheet, heading: str, parts: Mapping[str, str]) -> HeadingRule:
    name = rule.sheet or sheet.own_names[-1]
    return HeadingRule(
        rule.row, name, heading, rule.table, rule.column, rule.unit, rule.format, {**rule.fixed, **parts}
    )
