"""The command line as the tests use it: words in; exit code, standard output and standard error out."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from outcomes.cli import run

PEOPLE = "12"


@dataclass(frozen=True)
class Ran:
    """What one command did."""

    code: int
    out: str
    err: str


Cli = Callable[..., Ran]


def run_words(*words: object) -> Ran:
    """Run one command in this process."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run([str(word) for word in words])
    assert isinstance(left.value.code, int)
    return Ran(left.value.code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="session")
def cli() -> Cli:
    """Run one command; whatever happens, no user meets a traceback."""

    def words(*given: object) -> Ran:
        ran = run_words(*given)
        if "--debug" not in given:
            assert "Traceback" not in ran.out + ran.err
        return ran

    return words


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    """One demo of twelve people with faults in cells, and what it printed; do not write into it."""
    folder = tmp_path_factory.mktemp("demo") / "demo_study"
    return folder, run_words("demo", folder, "--people", PEOPLE, "--damage", "cells")


@pytest.fixture
def study(demo_run: tuple[Path, Ran], tmp_path: Path) -> Path:
    """A copy of the demo's study folder, without results and reports, that a test may spoil."""
    folder = tmp_path / "study"
    shutil.copytree(demo_run[0], folder, ignore=shutil.ignore_patterns("results", "reports"))
    return folder
