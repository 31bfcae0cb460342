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
from outcomes.dose.exposure import limit_lines, stimulation_by_channel, stimulation_by_session
from outcomes.dose.internal import LOAD_COLUMNS, RATE_COLUMNS, internal_load
from outcomes.dose.items import TRACE_SESSIONS
from outcomes.dose.kernel import bouts_of, joined, summarise
from outcomes.dose.load import (
    GUIDELINE_SOURCE,
    GUIDELINES,
    at_or_above_t6,
    heart_rate_load,
    hours_for_energy,
    met_minutes,
    power_from_friction,
    power_from_torque,
    sci_mets,
    session_rpe_load,
    standard_mets,
    weeks_meeting_guidelines,
)
from outcomes.dose.notes import CAVEATS, METHODS, rules
from outcomes.dose.phases import TraceRules, phases_of
from outcomes.dose.programme import dose_by_mode, dose_windows, fitt, programme_counts
from outcomes.dose.sides import FORMULAS, side_indices
from outcomes.dose.stimulation import (
    LIMITS,
    PublishedLimit,
    above_limit,
    charge_delivered,
    charge_density,
    charge_per_phase,
    duty_by_crank_angle,
    energy_per_pulse,
    pulses_delivered,
    pulses_per_contraction,
    rms_current,
    rms_density,
)
from outcomes.dose.totals import dose_by_visit, dose_by_week
from outcomes.dose.visits import baseline_visit

__all__ = [
    "AGREEMENTS",
    "CAVEATS",
    "CHANNELS",
    "FORMULAS",
    "GUIDELINES",
    "GUIDELINE_SOURCE",
    "LIMITS",
    "LOAD_COLUMNS",
    "METHODS",
    "PHASES",
    "RATE_COLUMNS",
    "TRACE_SESSIONS",
    "Batch",
    "DoseIntensity",
    "MissedRuns",
    "PlateauFit",
    "PublishedLimit",
    "TraceRules",
    "above_limit",
    "adherence_by_person",
    "at_or_above_t6",
    "attendance",
    "baseline_visit",
    "batch_of_frame",
    "bouts_of",
    "charge_delivered",
    "charge_density",
    "charge_per_phase",
    "difference_over_sum",
    "dose_by_mode",
    "dose_by_visit",
    "dose_by_week",
    "dose_intensity",
    "dose_reduced_sessions",
    "dose_windows",
    "duty_by_crank_angle",
    "energy_per_pulse",
    "fatigue_index",
    "fitt",
    "heart_rate_load",
    "hours_for_energy",
    "internal_load",
    "joined",
    "left_share",
    "limit_lines",
    "mechanical_kcal",
    "met_minutes",
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
    "power_from_friction",
    "power_from_torque",
    "programme_counts",
    "pulses_delivered",
    "pulses_per_contraction",
    "reconcile",
    "relative_dose_intensity",
    "rms_current",
    "rms_density",
    "rules",
    "sci_mets",
    "session_counts",
    "session_rpe_load",
    "side_indices",
    "standard_mets",
    "stimulation_by_channel",
    "stimulation_by_session",
    "summarise",
    "symmetry_angle",
    "symmetry_index",
    "values_of_traces",
    "weak_over_strong",
    "weeks_meeting_guidelines",
    "work_from_mean_power",
    "work_rate",
]
