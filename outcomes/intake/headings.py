"""Which heading of a sheet is which column: by columns.csv, else by its own name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import TYPE_CHECKING

from outcomes.errors import DesignError
from outcomes.intake.drafts import Feed
from outcomes.intake.mapping import NOT_READ, HeadingRule
from outcomes.intake.raw import BLANK, PROPOSES
from outcomes.intake.sheet_xml import cell_reference
from outcomes.intake.workbooks import tell
from outcomes.units import conversion_factor
from outcomes.vocabulary import ANSWER_TABLES, TABLES, Table

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet
    from outcomes.measures import Catalogue

KEY_PARTS = frozenset(name for table in TABLES.values() for name in table.key)


@dataclass(frozen=True, slots=True)
class Entry:
    """One heading of a sheet as a column of one table."""

    position: int
    column: str
    fixed: dict[str, str] = field(default_factory=dict, hash=False)
    unit: str = ""
    format: str = ""
    row: int = 0


UNIT_LABELS = ("", "-", "unit", "units", "einheit", "einheiten", "unité", "unités", "unidad", "unità", "eenheid")
"""What may stand in a row of units under the participant's heading."""

MANY_KNOWN = 2
"""Headings that are known in a row from which it is taken for the headings of another table."""

Group = tuple[dict[str, str], list[Entry], tuple[str, ...]]
"""What columns.csv fixes, the headings that belong together, and the columns of which one must be filled."""


@dataclass(slots=True)
class SheetPlan:
    """What the headings of one sheet are.

    Parameters
    ----------
    index : int
        Position among the sheets.
    sheet : Sheet
    own : str
        Table that the sheet is named after, or "".
    maps : list of HeadingRule
        Rows of columns.csv that concern it.
    catalogue : Catalogue
    found : Collector
        Takes the findings.
    """

    index: int
    sheet: Sheet
    own: str
    maps: list[HeadingRule]
    catalogue: Catalogue
    found: Collector

    def feeds(self) -> list[Feed]:
        """Return the feeds of the sheet."""
        if not self._headings_sound():
            return []
        tell(self.sheet, self.found)
        tables = list(dict.fromkeys([*([self.own] if self.own else []), *(m.table for m in self.maps if m.table)]))
        tables = [name for name in TABLES if name in tables and name != NOT_READ]
        if not tables:
            self._tableless()
            return []
        entries = {name: self._entries(TABLES[name], name == self.own or not self.own) for name in tables}
        self._share_participant(entries)
        home = self.own or next((name for name in tables if name not in ANSWER_TABLES), tables[0])
        extra = self._extra(entries, home)
        feeds = []
        for name in tables:
            shares = len(tables) > 1 and name != self.own
            feeds += self._feeds_of(TABLES[name], entries[name], extra if name == home else (), shares)
        self._short_rows(feeds)
        self._rows_for_nothing(feeds)
        return feeds

    def _rows_for_nothing(self, feeds: list[Feed]) -> None:
        """Ask about rows of a wide sheet under whose answer headings nothing stands: they give no row of a table."""
        import numpy as np

        if not feeds or not all(feed.only for feed in feeds):
            return
        filled = np.zeros(len(self.sheet.rows), dtype=bool)
        for position in {feed.headings[name] for feed in feeds for name in feed.only if name in feed.headings}:
            filled |= self.sheet.types[position] != BLANK
        rows = self.sheet.rows[~filled].tolist()
        if rows:
            more = f", as in {len(rows)} rows of the sheet" if len(rows) > 1 else ""
            self.found.add(
                "ask",
                "no_answers",
                f"an answer, or a reason in absent_because; the row gives nothing{more}",
                file=self.sheet.file,
                sheet=self.sheet.name,
                table=feeds[0].table,
                row=rows[0],
            )

    def _block(self, rule: str, expected: str, *, column: str = "", found: str = "", remedy: str = "") -> None:
        self.found.add(
            "block",
            rule,
            expected,
            file=self.sheet.file,
            sheet=self.sheet.name,
            table=self.own,
            row=self.sheet.header_row,
            column=column,
            found=found,
            remedy=remedy,
        )

    def _second_table(self) -> str:
        """Return in words which later row looks like the headings of another table, or nothing."""
        known = {heading for table in TABLES.values() for heading in table.by_heading}
        for i, row in enumerate(self.sheet.rows.tolist()):
            if sum(column[i] in known for column in self.sheet.columns) >= MANY_KNOWN:
                return f"; row {row} looks like the headings of another table, which needs a sheet of its own"
        return ""

    def _headings_sound(self) -> bool:
        """Whether every column has one heading of its own."""
        import numpy as np

        headings = self.sheet.headings
        sound = bool(headings)
        if self.sheet.likely_header:
            self._block("header_row", banner_text(self.sheet), remedy=banner_remedy(self.sheet))
        elif not headings:
            self._block(
                "no_headings",
                f"headings in row {self.sheet.header_row}",
                remedy="Say header_row under [intake] in protocol.toml if they stand in another row.",
            )
        positions: dict[str, list[int]] = {}
        for i, heading in enumerate(headings, start=1):
            positions.setdefault(heading, []).append(i)
        for heading, places in positions.items():
            if heading and len(places) > 1:
                sound = False
                listed = ", ".join(str(place) for place in places)
                self._block("duplicate_heading", f"each heading once; columns {listed} bear it", column=heading)
            elif not heading and any((self.sheet.types[i - 1] != BLANK).any() for i in places):
                sound = False
                bare = [i for i in places if (self.sheet.types[i - 1] != BLANK).any()]
                filled = np.any([self.sheet.types[i - 1] != BLANK for i in bare], axis=0)
                first = int(self.sheet.rows[np.flatnonzero(filled)[0]])
                listed = ", ".join(cell_reference(0, i - 1).rstrip("1") for i in bare)
                self._block(
                    "empty_heading",
                    f"a heading above every value; column {listed} has none, and a value in row {first}"
                    f"{self._second_table()}",
                    remedy="Name the column, or say header_row under [intake] in protocol.toml if the headings stand "
                    "in another row.",
                )
        return sound

    def _tableless(self) -> None:
        for one in self.maps:
            if one.column != NOT_READ:
                expected = "a table; the sheet is not named after one"
                self.found.add("block", "empty_table", expected, file="columns.csv", row=one.row, column="table")

    def _entries(self, table: Table, whole: bool) -> list[Entry]:
        """Return the columns that headings give to a table: by columns.csv, else by their own name."""
        entries = []
        mapped = {one.heading for one in self.maps}
        for one in self.maps:
            applies = one.table == table.name or (not one.table and one.column in table.by_heading)
            if applies and one.column != NOT_READ:
                position = self.sheet.headings.index(one.heading)
                entries.append(Entry(position, one.column, dict(one.fixed), one.unit, one.format, one.row))
        for position, heading in enumerate(self.sheet.headings):
            known = heading in table.by_heading and heading not in mapped
            if known and (whole or heading in KEY_PARTS):
                entries.append(Entry(position, heading))
        return entries

    def _share_participant(self, entries: dict[str, list[Entry]]) -> None:
        """Give the participant's heading of one table to the other tables of the sheet."""
        ids = [entry for given in entries.values() for entry in given if entry.column == "participant_id"]
        for name, given in entries.items():
            has_one = any(entry.column == "participant_id" for entry in given)
            if ids and "participant_id" in TABLES[name].by_name and not has_one:
                given.append(Entry(ids[0].position, "participant_id", row=ids[0].row))

    def _extra(self, entries: dict[str, list[Entry]], home: str) -> tuple[int, ...]:
        """Return headings that nothing knows; one near a known heading is asked about."""
        taken = {entry.position for given in entries.values() for entry in given}
        left_out = {one.heading for one in self.maps if one.column == NOT_READ}
        free = [
            i for i, heading in enumerate(self.sheet.headings) if heading and i not in taken and heading not in left_out
        ]
        present = {entry.column for entry in entries[home]} | set(self.sheet.headings)
        missing = [heading for heading in TABLES[home].by_heading if heading not in present]
        required = {name for name in TABLES[home].required_columns if not _has(TABLES[home], name, entries[home])}
        for i in free:
            heading = self.sheet.headings[i]
            near = _near(heading, missing)
            if near and TABLES[home].by_heading[near].name not in required:
                self.found.add(
                    "ask",
                    "unknown_heading",
                    f"a heading of {home}; did you mean '{near}'? It is kept as an extra column",
                    file=self.sheet.file,
                    sheet=self.sheet.name,
                    table=home,
                    row=self.sheet.header_row,
                    column=heading,
                    found=heading,
                    remedy="Correct the heading, or map it in columns.csv.",
                )
        return tuple(free)

    def _feeds_of(self, table: Table, entries: list[Entry], extra: tuple[int, ...], shares: bool) -> list[Feed]:
        """Return one feed a group of headings: an answer heading each, or one for all.

        Where a sheet `shares` its rows among tables, a row without a cell of this table is none of its rows.
        """
        groups = self._answer_groups(entries) if table.name in ANSWER_TABLES else _fixed_groups(entries)
        feeds = []
        for fixed, group, only in groups:
            if self._group_sound(table, fixed, group, extra):
                filled = tuple(entry.column for entry in group) if shares and not only else only
                feeds.append(self._feed(table, fixed, group, extra, filled))
        return feeds

    def _answer_groups(self, entries: list[Entry]) -> list[Group]:
        answers = [entry for entry in entries if entry.column == "response"]
        others = [entry for entry in entries if entry.column != "response"]
        if not answers:
            return [({}, others, ())]
        wide = len(answers) > 1 or bool(answers[0].fixed)
        only = ("response", "absent_because") if wide else ()
        groups: list[Group] = []
        used: set[int] = set()
        for answer in answers:
            fitting = self._fitting(answer, others)
            used |= {entry.position for entry in fitting}
            groups.append((answer.fixed, [answer, *fitting], only))
        for entry in others:
            if entry.position not in used and entry.fixed:
                expected = "the same parts as an answer heading of the sheet; none agrees with this row"
                self.found.add("block", "no_such_answer", expected, file="columns.csv", row=entry.row, column="heading")
        return groups

    def _fitting(self, answer: Entry, others: list[Entry]) -> list[Entry]:
        """Return, for every column, the heading whose fixed parts agree with the answer's, the closest one first."""
        fitting = []
        for column in dict.fromkeys(entry.column for entry in others):
            agreeing = [
                entry for entry in others if entry.column == column and entry.fixed.items() <= answer.fixed.items()
            ]
            if agreeing:
                most = max(len(entry.fixed) for entry in agreeing)
                fitting += [entry for entry in agreeing if len(entry.fixed) == most]
        return fitting

    def _group_sound(self, table: Table, fixed: dict[str, str], group: list[Entry], extra: tuple[int, ...]) -> bool:
        """Whether a group has every required column, each once."""
        sound = True
        columns = [entry.column for entry in group]
        for column in dict.fromkeys(columns):
            if columns.count(column) > 1 or column in fixed:
                names = [self.sheet.headings[entry.position] for entry in group if entry.column == column]
                also = " and columns.csv" if column in fixed else ""
                listed = " and ".join(f"'{name}'" for name in names)
                self._block("two_headings", f"one heading for '{column}'; {listed}{also} give it", column=names[0])
                sound = False
        for known in table.columns:
            forms = [form for form in known.headings if form in columns]
            if known.name in forms and len(forms) > 1:
                listed = " and ".join(f"'{form}'" for form in forms)
                self._block("two_forms", f"one form of '{known.name}'; the sheet has {listed}")
                sound = False
        for name in table.required_columns:
            if not _has(table, name, group) and name not in fixed:
                self._missing(table, name, group)
                sound = False
        return sound

    def _missing(self, table: Table, name: str, group: list[Entry]) -> None:
        taken = {entry.position for entry in group}
        mapped = {one.heading for one in self.maps}
        free = [
            heading
            for i, heading in enumerate(self.sheet.headings)
            if heading and i not in taken and heading not in mapped and heading not in table.by_heading
        ]
        near = [heading for heading in free if _near(heading, table.by_name[name].headings, cutoff=0.6)]
        forms = " or ".join(f"'{form}'" for form in table.by_name[name].headings if not form.endswith("_clock"))
        if near:
            expected = f"the heading {forms} of {table.name}; did you mean '{name}'?"
            self._block("missing_heading", expected, column=near[0], found=near[0])
        else:
            self._block(
                "missing_heading",
                f"a heading {forms} for {table.name}",
                remedy=f"Add the column, or map the clinic's heading in columns.csv. {PROPOSES}",
            )

    def _feed(
        self, table: Table, fixed: dict[str, str], group: list[Entry], extra: tuple[int, ...], only: tuple[str, ...]
    ) -> Feed:
        units = self._units_above(table, group) | {entry.column: entry.unit for entry in group if entry.unit}
        absent = next((entry for entry in group if entry.column == "absent_because"), None)
        if absent is not None and absent.fixed != fixed and self._is_context(fixed):
            group = [entry for entry in group if entry is not absent]
            absent = None
        if only and table.name in ANSWER_TABLES:
            self._empty_answers(table, fixed, group)
        return Feed(
            self.index,
            table.name,
            {entry.column: entry.position for entry in group},
            {name: text for name, text in fixed.items() if name in table.by_name},
            units,
            {entry.column: entry.format for entry in group if entry.format},
            extra,
            only,
            bool(only) and absent is not None and absent.fixed != fixed,
        )

    def _empty_answers(self, table: Table, fixed: dict[str, str], group: list[Entry]) -> None:
        """Ask about an answer heading under which nothing stands, unless it is for a reading that may be left out."""
        kinds = [self.sheet.types[e.position] for e in group if e.column in ("response", "absent_because")]
        if not len(self.sheet.rows) or any((kind != BLANK).any() for kind in kinds) or self._is_context(fixed):
            return
        measure, trial = fixed.get("measure", ""), fixed.get("trial", "")
        rows = self.catalogue.get(measure).rows if measure in self.catalogue else None
        if rows is not None and rows.trial is not None and trial.isdigit() and int(trial) > rows.trial.min:
            return
        heading = next(self.sheet.headings[e.position] for e in group if e.column == "response")
        self.found.add(
            "ask",
            "empty_column",
            "answers; the column is empty, and what needs it is left out",
            file=self.sheet.file,
            sheet=self.sheet.name,
            table=table.name,
            row=self.sheet.header_row,
            column=heading,
        )

    def _is_context(self, fixed: dict[str, str]) -> bool:
        """Whether an answer heading is a context item, which a reason for the answers does not concern."""
        measure = fixed.get("measure", "")
        if measure not in self.catalogue:
            return False
        return fixed.get("item") in [item.key for item in self.catalogue.get(measure).context]

    def _units_above(self, table: Table, group: list[Entry]) -> dict[str, str]:
        """Return the units of the declared unit row by column; what is no unit is refused."""
        units: dict[str, str] = {}
        given = {entry: self.sheet.units[entry.position] for entry in group if entry.position in self.sheet.units}
        for entry, text in sorted(given.items(), key=lambda pair: pair[0].column != "participant_id"):
            unit, wanted = text.strip("[]():. "), table.by_heading[entry.column].unit
            if entry.column == "participant_id" and unit.casefold() not in UNIT_LABELS:
                self._not_a_unit(entry, text, "units and no data, as [intake] unit_row says")
                return {}
            if entry.column == "response":
                units["response"] = unit
            elif wanted and not entry.unit:
                try:
                    conversion_factor(unit, wanted)
                    units[entry.column] = unit
                except DesignError as error:
                    self._not_a_unit(entry, text, f"a unit that can be turned into {wanted}; {error.reason}")
        return units

    def _not_a_unit(self, entry: Entry, text: str, expected: str) -> None:
        self.found.add(
            "block",
            "unit_row",
            expected,
            file=self.sheet.file,
            sheet=self.sheet.name,
            table=self.own,
            row=self.sheet.unit_row,
            column=self.sheet.headings[entry.position],
            found=text,
        )

    def _short_rows(self, feeds: list[Feed]) -> None:
        """Name rows of a text file that end early: refused where a required cell is lost."""
        required = {
            position
            for feed in feeds
            for column, position in feed.headings.items()
            if TABLES[feed.table].by_heading[column].name in TABLES[feed.table].required_columns
        }
        for row, fields in self.sheet.short.items():
            lost = any(position >= fields for position in required)
            self.found.add(
                "block" if lost else "ask",
                "too_few_fields",
                f"{len(self.sheet.headings)} fields, as there are headings; the row has {fields}",
                file=self.sheet.file,
                table=feeds[0].table if feeds else self.own,
                row=row,
            )


def banner_text(sheet: Sheet) -> str:
    """Return what is wrong where the headings seem to stand in another row than the declared one."""
    return f"headings in row {sheet.header_row}; row {sheet.likely_header} looks like them"


def banner_remedy(sheet: Sheet) -> str:
    """Return the line of the protocol that settles where the headings stand."""
    return f"Say header_row = {sheet.likely_header} under [intake] in protocol.toml, or delete what stands above them."


def _fixed_groups(entries: list[Entry]) -> list[Group]:
    """Return one group for every set of fixed parts; headings without fixed parts belong to each."""
    shared = [entry for entry in entries if not entry.fixed]
    sets = [dict(parts) for parts in dict.fromkeys(tuple(sorted(e.fixed.items())) for e in entries if e.fixed)]
    if not sets:
        return [({}, shared, ())]
    groups: list[Group] = []
    for fixed in sets:
        own = [entry for entry in entries if entry.fixed == fixed]
        taken = {entry.column for entry in own}
        rest = [entry for entry in shared if entry.column not in taken]
        groups.append((fixed, [*own, *rest], tuple(entry.column for entry in own)))
    return groups


def _has(table: Table, name: str, entries: Sequence[Entry]) -> bool:
    forms = [form for form in table.by_name[name].headings if not form.endswith("_clock")]
    return any(entry.column in forms or name in entry.fixed for entry in entries)


def _near(heading: str, known: Sequence[str], cutoff: float = 0.75) -> str:
    """Return the known heading that `heading` may have been meant for, or an empty text."""
    plain = {name.lower().replace(" ", "_").replace("-", "_"): name for name in known}
    close = get_close_matches(heading.lower().replace(" ", "_").replace("-", "_"), list(plain), n=1, cutoff=cutoff)
    return plain[close[0]] if close else ""
