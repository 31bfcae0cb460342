"""Heavy libraries are loaded by the functions that need them, never by an import of ours."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = (
    "numpy", "pandas", "scipy", "statsmodels", "sklearn", "pingouin", "matplotlib", "seaborn", "papermill",
    "nbconvert", "nbformat", "pydantic", "openpyxl", "python_calamine", "pyarrow", "joblib", "typst", "docx", "rich",
)  # fmt: skip
NUMERIC = ("intervals", "matrices", "models", "reliability", "change", "dose_response")
"""Rooms whose every function is numeric: they may load numpy."""

FOUNDATION = ("errors", "units", "vocabulary", "toml_source", "files", "result")
ROOMS = (*FOUNDATION, "measures", "dose", "intake", "study", "analysis", "reports", "cli")


def loaded_by(statement: str) -> set[str]:
    """Return the heavy libraries that a fresh interpreter holds after `statement`."""
    code = f"import sys\n{statement}\nprint(*sorted({{name.partition('.')[0] for name in sys.modules}}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split()) & set(HEAVY)


@pytest.mark.parametrize("module", ["outcomes", "protocols", "synthetic_cohort", *(f"outcomes.{r}" for r in ROOMS)])
def test_an_import_of_ours_loads_nothing_heavy(module: str) -> None:
    assert loaded_by(f"import {module}") == set()


@pytest.mark.parametrize("room", NUMERIC)
def test_a_numeric_room_loads_numpy_at_most(room: str) -> None:
    assert loaded_by(f"import outcomes.{room}") <= {"numpy"}


def test_the_commands_and_their_help_load_nothing_heavy() -> None:
    assert loaded_by("import outcomes.cli.app") == set()
    assert loaded_by("from outcomes.cli import run\ntry:\n run(['--help'])\nexcept SystemExit:\n pass") == set()
