"""Change from one visit to another: means, medians, effect sizes, single persons, groups, what matters to people."""

from __future__ import annotations

from outcomes.change.anchored import ImportantChange, important_change
from outcomes.change.areas import AreaComparison, compare_areas
from outcomes.change.classes import ChangeClasses, change_classes, classify
from outcomes.change.covariance import AnalysisOfCovariance, analysis_of_covariance
from outcomes.change.effect_sizes import (
    PairedEffectSizes,
    TwoGroupEffectSizes,
    paired_effect_sizes,
    two_group_effect_sizes,
)
from outcomes.change.group_changes import ChangeDifference, PrePostControl, difference_of_changes, pre_post_control
from outcomes.change.individual import ReliableChange, cutoff_between, reliable_change, standard_error_of
from outcomes.change.multiplicity import benjamini_hochberg, benjamini_yekutieli, bonferroni, holm
from outcomes.change.needed import NumberNeeded, needed_words, number_needed_to_treat
from outcomes.change.notes import CAVEATS, METHODS
from outcomes.change.ordinal import OrdinalChange, TransitionTable, ordinal_change, transition_table
from outcomes.change.paired import PairedChange, paired_change
from outcomes.change.percent import PercentChange, percent_change
from outcomes.change.rank_sizes import PairedRankSizes, RankComparison, paired_rank_sizes, rank_comparison
from outcomes.change.significance import SignedRankTest, SignFlipTest, sign_flip_test, wilcoxon_signed_rank
from outcomes.change.sizes import hedges_correction, sd_from_standard_error
from outcomes.change.unanchored import DistributionBasedChange, distribution_based_change

__all__ = [
    "CAVEATS",
    "METHODS",
    "AnalysisOfCovariance",
    "AreaComparison",
    "ChangeClasses",
    "ChangeDifference",
    "DistributionBasedChange",
    "ImportantChange",
    "NumberNeeded",
    "OrdinalChange",
    "PairedChange",
    "PairedEffectSizes",
    "PairedRankSizes",
    "PercentChange",
    "PrePostControl",
    "RankComparison",
    "ReliableChange",
    "SignFlipTest",
    "SignedRankTest",
    "TransitionTable",
    "TwoGroupEffectSizes",
    "analysis_of_covariance",
    "benjamini_hochberg",
    "benjamini_yekutieli",
    "bonferroni",
    "change_classes",
    "classify",
    "compare_areas",
    "cutoff_between",
    "difference_of_changes",
    "distribution_based_change",
    "hedges_correction",
    "holm",
    "important_change",
    "needed_words",
    "number_needed_to_treat",
    "ordinal_change",
    "paired_change",
    "paired_effect_sizes",
    "paired_rank_sizes",
    "percent_change",
    "pre_post_control",
    "rank_comparison",
    "reliable_change",
    "sd_from_standard_error",
    "sign_flip_test",
    "standard_error_of",
    "transition_table",
    "two_group_effect_sizes",
    "wilcoxon_signed_rank",
]
