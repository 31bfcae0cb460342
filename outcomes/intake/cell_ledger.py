"""The ledger of cells: every cell of every sheet that feeds a table, once for each table: what came in, what became of
it, by which rule.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from outcomes.intake.collector import identifying
from outcomes.intake.drafts import CELL_STATES, EMPTIED, ROW_STATES, Draft, Feed
from outcomes.intake.raw import BLANK, number_text

if TYPE_CHECKING:
    import pyarrow as pa

    from outcomes.intake.raw import Flags, Integers, Sheet, Types

FILE = "cells.parquet"

COLUMNS = (
    "file",
    "sheet",
    "row",
    "heading",
    "typed",
    "table",
    "table_row",
    "column",
    "became",
    "state",
    "reason",
    "row_state",
)
"""What is said of a cell: where it stands, its text as typed, what it stands for, its value, what was done and why."""

KEPT, NOT_READ = "kept", "not_read"
"""States of a cell that belongs to no table: kept beside its row as typed; read into nothing."""

EXTRA_COLUMN, LEFT_OUT, NO_ROW = "extra_column", "left_out", "no_row"
"""Why a cell belongs to no table: the heading is no column; columns.csv leaves it out; its row has nothing to read."""


def every_cell(drafts: Mapping[str, Draft], sheets: Sequence[Sheet]) -> pa.Table:
    """Return every cell of the sheets that feed a table, once for each table that it feeds.

    Parameters
    ----------
    drafts : mapping of str to Draft
    sheets : sequence of Sheet

    Returns
    -------
    pyarrow.Table
        `COLUMNS`; ``table/table_row/column`` is the cell's id. The state is one of "as_typed", "normalised",
        "emptied"; the row's state "used", "duplicate" or "set_aside": counted by both, the cells are those of the
        balance. Beside them stand cells that belong to no table: "kept" as extra columns, or "not_read". Text under
        a heading that looks identifying, or that columns.csv leaves out, is not repeated.
    """
    import numpy as np
    import pyarrow as pa

    seen = {
        index: np.zeros((len(sheets[index].headings), len(sheets[index].rows)), dtype=bool)
        for draft in drafts.values()
        for index in {feed.sheet for feed in draft.feeds}
    }
    parts = [part for draft in drafts.values() for part in _cells_of_table(draft, seen)]
    for index in sorted(seen):
        feeds = [feed for draft in drafts.values() for feed in draft.feeds if feed.sheet == index]
        parts += _other_cells(sheets[index], seen[index], feeds)
    return pa.concat_tables([_schema().empty_table(), *parts])


def _schema() -> pa.Schema:
    import pyarrow as pa

    numbers = {"row": pa.int32(), "table_row": pa.int32()}
    text = pa.dictionary(pa.int32(), pa.string())
    return pa.schema([(name, numbers.get(name, text)) for name in COLUMNS])


def counted_cells(draft: Draft, column: str) -> Flags:
    """Return the rows whose cell is counted: of the rows that share a cell of a wide sheet, the first that holds it."""
    import numpy as np

    filled: Flags = draft.state[column] != 0
    if not draft.wide:
        return filled
    holding = np.flatnonzero(filled)
    _, first = np.unique(_shared_keys(draft, column)[holding], return_index=True)
    leading = np.zeros(len(draft), dtype=bool)
    leading[holding[first]] = True
    return leading


def _headings(draft: Draft, column: str) -> Integers:
    """Return the position of the heading from which a column of every row comes, -1 where there is none."""
    import numpy as np

    positions: Integers = np.array([feed.headings.get(column, -1) for feed in draft.feeds], dtype=np.int64)[draft.feed]
    return positions


def _shared_keys(draft: Draft, column: str) -> Integers:
    """Return one number for every cell of the clinic's files that a column comes from."""
    heading = _headings(draft, column)
    sheet = draft.sheet_of_rows()
    rows = int(draft.position.max(initial=0)) + 1
    keys: Integers = (sheet * rows + draft.position) * (int(heading.max(initial=0)) + 2) + heading
    return keys


def row_state_of_cells(draft: Draft, column: str) -> Types:
    """Return the state of the row of every cell; a shared cell is used if one of its rows is."""
    import numpy as np

    if not draft.wide:
        return draft.row_state
    _, inverse = np.unique(_shared_keys(draft, column), return_inverse=True)
    best = np.full(int(inverse.max(initial=0)) + 1, 2, dtype=np.int8)
    np.minimum.at(best, inverse, draft.row_state)
    shared: Types = best[inverse]
    return shared


def spreadsheet_rows(draft: Draft) -> Integers:
    """Return the spreadsheet's row number of every row."""
    import numpy as np

    of_row = draft.sheet_of_rows()
    numbers = np.zeros(len(draft), dtype=np.int64)
    for index in np.unique(of_row).tolist():
        here = of_row == index
        numbers[here] = draft.sheets[index].rows[draft.position[here]]
    return numbers


def _cells_of_table(draft: Draft, seen: Mapping[int, Any]) -> Iterator[pa.Table]:
    """Give the counted cells of a table, column by column and heading by heading; mark them as seen."""
    import numpy as np

    numbers, of_row = spreadsheet_rows(draft), draft.sheet_of_rows()
    for column, state in draft.state.items():
        counted, heading = counted_cells(draft, column), _headings(draft, column)
        row_state = row_state_of_cells(draft, column)
        for index, position in sorted({(feed.sheet, feed.headings.get(column, -1)) for feed in draft.feeds}):
            rows = np.flatnonzero(counted & (of_row == index) & (heading == position))
            if not len(rows):
                continue
            sheet = draft.sheets[index]
            seen[index][position, draft.position[rows]] = True
            hidden = identifying(sheet.headings[position])
            own = draft.why[column][rows]
            yield _part(
                sheet,
                position,
                numbers[rows],
                _told(draft.typed[column][rows], hidden),
                table=_same(draft.name, len(rows)),
                table_row=rows + 1,
                column=_same(column, len(rows)),
                became=_told(np.where(state[rows] == EMPTIED, "", _became(draft, column, rows)), hidden),
                state=_coded(state[rows], CELL_STATES),
                reason=_coded(np.where(own != 0, own, draft.row_why[rows]), draft.reasons),
                row_state=_coded(row_state[rows], ROW_STATES),
            )


def _other_cells(sheet: Sheet, seen: Any, feeds: Sequence[Feed]) -> Iterator[pa.Table]:
    """Give the cells of a sheet that belong to no table."""
    import numpy as np

    extra = {position for feed in feeds for position in feed.extra}
    read = {position for feed in feeds for position in feed.headings.values()}
    for position, heading in enumerate(sheet.headings):
        rows = np.flatnonzero((sheet.types[position] != BLANK) & ~seen[position])
        if not len(rows):
            continue
        kept = position in extra
        typed = _told(sheet.columns[position][rows], identifying(heading) or position not in extra | read)
        nothing = _same("", len(rows))
        yield _part(
            sheet,
            position,
            sheet.rows[rows],
            typed,
            table=nothing,
            table_row=np.zeros(len(rows), dtype=np.int64),
            column=nothing,
            became=typed if kept else nothing,
            state=_same(KEPT if kept else NOT_READ, len(rows)),
            reason=_same(EXTRA_COLUMN if kept else NO_ROW if position in read else LEFT_OUT, len(rows)),
            row_state=nothing,
        )


def _part(sheet: Sheet, position: int, rows: Integers, typed: pa.Array, **columns: Any) -> pa.Table:
    import numpy as np
    import pyarrow as pa

    where = {
        "file": _same(sheet.file, len(rows)),
        "sheet": _same(sheet.name, len(rows)),
        "row": rows.astype(np.int32),
        "heading": _same(sheet.headings[position], len(rows)),
        "typed": typed,
    }
    columns["table_row"] = columns["table_row"].astype(np.int32)
    return pa.table(where | columns, schema=_schema())


def _same(text: str, count: int) -> pa.Array:
    import numpy as np

    return _coded(np.zeros(count, dtype=np.int32), [text])


def _coded(codes: Any, different: Sequence[str]) -> pa.Array:
    """Return texts by their position among the different ones."""
    import numpy as np
    import pyarrow as pa

    words = pa.array([text.encode("utf-8", "replace").decode() for text in different], type=pa.string())
    return pa.DictionaryArray.from_arrays(codes.astype(np.int32), words)


def _told(values: Any, hidden: bool) -> pa.Array:
    from outcomes.intake.raw import unique

    return _same("", len(values)) if hidden else _coded(*unique(values))


def _became(draft: Draft, column: str, rows: Integers) -> Any:
    """Return the values of cells as text: words as they are, days and moments as ISO text, shortest decimals."""
    import numpy as np

    if column in draft.text:
        return draft.text[column][rows]
    if column in draft.moment:
        different, codes = np.unique(draft.moment[column][rows], return_inverse=True)
        spelled = [str(one).replace("T", " ").removesuffix(".000000").removesuffix(" 00:00:00") for one in different]
    elif column in draft.number:
        different, codes = np.unique(draft.number[column][rows], return_inverse=True)
        spelled = ["" if one != one else number_text(one) for one in different.tolist()]
    else:
        return np.full(len(rows), "", dtype=object)
    return np.array(spelled, dtype=object)[codes]
