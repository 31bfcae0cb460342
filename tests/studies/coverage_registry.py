"""What a study of an interval consists of, and the list of all of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from outcomes.errors import DesignError
from outcomes.result import Interval

Data = tuple[np.ndarray, ...]
Truth = Callable[[str], float]
MOST = 10_000
"""Replicates of a row, unless it says why there are fewer."""
RESAMPLED = "each replicate draws its own resamples"
MODELLED = "each replicate fits a mixed model"
COUNTED = "each replicate counts all divisions of the people"


@dataclass(frozen=True)
class Study:
    """One interval or test of the package, with the data that it is studied on.

    Parameters
    ----------
    name : str
        As the table calls it.
    kind : {"interval", "test"}
    methods : tuple of str
        Ids of the method notes whose interval this is, or is of the same make: a multiple or a rising function of the
        same quantity, or a like quantity by the same bootstrap or model.
    shapes : tuple of str
    draw : function of (rng, n, shape, size)
        Data of `size` studies of `n` people (in each group, if there are two), studies along the first axis.
    one : function of (data of one study, rng)
        The interval that the package gives, or the p of its test; (interval, truth) where the truth depends on the
        data; None where there is none.
    truth : function of shape, optional
    many : function of data, optional
        The same ends for all studies at once (or all p), nan where there are none. The run ends where it differs from
        `one` in a study that is compared.
    replicates : int
    why : str
        Why there are fewer than 10,000.
    smallest, largest : int
        Fewest and most people.
    at_most : tuple of (int, int)
        Fewer replicates for some numbers of people.
    groups : int
        Groups of n people.
    """

    name: str
    kind: Literal["interval", "test"]
    methods: tuple[str, ...]
    shapes: tuple[str, ...]
    draw: Callable[[np.random.Generator, int, str, int], Data]
    one: Callable[..., Any]
    truth: Truth | None = None
    many: Callable[..., Any] | None = None
    replicates: int = MOST
    why: str = ""
    smallest: int = 8
    largest: int = 60
    at_most: tuple[tuple[int, int], ...] = ()
    groups: int = 1

    def replicates_of(self, n: int) -> int:
        """Return the replicates of the row of n people."""
        return dict(self.at_most).get(n, self.replicates)

    def why_of(self, n: int) -> str:
        """Return why the row of n people has fewer than 10,000."""
        return self.why if self.replicates_of(n) < MOST else ""


STUDIES: dict[str, Study] = {}


def interval(name: str, *methods: str, **parts: Any) -> None:
    """Register an interval and the method notes that it stands behind."""
    STUDIES[name] = Study(name=name, kind="interval", methods=methods, **parts)


def no_change(name: str, **parts: Any) -> None:
    """Register a test at 5 % on data without an effect: "above" counts a finding."""
    STUDIES[name] = Study(name=name, kind="test", methods=(), **parts)


def outcomes_of(study: Study, data: Data, shape: str, rng: np.random.Generator, *, compared: int = 0) -> np.ndarray:
    """Return what became of every study: 0 held (or nothing found), -1 below, 1 above (or found), 2 refused.

    The first `compared` of them are computed by the package, too.

    Raises
    ------
    RuntimeError
        The ends for all studies at once are not those of the package.
    """
    if study.many is None:
        return np.array([_outcome(study, _one(study, data, row, rng), shape) for row in range(len(data[0]))])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        found = study.many(*data)
    for row in range(compared):
        agree(study, data, found, row, rng)
    if study.kind == "test":
        return (found <= 0.05).astype(int)
    low, high = found[:2]
    truth = found[2] if len(found) == 3 else _truth(study, shape)
    return np.where(np.isnan(low) | np.isnan(high), 2, np.where(high < truth, -1, np.where(low > truth, 1, 0)))


def agree(study: Study, data: Data, found: Any, row: int, rng: np.random.Generator) -> None:
    """Compare the ends for all studies at once with those that the package gives for one of them.

    Raises
    ------
    RuntimeError
        They differ.
    """
    alone = _one(study, data, row, rng)
    if study.kind == "test":
        expected, had = np.array([alone <= 0.05]), np.array([found[row] <= 0.05])
    else:
        interval, truth = alone if isinstance(alone, tuple) else (alone, None)
        ends = (np.nan, np.nan) if interval is None else (interval.low, interval.high)
        expected = np.array([*ends, *([] if truth is None else [truth])])
        had = np.array([part[row] for part in found])
    if not np.allclose(expected, had, rtol=1e-6, atol=1e-9, equal_nan=True):
        raise RuntimeError(f"{study.name}: {had} for all at once, {expected} by the package")


def _one(study: Study, data: Data, row: int, rng: np.random.Generator) -> Any:
    try:
        return study.one(*(part[row] for part in data), rng)
    except DesignError:
        return None


def _outcome(study: Study, found: Any, shape: str) -> int:
    if found is None:
        return 2
    if study.kind == "test":
        return int(found <= 0.05)
    ends, truth = found if isinstance(found, tuple) else (found, _truth(study, shape))
    if ends is None:
        return 2
    assert isinstance(ends, Interval)
    return -1 if ends.high < truth else 1 if ends.low > truth else 0


def _truth(study: Study, shape: str) -> float:
    assert study.truth is not None
    return study.truth(shape)
