"""The page: one html file from an executed notebook, laid out by the reader's own template."""

from __future__ import annotations

import base64
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from outcomes.errors import OutcomesError
from outcomes.reports.blocks import MIME
from outcomes.reports.tables import Table, html_table

TEMPLATES = Path(__file__).parent / "templates"


@dataclass
class Section:
    """A heading of the notebook, its text, and what its cells showed."""

    heading: str
    paragraphs: list[str]
    blocks: list[dict[str, Any]] = field(default_factory=list)
    new_page: bool = False

    @property
    def printed(self) -> bool:
        """Whether anything stands in it but the break before another."""
        return any(block["kind"] != "break" for block in self.blocks)


def blocks_of(notebook: Any) -> Iterator[dict[str, Any]]:
    """Yield every block that the notebook's cells showed, with its pictures as bytes under "svg" and "png"."""
    for cell in notebook.cells:
        if cell.cell_type == "code":
            yield from (block for output in cell.outputs if (block := _block(output)) is not None)


def _block(output: Any) -> dict[str, Any] | None:
    data = output.get("data") or {}
    if MIME in data:
        block = {**data[MIME], "svg": b"", "png": b""}
        if "image/png" in data:
            block["png"] = base64.b64decode(data["image/png"])
            block["svg"] = _joined(data["image/svg+xml"]).encode("utf-8")
        return block
    if "image/png" in data:
        alt = ((output.get("metadata") or {}).get("image/png") or {}).get("alt")
        return {"kind": "picture", "png": base64.b64decode(data["image/png"]), "svg": b"", "alt": alt or NO_ALT}
    text = _joined(data.get("text/plain") or output.get("text") or "").strip()
    return {"kind": "plain", "text": text} if text and output.get("name") != "stderr" else None


NO_ALT = "A picture added by the author, who gave no description of it."


def _joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else "".join(text)


def sections_of(notebook: Any) -> tuple[dict[str, Any], list[Section]]:
    """Return the head block and the sections of an executed notebook; a cell ``## Heading`` begins one.

    Raises
    ------
    OutcomesError
        The notebook never shows its head.
    """
    head: dict[str, Any] | None = None
    sections = [Section("", [])]
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            first, *rest = cell.source.strip().splitlines() or [""]
            if first.startswith("## "):
                text = " ".join(rest).strip()
                sections.append(Section(first[3:].strip(), [text] if text else []))
        elif cell.cell_type == "code":
            for output in cell.outputs:
                block = _block(output)
                if block is not None and block["kind"] == "head":
                    head = block
                elif block is not None:
                    sections[-1].blocks.append(block)
    if head is None:
        raise OutcomesError("the report notebook does not call report.head(), so the page has no title")
    shown = [s for s in sections if s.blocks]
    for before, section in itertools.pairwise(shown):
        section.new_page = before.blocks[-1]["kind"] == "break"
    return head, shown


def render(notebook: Any, reader: str) -> str:
    """Return the page of a reader as html: one file that loads nothing.

    Parameters
    ----------
    notebook : NotebookNode
        Executed.
    reader : str
        Names the template ``<reader>.html.j2``.
    """
    import jinja2
    from markupsafe import Markup

    head, sections = sections_of(notebook)
    figures = tables = 0
    for block in (b for s in sections for b in s.blocks):
        if block.get("svg") or block.get("png"):
            kind, data = ("svg+xml", block["svg"]) if block["svg"] else ("png", block["png"])
            block["source"] = f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"
        if block["kind"] == "figure":
            figures += 1
            block["number"] = figures
            block["html"] = Markup(html_table(Table.from_dict(block["table"]), prefix=f"Data of figure {figures}"))
        elif block["kind"] == "table":
            tables += 1
            block["html"] = Markup(html_table(Table.from_dict(block["table"]), prefix=f"Table {tables}"))
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["css_string"] = css_string
    return environment.get_template(f"{reader}.html.j2").render(head=head, sections=sections)


def css_string(text: str) -> Any:
    """Return text as a css string in quotes, in which nothing but letters, digits and blanks stands unescaped.

    Examples
    --------
    >>> print(css_string('a"b'))
    "a\\22 b"
    """
    from markupsafe import Markup

    safe = "".join(c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):x} " for c in text)
    return Markup(f'"{safe}"')
