"""Reliability and measurement error from repeat tests: correlations, standard errors, detectable change."""

from __future__ import annotations

from outcomes.reliability.concordance import ConcordanceCorrelation, concordance_correlation
from outcomes.reliability.correlations import IntraclassCorrelations, intraclass_correlations
from outcomes.reliability.error import MeasurementError, measurement_error
from outcomes.reliability.notes import CAVEATS, METHODS
from outcomes.reliability.variance import MeanSquares, mean_squares

__all__ = [
    "CAVEATS",
    "METHODS",
    "ConcordanceCorrelation",
    "IntraclassCorrelations",
    "MeanSquares",
    "MeasurementError",
    "concordance_correlation",
    "intraclass_correlations",
    "mean_squares",
    "measurement_error",
]
