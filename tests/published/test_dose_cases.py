"""Every published or defined case of dose, as ``cases/dose_*.toml`` gives it, and where each numbered case is held."""

from __future__ import annotations

import ast
import functools
import math
import tomllib
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parents[1]
TABLE = "a case of cases/*.toml with this id"
KERNEL = "outcomes/dose/test_traces_kernel.py"
INDEX = {
    "stim-01": (TABLE, "charge of a phase"),
    "stim-03": (TABLE, "charge density of a phase on a pad of 5 x 9 cm"),
    "stim-05": (TABLE, "r.m.s. current, one phase"),
    "stim-06": (TABLE, "r.m.s. current, two phases"),
    "stim-07": (TABLE, "r.m.s. density against 2 mA/cm2"),
    "stim-09": (TABLE, "energy of a pulse into 500 ohm against 300 mJ"),
    "stim-10": (TABLE, "duty by a crank angle that wraps through 0"),
    "stim-12": (TABLE, "pulses of a channel"),
    "stim-13": (TABLE, "charge of a channel and of six, of one phase and both, net 0"),
    "stim-13, six channels": ("outcomes/dose/test_exposure_and_load.py", "test_a_session_of_six_channels"),
    "stim-15": (TABLE, "pulses of a contraction"),
    "work-01": (TABLE, "work of a mean power in kJ, Wh and kcal"),
    "work-02": (TABLE, "metabolic energy at an efficiency"),
    "work-03": (TABLE, "work an hour"),
    "work-04": (KERNEL, "test_work_from_samples_of_declared_phases"),
    "work-06": (TABLE, "power of a torque"),
    "work-07": (TABLE, "power on a friction flywheel"),
    "work-08": (KERNEL, "test_work_of_an_exponential_fall_is_that_of_its_closed_form"),
    "work-10": (TABLE, "hours for a weekly expenditure"),
    "work-10, whole hours": ("published/test_dose_cases.py", "test_whole_hours_are_those_of_the_publication"),
    "int-01": (TABLE, "METs by 3.5 and by 2.7 mL/kg/min"),
    "adh-01": (TABLE, "intensity, attendance, runs and reduced sessions of twelve planned ones"),
    "adh-03": (TABLE, "ratio of sums where the mean of ratios was published"),
    "adh-04": (TABLE, "sessions done of those prescribed"),
    "adh-05": (TABLE, "percent of sessions and of people"),
    "asym-01": (TABLE, "the indices of 12 and 8 W"),
    "asym-03": (TABLE, "nothing on both sides"),
    "asym-03, every index": (
        "outcomes/dose/test_energy_and_sides.py", "test_nothing_on_both_sides_or_an_unknown_side_is_missing"
    ),
    "asym-03, a negative side": ("outcomes/dose/test_energy_and_sides.py", "test_a_motor_driven_side_is_refused"),
    "chg-01": (TABLE, "change in percent"),
    "chg-02": (TABLE, "change in percent"),
    "chg-05": (TABLE, "change in percent"),
    "rel-02": (TABLE, "standard deviation from a standard error"),
}  # fmt: skip
"""Number of a case to where it is held: the table of cases, or file and name of a test."""

FILES = sorted((Path(__file__).parent / "cases").glob("dose_*.toml"))
CASES = [
    pytest.param(document, case, id=f"{file.stem}-{number}-{case['function'].rpartition('.')[2]}")
    for file in FILES
    for document in [tomllib.loads(file.read_text(encoding="utf-8"))]
    for number, case in enumerate(document["cases"], start=1)
]


def test_there_are_cases() -> None:
    assert len(FILES) >= 2
    assert len(CASES) >= 25


def test_every_numbered_case_is_held_where_the_index_says() -> None:
    numbered = [
        case["id"]
        for file in (Path(__file__).parent / "cases").glob("*.toml")
        for case in tomllib.loads(file.read_text(encoding="utf-8"))["cases"]
        if "id" in case
    ]
    assert set(numbered) == {number for number, (where, _) in INDEX.items() if where == TABLE}
    for number, (where, name) in INDEX.items():
        assert number.partition(",")[0] in INDEX
        if where != TABLE:
            tree = ast.parse((TESTS / where).read_text(encoding="utf-8"))
            assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, number


def test_whole_hours_are_those_of_the_publication() -> None:
    # Perret 2010, J Rehabil Med 42:873: 1000 to 2200 kcal a week are 4 to 8 hours
    from outcomes.dose import hours_for_energy

    assert [math.ceil(hours_for_energy(target, 288)) for target in (1000, 2200)] == [4, 8]


@pytest.mark.parametrize(("document", "case"), CASES)
def test_the_function_gives_the_value_of_its_source(document: dict[str, Any], case: dict[str, Any]) -> None:
    assert case.get("source", document["source"])
    assert document["checked"]
    room, _, name = case["function"].rpartition(".")
    result = getattr(import_module(room), name)(**case["given"])
    for path, expected in case["expected"].items():
        found = result if path == "value" else functools.reduce(getattr, path.split("."), result)
        assert found == pytest.approx(expected, abs=case["tolerance"], rel=0, nan_ok=True), path
