"""Totals that were typed instead of items: taken where the measure allows it and no item is there, and marked."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from outcomes.errors import DataError, Finding
from outcomes.measures.keys import finding_at
from outcomes.measures.responses import as_text, span
from outcomes.measures.schema import SLACK

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.measures.schema import Definition, Scale

TYPED = "total typed"
"""Flag of a score that was typed as a total."""

CHANGED = ("value", "reason", "flags", "cells", "items_answered")
"""Columns of a score that a typed total is looked at in, or put into."""

_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


def total_scales(definition: Definition) -> tuple[str, ...]:
    """Return the scales whose score may be typed as a total, by the name that a row calls its item."""
    items = {item.key for item in definition.items}
    return tuple(scale.key for scale in definition.scales if scale.total_only and scale.key not in items)


def total_problem(definition: Definition, scale: Scale, text: str) -> str:
    """Return what would do instead of a typed total that cannot be one; empty where it can.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> scim3 = Catalogue.packaged().get("scim3")
    >>> total_problem(scim3, scim3.scale("total"), "104")
    'a total of 0 to 100'
    """
    low, high = scale.range or (-math.inf, math.inf)
    levels = definition.levels(scale.key)
    good = bool(_NUMBER.fullmatch(text)) and low - SLACK <= float(text) <= high + SLACK
    if good and levels is not None:
        good = any(abs(float(text) - level) < SLACK for level in levels)
    return "" if good else f"a total of {span((low, high))}"


def with_totals(definition: Definition, scores: pd.DataFrame, typed: pd.DataFrame, time: str) -> pd.DataFrame:
    """Return the scores with typed totals where no item of the scale was answered.

    Parameters
    ----------
    definition : Definition
    scores : DataFrame
        What the items give, as `score_table` returns it.
    typed : DataFrame
        Rows whose item is a scale.
    time : {"visit", "occasion"}

    Raises
    ------
    DataError
        A total that cannot be one, that stands twice, or that contradicts the items.
    """
    import pandas as pd

    names = ["participant_id", time, "place", "side"]
    scores = pd.concat([scores, _new_groups(definition, scores, typed, names)], ignore_index=True)
    groups = scores[names].fillna("").astype(str).agg("\x1f".join, axis=1)
    whole = (groups + "\x1f" + scores["scale"].astype(str)).tolist()
    place = {key: i for i, key in enumerate(whole)}
    findings: list[Finding] = []
    seen: set[str] = set()
    columns: dict[str, list[Any]] = {name: scores[name].tolist() for name in CHANGED}
    for i, record in enumerate(typed.to_dict("records")):
        row = {str(name): value for name, value in record.items()}
        key = "\x1f".join([*(as_text(row.get(name)) for name in names), str(row["item"])])
        found = list(_taken(definition, columns, place[key], row, typed, i, key in seen))
        seen.add(key)
        findings += found
    if findings:
        raise DataError(findings)
    scores = scores.assign(**{n: pd.Series(v, dtype=scores[n].dtype) for n, v in columns.items()})
    order = {scale.key: number for number, scale in enumerate(definition.scales)}
    scores = scores.assign(
        _scale=scores["scale"].map(order), _place=scores["place"].fillna(""), _side=scores["side"].fillna("")
    )
    scores = scores.sort_values(["participant_id", time, "_place", "_side", "variant", "_scale"], kind="stable")
    return scores.drop(columns=["_scale", "_place", "_side"]).reset_index(drop=True)


def _taken(
    definition: Definition,
    scores: dict[str, list[Any]],
    at: int,
    row: dict[str, Any],
    typed: pd.DataFrame,
    i: int,
    again: bool,
) -> Iterator[Finding]:
    """Put one typed total into its score, or yield why it cannot be."""
    scale, text = definition.scale(str(row["item"])), as_text(row["response"]).strip()
    if not text:
        return
    problem = total_problem(definition, scale, text)
    if problem or again:
        rule = "two_answers" if again else "hard_limit"
        yield finding_at(typed, i, rule, scale.key, text, problem or "one total for one key")
        return
    formed = float(scores["value"][at])
    if not math.isnan(formed):
        if abs(formed - float(text)) > SLACK:
            yield finding_at(typed, i, "typed_total", scale.key, text, f"the items; they give {formed:g}")
    elif scores["items_answered"][at] > 0:
        scores["reason"][at] += "; a total was typed beside some of its items"
    else:
        scores["value"][at], scores["reason"][at], scores["flags"][at] = float(text), "", TYPED
        scores["cells"][at] = as_text(row.get("row_id"))


def _new_groups(definition: Definition, scores: pd.DataFrame, typed: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """Return a score without value for every scale of each sitting of which only totals were typed."""
    import pandas as pd

    def keys(frame: pd.DataFrame) -> list[tuple[str, ...]]:
        columns = (frame[name].fillna("").astype(str) if name in frame.columns else [""] * len(frame) for name in names)
        return list(zip(*columns, strict=True))

    known = set(keys(scores))
    new = [key for key in dict.fromkeys(keys(typed)) if key not in known]
    rows = [
        {
            **{name: part or None for name, part in zip(names, key, strict=True)},
            "measure": definition.key,
            "version": definition.version,
            "variant": "",
            "scale": scale.key,
            "value": math.nan,
            "reason": "no items: only a total was typed",
            "flags": "",
            "items_answered": 0.0,
            "items_expected": float(len(definition.items_of(scale))),
            "cells": "",
            "context": "",
        }
        for key in new
        for scale in definition.scales
    ]
    return pd.DataFrame(rows, columns=list(scores.columns)).astype(scores.dtypes.to_dict())
