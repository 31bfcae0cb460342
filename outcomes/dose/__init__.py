"""Training dose: what was planned and what was delivered, up to each visit, week by week, and as a ratio.

The session table and the prescriptions are summed; the rules of counting are the sentences of `METHODS`.
"""

from __future__ import annotations

from outcomes.dose.adherence import (
    DoseIntensity,
    MissedRuns,
    adherence_by_person,
    attendance,
    dose_intensity,
    dose_reduced_sessions,
    missed_runs,
    percent,
    relative_dose_intensity,
    session_counts,
)
from outcomes.dose.asymmetry import (
    difference_over_sum,
    left_share,
    paretic_share,
    percent_asymmetry,
    symmetry_angle,
    symmetry_index,
    weak_over_strong,
)
from outcomes.dose.energy import mechanical_kcal, metabolic_kcal, work_from_mean_power, work_rate
from outcomes.dose.notes import CAVEATS, METHODS, rules
from outcomes.dose.totals import dose_by_visit, dose_by_week
from outcomes.dose.visits import baseline_visit

__all__ = [
    "CAVEATS",
    "METHODS",
    "DoseIntensity",
    "MissedRuns",
    "adherence_by_person",
    "attendance",
    "baseline_visit",
    "difference_over_sum",
    "dose_by_visit",
    "dose_by_week",
    "dose_intensity",
    "dose_reduced_sessions",
    "left_share",
    "mechanical_kcal",
    "metabolic_kcal",
    "missed_runs",
    "paretic_share",
    "percent",
    "percent_asymmetry",
    "relative_dose_intensity",
    "rules",
    "session_counts",
    "symmetry_angle",
    "symmetry_index",
    "weak_over_strong",
    "work_from_mean_power",
    "work_rate",
]
