"""One person measured often in two phases: how far the phases overlap, trend, and tests of a start drawn by lot."""

from __future__ import annotations

from outcomes.single_case.lots import PhaseTest, multiple_baseline_test, phase_start_test
from outcomes.single_case.notes import CAVEATS, METHODS
from outcomes.single_case.overlap import PhaseOverlap, phase_overlap
from outcomes.single_case.trend import PhaseTrend, phase_trend

__all__ = [
    "CAVEATS",
    "METHODS",
    "PhaseOverlap",
    "PhaseTest",
    "PhaseTrend",
    "multiple_baseline_test",
    "phase_overlap",
    "phase_start_test",
    "phase_trend",
]
