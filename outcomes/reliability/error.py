"""Measurement error from repeat tests: standard errors of measurement and minimal detectable changes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval
from outcomes.matrices import complete_matrix
from outcomes.reliability.variance import MeanSquares, mean_squares
from outcomes.result import Estimate, Interval, Result

_SOURCES = {
    "standard_error_agreement": "Weir (2005) J Strength Cond Res 19:231",
    "standard_error_consistency": "Weir (2005) J Strength Cond Res 19:231",
    "within_person_standard_deviation": "Bland & Altman (1996) BMJ 313:744",
}

Z95 = 1.96
Z90 = 1.645
FEW = 10
"""Fewer retested people than this carry a caveat (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementError(Result):
    """Result of `measurement_error`; in the unit of the scores unless said otherwise.

    Parameters
    ----------
    standard_error_agreement, standard_error_consistency : Estimate
        Standard error of measurement with and without the variance of occasions.
    within_person_standard_deviation : Estimate
        Root of the people's mean variance.
    mdc95, mdc90 : Estimate
        Minimal detectable change of one person, from the standard error of agreement.
    mdc95_consistency : Estimate
        The same from the standard error of consistency.
    standard_error_percent, mdc95_percent : Estimate, optional
        In percent of the mean score; None unless the scale is a ratio scale.
    degrees_of_freedom : float
        Of the standard error of agreement.
    variance_occasions : float
        As estimated, also if negative; in the squared unit.
    n_people, n_occasions : int
        Rows and columns.
    reasons : dict of str to str
        Why a field is None.
    """

    standard_error_agreement: Estimate
    standard_error_consistency: Estimate
    within_person_standard_deviation: Estimate
    mdc95: Estimate
    mdc90: Estimate
    mdc95_consistency: Estimate
    standard_error_percent: Estimate | None
    mdc95_percent: Estimate | None
    degrees_of_freedom: float
    variance_occasions: float
    n_people: int
    n_occasions: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return standard error and minimal detectable change, rounded, with unit and n."""
        unit = "" if self.mdc95.unit == "1" else f" {self.mdc95.unit}"
        return (
            f"standard error of measurement {self.standard_error_agreement.value:.3g}{unit}, minimal detectable change "
            f"(95 %) {self.mdc95.value:.3g}{unit} ({self.n_people} people, {self.n_occasions} occasions)"
        )


def measurement_error(
    scores: ArrayLike, *, unit: str, level: float = 0.95, scale: Literal["interval", "ratio"] = "interval"
) -> MeasurementError:
    """Standard errors of measurement and minimal detectable changes from repeated scores of unchanged people.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In `unit`; columns are occasions or raters; no missing values; at least 2 x 2.
    unit : str
        UCUM code of the scores.
    level : float
        Nominal coverage of the intervals; the 95 % of the detectable change does not depend on it.
    scale : {"interval", "ratio"}
        Percent forms exist only for a ratio scale, whose scores are all above 0.

    Returns
    -------
    MeasurementError
        Each estimate with a chi-square interval.

    Raises
    ------
    DesignError
        Fewer than two participants or occasions, a missing score, or repeats that are identical for everybody.

    Notes
    -----
    With mean squares of occasions (O), error (E) and within people (W): consistency = √E with (n-1)(k-1) degrees of
    freedom; within person = √W with n(k-1); agreement = √(E + max(0, (O - E)/n)). Its degrees of freedom are those of
    Satterthwaite, v = (O/n + E(n-1)/n)² / ((O/n)²/(k-1) + (E(n-1)/n)²/((n-1)(k-1))), or those of consistency where O <=
    E. MDC95 = 1.96·√2·standard error, MDC90 = 1.645·√2·standard error. One unit of analysis: the detectable change of
    one limb is not that of the mean of both. Not for ordinal grades.

    References
    ----------
    Weir (2005) J Strength Cond Res 19:231-240; Bland & Altman (1996) BMJ 313:744; Satterthwaite (1946) Biometrics Bull
    2:110-114.

    Examples
    --------
    Data set A of Weir (2005), who prints 7.6 for the standard error:

    >>> first, second = [146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218]
    >>> found = measurement_error(np.column_stack([first, second]), unit="W")
    >>> round(found.standard_error_consistency.value, 1), round(found.mdc95.value, 2)
    (7.6, 20.95)
    """
    check_level(level)
    matrix = complete_matrix(scores)
    squares = mean_squares(matrix)
    e, w = float(squares.error), float(squares.within)
    if w == 0:
        raise DesignError("the repeats of everybody are identical, so the error is below the step of the scale")
    variance_occasions = (float(squares.occasions) - e) / squares.n
    df = _degrees_of_freedom(squares)
    caveats = ("few_retested",) if squares.n < FEW else ()
    lowered = (*caveats, "occasion_variance_negative") if variance_occasions < 0 else caveats

    spread = partial(_spread, squares, unit, level)
    agreement = spread("standard_error_agreement", e + max(0.0, variance_occasions), df, lowered)
    consistency = spread("standard_error_consistency", e, squares.df_error, caveats)
    percents, reasons = _percents(matrix, scale)
    mdc95 = _times(agreement, "mdc95", Z95 * math.sqrt(2))
    return MeasurementError(
        standard_error_agreement=agreement,
        standard_error_consistency=consistency,
        within_person_standard_deviation=spread("within_person_standard_deviation", w, squares.df_within, caveats),
        mdc95=mdc95,
        mdc90=_times(agreement, "mdc90", Z90 * math.sqrt(2)),
        mdc95_consistency=_times(consistency, "mdc95_consistency", Z95 * math.sqrt(2)),
        standard_error_percent=None if percents is None else _times(agreement, "percent_of_mean", percents, "%"),
        mdc95_percent=None if percents is None else _times(mdc95, "percent_of_mean", percents, "%"),
        degrees_of_freedom=df,
        variance_occasions=variance_occasions,
        n_people=squares.n,
        n_occasions=squares.k,
        reasons=reasons,
    )


def _spread(
    squares: MeanSquares, unit: str, level: float, name: str, variance: float, df: float, caveats: tuple[str, ...]
) -> Estimate:
    """Return the root of a variance with its chi-square interval; without variance, 0 with a caveat."""
    sd = math.sqrt(variance)
    return Estimate(
        value=sd,
        unit=unit,
        method=name,
        n_people=squares.n,
        n_values=squares.n * squares.k,
        interval=standard_deviation_interval(sd, df, level=level) if sd > 0 else None,
        source=_SOURCES[name],
        caveats=caveats if sd > 0 else (*caveats, "perfect_agreement"),
    )


def _degrees_of_freedom(squares: MeanSquares) -> float:
    """Return those of the agreement variance: Satterthwaite's, or those of error where occasions add nothing."""
    o, e, n = float(squares.occasions), float(squares.error), squares.n
    if o <= e:
        return float(squares.df_error)
    first, second = o / n, e * (n - 1) / n
    return (first + second) ** 2 / (first**2 / squares.df_occasions + second**2 / squares.df_error)


def _percents(matrix: np.ndarray, scale: str) -> tuple[float | None, dict[str, str]]:
    """Return the factor to percent of the mean score, or None and why there is none."""
    names = ("standard_error_percent", "mdc95_percent")
    if scale not in ("interval", "ratio"):
        raise DesignError(f"scale '{scale}' is neither 'interval' nor 'ratio'")
    if scale == "interval":
        return None, dict.fromkeys(names, "percent of the mean is defined for ratio scales only")
    if matrix.min() <= 0:
        return None, dict.fromkeys(names, "a score is not above 0, so percent of the mean is not defined")
    return 100 / float(matrix.mean()), {}


def _times(estimate: Estimate, method: str, factor: float, unit: str | None = None) -> Estimate:
    """Return an estimate and its interval multiplied by a constant."""
    assert isinstance(estimate.value, float)
    interval = estimate.interval
    if interval is not None:
        interval = Interval(interval.low * factor, interval.high * factor, interval.level, interval.method)
    return replace(
        estimate, value=estimate.value * factor, interval=interval, method=method, unit=unit or estimate.unit
    )
