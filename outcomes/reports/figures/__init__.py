"""Figures as functions of plain columns: each takes ``ax=None``, returns the axes and changes nothing global."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.reports.figures.agreement import agreement_plot as agreement_plot
    from outcomes.reports.figures.attendance import attendance_map as attendance_map
    from outcomes.reports.figures.change import change_against_error as change_against_error
    from outcomes.reports.figures.change import ordinal_shares as ordinal_shares
    from outcomes.reports.figures.change import paired_change as paired_change
    from outcomes.reports.figures.counts import delivered_by_month as delivered_by_month
    from outcomes.reports.figures.counts import people_counts as people_counts
    from outcomes.reports.figures.dose import dose_against_change as dose_against_change
    from outcomes.reports.figures.dose import dose_over_weeks as dose_over_weeks
    from outcomes.reports.figures.dose_models import dose_curves as dose_curves
    from outcomes.reports.figures.dose_models import within_person_lines as within_person_lines
    from outcomes.reports.figures.flow import participant_flow as participant_flow
    from outcomes.reports.figures.forest import forest_of_effects as forest_of_effects
    from outcomes.reports.figures.groups import changes_by_group as changes_by_group
    from outcomes.reports.figures.person import one_person as one_person
    from outcomes.reports.figures.trace import session_trace as session_trace

_EXPORTS = {
    "attendance_map": "attendance",
    "agreement_plot": "agreement",
    "change_against_error": "change",
    "changes_by_group": "groups",
    "delivered_by_month": "counts",
    "dose_against_change": "dose",
    "dose_curves": "dose_models",
    "dose_over_weeks": "dose",
    "forest_of_effects": "forest",
    "one_person": "person",
    "ordinal_shares": "change",
    "paired_change": "change",
    "participant_flow": "flow",
    "within_person_lines": "dose_models",
    "people_counts": "counts",
    "session_trace": "trace",
}

__all__ = sorted(_EXPORTS)


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        return getattr(import_module(f"outcomes.reports.figures.{_EXPORTS[name]}"), name)
    raise AttributeError(f"module 'outcomes.reports.figures' has no attribute {name!r}")
