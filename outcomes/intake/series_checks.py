"""Readings in the order of visits: the two sides of a person, what the time between visits brings, and which of two
readings is never the larger. Each is asked about, none is changed but a reading that cannot be.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from outcomes.intake.drafts import Draft
from outcomes.intake.limits import Between, limits
from outcomes.intake.raw import number_text
from outcomes.intake.settling import Reader, reject

if TYPE_CHECKING:
    from outcomes.measures import Item

Frame = Any
"""A pandas frame: readings by who, when and where, with the row of the draft that each comes from."""

MONTH = 28
"""Days for which the usual change of a reading is given."""

SAME = ["participant", "measure", "item", "place", "side"]
"""What readings of one series have in common."""


def check_series(draft: Draft, reader: Reader, means: Frame, items: Mapping[tuple[str, str], Item]) -> None:
    """Ask about sides and changes that are hardly possible.

    Parameters
    ----------
    draft : Draft
    reader : Reader
        Takes the findings.
    means : DataFrame
        What `means_of` returns.
    items : mapping of (str, str) to Item
        The items of planned measures that are numbers, by measure and item.
    """
    apart = {key: 0.05 * (item.usual[1] - item.usual[0]) for key, item in items.items() if item.usual}
    rows = means.groupby(["measure", "item"], sort=False).indices
    for between in limits().between:
        if (between.measure, between.item) in rows:
            mine = means.take(rows[between.measure, between.item])
            _sides(draft, reader, mine, between)
            check_changes(draft, reader, mine, between)
            if between.sides_apart and between.sides_apart.soft:
                apart[between.measure, between.item] = between.sides_apart.soft[1]
    _swapped(draft, reader, means, apart)


def means_of(readings: Frame) -> Frame:
    """Return the mean of the trials of each reading, with its day and first row."""
    grouped = readings.groupby([*SAME, "visit", "order"], sort=True, as_index=False)
    means: Frame = grouped.agg(value=("value", "mean"), day=("day", "min"), row=("row", "min"))
    return means


def records(frame: Frame) -> list[dict[str, Any]]:
    """Return the rows of a frame by column."""
    names = list(frame.columns)
    columns = [frame[name].to_numpy(dtype=object).tolist() for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def ask(draft: Draft, reader: Reader, row: int, rule: str, expected: str, *, aside: str | None = None) -> None:
    """Ask about one answer."""
    import numpy as np

    reader.found.at(draft, np.array([row], dtype=np.int64), "response", "ask", rule, expected, aside=aside)


def _say(value: float) -> str:
    return number_text(float(f"{value:.4g}"))


def _sides(draft: Draft, reader: Reader, means: Frame, between: Between) -> None:
    """Ask about a left and a right that differ more than the two sides of a person usually do."""
    limit = between.side_difference
    if limit is None or limit.soft is None:
        return
    keys = ["participant", "place", "visit"]
    both = means[means["side"] == "left"].merge(means[means["side"] == "right"], on=keys, suffixes=("", "_right"))
    both = both.assign(difference=(both["value"] - both["value_right"]).abs())
    for one in records(both[both["difference"] > limit.soft[1]]):
        expected = (
            f"sides that usually differ by at most {limit.soft[1]:g} {between.unit}; left {_say(one['value'])} and "
            f"right {_say(one['value_right'])} at {one['visit']} ({limit.basis})"
        )
        ask(draft, reader, one["row"], "side_difference", expected)


def check_changes(draft: Draft, reader: Reader, means: Frame, between: Between) -> None:
    """Ask about a change from one visit to the next that the time between hardly brings."""
    for before, after in pairwise(records(means.sort_values([*SAME, "order"]))):
        if all(before[name] == after[name] for name in SAME):
            usual = _unusual_change(before, after, between)
            if usual:
                expected = f"{usual}; it was {_say(before['value'])} and is {_say(after['value'])}"
                ask(draft, reader, after["row"], "jump", expected)


def _unusual_change(before: dict[str, Any], after: dict[str, Any], between: Between) -> str:
    """Return in words what a change would usually be, or nothing where it is so."""
    change, since = after["value"] - before["value"], before["visit"]
    if between.factor is not None:
        factor = between.factor
        low, high = sorted((before["value"], after["value"]))
        if low > 0 and high - low > factor.apart and high >= factor.above * low:
            return (
                f"less than {factor.above:g} times, or {factor.apart:g} {between.unit}, from {since} to "
                f"{after['visit']}; another unit, place or person? ({factor.basis})"
            )
    for limit, spans, more in (
        (between.change, 1.0, ""),
        (between.change_28_days, max((after["day"] - before["day"]) / MONTH, 1.0), ", by four weeks"),
    ):
        if limit is None or limit.soft is None:
            continue
        low, high = limit.soft[0] * spans, limit.soft[1] * spans
        if low == high == 0 and change:
            return f"the same as at {since} ({limit.basis})"
        if not low <= change <= high:
            return f"a change of usually {_say(low)} to {_say(high)} {between.unit} since {since} ({limit.basis}{more})"
    return ""


def _swapped(draft: Draft, reader: Reader, means: Frame, apart: Mapping[tuple[str, str], float]) -> None:
    """Ask where left and right of one visit fit right and left of the visit before far better than themselves."""
    series: dict[tuple[str, ...], dict[int, dict[str, Any]]] = {}
    for one in records(means[means["side"].isin(["left", "right"])]):
        whose = (one["participant"], one["measure"], one["item"], one["place"])
        series.setdefault(whose, {}).setdefault(one["order"], {})[one["side"]] = one
    for key, by_order in series.items():
        margin = apart.get((key[1], key[2]))
        held = [by_order[order] for order in sorted(by_order) if len(by_order[order]) == 2]
        for before, after in pairwise(held) if margin else ():
            if _fits_turned(before, after, margin or 0.0):
                expected = (
                    f"the sides as at {before['left']['visit']}: left {_say(before['left']['value'])}, right "
                    f"{_say(before['right']['value'])}; now left {_say(after['left']['value'])}, right "
                    f"{_say(after['right']['value'])}, which would fit the other way round"
                )
                ask(draft, reader, after["left"]["row"], "sides_swapped", expected)


def _fits_turned(before: dict[str, Any], after: dict[str, Any], margin: float) -> bool:
    """Whether two sides that lie apart are far nearer to the other side of the visit before than to their own."""
    (left, right), (new_left, new_right) = ((v["left"]["value"], v["right"]["value"]) for v in (before, after))
    kept = abs(new_left - left) + abs(new_right - right)
    turned = abs(new_left - right) + abs(new_right - left)
    apart = min(abs(left - right), abs(new_left - new_right))
    return bool(apart > margin and kept > 4 * turned + margin)


def check_order(draft: Draft, reader: Reader, readings: Frame) -> None:
    """Ask about, or set aside, two readings of which the one that is never the larger is."""
    import numpy as np

    keys = ["participant", "place", "side", "visit", "trial"]
    known = readings.groupby(["measure", "item"], sort=False).indices
    for order in limits().order:
        pair = [(order.measure, name) for name in (order.lower, order.upper)]
        if not known.keys() >= set(pair):
            continue
        low, high = (readings.take(known[key]) for key in pair)
        both = low.merge(high, on=keys, suffixes=("_low", "_high"))
        wrong = both["value_low"] > both["value_high"]
        if not order.equal:
            wrong |= both["value_low"] == both["value_high"]
        for one in records(both[wrong]):
            expected = (
                f"{order.lower} {'at most' if order.equal else 'below'} {order.upper}; {order.lower} is "
                f"{_say(one['value_low'])} and {order.upper} {_say(one['value_high'])}: swapped? ({order.basis})"
            )
            rows = np.array(sorted((one["row_low"], one["row_high"])), dtype=np.int64)
            if order.grade == "ask":
                reader.found.at(draft, rows[:1], "response", "ask", "order", expected)
            else:
                reject(draft, reader, "response", rows, "order", expected)
