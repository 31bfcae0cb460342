"""A study: its tables, protocol, catalogue and ledger, all checked; knows no number computed from them."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.study.series import Series, planned_series
    from outcomes.study.study import Study, read_plan
    from outcomes.study.traces import Traces, TraceSummary

_EXPORTS = {
    "Series": "series",
    "Study": "study",
    "TraceSummary": "traces",
    "Traces": "traces",
    "planned_series": "series",
    "read_plan": "study",
}

__all__ = ["Series", "Study", "TraceSummary", "Traces", "planned_series", "read_plan"]


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        return getattr(import_module(f"outcomes.study.{_EXPORTS[name]}"), name)
    raise AttributeError(f"module 'outcomes.study' has no attribute {name!r}")
