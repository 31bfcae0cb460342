"""Training dose: what was planned and what was delivered, up to each visit, week by week, and as a ratio.

The session table and the prescriptions are summed; the rules of counting are the sentences of `METHODS`. One kernel,
`summarise`, turns the traces of whole sessions into session rows.
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
from outcomes.dose.agreement import AGREEMENTS, reconcile, values_of_traces
from outcomes.dose.asymmetry import (
    difference_over_sum,
    left_share,
    paretic_share,
    percent_asymmetry,
    symmetry_angle,
    symmetry_index,
    weak_over_strong,
)
from outcomes.dose.batch import CHANNELS, PHASES, Batch, batch_of_frame, one_session, phase_codes
from outcomes.dose.decay import PlateauFit, fatigue_index, plateau_fit, power_decay
from outcomes.dose.energy import mechanical_kcal, metabolic_kcal, work_from_mean_power, work_rate
from outcomes.dose.items import TRACE_SESSIONS
from outcomes.dose.kernel import joined, summarise
from outcomes.dose.notes import CAVEATS, METHODS, rules
from outcomes.dose.phases import TraceRules, phases_of
from outcomes.dose.sides import FORMULAS, side_indices
from outcomes.dose.totals import dose_by_visit, dose_by_week
from outcomes.dose.visits import baseline_visit

__all__ = [
    "AGREEMENTS",
    "CAVEATS",
    "CHANNELS",
    "FORMULAS",
    "METHODS",
    "PHASES",
    "TRACE_SESSIONS",
    "Batch",
    "DoseIntensity",
    "MissedRuns",
    "PlateauFit",
    "TraceRules",
    "adherence_by_person",
    "attendance",
    "baseline_visit",
    "batch_of_frame",
    "difference_over_sum",
    "dose_by_visit",
    "dose_by_week",
    "dose_intensity",
    "dose_reduced_sessions",
    "fatigue_index",
    "joined",
    "left_share",
    "mechanical_kcal",
    "metabolic_kcal",
    "missed_runs",
    "one_session",
    "paretic_share",
    "percent",
    "percent_asymmetry",
    "phase_codes",
    "phases_of",
    "plateau_fit",
    "power_decay",
    "reconcile",
    "relative_dose_intensity",
    "rules",
    "session_counts",
    "side_indices",
    "summarise",
    "symmetry_angle",
    "symmetry_index",
    "values_of_traces",
    "weak_over_strong",
    "work_from_mean_power",
    "work_rate",
]
