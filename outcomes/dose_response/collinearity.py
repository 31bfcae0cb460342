"""Whether a person's cumulative dose can be told from the passing of time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.matrices import Vector, finite_vector
from outcomes.result import Estimate, Result

MOST_INFLATION = 10.0
"""Variance inflation above which dose is not told from time (common practice: Marquardt 1970, Technometrics 12:591)."""

_SOURCE = "Bland & Altman (1995) BMJ 310:446"


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseTimeCollinearity(Result):
    """Result of `dose_time_collinearity`; without unit.

    Parameters
    ----------
    within_person_r : Estimate
        Pooled correlation of dose and time within persons.
    median_person_r : Estimate, optional
        Median of the people's own correlations; None if nobody has three values.
    vif : Estimate
        Variance inflation of dose, 1/(1 - r²).
    separable : bool
        Whether `vif` is at most 10.
    n_people, n_values : int
        People with at least two values, and their values.
    reasons : dict of str to str
        Why a field is None.
    """

    within_person_r: Estimate
    median_person_r: Estimate | None
    vif: Estimate
    separable: bool
    n_people: int
    n_values: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return correlation and variance inflation, rounded, and what follows."""
        end = "can" if self.separable else "cannot"
        return (
            f"dose and time within persons: r = {self.within_person_r.value:.3f}, variance inflation "
            f"{self.vif.value:.3g}; an effect of dose {end} be told from time ({self.n_people} people)"
        )


def dose_time_collinearity(person: ArrayLike, time: ArrayLike, dose: ArrayLike) -> DoseTimeCollinearity:
    """Correlation of dose and time within persons, and the variance inflation that follows.

    Parameters
    ----------
    person : array of shape (n_rows,)
        Participant of each row.
    time : array of shape (n_rows,)
        When, such as the week; no missing values.
    dose : array of shape (n_rows,)
        Cumulative dose up to then; no missing values.

    Returns
    -------
    DoseTimeCollinearity
        The caveat "dose_is_time" stands where the variance inflation exceeds 10.

    Raises
    ------
    DesignError
        Different lengths, a missing value, nobody with two values, time or dose constant within every person, or dose
        in exact step with time.

    Notes
    -----
    r = Σ(t - t̄ᵢ)(d - d̄ᵢ) / √(Σ(t - t̄ᵢ)² Σ(d - d̄ᵢ)²), sums over all rows, means of person i; variance inflation
    1/(1 - r²). People with one row add nothing.

    References
    ----------
    Bland & Altman (1995) BMJ 310:446; Marquardt (1970) Technometrics 12:591-612.

    Examples
    --------
    >>> found = dose_time_collinearity(["a", "a", "a", "b", "b", "b"], [1, 2, 3, 1, 2, 3], [30, 60, 80, 10, 60, 70])
    >>> round(found.within_person_r.value, 3), round(found.vif.value, 1), found.separable
    (0.953, 10.8, False)
    """
    people = np.asarray(person)
    t, d = finite_vector(time, name="time", at_least=0), finite_vector(dose, name="dose", at_least=0)
    if people.ndim != 1 or not len(people) == len(t) == len(d):
        raise DesignError("persons, times and doses differ in number")
    place, counts = _places(people)
    repeated = counts[place] > 1
    if not repeated.any():
        raise DesignError("nobody has two values, so dose and time cannot be followed within persons")
    n, rows = int(np.sum(counts > 1)), int(repeated.sum())
    time_rest, dose_rest = _within(t, place, counts)[repeated], _within(d, place, counts)[repeated]
    time_squares, dose_squares = float(time_rest @ time_rest), float(dose_rest @ dose_rest)
    if time_squares == 0:
        raise DesignError("time does not pass within any person")
    if dose_squares == 0:
        raise DesignError("dose does not change within any person")
    r = float(time_rest @ dose_rest) / math.sqrt(time_squares * dose_squares)
    if 1 - r * r < 1e-10:
        raise DesignError("dose runs in exact step with time within persons, so its effect cannot be told from time")
    inflation = 1 / (1 - r * r)
    caveats = ("dose_is_time",) if inflation > MOST_INFLATION else ()
    own = _own_correlations(place[repeated], time_rest, dose_rest, len(counts), counts)

    def estimate(value: float, method: str, source: str, n_people: int = n) -> Estimate:
        return Estimate(
            value=value, unit="1", method=method, n_people=n_people, n_values=rows, source=source, caveats=caveats
        )

    reasons = {} if len(own) else {"median_person_r": "nobody has three values that vary"}
    return DoseTimeCollinearity(
        within_person_r=estimate(r, "dose_within_person_r", _SOURCE),
        median_person_r=estimate(float(np.median(own)), "dose_median_person_r", _SOURCE, len(own))
        if len(own)
        else None,
        vif=estimate(inflation, "dose_vif", "Marquardt (1970) Technometrics 12:591"),
        separable=inflation <= MOST_INFLATION,
        n_people=n,
        n_values=rows,
        reasons=reasons,
    )


def _places(people: NDArray[np.generic]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return for each row the number of its person, and for each person the number of rows."""
    numbers: dict[object, int] = {}
    place = np.array([numbers.setdefault(label, len(numbers)) for label in people.tolist()], dtype=np.intp)
    return place, np.bincount(place, minlength=len(numbers)).astype(np.intp)


def _within(values: Vector, place: NDArray[np.intp], counts: NDArray[np.intp]) -> Vector:
    """Return values minus the mean of their person, dust removed."""
    means = np.bincount(place, weights=values, minlength=len(counts)) / counts
    left: Vector = values - means[place]
    left[np.abs(left) <= 1e-12 * float(np.max(np.abs(values), initial=0.0))] = 0.0
    return left


def _own_correlations(
    place: NDArray[np.intp], time_rest: Vector, dose_rest: Vector, n: int, counts: NDArray[np.intp]
) -> Vector:
    """Return the correlation of each person who has three values or more, both varying."""

    def sums(values: Vector) -> Vector:
        out: Vector = np.bincount(place, weights=values, minlength=n).astype(np.float64)
        return out

    spread = np.sqrt(sums(time_rest**2) * sums(dose_rest**2))
    usable = (counts >= 3) & (spread > 0)
    own: Vector = sums(time_rest * dose_rest)[usable] / spread[usable]
    return own
