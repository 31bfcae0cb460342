"""Run a report notebook: find it, check its parameters first, execute it in a fresh kernel, tidy it."""

from __future__ import annotations

import ast
import keyword
import os
import re
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from outcomes.errors import OutcomesError, UsageError, near_word, printable

NAME_PATTERN = re.compile(r"[a-z_][a-z0-9_]*")
Value = str | int | bool

RANGES: dict[str, tuple[int, int]] = {"word_limit": (50, 5000)}
"""Whole numbers that a parameter may be; 0 always means "as the protocol says"."""

WORDS: dict[str, tuple[str, ...]] = {
    "paper": ("", "A4", "Letter"),
    "dose_metric": ("", "active_minutes", "work_kj", "charge_c"),
}
"""Words that a parameter may be."""

LONGEST_SOCKET = 90
"""Characters of a socket's path that every system allows (the usual limit is 107)."""


def notebooks_folder() -> Path:
    """Return where the packaged notebooks are: beside this file in a wheel, at the top of a checkout."""
    packaged = Path(__file__).parent / "notebooks"
    return packaged if packaged.is_dir() else Path(__file__).parents[2] / "notebooks"


def find_notebook(reader: str, study: Path) -> Path:
    """Return the notebook of a reader: the author's own copy under ``notebooks/`` in the study folder, else ours.

    Raises
    ------
    UsageError
        There is none.
    """
    for folder in (study / "notebooks", notebooks_folder()):
        path = folder / f"{reader}.ipynb"
        if path.is_file():
            return path
    raise UsageError(f"there is no notebook {reader}.ipynb in {study / 'notebooks'} or {notebooks_folder()}")


def read_notebook(path: Path) -> Any:
    """Return a notebook.

    Raises
    ------
    UsageError
        It cannot be read as one.
    """
    import nbformat

    try:
        return nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, KeyError, AttributeError, nbformat.ValidationError) as error:
        raise UsageError(f"{path} is no notebook: {printable(error, 120)}") from error


def declared_parameters(notebook: Any, name: str) -> dict[str, Value]:
    """Return the parameters that a notebook declares, with their defaults.

    Raises
    ------
    UsageError
        There is not exactly one code cell with the tag ``parameters``, or it holds more than plain assignments.
    """
    cells = [c for c in notebook.cells if "parameters" in c.metadata.get("tags", ()) and c.cell_type == "code"]
    if len(cells) != 1:
        raise UsageError(f"{name} has {len(cells)} code cells with the tag 'parameters'; it needs exactly one")
    found: dict[str, Value] = {}
    try:
        for line in ast.parse(cells[0].source).body:
            target = line.targets[0] if isinstance(line, ast.Assign) and len(line.targets) == 1 else None
            if not isinstance(line, ast.Assign) or not isinstance(target, ast.Name):
                raise ValueError("a line is no assignment")
            value = ast.literal_eval(line.value)
            if not isinstance(value, str | int):
                raise ValueError(f"{target.id} is neither text, whole number nor True or False")
            found[target.id] = value
    except (SyntaxError, ValueError) as error:
        raise UsageError(f"{name}: the cell of parameters cannot be read: {error}") from error
    return found


def check_parameters(declared: Mapping[str, Value], given: Mapping[str, Value | str]) -> dict[str, Value]:
    """Return the given parameters in the kind of their defaults; the kernel has not been started yet.

    Raises
    ------
    UsageError
        A name that is not declared or could carry code, a value of the wrong kind or out of range.
    """
    checked: dict[str, Value] = {}
    for name, value in given.items():
        if not NAME_PATTERN.fullmatch(name) or keyword.iskeyword(name):
            raise UsageError(f"'{printable(name)}' is no name of a parameter")
        if name not in declared:
            raise UsageError(f"unknown parameter '{name}'{near_word(name, declared)}; known: {', '.join(declared)}")
        checked[name] = _in_kind(name, declared[name], value)
    return checked


def _in_kind(name: str, default: Value, value: Value | str) -> Value:
    """Return a value as bool, int or str, whichever the default is."""
    shown = printable(value)
    if isinstance(default, bool):
        words: dict[str, bool] = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
        if str(value).lower() not in words:
            raise UsageError(f"{name}: found '{shown}', expected true or false")
        return words[str(value).lower()]
    if isinstance(default, int):
        low, high = RANGES.get(name, (-(10**9), 10**9))
        if not re.fullmatch(r"[+-]?\d{1,9}", str(value)) or not (int(value) == 0 or low <= int(value) <= high):
            raise UsageError(f"{name}: found '{shown}', expected a whole number from {low} to {high}, or 0")
        return int(value)
    if name in WORDS and value not in WORDS[name]:
        allowed = ", ".join(word for word in WORDS[name] if word)
        raise UsageError(f"{name}: found '{shown}', expected {allowed}{near_word(str(value), WORDS[name])}")
    return str(value)


def run_notebook(path: Path, parameters: Mapping[str, Value], *, folder: Path) -> Any:
    """Execute a notebook in a fresh kernel of the interpreter in use and return it, tidied.

    Parameters
    ----------
    path : Path
        Left as it is: a copy is run.
    parameters : mapping
        Checked by `check_parameters`.
    folder : Path
        Working folder of the kernel.

    Raises
    ------
    OutcomesError
        A cell failed; in the class of the error where it is one of ours.
    """
    import logging

    import papermill

    for name in ("papermill", "traitlets"):
        logging.getLogger(name).setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory(prefix="outcomes-") as temporary:
        source, target = Path(temporary) / "in.ipynb", Path(temporary) / "out.ipynb"
        source.write_bytes(path.read_bytes())
        try:
            notebook = papermill.execute_notebook(
                str(source), str(target), parameters=dict(parameters), cwd=str(folder), progress_bar=False,
                kernel_name="python3", language="python", kernel_manager_class=_kernel_manager(Path(temporary)),
                start_timeout=120, log_output=False,
            )  # fmt: skip
        except papermill.PapermillExecutionError as error:
            raise _failure(error, path.name) from None
    return tidy(notebook)


def _failure(error: Any, name: str) -> OutcomesError:
    """Return the error of a cell: one of ours as it was raised, another with the cell it came from."""
    import outcomes.errors as ours

    kind = getattr(ours, str(error.ename), None)
    if isinstance(kind, type) and issubclass(kind, UsageError):
        return kind(str(error.evalue))
    if isinstance(kind, type) and issubclass(kind, OutcomesError):
        return OutcomesError(str(error.evalue))
    return OutcomesError(
        f"{name}: cell {error.exec_count} failed with {error.ename}: {printable(error.evalue, 300)}; "
        "no report was written and an earlier one is as it was"
    )


def _kernel_manager(folder: Path) -> type:
    """Return a kernel manager that starts this interpreter, over sockets of the file system where there are any."""
    from jupyter_client.kernelspec import KernelSpec
    from jupyter_client.manager import AsyncKernelManager

    command = [
        sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}",
        "--InteractiveShellApp.ignore_cwd=True", "--HistoryManager.enabled=False",
    ]  # fmt: skip
    connection = str(folder / "k.json")
    over_files = hasattr(os, "mkfifo") and len(connection) <= LONGEST_SOCKET

    class Manager(AsyncKernelManager):
        """Starts the interpreter in use; knows no installed kernel."""

        def __init__(self, **more: Any) -> None:
            more["connection_file"] = connection
            if over_files:
                more["transport"] = "ipc"
            super().__init__(**more)

        @property
        def kernel_spec(self) -> KernelSpec:
            env = {"IPYTHONDIR": str(folder / "ipython"), "PYDEVD_DISABLE_FILE_VALIDATION": "1"}
            return KernelSpec(argv=command, display_name="Python 3", language="python", env=env)

    return Manager


def tidy(notebook: Any) -> Any:
    """Return an executed notebook without times, paths and random ids, so that the same numbers give the same bytes."""
    notebook.metadata.pop("papermill", None)
    notebook.metadata["language_info"] = {"name": "python"}
    notebook.metadata["kernelspec"] = {"display_name": "Python 3", "language": "python", "name": "python3"}
    for number, cell in enumerate(notebook.cells, start=1):
        cell["id"] = f"cell-{number}"
        for key in ("papermill", "execution"):
            cell.metadata.pop(key, None)
        if cell.cell_type == "code":
            cell.outputs = [output for output in cell.outputs if output.get("name") != "stderr"]
    return notebook
