"""The few rules of scores that keys and closed words cannot say: one module each, found by its name."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from outcomes.measures.algorithms.contract import Algorithm

PREFIX = "algorithm:"
"""Begins the rule of a scale that an algorithm forms; the name of the algorithm follows."""

NAMES = ("arat", "gas", "ipaq", "isncsci", "para_sci", "tis")
"""Every algorithm; each is the module of that name here."""


def name_of(rule: str) -> str:
    """Return the name of the algorithm that a rule calls; empty for a rule of another kind.

    Examples
    --------
    >>> name_of("algorithm:gas"), name_of("sum")
    ('gas', '')
    """
    return rule.removeprefix(PREFIX) if rule.startswith(PREFIX) else ""


@cache
def algorithm(name: str) -> Algorithm:
    """Return one of the algorithms of `NAMES`."""
    found: Algorithm = import_module(f"{__name__}.{name}").ALGORITHM
    return found
