"""Every published case and every second opinion of R, as the files of ``cases`` give them.

A value of `given` may name data: ``{ csv, columns, where, first }`` reads columns of a file in ``data`` (one column: a
vector, several: a matrix), ``{ columns = [[...], ...] }`` stands side by side, ``{ minus = [a, b] }`` subtracts; `rng`
is a seed and `statistic` a name below. A column named "1" is of ones, "sex=Female" of ones and zeros, "a*b" a product;
`drop = 5` leaves out every fifth row; `gaps = 5` loses the last column of every fifth row and the first of the third.
`expected` and `r` map a path in the result to a number, or to a row of ``r/*.csv``; a part of a path that ends in () is
called, a number is a place, ``f_test[a,b]`` is called with the list. `tolerance` is absolute, `relative` of the value.
Files whose name begins with measures or dose have readers of their own.
"""

from __future__ import annotations

import csv
import functools
import re
import tomllib
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

HERE = Path(__file__).parent
FILES = [f for f in sorted((HERE / "cases").glob("*.toml")) if not f.name.startswith(("measures_", "dose_"))]
CASES = [
    pytest.param(document, case, id=case.get("case", f"{file.stem}-{number}-{case['function'].rpartition('.')[2]}"))
    for file in FILES
    for document in [tomllib.loads(file.read_text(encoding="utf-8"))]
    for number, case in enumerate(document["cases"], start=1)
]
R_ROWS: dict[str, dict[str, str]] = {}
for name in ("statistics.csv", "models.csv", "reliability.csv", "groups.csv", "marginal.csv"):
    with (HERE / "r" / name).open(encoding="utf-8") as stream:
        R_ROWS |= {row["key"]: row for row in csv.DictReader(stream)}


def correlation(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    a = first - first.mean(axis=-1, keepdims=True)
    b = second - second.mean(axis=-1, keepdims=True)
    return np.sum(a * b, axis=-1) / np.sqrt(np.sum(a**2, axis=-1) * np.sum(b**2, axis=-1))


STATISTICS = {"correlation": correlation}


def given(name: str, value: Any) -> Any:
    if name == "rng":
        return np.random.default_rng(value)
    if name == "statistic":
        return STATISTICS[value]
    if not isinstance(value, dict):
        return value
    if "minus" in value:
        first, second = (np.asarray(given("", part)) for part in value["minus"])
        return first - second
    if "csv" not in value:
        return np.column_stack(value["columns"]) if "columns" in value else value
    table = pd.read_csv(HERE / "data" / value["csv"])
    for column, wanted in value.get("where", {}).items():
        table = table[table[column].isin(wanted if isinstance(wanted, list) else [wanted])]
    if "drop" in value:
        table = table[np.arange(1, len(table) + 1) % value["drop"] != 0]
    table = table.head(value.get("first", len(table)))
    picked = [column_of(table, column) for column in value["columns"]]
    if "gaps" in value:
        return with_gaps(np.column_stack(picked), value["gaps"])
    return picked[0] if len(picked) == 1 else np.column_stack(picked)


def with_gaps(table: np.ndarray, every: int) -> np.ndarray:
    out = table.astype(float)
    out[every - 1 :: every, -1] = np.nan
    out[2, 0] = np.nan
    return out


def column_of(table: pd.DataFrame, name: str) -> np.ndarray:
    if "*" in name:
        return np.prod([column_of(table, part) for part in name.split("*")], axis=0)
    if "=" in name:
        column, _, word = name.partition("=")
        return (table[column].astype(str) == word).to_numpy(dtype=float)
    return np.ones(len(table)) if name == "1" else table[name].to_numpy()


def reached(result: Any, path: str) -> Any:
    """Follow a path: attributes, places in a tuple, calls, or the number itself."""
    if isinstance(result, float):
        assert path == "value"
        return result
    return functools.reduce(step, path.split("."), result)


def step(result: Any, part: str) -> Any:
    if part.isdigit():
        return result[int(part)]
    if isinstance(result, dict):
        return result[part]
    called = re.fullmatch(r"(\w+)(?:\(\)|\[(.+)\])", part)
    if not called:
        return getattr(result, part)
    method, words = getattr(result, called[1]), called[2]
    return method(words.split(",")) if words else method()


def test_the_cases_are_there_and_every_file_names_its_source_and_how_it_was_checked() -> None:
    assert len(FILES) >= 16
    assert len(CASES) >= 80
    for file in FILES:
        document = tomllib.loads(file.read_text(encoding="utf-8"))
        assert document["source"], file.name
        assert document["checked"], file.name


def test_every_row_of_r_names_its_program_and_is_used() -> None:
    assert all(re.match(r"R \d+\.\d+\.\d+, ", row["computed_by"]) for row in R_ROWS.values())
    used = {key for _, case in (p.values for p in CASES) for key in case.get("r", {}).values()}
    assert used == set(R_ROWS)


@pytest.mark.parametrize(("document", "case"), CASES)
def test_the_function_gives_the_value_of_its_source(document: dict[str, Any], case: dict[str, Any]) -> None:
    room, _, name = case["function"].rpartition(".")
    result = getattr(import_module(room), name)(**{k: given(k, v) for k, v in case["given"].items()})
    wanted = dict(case.get("expected", {})) | {
        path: float(R_ROWS[key]["value"]) for path, key in case.get("r", {}).items()
    }
    assert wanted
    for path, value in wanted.items():
        tolerance = case["tolerance"][path] if isinstance(case["tolerance"], dict) else case["tolerance"]
        wanted_value = pytest.approx(value, abs=tolerance, rel=case.get("relative", 0))
        assert reached(result, path) == wanted_value, path
