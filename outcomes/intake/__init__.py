"""The way in: a clinic's files become checked tables, and a ledger says what became of every row and cell.

Three grades: a finding that blocks stops the run, a value set aside becomes missing with its reason, a query keeps the
value and asks. Nothing is clipped, guessed or lost; no file of the clinic is changed.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.intake.decisions import answer_findings as answer_findings
    from outcomes.intake.entry_workbook import new_study as new_study
    from outcomes.intake.intake import Intake as Intake
    from outcomes.intake.intake import read_folder as read_folder
    from outcomes.intake.intake import read_frames as read_frames
    from outcomes.intake.intake import write_check as write_check
    from outcomes.intake.intake import write_trace_check as write_trace_check
    from outcomes.intake.ledger import Ledger as Ledger
    from outcomes.intake.ledger import ledger_files as ledger_files
    from outcomes.intake.marked import mark_findings as mark_findings
    from outcomes.intake.suggest import Suggestion as Suggestion
    from outcomes.intake.suggest import suggest_columns as suggest_columns
    from outcomes.intake.traces import TraceSource as TraceSource
    from outcomes.intake.traces import find_sources as find_sources
    from outcomes.intake.traces_check import TraceChecks as TraceChecks
    from outcomes.intake.traces_check import checked_batch as checked_batch
    from outcomes.intake.traces_parquet import read_groups as read_groups
    from outcomes.intake.traces_parquet import write_traces as write_traces

_EXPORTS: dict[str, str] = {
    "Intake": "intake",
    "Ledger": "ledger",
    "Suggestion": "suggest",
    "TraceChecks": "traces_check",
    "TraceSource": "traces",
    "answer_findings": "decisions",
    "checked_batch": "traces_check",
    "find_sources": "traces",
    "ledger_files": "ledger",
    "mark_findings": "marked",
    "new_study": "entry_workbook",
    "read_folder": "intake",
    "read_frames": "intake",
    "read_groups": "traces_parquet",
    "suggest_columns": "suggest",
    "write_check": "intake",
    "write_trace_check": "intake",
    "write_traces": "traces_parquet",
}
"""Public name to the module that holds it."""

__all__ = sorted(_EXPORTS)


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        value = getattr(import_module(f"outcomes.intake.{_EXPORTS[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'outcomes.intake' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *_EXPORTS})
