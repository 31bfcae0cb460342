"""The visits at which a dose is read, and the stretch of time that the protocol sums for each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.dose.timeline import STRIDE_MS, codes_of, moments, numbers, texts
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.dose.timeline import Floats, Integers
    from protocols import Protocol


@dataclass(frozen=True, slots=True)
class Visits:
    """Visits by person and the protocol's order; `row` numbers them."""

    row: Integers
    code: Integers
    visit: NDArray[np.object_]
    day: Floats
    clock: Floats
    held: NDArray[np.bool_]
    weeks: Floats
    row_id: NDArray[np.object_]

    @property
    def moment(self) -> Integers:
        """Moments; a visit without a time of day stands before every session of its day."""
        return moments(self.day, self.clock, unknown_clock_is="first")

    def at(self, rows: NDArray[np.bool_]) -> Visits:
        """Return some of the visits."""
        import dataclasses

        return Visits(**{f.name: getattr(self, f.name)[rows] for f in dataclasses.fields(self)})


def read_visits(frame: pd.DataFrame, people: list[str], protocol: Protocol) -> Visits:
    """Return the visits of a table in the order of people and of the protocol's visits."""
    import numpy as np

    order = {visit.key: i for i, visit in enumerate(protocol.visits)}
    code, name = codes_of(frame, people), texts(frame, "visit")
    place = [order.get(visit, len(order)) for visit in name]
    rows = np.array(
        sorted(np.flatnonzero(code >= 0).tolist(), key=lambda i: (code[i], place[i], name[i])), dtype=np.int64
    )
    code, visit, day = code[rows], np.array(name, dtype=object)[rows], numbers(frame, "visited_day")[rows]
    baseline_day = np.full(len(people), np.nan)
    at = visit == baseline_visit(protocol)
    baseline_day[code[at]] = day[at]
    return Visits(
        row=np.arange(len(rows)),
        code=code,
        visit=visit,
        day=day,
        clock=numbers(frame, "visited_clock")[rows],
        held=np.array(texts(frame, "status"), dtype=object)[rows] != "missed",
        weeks=(day - baseline_day[code]) / 7,
        row_id=np.array(texts(frame, "row_id"), dtype=object)[rows],
    )


def baseline_visit(protocol: Protocol) -> str:
    """Return the visit from which the weeks of a dose rate run.

    The earlier of the two compared visits where it is a baseline; else the last baseline; else the earlier compared
    visit; else none (an empty text).
    """
    compare = protocol.analysis.compare
    baselines = [visit.key for visit in protocol.visits if visit.when == "baseline"]
    if compare and compare[0] in baselines:
        return str(compare[0])
    return str(baselines[-1] if baselines else compare[0] if compare else "")


@dataclass(frozen=True, slots=True)
class Window:
    """What is summed for each visit: after one moment, before another, over so many weeks."""

    after: Integers | None
    before: Integers
    weeks: Floats


def summed_window(seen: Visits, protocol: Protocol) -> Window:
    """Return the stretch of time that the protocol sums for each visit."""
    import numpy as np

    dose = protocol.dose
    lag = dose.lag_days if dose is not None else 0
    shift = lag * STRIDE_MS
    before = seen.moment - shift
    if dose is None or dose.cumulate == "to visit":
        return Window(None, before, seen.weeks - lag / 7)
    if dose.cumulate == "recent":
        if dose.recent_days is None:
            raise DesignError("a dose over the recent days needs recent_days under [dose]")
        after = before - dose.recent_days * STRIDE_MS
        return Window(after, before, np.full(len(before), dose.recent_days / 7))
    after, weeks = np.full(len(before), np.iinfo(np.int64).min), seen.weeks - lag / 7
    earlier = -1
    for i in np.lexsort((seen.moment, seen.code)):
        if earlier >= 0 and seen.code[earlier] == seen.code[i]:
            after[i], weeks[i] = before[earlier], (seen.day[i] - seen.day[earlier]) / 7
        if seen.held[i]:
            earlier = int(i)
    return Window(after, before, weeks)
