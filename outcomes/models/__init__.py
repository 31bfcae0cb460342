"""Models of repeated and of missing values of people, with inference that holds for few of them."""

from __future__ import annotations

from outcomes.models.criteria import InformationCriteria, information_criteria, least_squares_log_likelihood
from outcomes.models.imputations import PooledImputations, pool_imputations
from outcomes.models.limbs import LimbChange, limb_change
from outcomes.models.marginal import MarginalModel, MarginalTerm, marginal_model
from outcomes.models.mixed import MixedModel, mixed_model
from outcomes.models.notes import CAVEATS, METHODS
from outcomes.models.results import (
    Contrast,
    FTest,
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
    "MarginalModel",
    "MarginalTerm",
    "MixedModel",
    "ModelResiduals",
    "PooledImputations",
    "RegressionToMean",
    "VarianceIntervals",
    "VisitModel",
    "information_criteria",
    "least_squares_log_likelihood",
    "limb_change",
    "marginal_model",
    "mixed_model",
    "pool_imputations",
    "regression_to_the_mean",
    "visit_model",
]
