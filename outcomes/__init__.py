"""Outcome measures, training dose and honest reports for stimulation-assisted cycling and adaptive exercise.

For research, evaluation and teaching. No medical device; sets no stimulation or training parameter; gives no
individual advice.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_EXPORTS: dict[str, str] = {
    "Study": "study",
    "Record": "result",
    "Estimate": "result",
    "Interval": "result",
    "Catalogue": "measures",
    "score": "measures",
    "score_table": "measures",
    "against_norm": "measures",
    "against_threshold": "measures",
    "for_review": "measures",
    "analyse": "analysis",
    "intraclass_correlations": "reliability",
    "measurement_error": "reliability",
    "incomplete_intraclass_correlations": "reliability",
    "participant_bootstrap": "reliability",
    "cronbach_alpha": "reliability",
    "mcdonald_omega": "reliability",
    "limits_of_agreement": "reliability",
    "ratio_limits_of_agreement": "reliability",
    "replicate_limits_of_agreement": "reliability",
    "varying_limits_of_agreement": "reliability",
    "limits_of_agreement_by_size": "reliability",
    "cohen_kappa": "reliability",
    "fleiss_kappa": "reliability",
    "gwet_agreement": "reliability",
    "krippendorff_alpha": "reliability",
    "concordance_correlation": "reliability",
    "precision_error": "reliability",
    "detectable_change": "reliability",
    "people_to_retest": "reliability",
    "retest_tally": "reliability",
    "mixed_model": "models",
    "limb_change": "models",
    "visit_model": "models",
    "regression_to_the_mean": "models",
    "pool_imputations": "models",
    "marginal_model": "models",
    "paired_change": "change",
    "ordinal_change": "change",
    "change_classes": "change",
    "paired_effect_sizes": "change",
    "two_group_effect_sizes": "change",
    "percent_change": "change",
    "analysis_of_covariance": "change",
    "difference_of_changes": "change",
    "pre_post_control": "change",
    "rank_comparison": "change",
    "number_needed_to_treat": "change",
    "reliable_change": "change",
    "important_change": "change",
    "compare_areas": "change",
    "distribution_based_change": "change",
    "transition_table": "change",
    "between_person_association": "dose_response",
    "within_person_association": "dose_response",
    "repeated_measures_correlation": "dose_response",
    "curve_shortlist": "dose_response",
    "left_out_prediction": "dose_response",
    "dose_origins": "dose_response",
    "phase_overlap": "single_case",
    "phase_trend": "single_case",
    "phase_start_test": "single_case",
    "multiple_baseline_test": "single_case",
    "dose_by_visit": "dose",
    "dose_by_week": "dose",
    "draw_session": "reports",
    "one_session": "dose",
    "stimulation_by_channel": "dose",
    "summarise": "dose",
    "write_traces": "intake",
    "OutcomesError": "errors",
    "DataError": "errors",
    "DefinitionError": "errors",
    "DesignError": "errors",
}
"""Public name to the room that holds it; rooms are imported when a name is first used."""

__all__ = ["__version__", *sorted(_EXPORTS)]


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        value = getattr(import_module(f"outcomes.{_EXPORTS[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'outcomes' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *_EXPORTS})
