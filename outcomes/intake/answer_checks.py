"""What answers say about each other: between the two sides, from visit to visit, from rater to rater, and within a
column. Each is asked about, none is changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from outcomes.errors import DataError
from outcomes.intake.answers import planned_definitions
from outcomes.intake.drafts import Draft
from outcomes.intake.limits import limits
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import unique
from outcomes.intake.series_checks import SAME, Frame, ask, check_changes, check_order, check_series, means_of, records
from outcomes.intake.settling import Reader
from outcomes.intake.slips import fitting_unit, spelled_unit

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags
    from outcomes.measures import Catalogue, Definition, Item

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
        means = means_of(readings[usual])  # what is unusual by itself is asked about already
        check_series(draft, reader, means, {(d.key, item.key): item for d, item in _items(planned)})
        check_order(draft, reader, readings)
    _raters(draft, reader)
    _directions(draft, reader, planned, catalogue)
    _scale_changes(draft, reader, planned, catalogue)


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
    frame = frame.assign(row=rows, value=values[rows], trial=np.nan_to_num(draft.number["trial"][rows]))
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


def _unit_mixtures(
    draft: Draft, reader: Reader, readings: Frame, usual: Flags, planned: Mapping[str, list[Definition]]
) -> None:
    """Ask once about a measure of which several values, but not all, fit one other unit."""
    odd = readings[~usual]
    if odd.empty:
        return
    for definition, item in _items(planned):
        mine = odd[(odd["measure"] == definition.key) & (odd["item"] == item.key)]
        fits: dict[str, list[int]] = {}
        for one in records(mine[["place", "value", "row"]]):
            limit = item.usual_at.get(one["place"], item.usual)
            unit = fitting_unit(one["value"], item.unit, limit) if limit else ""
            fits.setdefault(unit, []).append(one["row"])
        count = ((readings["measure"] == definition.key) & (readings["item"] == item.key)).sum() if fits else 0
        for unit, rows in fits.items():
            if unit and len(rows) >= MIXTURE[0] and MIXTURE[1] * count <= len(rows) < count:
                expected = f"one unit in a column; {len(rows)} of {count} values would fit {spelled_unit(unit)}"
                ask(draft, reader, rows[0], "unit_mixture", expected, aside="")


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
            ask(draft, reader, int(mine["row"].iloc[0]), "digit_preference", expected, aside="")


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


def _scores(draft: Draft, definition: Definition, rows: Flags, catalogue: Catalogue) -> Frame:
    """Return the scores that answers give, or none where they contradict each other: a finding says so already."""
    from outcomes.intake.totals import answers_frame
    from outcomes.measures import score_table

    frame = answers_frame(draft, rows)
    try:
        return score_table(definition.key, frame, version=definition.version, catalogue=catalogue)
    except DataError:
        return None


def _scale_changes(draft: Draft, reader: Reader, planned: Mapping[str, list[Definition]], catalogue: Catalogue) -> None:
    """Ask about a scale that changed from one visit to the next more than it usually does."""
    import numpy as np

    order = {visit.key: i for i, visit in enumerate(reader.protocol.visits)}
    for between in limits().between:
        if not between.scale or between.measure not in planned:
            continue
        definition = planned[between.measure][0]
        mine = draft.used & (draft.text["measure"] == definition.key) & np.isin(draft.text["visit"], list(order))
        mine &= draft.text["version"] == definition.version
        scores = _scores(draft, definition, mine, catalogue) if mine.any() else None
        if scores is None:
            continue
        scores = scores[(scores["scale"] == between.scale) & scores["value"].notna()]
        rows = np.flatnonzero(mine)
        pairs = zip(draft.text["participant_id"][rows].tolist(), draft.text["visit"][rows].tolist(), strict=True)
        first: dict[tuple[str, str], int] = {}
        for pair, row in zip(pairs, rows.tolist(), strict=True):
            first.setdefault(pair, row)
        means = scores.assign(
            participant=scores["participant_id"],
            item=between.scale,
            place="",
            side="",
            order=scores["visit"].map(order),
            day=0,
            row=[
                first[str(who), str(when)] for who, when in zip(scores["participant_id"], scores["visit"], strict=True)
            ],
        )
        check_changes(draft, reader, means[[*SAME, "visit", "order", "day", "value", "row"]], between)


def _directions(draft: Draft, reader: Reader, planned: Mapping[str, list[Definition]], catalogue: Catalogue) -> None:
    """Ask where nearly everybody begins at the best end of a scale, which may be one that was turned round."""
    import numpy as np

    baseline = next((v.key for v in reader.protocol.visits if v.when == "baseline"), None)
    for definitions in planned.values():
        scale = definitions[0].main_scale
        if scale.level == "ratio" or scale.range is None or scale.better not in ("higher", "lower") or baseline is None:
            continue
        mine = draft.used & (draft.text["measure"] == definitions[0].key) & (draft.text["visit"] == baseline)
        mine &= draft.text["version"] == definitions[0].version
        if mine.sum() < BEST_ENOUGH or not np.isfinite(scale.range).all():
            continue
        scores = _scores(draft, definitions[0], mine, catalogue)
        if scores is None:
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
            ask(draft, reader, int(np.flatnonzero(mine)[0]), "direction", expected, aside="")
