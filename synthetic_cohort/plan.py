"""The cohort's protocol: the packaged one for leg cycling, in the words of the invented gym."""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from outcomes.toml_source import read_toml

PROTOCOL = "leg_cycling_16_weeks"
WAIT_LIST = "wait_list"
PROTOCOLS = (PROTOCOL, WAIT_LIST)
"""Ready-made protocols that a cohort can be made for."""

SCENARIO = Path(__file__).parent / "scenario.toml"
HEAD = """# Invented: a gym, a town and people that do not exist. Adapted from the ready-made protocol '{protocol}',
# where every number stands with its source.
"""


@dataclass(frozen=True)
class Visit:
    """One planned visit."""

    key: str
    week: int
    when: str


@dataclass(frozen=True)
class Plan:
    """What the generator needs of the protocol.

    Parameters
    ----------
    text : str
        The protocol as it is written into the folder.
    visits : tuple of Visit
    measured : mapping of str to frozenset of str
        Measure to the visits at which it is taken.
    weeks : int
    active_minutes : tuple of float
        Planned active minutes of a session, by week; the last repeats.
    compare : tuple of str
        The two visits that are compared.
    """

    text: str
    visits: tuple[Visit, ...]
    measured: Mapping[str, frozenset[str]]
    weeks: int
    active_minutes: tuple[float, ...]
    compare: tuple[str, str]

    def minutes_of_week(self, week: int) -> float:
        """Return the planned active minutes of a session in a week, counted from 0."""
        return self.active_minutes[min(week, len(self.active_minutes) - 1)]


@cache
def scenario() -> dict[str, Any]:
    """Return the invented gym's own words."""
    return read_toml(SCENARIO).data


def make_plan(weeks: int, protocol: str = PROTOCOL) -> Plan:
    """Return the cohort's plan for a programme of `weeks` weeks, by one of `PROTOCOLS`."""
    from protocols import packaged_path

    data = copy.deepcopy(read_toml(packaged_path(protocol)).data)
    words = copy.deepcopy(scenario())
    if protocol == WAIT_LIST:
        words["study"] |= words["wait_list"]["study"]
        words["statements"] |= words["wait_list"]["statements"]
    data["study"] |= words["study"]
    data["statements"] = words["statements"]
    data["intake"]["on_error"] = "set_aside"
    data["report"]["conference"]["blind_words"] = words["blind_words"]
    data["report"]["funder"]["costs"] = words["costs"]
    data["measures"] += words["measures"]
    if weeks != data["training"]["weeks"]:
        _change_weeks(data, weeks)
    visits = tuple(Visit(v["key"], int(v["week"]), v["when"]) for v in data["visits"])
    keys = frozenset(v.key for v in visits)
    measured: dict[str, frozenset[str]] = {}
    for entry in data["measures"]:
        taken = frozenset(entry.get("visits", ())) or keys
        measured[entry["measure"]] = measured.get(entry["measure"], frozenset()) | taken
    first, last = data["analysis"]["compare"]
    return Plan(
        text=HEAD.format(protocol=protocol) + toml_text(data),
        visits=visits,
        measured=measured,
        weeks=weeks,
        active_minutes=tuple(float(m) for m in data["training"]["active_minutes"]),
        compare=(first, last),
    )


def _change_weeks(data: dict[str, Any], weeks: int) -> None:
    """Shorten or lengthen the programme: visits every 4 weeks, one at the end, one 4 weeks later."""
    training = data["training"]
    old_end, training["weeks"] = training["weeks"], weeks
    training["active_minutes"] = training["active_minutes"][:weeks]
    pattern = {visit["when"]: visit for visit in data["visits"]}
    planned = [(0, "baseline"), *((w, "during") for w in range(4, weeks, 4)), (weeks, "end"), (weeks + 4, "follow up")]
    during = pattern.get("during", pattern["end"])
    new = {old_end: weeks, old_end + 4: weeks + 4}
    key_of = {v["key"]: f"week{new.get(v['week'], v['week'])}" for v in data["visits"]}
    planned = [(week, when) for week, when in planned if when != "follow up" or when in pattern]
    data["visits"] = [
        {**pattern.get(when, during), "key": f"week{w}", "label": f"Week {w}", "week": w, "when": when}
        for w, when in planned
    ]
    known = [visit["key"] for visit in data["visits"]]
    for entry in data["measures"]:
        if "visits" in entry:
            entry["visits"] = [key for key in dict.fromkeys(key_of[k] for k in entry["visits"]) if key in known]
    data["analysis"]["compare"] = [key_of[key] for key in data["analysis"]["compare"]]
    words = scenario()["wait_list"] if "groups" in data else scenario()
    if "title_other_length" in words:
        data["study"]["title"] = words["title_other_length"].format(weeks=weeks)


def toml_text(data: Mapping[str, Any]) -> str:
    """Return a mapping of plain values, tables and arrays of tables as TOML.

    Examples
    --------
    >>> print(toml_text({"schema": 1, "study": {"title": "T"}, "visits": [{"week": 0}]}), end="")
    schema = 1
    <BLANKLINE>
    [study]
    title = "T"
    <BLANKLINE>
    [[visits]]
    week = 0
    """
    return "".join(_toml_lines(data, ""))


def _toml_lines(table: Mapping[str, Any], prefix: str) -> list[str]:
    plain = {key: value for key, value in table.items() if not isinstance(value, dict) and not _is_tables(value)}
    lines = [f"{key} = {_toml_value(value)}\n" for key, value in plain.items()]
    for key, value in table.items():
        name = f"{prefix}{key}"
        if isinstance(value, dict):
            only_tables = bool(value) and all(isinstance(v, dict) or _is_tables(v) for v in value.values())
            lines += ([] if only_tables else [f"\n[{name}]\n"]) + _toml_lines(value, name + ".")
        elif _is_tables(value):
            for one in value:
                lines += [f"\n[[{name}]]\n", *_toml_lines(one, name + ".")]
    return lines


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _toml_value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_toml_value(one) for one in value) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
