"""What is for clinical review: facts that are no mistakes of entry and that no program may weigh."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.errors import UsageError
from outcomes.measures.equations import at_or_above
from outcomes.toml_source import read_toml

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.measures.catalogue import Catalogue

    Tables = Mapping[str, pd.DataFrame]

FILE = Path(__file__).parent / "review.toml"
COLUMNS = (
    "participant_id", "visit", "measure", "place", "side", "what", "found", "sentence", "source", "status", "rows",
)  # fmt: skip
"""Columns of the list: whose, when, what was recorded, what is said of it and by what source, and the rows of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule of ``review.toml``: what is looked at, with whom, and the sentence that is said."""

    key: str
    says: str
    source: str
    status: str
    measure: str = ""
    item: str = ""
    scale: str = ""
    table: str = ""
    at_least: float | None = None
    above: float | None = None
    at_most: float | None = None
    rise: bool = False
    one_sided: bool = False
    blank: bool = False
    level: str = ""
    below: str = ""
    condition: str = ""
    kinds: tuple[str, ...] = ()
    grades: tuple[str, ...] = ()
    sexes: tuple[str, ...] = ()
    months_at_least: float = 0.0

    def holds(self, value: float) -> bool:
        """Return whether a number is one that the rule names; a missing one is not."""
        return (
            (self.at_least is not None and value >= self.at_least)
            or (self.above is not None and value > self.above)
            or (self.at_most is not None and value <= self.at_most)
        )


@cache
def review_rules() -> tuple[Rule, ...]:
    """Return every rule, in the order of its file."""
    lists = ("kinds", "grades", "sexes")
    rules: list[dict[str, Any]] = read_toml(FILE).data["rules"]
    return tuple(Rule(**(rule | {name: tuple(rule.get(name, ())) for name in lists})) for rule in rules)


def for_review(tables: Tables, *, catalogue: Catalogue | None = None) -> pd.DataFrame:
    """List what a clinician may want to look at: facts, apart from data errors, without interpretation or advice.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables as `outcomes.study.Study.tables` gives them; ``assessments``, ``participants`` and ``events`` are looked
        at where they exist.
    catalogue : Catalogue, optional
        The packaged one by default.

    Returns
    -------
    DataFrame
        participant_id, visit, measure, place, side, what (item, scale, kind of event or column), found (as recorded),
        sentence, source, status (how far the source was checked), rows (row_ids). Sorted by participant, then in the
        order of the rules. Empty where nothing is to be listed.

    Raises
    ------
    UsageError, DataError
        As `score_table`, for tables that were not checked.

    Notes
    -----
    A rule that holds for a level of lesion or a condition needs it in ``participants``; where it is not recorded, the
    rule is silent. A rise is counted from the person's first visit. The rules stand in ``review.toml``, each with its
    source.
    """
    import pandas as pd

    from outcomes.measures.catalogue import Catalogue as Packaged

    people = _people(tables)
    found: list[dict[str, str]] = []
    for rule in review_rules():
        if rule.table:
            found += _of_table(rule, tables)
        else:
            found += _of_answers(rule, tables, people, catalogue or Packaged.packaged())
    listed = pd.DataFrame({name: pd.Series([row.get(name, "") for row in found], dtype="str") for name in COLUMNS})
    return listed.sort_values("participant_id", kind="stable", ignore_index=True)


def _people(tables: Tables) -> dict[str, dict[str, Any]]:
    frame = tables.get("participants")
    if frame is None or frame.empty:
        return {}
    rows = frame.astype(object).where(frame.notna(), "").to_dict("records")
    return {str(row["participant_id"]): {str(name): value for name, value in row.items()} for row in rows}


def _concerns(rule: Rule, person: Mapping[str, Any]) -> bool:
    """Return whether a rule for one level or condition is about this person."""
    level = str(person.get("neurological_level", ""))
    try:
        low_enough = not rule.level or at_or_above(level, rule.level)
    except UsageError:  # a level that cannot be read is a finding of the check, not of this list
        low_enough = False
    return low_enough and (not rule.condition or person.get("condition", "") == rule.condition)


def _is_below(level: object, limit: str) -> bool:
    """Return whether a lesion lies below a level; one that is not known, or cannot be read, does not."""
    try:
        return isinstance(level, str) and bool(level.strip()) and not at_or_above(level, limit)
    except UsageError:
        return False


def _row(rule: Rule, found: str, **where: str) -> dict[str, str]:
    about = {"what": rule.item or rule.scale, "measure": rule.measure, "found": found}
    return about | {"sentence": rule.says, "source": rule.source, "status": rule.status} | where


def _of_answers(
    rule: Rule, tables: Tables, people: Mapping[str, Mapping[str, Any]], catalogue: Catalogue
) -> Iterator[dict[str, str]]:
    frame = tables.get("assessments")
    if frame is None or rule.measure not in catalogue:
        return
    rows = frame[(frame["measure"] == rule.measure).to_numpy(dtype=bool)]
    if rows.empty:
        return
    values = _items(rule, rows) if rule.item else _scales(rule, rows, tables, catalogue)
    for value in values:
        if _concerns(rule, people.get(value["participant_id"], {})):
            yield _row(rule, **value)


def _items(rule: Rule, rows: pd.DataFrame) -> Iterator[dict[str, str]]:
    """Yield the answers to one item that the rule names, or the sittings in which only it has none."""
    for (person, visit), sitting in rows.groupby(["participant_id", "visit"], sort=True):
        own = sitting[sitting["item"] == rule.item]
        texts = [text for text in own["response"].tolist() if isinstance(text, str) and text]
        where = {"participant_id": str(person), "visit": str(visit), "rows": _joined(own)}
        if rule.blank:
            if not texts and sitting["response"].notna().any():
                yield {"found": "no answer", **where}
        elif texts and rule.holds(float(texts[0])):
            yield {"found": texts[0], **where}


def _joined(rows: pd.DataFrame) -> str:
    return " ".join(rows["row_id"].astype(str)) if "row_id" in rows.columns else ""


def _scales(rule: Rule, rows: pd.DataFrame, tables: Tables, catalogue: Catalogue) -> Iterator[dict[str, str]]:
    """Yield the scores of one scale, or their rise since the first visit, that the rule names."""
    import pandas as pd

    from outcomes.measures.tables import score_table

    parts = [rows] if "version" not in rows.columns else [part for _, part in rows.groupby("version", dropna=False)]
    scores = pd.concat([score_table(rule.measure, part, catalogue=catalogue) for part in parts])
    scores = scores[(scores["scale"] == rule.scale) & scores["value"].notna()]
    scores = scores.assign(**{name: scores[name].fillna("") for name in ("place", "side")})
    if rule.rise:
        scores = _rises(scores, visit_days(tables, rows))
    if rule.one_sided:
        scores = _beyond_other_side(scores)
    for row in scores.to_dict("records"):
        if rule.holds(float(row["value"])):
            yield {
                "found": f"{row['value']:.6g}",
                "participant_id": str(row["participant_id"]),
                "visit": str(row["visit"]),
                "place": str(row["place"]),
                "side": str(row["side"]),
                "rows": str(row["cells"]),
            }


def visit_days(tables: Tables, rows: pd.DataFrame) -> dict[tuple[str, str], float]:
    """Return the day of each person's visits: that of the visits table, else of the answers, else their order."""
    days: dict[tuple[str, str], float] = {}
    for number, row in enumerate(rows.to_dict("records")):
        day = row.get("assessed_day")
        key = (str(row["participant_id"]), str(row["visit"]))
        days[key] = min(days.get(key, float("inf")), float(day) if day is not None and day == day else float(number))
    visits = tables.get("visits")
    if visits is not None and "visited_day" in visits.columns:
        for person, visit, day in zip(visits["participant_id"], visits["visit"], visits["visited_day"], strict=True):
            if day == day:
                days[str(person), str(visit)] = float(day)
    return days


def _rises(scores: pd.DataFrame, days: Mapping[tuple[str, str], float]) -> pd.DataFrame:
    """Return each score less the first one of that person, place, side and variant; the first ones are left out."""
    keys = zip(scores["participant_id"].astype(str), scores["visit"].astype(str), strict=True)
    scores = scores.assign(day=[days.get(key, float("inf")) for key in keys]).sort_values("day", kind="stable")
    first = scores.groupby(["participant_id", "place", "side", "variant"], dropna=False)[["value", "cells"]]
    start, cells = first.transform("first")["value"], first.transform("first")["cells"]
    later = first.cumcount() > 0
    risen = scores.assign(value=scores["value"] - start, cells=cells + " " + scores["cells"])
    return risen[later.to_numpy()]


def _beyond_other_side(rises: pd.DataFrame) -> pd.DataFrame:
    """Return how far each side's rise goes beyond that of the other side; a lone side is left out."""
    keys = ["participant_id", "visit", "place"]
    pairs = rises[rises["side"].isin(["left", "right"])]
    both = pairs.groupby(keys)["value"].transform("count") == 2
    pairs = pairs[both.to_numpy()]
    other = pairs.groupby(keys)["value"].transform("sum") - pairs["value"]
    return pairs.assign(value=pairs["value"] - other)


def _of_table(rule: Rule, tables: Tables) -> Iterator[dict[str, str]]:
    """Yield rows of events of the named kinds, or people with the named traits."""
    frame = tables.get(rule.table)
    if frame is None or frame.empty:
        return
    for row in frame.to_dict("records"):
        where = {"participant_id": str(row["participant_id"]), "rows": str(row.get("row_id", ""))}
        if rule.kinds:
            if row.get("kind") in rule.kinds:
                yield _row(rule, str(row["kind"]), what="events.kind", **where)
        elif traits := _traits(rule, row):
            what = ", ".join(f"participants.{column}" for column in traits)
            yield _row(rule, ", ".join(traits.values()), what=what, **where)


def _traits(rule: Rule, person: Mapping[Any, Any]) -> dict[str, str]:
    """Return what the rule names of a person, by column; empty where one of it does not hold or is not known."""
    recorded = person.get("months_since_onset")
    months = float("nan") if recorded is None else float(recorded)
    long_enough = months >= rule.months_at_least
    found = {
        "ais_grade": person.get("ais_grade") if rule.grades else None,
        "sex": person.get("sex") if rule.sexes else None,
        "months_since_onset": f"{months:.6g} months" if rule.months_at_least and long_enough else None,
    }
    holds = (
        (not rule.grades or found["ais_grade"] in rule.grades)
        and (not rule.sexes or found["sex"] in rule.sexes)
        and (not rule.months_at_least or long_enough)
        and (not rule.below or _is_below(person.get("neurological_level"), rule.below))
        and (not rule.condition or person.get("condition") == rule.condition)
    )
    return {column: str(text) for column, text in found.items() if text is not None} if holds else {}
