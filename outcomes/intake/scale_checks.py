"""Answers that fit another scale, or contradict what stands about the person: each is asked about, none changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from outcomes.errors import DataError, UsageError
from outcomes.intake.answers import planned_definitions
from outcomes.intake.drafts import Draft
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import number_text, unique
from outcomes.intake.settling import Reader

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags
    from outcomes.measures import Catalogue, Definition

HUNDRED = (0.0, 100.0)
PERCENT_UNITS = ("", "%", "{score}", "1")
"""Units of a scale from 0 to 100 that may be a percentage; a length is none."""

DEATH = {"mrs": "6"}
"""Grade of a measure that stands for death."""

PREDICTED = {"hrr": ("peak_from", "predicted", "hr_peak")}
"""Measure to the context item, its word and the item that was then predicted from age."""

CLASSIFIED = {"ais_grade": "ais", "neurological_level": "nli"}
"""Column of participants to the scale of the examination that says the same."""


def check_scales(drafts: Mapping[str, Draft], reader: Reader, catalogue: Catalogue) -> None:
    """Ask about shares typed for percentages, pairs the wrong way round and persons classified otherwise at first.

    Parameters
    ----------
    drafts : mapping of str to Draft
        Answers read.
    reader : Reader
        Takes the findings.
    catalogue : Catalogue
    """
    draft = drafts.get("assessments")
    if draft is None or not draft.used.any():
        return
    for definitions in planned_definitions(reader.protocol, catalogue).values():
        for definition in definitions:
            _shares(draft, reader, definition)
            _death(draft, reader, definition)
            _reversed_pairs(draft, reader, definition)
            if definition.key in PREDICTED and "participants" in drafts:
                _predicted(draft, drafts["participants"], reader, definition)
            if definition.key == "isncsci" and "participants" in drafts:
                _classified(draft, drafts["participants"], reader, definition, catalogue)


def _percentages(definition: Definition) -> list[str]:
    """Return the items, and the totals that may be typed, that go from 0 to 100 without a unit of their own."""
    items = [
        item.key for item in definition.items if HUNDRED in (item.range, item.usual) and item.unit in PERCENT_UNITS
    ]
    scales = [one.key for one in definition.scales if one.total_only and one.range == HUNDRED]
    return [*items, *(key for key in scales if key not in items)]


def _shares(draft: Draft, reader: Reader, definition: Definition) -> None:
    """Ask about a value between 0 and 1 on a scale from 0 to 100: 0.45 may stand for 45."""
    import numpy as np

    mine = draft.used & (draft.text["measure"] == definition.key) & (draft.text["version"] == definition.version)
    mine &= np.isin(draft.text["item"], _percentages(definition))
    if not mine.any():
        return
    codes, different = unique(draft.text["response"])
    numbers = np.array([float(text) if NUMBER_PATTERN.fullmatch(text) else np.nan for text in different])[codes]
    rows = np.flatnonzero(mine & (numbers > 0) & (numbers < 1))
    expected = [
        f"a number on the scale from 0 to 100; a share typed for a percentage would be {number_text(100 * value)}"
        for value in numbers[rows].tolist()
    ]
    reader.found.at(draft, rows, "response", "ask", "unit_slip", expected)


def _death(draft: Draft, reader: Reader, definition: Definition) -> None:
    """Ask about a death given as the reason for no grade where the measure has a grade for it."""
    import numpy as np

    if definition.key in DEATH:
        mine = draft.used & (draft.text["measure"] == definition.key) & (draft.text["absent_because"] == "death")
        expected = f"the grade {DEATH[definition.key]}, which stands for death on this scale, or another reason"
        reader.found.at(draft, np.flatnonzero(mine), "absent_because", "ask", "death_has_a_grade", expected)


def _pairs(definition: Definition) -> Iterator[tuple[str, str]]:
    """Yield two items of which the first is never below the second: their difference has a range from 0."""
    plain = {scale.key: scale.items[0] for scale in definition.scales if len(scale.items) == 1}
    for scale in definition.scales:
        if scale.weights == (1.0, -1.0) and scale.range is not None and scale.range[0] >= 0:
            first, second = scale.items or tuple(plain.get(part, "") for part in scale.scales)
            if first and second:
                yield first, second


def _reversed_pairs(draft: Draft, reader: Reader, definition: Definition) -> None:
    """Ask about two answers of one sitting of which the one that cannot be smaller is: R1 above R2."""
    import numpy as np

    mine = draft.used & (draft.text["measure"] == definition.key) & (draft.text["version"] == definition.version)
    for first, second in _pairs(definition):
        values = {item: _by_sitting(draft, mine & (draft.text["item"] == item)) for item in (first, second)}
        rows, expected = [], []
        for sitting, (row, value) in values[first].items():
            _, other = values[second].get(sitting, (0, value))
            if value < other:
                rows.append(row)
                expected.append(
                    f"{first} at least as large as {second}, which is {number_text(other)}; the two may be swapped"
                )
        reader.found.at(draft, np.array(rows, dtype=np.int64), "response", "ask", "pair_reversed", expected)


def _by_sitting(draft: Draft, rows: Flags) -> dict[tuple[object, ...], tuple[int, float]]:
    """Return row and number of each answer by participant, visit, place, side and trial."""
    names = ("participant_id", "visit", "place", "side")
    found = {}
    for row in rows.nonzero()[0].tolist():
        text = str(draft.text["response"][row])
        if NUMBER_PATTERN.fullmatch(text):
            trial = float(draft.number["trial"][row])
            key = (*(draft.text[name][row] for name in names), trial if trial == trial else None)
            found[key] = (row, float(text))
    return found


def _predicted(draft: Draft, people: Draft, reader: Reader, definition: Definition) -> None:
    """Set aside a peak heart rate that was predicted from age for a person with a lesion at or above T6."""
    import numpy as np

    from outcomes.measures import at_or_above

    item, word, predicted = PREDICTED[definition.key]
    high = set()
    for row in np.flatnonzero(people.used).tolist() if "neurological_level" in people.text else ():
        try:
            if at_or_above(str(people.text["neurological_level"][row])):
                high.add(str(people.text["participant_id"][row]))
        except UsageError:  # a level that cannot be read has its own finding
            continue
    mine = draft.used & (draft.text["measure"] == definition.key)
    said = np.flatnonzero(mine & (draft.text["item"] == item) & (draft.text["response"] == word)).tolist()
    sittings = {(str(draft.text["participant_id"][row]), str(draft.text["visit"][row])) for row in said}
    there = np.flatnonzero(mine & (draft.text["item"] == predicted) & (draft.text["response"] != "")).tolist()
    rows = [
        row
        for row in there
        if str(draft.text["participant_id"][row]) in high
        and (str(draft.text["participant_id"][row]), str(draft.text["visit"][row])) in sittings
    ]
    chosen = np.array(rows, dtype=np.int64)
    expected = "a measured peak: none is predicted from age with a lesion at or above T6"
    reader.found.at(draft, chosen, "response", "set_aside", "predicted_peak", expected)
    draft.empty("response", chosen, "predicted_peak")


def _classified(draft: Draft, people: Draft, reader: Reader, definition: Definition, catalogue: Catalogue) -> None:
    """Ask where the grade or level of a participant is not what the examination at baseline gives."""
    import numpy as np

    baseline = next((visit.key for visit in reader.protocol.visits if visit.when == "baseline"), None)
    mine = draft.used & (draft.text["measure"] == definition.key) & (draft.text["visit"] == (baseline or ""))
    formed = _names(draft, mine, definition, catalogue) if baseline and mine.any() else {}
    for column, scale in CLASSIFIED.items():
        if column not in people.typed:
            continue
        rows, expected = [], []
        for row in np.flatnonzero(people.used & (people.text[column] != "")).tolist():
            person, typed = str(people.text["participant_id"][row]), str(people.text[column][row])
            name = formed.get((person, scale), "")
            if name and name != typed:
                rows.append(row)
                expected.append(f"what the examination at {baseline} gives: {scale.upper()} {name}; here {typed}")
        reader.found.at(people, np.array(rows, dtype=np.int64), column, "ask", "classification", expected)


def _names(draft: Draft, rows: Flags, definition: Definition, catalogue: Catalogue) -> Mapping[tuple[str, str], str]:
    """Return the name of the grade and level that the examination of each person gives."""
    from outcomes.intake.totals import answers_frame
    from outcomes.measures import score_table

    try:
        scores = score_table(
            definition.key, answers_frame(draft, rows), version=definition.version, catalogue=catalogue
        )
    except DataError:  # two values for one answer; a finding says so already
        return {}
    scores = scores[scores["scale"].isin(list(CLASSIFIED.values())) & scores["value"].notna()]
    whole = zip(scores["participant_id"], scores["scale"], scores["value"].tolist(), strict=True)
    return {(str(person), key): definition.scale(key).name_of(value) for person, key, value in whole}
