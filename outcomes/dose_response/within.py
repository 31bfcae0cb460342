"""Within persons: whether a person's value goes along with that person's own dose, with time in the model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.dose_response.between import FEWEST
from outcomes.dose_response.collinearity import MOST_INFLATION, DoseTimeCollinearity, dose_time_collinearity
from outcomes.errors import DesignError
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.models import FEWEST_OVER_TIME, Contrast, MixedModel, mixed_model
from outcomes.result import Estimate, Result

_SOURCE = "Kenward & Roger (1997) Biometrics 53:983"


@dataclass(frozen=True, slots=True, kw_only=True)
class WithinPersonAssociation(Result):
    """Result of `within_person_association`.

    Parameters
    ----------
    within : Estimate, optional
        Value per amount of dose within a person, time held; None with its reason where dose is not told from time.
    between : Estimate, optional
        Value per amount of mean dose between people, time held.
    time : Estimate
        Value per unit of time within a person, of the model printed (with dose where it is told from time).
    time_alone : Estimate
        The same without any dose in the model.
    only_time : Estimate, optional
        Share of the variation of dose within persons that is nothing but the passing of time; between 0 and 1.
    collinearity : DoseTimeCollinearity, optional
        Correlation of dose and time within persons, and variance inflation.
    random_slope : bool
        Whether people differ in their course over time in the model; else only in their level.
    per : float
        Amount of dose that `within` and `between` are for.
    dose_unit, time_unit : str
        UCUM codes.
    boundary : str
        What it means that a variance was estimated to be 0, in words; empty where none was.
    n_people, n_values : int
    reasons : dict of str to str
        Why a field is None.
    """

    within: Estimate | None
    between: Estimate | None
    time: Estimate
    time_alone: Estimate
    only_time: Estimate | None
    collinearity: DoseTimeCollinearity | None
    random_slope: bool
    per: float
    dose_unit: str
    time_unit: str
    boundary: str
    n_people: int
    n_values: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return within, between and time apart, rounded, with the part of dose that is only time."""
        unit = f"per {self.per:g} {self.dose_unit}"

        def said(name: str, estimate: Estimate | None, per: str) -> str:
            if estimate is None:
                return f"{name} not given: {self.reasons[name]}"
            ends = estimate.interval
            limits = f" ({ends.low:.3g} to {ends.high:.3g})" if ends else ""
            return f"{name} {estimate.value:.3g}{limits} {per}"

        share = "" if self.only_time is None else f"; {self.only_time.value:.0%} of dose within people is only time"
        return (
            f"{said('within', self.within, unit)}; {said('between', self.between, unit)}; "
            f"{said('time', self.time, f'per {self.time_unit}')}{share} ({self.n_people} people, {self.n_values} "
            "values); an association"
        )


def within_person_association(
    person: ArrayLike,
    time: ArrayLike,
    dose: ArrayLike,
    outcome: ArrayLike,
    *,
    dose_unit: str,
    per: float,
    outcome_unit: str,
    time_unit: str = "wk",
    level: float = 0.95,
    min_people: int = FEWEST,
) -> WithinPersonAssociation:
    """Mixed model of values on dose, split into what differs between and within people, with time in the model.

    Parameters
    ----------
    person : array of shape (n_values,)
        Participant of each row.
    time : array of shape (n_values,)
        When, in `time_unit`; no missing values.
    dose : array of shape (n_values,)
        Dose up to then, in `dose_unit`; no missing values.
    outcome : array of shape (n_values,)
        In `outcome_unit`; no missing values.
    dose_unit, outcome_unit, time_unit : str
        UCUM codes.
    per : float
        Amount of dose that associations are given for.
    level : float
        Nominal coverage of the intervals.
    min_people : int
        With fewer people no association of dose is given; a model of time needs 6.

    Returns
    -------
    WithinPersonAssociation
        `within` is None where the variance inflation of dose beside time exceeds 10: then time alone is modelled.

    Raises
    ------
    DesignError
        Fewer than 6 people with two values or more, or a model that cannot be estimated; with the reason.

    Notes
    -----
    y = b0 + b1·mean dose + b2·(dose - mean dose) + b3·(time - mean time) + b4·mean time + person + e, the means those
    of each person; REML, Kenward-Roger. Mean time stands in it only where people were seen at different times. People
    differ in level, and in their course over time where the data allow it. Since b2 and b3 hold within people, what
    differs between people (who chose to do more) hardly enters them; what changed at the same time as the dose does,
    and so does the error of the first value where dose was dealt out by it.

    References
    ----------
    Neuhaus & Kalbfleisch (1998) Biometrics 54:638-645; Kenward & Roger (1997) Biometrics 53:983-997; Marquardt (1970)
    Technometrics 12:591.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> person, time = np.repeat(np.arange(12), 4), np.tile([0.0, 4.0, 8.0, 12.0], 12)
    >>> dose = np.cumsum(rng.choice([0.0, 600.0], (12, 4)), axis=1).ravel()
    >>> y = 50 + rng.normal(0, 3, 12)[person] + 0.002 * dose + rng.normal(0, 0.3, 48)
    >>> found = within_person_association(person, time, dose, y, dose_unit="min", per=600.0, outcome_unit="cm")
    >>> round(found.within.value, 1), found.collinearity.separable
    (1.1, True)
    """
    rows = _Rows.checked(person, time, dose, outcome)
    if not per > 0:
        raise DesignError("the amount of dose that associations are given for must be above 0")
    n, reasons = rows.repeated, dict[str, str]()
    if n < FEWEST_OVER_TIME:
        raise DesignError(f"{n} people with two values or more; a model of time needs {FEWEST_OVER_TIME}")
    collinearity = _collinearity(rows, reasons)
    if n < min_people:
        reasons["within"] = f"{n} people with two values or more; fewer than {min_people} are described only"
    elif collinearity is not None and not collinearity.separable:
        reasons["within"] = (
            f"variance inflation of dose beside time is {collinearity.vif.value:.3g} (above {MOST_INFLATION:g}): dose "
            "rose with time alike in everybody, so no effect of dose can be told from the passing of time; people with "
            "pauses or different schedules would be needed"
        )
    alone, _ = _fitted(rows, {"time": rows.own_time}, outcome_unit, level)
    columns = {"dose_between": rows.mean_dose / per} if not all_equal(rows.mean_dose) and n >= min_people else {}
    if not columns:
        reasons["between"] = "everybody had the same mean dose" if n >= min_people else reasons["within"]
    own = {} if "within" in reasons else {"dose_within": rows.own_dose / per}
    model, sloped = _fitted(rows, {**columns, **own, "time": rows.own_time}, outcome_unit, level)
    caveats = ("association", "dealt_by_first_value") + (() if sloped else ("same_course",))

    def number(found: MixedModel, name: str, method: str) -> Estimate | None:
        if name not in found.names:
            return None
        term: Contrast = found.fixed_effect(name)
        unit = f"{outcome_unit}/{time_unit}" if name == "time" else outcome_unit
        return replace(term.estimate, unit=unit, method=method, source=_SOURCE, caveats=term.estimate.caveats + caveats)

    time_term, time_alone = number(model, "time", "dose_time"), number(alone, "time", "dose_time_alone")
    assert time_term is not None
    assert time_alone is not None
    return WithinPersonAssociation(
        within=number(model, "dose_within", "dose_within"),
        between=number(model, "dose_between", "dose_between"),
        time=time_term,
        time_alone=time_alone,
        only_time=_only_time(collinearity),
        collinearity=collinearity,
        random_slope=sloped,
        per=float(per),
        dose_unit=dose_unit,
        time_unit=time_unit,
        boundary=model.boundary,
        n_people=model.n_people,
        n_values=model.n_values,
        reasons=reasons,
    )


@dataclass(frozen=True, slots=True)
class _Rows:
    """Checked rows, with each person's means and the deviations from them."""

    person: NDArray[np.generic]
    outcome: Vector
    own_dose: Vector
    mean_dose: Vector
    own_time: Vector
    mean_time: Vector
    repeated: int

    @classmethod
    def checked(cls, person: ArrayLike, time: ArrayLike, dose: ArrayLike, outcome: ArrayLike) -> _Rows:
        people = np.asarray(person)
        t, d, y = (
            finite_vector(values, name=name, at_least=0)
            for values, name in ((time, "time"), (dose, "dose"), (outcome, "outcome"))
        )
        if not people.shape == t.shape == d.shape == y.shape:
            raise DesignError(f"{people.size} people, {len(t)} times, {len(d)} doses and {len(y)} values; one row each")
        if len(y) and all_equal(y):
            raise DesignError("the outcome is the same in every row, so nothing goes along with anything")
        _, place = np.unique(people.astype(str), return_inverse=True)
        counts = np.bincount(place, minlength=1)
        repeated = int((counts > 1).sum())
        if len(y) and not repeated:
            raise DesignError(
                "every person has one value, so nothing changes within persons; a second visit of the same people is "
                "needed"
            )
        mean_dose = (np.bincount(place, d) / counts)[place] if len(y) else d
        mean_time = (np.bincount(place, t) / counts)[place] if len(y) else t
        return cls(people, y, _clean(d - mean_dose, d), mean_dose, _clean(t - mean_time, t), mean_time, repeated)


def _clean(deviation: Vector, values: Vector) -> Vector:
    dust = 1e-12 * float(np.abs(values).max(initial=0.0))
    out: Vector = np.where(np.abs(deviation) <= dust, 0.0, deviation)
    return out


def _collinearity(rows: _Rows, reasons: dict[str, str]) -> DoseTimeCollinearity | None:
    try:
        return dose_time_collinearity(rows.person, rows.own_time + rows.mean_time, rows.own_dose + rows.mean_dose)
    except DesignError as refusal:
        reasons |= dict.fromkeys(("within", "only_time"), refusal.reason)
        return None


def _only_time(collinearity: DoseTimeCollinearity | None) -> Estimate | None:
    if collinearity is None:
        return None
    r = collinearity.within_person_r
    return replace(r, value=float(r.value) ** 2, method="dose_only_time")  # type: ignore[arg-type]


def _fitted(rows: _Rows, columns: dict[str, Vector], unit: str, level: float) -> tuple[MixedModel, bool]:
    """Return the model with a course of each person's own where the data allow it, else with a level of each person."""
    if not rows.own_time.any():
        raise DesignError("nobody was seen at two different times, so nothing can change within persons")
    named = {"intercept": np.ones(len(rows.outcome)), **columns}
    if not all_equal(rows.mean_time):
        named["mean_time"] = rows.mean_time
    fixed = np.column_stack(list(named.values()))

    def fit(slope: str | None) -> MixedModel:
        return mixed_model(
            rows.outcome, fixed, rows.person, slope=slope, names=list(named), unit=unit, level=level, df="kenward_roger"
        )

    try:
        return fit("time"), True
    except DesignError:
        return fit(None), False
