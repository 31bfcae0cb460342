"""Outcome measures: a catalogue of definitions in TOML, one reading of a response, and scores with their reasons."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.measures.cards import card, listing
    from outcomes.measures.catalogue import Catalogue
    from outcomes.measures.circumstances import circumstances_changed
    from outcomes.measures.equations import (
        Reference,
        age_predicted_peak_heart_rate,
        at_or_above,
        muscle_size,
        six_minute_walk_reference,
        spirometry_reference,
        target_heart_rate,
    )
    from outcomes.measures.norms import AgainstNorm, against_norm
    from outcomes.measures.printed import half_up, push_size, spasm_grade, whoqol_table
    from outcomes.measures.properties import AgainstThreshold, against_threshold, published_value
    from outcomes.measures.proving import refuse_contradictions
    from outcomes.measures.responses import Reading, read_responses
    from outcomes.measures.review import for_review
    from outcomes.measures.schema import Band, Definition, Item, PublishedValue, Rows, Scale
    from outcomes.measures.scoring import Score, score, score_sets
    from outcomes.measures.tables import score_table

_EXPORTS = {
    "AgainstNorm": "norms",
    "AgainstThreshold": "properties",
    "Band": "schema",
    "Catalogue": "catalogue",
    "Definition": "schema",
    "Item": "schema",
    "PublishedValue": "schema",
    "Reading": "responses",
    "Reference": "equations",
    "Rows": "schema",
    "Scale": "schema",
    "Score": "scoring",
    "against_norm": "norms",
    "against_threshold": "properties",
    "age_predicted_peak_heart_rate": "equations",
    "at_or_above": "equations",
    "circumstances_changed": "circumstances",
    "card": "cards",
    "for_review": "review",
    "half_up": "printed",
    "listing": "cards",
    "muscle_size": "equations",
    "published_value": "properties",
    "push_size": "printed",
    "read_responses": "responses",
    "refuse_contradictions": "proving",
    "score": "scoring",
    "score_sets": "scoring",
    "score_table": "tables",
    "six_minute_walk_reference": "equations",
    "spasm_grade": "printed",
    "spirometry_reference": "equations",
    "target_heart_rate": "equations",
    "whoqol_table": "printed",
}

__all__ = [
    "AgainstNorm",
    "AgainstThreshold",
    "Band",
    "Catalogue",
    "Definition",
    "Item",
    "PublishedValue",
    "Reading",
    "Reference",
    "Rows",
    "Scale",
    "Score",
    "against_norm",
    "against_threshold",
    "age_predicted_peak_heart_rate",
    "at_or_above",
    "card",
    "circumstances_changed",
    "for_review",
    "half_up",
    "listing",
    "muscle_size",
    "published_value",
    "push_size",
    "read_responses",
    "refuse_contradictions",
    "score",
    "score_sets",
    "score_table",
    "six_minute_walk_reference",
    "spasm_grade",
    "spirometry_reference",
    "target_heart_rate",
    "whoqol_table",
]


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        value = getattr(import_module(f"outcomes.measures.{_EXPORTS[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'outcomes.measures' has no attribute {name!r}")
