"""What answers say about each other: between the two sides, from visit to visit, from rater to rater, and within a
column. Each is asked about, none is changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from outcomes.errors import DataError
from outcomes.intake.answers import planned_definitions
from outcomes.intake.drafts import Draft
from outcomes.intake.limits import Between, limits
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import number_text, unique
from outcomes.intake.settling import Reader
from outcomes.intake.slips import fitting_unit, spelled_unit

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags
    from outcomes.measures import Catalogue, Definition, Item

Frame = Any
"""A pandas frame: readings by who, when and where, with the row of the draft that each comes from."""

MONTH = 28
"""Days for which the usual change of a reading is given."""

SAME = ["participant", "measure", "item", "place", "side"]
"""What readings of one series have in common."""

ENDING_ENOUGH, ENDING_SHARE = 40, 0.6
"""Readings with a decimal from which last digits are looked at, and the share of 0 and 5 that is asked about: a fifth
is expected (common practice, no source)."""

MIXTURE = (3, 0.1)
"""Least number and share of the values of a column that fit another unit together (common practice, no source)."""

BEST_ENOUGH, BEST_SHARE, BEST_FIFTH = 8, 0.8, 0.2
"""People at baseline, and the share of them within the best fifth of a scale, from which its direction is asked about
(common practice, no source)."""


def check_answers(drafts: Mapping[str, Draft], reader: Reader, catalogue: Catalogue) -> None:
    """Ask about answers that contradict each other.

    Parameters
    ----------
    drafts : mapping of str to Draft
        With days counted.
    reader : Reader
        Takes the findings.
    catalogue : Catalogue
    """
    draft = drafts.get("assessments")
    if draft is None or not draft.used.any():
        return
    planned = planned_definitions(reader.protocol, catalogue)
    readings = _readings(draft, reader, planned)
    if len(readings):
        usual = _usual(readings, planned)
        _unit_mixtures(draft, reader, readings, usual, planned)
        _last_digits(draft, reader, readings)
        means = _means(readings[usual])  # what is unusual by itself is asked about already
        for between in limits().between:
            mine = means[(means["measure"] == between.measure) & (means["item"] == between.item)]
            _sides(draft, reader, mine, between)
            _jumps(draft, reader, mine, between)
        _swapped(draft, reader, means, planned)
    _raters(draft, reader)
    _directions(draft, reader, planned, catalogue)


def _items(planned: Mapping[str, list[Definition]]) -> Iterator[tuple[Definition, Item]]:
    """Yield the items of planned measures that are numbers with a range."""
    for definitions in planned.values():
        for item in definitions[0].items:
            if item.range is not None:
                yield definitions[0], item


def _readings(draft: Draft, reader: Reader, planned: Mapping[str, list[Definition]]) -> Frame:
    """Return every number that is used, with what it belongs to; `row` is the row of the draft."""
    import numpy as np
    import pandas as pd

    wanted = {(definition.key, item.key) for definition, item in _items(planned)}
    codes, different = unique(draft.text["response"])
    values = np.array([float(t) if NUMBER_PATTERN.fullmatch(t) else np.nan for t in different], dtype=np.float64)[codes]
    rows = np.flatnonzero(draft.used & ~np.isnan(values))
    week = {visit.key: (i, visit.week) for i, visit in enumerate(reader.protocol.visits)}
    names = {"participant": "participant_id"} | {n: n for n in ("measure", "item", "place", "side", "visit")}
    frame: Frame = pd.DataFrame({name: draft.text[column][rows] for name, column in names.items()}, dtype=object)
    frame = frame.assign(row=rows, value=values[rows])
    keep = (
        pd.MultiIndex.from_frame(frame[["measure", "item"]]).isin(list(wanted))
        if wanted
        else np.zeros(len(frame), bool)
    )
    frame = frame[keep & frame["visit"].isin(list(week))]
    day = draft.number.get("assessed_day", np.full(len(draft), np.nan))[frame["row"].to_numpy()]
    planned_day = frame["visit"].map({key: 7.0 * float(at or 0) for key, (_, at) in week.items()}).to_numpy(dtype=float)
    order = frame["visit"].map({key: i for key, (i, _) in week.items()})
    return frame.assign(day=np.where(np.isnan(day), planned_day, day), order=order.to_numpy(dtype=np.int64))


def _usual(readings: Frame, planned: Mapping[str, list[Definition]]) -> Flags:
    """Return whether each reading lies within its usual range, where it has one."""
    import numpy as np

    items = {(definition.key, item.key): item for definition, item in _items(planned)}
    usual = np.ones(len(readings), dtype=bool)
    for (measure, name, place), rows in readings.groupby(["measure", "item", "place"], sort=False).indices.items():
        item = items[measure, name]
        limit = item.usual_at.get(place, item.usual)
        if limit is not None:
            values = readings["value"].to_numpy()[rows]
            usual[rows] = (limit[0] <= values) & (values <= limit[1])
    return usual


def _means(readings: Frame) -> Frame:
    """Return the mean of the trials of each reading, with its day and first row."""
    grouped = readings.groupby([*SAME, "visit", "order"], sort=True, as_index=False)
    means: Frame = grouped.agg(value=("value", "mean"), day=("day", "min"), row=("row", "min"))
    return means


def _records(frame: Frame) -> list[dict[str, Any]]:
    """Return the rows of a frame by column."""
    names = list(frame.columns)
    columns = [frame[name].to_numpy(dtype=object).tolist() for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _ask(draft: Draft, reader: Reader, row: int, rule: str, expected: str, *, aside: str | None = None) -> None:
    import numpy as np

    reader.found.at(draft, np.array([row], dtype=np.int64), "response", "ask", rule, expected, aside=aside)


def _say(value: float) -> str:
    return number_text(float(f"{value:.4g}"))


def _sides(draft: Draft, reader: Reader, means: Frame, between: Between) -> None:
    """Ask about a left and a right that differ more than the two sides of a person usually do."""
    limit = between.side_difference
    if limit.soft is None:
        return
    keys = ["participant", "place", "visit"]
    both = means[means["side"] == "left"].merge(means[means["side"] == "right"], on=keys, suffixes=("", "_right"))
    both = both.assign(difference=(both["value"] - both["value_right"]).abs())
    for one in _records(both[both["difference"] > limit.soft[1]]):
        expected = (
            f"sides that usually differ by at most {limit.soft[1]:g} {between.unit}; left {_say(one['value'])} and "
            f"right {_say(one['value_right'])} at {one['visit']} ({limit.basis})"
        )
        _ask(draft, reader, one["row"], "side_difference", expected)


def _jumps(draft: Draft, reader: Reader, means: Frame, between: Between) -> None:
    """Ask about a change from one visit to the next that is more than four weeks usually bring."""
    soft = between.change_28_days.soft
    if soft is None:
        return
    for before, after in pairwise(_records(means.sort_values([*SAME, "order"]))):
        if any(before[name] != after[name] for name in SAME):
            continue
        spans = max((after["day"] - before["day"]) / MONTH, 1.0)
        change = after["value"] - before["value"]
        if not soft[0] * spans <= change <= soft[1] * spans:
            expected = (
                f"a change of usually {_say(soft[0] * spans)} to {_say(soft[1] * spans)} {between.unit} since "
                f"{before['visit']} ({between.change_28_days.basis}, by four weeks); it was {_say(before['value'])} "
                f"and is {_say(after['value'])}"
            )
            _ask(draft, reader, after["row"], "jump", expected)


def _swapped(draft: Draft, reader: Reader, means: Frame, planned: Mapping[str, list[Definition]]) -> None:
    """Ask where left and right of one visit fit right and left of the visit before far better than themselves."""
    margins = {(d.key, i.key): 0.05 * (i.usual[1] - i.usual[0]) for d, i in _items(planned) if i.usual}
    series: dict[tuple[str, ...], dict[int, dict[str, Any]]] = {}
    for one in _records(means[means["side"].isin(["left", "right"])]):
        whose = (one["participant"], one["measure"], one["item"], one["place"])
        series.setdefault(whose, {}).setdefault(one["order"], {})[one["side"]] = one
    for key, by_order in series.items():
        margin = margins.get((key[1], key[2]))
        held = [by_order[order] for order in sorted(by_order) if len(by_order[order]) == 2]
        for before, after in pairwise(held) if margin else ():
            if _fits_turned(before, after, margin or 0.0):
                expected = (
                    f"the sides as at {before['left']['visit']}: left {_say(before['left']['value'])}, right "
                    f"{_say(before['right']['value'])}; now left {_say(after['left']['value'])}, right "
                    f"{_say(after['right']['value'])}, which would fit the other way round"
                )
                _ask(draft, reader, after["left"]["row"], "sides_swapped", expected)


def _fits_turned(before: dict[str, Any], after: dict[str, Any], margin: float) -> bool:
    """Whether two sides that lie apart are far nearer to the other side of the visit before than to their own."""
    (left, right), (new_left, new_right) = ((v["left"]["value"], v["right"]["value"]) for v in (before, after))
    kept = abs(new_left - left) + abs(new_right - right)
    turned = abs(new_left - right) + abs(new_right - left)
    apart = min(abs(left - right), abs(new_left - new_right))
    return bool(apart > margin and kept > 4 * turned + margin)


def _unit_mixtures(
    draft: Draft, reader: Reader, readings: Frame, usual: Flags, planned: Mapping[str, list[Definition]]
) -> None:
    """Ask once about a measure of which several values, but not all, fit one other unit."""
    for definition, item in _items(planned):
        mine = (readings["measure"] == definition.key) & (readings["item"] == item.key)
        fits: dict[str, list[int]] = {}
        for one in _records(readings.loc[mine & ~usual, ["place", "value", "row"]]):
            limit = item.usual_at.get(one["place"], item.usual)
            unit = fitting_unit(one["value"], item.unit, limit) if limit else ""
            fits.setdefault(unit, []).append(one["row"])
        for unit, rows in fits.items():
            if unit and len(rows) >= MIXTURE[0] and MIXTURE[1] * mine.sum() <= len(rows) < mine.sum():
                expected = f"one unit in a column; {len(rows)} of {mine.sum()} values would fit {spelled_unit(unit)}"
                _ask(draft, reader, rows[0], "unit_mixture", expected, aside="")


def _last_digits(draft: Draft, reader: Reader, readings: Frame) -> None:
    """Ask once a measure where far more readings end in 0 or 5 than chance gives."""
    for (measure, item), mine in readings.groupby(["measure", "item"], sort=True):
        tenths = (mine["value"] * 10).round(6)
        whole = tenths == tenths.round()
        if len(mine) < ENDING_ENOUGH or not whole.all() or (tenths % 10 == 0).all():
            continue
        share = float((tenths % 5 == 0).mean())
        if share >= ENDING_SHARE:
            expected = (
                f"readings as the tape or clock shows them; of {len(mine)} {measure} {item} readings {share:.0%} end "
                "in 0 or 5, and a fifth would by chance: they may be rounded"
            )
            _ask(draft, reader, int(mine["row"].iloc[0]), "digit_preference", expected, aside="")


def _raters(draft: Draft, reader: Reader) -> None:
    """Ask once where people were measured by different raters at the visits that are compared."""
    import pandas as pd

    compare = reader.protocol.analysis.compare
    if "rater" not in draft.text or not compare:
        return
    rows = draft.used & (draft.text["rater"] != "")
    frame: Frame = pd.DataFrame(
        {
            name: draft.text[column][rows]
            for name, column in (("participant", "participant_id"), ("visit", "visit"), ("measure", "measure"))
        }
    ).assign(rater=draft.text["rater"][rows], row=rows.nonzero()[0])
    first = frame.drop_duplicates(["participant", "visit", "measure"])
    both = first[first["visit"] == compare[0]].merge(
        first[first["visit"] == compare[1]], on=["participant", "measure"], suffixes=("_before", "")
    )
    changed = both[both["rater"] != both["rater_before"]]
    if len(changed):
        people, others = both.groupby("measure").size(), changed.groupby("measure").size()
        listed = ", ".join(f"{measure} {count} of {people[measure]}" for measure, count in others.items())
        expected = (
            f"one rater for a person; people who had another at {compare[1]} than at {compare[0]}, which adds the "
            f"difference between raters to their change: {listed}"
        )
        reader.found.at(draft, changed["row"].to_numpy()[:1], "rater", "ask", "rater_changed", expected, aside="")


def _directions(draft: Draft, reader: Reader, planned: Mapping[str, list[Definition]], catalogue: Catalogue) -> None:
    """Ask where nearly everybody begins at the best end of a scale, which may be one that was turned round."""
    import numpy as np

    from outcomes.intake.totals import answers_frame
    from outcomes.measures import score_table

    baseline = next((v.key for v in reader.protocol.visits if v.when == "baseline"), None)
    for definitions in planned.values():
        scale = definitions[0].main_scale
        if scale.level == "ratio" or scale.range is None or scale.better not in ("higher", "lower") or baseline is None:
            continue
        mine = draft.used & (draft.text["measure"] == definitions[0].key) & (draft.text["visit"] == baseline)
        mine &= draft.text["version"] == definitions[0].version
        if mine.sum() < BEST_ENOUGH or not np.isfinite(scale.range).all():
            continue
        frame = answers_frame(draft, mine)
        try:
            scores = score_table(definitions[0].key, frame, version=definitions[0].version, catalogue=catalogue)
        except DataError:  # two values for one answer; a finding says so already
            continue
        values = scores[scores["scale"] == scale.key].groupby("participant_id")["value"].mean().dropna()
        low, high = scale.range
        distance = (high - values if scale.better == "higher" else values - low) / (high - low)
        share = float((distance <= BEST_FIFTH).mean()) if len(values) else 0.0
        if len(values) >= BEST_ENOUGH and share >= BEST_SHARE:
            expected = (
                f"people who can still gain: for {definitions[0].key} {scale.better} is better, and at {baseline} "
                f"{share:.0%} of {len(values)} people are in the best fifth of {low:g} to {high:g}; was the scale "
                "turned round?"
            )
            _ask(draft, reader, int(np.flatnonzero(mine)[0]), "direction", expected, aside="")
