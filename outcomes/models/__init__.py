"""The linear mixed model: repeated values of people, with inference that holds for few of them."""

from __future__ import annotations

from outcomes.models.mixed import MixedModel, mixed_model
from outcomes.models.notes import CAVEATS, METHODS
from outcomes.models.results import (
    Contrast,
    FTest,
    InformationCriteria,
    LeaveOneOut,
    ModelResiduals,
    VarianceIntervals,
)

__all__ = [
    "CAVEATS",
    "METHODS",
    "Contrast",
    "FTest",
    "InformationCriteria",
    "LeaveOneOut",
    "MixedModel",
    "ModelResiduals",
    "VarianceIntervals",
    "mixed_model",
]
