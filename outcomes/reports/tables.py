"""One small model of a printed table, and its writers."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Table:
    """A table as a reader sees it: every cell is finished text.

    Parameters
    ----------
    caption : str
    columns : tuple of str
        Headings; the first column names the row.
    rows : tuple of tuples of str
        No cell is empty: where there is no value the cell says why.
    numeric : tuple of int
        Columns that are set to the right.
    note : str
        Below the table.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.caption}: a row of {len(row)} cells under {len(self.columns)} headings")
            if not all(row):
                raise ValueError(f"{self.caption}: an empty cell does not say why: {row}")

    @classmethod
    def build(
        cls, caption: str, columns: Sequence[str], rows: Sequence[Sequence[str]], *, left: Sequence[int] = (),
        note: str = "",
    ) -> Table:  # fmt: skip
        """Return a table whose columns are set to the right, except the first and those in `left`."""
        numeric = tuple(i for i in range(1, len(columns)) if i not in left)
        return cls(caption, tuple(columns), tuple(tuple(row) for row in rows), numeric, note)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "caption": self.caption, "columns": list(self.columns), "rows": [list(row) for row in self.rows],
            "numeric": list(self.numeric), "note": self.note,
        }  # fmt: skip

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Table:
        """Return the table that `to_dict` wrote."""
        rows = tuple(tuple(row) for row in data["rows"])
        return cls(data["caption"], tuple(data["columns"]), rows, tuple(data["numeric"]), data["note"])

    def to_text(self) -> str:
        """Return the table as lines of text, cells separated by a bar."""
        lines = [self.caption, " | ".join(self.columns), *(" | ".join(row) for row in self.rows)]
        return "\n".join([*lines, self.note] if self.note else lines)


def html_table(table: Table, *, prefix: str = "") -> str:
    """Return a table as html: caption, scopes, every text escaped, in a box that scrolls by itself.

    Parameters
    ----------
    table : Table
    prefix : str
        Such as ``"Table 2"``, before the caption.
    """
    if not table.rows:
        return f"<p>{html.escape(table.caption)}: no rows.</p>"
    label = f"<b>{html.escape(prefix)}.</b> " if prefix else ""
    caption = html.escape(table.caption)
    head = "".join(_cell("th", name, i in table.numeric, "col") for i, name in enumerate(table.columns))
    body = "\n".join(
        "<tr>"
        + "".join(
            _cell("td" if i else "th", text, i in table.numeric, "" if i else "row") for i, text in enumerate(row)
        )
        + "</tr>"
        for row in table.rows
    )
    note = f'<p class="note">{html.escape(table.note)}</p>' if table.note else ""
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{html.escape(table.caption)}"><table>'
        f"<caption>{label}{caption}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>{note}"
    )


def _cell(tag: str, text: str, numeric: bool, scope: str) -> str:
    scoped = f' scope="{scope}"' if scope else ""
    kind = ' class="num"' if numeric else ""
    return f"<{tag}{scoped}{kind}>{html.escape(text)}</{tag}>"
