"""Outcome measures: a catalogue of definitions in TOML, one reading of a response, and scores with their reasons."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.measures.cards import card, listing
    from outcomes.measures.catalogue import Catalogue
    from outcomes.measures.properties import published_value
    from outcomes.measures.proving import refuse_contradictions
    from outcomes.measures.responses import Reading, read_responses
    from outcomes.measures.schema import Band, Definition, Item, PublishedValue, Rows, Scale
    from outcomes.measures.scoring import Score, score, score_sets
    from outcomes.measures.tables import score_table

_EXPORTS = {
    "Band": "schema",
    "Catalogue": "catalogue",
    "Definition": "schema",
    "Item": "schema",
    "PublishedValue": "schema",
    "Reading": "responses",
    "Rows": "schema",
    "Scale": "schema",
    "Score": "scoring",
    "card": "cards",
    "listing": "cards",
    "published_value": "properties",
    "read_responses": "responses",
    "refuse_contradictions": "proving",
    "score": "scoring",
    "score_sets": "scoring",
    "score_table": "tables",
}

__all__ = [
    "Band",
    "Catalogue",
    "Definition",
    "Item",
    "PublishedValue",
    "Reading",
    "Rows",
    "Scale",
    "Score",
    "card",
    "listing",
    "published_value",
    "read_responses",
    "refuse_contradictions",
    "score",
    "score_sets",
    "score_table",
]


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        value = getattr(import_module(f"outcomes.measures.{_EXPORTS[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'outcomes.measures' has no attribute {name!r}")
