"""How far the plan was followed: attendance, relative dose intensity, missed runs, reductions, early stops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.items import NO_SESSIONS, UNKNOWN, Items, read_items
from outcomes.dose.notes import SOURCES
from outcomes.dose.timeline import STATES, Stretches, codes_of, numbers, table_of, texts
from outcomes.dose.totals import empty, finish, ratios, totals
from outcomes.errors import DesignError
from outcomes.result import Estimate, Result

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

    from outcomes.dose.plan import Until
    from outcomes.dose.timeline import Floats, Integers, Tables
    from protocols import Protocol

INTERRUPTION = 3
"""Planned sessions missed in a row that make an interruption (Fairman et al. 2020: missed 1-2, interrupted >= 3)."""

BY_PERSON = (
    "participant_id",
    "planned_sessions",
    "delivered_sessions",
    "attendance",
    "relative_active_minutes",
    "relative_work",
    "missed_runs",
    "interruptions",
    "longest_missed_run",
    "dose_reduced_sessions",
    "sessions_compared",
    "early_stops",
    "left_day",
    "discontinued",
)
"""Columns of `adherence_by_person`."""

SESSION_COUNTS = ("status", "reason", "n")
"""Columns of `session_counts`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseIntensity(Result):
    """Result of `dose_intensity`; dimensionless, 1 = everything that was planned."""

    mean_of_ratios: Estimate
    ratio_of_sums: Estimate
    sd_of_ratios: float | None
    n: int
    n_left_out: int

    def summary(self) -> str:
        """Return both intensities in one sentence."""
        return (
            f"relative dose intensity {self.mean_of_ratios.value:.2f} as the mean of each person's ratio, "
            f"{self.ratio_of_sums.value:.2f} as the ratio of the sums (n = {self.n})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MissedRuns(Result):
    """Result of `missed_runs`: counts."""

    missed_runs: int
    interruptions: int
    longest: int

    def summary(self) -> str:
        """Return the counts in one sentence."""
        return f"{self.missed_runs} runs of 1-2 missed sessions, {self.interruptions} interruptions of 3 or more"


def dose_intensity(planned: ArrayLike, delivered: ArrayLike) -> DoseIntensity:
    """Return relative dose intensity over people in both ways: mean of ratios and ratio of sums.

    Parameters
    ----------
    planned, delivered : array of shape (n_people,)
        Dose of each person, in the same unit. People with either missing (nan) or with nothing planned (0) have no
        ratio; they are left out of both numbers and counted in `n_left_out`.

    Returns
    -------
    DoseIntensity
        `mean_of_ratios` and `ratio_of_sums` (unit 1; above 1 where more was delivered than planned), `sd_of_ratios`
        (None for one person).

    Raises
    ------
    DesignError
        Different lengths, a negative dose, or nobody with a plan and a dose.

    Notes
    -----
    With p_i planned and d_i delivered: mean of ratios = sum(d_i / p_i) / n; ratio of sums = sum(d_i) / sum(p_i). They
    are equal only where everybody was planned the same.

    References
    ----------
    Nilsen et al. 2018, Med Sci Sports Exerc 50:1134; Fairman et al. 2020.

    Examples
    --------
    >>> found = dose_intensity([100, 300], [100, 150])
    >>> found.mean_of_ratios.value, found.ratio_of_sums.value
    (0.75, 0.625)
    """
    import numpy as np

    plan, dose = _doses(planned, delivered)
    usable = ~np.isnan(plan) & ~np.isnan(dose) & (plan > 0)
    n = int(usable.sum())
    if n == 0:
        raise DesignError("nobody has both a planned and a delivered dose")
    ratio = dose[usable] / plan[usable]

    def estimate(value: float, method: str) -> Estimate:
        source, caveats = SOURCES["relative_dose_intensity"], ("two_intensities",)
        return Estimate(
            value=float(value), unit="1", method=method, n_people=n, n_values=n, source=source, caveats=caveats
        )

    return DoseIntensity(
        mean_of_ratios=estimate(ratio.mean(), "mean_of_ratios"),
        ratio_of_sums=estimate(dose[usable].sum() / plan[usable].sum(), "ratio_of_sums"),
        sd_of_ratios=float(ratio.std(ddof=1)) if n > 1 else None,
        n=n,
        n_left_out=len(plan) - n,
    )


def relative_dose_intensity(planned: ArrayLike, delivered: ArrayLike) -> float:
    """Return the delivered dose of one person as a fraction of the planned dose.

    Parameters
    ----------
    planned, delivered : array of shape (n_sessions,)
        Dose of each planned session, in the same unit; 0 delivered for a missed session; no missing values.

    Returns
    -------
    float
        sum(delivered) / sum(planned).

    Raises
    ------
    DesignError
        Different lengths, a negative or missing dose, or nothing planned.

    References
    ----------
    Nilsen et al. 2018, Med Sci Sports Exerc 50:1134.

    Examples
    --------
    >>> relative_dose_intensity([30, 30], [30, 15])
    0.75
    """
    import numpy as np

    plan, dose = _doses(planned, delivered)
    unknown = int((np.isnan(plan) | np.isnan(dose)).sum())
    if unknown:
        raise DesignError(f"{unknown} of {len(plan)} sessions have no planned or no delivered dose")
    if plan.sum() <= 0:
        raise DesignError("nothing was planned")
    return float(dose.sum() / plan.sum())


def attendance(delivered_sessions: float, planned_sessions: float) -> float:
    """Return sessions delivered as a fraction of sessions planned.

    Parameters
    ----------
    delivered_sessions, planned_sessions : float
        Counts; extra sessions can lift the fraction above 1.

    Returns
    -------
    float

    Raises
    ------
    DesignError
        A negative or missing count, or nothing planned.

    Examples
    --------
    >>> attendance(9, 12)
    0.75
    """
    return percent(delivered_sessions, planned_sessions) / 100


def percent(part: float, whole: float) -> float:
    """Return `part` in percent of `whole`.

    Parameters
    ----------
    part, whole : float
        Counts or doses in the same unit.

    Returns
    -------
    float
        Percent, not rounded.

    Raises
    ------
    DesignError
        `part` negative or missing, `whole` not above 0.

    Examples
    --------
    >>> percent(3, 4)
    75.0
    """
    if not part >= 0 or not whole > 0:
        raise DesignError(f"{part} in percent of {whole} is not defined")
    return float(100 * part / whole)


def missed_runs(attended: ArrayLike) -> MissedRuns:
    """Count the runs of planned sessions that one person missed.

    Parameters
    ----------
    attended : array of bool, shape (n_sessions,)
        Whether each planned session was delivered, in order of time; no missing values.

    Returns
    -------
    MissedRuns
        `missed_runs`: runs of 1 or 2; `interruptions`: runs of 3 or more; `longest`: sessions in the longest run.

    References
    ----------
    Fairman et al. 2020 (missed 1-2, interrupted >= 3 consecutive).

    Examples
    --------
    >>> missed_runs([True, False, True, False, False, False])
    MissedRuns(missed_runs=1, interruptions=1, longest=3)
    """
    import numpy as np

    missed = np.concatenate(([0], 1 - np.asarray(attended, dtype=np.bool_).astype(np.int64), [0]))
    edges = np.diff(missed)
    lengths = np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
    return MissedRuns(
        missed_runs=int((lengths < INTERRUPTION).sum()),
        interruptions=int((lengths >= INTERRUPTION).sum()),
        longest=int(lengths.max(initial=0)),
    )


def dose_reduced_sessions(planned: ArrayLike, delivered: ArrayLike) -> int:
    """Count the sessions that were attended with less than the planned dose.

    Parameters
    ----------
    planned, delivered : array of shape (n_sessions,)
        Dose of each planned session, in the same unit; sessions with either missing (nan) are not counted.

    Returns
    -------
    int
        Sessions with 0 < delivered < planned.

    Raises
    ------
    DesignError
        Different lengths or a negative dose.

    References
    ----------
    Nilsen et al. 2018, Med Sci Sports Exerc 50:1134.

    Examples
    --------
    >>> dose_reduced_sessions([30, 30, 30], [30, 0, 20])
    1
    """
    plan, dose = _doses(planned, delivered)
    return int(((dose > 0) & (dose < plan)).sum())


def _doses(planned: ArrayLike, delivered: ArrayLike) -> tuple[Floats, Floats]:
    import numpy as np

    plan, dose = np.asarray(planned, dtype=np.float64), np.asarray(delivered, dtype=np.float64)
    if plan.ndim != 1 or plan.shape != dose.shape:
        raise DesignError(f"planned and delivered differ in shape: {plan.shape} and {dose.shape}")
    if (plan < 0).any() or (dose < 0).any():
        raise DesignError("a dose is negative")
    return plan, dose


def adherence_by_person(tables: Tables, protocol: Protocol, *, until: Until | None = None) -> pd.DataFrame:
    """Return how far each person followed the plan, over the whole programme.

    Parameters
    ----------
    tables, protocol, until
        As in `dose_by_visit`.

    Returns
    -------
    DataFrame
        A row per person, columns `BY_PERSON`, sorted by person. `sessions_compared`: delivered sessions whose planned
        and delivered active minutes are both known, of which `dose_reduced_sessions` fell short. `discontinued`: 1
        where the person left before the end of the programme, else 0; nan where the programme has no end. Empty with
        ``attrs["reason"]`` without a sessions table.

    Raises
    ------
    DataError, DesignError
        As in `dose_by_visit`.
    """
    import numpy as np
    import pandas as pd

    items = read_items(tables, protocol, until)
    if items is None:
        return empty(BY_PERSON, NO_SESSIONS)
    people = np.arange(len(items.people), dtype=np.int64)
    found = Stretches(low=np.searchsorted(items.code, people), high=np.searchsorted(items.code, people, side="right"))
    sums = totals(items, people, found)
    minutes, plan = items.values["active_minutes"], items.planned_minutes
    known = items.delivered & items.planned & ~np.isnan(minutes) & ~np.isnan(plan)
    runs = [_runs(items, low, high) for low, high in zip(found.low.tolist(), found.high.tolist(), strict=True)]
    left = _left(tables, items)
    end = np.nan if protocol.training is None else 7.0 * protocol.training.weeks
    columns = {
        "participant_id": items.people,
        **{name: sums[name] for name in ("planned_sessions", "delivered_sessions")},
        **ratios(sums),
        "missed_runs": [run.missed_runs for run in runs],
        "interruptions": [run.interruptions for run in runs],
        "longest_missed_run": [run.longest for run in runs],
        "dose_reduced_sessions": found.sums(known & (minutes > 0) & (minutes < plan)),
        "sessions_compared": found.sums(known),
        "early_stops": found.sums(items.status == STATES.index("shortened")),
        "left_day": left,
        "discontinued": np.where(np.isnan(end), np.nan, left < end),
    }
    return finish(pd.DataFrame(columns), BY_PERSON, items)


def _runs(items: Items, low: int, high: int) -> MissedRuns:
    """Return the missed runs of one person: planned sessions in order, extra ones only where they were delivered."""
    part = slice(low, high)
    counted = (items.planned[part] | items.delivered[part]) & (items.status[part] != UNKNOWN)
    return missed_runs(items.delivered[part][counted])


def _left(tables: Tables, items: Items) -> Floats:
    import numpy as np

    left = np.full(len(items.people), np.nan)
    frame = table_of(tables, "participants")
    if frame is not None:
        code: Integers = codes_of(frame, items.people)
        left[code[code >= 0]] = numbers(frame, "left_day")[code >= 0]
    return left


def session_counts(tables: Tables) -> pd.DataFrame:
    """Count session rows by state and reason.

    Parameters
    ----------
    tables : mapping of str to DataFrame

    Returns
    -------
    DataFrame
        Columns status, reason, n; sorted; empty text where none is on record. Empty with ``attrs["reason"]`` without
        a sessions table.
    """
    import pandas as pd

    frame = table_of(tables, "sessions")
    if frame is None:
        return empty(SESSION_COUNTS, NO_SESSIONS)
    words = pd.DataFrame({"status": texts(frame, "status"), "reason": texts(frame, "reason")}, dtype="str")
    counts = words.groupby(["status", "reason"], sort=True).size().rename("n").reset_index()
    return finish(counts, SESSION_COUNTS, None)
