"""Scores to one value per participant and visit: the limb rule, the windows, and what happened in between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Series, Study
    from protocols.schema import EventRule

SCORE_KEY = ["participant_id", "measure", "version", "variant", "scale", "place", "side"]


def scores_of(study: Study, table: str) -> pd.DataFrame:
    """Return the scores of every measure of the protocol from ``assessments`` or ``repeats``.

    Returns
    -------
    DataFrame
        As `outcomes.measures.score_table`, measures one after the other in the protocol's order.
    """
    import pandas as pd

    from outcomes.measures import score_table

    time = "visit" if table == "assessments" else "occasion"
    texts = pd.DataFrame(columns=[*SCORE_KEY, time, "reason", "flags", "cells"], dtype="str")
    none = texts.assign(value=pd.Series(dtype=float))
    if not study.has(table):
        return none
    answers = study.table(table)
    parts = []
    for definition in {s.definition.key: s.definition for s in study.series}.values():
        rows = answers[answers["measure"] == definition.key]
        if len(rows):
            parts.append(score_table(definition.key, rows, version=definition.version, catalogue=study.catalogue))
    return pd.concat(parts, ignore_index=True) if parts else none


def series_values(scores: pd.DataFrame, series: Series, trained: pd.Series, time: str) -> pd.DataFrame:
    """Return one value per participant and visit (or occasion) for one series.

    Parameters
    ----------
    scores : DataFrame
        As `scores_of` returns.
    series : Series
    trained : Series of str
        ``trained_side`` by participant_id.
    time : {"visit", "occasion"}

    Returns
    -------
    DataFrame
        participant_id, `time`, value (float, missing where there is none), reason, flags, cells.

    Notes
    -----
    mean, modelled: arithmetic mean of both sides; a side that is missing at a visit leaves no value there, so that a
    change never compares one limb with two. worse: the worse of both sides at each visit. trained: the side that
    ``participants.trained_side`` names, the mean of both where it names both.

    Raises
    ------
    DesignError
        The protocol names no variant and the values are of several: a comfortable and a fast walk are never joined,
        neither within a person nor over people. A value whose variant was not noted is taken as it is.
    """
    mine = _scores_of_series(scores, series)
    _refuse_mixed_variants(mine, series)
    keys = ["participant_id", time]
    if series.sides in ("", "left", "right", "both"):
        if series.sides:
            mine = mine[mine["side"] == series.sides]
        _refuse_two_variants(mine, keys, series)
        return mine[[*keys, "value", "reason", "flags", "cells"]].reset_index(drop=True)
    return _both_sides(mine, series, trained, keys)


def _scores_of_series(scores: pd.DataFrame, series: Series) -> pd.DataFrame:
    """Return the scores of one series, each side apart; of the protocol's variant, where it names one."""
    mine = scores[
        (scores["measure"] == series.definition.key)
        & (scores["scale"] == series.scale.key)
        & (scores["place"].fillna("") == series.place)
    ]
    return mine[mine["variant"] == series.plan.variant] if series.plan.variant else mine


def variant_words(scores: pd.DataFrame, series: Series) -> dict[str, set[str]]:
    """Return the words that the scored values of one series hold for each part of the variant, such as the pace.

    Parameters
    ----------
    scores : DataFrame
        As `scores_of` returns.
    series : Series
    """
    mine = _scores_of_series(scores, series)
    found: dict[str, set[str]] = {}
    for variant in mine.loc[mine["value"].notna(), "variant"].dropna().unique():
        for part in filter(None, str(variant).split(",")):
            key, _, word = part.partition("=")
            found.setdefault(key, set()).add(word)
    return found


def _refuse_mixed_variants(rows: pd.DataFrame, series: Series) -> None:
    from outcomes.errors import DesignError

    mixed = [
        f"{key} {', '.join(sorted(words))}" for key, words in variant_words(rows, series).items() if len(words) > 1
    ]
    if mixed:
        raise DesignError(
            f"{series.label}: the values are of several variants ({'; '.join(mixed)}); "
            "name the variant under [[measures]], as different variants are never joined"
        )


def _refuse_two_variants(rows: pd.DataFrame, keys: list[str], series: Series) -> None:
    from outcomes.errors import DesignError

    twice = rows[rows.duplicated(keys, keep=False)]
    if len(twice):
        names = ", ".join(sorted(twice["variant"].fillna("").unique())) or "one variant"
        raise DesignError(
            f"{series.label}: one person and visit has several values ({names}); "
            "name the variant under [[measures]], as different variants are never joined"
        )


def side_values(scores: pd.DataFrame, series: Series) -> pd.DataFrame:
    """Return the value of each side by itself: participant_id, visit, side, value, reason, flags, cells.

    Parameters
    ----------
    scores : DataFrame
        As `scores_of` returns.
    series : Series
    """
    mine = _scores_of_series(scores, series)
    _refuse_mixed_variants(mine, series)
    mine = mine[mine["side"].isin(["left", "right"])]
    keys = ["participant_id", "visit", "side"]
    _refuse_two_variants(mine, keys, series)
    return mine[[*keys, "value", "reason", "flags", "cells"]].reset_index(drop=True)


def _both_sides(rows: pd.DataFrame, series: Series, trained: pd.Series, keys: list[str]) -> pd.DataFrame:
    """Return the value of both limbs by the series' rule."""
    import numpy as np
    import pandas as pd

    from outcomes.study.series import AVERAGED

    rows = rows[rows["side"].isin(["left", "right"])]
    _refuse_two_variants(rows, [*keys, "side"], series)
    wide = rows.set_index([*keys, "side"])[["value", "flags", "cells"]].unstack("side")
    if not len(wide):
        return pd.DataFrame(columns=[*keys, "value", "reason", "flags", "cells"])
    wide = pd.DataFrame(wide).reindex(
        columns=pd.MultiIndex.from_product([["value", "flags", "cells"], ["left", "right"]])
    )
    sides = wide["value"].to_numpy(dtype=float)
    complete = ~np.isnan(sides).any(axis=1)
    value = np.full(len(wide), np.nan)
    reason = np.where(complete, "", "one side has no value")
    lower_better = series.scale.better == "lower"
    worse = np.where(complete, sides.max(axis=1) if lower_better else sides.min(axis=1), np.nan)
    mean = np.where(complete, sides.sum(axis=1) / 2, np.nan)
    if series.sides in AVERAGED:
        value = mean
    elif series.sides == "worse":
        value = worse
    else:
        side = trained.reindex(wide.index.get_level_values("participant_id")).fillna("").to_numpy()
        both = worse if series.ordinal else mean
        value = np.select([side == "left", side == "right", side == "both"], [sides[:, 0], sides[:, 1], both], np.nan)
        unknown = ~np.isin(side, ["left", "right", "both"])
        reason = np.where(unknown, "no trained side named", np.where(np.isnan(value), "the side has no value", ""))
    # A side that nobody has comes as a column of numbers, all missing.
    cells, flags = (wide[name].astype("object").where(wide[name].notna(), "") for name in ("cells", "flags"))
    out = wide.index.to_frame(index=False)
    out["value"], out["reason"] = value, reason
    same = flags["left"].where(flags["left"] == flags["right"], flags["left"] + "; " + flags["right"])
    out["flags"] = same.str.strip("; ").to_numpy()
    out["cells"] = (cells["left"] + " " + cells["right"]).str.strip().to_numpy()
    return out


def visit_days(study: Study) -> pd.DataFrame:
    """Return participant_id, visit, visited_day and whether the visit lies in its window (missing if not known)."""
    import numpy as np

    visits = study.table("visits")[["participant_id", "visit", "visited_day", "status"]].copy()
    people = study.table("participants")
    enrolled = people.loc[people["enrolled_day"].notna(), "participant_id"]
    windows = {visit.key: visit.window or (-np.inf, np.inf) for visit in study.protocol.visits}
    low, high = (visits["visit"].map({key: ends[i] for key, ends in windows.items()}).astype(float) for i in (0, 1))
    outside = visits["participant_id"].isin(enrolled) & ((visits["visited_day"] < low) | (visits["visited_day"] > high))
    visits["outside"] = (outside | (visits["status"] == "outside_window")).to_numpy(dtype=bool)
    return visits


def drop_values(
    study: Study, values: pd.DataFrame, series: Series, days: pd.DataFrame, *, rules: Sequence[EventRule] | None = None
) -> pd.DataFrame:
    """Return values with those taken out that the protocol does not let stand, each with its reason.

    A visit outside its window counts only under ``visits_outside = "keep"``. For ``[[analysis.events]]`` with
    ``"while unchanged"`` a value later than a person's first such event is taken out; with ``"excluded"`` every value
    of a person who had one between the compared visits. `rules` stand in place of the protocol's for a run beside it.
    """
    values = values.merge(days[["participant_id", "visit", "visited_day", "outside"]], how="left")
    analysis = study.protocol.analysis
    if analysis.visits_outside == "drop":
        _take_out(values, values["outside"].fillna(False).to_numpy(dtype=bool), "visit outside its window")
    for rule in analysis.events if rules is None else rules:
        if rule.strategy == "whatever happened" or not study.has(rule.table):
            continue
        first = first_event(study, rule.table, rule.kind, days)
        day = values["participant_id"].map(first)
        hit = (day < values["visited_day"]) if rule.strategy == "while unchanged" else day.notna()
        _take_out(values, hit.to_numpy(dtype=bool), f"{rule.kind.replace('_', ' ')} {rule.strategy}")
    return values


def _take_out(values: pd.DataFrame, rows: object, reason: str) -> None:
    there = rows & values["value"].notna().to_numpy()  # type: ignore[operator]
    values.loc[there, "reason"] = reason
    values.loc[there, "value"] = float("nan")


def by_person_and_visit(days: pd.DataFrame) -> pd.DataFrame:
    """Return the day of every visit: a row for each participant, a column for each visit."""
    return days.set_index(["participant_id", "visit"])["visited_day"].unstack("visit")


def first_event(study: Study, table: str, kind: str, days: pd.DataFrame) -> pd.Series:
    """Return the day of each person's first event of a kind after the first and up to the second compared visit."""
    day_column = {"changes": "changed_day", "events": "occurred_day"}[table]
    events = study.table(table)
    events = events[events["kind"] == kind]
    start, end = study.protocol.analysis.compare or ("", "")
    by_visit = by_person_and_visit(days)
    low = events["participant_id"].map(by_visit[start]).astype(float) if start in by_visit else float("nan")
    high = events["participant_id"].map(by_visit[end]).astype(float) if end in by_visit else float("nan")
    open_end = high != high  # nan: the second visit did not take place
    between = (events[day_column] > low) & ((events[day_column] <= high) | open_end)
    return events[between].groupby("participant_id")[day_column].min()
