"""The linear mixed model: repeated values of people, with inference that holds for few of them."""

from __future__ import annotations

from outcomes.models.limbs import LimbChange, limb_change
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
from outcomes.models.selection import RegressionToMean, regression_to_the_mean
from outcomes.models.visits import FEWEST_OVER_TIME, VisitModel, visit_model

__all__ = [
    "CAVEATS",
    "FEWEST_OVER_TIME",
    "METHODS",
    "Contrast",
    "FTest",
    "InformationCriteria",
    "LeaveOneOut",
    "LimbChange",
    "MixedModel",
    "ModelResiduals",
    "RegressionToMean",
    "VarianceIntervals",
    "VisitModel",
    "limb_change",
    "mixed_model",
    "regression_to_the_mean",
    "visit_model",
]
