"""How often intervals held the truth in simulated studies, as the committed table says, for reports to quote."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from outcomes.errors import DesignError, near_word

TABLE = Path(__file__).with_name("coverage.csv")
"""Written by the study of intervals among the tests: interval, shape, people, replicates, how many held the truth."""


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
    """

    shape: str
    n: int
    share: float
    replicates: int


@cache
def _rows() -> dict[str, tuple[Coverage, ...]]:
    found: dict[str, list[Coverage]] = {}
    with TABLE.open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            seen = int(row["replicates"]) - int(row["refused"])
            if row["kind"] == "interval" and seen:
                one = Coverage(row["shape"], int(row["n"]), int(row["held"]) / seen, seen)
                found.setdefault(row["interval"], []).append(one)
    return {name: tuple(rows) for name, rows in found.items()}


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
    rows = _rows()
    if interval not in rows:
        raise DesignError(f"the coverage of '{interval}' was not simulated{near_word(interval, rows)}")
    sizes = sorted({row.n for row in rows[interval]})
    size = max((s for s in sizes if s <= n), default=sizes[0])
    return tuple(row for row in rows[interval] if row.n == size)
