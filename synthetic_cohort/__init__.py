"""An invented cohort, written as an ordinary study folder, and the truth behind it."""

from __future__ import annotations

from synthetic_cohort.cohort import Cohort, write_cohort
from synthetic_cohort.retest import write_retest

__all__ = ["Cohort", "write_cohort", "write_retest"]
