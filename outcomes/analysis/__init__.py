"""The protocol's plan carried out: columns to the arithmetic, what comes back into the record."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.analysis.dose_output import dose_tables, write_dose
    from outcomes.analysis.run import Analysis, analyse
    from outcomes.analysis.write import latest_results, write_results

_EXPORTS = {
    "Analysis": "run",
    "analyse": "run",
    "dose_tables": "dose_output",
    "latest_results": "write",
    "write_dose": "dose_output",
    "write_results": "write",
}

__all__ = ["Analysis", "analyse", "dose_tables", "latest_results", "write_dose", "write_results"]


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        return getattr(import_module(f"outcomes.analysis.{_EXPORTS[name]}"), name)
    raise AttributeError(f"module 'outcomes.analysis' has no attribute {name!r}")
