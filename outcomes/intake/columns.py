"""Which sheet feeds which table."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.intake.drafts import Feed
from outcomes.intake.entry_workbook import README_SHEET
from outcomes.intake.headings import SheetPlan, banner_remedy
from outcomes.intake.mapping import NOT_READ, HeadingRule
from outcomes.intake.query_sheet import QUERY_SHEET
from outcomes.intake.raw import PROPOSES
from outcomes.intake.readers import near_table
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet
    from outcomes.measures import Catalogue


@dataclass(slots=True)
class Plan:
    """How sheets feed tables.

    Parameters
    ----------
    feeds : list of Feed
    unused : list of int
        Positions of sheets that feed nothing.
    claimed : set of str
        Tables for which a sheet exists, also where it cannot be read.
    """

    feeds: list[Feed] = field(default_factory=list)
    unused: list[int] = field(default_factory=list)
    claimed: set[str] = field(default_factory=set)


def plan_feeds(
    sheets: Sequence[Sheet],
    mappings: Sequence[HeadingRule],
    catalogue: Catalogue,
    found: Collector,
    refused: Collection[str] = (),
) -> Plan:
    """Return how the sheets feed the tables; what cannot be settled is refused.

    A sheet of columns.csv that does not exist is not named where a file was `refused`, which may hold it.
    """
    plan = Plan()
    owners = _owners(sheets, found)
    for index, sheet in enumerate(sheets):
        if sheet.name in (README_SHEET, QUERY_SHEET):
            continue
        maps = [one for one in mappings if not one.sheet or one.sheet in sheet.names]
        if any(one.table == NOT_READ for one in maps if not one.heading):
            plan.unused.append(index)
            continue
        if sheet.hidden:
            text = "sheets that can be seen; a hidden sheet stays in the file when the file is passed on"
            found.add("ask", "hidden_sheet", text, file=sheet.file, sheet=sheet.name)
        here = [one for one in maps if one.heading in sheet.headings]
        owner = owners.get(index, "")
        feeds = SheetPlan(index, sheet, owner, here, catalogue, found).feeds() if owner or here else []
        plan.claimed |= {feed.table for feed in feeds} | ({owners[index]} if index in owners else set())
        if feeds:
            plan.feeds += feeds
        elif index not in owners:
            plan.unused.append(index)
            if here or not _name_shifted(sheet, maps, found):
                _name_unused(sheet, found)
    if not refused:
        _no_such_sheets(sheets, mappings, found)
    read = [sheet for i, sheet in enumerate(sheets) if i not in plan.unused and not sheet.likely_header]
    _no_such_headings(read, mappings, found)
    return plan


def _owners(sheets: Sequence[Sheet], found: Collector) -> dict[int, str]:
    """Return the table that each sheet is named after; two sheets for one table are refused."""
    owners: dict[int, str] = {}
    for index, sheet in enumerate(sheets):
        stem = (sheet.file.rpartition(".")[0] or sheet.file).lower()
        if sheet.name.strip().lower() in TABLES:
            owners[index] = sheet.name.strip().lower()
        elif stem in TABLES and not sheet.name:
            owners[index] = stem
    for file in dict.fromkeys(sheet.file for sheet in sheets if sheet.name):
        table = (file.rpartition(".")[0] or file).lower()
        inside = [i for i, sheet in enumerate(sheets) if sheet.file == file]
        if table not in TABLES or any(owners.get(i) == table for i in inside):
            continue
        if len(inside) == 1 and inside[0] not in owners:
            owners[inside[0]] = table
        elif not any(i in owners for i in inside):
            names = ", ".join(f"'{sheets[i].name}'" for i in inside)
            found.add("block", "which_sheet", f"a sheet named '{table}'; the workbook has {names}", file=file)
    for table in dict.fromkeys(owners.values()):
        same = [index for index, owner in owners.items() if owner == table]
        if len(same) > 1:
            names = " and ".join(sheets[index].title for index in same)
            found.add("block", "two_sources", f"one source of the table {table}; there are {names}", table=table)
    return owners


def _name_unused(sheet: Sheet, found: Collector) -> None:
    name = sheet.name or sheet.file.rpartition(".")[0] or sheet.file
    near = near_table(name)
    found.add(
        "ask",
        "not_read",
        f"the name of a table, or a row of columns.csv{near}; nothing of it was read",
        file=sheet.file,
        sheet=sheet.name,
        remedy=PROPOSES,
    )


def _name_shifted(sheet: Sheet, maps: Sequence[HeadingRule], found: Collector) -> bool:
    """Refuse a sheet that columns.csv names and that bears none of its headings; return whether it is one."""
    exact = [one for one in maps if one.sheet in sheet.own_names and one.heading and one.column != NOT_READ]
    if not exact:
        return False
    headings = list(dict.fromkeys(one.heading for one in exact))
    listed = ", ".join(f"'{heading}'" for heading in headings[:3]) + (", ..." if len(headings) > 3 else "")
    found.add(
        "block",
        "shifted_headings",
        f"the headings that columns.csv gives for this sheet ({listed}); row {sheet.header_row} has none of them"
        + (f", row {sheet.likely_header} looks like them" if sheet.likely_header else ""),
        file=sheet.file,
        sheet=sheet.name,
        row=sheet.header_row,
        found=next((heading for heading in sheet.headings if heading), ""),
        remedy=banner_remedy(sheet)
        if sheet.likely_header
        else "Delete what stands above the headings, or say header_row under [intake] in protocol.toml.",
    )
    return True


def _no_such_sheets(sheets: Sequence[Sheet], mappings: Sequence[HeadingRule], found: Collector) -> None:
    """Name the sheets of columns.csv that do not exist, each once."""
    names = {name for sheet in sheets for name in sheet.names}
    rows: dict[str, list[int]] = {}
    for one in mappings:
        if one.sheet and one.sheet not in names:
            rows.setdefault(one.sheet, []).append(one.row)
    free = names - {one.sheet for one in mappings}
    listed = (
        ", ".join(f"'{sheet.name or sheet.file}'" for sheet in sheets if sheet.name not in (README_SHEET, QUERY_SHEET))
        or "none"
    )
    for name, where in rows.items():
        count = f" ({len(where)} rows)" if len(where) > 1 else ""
        expected = f"a sheet or file that exists{count}{near_word(name, free)}; there are {listed}"
        found.add("block", "no_such_sheet", expected, file="columns.csv", row=where[0], column="sheet", found=name)


def _no_such_headings(sheets: Sequence[Sheet], mappings: Sequence[HeadingRule], found: Collector) -> None:
    """Name the headings of columns.csv that its sheets do not bear.

    One near a heading of the sheet that nothing names is a slip of the pen, and what stands below it would go unread:
    it stops the run. Any other is asked about, as a sheet may do without a column.
    """
    for one in mappings:
        inside = [sheet for sheet in sheets if not one.sheet or one.sheet in sheet.names]
        headings = [heading for sheet in inside for heading in sheet.headings]
        if not one.heading or not inside or one.heading in headings:
            continue
        taken = {other.heading for other in mappings if other.sheet == one.sheet}
        free = [heading for heading in headings if heading not in taken]
        near = near_word(one.heading, free, cutoff=0.75)
        found.add(
            "block" if near else "ask",
            "no_such_heading",
            f"a heading that exists{near}",
            file="columns.csv",
            row=one.row,
            column="heading",
            found=one.heading,
        )
