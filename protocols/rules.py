"""What one key of a protocol says about another. Works on the file's data as they are, so that these faults are listed
together with those of the schema; a value of the wrong kind is passed over here, as the schema names it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import Any, TypeGuard

from outcomes.errors import near_word
from outcomes.vocabulary import TABLES

Data = dict[str, Any]
Fault = tuple[tuple[str | int, ...], str]
"""Key path and message."""


def broken_rules(data: Data) -> Iterator[Fault]:
    """Yield key path and message of every rule that the protocol breaks."""
    for rule in RULES:
        yield from rule(data)


def _table(data: Data, *path: str) -> Data:
    """Return the table at a path, empty where there is none."""
    value: Any = data
    for part in path:
        value = value.get(part) if isinstance(value, dict) else None
    return value if isinstance(value, dict) else {}


def _rows(data: Data, name: str) -> list[Data]:
    """Return an array of tables; what is no table in it stands as an empty one."""
    value = data.get(name)
    return [row if isinstance(row, dict) else {} for row in value] if isinstance(value, list) else []


def _texts(row: Data, key: str) -> list[str]:
    value = row.get(key)
    return [one for one in value if isinstance(one, str)] if isinstance(value, list) else []


def _numbers(row: Data, key: str) -> list[float]:
    value = row.get(key)
    return [one for one in value if _is_number(one)] if isinstance(value, list) else []


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _design(data: Data) -> object:
    return _table(data, "study").get("design")


def _visit_keys(data: Data) -> list[str]:
    return [row["key"] for row in _rows(data, "visits") if isinstance(row.get("key"), str)]


def _repeated(values: list[str]) -> list[str]:
    return [value for value, n in Counter(values).items() if n > 1]


def _unique_keys(data: Data) -> Iterator[Fault]:
    for section in ("groups", "visits"):
        seen: set[str] = set()
        for i, row in enumerate(_rows(data, section)):
            key = row.get("key")
            if isinstance(key, str) and key in seen:
                yield (section, i, "key"), f"'{key}' is used twice"
            elif isinstance(key, str):
                seen.add(key)


def _unique_lists(data: Data) -> Iterator[Fault]:
    """No value stands twice in a list of words."""
    lists: list[tuple[tuple[str | int, ...], Data]] = [
        (("measures", i), row) for i, row in enumerate(_rows(data, "measures"))
    ]
    sections = (("dose",), ("analysis",), ("report", "conference"))
    lists += [(path, _table(data, *path)) for path in sections]
    for path, row in lists:
        for key in ("scales", "places", "sides", "visits", "metrics", "which", "headings", "effect_sizes", "agreement"):
            for value in _repeated(_texts(row, key)):
                yield (*path, key), f"'{value}' stands twice"


def _groups(data: Data) -> Iterator[Fault]:
    groups, design = _rows(data, "groups"), _design(data)
    if design != "parallel groups":
        if groups and isinstance(design, str):
            yield ("groups",), f'[[groups]] are for design = "parallel groups", this is "{design}"'
        if "allocation" in _table(data, "study") and isinstance(design, str):
            yield ("study", "allocation"), 'only for design = "parallel groups"'
        if _table(data, "analysis").get("report") in ("each group", "both") and isinstance(design, str):
            yield ("analysis", "report"), "there are no groups; 'all' is the only choice"
        return
    if len(groups) < 2:
        yield ("groups",), f"parallel groups need at least 2 [[groups]], found {len(groups)}"
    references = sum(row.get("reference") is True for row in groups)
    if len(groups) >= 2 and references != 1:
        yield ("groups",), f"exactly one group needs reference = true, found {references}"
    if groups and all(row.get("trained") is False for row in groups):
        yield ("groups",), "at least one group is trained"


def _group_words(data: Data) -> Iterator[Fault]:
    """A word as typed names one group; 'all' is the word for everybody."""
    owner: dict[str, int] = {}
    for i, row in enumerate(_rows(data, "groups")):
        key = row.get("key")
        if key == "all":
            yield ("groups", i, "key"), "'all' stands for everybody and cannot be a group"
        for word in {*_texts(row, "words"), *([key] if isinstance(key, str) else [])}:
            if owner.setdefault(word, i) != i and word != key:
                yield ("groups", i, "words"), f"'{word}' already stands for group {owner[word] + 1}"


def _required_parts(data: Data) -> Iterator[Fault]:
    if not _rows(data, "measures") and isinstance(data.get("measures"), list):
        yield ("measures",), "at least one [[measures]] is required"
    if _design(data) == "test-retest":
        return
    if not data.get("visits"):
        yield (), 'at least two [[visits]] are required, except for design = "test-retest"'
    if "compare" not in _table(data, "analysis"):
        yield ("analysis",), "key 'compare' is required, except for design = \"test-retest\""


def _visits(data: Data) -> Iterator[Fault]:
    rows = _rows(data, "visits")
    if rows and not any(row.get("when") == "baseline" for row in rows) and any("when" in row for row in rows):
        yield ("visits",), 'one visit needs when = "baseline"'
    for i, row in enumerate(rows):
        if "window_days" in row and "week" not in row:
            yield ("visits", i, "window_days"), "a window needs the planned week that it lies around"


def _compare(data: Data) -> Iterator[Fault]:
    compared, path = _texts(_table(data, "analysis"), "compare"), ("analysis", "compare")
    if len(compared) != 2:
        return
    known = _visit_keys(data)
    unknown = [key for key in compared if key not in known]
    for key in unknown:
        yield path, f"no visit '{key}'{near_word(key, known)}"
    if unknown:
        return
    if compared[0] == compared[1]:
        yield path, "two different visits are needed"
        return
    weeks = {str(row.get("key")): row.get("week") for row in _rows(data, "visits")}
    first, second = weeks[compared[0]], weeks[compared[1]]
    if _is_number(first) and _is_number(second):
        if not first < second:
            found = f"{compared[0]} is week {first}, {compared[1]} week {second}"
            yield path, f"the first visit must be the earlier one: {found}"
    elif known.index(compared[0]) > known.index(compared[1]):
        yield path, "the first visit must be the earlier one, in the order of [[visits]] where no week is given"


def _roles(data: Data) -> Iterator[Fault]:
    rows = _rows(data, "measures")
    primary = [i for i, row in enumerate(rows) if row.get("role") == "primary"]
    if rows and not primary:
        yield ("measures",), 'exactly one measure needs role = "primary", found none'
    for i in primary[1:]:
        yield ("measures", i, "role"), f"exactly one measure is primary, and measures[{primary[0]}] already is"


def _measure_entries(data: Data) -> Iterator[Fault]:
    visits = _visit_keys(data)
    for i, row in enumerate(_rows(data, "measures")):
        path = ("measures", i)
        for key in _texts(row, "visits"):
            if key not in visits:
                yield (*path, "visits"), f"no visit '{key}'{near_word(key, visits)}"
        if row.get("role") == "primary" and row.get("visits"):
            for key in _texts(_table(data, "analysis"), "compare"):
                if key not in _texts(row, "visits"):
                    yield (*path, "visits"), f"the primary measure is compared at '{key}', which is not among these"
        if "limbs" in row and len(_texts(row, "sides")) == 1:
            yield (*path, "limbs"), "one side alone needs no rule for two"
        source = row.get("minimal_change", "none")
        if source == "published" and "published" not in row:
            yield path, "minimal_change = \"published\" needs the key 'published'"
        if row.get("reliable_change", "none") in ("classic", "practice adjusted") and source != "own":
            yield (
                (*path, "reliable_change"),
                'only with minimal_change = "own", as it rests on the clinic\'s own repeats',
            )
        if "entry_mean" in row and "entry_cut" not in row:
            yield (*path, "entry_mean"), "a mean without the cut-off needs the key 'entry_cut'"
        if source != "published" and "published" in row:
            yield (*path, "published"), 'only with minimal_change = "published"'


def _asked_of_repeats(data: Data) -> Iterator[Fault]:
    """What only shapes a statistic needs the word that asks for it."""
    analysis = _table(data, "analysis")
    if not isinstance(analysis.get("agreement"), list):
        return
    words = _texts(analysis, "agreement")
    for key in ("mdc_trials", "mdc_people"):
        if key in analysis and "error" not in words:
            yield ("analysis", key), 'only with "error" under agreement'
    for i, row in enumerate(_rows(data, "measures")):
        if "acceptable_difference" in row and "limits" not in words:
            yield ("measures", i, "acceptable_difference"), 'only with "limits" under analysis.agreement'


def _anchors(data: Data) -> Iterator[Fault]:
    """An anchor is another measure of the protocol, and says from which rating a change counts."""
    rows = _rows(data, "measures")
    names = [row["measure"] for row in rows if isinstance(row.get("measure"), str)]
    for i, row in enumerate(rows):
        path, anchor = ("measures", i), row.get("anchor")
        if anchor is None:
            for key in ("anchor_important", "anchor_slight"):
                if key in row:
                    yield (*path, key), "only with the key 'anchor'"
            continue
        if anchor == row.get("measure"):
            yield (*path, "anchor"), "a measure cannot be its own anchor"
        elif isinstance(anchor, str) and anchor not in names:
            yield (*path, "anchor"), f"no [[measures]] entry '{anchor}'{near_word(anchor, names)}"
        if "anchor_important" not in row:
            yield path, "an anchor needs the key 'anchor_important'"
        slight = _numbers(row, "anchor_slight")
        if len(slight) == 2 and slight[0] > slight[1]:
            yield (*path, "anchor_slight"), f"[lowest, highest] is needed, found {slight[0]} before {slight[1]}"


def _same_series(data: Data) -> Iterator[Fault]:
    """Two entries for one measure differ in version, scale, variant, place or side."""
    parts = ("version", "scales", "variant", "places", "sides")
    rows = _rows(data, "measures")
    for (_, a), (j, b) in combinations(enumerate(rows), 2):
        named = isinstance(a.get("measure"), str) and a["measure"] == b.get("measure")
        if named and all(a.get(part) == b.get(part) for part in parts):
            yield ("measures", j, "measure"), f"'{a['measure']}' is listed twice for the same scales and places"


def _training(data: Data) -> Iterator[Fault]:
    training = _table(data, "training")
    weeks, minutes = training.get("weeks"), training.get("active_minutes")
    if isinstance(weeks, int) and isinstance(minutes, list) and len(minutes) > weeks:
        yield ("training", "active_minutes"), f"{len(minutes)} weeks are listed, the programme has {weeks}"
    current = _numbers(training, "current_ma")
    if len(current) == 2 and current[0] > current[1]:
        yield ("training", "current_ma"), f"[lowest, highest] is needed, found {current[0]} before {current[1]}"
    seen: set[object] = set()
    for i, row in enumerate(_rows(training, "channels")):
        number = row.get("channel")
        if isinstance(number, int) and number in seen:
            yield ("training", "channels", i, "channel"), f"channel {number} is used twice"
        elif isinstance(number, int):
            seen.add(number)


def _dose(data: Data) -> Iterator[Fault]:
    dose = _table(data, "dose")
    if dose.get("cumulate") == "recent" and "recent_days" not in dose:
        yield ("dose",), "cumulate = \"recent\" needs the key 'recent_days'"
    if dose.get("cumulate", "to visit") != "recent" and "recent_days" in dose:
        yield ("dose", "recent_days"), 'only with cumulate = "recent"'
    for key in ("metrics", "which"):
        if dose.get(key) == []:
            yield ("dose", key), "at least one dose is needed, or leave [dose] out"
    if "groups" in dose and isinstance(_design(data), str) and _design(data) != "parallel groups":
        yield ("dose", "groups"), 'only for design = "parallel groups"'


def _events(data: Data) -> Iterator[Fault]:
    kinds = TABLES["changes"].by_name["kind"].words
    for i, row in enumerate(_rows(_table(data, "analysis"), "events")):
        kind = row.get("kind")
        if row.get("table") == "changes" and isinstance(kind, str) and kind not in kinds:
            path = ("analysis", "events", i, "kind")
            yield path, f"'{kind}' is not one of {', '.join(kinds)}{near_word(kind, kinds)}"


def _intake(data: Data) -> Iterator[Fault]:
    intake = _table(data, "intake")
    header, units = intake.get("header_row", 1), intake.get("unit_row")
    if isinstance(header, int) and isinstance(units, int) and units <= header:
        yield ("intake", "unit_row"), f"must lie below the headings in row {header}"
    pattern = intake.get("date_format")
    parts = (
        ("%d" in pattern, "%Y" in pattern, any(f"%{c}" in pattern for c in "mbB")) if isinstance(pattern, str) else ()
    )
    if not all(parts):
        yield ("intake", "date_format"), f"'{pattern}' lacks a part; a format looks like %d.%m.%Y"
    if intake.get("decimal") == "," and intake.get("separator") == ",":
        yield ("intake", "separator"), "a comma cannot be both the decimal mark and the separator"


def _conference(data: Data) -> Iterator[Fault]:
    conference = _table(data, "report", "conference")
    if {"words", "characters"} <= set(conference):
        yield ("report", "conference", "characters"), "give words or characters, not both"


def _privacy(data: Data) -> Iterator[Fault]:
    privacy = _table(data, "privacy")
    internal, public = privacy.get("internal_minimum", 5), privacy.get("public_minimum", 11)
    if _is_number(internal) and _is_number(public) and public < internal:
        yield ("privacy", "public_minimum"), f"cannot be smaller than internal_minimum, {internal}"


RULES: tuple[Callable[[Data], Iterator[Fault]], ...] = (
    _unique_keys,
    _unique_lists,
    _groups,
    _group_words,
    _required_parts,
    _visits,
    _compare,
    _roles,
    _measure_entries,
    _asked_of_repeats,
    _anchors,
    _same_series,
    _training,
    _dose,
    _events,
    _intake,
    _conference,
    _privacy,
)
"""Every rule, in the order of the file."""
