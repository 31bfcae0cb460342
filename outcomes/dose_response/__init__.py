"""Association of delivered dose with change, between and within persons; an association is no effect."""

from __future__ import annotations

from outcomes.dose_response.between import (
    FEWEST,
    BetweenPersonAssociation,
    RankAssociation,
    between_person_association,
    rank_association,
)
from outcomes.dose_response.collinearity import MOST_INFLATION, DoseTimeCollinearity, dose_time_collinearity
from outcomes.dose_response.curves import CURVES, Curve, CurveShortlist, curve_shortlist
from outcomes.dose_response.description import DoseDescription, describe
from outcomes.dose_response.notes import CAVEATS, METHODS
from outcomes.dose_response.origins import DoseOrigins, dose_origins
from outcomes.dose_response.prediction import Prediction, left_out_prediction
from outcomes.dose_response.repeated import RepeatedMeasuresCorrelation, repeated_measures_correlation
from outcomes.dose_response.within import WithinPersonAssociation, within_person_association

__all__ = [
    "CAVEATS",
    "CURVES",
    "FEWEST",
    "METHODS",
    "MOST_INFLATION",
    "BetweenPersonAssociation",
    "Curve",
    "CurveShortlist",
    "DoseDescription",
    "DoseOrigins",
    "DoseTimeCollinearity",
    "Prediction",
    "RankAssociation",
    "RepeatedMeasuresCorrelation",
    "WithinPersonAssociation",
    "between_person_association",
    "curve_shortlist",
    "describe",
    "dose_origins",
    "dose_time_collinearity",
    "left_out_prediction",
    "rank_association",
    "repeated_measures_correlation",
    "within_person_association",
]
