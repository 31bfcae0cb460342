"""Answers that fit another scale, or contradict what stands about the person: each is asked about, none changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from outcomes.errors import DataError
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

CLASSIFIED = {"ais_grade": "ais", "neurological_level": "nli"}
"""Column of participants to the scale of the examination that says the same."""


def check_scales(drafts: Mapping[str, Draft], reader: Reader, catalogue: Catalogue) -> None:
    """Ask about shares typed for percentages, and about participants whom their first examination classifies otherwise.

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
            if definition.key == "isncsci" and "participants" in drafts:
                _classified(draft, drafts["participants"], reader, definition, catalogue)


def _percentages(definition: Definition) -> list[str]:
    """Return the items, and the totals that may be typed, that go from 0 to 100 without a unit of their own."""
    items = [item.key for item in definition.items if item.range == HUNDRED and item.unit in PERCENT_UNITS]
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
