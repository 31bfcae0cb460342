"""Energy and internal load of the delivered sessions; what is not on record is refused with the field that answers."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from protocols import Protocol

LOADS = {
    "mechanical_energy": ("mechanical_kcal", "kcal", "load_mechanical", "mechanical energy"),
    "metabolic_energy": ("metabolic_kcal_at_assumed_efficiency", "kcal", "load_metabolic", "metabolic energy"),
    "session_rpe_load_0_10": (
        "session_rpe_load_0_10_total_minutes", "1", "load_session_rpe", "session-RPE load, scale 0-10",
    ),
    "session_rpe_load_6_20": (
        "session_rpe_load_6_20_total_minutes", "1", "load_session_rpe", "session-RPE load, scale 6-20",
    ),
    "heart_rate_load": (
        "heart_rate_load_measured_peak_total_minutes", "1", "load_heart_rate", "heart-rate load with a measured peak",
    ),
    "standard_met_minutes": (
        "standard_met_active_minutes", "{MET}.min", "load_met_standard", "standard MET-minutes (3.5 mL/kg/min)",
    ),
    "sci_met_minutes": ("sci_met_active_minutes", "{MET}.min", "load_met_sci", "SCI MET-minutes (2.7 mL/kg/min)"),
}  # fmt: skip
"""Quantity to column of `internal_load`, unit, method and words."""

ASKED = {
    "mechanical_energy": "work_kj of sessions",
    "metabolic_energy": "work_kj of sessions",
    "session_rpe_load_0_10": "rpe, rpe_scale 0-10 and total_minutes of sessions",
    "session_rpe_load_6_20": "rpe, rpe_scale 6-20 and total_minutes of sessions",
    "heart_rate_load": (
        "mean_heart_rate_bpm and total_minutes of sessions, sex of participants, and under [[measures]] a peak that "
        "was measured (vo2peak: heart_rate_peak, or hrr: hr_peak with peak_from measured) and a resting rate "
        "(bp_hr_rest: hr, or hrr: hr_rest), tested before the session"
    ),
    "standard_met_minutes": "oxygen_uptake_ml_kg_min and active_minutes of sessions",
    "sci_met_minutes": "oxygen_uptake_ml_kg_min and active_minutes of sessions",
}
"""Quantity to the fields that would answer where no session has it."""

COLUMNS = {
    "quantity": "", "label": "", "unit": "", "sessions": "1", "delivered": "1", "people": "1", "mean": "", "sd": "",
    "reason": "",
}  # fmt: skip
INPUTS = ("people/internal_load",)


def sum_load(work: Work) -> None:
    """Write the mean energy and internal load of a delivered session, where the study has sessions."""
    from outcomes.analysis.heart_rates import heart_rates
    from outcomes.dose import internal_load

    study = work.study
    if "dose" not in work.people:
        return
    rows = internal_load(study.tables, study.protocol, heart_rates(study))
    work.people["internal_load"] = rows
    table = mean_loads(rows[~rows["participant_id"].isin(work.untrained)], study.protocol)
    for row in table.to_dict("records"):
        method, n = LOADS[row["quantity"]][2], int(row["sessions"])
        key = work.key("load", "session_mean", exposure=row["quantity"])
        label = f"{row['label']}, mean of the delivered sessions"
        if n:
            estimate = Estimate(
                value=row["mean"], unit=row["unit"], method=method, n_people=int(row["people"]), n_values=n
            )
            work.add(key, estimate, label, inputs=INPUTS)
        else:
            work.record.refuse(key, row["reason"], label=label, unit=row["unit"])
    cells = table.astype(object).where(table.notna(), None)
    work.record.add_table("internal_load", COLUMNS, cells.itertuples(index=False, name=None))


def mean_loads(rows: pd.DataFrame, protocol: Protocol) -> pd.DataFrame:
    """Return the mean of every quantity of energy and internal load.

    Parameters
    ----------
    rows : DataFrame
        Of `outcomes.dose.internal_load`.
    protocol : Protocol

    Returns
    -------
    DataFrame
        A row per quantity of `LOADS`, columns `COLUMNS`; where no session has a quantity the mean is nan and the reason
        names what would answer.
    """
    import pandas as pd

    efficiency = None if protocol.dose is None else protocol.dose.gross_efficiency
    return pd.DataFrame([_mean(rows, name, efficiency) for name in LOADS], columns=list(COLUMNS))


def _mean(rows: pd.DataFrame, name: str, efficiency: float | None) -> dict[str, Any]:
    column, unit, _, words = LOADS[name]
    if name == "metabolic_energy" and efficiency is not None:
        words = f"{words} at an assumed gross efficiency of {efficiency:g}"
    known = rows[rows[column].notna()]
    return {
        "quantity": name, "label": words, "unit": unit, "sessions": len(known), "delivered": len(rows),
        "people": int(known["participant_id"].nunique()), "mean": float(known[column].mean()),
        "sd": float(known[column].std(ddof=1)), "reason": "" if len(known) else _why(rows, name, efficiency),
    }  # fmt: skip


def _why(rows: pd.DataFrame, name: str, efficiency: float | None) -> str:
    """Return why no session has a quantity, and what would answer."""
    if name == "metabolic_energy" and efficiency is None:
        return "no efficiency is assumed; gross_efficiency under [dose] of the protocol would answer"
    reason = "no delivered session has what it needs"
    if name == "heart_rate_load" and len(rows):
        reason = Counter(rows["heart_rate_load_reason"]).most_common(1)[0][0]
    return f"{reason}; needs {ASKED[name]}"
