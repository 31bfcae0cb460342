"""The ledger: what became of every row and cell, where each stands, and two balances that add up or stop the run."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from outcomes.errors import Finding, OutcomesError, UsageError, inert
from outcomes.intake.cell_ledger import (
    COLUMNS,
    FILE,
    counted_cells,
    every_cell,
    row_state_of_cells,
    spreadsheet_rows,
)
from outcomes.intake.drafts import CELL_STATES, NORMALISED, ROW_STATES, Draft, Place
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from outcomes.intake.raw import Sheet
    from outcomes.intake.settings import Decision

BALANCE = (
    "table",
    "rows_read",
    "used",
    "duplicates",
    "set_aside",
    "cells_read",
    "as_typed",
    "normalised",
    "emptied",
    "in_duplicates",
    "in_set_aside",
)
"""Columns of the balance: rows read = used + duplicates + set aside; cells read = the sum of the last five."""


class Unbalanced(OutcomesError):
    """The ledger does not add up: a fault of the software, never of the data."""


class Source(NamedTuple):
    """Table and row that a derived row stands for."""

    table: str
    row: int


@dataclass(frozen=True)
class Ledger:
    """What became of every row and cell of every table.

    Parameters
    ----------
    drafts : mapping of str to Draft
    sheets : sequence of Sheet
    read : mapping of str to (int, int)
        Rows and non-blank cells of each table, counted before anything was done to them.
    derived : mapping of str to sequence of Source
        Rows that were derived from rows of another table, by table; row n of the frame beyond the table's own rows.
    answered : sequence of (Decision, Finding)
        Queries that decisions.csv answered.
    """

    drafts: Mapping[str, Draft] = field(repr=False)
    sheets: Sequence[Sheet] = field(repr=False)
    read: Mapping[str, tuple[int, int]]
    derived: Mapping[str, Sequence[Source]] = field(default_factory=dict, repr=False)
    answered: Sequence[tuple[Decision, Finding]] = field(default=(), repr=False)

    def locate(self, name: str) -> Place:
        """Return file, sheet, spreadsheet row and heading of a row or cell.

        Parameters
        ----------
        name : str
            ``table/n`` or ``table/n/column``.

        Returns
        -------
        Place
            Fields file, sheet, row, heading; the heading is empty for a row, and for a column the file does not have.

        Raises
        ------
        UsageError
            No such row.
        """
        table, _, rest = name.partition("/")
        number, _, column = rest.partition("/")
        draft = self.drafts.get(table)
        count = 0 if draft is None else len(draft)
        row = int(number) - 1 if number.isascii() and number.isdigit() else -1
        if draft is not None and 0 <= row < count:
            return draft.place(row, _typed_form(draft, column))
        if 0 <= row - count < len(self.derived.get(table, ())):
            source = self.derived[table][row - count]
            return self.drafts[source.table].place(source.row, _source_form(self.drafts[source.table], column))
        raise UsageError(f"the ledger has no row '{name}'")

    def balance(self) -> pd.DataFrame:
        """Return rows and cells by table and by what became of them.

        Raises
        ------
        Unbalanced
            The counts do not add up.
        """
        import pandas as pd

        rows = [self._balance_of(name) for name in TABLES if name in self.drafts]
        return pd.DataFrame(rows, columns=list(BALANCE))

    def _balance_of(self, name: str) -> tuple[Any, ...]:
        import numpy as np

        draft = self.drafts[name]
        states = [int((draft.row_state == state).sum()) for state in range(3)]
        cells = np.zeros(5, dtype=np.int64)
        for column, state in draft.state.items():
            counted = counted_cells(draft, column)
            row_state = row_state_of_cells(draft, column)
            used = counted & (row_state == 0)
            for i in (1, 2, 3):
                cells[i - 1] += int((used & (state == i)).sum())
            cells[3] += int((counted & (row_state == 1)).sum())
            cells[4] += int((counted & (row_state == 2)).sum())
        rows_read, cells_read = self.read[name]
        if rows_read != sum(states) or cells_read != int(cells.sum()):
            raise Unbalanced(
                f"the ledger of {name} does not add up: {rows_read} rows read, {sum(states)} accounted for; "
                f"{cells_read} cells read, {int(cells.sum())} accounted for"
            )
        return (name, rows_read, *states, cells_read, *cells.tolist())

    def rows(self) -> pd.DataFrame:
        """Return one row for every row read: row_id, table, file, sheet, row, state, reason."""
        import pandas as pd

        parts = [self._rows_of(name) for name in TABLES if name in self.drafts]
        columns = ["row_id", "table", "file", "sheet", "row", "state", "reason"]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)

    def _rows_of(self, name: str) -> pd.DataFrame:
        import numpy as np
        import pandas as pd

        draft = self.drafts[name]
        of_row = draft.sheet_of_rows()
        files = np.array([sheet.file for sheet in draft.sheets], dtype=object)
        sheets = np.array([sheet.name for sheet in draft.sheets], dtype=object)
        return pd.DataFrame(
            {
                "row_id": row_ids(name, len(draft)),
                "table": name,
                "file": files[of_row],
                "sheet": sheets[of_row],
                "row": spreadsheet_rows(draft),
                "state": np.array(ROW_STATES, dtype=object)[draft.row_state],
                "reason": np.array(draft.reasons, dtype=object)[draft.row_why],
            }
        )

    def every_cell(self) -> pa.Table:
        """Return every cell of every sheet that feeds a table: see `outcomes.intake.cell_ledger.every_cell`.

        Raises
        ------
        Unbalanced
            Its counts are not those of the balance.
        """
        cells = every_cell(self.drafts, self.sheets)
        counts = {name: int(self.read[name][1]) for name in self.drafts if self.read[name][1]}
        found = {one["values"]: one["counts"] for one in cells["table"].value_counts().to_pylist() if one["values"]}
        if found != counts:
            raise Unbalanced(f"the ledger lists cells of each table {found}, those read are {counts}")
        return cells

    def cells(self) -> pd.DataFrame:
        """Return one row for every cell that is not as typed, with what was typed and what became of it."""
        return _changed(self.every_cell())

    def sources(self) -> pd.DataFrame:
        """Return one row for every sheet: file, sheet, tables, rows, blank_rows, headings, trimmed_headings, note."""
        import pandas as pd

        rows = []
        for index, sheet in enumerate(self.sheets):
            tables = [name for name, draft in self.drafts.items() if any(feed.sheet == index for feed in draft.feeds)]
            rows.append(
                (
                    sheet.file,
                    sheet.name,
                    " ".join(tables),
                    len(sheet.rows),
                    sheet.blank_rows,
                    len(sheet.headings),
                    sheet.trimmed_headings,
                    "; ".join(sheet.notes),
                )
            )
        columns = ["file", "sheet", "tables", "rows", "blank_rows", "headings", "trimmed_headings", "note"]
        return pd.DataFrame(rows, columns=columns)

    def decisions(self) -> pd.DataFrame:
        """Return one row for every query that decisions.csv answered."""
        import pandas as pd

        rows = [
            (d.query, d.decision, d.role, d.date, d.reason, f.rule, f.file, f.sheet, f.row, f.column)
            for d, f in self.answered
        ]
        columns = ["query", "decision", "role", "date", "reason", "rule", "file", "sheet", "row", "column"]
        return pd.DataFrame(rows, columns=columns)


def row_ids(name: str, count: int) -> list[str]:
    """Return ``name/1``, ``name/2``, ..."""
    return [f"{name}/{i}" for i in range(1, count + 1)]


def _typed_form(draft: Draft, column: str) -> str:
    """Return the column as typed that a column of the frame stands for."""
    known = draft.table.by_heading.get(column)
    if known is None or column in draft.typed:
        return column
    return next((form for form in known.headings if form in draft.typed), column)


def _source_form(draft: Draft, column: str) -> str:
    """Return the column of `draft` from which a column of a derived visit comes."""
    return _typed_form(draft, column.replace("visited_", "assessed_")) if column else ""


def _changed(cells: pa.Table) -> pd.DataFrame:
    """Return the cells that are normalised or emptied, with their ids."""
    import pyarrow as pa
    import pyarrow.compute as pc

    chosen = cells.filter(pc.is_in(cells["state"], pa.array(CELL_STATES[NORMALISED:])))
    frame: pd.DataFrame = (
        chosen.unify_dictionaries()
        .to_pandas(strings_to_categorical=False)
        .astype({name: "str" for name in COLUMNS if name not in ("row", "table_row")})
    )
    ids = frame["table"] + "/" + frame["table_row"].astype("str") + "/" + frame["column"]
    frame.insert(0, "cell", ids)
    return frame


def ledger_files(ledger: Ledger) -> dict[str, str | bytes]:
    """Return the ledger by file name: every cell as Parquet; rows, changed cells, balance and all else as csv."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    cells = ledger.every_cell()
    whole = pa.BufferOutputStream()
    pq.write_table(cells, whole, compression="zstd")
    frames = {
        "ledger.csv": ledger.rows(),
        "cells.csv": _changed(cells),
        "balance.csv": ledger.balance(),
        "sources.csv": ledger.sources(),
    }
    texts = {name: _csv(frame) for name, frame in frames.items()}
    return {FILE: whole.getvalue().to_pybytes(), **texts, "decisions.csv": decisions_csv(ledger)}


def decisions_csv(ledger: Ledger) -> str:
    """Return the answered queries as csv text."""
    return _csv(ledger.decisions())


def _csv(frame: pd.DataFrame) -> str:
    """Return a frame of texts and whole numbers as csv, text that a spreadsheet would run made inert."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(frame.columns)
    columns = [frame[name].to_numpy(dtype=object).tolist() for name in frame.columns]
    writer.writerows(zip(*(map(_inert, column) for column in columns), strict=True))
    return out.getvalue()


def _inert(value: Any) -> Any:
    return inert(value) if isinstance(value, str) else value
