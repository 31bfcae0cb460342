"""Training dose: what was planned and what was delivered, up to each visit, week by week, and as a ratio.

The session table and the prescriptions are summed; the rules of counting are the sentences of `METHODS`.
"""

from __future__ import annotations

from outcomes.dose.notes import CAVEATS, METHODS, SOURCES
from outcomes.dose.totals import BY_VISIT, BY_WEEK, baseline_visit, dose_by_visit, dose_by_week

__all__ = [
    "BY_VISIT",
    "BY_WEEK",
    "CAVEATS",
    "METHODS",
    "SOURCES",
    "baseline_visit",
    "dose_by_visit",
    "dose_by_week",
]
