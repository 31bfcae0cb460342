"""How often intervals held the truth in simulated studies, as the committed table says, for reports to quote."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from outcomes.errors import DesignError, near_word

TABLE = Path(__file__).with_name("coverage.csv")
"""Written by the study of intervals among the tests: interval, shape, people, replicates, how many held the truth."""

LEAST = 0.93
"""Share of studies below which an interval of nominal 95 % is off: the bar of the study of intervals."""

SHAPES = {
    "normal": "near normal data",
    "skewed": "skewed data",
    "shifted": "occasions that differ",
    "unequal": "groups of unequal spread",
    "ordinal": "grades",
}
"""Shape of data in words; a shape that says itself, such as a share, has none."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often one interval of nominal 95 % held the truth in simulated studies.

    Parameters
    ----------
    shape : str
        Of the data: "normal", "skewed", "ordinal", "shifted" (occasions differ), or the share that was true.
    n : int
        People in each study.
    share : float
        Of the studies in which there was an interval.
    replicates : int
        Studies with an interval.
    groups : int
        Groups of `n` people.
    """

    shape: str
    n: int
    share: float
    replicates: int
    groups: int = 1

    @property
    def off(self) -> bool:
        """Whether the interval is off: below 93 % by more than two Monte-Carlo standard errors."""
        return self.share < LEAST - 2 * math.sqrt(LEAST * (1 - LEAST) / self.replicates)


@cache
def _table() -> tuple[dict[str, tuple[Coverage, ...]], dict[str, str]]:
    """Return the rows of every interval, and the interval of every method note."""
    rows: dict[str, list[Coverage]] = {}
    of_method: dict[str, str] = {}
    with TABLE.open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            of_method.update(dict.fromkeys(row["methods"].split(), row["interval"]))
            seen = int(row["replicates"]) - int(row["refused"])
            if row["kind"] == "interval" and seen:
                one = Coverage(row["shape"], int(row["n"]), int(row["held"]) / seen, seen, int(row["groups"]))
                rows.setdefault(row["interval"], []).append(one)
    return {name: tuple(found) for name, found in rows.items()}, of_method


def simulated_coverage(interval: str, n: int) -> tuple[Coverage, ...]:
    """Return how often an interval held the truth in simulated studies of at most `n` people, for each shape of data.

    Parameters
    ----------
    interval : str
        As the table calls it, such as "Student t, mean".
    n : int
        People; the largest number in the table that is not above it is taken, else the smallest.

    Returns
    -------
    tuple of Coverage

    Raises
    ------
    DesignError
        No such interval in the table.

    Examples
    --------
    >>> [round(found.share, 2) for found in simulated_coverage("Student t, mean", 60) if found.shape == "normal"]
    [0.95]
    """
    rows, _ = _table()
    if interval not in rows:
        raise DesignError(f"the coverage of '{interval}' was not simulated{near_word(interval, rows)}")
    sizes = sorted({row.n for row in rows[interval]})
    size = max((s for s in sizes if s <= n), default=sizes[0])
    return tuple(row for row in rows[interval] if row.n == size)


@dataclass(frozen=True, slots=True)
class Shortfall:
    """An interval of nominal 95 % that held the truth too seldom in simulated studies.

    Parameters
    ----------
    interval : str
        As the table calls it.
    rows : tuple of Coverage
        Every shape of data, of one number of people.
    """

    interval: str
    rows: tuple[Coverage, ...]

    @property
    def caveat(self) -> str:
        """Return the id of the caveat: one for all intervals of the same number of people."""
        return f"coverage_{self.rows[0].groups}x{self.rows[0].n}"

    @property
    def words(self) -> str:
        """Return the interval and the share of each shape of data, rounded."""
        held = ", ".join(f"{100 * row.share:.0f}% ({SHAPES.get(row.shape, row.shape)})" for row in self.rows)
        return f"{self.interval} {held}"


@lru_cache(maxsize=10_000)
def coverage_shortfall(method: str, level: float, n_people: int) -> Shortfall | None:
    """Return how an interval fell short of its level in simulated studies of at most as many people.

    Parameters
    ----------
    method : str
        Id of the method note of the number, such as "icc_a_1".
    level : float
        Nominal coverage of its interval.
    n_people : int
        People behind the number, those of both groups together.

    Returns
    -------
    Shortfall or None
        None at another level than 95 %, where the interval was not simulated, or where it held the truth in 93 % of
        the studies of every shape.

    Examples
    --------
    >>> found = coverage_shortfall("icc_c_1", 0.95, 25)
    >>> found.caveat, found.words.startswith("F, ICC(C,1) 95% (near normal data)")
    ('coverage_1x24', True)
    """
    table, of_method = _table()
    name = of_method.get(method, "")
    if name not in table or abs(level - 0.95) > 1e-9:
        return None
    rows = simulated_coverage(name, n_people // table[name][0].groups)
    return Shortfall(name, rows) if any(row.off for row in rows) else None


def shortfall_sentences(found: Iterable[Shortfall]) -> dict[str, str]:
    """Return the caveats of intervals that fell short: id to sentence, one for each number of people simulated.

    Parameters
    ----------
    found : iterable of Shortfall

    Returns
    -------
    dict of str to str

    Examples
    --------
    >>> list(shortfall_sentences([coverage_shortfall("icc_c_1", 0.95, 25), coverage_shortfall("mdc95", 0.95, 12)]))
    ['coverage_1x24', 'coverage_1x12']
    """
    by_caveat: dict[str, list[Shortfall]] = {}
    for one in found:
        by_caveat.setdefault(one.caveat, []).append(one)
    return {caveat: _sentence(ones) for caveat, ones in by_caveat.items()}


def is_coverage_caveat(caveat: str) -> bool:
    """Return whether a caveat is one of those that quote the table."""
    return caveat.startswith("coverage_")


def _sentence(found: list[Shortfall]) -> str:
    row = found[0].rows[0]
    people = f"{row.n} people" if row.groups == 1 else f"{row.groups} groups of {row.n} people"
    said = "; ".join(dict.fromkeys(one.words for one in found))
    return f"In simulated studies of {people} these 95% intervals held the truth too seldom for some data: {said}."
