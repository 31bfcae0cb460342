"""What a report notebook shows: blocks that carry their own text, picture and data, and say nothing else."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from outcomes.reports.abstract import Abstract
from outcomes.reports.tables import Table, html_table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MIME = "application/vnd.outcomes.block+json"
"""Kind of output under which the page writer finds a block in the executed notebook."""

Kind = Literal["head", "settle", "abstract", "figure", "table", "text", "lead", "numbers", "break", "space", "exercise"]


@dataclass(frozen=True, slots=True)
class Block:
    """One piece of a report.

    Parameters
    ----------
    kind : str
    name : str
        File name stem of a figure; unique in a report.
    data : dict
        What the page writer needs: plain JSON.
    svg, png : bytes
        The picture of a figure.
    """

    kind: Kind
    name: str
    data: dict[str, Any] = field(default_factory=dict)
    svg: bytes = b""
    png: bytes = b""

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        bundle: dict[str, Any] = {
            MIME: {"kind": self.kind, "name": self.name, **self.data},
            "text/plain": self.to_text(),
        }
        if self.png:
            bundle["image/png"] = base64.b64encode(self.png).decode("ascii")
            bundle["image/svg+xml"] = self.svg.decode("utf-8")
        else:
            bundle["text/html"] = self.to_html()
        return bundle

    def to_text(self) -> str:
        """Return the block as plain text."""
        if self.kind == "abstract":
            return Abstract.from_dict(self.data["abstract"]).to_text()
        if self.kind == "table":
            return Table.from_dict(self.data["table"]).to_text()
        if self.kind == "figure":
            return str(self.data["alt"])
        return "\n".join(str(line) for line in self.data["lines"])

    def to_html(self) -> str:
        """Return the block as html, as a notebook shows it."""
        if self.kind == "table":
            return html_table(Table.from_dict(self.data["table"]))
        return "".join(f"<p>{html.escape(line)}</p>" for line in self.to_text().splitlines() if line)


def lines_block(kind: Kind, name: str, lines: list[str], **more: Any) -> Block:
    """Return a block of lines."""
    return Block(kind, name, {"lines": lines, **more})


def table_block(name: str, table: Table, **more: Any) -> Block:
    """Return a block of one table."""
    return Block("table", name, {"table": table.to_dict(), **more})


def figure_block(
    name: str, axes: Axes, caption: str, alt: str, table: Table, *, margin: Sequence[tuple[str, str]] = ()
) -> Block:
    """Return a block of one figure: its picture in two formats, its text alternative and its data.

    Parameters
    ----------
    name : str
        File name stem.
    axes : Axes
    caption, alt : str
        Below the figure; for readers who do not see it.
    table : Table
        The numbers that are drawn.
    margin : sequence of (str, str)
        Labels beside the figure: n, source, direction.
    """
    from outcomes.reports import format as fmt
    from outcomes.reports.figures import style

    figure: Any = axes.figure
    data = {
        "caption": fmt.clean(caption), "alt": fmt.clean(alt), "table": table.to_dict(),
        "margin": [list(pair) for pair in margin], "missing_glyphs": style.missing_glyphs([caption, *table.columns]),
    }  # fmt: skip
    svg = style.save(figure, "svg", title=fmt.clean(caption, 200), description=fmt.clean(alt))
    return Block("figure", name, data, svg, style.save(figure, "png"))


def show(block: Block) -> None:
    """Show a block in the notebook; outside one it is printed."""
    try:
        from IPython.display import display
    except ImportError:
        print(block.to_text())
        return
    display(block)  # type: ignore[no-untyped-call]
