"""Change from one visit to another: means and medians, effect sizes, people beyond measurement error."""

from __future__ import annotations

from outcomes.change.classes import ChangeClasses, change_classes, classify
from outcomes.change.multiplicity import benjamini_hochberg, holm
from outcomes.change.notes import CAVEATS, METHODS
from outcomes.change.ordinal import OrdinalChange, TransitionTable, ordinal_change, transition_table
from outcomes.change.paired import PairedChange, paired_change
from outcomes.change.significance import SignedRankTest, SignFlipTest, sign_flip_test, wilcoxon_signed_rank
from outcomes.change.sizes import hedges_correction

__all__ = [
    "CAVEATS",
    "METHODS",
    "ChangeClasses",
    "OrdinalChange",
    "PairedChange",
    "SignFlipTest",
    "SignedRankTest",
    "TransitionTable",
    "benjamini_hochberg",
    "change_classes",
    "classify",
    "hedges_correction",
    "holm",
    "ordinal_change",
    "paired_change",
    "sign_flip_test",
    "transition_table",
    "wilcoxon_signed_rank",
]
