"""Reliability, measurement error and agreement: correlations, standard errors, detectable change, limits, kappa."""

from __future__ import annotations

from outcomes.reliability.acceptable import AcceptableAgreement, acceptable_agreement
from outcomes.reliability.by_size import LimitsBySize, limits_of_agreement_by_size
from outcomes.reliability.concordance import ConcordanceCorrelation, concordance_correlation
from outcomes.reliability.consistency import ItemConsistency, cronbach_alpha
from outcomes.reliability.correlations import IntraclassCorrelations, intraclass_correlations
from outcomes.reliability.detectable import (
    DetectableChange,
    ErrorComparison,
    PublishedError,
    detectable_change,
    own_against_published,
)
from outcomes.reliability.error import MeasurementError, measurement_error
from outcomes.reliability.factors import FactorConsistency, mcdonald_omega
from outcomes.reliability.from_icc import (
    ErrorFromCorrelation,
    coefficient_of_variation,
    error_from_correlation,
)
from outcomes.reliability.grades import agreement_weights
from outcomes.reliability.incomplete import IncompleteCorrelations, incomplete_intraclass_correlations
from outcomes.reliability.kappa import Kappa, cohen_kappa, kappa_of_table
from outcomes.reliability.limits import LimitsOfAgreement, limits_of_agreement, ratio_limits_of_agreement
from outcomes.reliability.notes import CAVEATS, METHODS
from outcomes.reliability.precision import PrecisionError, precision_error, root_mean_square_error
from outcomes.reliability.raters import RaterAgreement, fleiss_kappa, gwet_agreement, krippendorff_alpha
from outcomes.reliability.replicates import replicate_limits_of_agreement, varying_limits_of_agreement
from outcomes.reliability.resampled import bootstrap_estimate, participant_bootstrap
from outcomes.reliability.retests import RetestPlan, people_to_retest, retest_tally
from outcomes.reliability.variance import MeanSquares, mean_squares

__all__ = [
    "CAVEATS",
    "METHODS",
    "AcceptableAgreement",
    "ConcordanceCorrelation",
    "DetectableChange",
    "ErrorComparison",
    "ErrorFromCorrelation",
    "FactorConsistency",
    "IncompleteCorrelations",
    "IntraclassCorrelations",
    "ItemConsistency",
    "Kappa",
    "LimitsBySize",
    "LimitsOfAgreement",
    "MeanSquares",
    "MeasurementError",
    "PrecisionError",
    "PublishedError",
    "RaterAgreement",
    "RetestPlan",
    "acceptable_agreement",
    "agreement_weights",
    "bootstrap_estimate",
    "coefficient_of_variation",
    "cohen_kappa",
    "concordance_correlation",
    "cronbach_alpha",
    "detectable_change",
    "error_from_correlation",
    "fleiss_kappa",
    "gwet_agreement",
    "incomplete_intraclass_correlations",
    "intraclass_correlations",
    "kappa_of_table",
    "krippendorff_alpha",
    "limits_of_agreement",
    "limits_of_agreement_by_size",
    "mcdonald_omega",
    "mean_squares",
    "measurement_error",
    "own_against_published",
    "participant_bootstrap",
    "people_to_retest",
    "precision_error",
    "ratio_limits_of_agreement",
    "replicate_limits_of_agreement",
    "retest_tally",
    "root_mean_square_error",
    "varying_limits_of_agreement",
]
