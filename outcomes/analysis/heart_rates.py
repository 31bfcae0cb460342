"""Resting and peak heart rates that tests of the study found, with the day of each."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Study

ITEMS = {
    ("vo2peak", "heart_rate_peak"): "peak",
    ("hrr", "hr_peak"): "peak",
    ("hrr", "hr_rest"): "rest",
    ("bp_hr_rest", "hr"): "rest",
}
"""Measure and item to what it is. The peak of a gas analysis is measured, that of `hrr` what its `peak_from` says."""

FROM = ("hrr", "peak_from")


def heart_rates(study: Study) -> pd.DataFrame:
    """Return the heart rates that `internal_load` takes: the mean of the readings of each visit that was held.

    Parameters
    ----------
    study : Study

    Returns
    -------
    DataFrame
        Columns `outcomes.dose.RATE_COLUMNS`. A peak of which nobody said whether it was measured is left out.
    """
    import pandas as pd

    from outcomes.analysis.values import visit_days
    from outcomes.dose import RATE_COLUMNS

    rows = study.table("assessments") if study.has("assessments") else pd.DataFrame()
    chosen = [] if rows.empty else [key in ITEMS for key in zip(rows["measure"], rows["item"], strict=True)]
    if not any(chosen):
        return pd.DataFrame(columns=list(RATE_COLUMNS)).astype({"day": "float64", "bpm": "float64"})
    found = rows[chosen][["participant_id", "visit", "measure", "item"]]
    found = found.assign(bpm=pd.to_numeric(rows.loc[chosen, "response"], errors="coerce")).dropna(subset="bpm")
    said = rows[(rows["measure"] == FROM[0]) & (rows["item"] == FROM[1])]
    word_of = dict(zip(zip(said["participant_id"], said["visit"], strict=True), said["response"], strict=True))
    kinds = []
    for person, visit, measure, item in found[["participant_id", "visit", "measure", "item"]].to_numpy().tolist():
        kind = ITEMS[measure, item]
        word = "measured" if measure != FROM[0] else word_of.get((person, visit), "")
        kinds.append(kind if kind == "rest" else f"{word} peak")
    found = found.assign(kind=kinds)
    found = found[found["kind"].isin(("rest", "measured peak", "predicted peak"))]
    keys = ["participant_id", "visit", "kind"]
    found = found.groupby(keys, sort=True)["bpm"].mean().reset_index()
    days = visit_days(study)
    days = days.loc[days["status"] != "missed", ["participant_id", "visit", "visited_day"]]
    found = found.merge(days, on=["participant_id", "visit"], how="inner").rename(columns={"visited_day": "day"})
    return found[list(RATE_COLUMNS)].astype({"day": "float64", "bpm": "float64"})
