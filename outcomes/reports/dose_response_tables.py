"""Tables of dose: within persons, curves, people left out, who did more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.small_numbers import NOT_SHOWN
from outcomes.reports.tables import Table


def _name(facts: Facts, row: Any) -> str:
    """Return outcome, dose and group of a row."""
    from outcomes.analysis.association import EXPOSURES

    group = "" if row["group"] == "all" else f"; {facts.group_label(row['group'])}"
    return f"{fmt.clean(row['label'], 160)}; {EXPOSURES[row['exposure']][4]}{group}"


def _units(facts: Facts) -> dict[tuple[str, str], str]:
    return {(r["measure"], r["place"]): r["unit"] for r in rows_of(facts.record, "outcomes")}


def _interval(row: Any, name: str, unit: str, otherwise: str = "not given") -> str:
    if row[name] is None:
        return otherwise
    if row[f"{name}_low"] is None:
        return fmt.quantity(row[name], unit, 2)
    return fmt.with_interval(row[name], row[f"{name}_low"], row[f"{name}_high"], unit)


def within(facts: Facts, rows: list[dict[str, Any]] | None = None) -> Table:
    """Return the models of values on a person's own dose with time held; of all outcomes, or of some rows."""
    units = _units(facts)
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "dose_within") if rows is None else rows:
        per = "" if row["per"] is None else f", per {row['per']}"
        name, n = f"{_name(facts, row)}{per}", row["people"] or 0
        if facts.small.hides(n):
            lines.append((name, facts.small.words, *(NOT_SHOWN,) * 5))
        elif row["reason"]:
            lines.append((name, "0", f"not estimable: {fmt.clean(row['reason'])}", *("not estimable",) * 4))
        else:
            unit = units.get((row["measure"], row["place"]), "1")
            why = f"not given: {fmt.clean(row['within_reason'] or 'no reason')}"
            time = "not known" if row["only_time"] is None else f"{fmt.number(100 * row['only_time'])}%"
            inflation = "not known" if row["vif"] is None else fmt.number(row["vif"], 1)
            lines.append(
                (
                    name,
                    f"{fmt.number(n)} people, {fmt.number(row['values'])} values",
                    _interval(row, "within", unit, why),
                    _interval(row, "between", unit),
                    _interval(row, "time", unit),
                    f"{time}; {inflation}",
                    _interval(row, "together", "1"),
                )
            )
    ci = facts.ci
    columns = ["Outcome and dose", "n", f"Within persons, time held ({ci})", f"Between persons ({ci})"]
    columns += [f"Time, a week ({ci})", "Dose that is only time; variance inflation", f"Time not held: r ({ci})"]
    note = (
        "Mixed model of the values at the visits from the earlier to the later compared one, each person's mean dose "
        "and the deviation from it apart, time in the model; Kenward-Roger. Above a variance inflation of 10 no effect "
        "of dose is told from time. An association."
    )
    return Table.build("Dose within and between persons", columns, lines, left=(2,), note=note)


def curves(facts: Facts, rows: list[dict[str, Any]] | None = None) -> Table:
    """Return the shortlist of curves with its weights; of all outcomes, or of some rows."""
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "dose_curves") if rows is None else rows:
        name = _name(facts, row)
        if not row["curve"]:
            lines.append((name, "none", "0", f"not estimable: {fmt.clean(row['reason'])}", *("not estimable",) * 2))
            continue
        if facts.small.hides(row["n"]):
            lines.append((name, row["curve"], facts.small.words, *(NOT_SHOWN,) * 3))
            continue
        half = "none: this curve has none" if row["curve"] != "saturating" else _half(row)
        lines.append(
            (name, row["curve"], fmt.number(row["n"]), fmt.number(row["aicc"], 1), fmt.number(row["weight"], 2), half)
        )
    columns = ("Outcome and dose", "Curve", "n", "AICc", "Weight", "Half-maximal dose")
    note = (
        "Least squares of change on dose with the first value held; the weights of the three curves of one outcome and "
        "dose add up to 1. A half-maximal dose is refused where the data do not bound it. An association."
    )
    return Table.build("Shape of the association", columns, lines, left=(1, 5), note=note)


def _half(row: Any) -> str:
    if row["reason"]:
        return f"not given: {fmt.clean(row['reason'])}"
    return fmt.number(row["half_dose"])


def prediction(facts: Facts) -> Table:
    """Return how well people left out are predicted."""
    units = _units(facts)
    lines: list[tuple[str, ...]] = []
    for row in rows_of(facts.record, "dose_prediction"):
        name, n = _name(facts, row), row["n"] or 0
        if facts.small.hides(n):
            lines.append((name, facts.small.words, *(NOT_SHOWN,) * 4))
        elif row["mean_error"] is None:
            lines.append((name, fmt.number(n), f"not estimable: {fmt.clean(row['reason'])}", *("not estimable",) * 3))
        else:
            unit, places = units.get((row["measure"], row["place"]), "1"), fmt.decimals_for(row["mean_error"])
            errors = [fmt.quantity(row[k], unit, places) for k in ("mean_error", "baseline_error", "dose_error")]
            lines.append((name, fmt.number(n), *errors, fmt.number(row["gain"], 2)))
    columns = ("Outcome and dose", "n", "Error by the mean", "By the first value", "By first value and dose", "Gain")
    note = (
        "Root mean square error of the change of each person, predicted from the others. Gain: 1 less the ratio of "
        "squared errors against the mean; 0 or less means that dose predicts no better than the mean alone."
    )
    return Table.build("Prediction of people left out", columns, lines, left=(2,), note=note)


def origins(facts: Facts) -> Table:
    """Return the rank correlation of dose with what was known of people before."""
    columns = ("Dose", "Known before", "n", f"Rank correlation ({facts.ci})")
    note = "A strong one says that dose was not dealt out by chance; a weak one does not say that it was. Not tested."
    return Table.build("Who did more", columns, list(_origins(facts)), left=(1,), note=note)


def _origins(facts: Facts) -> Iterator[tuple[str, ...]]:
    from outcomes.analysis.association import EXPOSURES

    for row in rows_of(facts.record, "dose_origins"):
        group = "" if row["group"] == "all" else f"; {facts.group_label(row['group'])}"
        name = f"{EXPOSURES[row['exposure']][4]}{group}"
        what, n = fmt.clean(row["characteristic"], 120).replace("_", " "), row["n"]
        if row["rank"] is None:
            why = fmt.clean(row["reason"] or "no reason given")
            yield name, what, "not known" if n is None else facts.small.count(n), f"not estimable: {why}"
        elif facts.small.hides(n):
            yield name, what, facts.small.words, NOT_SHOWN
        elif row["low"] is None:
            yield name, what, fmt.number(n), fmt.number(row["rank"], 2)
        else:
            yield name, what, fmt.number(n), fmt.with_interval(row["rank"], row["low"], row["high"], "1", 2)
