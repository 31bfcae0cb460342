"""Totals that a clinic typed: compared with what the items give; used alone only where the measure allows it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from outcomes.intake.drafts import Draft
from outcomes.intake.numerals import NUMBER_PATTERN
from outcomes.intake.raw import number_text
from outcomes.intake.settling import Reader

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.intake.raw import Flags
    from outcomes.measures import Catalogue, Definition

RULE = "typed_total"
Key = tuple[str, str, str, str, str]


def typed_totals(draft: Draft, definition: Definition, rows: Flags) -> Flags:
    """Return the rows whose item is no item of the measure but one of its scales."""
    import numpy as np

    items = {item.key for item in definition.items}
    scales = [scale.key for scale in definition.scales if scale.key not in items]
    totals: Flags = rows & np.isin(draft.text["item"], scales)
    return totals


def set_totals_aside(draft: Draft, reader: Reader, definition: Definition, rows: Flags, catalogue: Catalogue) -> None:
    """Set typed totals aside: in silence where the items give the same, else with both numbers shown.

    Parameters
    ----------
    draft : Draft
        Responses of the measure read.
    reader : Reader
        Takes the findings.
    definition : Definition
    rows : array of bool
        Rows of typed totals.
    catalogue : Catalogue
    """
    import numpy as np

    if not rows.any():
        return
    people = np.isin(draft.text["participant_id"], draft.text["participant_id"][rows])
    own = draft.used & people & (draft.text["measure"] == definition.key) & ~rows
    rows = rows & ~_alone(draft, reader, definition, rows, own)
    formed = _formed(draft, definition, own, catalogue)
    wrong, expected = [], []
    for row in np.flatnonzero(rows).tolist():
        text = str(draft.text["response"][row])
        total = formed.get((*_where(draft, row), str(draft.text["item"][row])))
        scale = definition.scale(str(draft.text["item"][row]))
        named = scale.name_of(total) if total is not None and scale.codes else ""
        if total is not None and NUMBER_PATTERN.fullmatch(text) and abs(float(text) - total) < 1e-9:
            continue
        if named and text == named:
            continue
        wrong.append(row)
        said = "the items do not give one" if total is None else f"the items give {named or number_text(total)}"
        expected.append(f"the items; a total is formed from them, and {said}")
    reader.found.at(draft, np.array(wrong, dtype=np.int64), "response", "set_aside", RULE, expected)
    draft.set_aside(rows, RULE)


def _alone(draft: Draft, reader: Reader, definition: Definition, rows: Flags, own: Flags) -> Flags:
    """Return the typed totals that stand without any item, are possible, and that the measure allows: they are used."""
    import numpy as np

    from outcomes.measures.typed import total_problem, total_scales

    allowed, visits = total_scales(definition), [visit.key for visit in reader.protocol.visits]
    with_items = {_where(draft, row) for row in np.flatnonzero(own).tolist()}
    alone = np.zeros(len(rows), dtype=bool)
    for row in np.flatnonzero(rows).tolist():
        key, where = str(draft.text["item"][row]), _where(draft, row)
        good = key in allowed and where not in with_items and where[2:] == ("", "")
        good = good and (draft.name != "assessments" or where[1] in visits)
        alone[row] = good and not total_problem(definition, definition.scale(key), str(draft.text["response"][row]))
    return alone


def _where(draft: Draft, row: int) -> tuple[str, str, str, str]:
    time = "visit" if draft.name == "assessments" else "occasion"
    return (
        str(draft.text["participant_id"][row]),
        str(draft.text[time][row]),
        str(draft.text["place"][row]),
        str(draft.text["side"][row]),
    )


def _formed(draft: Draft, definition: Definition, rows: Flags, catalogue: Catalogue) -> Mapping[Key, float]:
    """Return the scores that the items give, by participant, time, place, side and scale."""
    from outcomes.measures import score_table

    frame = answers_frame(draft, rows)
    if frame.empty:
        return {}
    scores = score_table(definition.key, frame, version=definition.version, catalogue=catalogue)
    time = "visit" if draft.name == "assessments" else "occasion"
    scores = scores.fillna({"place": "", "side": ""})
    keys = zip(*(scores[name].astype(str) for name in ("participant_id", time, "place", "side", "scale")), strict=True)
    pairs = zip(keys, scores["value"].tolist(), strict=True)
    return {key: value for key, value in pairs if value == value}


def answers_frame(draft: Draft, rows: Flags) -> pd.DataFrame:
    """Return rows of answers as the frame that is scored."""
    import pandas as pd

    from outcomes.intake.frames import strings
    from outcomes.intake.ledger import row_ids

    time = "visit" if draft.name == "assessments" else "occasion"
    names = ("participant_id", time, "measure", "version", "place", "side", "item", "response", "absent_because")
    frame = pd.DataFrame({name: strings(draft.text[name][rows]) for name in names})
    frame["trial"] = draft.number["trial"][rows]
    ids = pd.Series(row_ids(draft.name, len(draft)), dtype="str")
    return frame.assign(row_id=ids[rows].to_numpy())
