"""A table on its way from sheets to a frame: cells as typed, what became of each, and where each stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from outcomes.intake.raw import BLANK, FIXED, Sheet, texts
from outcomes.vocabulary import TABLES, Table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.intake.raw import Flags, Floats, Integers, Reasons, Texts, Types

USED, DUPLICATE, SET_ASIDE = range(3)
ROW_STATES = ("used", "duplicate", "set_aside")
NOTHING, AS_TYPED, NORMALISED, EMPTIED = range(4)
CELL_STATES = ("", "as_typed", "normalised", "emptied")


class Place(NamedTuple):
    """Where a cell stands in the clinic's own files; `row` is the spreadsheet's number."""

    file: str
    sheet: str
    row: int
    heading: str


@dataclass(frozen=True)
class Feed:
    """How one sheet feeds one table: which heading each column comes from, and what columns.csv fixes.

    Parameters
    ----------
    sheet : int
        Position among the sheets.
    table : str
    headings : mapping of str to int
        Column (in the form typed, such as ``enrolled_day``) to position of the heading.
    fixed : mapping of str to str
        Column to the text that columns.csv gives it.
    units, formats : mapping of str to str
        Column to the unit or date format that columns.csv declares.
    extra : tuple of int
        Positions of headings that are kept as extra columns.
    only : tuple of str
        A row exists only where one of these columns is filled; empty: every non-blank row.
    shares_absent : bool
        `absent_because` stands for several answers of a sheet row: it goes to the unanswered ones.
    """

    sheet: int
    table: str
    headings: Mapping[str, int]
    fixed: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    formats: Mapping[str, str] = field(default_factory=dict)
    extra: tuple[int, ...] = ()
    only: tuple[str, ...] = ()
    shares_absent: bool = False


@dataclass
class Draft:
    """One table being read.

    Parameters
    ----------
    table : Table
    sheets : sequence of Sheet
    feeds : list of Feed
    feed, position : int arrays of shape (n_rows,)
        Which feed a row came through, and its position in that feed's sheet.
    typed, types : dict of str to arrays of shape (n_rows,)
        Cells by column as typed, and their types; FIXED where columns.csv gave the text.
    extra : list of str
        Columns of `typed` that the vocabulary does not know.
    text, number, moment : dict of str to arrays of shape (n_rows,)
        Canonical values: "" or nan or NaT where missing.
    state, why : dict of str to arrays of shape (n_rows,)
        What became of each cell, and the position of the reason in `reasons`.
    row_state, row_why : arrays of shape (n_rows,)
    """

    table: Table
    sheets: Sequence[Sheet]
    feeds: list[Feed]
    feed: Integers
    position: Integers
    typed: dict[str, Texts]
    types: dict[str, Types]
    extra: list[str]
    row_state: Types
    row_why: Reasons
    text: dict[str, Texts] = field(default_factory=dict)
    number: dict[str, Floats] = field(default_factory=dict)
    moment: dict[str, NDArray[np.datetime64]] = field(default_factory=dict)
    state: dict[str, Types] = field(default_factory=dict)
    why: dict[str, Reasons] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=lambda: [""])

    @property
    def name(self) -> str:
        """Name of the table."""
        return self.table.name

    def __len__(self) -> int:
        return len(self.feed)

    @property
    def wide(self) -> bool:
        """Whether one sheet row gives several rows, so that cells are shared among them."""
        return len({feed.sheet for feed in self.feeds}) < len(self.feeds)

    @property
    def used(self) -> Flags:
        """Rows that are neither duplicates nor set aside."""
        mask: Flags = self.row_state == USED
        return mask

    def place(self, row: int, column: str = "") -> Place:
        """Return where a row, or a cell of it, stands."""
        feed = self.feeds[int(self.feed[row])]
        sheet = self.sheets[feed.sheet]
        position = feed.headings.get(column)
        if position is None and column in self.extra:
            position = next((i for i in feed.extra if sheet.headings[i] == column), None)
        if position is None and column in feed.fixed and "response" in feed.headings:
            position = feed.headings["response"]
        return Place(
            sheet.file,
            sheet.name,
            int(sheet.rows[int(self.position[row])]),
            "" if position is None else sheet.headings[position],
        )

    def participant(self, row: int) -> str:
        """Return the participant of a row for a message, empty where the heading looks identifying."""
        from outcomes.intake.collector import identifying

        known = self.text.get("participant_id", self.typed.get("participant_id"))
        if known is None or identifying(self.place(row, "participant_id").heading):
            return ""
        return str(known[row])

    def typed_text(self, row: int, column: str) -> str:
        """Return the text of a cell as typed."""
        return str(self.typed[column][row]) if column in self.typed else ""

    def shown_text(self, row: int, column: str) -> str:
        """Return the text of a cell for a message: as typed, with its declared unit where that was turned."""
        text = self.typed_text(row, column)
        unit = self.feeds[int(self.feed[row])].units.get(column, "")
        turned = unit and column in self.why and self.reasons[self.why[column][row]].startswith(f"{unit} to ")
        return f"{text} {unit}" if turned else text

    def reason(self, text: str) -> int:
        """Return the position of a reason, added if it is new."""
        if text not in self.reasons:
            self.reasons.append(text)
        return self.reasons.index(text)

    def mark(self, column: str, rows: Flags | Integers, state: int, reason: str) -> None:
        """Say what became of cells; a cell that was emptied keeps its first reason."""
        import numpy as np

        if column not in self.state:
            return
        if rows.dtype == np.bool_:
            rows = np.flatnonzero(rows)
        open_rows = rows[(self.state[column][rows] != EMPTIED) & (self.state[column][rows] != NOTHING)]
        self.state[column][open_rows] = state
        self.why[column][open_rows] = self.reason(reason)

    def empty(self, column: str, rows: Flags | Integers, reason: str) -> None:
        """Make cells missing, with the reason."""
        self.mark(column, rows, EMPTIED, reason)
        if column in self.text:
            self.text[column][rows] = ""
        if column in self.number:
            self.number[column][rows] = float("nan")
        if column in self.moment:
            import numpy as np

            self.moment[column][rows] = np.datetime64("NaT")
            clock = f"{column[:-3]}_clock"
            if column.endswith("_at") and clock in self.number and clock not in self.typed:
                self.number[clock][rows] = float("nan")

    def set_aside(self, rows: Flags | Integers, reason: str) -> None:
        """Set whole rows aside, with the reason; a row that already has a state keeps it."""
        import numpy as np

        if rows.dtype == np.bool_:
            rows = np.flatnonzero(rows)
        open_rows = rows[self.row_state[rows] == USED]
        self.row_state[open_rows] = SET_ASIDE
        self.row_why[open_rows] = self.reason(reason)

    def sheet_of_rows(self) -> Integers:
        """Return the position of the sheet of every row."""
        import numpy as np

        of_feed = np.array([feed.sheet for feed in self.feeds], dtype=np.int64)
        return of_feed[self.feed] if len(self.feed) else np.zeros(0, dtype=np.int64)


def assemble(sheets: Sequence[Sheet], feeds: Sequence[Feed]) -> dict[str, Draft]:
    """Return the table that each group of feeds gives, in the order of the vocabulary."""
    return {
        name: _assemble_one(TABLES[name], sheets, [feed for feed in feeds if feed.table == name])
        for name in TABLES
        if any(feed.table == name for feed in feeds)
    }


def _assemble_one(table: Table, sheets: Sequence[Sheet], feeds: list[Feed]) -> Draft:
    import numpy as np

    chosen = [_rows_of(sheets[feed.sheet], feed, feeds) for feed in feeds]
    feed = np.concatenate([np.full(len(rows), i, dtype=np.int64) for i, rows in enumerate(chosen)])
    position = np.concatenate(chosen)
    columns = list(dict.fromkeys(name for one in feeds for name in (*one.headings, *one.fixed)))
    extra = [name for name in _extra_names(sheets, feeds) if name not in columns]
    typed: dict[str, Texts] = {}
    types: dict[str, Types] = {}
    places = [{sheets[one.sheet].headings[i]: i for i in one.extra} for one in feeds]
    for name in (*columns, *extra):
        parts = [
            _cells(sheets[one.sheet], one, place, name, rows, feeds)
            for one, place, rows in zip(feeds, places, chosen, strict=True)
        ]
        typed[name] = np.concatenate([part[0] for part in parts])
        types[name] = np.concatenate([part[1] for part in parts])
    order = np.lexsort((feed, position, np.array([one.sheet for one in feeds], dtype=np.int64)[feed]))
    if not np.array_equal(order, np.arange(len(order))):
        feed, position = feed[order], position[order]
        typed = {name: values[order] for name, values in typed.items()}
        types = {name: values[order] for name, values in types.items()}
    draft = Draft(
        table,
        sheets,
        feeds,
        feed,
        position,
        typed,
        types,
        extra,
        np.zeros(len(feed), dtype=np.int8),
        np.zeros(len(feed), dtype=np.int16),
    )
    for name in columns:
        cells = (types[name] != BLANK) & (types[name] != FIXED)
        draft.state[name] = cells.astype(np.int8)
        draft.why[name] = np.zeros(len(feed), dtype=np.int16)
    return draft


def _rows_of(sheet: Sheet, feed: Feed, feeds: Sequence[Feed]) -> Integers:
    """Return the positions of the sheet's rows that give a row of the table."""
    import numpy as np

    if not feed.only:
        return np.arange(len(sheet.rows), dtype=np.int64)
    filled = np.zeros(len(sheet.rows), dtype=bool)
    for name in feed.only:
        if name in feed.headings:
            cells = sheet.types[feed.headings[name]] != BLANK
            if name == "absent_because" and feed.shares_absent:
                cells = cells & _absent_goes_here(sheet, feed, feeds)
            filled |= cells
    return np.flatnonzero(filled)


def _absent_goes_here(sheet: Sheet, feed: Feed, feeds: Sequence[Feed]) -> Flags:
    """Return the rows in which an `absent_because` shared by several answers belongs to this one."""
    import numpy as np

    heading = feed.headings["absent_because"]
    sharing = [
        one
        for one in feeds
        if one.sheet == feed.sheet and one.shares_absent and one.headings.get("absent_because") == heading
    ]
    unanswered = [sheet.types[one.headings["response"]] == BLANK for one in sharing]
    mine = sheet.types[feed.headings["response"]] == BLANK
    goes: Flags = mine | ~np.logical_or.reduce(unanswered)
    return goes


def _extra_names(sheets: Sequence[Sheet], feeds: Sequence[Feed]) -> list[str]:
    return list(dict.fromkeys(sheets[feed.sheet].headings[i] for feed in feeds for i in feed.extra))


def _cells(
    sheet: Sheet, feed: Feed, extra: dict[str, int], name: str, rows: Integers, feeds: Sequence[Feed]
) -> tuple[Texts, Types]:
    """Return texts and types of one column of the chosen rows; `extra` has the positions of extra headings."""
    import numpy as np

    position = feed.headings.get(name)
    if position is None:
        position = extra.get(name)
    if position is None:
        kind = FIXED if name in feed.fixed else BLANK
        return texts([feed.fixed.get(name, "")] * len(rows)), np.full(len(rows), kind, dtype=np.int8)
    values, types = sheet.columns[position][rows], sheet.types[position][rows]
    if name == "absent_because" and feed.shares_absent:
        away = ~_absent_goes_here(sheet, feed, feeds)[rows]
        values[away], types[away] = "", BLANK
    return values, types
