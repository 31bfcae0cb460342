"""Difference between groups: given the first value, of mean changes, of shares; ordinal scales by rank."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from outcomes.analysis.change import adjust_family
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.change import AnalysisOfCovariance
    from outcomes.study import Series

COLUMNS = {
    "key": "", "measure": "", "label": "", "role": "", "place": "", "group": "", "reference": "", "contrast": "",
    "unit": "", "level": "", "better": "", "words_better": "", "n": "1", "n_group": "1", "n_reference": "1",
    "method": "", "difference": "", "low": "", "high": "", "p": "1", "p_adjusted": "1", "change_difference": "",
    "change_low": "", "change_high": "", "size": "1", "size_low": "1", "size_high": "1", "size_name": "",
    "better_group": "1", "better_reference": "1", "share_difference": "1", "share_low": "1", "share_high": "1",
    "needed": "1", "needed_first": "1", "needed_last": "1", "slopes_differ_p": "1", "reason": "",
}  # fmt: skip
"""Columns of the record's table ``group_differences``, one row for each outcome and group beside the reference."""


def compare_groups(work: Work) -> None:
    """Write how the groups differ in every outcome; nothing where the study has no groups."""
    groups = work.study.protocol.groups
    if not groups:
        return
    reference = next(group.key for group in groups if group.reference)
    rows: list[dict[str, Any]] = []
    for series in work.study.series:
        mine = [_row(work, series, group.key, reference) for group in groups if group.key != reference]
        try:
            _compared(work, series, reference, mine)
        except DesignError as refusal:
            for row in mine:
                _refuse(work, series, row, refusal.reason)
        rows += mine
    for group in groups:
        adjust_family(work, [row for row in rows if row["group"] == group.key])
    work.record.add_table("group_differences", COLUMNS, ([row.get(c) for c in COLUMNS] for row in rows))


def _row(work: Work, series: Series, group: str, reference: str) -> dict[str, Any]:
    statistic = "cliff_dominance" if series.ordinal else "ancova_difference"
    return {
        "key": _key(work, series, group, reference, statistic),
        "measure": series.measure_part,
        "label": series.label,
        "role": series.plan.role,
        "place": series.place_part,
        "group": group,
        "reference": reference,
        "contrast": work.contrast_part,
        "unit": series.scale.unit,
        "level": series.scale.level,
        "better": series.scale.better,
        "words_better": series.words[0],
        "n": 0,
    }


def _key(work: Work, series: Series, group: str, reference: str, statistic: str) -> str:
    return work.key("groups", statistic, series, group=f"{group}_minus_{reference}", contrast=work.contrast_part)


def _refuse(work: Work, series: Series, row: dict[str, Any], reason: str) -> None:
    row["reason"] = reason
    unit = "1" if series.ordinal else series.scale.unit
    label = f"{series.label}: {row['group']} minus {row['reference']}"
    work.record.refuse(row["key"], reason, label=label, role=series.plan.role, unit=unit, n_people=int(row["n"]))


def _compared(work: Work, series: Series, reference: str, rows: list[dict[str, Any]]) -> None:
    """Write one outcome: all groups in one model, or each against the reference by rank."""
    pairs = work.pairs(series).copy()
    pairs["group"] = work.participants["group"].reindex(pairs.index)
    pairs = pairs[pairs["group"].isin([reference, *(row["group"] for row in rows)])]
    counts = pairs["group"].value_counts()
    for row in rows:
        row["n_group"], row["n_reference"] = (int(counts.get(row[name], 0)) for name in ("group", "reference"))
        row["n"] = row["n_group"] + row["n_reference"]
    short = _too_few(counts, reference, work.study.protocol.analysis.min_people)
    if short:
        raise DesignError(short)
    for row in rows:
        short = _too_few(counts, row["group"], work.study.protocol.analysis.min_people)
        if short:
            _refuse(work, series, row, short)
    rows = [row for row in rows if not row.get("reason")]
    pairs = pairs[pairs["group"].isin([reference, *(row["group"] for row in rows)])]
    if not rows:
        return
    if series.ordinal:
        for row in rows:
            _by_rank(work, series, pairs, row)
        return
    from outcomes.change import analysis_of_covariance

    fit = analysis_of_covariance(
        pairs["before"].to_numpy(), pairs["after"].to_numpy(), list(pairs["group"]), reference=reference,
        unit=series.scale.unit, level=work.level, spread=work.study.protocol.analysis.group_spread,
    )  # fmt: skip
    for row in rows:
        _given_first_value(work, series, fit, row)
        _of_changes(work, series, pairs, row)
        _beyond_error(work, series, pairs, row)


def _too_few(counts: pd.Series[int], group: str, fewest: int) -> str:
    """Return why a group cannot be compared, or nothing; the other groups are compared without it."""
    have = int(counts.get(group, 0))
    who = "person has" if have == 1 else "people have"
    return f"{have} {who} both values in group {group}; at least {fewest} are needed" if have < fewest else ""


def _write(work: Work, series: Series, row: dict[str, Any], statistic: str, estimate: Estimate, label: str) -> None:
    """Write one number of a comparison, untested where the outcome is exploratory, with the caveat of the design."""
    if work.study.protocol.study.allocation != "randomised":
        estimate = dataclasses.replace(estimate, caveats=(*estimate.caveats, "not_randomised"))
    if series.plan.role == "exploratory":
        estimate = dataclasses.replace(estimate, test=None)
    key = _key(work, series, row["group"], row["reference"], statistic)
    words = f"{series.label}: {row['group']} minus {row['reference']}, {label}"
    work.add(key, estimate, words, series.plan.role, inputs=("people/change",))


def _ends(estimate: Estimate) -> tuple[Any, Any, Any]:
    interval = estimate.interval
    return (estimate.value, *((interval.low, interval.high) if interval is not None else (None, None)))


def _given_first_value(work: Work, series: Series, fit: AnalysisOfCovariance, row: dict[str, Any]) -> None:
    found = fit.difference[row["group"]]
    _write(work, series, row, "ancova_difference", found, "later value given the first")
    _write(work, series, row, "ancova_slope", fit.slope, "later value per unit of the first, within groups")
    row["method"] = found.method
    row["difference"], row["low"], row["high"] = _ends(found)
    row["p"] = found.test.p if found.test is not None and series.plan.role != "exploratory" else None
    test = fit.slopes_differ
    if test is not None and series.plan.role != "exploratory":
        note = Estimate(
            value=test.statistic, unit="1", method="slopes_differ", n_people=found.n_people, n_values=found.n_values,
            test=test,
        )  # fmt: skip
        _write(work, series, row, "slopes_differ", note, "F of slopes that are not the same in all groups")
        row["slopes_differ_p"] = test.p


def _of_changes(work: Work, series: Series, pairs: pd.DataFrame, row: dict[str, Any]) -> None:
    """Write the difference of the mean changes and the pre-post-control effect size; neither is tested again."""
    from outcomes.change import difference_of_changes, pre_post_control

    two = [pairs[pairs["group"] == row[name]] for name in ("group", "reference")]
    changes = [part["change"].to_numpy() for part in two]
    try:
        found = difference_of_changes(*changes, unit=series.scale.unit, level=work.level).difference
        once = dataclasses.replace(found, test=None)
        _write(work, series, row, "change_difference", once, "difference of the mean changes")
        row["change_difference"], row["change_low"], row["change_high"] = _ends(found)
        values = [part[name].to_numpy() for part in two for name in ("before", "after")]
        size = pre_post_control(
            *values, level=work.level, resamples=max(1000, work.study.protocol.analysis.resamples),
            rng=work.rng("groups", series.name, row["group"]),
        )  # fmt: skip
    except DesignError as refusal:
        key = _key(work, series, row["group"], row["reference"], "d_ppc2")
        label = f"{series.label}: {row['group']} minus {row['reference']}, pre-post-control effect size"
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit="1", n_people=row["n"])
        return
    _write(work, series, row, "d_ppc2", size.d_ppc2, "pre-post-control effect size")
    if size.d_ppc2_bootstrap is not None:
        _write(work, series, row, "d_ppc2_bootstrap", size.d_ppc2_bootstrap, "pre-post-control effect size, bootstrap")
    row["size_name"] = "d_ppc2"
    row["size"], row["size_low"], row["size_high"] = _ends(size.d_ppc2)


def _beyond_error(work: Work, series: Series, pairs: pd.DataFrame, row: dict[str, Any]) -> None:
    """Write the shares of people beyond the minimal detectable change against each other, and the number needed."""
    from outcomes.change import classify, number_needed_to_treat

    error = work.errors.get(series.name)
    if error is None:
        return
    direction: Any = "lower" if series.hoped_sign < 0 else "higher"
    counts = [
        classify(pairs.loc[pairs["group"] == row[name], "change"].to_numpy(), mdc=error.mdc, better=direction).count(
            "better"
        )
        for name in ("group", "reference")
    ]
    row["better_group"], row["better_reference"] = counts
    found = number_needed_to_treat(counts[0], row["n_group"], counts[1], row["n_reference"], level=work.level)
    good = series.words[0]
    label = f"share of people {good} by at least the minimal detectable change"
    _write(work, series, row, "share_difference", found.difference, label)
    row["share_difference"], row["share_low"], row["share_high"] = _ends(found.difference)
    _number_needed(work, series, row, found)


def _number_needed(work: Work, series: Series, row: dict[str, Any], found: Any) -> None:
    """Write the number needed with both ends of its interval; an infinite one stands as a word."""
    label = f"people trained for one more who is {series.words[0]} by at least the minimal detectable change"
    if found.number is None:
        key = _key(work, series, row["group"], row["reference"], "number_needed")
        words = f"{series.label}: {row['group']} minus {row['reference']}, {label}"
        work.record.refuse(key, found.reason, label=words, role=series.plan.role, unit="1", n_people=row["n"])
    else:
        _write(work, series, row, "number_needed", found.number, label)
        row["needed"] = found.number.value
    for (name, end), column in zip(_named_ends(found.ends), ("needed_first", "needed_last"), strict=True):
        row[column] = end
        if isinstance(end, float):
            one = Estimate(value=end, unit="1", method="number_needed_end", n_people=row["n"], n_values=row["n"])
            _write(work, series, row, name, one, f"{label}: end of the interval")


def _named_ends(ends: tuple[float, float]) -> Iterator[tuple[str, float | None]]:
    for name, end in zip(("number_needed_first_end", "number_needed_last_end"), ends, strict=True):
        yield name, end if abs(end) != float("inf") else None


def _by_rank(work: Work, series: Series, pairs: pd.DataFrame, row: dict[str, Any]) -> None:
    """Write how often a change of one group lies above one of the other: a grade only ranks."""
    from outcomes.change import rank_comparison

    changes = [pairs.loc[pairs["group"] == row[name], "change"].to_numpy() for name in ("group", "reference")]
    found = rank_comparison(*changes, level=work.level, rng=work.rng("groups", series.name, row["group"]))
    _write(work, series, row, "cliff_dominance", found.cliff_dominance, "changes of grade by rank (Cliff's delta)")
    _write(work, series, row, "common_language", found.common_language, "chance of the larger change of grade")
    row |= {"method": "cliff_dominance", "size_name": "cliff_dominance"}
    row["size"], row["size_low"], row["size_high"] = _ends(found.cliff_dominance)
    row["difference"], row["low"], row["high"] = _ends(found.cliff_dominance)
    test = found.cliff_dominance.test
    row["p"] = test.p if test is not None and series.plan.role != "exploratory" else None
