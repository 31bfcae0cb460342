"""The checkout as the architecture tests see it."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("outcomes", "protocols", "synthetic_cohort")
NOT_OURS = {".git", ".venv", "build", "dist", "__pycache__", "demo_study"}


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def tracked() -> list[Path]:
    """Every file of the project, relative to the checkout: what git tracks, or what lies there outside a clone."""
    if (ROOT / ".git").exists():
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
        return [Path(name) for name in listed.stdout.split("\0") if name and (ROOT / name).exists()]
    files = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return [path for path in files if not NOT_OURS & set(path.parts) and not path.parts[0].endswith("_cache")]


@pytest.fixture(scope="session")
def modules() -> dict[str, ast.Module]:
    """The syntax tree of every module of the three packages, by dotted name."""
    trees = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            trees[name] = ast.parse(path.read_text(encoding="utf-8"), str(path))
    return trees
