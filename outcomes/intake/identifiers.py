"""Identifiers: characters that cannot be seen, ids that look like another, rows whose participant does not exist."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from outcomes.intake.drafts import Draft
from outcomes.intake.raw import unique
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Integers, Sheet
    from outcomes.intake.settling import Reader

TWINS = str.maketrans(
    "АВЕКМНОРСТУХІЈЅаеорсухіјѕѵԁԛԝΑΒΕΖΗΙΚΜΝΟΡΤΥΧοναρυ",
    "ABEKMHOPCTYXIJSaeopcyxijsvdqwABEZHIKMNOPTYXovapu",
)
"""Cyrillic and Greek letters that look like Latin ones (Unicode Technical Standard 39, a small part, from memory)."""

TOTALS = frozenset(
    [
        "mean",
        "median",
        "sd",
        "sum",
        "total",
        "totals",
        "average",
        "avg",
        "count",
        "n",
        "min",
        "max",
        "minimum",
        "maximum",
        "mittelwert",
        "summe",
        "gesamt",
        "moyenne",
        "somme",
        "media",
        "suma",
        "promedio",
    ]
)
"""Ids that are the label of a row of totals (common practice, no source)."""

COUNTED = re.compile(r"n *= *[0-9]+")
"""A label of a row of totals that holds the count itself."""

TELLING = re.compile(r"[0-9]{6,}|[A-Za-z]{2,3}[ _-]?(?:[0-9]{6}|[0-9]{8}|[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2,4})")
"""Ids of six digits and more, and two or three letters before a day (common practice, no source)."""

WITHIN_PARTICIPANT = ("session_id", "event_id")
"""Ids that need only be unlike within one participant."""


def skeleton(text: str) -> str:
    """Return what an id looks like: without case, blanks, invisible characters, in one script.

    Examples
    --------
    >>> skeleton("P01") == skeleton("p 01"), skeleton("Р01") == skeleton("P01"), skeleton("P01") == skeleton("P02")
    (True, True, False)
    """
    if not text.isascii():
        text = "".join(c for c in unicodedata.normalize("NFKC", text) if not _unseen(c)).translate(TWINS)
    return "".join(text.casefold().split())


def _unseen(character: str) -> bool:
    return unicodedata.category(character) in ("Cf", "Cc", "Cn", "Co", "Zl", "Zp") or character in "\u115f\u1160\u3164"


def check_identifiers(drafts: Mapping[str, Draft], reader: Reader) -> None:
    """Check the ids of all tables; call before duplicates are sought."""
    found = reader.found
    if "participants" in drafts:
        _totals(drafts["participants"], found)
        _telling_ids(drafts["participants"], found)
    for draft in drafts.values():
        for name in draft.text:
            if draft.table.by_name[name].kind == "id":
                _unseen_characters(draft, name, found)
    for name in ("participant_id", "centre_id", "rater"):
        _look_alikes({t: d for t, d in drafts.items() if name in d.text}, name, found)
    for name in WITHIN_PARTICIPANT:
        for draft in drafts.values():
            if name in draft.text:
                _look_alikes_within(draft, name, found)
    _orphans(drafts, found)


def point_out_identifying(sheets: Sequence[Sheet], drafts: Mapping[str, Draft], found: Collector) -> None:
    """Ask about headings behind which stands who somebody is; their cells are never shown."""
    from outcomes.intake.collector import identifying

    read = {id(draft.sheets[feed.sheet]) for draft in drafts.values() for feed in draft.feeds}
    known = {heading for table in TABLES.values() for heading in table.by_heading}
    for sheet in (sheet for sheet in sheets if id(sheet) in read):
        for heading in sheet.headings:
            if heading not in known and identifying(heading):
                found.add(
                    "ask",
                    "identifying_heading",
                    "codes only; the heading looks as if it told who somebody is. Nothing here needs it",
                    file=sheet.file,
                    sheet=sheet.name,
                    row=sheet.header_row,
                    column=heading,
                    remedy="Keep names, birthdays and hospital numbers in a file apart, and delete the column.",
                )


def _telling_ids(draft: Draft, found: Collector) -> None:
    """Ask once about ids that look like a number of the hospital, or like initials with a day of birth."""
    import numpy as np

    rows = np.flatnonzero(draft.used)
    telling = [row for row in rows.tolist() if TELLING.fullmatch(_own(draft.text["participant_id"][row]))]
    if telling and len(telling) * 2 > len(rows):
        expected = (
            f"codes that tell nothing; {len(telling)} look like numbers of a hospital, or initials with a day of birth"
        )
        place = draft.place(telling[0], "participant_id")
        found.add(
            "ask",
            "telling_id",
            expected,
            file=place.file,
            sheet=place.sheet,
            table=draft.name,
            row=place.row,
            column=place.heading,
            remedy="Give new codes at random and keep the key in a file apart.",
        )


def _own(participant: str) -> str:
    """Return the id without the centre that it was joined with."""
    return participant.rpartition("/")[2]


def _totals(draft: Draft, found: Collector) -> None:
    import numpy as np

    codes, different = unique(draft.text["participant_id"])
    words = [_own(text).casefold().strip(" :.") for text in different]
    is_total = np.array([word in TOTALS or bool(COUNTED.fullmatch(word)) for word in words], dtype=bool)
    if is_total.any():
        rows = np.flatnonzero(is_total[codes] & draft.used)
        found.at(draft, rows, "participant_id", "block", "totals_row", "a participant; it looks like a row of totals")
        draft.set_aside(rows, "totals_row")


def _unseen_characters(draft: Draft, name: str, found: Collector) -> None:
    import numpy as np

    codes, different = unique(draft.text[name])
    for code, text in enumerate(different):
        if text.isascii() and text.isprintable():
            continue
        hidden = dict.fromkeys(f"U+{ord(c):04X}" for c in text if _unseen(c) or (c.isspace() and c != " "))
        if hidden:
            rows = np.flatnonzero((codes == code) & draft.used)
            expected = f"an id without invisible characters; it holds {', '.join(hidden)}{_count(rows)}"
            found.over(draft, rows, name, "block", "invisible_character", expected)


def _count(rows: Integers) -> str:
    return f" ({len(rows)} rows)" if len(rows) > 1 else ""


def _look_alikes(drafts: Mapping[str, Draft], name: str, found: Collector) -> None:
    """Refuse ids that look like another one, wherever the two stand."""
    import numpy as np

    first: dict[str, tuple[Draft, Integers]] = {}
    for draft in drafts.values():
        codes, different = unique(draft.text[name])
        for code, text in enumerate(different):
            if text and text not in first and not any(map(_unseen, text)):
                rows = np.flatnonzero((codes == code) & draft.used)
                if len(rows):
                    first[text] = (draft, rows)
    by_look: dict[str, list[str]] = {}
    for text in first:
        by_look.setdefault(skeleton(text), []).append(text)
    for twins in by_look.values():
        for text in twins[1:]:
            _name_twin(name, text, first[text], twins[0], first[twins[0]], found)


def _name_twin(
    name: str, text: str, here: tuple[Draft, Integers], other: str, there: tuple[Draft, Integers], found: Collector
) -> None:
    from outcomes.intake.collector import identifying

    draft, rows = here
    place = there[0].place(int(there[1][0]), name)
    shown = "another id" if identifying(place.heading) else f"'{other}'"
    where = ", ".join(part for part in (place.file, place.sheet, f"row {place.row}") if part)
    how = "case differs" if text.casefold() == other.casefold() else "blanks, invisible characters or script differ"
    expected = f"one spelling of an id; {shown} in {where} looks the same, {how}{_count(rows)}"
    found.over(draft, rows, name, "block", "look_alike", expected, found=text)


def _look_alikes_within(draft: Draft, name: str, found: Collector) -> None:
    """Refuse ids that look like another one of the same participant."""
    import numpy as np

    codes, different = unique(draft.text[name])
    looks: dict[str, int] = {}
    look = np.array([looks.setdefault(skeleton(text), len(looks)) for text in different], dtype=np.int64)
    if len(looks) == len(different):
        return
    person, _ = unique(draft.text["participant_id"])
    pairs = person * len(looks) + look[codes]
    rows = np.flatnonzero(draft.used & (draft.text[name] != ""))
    seen: dict[int, int] = {}
    for row in rows.tolist():
        earlier = seen.setdefault(int(pairs[row]), row)
        if draft.text[name][earlier] != draft.text[name][row]:
            one = np.array([row], dtype=np.int64)
            _name_twin(
                name,
                str(draft.text[name][row]),
                (draft, one),
                str(draft.text[name][earlier]),
                (draft, np.array([earlier], dtype=np.int64)),
                found,
            )


def _orphans(drafts: Mapping[str, Draft], found: Collector) -> None:
    """Refuse ids that are not in participants; name centres and sessions that do not exist."""
    import numpy as np

    if "participants" not in drafts:
        return
    people = drafts["participants"]
    known = set(people.text["participant_id"][people.used].tolist())
    if not known:
        return
    looks = {skeleton(text) for text in known}
    for name, draft in drafts.items():
        if name == "participants" or "participant_id" not in draft.text:
            continue
        codes, different = unique(draft.text["participant_id"])
        for code, text in enumerate(different):
            if text and text not in known and skeleton(text) not in looks:
                rows = np.flatnonzero((codes == code) & draft.used)
                expected = f"an id of the table participants{_count(rows)}"
                found.over(draft, rows, "participant_id", "block", "unknown_participant", expected, found=text)
    _unknown(drafts, "participants", "centres", ("centre_id",), found)
    _unknown(drafts, "stimulation", "sessions", ("participant_id", "session_id"), found)


def _unknown(drafts: Mapping[str, Draft], child: str, parent: str, key: tuple[str, ...], found: Collector) -> None:
    """Ask about rows that point to a row of another table that does not exist."""
    import numpy as np

    if child not in drafts or parent not in drafts or any(name not in drafts[child].text for name in key):
        return
    above = drafts[parent]
    known = set(zip(*(above.text[name][above.used].tolist() for name in key), strict=True))
    below = drafts[child]
    missing: dict[tuple[str, ...], list[int]] = {}
    for row in np.flatnonzero(below.used).tolist():
        own = tuple(str(below.text[name][row]) for name in key)
        if own not in known and own[-1]:
            missing.setdefault(own, []).append(row)
    for rows in missing.values():
        chosen = np.array(rows, dtype=np.int64)
        expected = f"a {key[-1]} of the table {parent}{_count(chosen)}"
        found.over(below, chosen, key[-1], "ask", f"unknown_{key[-1].removesuffix('_id')}", expected)
