"""The figures of dose on the conference page: each person's line, and the curves of the shortlist."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from outcomes.reports import format as fmt
from outcomes.reports.blocks import Block, figure_block
from outcomes.reports.conference_tables import better_words
from outcomes.reports.dose_response_sentences import rows_for
from outcomes.reports.dose_response_tables import curves as curves_table
from outcomes.reports.dose_response_tables import within as within_table
from outcomes.reports.facts import Facts
from outcomes.reports.figure_words import axis_label, not_drawn, note_line
from outcomes.reports.people import People

if TYPE_CHECKING:
    import pandas as pd


def within_person_lines(facts: Facts, people: People) -> Iterator[Block]:
    """Yield each person's values against that person's own dose, or the line that says why there is no figure."""
    from outcomes.analysis.association import EXPOSURES
    from outcomes.reports.figures import within_person_lines as draw

    name, heading = "within_person_lines", "Dose and value within persons"
    row, exposure = facts.row, facts.exposures[0] if facts.exposures else ""
    found = rows_for(facts, "dose_within", exposure) if exposure else []
    rows = _over_visits(facts, people, exposure) if found else None
    why = _why_not(facts, found[0]["people"] if found else None, found[0]["reason"] if found else "")
    if why or row is None or rows is None or not len(rows):
        yield not_drawn(name, heading, why or "dose and value are not both known")
        return
    one = found[0]
    _, unit, per, words, what = EXPOSURES[exposure]
    slope = None if one["within"] is None else (one["within"], one["within_low"], one["within_high"])
    told = f"not told from time: {fmt.clean(one['within_reason'] or '')}" if slope is None else (
        f"{fmt.with_interval(*slope, row['unit'], None, facts.ci)} per {words}, time held"
    )  # fmt: skip
    title = f"Association of {what} with {facts.title_of(row)[0]} within persons"
    axes = draw(
        rows["participant_id"].to_numpy(), rows["dose"].to_numpy(), rows["value"].to_numpy(), slope=slope, per=per,
        xlabel=f"delivered {what} up to the visit ({unit})", ylabel=axis_label(facts, row, ""), title=title,
        note=f"n = {one['people']} people, {one['values']} values; {better_words(row)}. Grey: one person, visit after "
        "visit; black: common slope within persons, with its interval; association.",
        synthetic=facts.synthetic,
    )  # fmt: skip
    people_n, values = fmt.number(one["people"]), fmt.number(one["values"])
    alt = f"A grey line for each of {people_n} people, {values} values: {what} against value. Within persons: {told}."
    margin = [("n", people_n), ("source", f"record {one['key']}")]
    yield figure_block(name, axes, f"{title}. {told}", alt, within_table(facts, found), margin=margin)


def dose_curves(facts: Facts, people: People) -> Iterator[Block]:
    """Yield dose against change with the curves of the shortlist, or the line that says why there is no figure."""
    from outcomes.analysis.association import EXPOSURES
    from outcomes.reports.figures import dose_curves as draw

    name, heading = "dose_curves", "Shape of the association"
    row, exposure = facts.row, facts.exposures[0] if facts.exposures else ""
    found = rows_for(facts, "dose_curves", exposure) if exposure else []
    curves = [r for r in found if r["curve"]]
    why = _why_not(facts, curves[0]["n"] if curves else None, found[0]["reason"] if found else "")
    both = _at_the_end(facts, people, exposure) if curves else None
    if why or row is None or both is None or not len(both):
        yield not_drawn(name, heading, why or "dose and change are not both known")
        return
    _, unit, _, _, what = EXPOSURES[exposure]
    best = max(curves, key=lambda r: float(r["weight"]))
    title = f"Association of delivered {what} with change: which curve?"
    axes = draw(
        both["dose"].to_numpy(), both["change"].to_numpy(),
        [(r["curve"], r["start"], r["size"], r["half_dose"], r["weight"]) for r in curves], offset=curves[0]["offset"],
        xlabel=f"delivered {what} up to {facts.visit_label(facts.visits[1])} ({unit})",
        ylabel=axis_label(facts, row, "change of "), title=title,
        note=f"{note_line(row)} One ring per person; curves at the mean of the first values; association.",
        synthetic=facts.synthetic,
    )  # fmt: skip
    weights = ", ".join(f"{r['curve']} {fmt.number(r['weight'], 2)}" for r in curves)
    told = f"AICc weights: {weights}; the largest is that of the {best['curve']} curve"
    alt = f"One ring per person and three curves: delivered dose against change. {told}."
    margin = [("n", fmt.number(best["n"])), ("source", f"record {best['key']}")]
    yield figure_block(name, axes, f"{title} {told}.", alt, curves_table(facts, curves), margin=margin)


def _why_not(facts: Facts, n: int | None, reason: str | None) -> str:
    """Return why a figure with marks of persons cannot be drawn; empty where it can."""
    row = facts.row
    if row is not None and row["level"] == "ordinal":
        return "a grade only ranks"
    if n is None:
        return fmt.clean(reason or "no dose is related to the change of everybody together; see the tables")
    if facts.public:
        return "no mark of a person is shown"
    return f"{facts.small.words} people" if facts.small.hides(n) else ""


def _over_visits(facts: Facts, people: People, exposure: str) -> pd.DataFrame | None:
    """Return dose and value of everybody at each visit from the earlier to the later compared one."""
    from outcomes.analysis.association import EXPOSURES

    row, column = facts.row, EXPOSURES[exposure][0]
    values, dose = people.values, people.dose
    if row is None or values is None or dose is None or column not in dose:
        return None
    keys = [visit["key"] for visit in facts.meta.get("visits") or ()]
    before, after = facts.visits
    between = keys[keys.index(before) : keys.index(after) + 1]
    mine = values[_same_series(values, row) & values["value"].notna() & values["visit"].isin(between)]
    at = dose[["participant_id", "visit", "visit_day", column]].rename(columns={column: "dose"})
    rows = mine.merge(at, on=["participant_id", "visit"])
    rows = rows[rows["dose"].notna()]
    if row["group"] != "all":
        rows = rows[rows["group"] == row["group"]]
    sorted_rows: pd.DataFrame = rows.sort_values(["participant_id", "visit_day"])
    return sorted_rows


def _same_series(values: pd.DataFrame, row: Any) -> Any:
    """Return which person-level rows are those of an outcome of the record."""
    place, _, side = str(row["place"]).rpartition(".")
    stem, _, scale = str(row["measure"]).rpartition(".")
    same = (values["measure"] == stem.partition("@")[0]) & (values["scale"] == scale)
    if not place:
        return same & (values["place"].fillna("-") == str(row["place"]))
    return same & (values["place"].fillna("-") == place) & (values["side_rule"] == side)


def _at_the_end(facts: Facts, people: People, exposure: str) -> pd.DataFrame | None:
    """Return dose up to the later compared visit beside the change of everybody who has both."""
    from outcomes.analysis.association import EXPOSURES

    row, column, dose = facts.row, EXPOSURES[exposure][0], people.dose
    pairs = None if row is None else people.pairs(row)
    if pairs is None or dose is None or column not in dose:
        return None
    at = dose.loc[dose["visit"] == facts.visits[1], ["participant_id", column]].rename(columns={column: "dose"})
    both: pd.DataFrame = pairs[["participant_id", "change"]].merge(at, on="participant_id").dropna()
    return both
