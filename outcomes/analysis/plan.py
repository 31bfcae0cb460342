"""What one analysis works on: the study, its values, its groups, and the record that is being written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from outcomes.analysis import values as _values
from outcomes.errors import DesignError
from outcomes.result import Estimate, Record, Role, record_key

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from outcomes.result import Entry
    from outcomes.study import Series, Study

WITHIN_GROUPS = ("change", "model", "sensitivity")
"""Analyses of change within a group: that one group changed and another did not is no evidence of a difference."""


@dataclass
class Work:
    """One analysis on its way from the study to the record."""

    study: Study
    record: Record = field(default_factory=Record)
    people: dict[str, pd.DataFrame] = field(default_factory=dict)
    errors: dict[str, Any] = field(default_factory=dict)
    unfit: dict[str, str] = field(default_factory=dict)
    """Series to the reason why the error of its own repeat tests is not that of its changes."""
    refused: dict[str, str] = field(default_factory=dict)
    """Series to the reason why it has no values."""
    _pairs: dict[str, pd.DataFrame] = field(default_factory=dict)

    @property
    def level(self) -> float:
        """Level of every interval: 1 - alpha."""
        return 1.0 - self.study.protocol.analysis.alpha

    @property
    def contrast(self) -> tuple[str, str] | None:
        """The compared visits, earlier first; None for a test-retest study without visits."""
        compare = self.study.protocol.analysis.compare
        return (compare[0], compare[1]) if compare else None

    @property
    def contrast_part(self) -> str:
        """Fifth part of the record key."""
        return f"{self.contrast[1]}_minus_{self.contrast[0]}" if self.contrast else "-"

    @cached_property
    def participants(self) -> pd.DataFrame:
        """The participants table by participant_id."""
        return self.study.table("participants").set_index("participant_id")

    @cached_property
    def untrained(self) -> frozenset[str]:
        """Participants of a group for which the programme is not."""
        waiting = [group.key for group in self.study.protocol.groups if not group.trained]
        return frozenset(self.participants.index[self.participants["group"].isin(waiting)]) if waiting else frozenset()

    @cached_property
    def visit_days(self) -> pd.DataFrame:
        """See `values.visit_days`."""
        return _values.visit_days(self.study)

    @cached_property
    def scores(self) -> pd.DataFrame:
        """Scores of the assessments."""
        return _values.scores_of(self.study, "assessments")

    @cached_property
    def repeat_scores(self) -> pd.DataFrame:
        """Scores of the clinic's own repeat tests."""
        return _values.scores_of(self.study, "repeats")

    def rng(self, *words: str) -> np.random.Generator:
        """Return the generator for one number: the protocol's seed and the words of its key, so that adding a measure
        moves no other number."""
        import numpy as np

        digits = [int.from_bytes(word.encode(), "little") for word in words]
        return np.random.default_rng(np.random.SeedSequence([self.study.protocol.analysis.seed, *digits]))

    def groups(self) -> Iterator[tuple[str, str, pd.Index[Any]]]:
        """Yield key, label and participants of every group that the plan reports."""
        report, groups = self.study.protocol.analysis.report, self.study.protocol.groups
        if report in ("all", "both") or not groups:
            yield "all", "everybody", self.participants.index
        if report in ("each group", "both"):
            for group in groups:
                yield group.key, group.label, self.participants.index[self.participants["group"] == group.key]

    def add(self, key: str, estimate: Estimate, label: str, role: Role = "descriptive", **more: Any) -> Entry:
        """Write an estimate; see `Record.add`. An exploratory outcome keeps no test, and where groups are compared no
        change within one of them does."""
        within = bool(self.study.protocol.groups) and key.partition("/")[0] in WITHIN_GROUPS
        if within or role == "exploratory":
            estimate = replace(estimate, test=None)
        return self.record.add(key, estimate, label=label, role=role, **more)

    def count(self, key: str, number: int, label: str, *, inputs: Sequence[str], people: int | None = None) -> Entry:
        """Write a count; `inputs` names the tables that were counted."""
        n = number if people is None else people
        estimate = Estimate(value=int(number), unit="1", method="count", n_people=int(n), n_values=int(number))
        return self.add(key, estimate, label, inputs=inputs)

    def key(self, analysis: str, statistic: str, series: Series | None = None, **parts: str) -> str:
        """Return a record key; measure and place come from `series`."""
        if series is not None:
            parts = {"measure": series.measure_part, "place": series.place_part, **parts}
        return record_key(analysis, statistic, **parts)

    @cached_property
    def values(self) -> dict[str, pd.DataFrame]:
        """Value per participant and visit of every series, after windows and events; a series that can have none is
        empty and its reason stands in `refused`."""
        trained = self.participants["trained_side"]
        found: dict[str, pd.DataFrame] = {}
        for series in self.study.series:
            try:
                values = _values.series_values(self.scores, series, trained, "visit")
            except DesignError as error:
                self.refused[series.name] = error.reason
                values = _values.series_values(self.scores.iloc[:0], series, trained, "visit")
            found[series.name] = _values.drop_values(self.study, values, series, self.visit_days)
        return found

    def pairs(self, series: Series) -> pd.DataFrame:
        """Return before, after and change of everybody who has both values of the compared visits.

        Returns
        -------
        DataFrame
            Index participant_id, sorted; columns before, after, change, improvement (missing where no direction is
            better or hoped for), cells.
        """
        if series.name not in self._pairs:
            self._pairs[series.name] = self._paired(series)
        return self._pairs[series.name]

    def _paired(self, series: Series) -> pd.DataFrame:
        import numpy as np

        values = self.values[series.name]
        if series.name in self.refused:
            raise DesignError(self.refused[series.name])
        contrast = self.contrast or ("", "")
        missed = [visit for visit in contrast if series.plan.visits and visit not in series.plan.visits]
        if missed:
            raise DesignError(f"the protocol does not measure it at {' and '.join(missed)}")
        sides = [values[values["visit"] == visit].set_index("participant_id") for visit in contrast]
        named = [side[["value", "cells"]].add_suffix(end) for side, end in zip(sides, ("_a", "_b"), strict=True)]
        both = named[0].join(named[1], how="inner")
        both = both[both["value_a"].notna() & both["value_b"].notna()].sort_index()
        pairs = both.rename(columns={"value_a": "before", "value_b": "after"})[["before", "after"]].astype(float)
        pairs["change"] = pairs["after"] - pairs["before"]
        sign = series.hoped_sign
        pairs["improvement"] = pairs["change"] * sign if sign else np.nan
        pairs["cells"] = (both["cells_a"] + " " + both["cells_b"]).str.strip()
        return pairs
