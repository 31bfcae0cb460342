"""Change of every series: means or medians with intervals, people beyond error, transitions between grades."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

from outcomes.analysis.error import ORDINAL
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.error import UsableError
    from outcomes.analysis.plan import Work
    from outcomes.study import Series

PAIRED = {
    "mean": "mean change",
    "sd": "standard deviation of change",
    "before_mean": "mean before",
    "before_sd": "standard deviation before",
    "after_mean": "mean after",
    "after_sd": "standard deviation after",
    "correlation": "correlation of before and after",
    "mean_bca": "mean change, BCa interval",
}
SIZES = {
    "d_z": "change divided by its own standard deviation (d_z)",
    "hedges_g": "d_z with the exact small-sample correction (g)",
    "d_av": "change divided by the mean standard deviation (d_av)",
    "d_rms": "change divided by the root mean square of both standard deviations (d_rms)",
    "d_rm": "d_z times the root of 2 (1 - r) (d_rm)",
    "d_before": "change divided by the standard deviation of the first visit (d_before, Glass)",
    "g_before": "d_before with the exact small-sample correction (g_before)",
}
PERCENT = {
    "mean_percent": "mean of the people's own percent changes",
    "percent_of_mean": "mean change in percent of the mean first value",
    "geometric": "percent change of the geometric mean",
}
OF_TESTS = ("p_cannot_reach", "p_simulated")
"""Caveats that speak of a P value only."""
RANKED = {
    "median_before": "median before",
    "median_after": "median after",
    "hodges_lehmann": "Hodges-Lehmann shift",
    "rank_biserial": "matched rank-biserial correlation",
    "probability_of_rise": "probability of a rise, no change counting a half",
    "lower": "people with a lower grade",
    "same": "people with the same grade",
    "higher": "people with a higher grade",
}
COLUMNS = {
    "key": "", "measure": "", "label": "", "role": "", "place": "", "group": "", "contrast": "", "unit": "",
    "level": "", "better": "", "n": "1", "before_mean": "", "before_sd": "", "after_mean": "", "after_sd": "",
    "change": "", "change_low": "", "change_high": "", "p": "1", "n_better": "1", "n_within": "1", "n_other": "1",
    "mdc": "", "mdc_source": "", "words_better": "", "words_other": "", "reason": "",
}  # fmt: skip


def compare_visits(work: Work) -> None:
    """Write the change of every series in every group, and the tables that pages draw from."""
    rows: list[dict[str, Any]] = []
    transitions: list[tuple[Any, ...]] = []
    people: list[pd.DataFrame] = []
    for group, _, members in work.groups():
        for series in work.study.series:
            row = _row(work, series, group)
            try:
                pairs = work.pairs(series)
                pairs = pairs[pairs.index.isin(members)]
                row["n"] = len(pairs)
                _refuse_too_few(work, series, len(pairs))
                if series.ordinal:
                    _ranked(work, series, group, pairs, row, transitions)
                else:
                    _paired(work, series, group, pairs, row)
                people.append(_people(work, series, group, pairs))
            except DesignError as refusal:
                row["reason"] = refusal.reason
                statistic = "hodges_lehmann" if series.ordinal else "mean"
                work.record.refuse(
                    _key(work, series, group, statistic),
                    refusal.reason,
                    label=f"{series.label}: change",
                    role=series.plan.role,
                    unit=series.scale.unit,
                    n_people=int(row["n"]),
                )
            rows.append(row)
    work.record.add_table("outcomes", COLUMNS, ([row.get(c) for c in COLUMNS] for row in rows))
    columns = dict.fromkeys(("key", "measure", "place", "group", "contrast", "before", "after"), "") | {"n": "1"}
    work.record.add_table("transitions", columns, transitions)
    _adjust(work, rows)
    _keep(work, people)


def _refuse_too_few(work: Work, series: Series, n: int) -> None:
    fewest = work.study.protocol.analysis.min_people
    if series.scale.withheld:
        raise DesignError(f"withheld: {series.scale.withheld}")
    if n == 0:
        raise DesignError("nobody has both values")
    if n < fewest:
        raise DesignError(f"{n} {'person has' if n == 1 else 'people have'} both values; at least {fewest} are needed")


def _key(work: Work, series: Series, group: str, statistic: str) -> str:
    return work.key("change", statistic, series, group=group, contrast=work.contrast_part)


def _row(work: Work, series: Series, group: str) -> dict[str, Any]:
    statistic = "hodges_lehmann" if series.ordinal else "mean"
    better, _, other = series.words
    return {
        "key": _key(work, series, group, statistic),
        "measure": series.measure_part,
        "label": series.label,
        "role": series.plan.role,
        "place": series.place_part,
        "group": group,
        "contrast": work.contrast_part,
        "unit": series.scale.unit,
        "level": series.scale.level,
        "better": series.scale.better,
        "words_better": better,
        "words_other": other,
        "n": 0,
    }


def _paired(work: Work, series: Series, group: str, pairs: pd.DataFrame, row: dict[str, Any]) -> None:
    """Write the change of an interval or ratio scale."""
    from outcomes.change import paired_change

    result = paired_change(
        pairs["before"].to_numpy(),
        pairs["after"].to_numpy(),
        unit=series.scale.unit,
        level=work.level,
        rng=work.rng("change", series.name, group),
        resamples=work.study.protocol.analysis.resamples,
    )
    _write(work, series, group, result, PAIRED)
    wanted = work.study.protocol.analysis.effect_sizes
    _write(work, series, group, result, {name: SIZES[name] for name in wanted if hasattr(result, name)})
    _more_sizes(work, series, group, pairs, tuple(name for name in wanted if not hasattr(result, name)))
    if series.plan.percent:
        _percent(work, series, group, pairs)
    for column, name in (("before_mean", "before_mean"), ("before_sd", "before_sd"), ("after_mean", "after_mean")):
        row[column] = getattr(result, name).value if getattr(result, name) is not None else None
    row["after_sd"] = result.after_sd.value if result.after_sd is not None else None
    row["change"] = result.mean.value
    if result.mean.interval is not None:
        row["change_low"], row["change_high"] = result.mean.interval.low, result.mean.interval.high
    row["p"] = _p(work, series, result.mean)
    error = work.errors.get(series.name)
    if error is None and series.name not in work.unfit:
        return
    try:
        if error is None:
            raise DesignError(work.unfit[series.name])
        _beyond_error(work, series, group, pairs, error, row)
    except DesignError as refusal:
        label = f"{series.label}: people beyond the minimal detectable change"
        key = _key(work, series, group, "share_better")
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, n_people=len(pairs))


def _write(work: Work, series: Series, group: str, result: Any, labels: Mapping[str, str]) -> None:
    """Write the named fields of a result, with the reason of those that are absent."""
    for name, label in labels.items():
        estimate = _untested(work, series, getattr(result, name))
        key, label = _key(work, series, group, name), f"{series.label}: {label}"
        if estimate is not None:
            work.add(key, estimate, label, series.plan.role, inputs=("people/change",))
        elif name in result.reasons:
            n = result.n_people
            work.record.refuse(key, result.reasons[name], label=label, role=series.plan.role, n_people=n)


def _more_sizes(work: Work, series: Series, group: str, pairs: pd.DataFrame, names: tuple[str, ...]) -> None:
    """Write the effect sizes that the plan asks for beside the usual ones."""
    from outcomes.change import paired_effect_sizes

    if names:
        result = paired_effect_sizes(
            pairs["before"].to_numpy(),
            pairs["after"].to_numpy(),
            level=work.level,
            rng=work.rng("effect sizes", series.name, group),
            resamples=work.study.protocol.analysis.resamples,
        )
        _write(work, series, group, result, {name: SIZES[name] for name in names})


def _percent(work: Work, series: Series, group: str, pairs: pd.DataFrame) -> None:
    """Write the change in percent, or why this scale has none."""
    from outcomes.change import percent_change

    before, after = pairs["before"].to_numpy(), pairs["after"].to_numpy()
    try:
        result = percent_change(before, after, scale=series.scale.level, level=work.level)
    except DesignError as refusal:
        label = f"{series.label}: {PERCENT['mean_percent']}"
        key = _key(work, series, group, "mean_percent")
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit="%", n_people=len(pairs))
        return
    for name, label in PERCENT.items():
        key, label, estimate = _key(work, series, group, name), f"{series.label}: {label}", getattr(result, name)
        if estimate is None:
            role, n = series.plan.role, len(pairs)
            work.record.refuse(key, result.reason, label=label, role=role, unit="%", n_people=n)
        else:
            work.add(key, estimate, label, series.plan.role, inputs=("people/change",))


def _untested(work: Work, series: Series, estimate: Estimate | None) -> Estimate | None:
    """Return an estimate without its test where none may be printed.

    Exploratory outcomes are never tested. Where groups are compared no change within a group is: that one group
    changed and the other did not is no evidence of a difference between them.
    """
    if estimate is None or not (series.plan.role == "exploratory" or work.study.protocol.groups):
        return estimate
    caveats = tuple(caveat for caveat in estimate.caveats if caveat not in OF_TESTS)
    return dataclasses.replace(estimate, test=None, caveats=caveats)


def _p(work: Work, series: Series, estimate: Estimate | None) -> float | None:
    tested = _untested(work, series, estimate)
    return tested.test.p if tested is not None and tested.test is not None else None


def _beyond_error(
    work: Work, series: Series, group: str, pairs: pd.DataFrame, error: UsableError, row: dict[str, Any]
) -> None:
    """Write how many people changed by more than the measurement error, and how many would by error alone."""
    from outcomes.change import change_classes

    classes = change_classes(
        pairs["change"].to_numpy(),
        mdc=error.mdc,
        standard_error=error.standard_error,
        degrees_of_freedom=error.degrees_of_freedom,
        better="lower" if series.hoped_sign < 0 else "higher",
        level=work.level,
    )
    good, _, other = series.words
    labels = {
        "better": f"people {good} by at least the minimal detectable change",
        "within": "people within the minimal detectable change",
        "other": f"people {other} by at least the minimal detectable change",
        "share_better": f"share of people {good} by at least the minimal detectable change",
        "expected_by_error": "share of people that error alone would put beyond it",
    }
    inputs = ("people/change", *error.inputs)
    for name, label in labels.items():
        estimate = getattr(classes, name)
        if estimate is not None:
            key = _key(work, series, group, name)
            work.add(key, estimate, f"{series.label}: {label}", series.plan.role, inputs=inputs)
    used = Estimate(
        value=error.mdc, unit=series.scale.unit, method="mdc_used", n_people=len(pairs), n_values=len(pairs),
        source=error.source, caveats=error.caveats,
    )  # fmt: skip
    label = f"{series.label}: minimal detectable change that people are held against"
    work.add(_key(work, series, group, "mdc95_used"), used, label, series.plan.role, inputs=error.inputs)
    row |= {"mdc": error.mdc, "mdc_source": error.source}
    row |= {f"n_{name}": getattr(classes, name).value for name in ("better", "within", "other")}


def _ranked(
    work: Work,
    series: Series,
    group: str,
    pairs: pd.DataFrame,
    row: dict[str, Any],
    transitions: list[tuple[Any, ...]],
) -> None:
    """Write the change of an ordinal scale: by rank, and as a table of who moved from which grade to which."""
    from outcomes.change import ordinal_change, transition_table

    levels = series.definition.levels(series.scale.key)
    before, after = pairs["before"].to_numpy(), pairs["after"].to_numpy()
    result = ordinal_change(before, after, levels=levels, unit=series.scale.unit, level=work.level)
    for name, label in RANKED.items():
        estimate = _untested(work, series, getattr(result, name))
        if estimate is not None:
            key = _key(work, series, group, name)
            work.add(key, estimate, f"{series.label}: {label}", series.plan.role, inputs=("people/change",))
    work.record.refuse(
        _key(work, series, group, "mdc95"),
        ORDINAL,
        label=f"{series.label}: minimal detectable change",
        role=series.plan.role,
        n_people=len(pairs),
    )
    shift = result.hodges_lehmann
    row |= {"before_mean": None, "change": shift.value if shift is not None else None}
    if shift is not None and shift.interval is not None:
        row["change_low"], row["change_high"] = shift.interval.low, shift.interval.high
    row["p"] = _p(work, series, shift)
    rose, fell = (result.higher.value, result.lower.value)
    row["n_within"] = result.same.value
    row["n_better"], row["n_other"] = (rose, fell) if series.hoped_sign >= 0 else (fell, rose)
    if levels is None or len(levels) > 10:
        return
    names = series.definition.level_names(series.scale.key)
    table = transition_table(before, after, levels=levels)
    for i, first in enumerate(names):
        for j, second in enumerate(names):
            n = int(table.counts[i][j])
            if n:
                place = series.place_part
                cell = (row["key"], series.measure_part, place, group, work.contrast_part, first, second, n)
                transitions.append(cell)


def _people(work: Work, series: Series, group: str, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the change of every person of one series, with the class against the measurement error."""
    from outcomes.change import classify

    error = work.errors.get(series.name)
    words = dict(zip(("better", "within", "other"), series.words, strict=True))
    out = pairs.reset_index().rename(columns={"index": "participant_id"})
    if error is None:
        out["class"] = ""
    else:
        direction: Literal["lower", "higher"] = "lower" if series.hoped_sign < 0 else "higher"
        classes = classify(out["change"].to_numpy(), mdc=error.mdc, better=direction)
        out["class"] = [words[name] for name in classes]
    out["group"] = group
    out["key"] = _key(work, series, group, "hodges_lehmann" if series.ordinal else "mean")
    out["measure"], out["scale"] = series.definition.key, series.scale.key
    out["place"], out["side_rule"] = series.place, series.sides
    out["before_visit"], out["after_visit"] = work.contrast or ("", "")
    return out


def _keep(work: Work, people: list[pd.DataFrame]) -> None:
    import pandas as pd

    columns = ["participant_id", "group", "key", "measure", "scale", "place", "side_rule", "before_visit"]
    columns += ["after_visit", "before", "after", "change", "improvement", "class", "cells"]
    work.people["change"] = pd.concat(people, ignore_index=True)[columns] if people else pd.DataFrame(columns=columns)


def _adjust(work: Work, rows: list[dict[str, Any]]) -> None:
    """Write the p values of secondary outcomes adjusted for their number; one family per group."""
    for group in dict.fromkeys(row["group"] for row in rows):
        adjust_family(work, [row for row in rows if row["group"] == group])


def adjust_family(work: Work, rows: list[dict[str, Any]]) -> None:
    """Write the p values of the secondary outcomes among some rows, adjusted for their number.

    Parameters
    ----------
    work : Work
    rows : list of dict
        Rows with key, label, role, n and p; those with an adjusted p get it as `p_adjusted`.
    """
    from outcomes.change import benjamini_hochberg, holm

    rule = work.study.protocol.analysis.multiplicity
    family = [row for row in rows if row["role"] == "secondary" and row.get("p") is not None]
    if rule == "none" or not family:
        return
    adjust = {"holm": holm, "bh": benjamini_hochberg}[rule]
    for row, p in zip(family, adjust([row["p"] for row in family]), strict=True):
        estimate = Estimate(value=float(p), unit="1", method=f"p_{rule}", n_people=row["n"], n_values=row["n"])
        head, _, _ = row["key"].rpartition("/")
        work.add(f"{head}/p_{rule}", estimate, f"{row['label']}: p adjusted", "secondary", inputs=(row["key"],))
        row["p_adjusted"] = float(p)
