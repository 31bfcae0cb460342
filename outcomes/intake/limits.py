"""Hard and soft limits of columns, from the package data ``limits.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from outcomes.intake.drafts import Draft
from outcomes.intake.raw import number_text
from outcomes.intake.settling import Reader, reject
from outcomes.intake.slips import fitting_unit, spelled_unit
from outcomes.toml_source import parse_toml
from outcomes.units import printed_unit
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Floats, Integers, Texts

Range = tuple[float, float]
LEVELS = {"C": 8, "T": 12, "L": 5, "S": 5}
"""Segments of the spinal cord by letter."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a value can be (`hard`), what it usually is (`soft`), and where the two come from."""

    hard: Range | None
    soft: Range | None
    basis: str


@dataclass(frozen=True, slots=True)
class Case:
    """What some rows usually reach: the first case that fits a row counts."""

    table: str
    column: str
    when: Mapping[str, tuple[str, ...]]
    soft: Range
    basis: str


@dataclass(frozen=True, slots=True)
class Factor:
    """A change that looks like another unit: both `above` times and more than `apart`."""

    above: float
    apart: float
    basis: str


@dataclass(frozen=True, slots=True)
class Between:
    """How far the readings of one item, or values of one scale, usually lie apart: ``limits.toml`` says each."""

    measure: str
    unit: str
    item: str = ""
    scale: str = ""
    side_difference: Limit | None = None
    change_28_days: Limit | None = None
    change: Limit | None = None
    factor: Factor | None = None
    sides_apart: Limit | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """Which of two readings of one person, time and place is never the larger."""

    measure: str
    lower: str
    upper: str
    equal: bool
    grade: Literal["set_aside", "ask"]
    basis: str


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits.

    Parameters
    ----------
    columns : mapping of (table, column) to Limit
    cases : tuple of Case
    rpe : mapping of str to Limit
        By the word of `rpe_scale`.
    derived : mapping of str to Limit
        Quantities worked out from several columns, and counts.
    between : tuple of Between
    order : tuple of Order
    review : mapping of str to Limit
        What is listed for clinical review.
    """

    columns: Mapping[tuple[str, str], Limit]
    cases: tuple[Case, ...]
    rpe: Mapping[str, Limit]
    derived: Mapping[str, Limit]
    between: tuple[Between, ...]
    order: tuple[Order, ...]
    review: Mapping[str, Limit]


@cache
def limits() -> Limits:
    """Return the limits that ship with the package."""
    text = files("outcomes.intake").joinpath("limits.toml").read_text(encoding="utf-8")
    data = parse_toml(text, "limits.toml").data
    cases = tuple(
        Case(
            case["table"],
            case["column"],
            {name: tuple(words) for name, words in case["when"].items()},
            _range(case["soft"]),
            case["basis"],
        )
        for case in data.pop("cases")
    )
    between = tuple(
        Between(**{name: _of_between(name, entry) for name, entry in one.items()}) for one in data.pop("between")
    )
    order = tuple(Order(**one) for one in data.pop("order"))
    rpe = {name: _limit(entry) for name, entry in data.pop("rpe").items()}
    review = {name: _limit(entry) for name, entry in data.pop("review").items()}
    derived = {name: _limit(entry) for name, entry in data.pop("derived").items()}
    columns = {(table, name): _limit(entry) for table, entries in data.items() for name, entry in entries.items()}
    return Limits(columns, cases, rpe, derived, between, order, review)


def _of_between(name: str, entry: Any) -> Any:
    if not isinstance(entry, dict):
        return entry
    return Factor(**entry) if name == "factor" else _limit(entry)


def _limit(entry: dict[str, Any]) -> Limit:
    return Limit(_range(entry.get("hard")), _range(entry.get("soft")), entry["basis"])


def _range(pair: Any) -> Any:
    return None if pair is None else (float(pair[0]), float(pair[1]))


def check_limits(drafts: Mapping[str, Draft], reader: Reader) -> None:
    """Set impossible values aside and ask about unusual ones, column by column."""
    for (table, column), limit in limits().columns.items():
        if table in drafts and column in drafts[table].typed and column in drafts[table].number:
            _check_column(drafts, drafts[table], column, limit, reader)
    if "sessions" in drafts and "rpe" in drafts["sessions"].number:
        _check_rpe(drafts["sessions"], reader)
    if "participants" in drafts:
        _check_levels(drafts["participants"], reader)


def spell(limit_range: Range, unit: str) -> str:
    """Return a range with its unit.

    Examples
    --------
    >>> spell((0, 240), "min"), spell((-50, 500), "kJ")
    ('0 to 240 min', '-50 to 500 kJ')
    """
    return f"{limit_range[0]:g} to {limit_range[1]:g} {printed_unit(unit)}".rstrip()


def hint(value: float, unit: str, usual: Range | None) -> str:
    """Return ``"; 1800 would fit s"`` where a value fits another unit, else an empty text."""
    other = fitting_unit(value, unit, usual) if usual else ""
    return f"; {number_text(value)} would fit {spelled_unit(other)}" if other else ""


def _check_column(drafts: Mapping[str, Draft], draft: Draft, column: str, limit: Limit, reader: Reader) -> None:
    import numpy as np

    values, unit = draft.number[column], draft.table.by_name[column].unit
    if limit.hard is not None:
        low, high = limit.hard
        rows = np.flatnonzero(draft.used & ((values < low) | (values > high)))
        expected = [
            f"{spell(limit.hard, unit)}{hint(value, unit, limit.soft or limit.hard)}" for value in values[rows].tolist()
        ]
        reject(draft, reader, column, rows, "hard_limit", expected)
    if limit.soft is not None:
        of_case = _cases(drafts, draft, column)
        for index, (soft, basis) in enumerate(
            [(limit.soft, limit.basis), *((c.soft, c.basis) for c in _of(draft, column))]
        ):
            _ask(draft, column, soft, basis, draft.used & (of_case == index - 1), reader)


def _of(draft: Draft, column: str) -> list[Case]:
    return [case for case in limits().cases if (case.table, case.column) == (draft.name, column)]


def _cases(drafts: Mapping[str, Draft], draft: Draft, column: str) -> Integers:
    """Return, for every row, the position of the first case that fits, -1 where none does."""
    import numpy as np

    chosen = np.full(len(draft), -1, dtype=np.int64)
    for index, case in enumerate(_of(draft, column)):
        fits = np.ones(len(draft), dtype=bool)
        for name, words in case.when.items():
            fits &= np.isin(_context(drafts, draft, name), list(words))
        chosen[fits & (chosen == -1)] = index
    return chosen


def _context(drafts: Mapping[str, Draft], draft: Draft, name: str) -> Texts:
    """Return a column of the row itself, else of its participant, "" where unknown."""
    import numpy as np

    if name in draft.text:
        return draft.text[name]
    people = drafts.get("participants")
    if people is None or name not in people.text:
        return np.full(len(draft), "", dtype=object)
    known = dict(zip(people.text["participant_id"].tolist(), people.text[name].tolist(), strict=True))
    return np.array([known.get(text, "") for text in draft.text["participant_id"].tolist()], dtype=object)


def _ask(draft: Draft, column: str, soft: Range, basis: str, rows: Flags, reader: Reader) -> None:
    """Ask about values outside the usual range; sessions that did not take place are no values."""
    import numpy as np

    values: Floats = draft.number[column]
    low, high = soft
    rows = rows & ((values < low) | (values > high))
    if draft.name == "sessions" and "status" in draft.text and column != "planned_minutes":
        rows &= np.isin(draft.text["status"], DELIVERED)
    chosen, unit = np.flatnonzero(rows), draft.table.by_name[column].unit
    slips = [hint(value, unit, soft) for value in values[chosen].tolist()]
    for rule, is_slip in (("unit_slip", True), ("soft_limit", False)):
        mine = [i for i, slip in enumerate(slips) if bool(slip) == is_slip]
        expected = [f"usually {spell(soft, unit)}{slips[i]} ({basis})" for i in mine]
        reader.found.at(draft, chosen[mine], column, "ask", rule, expected)


def _check_rpe(draft: Draft, reader: Reader) -> None:
    """Check perceived exertion by its scale; without a scale only what no scale has is refused."""
    import numpy as np

    values = draft.number["rpe"]
    scale = draft.text.get("rpe_scale", np.full(len(draft), "", dtype=object))
    for word, limit in {**limits().rpe, "": Limit((0.0, 20.0), None, "logic")}.items():
        mine = draft.used & (scale == word)
        if limit.hard is not None:
            wrong = np.flatnonzero(mine & ((values < limit.hard[0]) | (values > limit.hard[1])))
            which = f" on the scale {word}" if word else ""
            reject(draft, reader, "rpe", wrong, "hard_limit", f"{spell(limit.hard, '')}{which}")
        if limit.soft is not None:
            _ask(draft, "rpe", limit.soft, limit.basis, mine, reader)


def _check_levels(draft: Draft, reader: Reader) -> None:
    """Check segment names; ask about a grade E, whose bearer needs no such training."""
    import numpy as np

    if "neurological_level" in draft.typed:
        level = draft.text["neurological_level"]
        known = [f"{letter}{i}" for letter, last in LEVELS.items() for i in range(1, last + 1)]
        wrong = np.flatnonzero(draft.used & (level != "") & ~np.isin(level, known))
        reject(draft, reader, "neurological_level", wrong, "level", "a segment: C1-C8, T1-T12, L1-L5, S1-S5")
    if "ais_grade" in draft.typed:
        rows = np.flatnonzero(draft.used & (draft.text["ais_grade"] == "E"))
        reader.found.at(draft, rows, "ais_grade", "ask", "unusual", "A to D in people who train; E is no deficit")
