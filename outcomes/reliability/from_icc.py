"""Standard errors that follow from a standard deviation and an intraclass correlation, and the error in percent."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, standard_deviation_interval
from outcomes.matrices import complete_matrix
from outcomes.reliability.error import FEW
from outcomes.reliability.variance import mean_squares
from outcomes.result import Estimate, Interval, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorFromCorrelation(Result):
    """Result of `error_from_correlation`; in the unit of the standard deviation.

    Parameters
    ----------
    standard_error : float
        Of measurement: SD·√(1 - ICC).
    of_estimate : float
        Of estimating the true score: SD·√(ICC(1 - ICC)).
    of_prediction : float
        Of predicting another score: SD·√(1 - ICC²).
    unit : str
        UCUM code.
    """

    standard_error: float
    of_estimate: float
    of_prediction: float
    unit: str

    def summary(self) -> str:
        """Return the three standard errors, rounded."""
        return (
            f"standard error of measurement {self.standard_error:.3g} {self.unit}, of estimate {self.of_estimate:.3g}, "
            f"of prediction {self.of_prediction:.3g}, from a correlation"
        )


def error_from_correlation(standard_deviation: float, icc: float, *, unit: str) -> ErrorFromCorrelation:
    """Standard errors from a published standard deviation and correlation, where the scores are not at hand.

    Parameters
    ----------
    standard_deviation : float
        Of single scores of the people, in `unit`; above 0.
    icc : float
        Of single scores, from 0 to 1.
    unit : str
        UCUM code.

    Returns
    -------
    ErrorFromCorrelation
        Without intervals: the number of people behind the correlation is not used.

    Raises
    ------
    DesignError
        A standard deviation that is not above 0, or a correlation that is not from 0 to 1.

    Notes
    -----
    SD·√(1 - ICC) is not the root of the error mean square of the same data: which standard deviation and which
    correlation decide the number. `measurement_error` is to be preferred.

    References
    ----------
    Weir (2005) J Strength Cond Res 19:231-240.

    Examples
    --------
    >>> round(error_from_correlation(10.0, 0.91, unit="cm").standard_error, 3)
    3.0
    """
    if not (standard_deviation > 0 and math.isfinite(standard_deviation)):
        raise DesignError(f"a standard deviation of {standard_deviation} is not above 0")
    if not 0 <= icc <= 1:
        raise DesignError(f"a correlation of {icc} is not from 0 to 1, so no standard error follows from it")
    return ErrorFromCorrelation(
        standard_error=standard_deviation * math.sqrt(1 - icc),
        of_estimate=standard_deviation * math.sqrt(icc * (1 - icc)),
        of_prediction=standard_deviation * math.sqrt(1 - icc**2),
        unit=unit,
    )


def coefficient_of_variation(scores: ArrayLike, *, level: float = 0.95) -> Estimate:
    """Measurement error in percent from logarithms, for an error that grows with the score.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        All above 0; no missing values; at least 2 x 2.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    Estimate
        In percent, with a chi-square interval turned back from the logarithm.

    Raises
    ------
    DesignError
        A score that is not above 0, and what `measurement_error` refuses.

    Notes
    -----
    100·(exp(√E) - 1), E the error mean square of the two-way analysis of natural logarithms: the mean change between
    occasions is left out.

    References
    ----------
    Hopkins (2000) Sports Med 30:1-15.

    Examples
    --------
    >>> found = coefficient_of_variation([[10.0, 11.0], [20.0, 20.0], [30.0, 33.0]])
    >>> round(found.value, 2)
    3.97
    """
    check_level(level)
    matrix = complete_matrix(scores)
    if matrix.min() <= 0:
        raise DesignError("a score is not above 0, so logarithms are not defined")
    squares = mean_squares(np.log(matrix))
    error, n = math.sqrt(float(squares.error)), squares.n
    if error == 0:
        raise DesignError("the repeats of everybody differ alike, so the error is below the step of the scale")
    ends = standard_deviation_interval(error, squares.df_error, level=level)
    return Estimate(
        value=100 * math.expm1(error), unit="%", method="coefficient_of_variation", n_people=n, n_values=matrix.size,
        interval=Interval(100 * math.expm1(ends.low), 100 * math.expm1(ends.high), level, "chi-square"),
        source="Hopkins (2000) Sports Med 30:1", caveats=("few_retested",) if n < FEW else (),
    )  # fmt: skip
