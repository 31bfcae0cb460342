"""All visits of everybody in one model: the change between two of them, also from people who missed one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import t_interval
from outcomes.matrices import finite_vector
from outcomes.models.mixed import MixedModel, mixed_model
from outcomes.models.results import FTest
from outcomes.result import Estimate, Result

FEWEST_OVER_TIME = 6
"""People with whom a model of time is fitted (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitModel(Result):
    """Result of `visit_model`; in the outcome's unit.

    Parameters
    ----------
    change : Estimate
        Mean at the later less mean at the earlier of the two compared visits, by the model.
    pairs : Estimate, optional
        Mean change of the people who have both, for comparison.
    means : tuple of Estimate
        Mean at each visit, by the model.
    visits : tuple of str
    test : FTest
        That all visits have the same mean.
    own_courses : bool
        Whether people differ in their course over time in the model; else only in their level.
    boundary : str
        What it means that a variance was estimated to be 0, in words; empty where none was.
    n_people, n_pairs, n_values : int
    reasons : dict of str to str
        Why a field is None, or people have no courses of their own though `time` was given.
    """

    change: Estimate
    pairs: Estimate | None
    means: tuple[Estimate, ...]
    visits: tuple[str, ...]
    test: FTest
    own_courses: bool
    boundary: str
    n_people: int
    n_pairs: int
    n_values: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the change by the model and by complete pairs, rounded."""
        ends = self.change.interval
        limits = f" ({ends.low:.3g} to {ends.high:.3g})" if ends else ""
        pairs = f"; by complete pairs {self.pairs.value:.3g} ({self.n_pairs} people)" if self.pairs else ""
        return f"change {self.change.value:.3g}{limits}, {self.n_people} people, {self.n_values} values{pairs}"


def visit_model(
    value: ArrayLike,
    person: Any,
    visit: ArrayLike,
    *,
    visits: Sequence[str],
    compare: tuple[str, str],
    unit: str,
    time: ArrayLike | None = None,
    level: float = 0.95,
) -> VisitModel:
    """Mixed model of the values at all visits, with a mean of its own for each visit.

    Parameters
    ----------
    value : array of shape (n_values,)
        One value of each person and visit, in `unit`; a missed visit has no row.
    person : sequence of n_values labels
    visit : array of shape (n_values,)
        Words of `visits`.
    visits : sequence of str
        Visits in order.
    compare : (str, str)
        Earlier and later visit of the change.
    unit : str
        UCUM code.
    time : array of shape (n_values,), optional
        When, for people's own courses over time.
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    VisitModel

    Raises
    ------
    DesignError
        Fewer than 6 people, a compared visit without values, two values of one person and visit, or a model that cannot
        be estimated; with the reason.

    Notes
    -----
    REML, Kenward-Roger. People who missed a visit count with the values that they have, as if missed visits depended on
    nothing but the values that were seen; where that is wrong, so is the change.

    References
    ----------
    Laird & Ware (1982) Biometrics 38:963-974; Kenward & Roger (1997) Biometrics 53:983-997.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> person, visit = np.repeat(range(8), 3), np.tile(["a", "b", "c"], 8)
    >>> y = rng.normal(0, 3, 8)[person] + np.tile([0.0, 1.0, 2.0], 8) + rng.normal(0, 0.1, 24)
    >>> found = visit_model(y[:-1], person[:-1], visit[:-1], visits="abc", compare=("a", "c"), unit="cm")
    >>> found.n_people, found.n_pairs, round(found.change.value)
    (8, 7, 2)
    """
    y, labels, at = finite_vector(value, name="values", at_least=0), np.asarray(person).astype(str), np.asarray(visit)
    if not y.shape == labels.shape == at.shape:
        raise DesignError(f"{len(y)} values, {labels.size} people and {at.size} visits; one row each is needed")
    n = len(set(labels.tolist()))
    if n < FEWEST_OVER_TIME:
        raise DesignError(f"{n} people; a model of time needs {FEWEST_OVER_TIME}")
    if len(set(zip(labels.tolist(), at.tolist(), strict=True))) < len(y):
        raise DesignError("a person has two values at one visit; one is needed")
    there = [name for name in visits if (at == name).any()]
    for name in compare:
        if name not in there:
            raise DesignError(f"nobody has a value at {name}")
    fixed = np.column_stack([(at == name).astype(np.float64) for name in there])
    model, courses = _fitted(
        y, fixed, labels, there, None if time is None else finite_vector(time, name="time"), unit, level
    )
    later = model.contrast({compare[1]: 1.0, compare[0]: -1.0}, name="change").estimate
    pairs, n_pairs, reasons = _pairs(y, labels, at, compare, unit, level)
    own = time is not None and not courses
    caveats = () if own else ("same_course_of_all",)
    return VisitModel(
        change=replace(later, method="visit_change", caveats=later.caveats + caveats),
        pairs=pairs,
        means=tuple(replace(term.estimate, method="visit_mean", test=None) for term in model.fixed_effects),
        visits=tuple(there),
        test=model.f_test(np.eye(len(there))[1:] - np.eye(len(there))[:1]),
        own_courses=own,
        boundary=model.boundary,
        n_people=model.n_people,
        n_pairs=n_pairs,
        n_values=model.n_values,
        reasons=courses | reasons,
    )


def _fitted(
    y: Any, fixed: Any, labels: Any, names: list[str], time: Any, unit: str, level: float
) -> tuple[MixedModel, dict[str, str]]:
    """Return the model with people's own courses where the data allow it; else that with their levels, and why."""
    reasons = {}
    if time is not None:
        try:
            found = mixed_model(y, fixed, labels, slope=time, names=names, unit=unit, level=level, df="kenward_roger")
            return found, {}
        except DesignError as refusal:
            reasons["own_courses"] = refusal.reason
    return mixed_model(y, fixed, labels, names=names, unit=unit, level=level, df="kenward_roger"), reasons


def _pairs(
    y: Any, labels: Any, at: Any, compare: tuple[str, str], unit: str, level: float
) -> tuple[Estimate | None, int, dict[str, str]]:
    values = [dict(zip(labels[at == name].tolist(), y[at == name].tolist(), strict=True)) for name in compare]
    changes = np.array([values[1][label] - values[0][label] for label in sorted(set(values[0]) & set(values[1]))])
    try:
        interval = t_interval(changes, level=level)
    except DesignError as refusal:
        return None, len(changes), {"pairs": refusal.reason}
    n = len(changes)
    estimate = Estimate(
        value=float(changes.mean()), unit=unit, method="visit_pairs", n_people=n, n_values=2 * n, interval=interval
    )
    return estimate, n, {}
