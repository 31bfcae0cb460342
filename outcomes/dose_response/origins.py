"""Who did more: dose against what was known of people before they began."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, correlation_interval, midranks
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.result import Estimate, Result

FEWEST_KNOWN = 5
"""People of whom a characteristic must be known (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseOrigins(Result):
    """Result of `dose_origins`.

    Parameters
    ----------
    ranks : dict of str to Estimate
        Rank correlation of dose with each characteristic; of a word, with having it or not (``sex: f``).
    reasons : dict of str to str
        Why a characteristic has none.
    n_people : int
    """

    ranks: Mapping[str, Estimate]
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return each correlation, rounded, strongest first."""
        ordered = sorted(self.ranks.items(), key=lambda one: -abs(float(one[1].value)))  # type: ignore[arg-type]
        said = "; ".join(f"{name} {estimate.value:.2f} (n = {estimate.n_people})" for name, estimate in ordered)
        return f"rank correlation of dose with what was known before: {said or 'none can be given'}"


def dose_origins(
    dose: ArrayLike, known: Mapping[str, Sequence[Any] | ArrayLike], *, level: float = 0.95
) -> DoseOrigins:
    """Rank correlation of dose with each characteristic that was known at baseline.

    Parameters
    ----------
    dose : array of shape (n_participants,)
        No missing values.
    known : mapping of name to array of shape (n_participants,)
        Numbers (nan = not known) or words (None, nan or empty = not known).
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    DoseOrigins
        Each with the number of people of whom the characteristic is known. A strong one says that dose was not dealt
        out by chance; a weak one does not say that it was.

    Raises
    ------
    DesignError
        Everybody had the same dose, or lengths differ.

    Notes
    -----
    Spearman's rank correlation, mid-ranks; for a word, of dose with 1 (has it) or 0. No test: many characteristics are
    looked at.

    References
    ----------
    Bonett & Wright (2000) Psychometrika 65:23-28.

    Examples
    --------
    >>> found = dose_origins([1, 2, 3, 4, 5, 6.0], {"age_years": [60, 55, 50, 40, 30, 20.0], "sex": list("ffmmmm")})
    >>> {name: round(rank.value, 2) for name, rank in found.ranks.items()}
    {'age_years': -1.0, 'sex: f': -0.83}
    """
    check_level(level)
    d = finite_vector(dose, name="dose")
    if all_equal(d):
        raise DesignError("everybody had the same dose, so nothing can go along with it")
    ranks: dict[str, Estimate] = {}
    reasons: dict[str, str] = {}
    for name, values in known.items():
        for label, x in _columns(name, values, len(d), reasons).items():
            try:
                ranks[label] = _rank(d, x, level)
            except DesignError as refusal:
                reasons[label] = refusal.reason
    return DoseOrigins(ranks=ranks, n_people=len(d), reasons=reasons)


def _columns(name: str, values: Any, n: int, reasons: dict[str, str]) -> dict[str, Vector]:
    """Return a characteristic as numbers: itself, or a column for each word (for one of two)."""
    array = np.asarray(values)
    if array.shape != (n,):
        raise DesignError(f"{name}: {array.size} values for {n} doses; one each is needed")
    if array.dtype.kind in "fiub":
        return {name: array.astype(np.float64)}
    unknown = np.array([v is None or v != v or str(v) == "" for v in array.tolist()])
    words = sorted({str(v) for v, gone in zip(array.tolist(), unknown, strict=True) if not gone})
    if len(words) < 2:
        reasons[name] = "everybody is alike in it" if words else "it is not known of anybody"
        return {}
    shown = words[:1] if len(words) == 2 else words
    text = np.array([str(v) for v in array.tolist()])
    return {f"{name}: {word}": np.where(unknown, np.nan, (text == word).astype(np.float64)) for word in shown}


def _rank(dose: Vector, values: Vector, level: float) -> Estimate:
    there = np.isfinite(values)
    d, x = dose[there], values[there]
    n = len(d)
    if n < FEWEST_KNOWN:
        raise DesignError(f"it is known of {n} people; {FEWEST_KNOWN} are needed")
    if all_equal(x):
        raise DesignError("everybody is alike in it")
    if all_equal(d):
        raise DesignError("the people of whom it is known had the same dose")
    a, b = midranks(d), midranks(x)
    a, b = a - a.mean(), b - b.mean()
    r = max(-1.0, min(1.0, float(a @ b) / float(np.sqrt((a @ a) * (b @ b)))))
    try:
        interval = correlation_interval(r, n, ranks=True, level=level)
    except DesignError:
        interval = None
    return Estimate(
        value=r, unit="1", method="dose_origin_rank", n_people=n, n_values=n, interval=interval,
        source="Bonett & Wright (2000) Psychometrika 65:23",
    )  # fmt: skip
