"""A packaged notebook run in this process: the same cells and parameters, no kernel."""

from __future__ import annotations

import re
from pathlib import Path

import lxml.html
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from outcomes.reports import run


def shown(reader: str, folder: Path, **parameters):
    """Return the notebook of a reader as it becomes when run on a study folder."""
    source = run.read_notebook(run.notebooks_folder() / f"{reader}.ipynb")
    declared = run.declared_parameters(source, reader)
    checked = run.check_parameters(declared, {"study": str(folder), **parameters})
    names: dict = {}
    cells = []
    for cell in source.cells:
        if cell.cell_type != "code":
            cells.append(new_markdown_cell(cell.source))
            continue
        blocks: list = []
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("IPython.display.display", blocks.append)
            exec(compile(cell.source, f"{reader}.ipynb", "exec"), names)
        if "parameters" in cell.metadata.get("tags", ()):
            names |= checked
        outputs = [new_output("display_data", data=block._repr_mimebundle_()) for block in blocks]
        cells.append(new_code_cell(cell.source, outputs=outputs))
    return new_notebook(cells=cells)


def plain_text(html: str, *, details: bool = False) -> str:
    """Return what a reader of the page sees, without numbers of figures and tables."""
    tree = lxml.html.fromstring(html)
    for part in tree.xpath("//style | //head" + ("" if details else " | //details")):
        part.drop_tree()
    for length in tree.xpath("//div[b='Length']/span"):
        length.drop_tree()
    return re.sub(r"(Figure|Table) \d+", "", " ".join(" ".join(tree.itertext()).split()))
