"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

PACKAGES = ("outcomes", "protocols", "synthetic_cohort")
ROOT = Path(__file__).resolve().parents[2]


def names() -> list[str]:
    """Return the dotted name of every module of the three packages."""
    found = []
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            if parts[-1] != "__main__":
                found.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return found


@pytest.mark.parametrize("name", names())
def test_the_examples_of_a_module_hold(name: str) -> None:
    module = import_module(name)
    flags = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=flags)
    for test in doctest.DocTestFinder(exclude_empty=True).find(module, name):
        runner.run(test, out=said.append)
    assert runner.failures == 0, "".join(said)


@pytest.mark.parametrize(
    "name",
    ["intervals", "matrices", "models", "reliability", "change", "dose_response", "single_case"],
)
def test_a_room_of_statistics_has_examples(name: str) -> None:
    modules = [module for module in names() if module == f"outcomes.{name}" or module.startswith(f"outcomes.{name}.")]
    examples = [
        example
        for module in modules
        for test in doctest.DocTestFinder(exclude_empty=True).find(import_module(module), module)
        for example in test.examples
    ]
    assert examples
