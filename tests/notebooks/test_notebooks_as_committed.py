"""Notebooks as they are committed: no outputs, a comment for each parameter, calls and nothing computed."""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

import nbformat
import pytest

from outcomes.reports import READERS, open_class_report, open_funder_report, open_participant_page, open_report
from outcomes.reports.run import declared_parameters, notebooks_folder

NOTEBOOKS = sorted(notebooks_folder().glob("*.ipynb"))
PARAMETERS = [
    "study", "record", "reader", "measure", "contrast", "dose_metric", "dose_window", "dose_lag", "limbs",
    "minimal_change", "word_limit", "paper", "public", "who",
]  # fmt: skip


def test_there_is_one_notebook_and_one_template_for_each_reader():
    import outcomes.reports

    templates = Path(outcomes.reports.__file__).parent / "templates"
    assert [path.stem for path in NOTEBOOKS] == sorted(READERS)
    assert all((templates / f"{reader}.html.j2").is_file() for reader in READERS)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_outputs_are_stripped(path):
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    for cell in book.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
    assert set(book.metadata) == {"kernelspec", "language_info"}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_every_parameter_has_a_comment(path):
    book = nbformat.read(path, as_version=4)
    declared = list(declared_parameters(book, path.name))
    answers = [name for name in declared if name.startswith("answer_")]
    assert declared == [name for name in PARAMETERS if name in declared] + answers
    assert {"study", "record", "reader", "public", "who"} <= set(declared)
    cell = next(c for c in book.cells if "parameters" in c.metadata.get("tags", ()))
    lines = [line for line in cell.source.splitlines() if not line.startswith("#")]
    assert all("  # " in line for line in lines)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_nothing_is_computed_in_a_cell(path):
    allowed = (ast.Import, ast.ImportFrom, ast.Assign, ast.Expr)
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code" and "parameters" not in cell.metadata.get("tags", ()):
            for line in ast.parse(cell.source).body:
                assert isinstance(line, allowed)
                assert not [
                    n for n in ast.walk(line) if isinstance(n, ast.BinOp | ast.Compare | ast.comprehension | ast.Lambda)
                ]


@pytest.mark.parametrize(
    ("reader", "opening"),
    [
        ("conference", open_report),
        ("funder", open_funder_report),
        ("participant", open_participant_page),
        ("class", open_class_report),
    ],
    ids=lambda x: str(x)[:12],
)
def test_the_notebook_passes_every_parameter_on(reader, opening):
    book = nbformat.read(notebooks_folder() / f"{reader}.ipynb", as_version=4)
    assert list(inspect.signature(opening).parameters) == list(declared_parameters(book, reader))
