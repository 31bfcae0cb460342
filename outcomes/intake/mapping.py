"""columns.csv: what each heading of the clinic means. Every row is checked by itself; a fault names its row."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DesignError, UsageError, near_word
from outcomes.intake.dates import format_fault
from outcomes.intake.settings import Line, read_lines
from outcomes.intake.text_files import tidy_heading
from outcomes.units import conversion_factor
from outcomes.vocabulary import ANSWER_TABLES, COLUMNS_CSV, PLACE_PATTERN, SIDES, TABLES

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.measures import Catalogue
    from protocols.schema import Protocol

FIXING = COLUMNS_CSV[6:]
"""Headings of columns.csv that fix a part of the key, from visit to rater."""

NOT_READ = "-"
"""Column of a heading, or table of a sheet, that is known and not read."""


VALUES, LABELS = "values", "labels"
"""Format of a heading of a statistics file: its cells are their values, or the labels of their values."""


@dataclass(frozen=True, slots=True)
class HeadingRule:
    """One row of columns.csv."""

    row: int
    sheet: str
    heading: str
    table: str
    column: str
    unit: str
    format: str
    fixed: Mapping[str, str]


def read_mappings(raw: bytes | None, protocol: Protocol, catalogue: Catalogue, found: Collector) -> list[HeadingRule]:
    """Return the rows of columns.csv that are sound; the others are refused by row."""
    if raw is None:
        return []
    mappings = []
    for line in read_lines("columns.csv", raw, COLUMNS_CSV, ("heading", "column"), protocol.intake, found):
        faults = list(_faults(line, protocol, catalogue))
        for heading, rule, expected in faults:
            found.add("block", rule, expected, file="columns.csv", row=line.row, column=heading, found=line[heading])
        if not faults:
            mappings.append(_mapping(line))
    return mappings


def _mapping(line: Line) -> HeadingRule:
    column = line["column"] or ("response" if line["measure"] or line["item"] else "")
    return HeadingRule(
        line.row,
        line["sheet"],
        tidy_heading(line["heading"]),
        line["table"],
        column,
        line["unit"],
        line["format"],
        {part: line[part] for part in FIXING if line[part]},
    )


def _faults(line: Line, protocol: Protocol, catalogue: Catalogue) -> Iterator[tuple[str, str, str]]:
    """Yield heading of columns.csv, rule and what would do, for every fault of a row."""
    table, column = line["table"], line["column"]
    if column == NOT_READ or table == NOT_READ:
        if not line["heading"] and not line["sheet"]:
            yield "heading", "empty_heading", "a heading, or a sheet, that is not read"
        return
    if not line["heading"]:
        yield "heading", "empty_heading", "the heading as it stands in the sheet"
    if table and table not in TABLES:
        yield "table", "unknown_table", f"a table{near_word(table, TABLES)}"
        return
    if not column and not (line["measure"] or line["item"]):
        yield "column", "empty_column", f"a column, or '{NOT_READ}' for a heading that is not read"
        return
    yield from _column_faults(line, table, column or "response")
    yield from fixed_faults(line.cells, table, protocol, catalogue)


def _column_faults(line: Line, table: str, column: str) -> Iterator[tuple[str, str, str]]:
    tables = [TABLES[table]] if table else list(TABLES.values())
    forms = {heading: known for one in tables for heading, known in one.by_heading.items()}
    if column not in forms:
        yield "column", "unknown_column", f"a column of {table or 'a table'}{near_word(column, forms)}"
        return
    kind, unit = forms[column].kind, forms[column].unit
    if line["format"] and line["format"] not in (VALUES, LABELS):
        if kind not in ("date", "moment") or column.endswith(("_day", "_clock")):
            yield "format", "format", "no format; the column holds no dates"
        elif fault := format_fault(line["format"]):
            yield "format", "format", fault
    if line["unit"] and column != "response":
        if not unit:
            yield "unit", "unit", "no unit; the column holds no quantity with one"
        else:
            yield from _unit_fault(line["unit"], unit)


def _unit_fault(given: str, wanted: str) -> Iterator[tuple[str, str, str]]:
    try:
        conversion_factor(given, wanted)
    except DesignError as error:
        yield "unit", "unit", f"a unit that can be turned into {wanted}; {error.reason}"


def fixed_faults(
    cells: Mapping[str, str], table: str, protocol: Protocol, catalogue: Catalogue
) -> Iterator[tuple[str, str, str]]:
    """Yield part, rule and what would do, for every part of an answer's key that cannot be right."""
    line = {part: cells.get(part, "") for part in (*FIXING, "unit")}
    if table:
        for part in FIXING:
            if line[part] and part not in TABLES[table].by_name:
                yield part, "fixed_part", f"nothing; {table} has no column '{part}'"
    visits = [visit.key for visit in protocol.visits]
    if line["visit"] and visits and line["visit"] not in visits:
        yield "visit", "unknown_visit", f"a visit of the protocol{near_word(line['visit'], visits)}"
    if line["side"] and line["side"] not in SIDES:
        yield "side", "not_a_word", f"one of {', '.join(SIDES)}"
    if line["place"] and not re.fullmatch(PLACE_PATTERN, line["place"]):
        yield "place", "not_a_key", "small letters, digits and _, beginning with a letter"
    if line["occasion"] and not re.fullmatch(PLACE_PATTERN, line["occasion"]):
        yield "occasion", "not_a_key", "small letters, digits and _, beginning with a letter"
    if line["trial"] and not re.fullmatch(r"[1-9][0-9]*", line["trial"]):
        yield "trial", "trial", "a whole number from 1"
    if line["measure"]:
        yield from _measure_faults(line, table, catalogue)


def _measure_faults(line: Mapping[str, str], table: str, catalogue: Catalogue) -> Iterator[tuple[str, str, str]]:
    try:
        definition = catalogue.get(line["measure"], line["version"] or None)
    except UsageError:
        if line["measure"] in catalogue:
            yield "version", "unknown_version", f"a version of {line['measure']} that exists"
        else:
            yield (
                "measure",
                "unknown_measure",
                f"a measure of the catalogue{near_word(line['measure'], catalogue.keys())}",
            )
        return
    items = {item.key: item for item in definition.items}
    if line["item"] and line["item"] not in items:
        yield "item", "unknown_item", f"an item of {line['measure']}{near_word(line['item'], items)}"
    if line["unit"] and (not table or table in ANSWER_TABLES) and line["item"] in items:
        wanted = items[line["item"]].unit
        if not wanted:
            yield "unit", "unit", "no unit; the item has none"
        else:
            yield from _unit_fault(line["unit"], wanted)
