"""Precision error and least significant change from duplicates or more, as bone densitometry prints them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, chi_square_quantile, standard_deviation_interval
from outcomes.matrices import finite_vector
from outcomes.reliability.error import FEW
from outcomes.result import Estimate, Interval, Result

_SOURCE = "Glueer et al (1995) Osteoporos Int 5:262"
LSC = 2.77
"""The rounded 1.96·√2 that densitometry uses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrecisionError(Result):
    """Result of `precision_error`; in the unit of the scores unless said otherwise.

    Parameters
    ----------
    precision_error : Estimate
        Root mean square of the people's standard deviations, with its chi-square interval.
    precision_error_percent : Estimate, optional
        Root mean square of the people's coefficients of variation, in percent.
    least_significant_change, least_significant_change_percent : Estimate, optional
        2.77 times either.
    least_significant_change_exact : Estimate
        1.96·√2 times the precision error.
    upper_bound : float
        One-sided upper bound of the precision error, of the same level.
    degrees_of_freedom : int
        Σ(repeats of a person - 1) over the people measured at least twice.
    enough : bool
        Whether there are at least 30 degrees of freedom, as that trade asks for.
    n_people, n_values, n_single : int
        People measured at least twice; their values; people left out as they were measured once.
    reasons : dict of str to str
        Why a field is None.
    """

    precision_error: Estimate
    precision_error_percent: Estimate | None
    least_significant_change: Estimate
    least_significant_change_percent: Estimate | None
    least_significant_change_exact: Estimate
    upper_bound: float
    degrees_of_freedom: int
    enough: bool
    n_people: int
    n_values: int
    n_single: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return precision error and least significant change, rounded, with degrees of freedom."""
        unit = self.precision_error.unit
        return (
            f"precision error {self.precision_error.value:.3g} {unit}, least significant change "
            f"{self.least_significant_change.value:.3g} {unit} ({self.degrees_of_freedom} degrees of freedom)"
        )


def precision_error(
    scores: ArrayLike, *, unit: str, level: float = 0.95, scale: Literal["interval", "ratio"] = "interval"
) -> PrecisionError:
    """Precision error and least significant change by root mean square.

    Parameters
    ----------
    scores : array of shape (n_participants, n_repeats)
        In `unit`; people may have different numbers of repeats: what is not there is nan. People measured once are left
        out and counted.
    unit : str
        UCUM code of the scores.
    level : float
        Nominal coverage of the interval, and level of the one-sided bound.
    scale : {"interval", "ratio"}
        Percent forms exist only for a ratio scale, whose scores are all above 0.

    Returns
    -------
    PrecisionError

    Raises
    ------
    DesignError
        Nobody measured twice, an infinite value, or repeats that are identical for everybody.

    Notes
    -----
    √(Σ (repeats - 1)·SD² / Σ (repeats - 1)); with equal repeats the root mean square of the SDs, never their mean,
    which is up to 25 % too low for duplicates. A shift between first and second measurement stays in it. Percent: the
    same of SD/mean. Least significant change = 2.77 times either; 30 degrees of freedom are asked for: 15 people three
    times or 30 twice.

    References
    ----------
    Glueer et al (1995) Osteoporos Int 5:262-270; the factor 2.77 and 30 degrees of freedom are those of the precision
    calculator of the densitometry society (its glossary).

    Examples
    --------
    >>> found = precision_error([[1.0, 3.0], [5.0, 5.0], [4.0, np.nan]], unit="g/cm2")
    >>> round(found.precision_error.value, 3), found.degrees_of_freedom, found.n_single
    (1.0, 2, 1)
    """
    check_level(level)
    if scale not in ("interval", "ratio"):
        raise DesignError(f"scale '{scale}' is neither 'interval' nor 'ratio'")
    matrix, single = _repeated(scores)
    there = ~np.isnan(matrix)
    counts = there.sum(axis=1)
    means = np.where(there, matrix, 0.0).sum(axis=1) / counts
    squares = (np.where(there, matrix - means[:, None], 0.0) ** 2).sum(axis=1)
    df = int((counts - 1).sum())
    value = math.sqrt(float(squares.sum()) / df)
    if not value > 1e-12 * float(np.nanmax(np.abs(matrix))):
        raise DesignError("the repeats of everybody are identical, so the error is below the step of the scale")
    ends = standard_deviation_interval(value, df, level=level)
    caveats = ("few_retested",) if len(matrix) < FEW else ()
    main = Estimate(
        value=value, unit=unit, method="precision_error", n_people=len(matrix), n_values=int(counts.sum()),
        interval=ends, source=_SOURCE, caveats=caveats,
    )  # fmt: skip
    percent, reasons = None, {}
    names = ("precision_error_percent", "least_significant_change_percent")
    if scale == "interval":
        reasons = dict.fromkeys(names, "percent of the mean is defined for ratio scales only")
    elif float(np.nanmin(matrix)) <= 0:
        reasons = dict.fromkeys(names, "a score is not above 0, so percent of the mean is not defined")
    else:
        share = 100 * math.sqrt(float((squares / means**2).sum()) / df)
        percent = replace(
            main, value=share, unit="%", method="precision_error_percent",
            interval=standard_deviation_interval(share, df, level=level),
        )  # fmt: skip
    return PrecisionError(
        precision_error=main,
        precision_error_percent=percent,
        least_significant_change=_times(main, "least_significant_change", LSC),
        least_significant_change_percent=None if percent is None else _times(percent, "least_significant_change", LSC),
        least_significant_change_exact=_times(main, "least_significant_change_exact", 1.96 * math.sqrt(2)),
        upper_bound=value * math.sqrt(df / chi_square_quantile(1 - level, df)),
        degrees_of_freedom=df,
        enough=df >= 30,
        n_people=len(matrix),
        n_values=int(counts.sum()),
        n_single=single,
        reasons=reasons,
    )


def _repeated(scores: ArrayLike) -> tuple[np.ndarray, int]:
    """Return the people measured at least twice, and how many were measured once."""
    try:
        matrix = np.asarray(scores, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError("scores are not all numbers") from error
    if matrix.ndim != 2:
        raise DesignError("scores must have participants in rows and repeats in columns")
    if np.isinf(matrix).any():
        raise DesignError("scores: an infinite value")
    counts = (~np.isnan(matrix)).sum(axis=1)
    if not (counts >= 2).any():
        raise DesignError("nobody was measured twice, so nothing is known about the error")
    return matrix[counts >= 2], int((counts == 1).sum())


def _times(estimate: Estimate, method: str, factor: float) -> Estimate:
    assert isinstance(estimate.value, float)
    assert estimate.interval is not None
    ends = estimate.interval
    interval = Interval(ends.low * factor, ends.high * factor, ends.level, ends.method)
    return replace(estimate, value=estimate.value * factor, interval=interval, method=method)


def root_mean_square_error(
    standard_deviations: ArrayLike, *, unit: str, repeats: int = 2, level: float = 0.95
) -> Estimate:
    """Measurement error from the people's own standard deviations: their root mean square.

    Parameters
    ----------
    standard_deviations : array of shape (n_participants,)
        In `unit`, each with divisor repeats - 1; no missing values.
    unit : str
        UCUM code.
    repeats : int
        Measurements of each person.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    Estimate
        With n (repeats - 1) degrees of freedom.

    Raises
    ------
    DesignError
        A value that is missing or below 0, all 0, or fewer than two repeats.

    Notes
    -----
    √(mean of SD²); the mean of the SDs would be too low.

    References
    ----------
    Glueer et al (1995) Osteoporos Int 5:262-270.

    Examples
    --------
    >>> round(root_mean_square_error([3.0, 4.0], unit="deg").value, 3)
    3.536
    """
    sd = finite_vector(standard_deviations, name="standard deviations", at_least=1)
    if (sd < 0).any():
        raise DesignError("a standard deviation below 0 does not exist")
    if repeats < 2:
        raise DesignError(f"{repeats} repeat; a standard deviation needs at least 2")
    value = math.sqrt(float((sd**2).mean()))
    interval = standard_deviation_interval(value, len(sd) * (repeats - 1), level=level)
    return Estimate(
        value=value, unit=unit, method="precision_error", n_people=len(sd), n_values=len(sd) * repeats,
        interval=interval, source=_SOURCE,
    )  # fmt: skip
