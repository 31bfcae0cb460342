"""The numbers of ``parameters.toml``, read once."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from outcomes.toml_source import read_toml

FILE = Path(__file__).parent / "parameters.toml"
BASIS = "basis"
"""Key that says where the numbers of a table come from; every table of numbers has one."""


@cache
def parameters() -> dict[str, Any]:
    """Return the whole file."""
    return read_toml(FILE).data


@cache
def section(path: str) -> dict[str, Any]:
    """Return one table of numbers, without its basis.

    Parameters
    ----------
    path : str
        Dotted path, such as ``"age_years.stroke"``.
    """
    table: Any = parameters()
    for part in path.split("."):
        table = table[part]
    return {key: value for key, value in table.items() if key != BASIS}


def number(path: str) -> float:
    """Return one number.

    Examples
    --------
    >>> number("attendance.mean")
    0.75
    """
    table, _, key = path.rpartition(".")
    return float(section(table)[key])


@cache
def shares(path: str) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Return the words of a table and the share of each, scaled to a sum of 1.

    Examples
    --------
    >>> shares("condition")[0]
    ('spinal_cord_injury', 'multiple_sclerosis', 'stroke')
    """
    table = section(path)
    total = sum(float(value) for value in table.values())
    return tuple(table), tuple(float(value) / total for value in table.values())
