"""Association of delivered dose with change, between and within persons; an association is no effect."""

from __future__ import annotations

from outcomes.dose_response.between import (
    FEWEST,
    BetweenPersonAssociation,
    RankAssociation,
    between_person_association,
    rank_association,
)
from outcomes.dose_response.collinearity import DoseTimeCollinearity, dose_time_collinearity
from outcomes.dose_response.description import DoseDescription, describe
from outcomes.dose_response.notes import CAVEATS, METHODS

__all__ = [
    "CAVEATS",
    "FEWEST",
    "METHODS",
    "BetweenPersonAssociation",
    "DoseDescription",
    "DoseTimeCollinearity",
    "RankAssociation",
    "between_person_association",
    "describe",
    "dose_time_collinearity",
    "rank_association",
]
