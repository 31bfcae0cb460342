"""A definition whose worked example does not hold is refused, with the example and both values."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.errors import DefinitionError
from outcomes.measures import Catalogue
from outcomes.measures.proving import contradictions, refuse_contradictions

HOLD = """
key = "hold"
version = "own"
title = "Hold"
construct = "endurance"
source = "common practice, no source"

[rows]
trial = { min = 1, max = 3 }
combine = "mean"

[[items]]
key = "time"
range = [0, 600]
unit = "s"

[[scales]]
key = "time"
main = true
rule = "trials"
items = ["time"]
unit = "s"
level = "ratio"
better = "higher"

[[bands]]
set = "own"
range = [0, 60]
label = "short"
source = "common practice, no source"

[[examples]]
source = "follows from the rule"
"""


def opened(folder: Path, example: str) -> Catalogue:
    (folder / "hold.toml").write_text(HOLD + example, encoding="utf-8")
    catalogue = Catalogue.packaged().with_folder(folder)
    refuse_contradictions(catalogue)
    return catalogue


@pytest.mark.parametrize(
    "example",
    [
        "given = { time = [1, 2, 2] }\nexpected = { time = 1.67 }",
        "given = { time = [1, 2, 2] }\nexpected = { time = 1.6666666666666667 }",
        "given = { time = [40, 42] }\nexpected = { time = 41 }\nbands = { time = { own = 'short' } }",
        "given = {}\nexpected = { time = 'item time missing' }",
        "given = { time = [601] }\nrefused = 'time'",
    ],
)
def test_an_example_that_holds_is_taken(tmp_path: Path, example: str) -> None:
    assert contradictions(opened(tmp_path, example).get("hold")) == []


@pytest.mark.parametrize(
    ("example", "path", "message"),
    [
        ("given = { time = [1, 2, 2] }\nexpected = { time = 1.66 }", "expected.time", "expects 1.66; it gives 1.66667"),
        ("given = { time = [40.4] }\nexpected = { time = 40 }", "expected.time", "expects 40; it gives 40.4"),
        ("given = { time = [40] }\nexpected = { time = 'unable' }", "expected.time", "expects 'unable'; it gives 40"),
        ("given = {}\nexpected = { time = 40 }", "expected.time", "expects 40; it gives 'item time missing'"),
        ("given = { time = [601] }\nexpected = { time = 601 }", "refused", "expects no refusal; it refuses time"),
        ("given = { time = [600] }\nrefused = 'time'", "refused", "expects that time is refused; it is taken"),
        (
            "given = { time = [70] }\nexpected = { time = 70 }\nbands = { time = { own = 'short' } }",
            "bands.time.own",
            "expects 'short'; it gives no band",
        ),
        (
            "given = { time = [7] }\nexpected = { time = 7 }\nflags = { time = ['unable'] }",
            "flags.time",
            "expects unable; it gives none",
        ),
    ],
)
def test_an_example_that_does_not_hold_is_refused(tmp_path: Path, example: str, path: str, message: str) -> None:
    with pytest.raises(DefinitionError) as refusal:
        opened(tmp_path, example)
    (problem,) = refusal.value.problems
    assert (problem.file, problem.path) == ("hold.toml", f"examples[0].{path}")
    assert message in problem.message


def test_every_packaged_example_holds() -> None:
    assert [problem for definition in Catalogue.packaged() for problem in contradictions(definition)] == []
