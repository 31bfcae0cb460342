"""The worked examples in DEVELOPERS.md work, and the commands in README.md and DEVELOPERS.md exist."""

from __future__ import annotations

import doctest
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from outcomes.cli.app import app
from outcomes.errors import DefinitionError, DesignError
from outcomes.measures import Catalogue, score

ROOT = Path(__file__).resolve().parents[2]


def blocks(language: str, heading: str) -> list[str]:
    """Return the fenced blocks of one language under one heading of DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", section, flags=re.MULTILINE | re.DOTALL)
    return ["\n".join(line.removeprefix(indent) for line in body.split("\n")) for indent, body in found]


@pytest.fixture
def definition(tmp_path: Path) -> Path:
    """The measure of the guide, in a folder of its own."""
    (text,) = blocks("toml", "Add a measure")
    path = tmp_path / f"{tomllib.loads(text)['key']}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_guides_measure_is_read_and_scores_its_own_example(definition: Path) -> None:
    catalogue = Catalogue.packaged().with_folder(definition.parent)
    (example,) = tomllib.loads(definition.read_text(encoding="utf-8"))["examples"]
    scored = score(definition.stem, example["given"], catalogue=catalogue)
    assert {key: scored.scales[key] for key in example["expected"]} == example["expected"]


def test_the_guides_measure_without_its_source_is_refused(definition: Path) -> None:
    lines = definition.read_text(encoding="utf-8").splitlines()
    definition.write_text("\n".join(line for line in lines if not line.startswith("source    =")), encoding="utf-8")
    with pytest.raises(DefinitionError, match="source"):
        Catalogue.packaged().with_folder(definition.parent)


@pytest.fixture
def statistic() -> dict[str, Any]:
    """The names that the guide's statistic defines."""
    (code,) = blocks("python", "Add a statistic")
    names: dict[str, Any] = {"__name__": "guide"}
    exec(compile(code, "DEVELOPERS.md", "exec", dont_inherit=True), names)
    return names


def test_the_guides_statistic_agrees_with_the_guides_case(statistic: dict[str, Any]) -> None:
    (text,) = blocks("toml", "Add a statistic")
    case = tomllib.loads(text)
    for one in case["cases"]:
        result = statistic[one["function"].rpartition(".")[2]](**one["given"])
        for path, value in one["expected"].items():
            got: Any = result
            for part in path.split("."):
                got = getattr(got, part)
            assert got == pytest.approx(value, abs=one["tolerance"])


def test_the_guides_docstring_example_holds(statistic: dict[str, Any]) -> None:
    function = statistic["mean_absolute_deviation"]
    runner = doctest.DocTestRunner()
    for test in doctest.DocTestFinder().find(function, "mean_absolute_deviation", globs=statistic):
        runner.run(test)
    assert (runner.failures, runner.tries) == (0, 1)


def test_the_guides_statistic_refuses_in_words(statistic: dict[str, Any]) -> None:
    with pytest.raises(DesignError, match="at least two values"):
        statistic["mean_absolute_deviation"]([1.0], unit="cm")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_command_that_is_named_exists(name: str) -> None:
    known = set(getattr(get_command(app), "commands"))  # noqa: B009
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"(?:`|bin/|Scripts\\)outcomes ([a-z]+)", text))
    assert named <= known
    if name == "README.md":
        assert named == known


def test_every_key_of_a_measure_that_the_guide_names_exists() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Keys of spec")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| `([a-z0-9]+|limb_girth)` \| .+ \| (.+) \|$", text, flags=re.MULTILINE)
    assert rows
    for key, here in rows:
        definition = Catalogue.packaged().get(key)
        known = {"place", "side", "trial", "left", "right", *definition.rows.place}
        known |= {item.key for item in definition.items} | {scale.key for scale in definition.scales}
        assert set(re.findall(r"`([a-z0-9_]+)`", here)) <= known


def test_every_folder_of_tests_that_is_named_exists() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Tests\n")[2].partition("\n## ")[0]
    named = re.findall(r"`(tests/[a-z_]+)", text)
    assert [folder for folder in named if not (ROOT / folder).is_dir()] == []
    told = {folder.partition("/")[2] for folder in named}
    assert {path.name for path in (ROOT / "tests").iterdir() if path.is_dir() and path.name[0] not in "._"} <= told
