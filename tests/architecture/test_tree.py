"""What the repository and the wheel hold, and what no tracked file holds."""

from __future__ import annotations

import ast
import json
import re
import tomllib
from pathlib import Path

import pytest

TOP_LEVEL = {
    ".ci", ".gitignore", "CITATION.cff", "DEVELOPERS.md", "LICENSE", "README.md", "notebooks",
    "outcomes", "protocols", "pyproject.toml", "synthetic_cohort", "tests",
}  # fmt: skip

PACKAGE_FILES = {".typ", ".py", ".toml", ".json", ".csv", ".typed", ".j2", ".css", ".html", ".txt", ".md", ".ttf"}

FORBIDDEN = [
    r"\bTO" + r"DO\b",
    r"\bFIX" + r"ME\b",
    r"\bXX" + r"X\b",
    "/" + r"work/",
    "/" + r"home/",
    "/" + r"tmp/",
    r"[A-Z]:\\Users",
    r"\.\./" + r"shared",
    r"trans" + r"cript\b",
    r"\bfile" + r"path of the author",
]
"""Machine paths and unfinished work."""

FORBIDDEN_NAMES = re.compile(r"(^|_)(patients?|subjects?|timepoints?|sem|delta)(_|$)")
"""Names that have another one here (see DEVELOPERS.md, names)."""


def test_the_top_level_has_no_strays(tracked: list[Path]) -> None:
    assert {path.parts[0] for path in tracked} - TOP_LEVEL == set()


def test_the_wheel_holds_the_three_packages_and_the_notebooks(root: Path, tracked: list[Path]) -> None:
    build = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    wheel = build["targets"]["wheel"]
    assert wheel["packages"] == ["outcomes", "protocols", "synthetic_cohort"]
    assert wheel["force-include"] == {"notebooks": "outcomes/reports/notebooks"}
    packed = [path for path in tracked if path.parts[0] in wheel["packages"]]
    assert {package for package in wheel["packages"] if Path(package, "py.typed") in packed} >= {
        "outcomes",
        "protocols",
    }
    assert {path.suffix for path in packed} <= PACKAGE_FILES
    assert not (root / "outcomes" / "reports" / "notebooks").exists(), "the notebooks have one home"
    assert any(path.parts[0] == "notebooks" and path.suffix == ".ipynb" for path in tracked)


def test_no_package_lies_in_the_tests_or_the_notebooks(tracked: list[Path]) -> None:
    assert [p for p in tracked if p.name == "__init__.py" and p.parts[0] in ("tests", "notebooks")] == []


def test_no_tracked_file_speaks_of_a_machine_or_of_unfinished_work(root: Path, tracked: list[Path]) -> None:
    pattern = re.compile("|".join(FORBIDDEN))
    found = []
    for path in tracked:
        try:
            text = (root / path).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        if path.name != "LICENSE":
            found += [f"{path}, line {n}: {line.strip()[:80]}" for n, line in enumerate(text.split("\n"), 1)
                      if pattern.search(line)]  # fmt: skip
    assert found == []


def test_no_name_is_one_that_has_another_here(modules: dict[str, ast.Module]) -> None:
    found = []
    for module, tree in modules.items():
        for node in ast.walk(tree):
            name = getattr(node, "name", None) or getattr(node, "arg", None) or getattr(node, "id", None)
            if isinstance(name, str) and FORBIDDEN_NAMES.search(name.lower()):
                found.append(f"{module}, line {getattr(node, 'lineno', '?')}: {name}")
    assert found == []


@pytest.mark.parametrize("path", sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb")), ids=str)
def test_a_notebook_is_stripped(path: Path) -> None:
    book = json.loads(path.read_text(encoding="utf-8"))
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    assert code
    assert [cell["outputs"] for cell in code] == [[]] * len(code)
    assert [cell["execution_count"] for cell in code] == [None] * len(code)
    assert "papermill" not in book["metadata"]
    assert not [cell for cell in book["cells"] if {"papermill", "execution"} & set(cell["metadata"])]
    assert any("parameters" in cell["metadata"].get("tags", []) for cell in code)
