"""Ids that are unique only within a centre: joined as centre_id/participant_id where a study has several centres."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from outcomes.intake.drafts import NORMALISED, Draft
from outcomes.intake.raw import texts, unique

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Texts

JOINED = "joined_with_centre"

People = dict[str, dict[str, str]]
"""Id as typed to the centres that have it, and the id that each gives."""


def join_centres(drafts: Mapping[str, Draft], found: Collector) -> None:
    """Give every participant of a study of several centres the id centre_id/participant_id, in all tables.

    A row of another table that names its centre is joined with it; one that does not belongs to the centre that has the
    id, and is refused where several have it. Where all participants belong to one centre, ids stay as they are.
    """
    if "participants" not in drafts or "centre_id" not in drafts["participants"].text:
        return
    people = _people(drafts["participants"])
    for draft in drafts.values():
        if "participant_id" in draft.text:
            _join(draft, people, found)


def joined(centre: str, participant: str) -> str:
    """Return the id of a participant of a centre; one that is joined already stays as it is."""
    return participant if participant.startswith(f"{centre}/") or not centre else f"{centre}/{participant}"


def _people(draft: Draft) -> People:
    used = draft.used
    pairs = dict.fromkeys(
        zip(draft.text["participant_id"][used].tolist(), draft.text["centre_id"][used].tolist(), strict=True)
    )
    several = len({centre for _, centre in pairs if centre}) > 1
    people: People = {}
    for participant, centre in pairs:
        name = joined(centre, participant) if several else participant
        people.setdefault(participant, {})[centre] = name
        if name != participant:
            people.setdefault(name, {})[centre] = name
    return people


def _join(draft: Draft, people: People, found: Collector) -> None:
    """Join the ids of one table; every different pair of centre and id once."""
    import numpy as np

    ids, different = unique(draft.text["participant_id"])
    centres, given = unique(draft.text["centre_id"]) if "centre_id" in draft.text else (ids * 0, [""])
    pairs, inverse = np.unique(ids * len(given) + centres, return_inverse=True)
    names, homes = [], []
    for code, pair in enumerate(pairs.tolist()):
        participant, centre = different[pair // len(given)], given[pair % len(given)]
        fitting = people.get(participant, {})
        if not centre and len(fitting) == 1:
            centre = next(iter(fitting))
        names.append(fitting.get(centre, joined(centre, participant) if fitting else participant))
        homes.append(centre)
        if not centre and len(fitting) > 1 and draft.name != "participants":
            rows = np.flatnonzero((inverse == code) & draft.used)
            found.over(draft, rows, "participant_id", "block", "which_centre", _ambiguous(fitting, len(rows)))
            draft.set_aside(rows, "which_centre")
    _take(draft, texts(names)[inverse], texts(homes)[inverse])


def _ambiguous(fitting: Mapping[str, str], count: int) -> str:
    rows = f" ({count} rows)" if count > 1 else ""
    listed = " and ".join(f"'{name}'" for name in fitting.values())
    return f"one participant; there are {listed}: name the centre in a column centre_id{rows}"


def _take(draft: Draft, names: Texts, homes: Texts) -> None:
    import numpy as np

    changed = np.flatnonzero(names != draft.text["participant_id"])
    draft.mark("participant_id", changed, NORMALISED, JOINED)
    draft.text["participant_id"] = names
    if "centre_id" in draft.text and draft.name != "participants":
        draft.text["centre_id"] = homes
