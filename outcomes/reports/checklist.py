"""The checklist of reporting guidelines: where each item is answered, or which field of the protocol would answer it.

It says where an item is answered; it never says that a study complies with a guideline.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.reports import format as fmt
from outcomes.toml_source import read_toml

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.result import Record

PATH = Path(__file__).parent / "guidelines.toml"
COLUMNS = ("guideline", "item", "what_to_report", "status", "where", "answered_by", "note", "citation")

NOT_REPORTED = "NOT REPORTED"
AUTHOR = "the author's own text"

TABLES = {
    "participants": "the table participants",
    "left": "left_on and left_reason in the table participants",
    "session_status": "the table sessions",
    "changes_between": "the table changes",
    "outcomes": "the table assessments",
    "measures": "[[measures]]",
    "visits": "[[visits]]",
}
"""Table of the record to what would fill it."""

ANALYSES = {
    "flow": "the table participants",
    "change": "compare under [analysis], and the table assessments",
    "reliability": "the table repeats",
    "dose_response": "[dose], and the table sessions",
}
"""First part of the record's keys to what would fill it."""


WORDS = {
    "training": "[training]",
    "data_until": "days in the tables",
    "multiplicity": "multiplicity under [analysis]",
    "always": "the record and this software",
}
"""What answers the remaining fields."""


@cache
def guidelines() -> dict[str, Any]:
    """Return the packaged guidelines: which design picks which, and their items in our own words."""
    return dict(read_toml(PATH).data)


def chosen(meta: dict[str, Any], *, abstract: bool = False) -> tuple[str, ...]:
    """Return the keys of the guidelines that a design picks, that of an abstract first where it is asked for.

    Examples
    --------
    >>> chosen({"design": "single arm"})
    ('trend', 'strobe', 'tidier', 'cert', 'sampl')
    >>> chosen({"design": "parallel groups", "allocation": "randomised"}, abstract=True)[:2]
    ('consort-abstract', 'consort-2025')
    """
    data = guidelines()
    design = str(meta.get("design") or "")
    exact = f"{design}, {meta.get('allocation')}"
    found = data["choose"].get(exact) or data["choose"].get(design) or []
    first = data["abstract"].get(exact) or data["abstract"].get(design)
    return (*([first] if abstract and first else []), *found)


def checklist(record: Record, *, abstract: bool = False) -> pd.DataFrame:
    """Return one row for each item of the guidelines that the record's design picks.

    Parameters
    ----------
    record : Record
    abstract : bool
        Whether the guideline for abstracts comes first.

    Returns
    -------
    DataFrame
        Columns guideline, item, what_to_report (our own words), status ("answered", "answered in part", "NOT REPORTED",
        "not applicable"), where (place in a report), answered_by (field, table or record key), note, citation.
    """
    import pandas as pd

    data = guidelines()
    known = {g["key"]: g for g in data["guidelines"]}
    aside = {(n["guideline"], str(n["item"])): n["reason"] for n in record.meta.get("not_applicable") or ()}
    rows = [
        _row(record, known[key], item, data["places"], aside.get((key, item["id"])))
        for key in chosen(record.meta, abstract=abstract)
        for item in known[key]["items"]
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="str")


def _row(record: Record, guideline: Any, item: Any, places: Any, reason: str | None) -> tuple[str, ...]:
    field, place = answer(item["field"]), places[item["place"]]
    note = "" if item["seen"] == "source" else "item text from memory"
    head = guideline["key"], item["id"], item["text"]
    if reason is not None:
        return (*head, "not applicable", "", "", fmt.clean(reason, 400), guideline["cite"])
    if not answered(record, item["field"]):
        return (*head, NOT_REPORTED, "", f"needs {field}", note, guideline["cite"])
    if item["fill"] == "auto":
        return (*head, "answered", place, field, note, guideline["cite"])
    both = "; ".join(part for part in ("the author completes it", note) if part)
    return (*head, "answered in part", place, field, both, guideline["cite"])


def answer(field: str) -> str:
    """Return the field, table or text that answers an item, as a protocol spells it.

    Examples
    --------
    >>> answer("statements.eligibility"), answer("study.funder"), answer("table.left")
    ('eligibility under [statements]', 'funder under [study]', 'left_on and left_reason in the table participants')
    """
    kind, _, name = field.partition(".")
    if kind in ("statements", "study", "training", "harms", "frozen") and name:
        return "outcomes freeze" if kind == "frozen" else f"{name} under [{kind}]"
    if kind == "table":
        return TABLES[name]
    if kind == "record":
        return ANALYSES[name]
    return WORDS.get(kind, AUTHOR)


def answered(record: Record, field: str) -> bool:
    """Return whether a record holds what a field stands for."""
    meta = record.meta
    kind, _, name = field.partition(".")
    if kind == "always":
        return True
    if kind == "study":
        return bool(meta.get(name))
    if kind == "harms":
        return bool(meta.get("harms_collection"))
    if kind == "table":
        table = record.tables.get(name)
        return bool(meta.get("visits")) if name == "visits" else table is not None and bool(table.rows)
    if kind == "record":
        return any(k.startswith(f"{name}/") and e.status == "estimated" for k, e in record.entries.items())
    if kind in ("statements", "training", "frozen") and name:
        return bool((meta.get(kind) or {}).get(name))
    return bool(meta.get(kind)) if kind in ("training", "data_until", "multiplicity") else False
