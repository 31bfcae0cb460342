"""A file imports only from lower floors, the rooms of one floor not from each other; the demo's truth stands beside."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

FLOORS: dict[int, tuple[str, ...]] = {
    0: (
        "outcomes.errors",
        "outcomes.units",
        "outcomes.toml_source",
        "outcomes.vocabulary",
        "outcomes.files",
        "outcomes.coverage",
    ),
    1: ("outcomes.result", "outcomes.matrices"),
    2: ("outcomes.intervals", "protocols"),
    3: ("outcomes.models",),
    4: (
        "outcomes.reliability",
        "outcomes.change",
        "outcomes.dose_response",
        "outcomes.single_case",
        "outcomes.measures",
        "outcomes.dose",
    ),
    5: ("outcomes.intake",),
    6: ("outcomes.study",),
    7: ("outcomes.analysis",),
    8: ("outcomes.reports",),
    9: ("outcomes.cli",),
}
"""The only table of floors in the tests. Floor 0 is one room of small files."""

FLOOR_OF = {room: floor for floor, rooms in FLOORS.items() for room in rooms}
BESIDE = "synthetic_cohort"
ROOT_PACKAGE = "outcomes"
OURS = re.compile(r"(outcomes|protocols|synthetic_cohort)(\.|$)")


def imports(name: str, tree: ast.Module, known: dict[str, ast.Module]) -> Iterator[tuple[str, int]]:
    """Yield every module of ours that a file imports, anywhere in it, with the line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                if OURS.match(alias.name):
                    yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}, line {node.lineno}: a relative import"
            if node.module and OURS.match(node.module):
                for alias in node.names:
                    full = f"{node.module}.{alias.name}"
                    yield (full if full in known else node.module), node.lineno


def room(module: str) -> str:
    """Return the room of a module: its longest prefix in the table of floors."""
    parts = module.split(".")
    for length in range(len(parts), 0, -1):
        prefix = ".".join(parts[:length])
        if prefix in FLOOR_OF or prefix == BESIDE:
            return prefix
    return ROOT_PACKAGE if module in (ROOT_PACKAGE, f"{ROOT_PACKAGE}.__main__") else ""


def test_every_module_has_a_floor(modules: dict[str, ast.Module]) -> None:
    assert [name for name in modules if not room(name)] == []


def test_every_room_of_the_table_exists(modules: dict[str, ast.Module]) -> None:
    assert [name for name in FLOOR_OF if name not in modules] == []


def test_a_file_imports_only_from_lower_floors(modules: dict[str, ast.Module]) -> None:
    faults = []
    for name, tree in modules.items():
        here = room(name)
        if here in (BESIDE, ROOT_PACKAGE):
            continue
        for target, line in imports(name, tree, modules):
            there = room(target)
            allowed = (
                there in (here, ROOT_PACKAGE)
                or (FLOOR_OF.get(there, 99) < FLOOR_OF[here])
                or FLOOR_OF.get(there) == FLOOR_OF[here] == 0
                or (here == "outcomes.cli" and there == BESIDE)
            )
            if not allowed:
                faults.append(f"{name}, line {line}: imports {target}")
    assert faults == []


def test_the_arithmetic_knows_neither_files_nor_measures_nor_protocols(modules: dict[str, ast.Module]) -> None:
    arithmetic = {"outcomes.intervals", "outcomes.matrices", "outcomes.models", "outcomes.reliability",
                  "outcomes.change", "outcomes.dose_response", "outcomes.single_case"}  # fmt: skip
    allowed = {*arithmetic, "outcomes.errors", "outcomes.result", "outcomes.units", "outcomes.coverage"}
    faults = [
        f"{name}, line {line}: imports {target}"
        for name, tree in modules.items()
        if room(name) in arithmetic
        for target, line in imports(name, tree, modules)
        if room(target) not in allowed
    ]
    assert faults == []


def test_the_clinics_data_and_the_arithmetic_meet_in_the_analysis_only(modules: dict[str, ast.Module]) -> None:
    clinic = {"outcomes.measures", "outcomes.dose", "outcomes.intake", "outcomes.study"}
    statistics = {"outcomes.models", "outcomes.reliability", "outcomes.change", "outcomes.dose_response",
                  "outcomes.single_case"}  # fmt: skip
    faults = [
        f"{name}, line {line}: imports {target}"
        for name, tree in modules.items()
        if room(name) in clinic
        for target, line in imports(name, tree, modules)
        if room(target) in statistics
    ]
    assert faults == []


def test_the_package_itself_imports_no_room(modules: dict[str, ast.Module]) -> None:
    assert list(imports(ROOT_PACKAGE, modules[ROOT_PACKAGE], modules)) == []


def test_the_cohort_imports_the_plan_and_the_words_only(modules: dict[str, ast.Module]) -> None:
    allowed = {BESIDE, "protocols", ROOT_PACKAGE, *FLOORS[0]}
    faults = [
        f"{name}, line {line}: imports {target}"
        for name, tree in modules.items()
        if room(name) == BESIDE
        for target, line in imports(name, tree, modules)
        if room(target) not in allowed
    ]
    assert faults == []


def test_only_the_command_line_imports_the_cohort(modules: dict[str, ast.Module]) -> None:
    users = {
        room(name)
        for name, tree in modules.items()
        for target, _ in imports(name, tree, modules)
        if room(target) == BESIDE
    }
    assert users <= {BESIDE, "outcomes.cli"}


def test_no_module_imports_itself_by_a_detour(modules: dict[str, ast.Module]) -> None:
    graph = {name: {t for t, _ in imports(name, tree, modules) if t != name} for name, tree in modules.items()}
    for name, tree in modules.items():
        guarded = {t for block in type_checking_blocks(tree) for t, _ in imports(name, block, modules)}
        graph[name] -= guarded
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"a cycle: {' -> '.join(error.args[1])}")


def type_checking_blocks(tree: ast.Module) -> Iterator[ast.Module]:
    """Yield what stands under ``if TYPE_CHECKING``: names for annotations, never imported while running."""
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            yield ast.Module(body=node.body, type_ignores=[])


def test_the_floors_in_developers_md_are_those_of_the_tests(root: Path) -> None:
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d) \| (.+?) \|", text, flags=re.MULTILINE)
    told = {int(floor): set(re.findall(r"`([a-z_.]+)`", rooms)) for floor, rooms in rows}
    assert told == {floor: set(rooms) for floor, rooms in FLOORS.items()}
