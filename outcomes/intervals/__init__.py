"""Confidence intervals and resampling: one definition each, used by every room that prints an interval."""

from __future__ import annotations

from outcomes.intervals.bootstrap import BcaInterval, Statistic, bca_interval, jackknife_error
from outcomes.intervals.noncentral import noncentral_t_interval, noncentral_t_quantile
from outcomes.intervals.pairs import pairs_interval
from outcomes.intervals.parametric import (
    around_fisher,
    clopper_pearson_interval,
    correlation_interval,
    fisher_interval,
    newcombe_interval,
    standard_deviation_interval,
    t_interval,
    wilson_interval,
)
from outcomes.intervals.quantiles import (
    check_level,
    chi_square_quantile,
    f_quantile,
    normal_quantile,
    possible_p,
    t_quantile,
    t_two_sided,
)
from outcomes.intervals.ranks import HodgesLehmann, hodges_lehmann, midranks
from outcomes.intervals.signs import SignFlips, flip_signs
from outcomes.intervals.slopes import ParticipantSlope, participant_slope
from outcomes.intervals.sums import bca_interval_of_sums
from outcomes.intervals.two_groups import bca_of_two_groups
from outcomes.intervals.variances import VariancePart, variance_interval

__all__ = [
    "BcaInterval",
    "HodgesLehmann",
    "ParticipantSlope",
    "SignFlips",
    "Statistic",
    "VariancePart",
    "around_fisher",
    "bca_interval",
    "bca_interval_of_sums",
    "bca_of_two_groups",
    "check_level",
    "chi_square_quantile",
    "clopper_pearson_interval",
    "correlation_interval",
    "f_quantile",
    "fisher_interval",
    "flip_signs",
    "hodges_lehmann",
    "jackknife_error",
    "midranks",
    "newcombe_interval",
    "noncentral_t_interval",
    "noncentral_t_quantile",
    "normal_quantile",
    "pairs_interval",
    "participant_slope",
    "possible_p",
    "standard_deviation_interval",
    "t_interval",
    "t_quantile",
    "t_two_sided",
    "variance_interval",
    "wilson_interval",
]
