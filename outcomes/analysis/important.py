"""What people themselves call an important change, sizes by the spread alone, and which single persons changed
reliably."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.result import Estimate
    from outcomes.study import Series

ANCHORED = {
    "roc": "important change, ROC cut-point",
    "predicted": "important change, predictive modelling",
    "adjusted": "important change, predictive modelling adjusted for the share of important changes",
    "mean_change": "important change, mean change of people just above 'no change'",
    "area": "area under the ROC curve of change against the anchor",
    "sensitivity": "people with an important change who reach the ROC cut-point",
    "specificity": "people without an important change who do not reach the ROC cut-point",
    "share_important": "people whose own rating calls the change important",
}
UNANCHORED = {
    "half_sd": "half a standard deviation of the first visit (no anchor)",
    "one_standard_error": "one standard error of measurement (no anchor)",
}
RELIABLE = {
    "better": "people with a reliable change in the good direction",
    "within": "people without a reliable change",
    "other": "people with a reliable change the other way",
    "share_better": "share of people with a reliable change in the good direction",
    "share_other": "share of people with a reliable change the other way",
    "expected_by_error": "share of people that error alone would put beyond",
}


def find_important_change(work: Work) -> None:
    """Write the important change of every outcome that has an anchor, and the reliable changes that were asked for."""
    for series in work.study.series:
        if series.plan.anchor is not None:
            _anchored(work, series)
        if series.plan.anchor is not None or series.plan.distribution_based:
            _unanchored(work, series)
        if series.plan.reliable_change != "none":
            _reliable(work, series)


def _key(work: Work, series: Series, analysis: str, statistic: str, group: str = "all") -> str:
    return work.key(analysis, statistic, series, group=group, contrast=work.contrast_part)


def _anchored(work: Work, series: Series) -> None:
    """Write what the anchor says; everybody together, as what matters to a person is no matter of the group."""
    from outcomes.change import important_change

    label = f"{series.label}: {ANCHORED['roc']}"
    try:
        if series.ordinal:
            raise DesignError("a grade only ranks, so no size of change between grades can be important")
        if not series.hoped_sign:
            raise DesignError("the outcome has no better or hoped-for direction, so no change of it can be important")
        pairs, important, slightly = _rated(work, series)
        result = important_change(
            pairs["improvement"].to_numpy(), important, slightly=slightly, unit=series.scale.unit, level=work.level,
            resamples=max(1000, work.study.protocol.analysis.resamples), rng=work.rng("important", series.name),
        )  # fmt: skip
    except DesignError as refusal:
        key = _key(work, series, "important", "roc")
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return
    _write(work, series, result, ANCHORED, ("anchor_follows_state",))


def _unanchored(work: Work, series: Series) -> None:
    """Write what the spread of the first values and the measurement error say, of everybody with both values."""
    from outcomes.change import distribution_based_change

    error = work.errors.get(series.name)
    try:
        if series.ordinal:
            raise DesignError("a grade only ranks, so its spread has no size")
        size = distribution_based_change(
            work.pairs(series)["before"].to_numpy(), unit=series.scale.unit, level=work.level,
            standard_error=error.standard_error if error is not None else None,
            degrees_of_freedom=error.degrees_of_freedom if error is not None else None,
        )  # fmt: skip
    except DesignError as refusal:
        key, label = _key(work, series, "important", "half_sd"), f"{series.label}: {UNANCHORED['half_sd']}"
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return
    _write(work, series, size, UNANCHORED, ("no_anchor",))


def _write(work: Work, series: Series, result: Any, labels: dict[str, str], caveats: tuple[str, ...]) -> None:
    reasons = getattr(result, "reasons", None) or {name: getattr(result, "reason", "") for name in labels}
    for name, label in labels.items():
        key, words, estimate = _key(work, series, "important", name), f"{series.label}: {label}", getattr(result, name)
        if estimate is None:
            n = result.n_people
            work.record.refuse(
                key, reasons[name], label=words, role=series.plan.role, unit=series.scale.unit, n_people=n
            )
            continue
        estimate = dataclasses.replace(estimate, caveats=(*estimate.caveats, *caveats))
        work.add(key, estimate, words, series.plan.role, inputs=("people/change", "people/values"))


def _rated(work: Work, series: Series) -> tuple[pd.DataFrame, Any, Any]:
    """Return the pairs of everybody with a rating, whether it calls the change important, and whether slightly so."""
    plan = series.plan
    anchor = next((s for s in work.study.series if s.definition.key == plan.anchor), None)
    assert anchor is not None
    assert work.contrast is not None
    assert plan.anchor_important is not None
    values = work.values[anchor.name]
    at = values[values["visit"] == work.contrast[1]].set_index("participant_id")["value"].dropna().rename("rating")
    pairs = work.pairs(series).join(at, how="inner")
    if not len(pairs):
        raise DesignError(f"nobody has both values and a rating of {anchor.definition.title}")
    sign = -1 if anchor.scale.better == "lower" else 1
    important = (sign * pairs["rating"] >= sign * plan.anchor_important).to_numpy()
    slightly = None
    if plan.anchor_slight is not None:
        low, high = plan.anchor_slight
        slightly = ((pairs["rating"] >= low) & (pairs["rating"] <= high)).to_numpy()
    return pairs, important, slightly


def _reliable(work: Work, series: Series) -> None:
    """Write the reliable change index of every person: the index to the people, the counts to the record."""
    from outcomes.change import reliable_change

    frames = []
    for group, _, members in work.groups():
        try:
            pairs = work.pairs(series)
            pairs = pairs[pairs.index.isin(members)]
            error, df, practice, inputs = _error_and_practice(work, series)
            result = reliable_change(
                pairs["before"].to_numpy(), pairs["after"].to_numpy(), standard_error=error, degrees_of_freedom=df,
                practice=practice, better="lower" if series.hoped_sign < 0 else "higher", level=work.level,
            )  # fmt: skip
        except DesignError as refusal:
            key, label = _key(work, series, "reliable_change", "share_better", group), RELIABLE["share_better"]
            words = f"{series.label}: {label}"
            work.record.refuse(key, refusal.reason, label=words, role=series.plan.role, unit="1")
            continue
        for name, label in RELIABLE.items():
            estimate: Estimate = getattr(result, name)
            key = _key(work, series, "reliable_change", name, group)
            words = f"{series.label}: {label} ({result.form})"
            work.add(key, estimate, words, series.plan.role, inputs=("people/reliable_change", *inputs))
        table = pairs[["before", "after", "change"]].reset_index(names="participant_id")
        table = table.assign(group=group, series=series.name, form=result.form, practice=result.practice)
        frames.append(table.assign(index=result.index, reliable=result.classes))
    _keep(work, frames)


def _keep(work: Work, frames: list[pd.DataFrame]) -> None:
    import pandas as pd

    if frames:
        before = [work.people["reliable_change"]] if "reliable_change" in work.people else []
        work.people["reliable_change"] = pd.concat([*before, *frames], ignore_index=True)


def _error_and_practice(work: Work, series: Series) -> tuple[float, float | None, float | None, tuple[str, ...]]:
    """Return standard error, its degrees of freedom, practice (None in the classic form) and what they come from.

    Classic: the error of agreement. Practice adjusted: the repeats' mean change from the first to the last occasion is
    taken off, and so the error is that of consistency, which does not hold it a second time.
    """
    error = work.errors.get(series.name)
    if error is None:
        raise DesignError(work.unfit.get(series.name, "there is no measurement error of its own repeat tests"))
    if series.plan.reliable_change == "classic":
        return error.standard_error, error.degrees_of_freedom, None, error.inputs
    key = work.key("reliability", "standard_error_consistency", series)
    entry = work.record.get(key)
    if entry is None or not isinstance(entry.value, float):
        raise DesignError("the repeat tests give no error of consistency")
    repeats = work.people["repeats"]
    wide = repeats[repeats["series"] == series.name].pivot(index="participant_id", columns="occasion", values="value")
    wide = wide.dropna().sort_index(axis=1)
    practice = float((wide.iloc[:, -1] - wide.iloc[:, 0]).mean())
    df = (len(wide) - 1) * (wide.shape[1] - 1)
    return entry.value, float(df), practice, (key, "people/repeats")
