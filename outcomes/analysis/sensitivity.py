"""What else could have moved the values: flags, and the main number in the hands of other rules."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from outcomes.analysis import values as _values
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.result import Estimate
    from outcomes.study import Series
    from protocols.schema import EventRule

COLUMNS = {
    "key": "", "measure": "", "label": "", "role": "", "place": "", "group": "", "contrast": "", "unit": "", "run": "",
    "n": "1", "left_out": "1", "unknown": "1", "change": "", "low": "", "high": "", "main_n": "1", "main_change": "",
    "reason": "",
}  # fmt: skip
FLAGS = {"flag": "", "measure": "", "place": "", "people": "1", "known": "1", "words": ""}

NO_MEAN = (
    "people were let in by their first value; entry_mean under [[measures]] would tell what that alone would bring"
)
NO_RELIABILITY = "the clinic's own repeat tests of it are needed for the reliability"


@dataclass(frozen=True)
class Run:
    """One run beside the main one.

    Parameters
    ----------
    name : str
        As the protocol spells it, or the rule of an event.
    touched, unknown : set of str
        People whom it leaves out, and people of whom it is not known whether it should (left out, too).
    pairs : DataFrame, optional
        Values by another rule; those of the main run where None.
    """

    name: str
    touched: frozenset[str] = frozenset()
    unknown: frozenset[str] = frozenset()
    pairs: pd.DataFrame | None = None

    @property
    def statistic(self) -> str:
        """Last part of the record key."""
        return "mean_" + "".join(c if c.isalnum() else "_" for c in self.name)


def question_change(work: Work) -> None:
    """Write flags for recovery, raters, medicine and selection, and every run that the plan sets beside the main."""
    rows: list[dict[str, Any]] = []
    flags: list[dict[str, Any]] = []
    if work.contrast is not None:
        early = _early(work)
        _flag(work, flags, "natural_recovery", early, "people early after onset, who may still recover by themselves")
        _flag(work, flags, "medicine", _medicine(work), "people whose medicine changed between the compared visits")
        for series in work.study.series:
            if series.plan.role == "exploratory" or series.name in work.refused:
                continue
            _flag(
                work,
                flags,
                "raters",
                _other_rater(work, series),
                "people seen by another rater at the two visits",
                series,
            )
            if _steady(series):
                run = _other_circumstances(work, series)
                words = "people measured under other circumstances, such as another walking aid, at the two visits"
                _flag(work, flags, "circumstances", run, words, series)
            _selection(work, series, flags)
            for group, _, members in work.groups():
                rows += [_tried(work, series, group, members, run) for run in _runs(work, series, early)]
    work.record.add_table("sensitivity", COLUMNS, ([row.get(c) for c in COLUMNS] for row in rows))
    work.record.add_table("flags", FLAGS, ([row.get(c) for c in FLAGS] for row in flags))


# ------------------------------------------------------------------------------------------------------ flags


def _early(work: Work) -> Run:
    limit = work.study.protocol.analysis.recovery_months
    months = work.participants["months_since_onset"]
    return Run("natural recovery", _ids(months.index[months < limit]), _ids(months.index[months.isna()]))


def _medicine(work: Work) -> Run:
    if not work.study.has("changes"):
        return Run("medicine unchanged", unknown=_ids(work.participants.index))
    return Run(
        "medicine unchanged", _ids(_values.first_event(work.study, "changes", "medicine", work.visit_days).index)
    )


def _other_rater(work: Work, series: Series) -> Run:
    """Return who was measured by different raters at the two compared visits, and of whom a rater is not noted."""
    rows = work.study.table("assessments")
    place = rows["place"].fillna("") == series.place
    rows = rows[(rows["measure"] == series.definition.key) & place & rows["visit"].isin(list(work.contrast or ()))]
    rows = rows[rows["response"].notna()]
    by = rows.groupby(["participant_id", "visit"])["rater"]
    noted = by.agg(_raters).unstack("visit")
    two = noted.reindex(columns=list(work.contrast or ()))
    unknown = two.isna().any(axis=1)
    other = (two.iloc[:, 0] != two.iloc[:, 1]) & ~unknown
    return Run("same rater", _ids(two.index[other]), _ids(two.index[unknown]))


def _steady(series: Series) -> list[str]:
    """Return the context items that should be as before; a variant is never joined with another anyway."""
    definition = series.definition
    return [item for item in definition.circumstances if item not in definition.rows.variant]


def _other_circumstances(work: Work, series: Series) -> Run:
    """Return whose walking aid, chair, posture or the like differs between the compared visits, or was not noted."""
    visits = list(work.contrast or ())
    rows = work.study.table("assessments")
    here = rows["place"].fillna("").isin(["", series.place]) & rows["visit"].isin(visits) & rows["response"].notna()
    rows = rows[here & (rows["measure"] == series.definition.key)]
    rows = rows[rows["item"].isin(_steady(series))]
    noted = rows.groupby(["participant_id", "item", "visit"])["response"].agg(
        lambda words: " ".join(sorted(set(words)))
    )
    both = noted.unstack("visit").reindex(columns=visits).dropna()
    differs = both[both.iloc[:, 0] != both.iloc[:, 1]]
    known = _ids(both.index.get_level_values("participant_id"))
    return Run(
        "same circumstances",
        _ids(differs.index.get_level_values("participant_id")),
        _ids(work.participants.index) - known,
    )


def _raters(noted: pd.Series[Any]) -> Any:
    """Return who measured one value; None where that was not noted throughout."""
    return None if noted.isna().any() else " ".join(sorted({str(rater) for rater in noted}))


def _ids(people: Any) -> frozenset[str]:
    return frozenset(str(person) for person in people)


def _flag(
    work: Work, flags: list[dict[str, Any]], name: str, run: Run, words: str, series: Series | None = None
) -> None:
    """Write how many people something is true of, among those of whom it is known."""
    people = _ids(work.participants.index)
    if series is not None:
        try:
            people = _ids(work.pairs(series).index)
        except DesignError:
            return
    known = people - run.unknown
    key = work.key("flag", name, series, contrast=work.contrast_part)
    if not known:
        work.record.refuse(key, "it is not known of anybody", label=words, unit="1")
    else:
        work.count(key, len(run.touched & known), words, people=len(known), inputs=_inputs(name))
    flags.append(
        {"flag": name, "people": len(run.touched & known), "known": len(known), "words": words}
        | ({} if series is None else {"measure": series.measure_part, "place": series.place_part})
    )


def _inputs(name: str) -> tuple[str, ...]:
    tables = {"natural_recovery": ("participants",), "medicine": ("changes", "visits"), "raters": ("assessments",)} | {
        "circumstances": ("assessments",)
    }
    return tuple(f"ledger/{table}" for table in tables[name])


def _selection(work: Work, series: Series, flags: list[dict[str, Any]]) -> None:
    """Write the change that selection by the first value alone would bring, where the plan names a cut-off."""
    from outcomes.models import regression_to_the_mean

    plan = series.plan
    if plan.entry_cut is None:
        return
    key = work.key("flag", "regression_to_mean", series, contrast=work.contrast_part)
    label = f"{series.label}: change that selection by the first value alone would bring"
    try:
        if series.ordinal:
            raise DesignError("a grade only ranks, so what selection alone would bring has no size")
        if plan.entry_mean is None:
            raise DesignError(NO_MEAN)
        icc = work.record.get(work.key("reliability", "icc_a_1", series))
        if icc is None or not isinstance(icc.value, float):
            raise DesignError(NO_RELIABILITY)
        pairs = work.pairs(series)
        found = regression_to_the_mean(
            pairs["before"].to_numpy(dtype=float), population_mean=plan.entry_mean,
            reliability=min(1.0, max(0.0, icc.value)), reliability_interval=icc.interval, unit=series.scale.unit,
        )  # fmt: skip
        work.add(key, found.expected, label, plan.role, inputs=("people/change", icc.key, "protocol/measures"))
        words = found.summary()
    except DesignError as refusal:
        words = refusal.reason
        work.record.refuse(key, refusal.reason, label=label, role=plan.role, unit=series.scale.unit)
    row = {"flag": "regression_to_mean", "measure": series.measure_part, "place": series.place_part, "words": words}
    flags.append(row)


# ------------------------------------------------------------------------------------------------------ runs


def _runs(work: Work, series: Series, early: Run) -> Iterator[Run]:
    analysis = work.study.protocol.analysis
    made: dict[str, Callable[[], Run]] = {
        "natural recovery": lambda: dataclasses.replace(early, name="without early recovery"),
        "same rater": lambda: _other_rater(work, series),
        "medicine unchanged": lambda: _medicine(work),
    }
    for name in analysis.sensitivity:
        yield made[name]()
    for rule in analysis.events:
        medicine = rule.kind == "medicine" and rule.strategy == "whatever happened"
        if not (medicine and "medicine unchanged" in analysis.sensitivity):
            yield _by_other_rule(work, series, rule)


def _by_other_rule(work: Work, series: Series, rule: EventRule) -> Run:
    """Return the run by the other strategy for one kind of event: without those people, or whatever happened."""
    kind = rule.kind.replace("_", " ")
    if rule.strategy == "whatever happened":
        first = (
            _values.first_event(work.study, rule.table, rule.kind, work.visit_days)
            if work.study.has(rule.table)
            else ()
        )
        return Run(f"without {kind}", _ids(getattr(first, "index", ())))
    rules = [other for other in work.study.protocol.analysis.events if other is not rule]
    values = _values.series_values(work.scores, series, work.participants["trained_side"], "visit")
    values = _values.drop_values(work.study, values, series, work.visit_days, rules=rules)
    assert work.contrast is not None
    before, after = (values[values["visit"] == v].set_index("participant_id")["value"] for v in work.contrast)
    pairs = before.rename("before").to_frame().join(after.rename("after"), how="inner").dropna().sort_index()
    return Run(f"whatever {kind}", pairs=pairs.assign(change=pairs["after"] - pairs["before"]))


def _tried(work: Work, series: Series, group: str, members: Any, run: Run) -> dict[str, Any]:
    """Write the change of one series in one run, or why there is none."""
    key = work.key("sensitivity", run.statistic, series, group=group, contrast=work.contrast_part)
    row: dict[str, Any] = {
        "key": key, "measure": series.measure_part, "label": series.label, "role": series.plan.role,
        "place": series.place_part, "group": group, "contrast": work.contrast_part, "unit": series.scale.unit,
        "run": run.name,
    }  # fmt: skip
    try:
        main = work.pairs(series)
        main = main[main.index.isin(members)]
        pairs = main if run.pairs is None else run.pairs[run.pairs.index.isin(members)]
        kept = pairs[~pairs.index.isin(run.touched | run.unknown)]
        row |= {"n": len(kept), "left_out": int(pairs.index.isin(run.touched - run.unknown).sum())}
        row |= {"unknown": int(pairs.index.isin(run.unknown).sum()), "main_n": len(main)}
        if len(main):
            row["main_change"] = _change(work, series, main).value
        if run.pairs is None and len(kept) == len(pairs):
            raise DesignError("nobody is left out, so it is the main number")
        fewest = work.study.protocol.analysis.min_people
        if len(kept) < fewest:
            raise DesignError(
                f"{len(kept)} {'person is' if len(kept) == 1 else 'people are'} left; {fewest} are needed"
            )
        found = _change(work, series, kept)
    except DesignError as refusal:
        row["reason"] = refusal.reason
        label = f"{series.label}: change, {run.name}"
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return row
    label = f"{series.label}: change, {run.name}"
    work.add(key, found, label, series.plan.role, inputs=("people/values",))
    row["change"] = found.value
    if found.interval is not None:
        row |= {"low": found.interval.low, "high": found.interval.high}
    return row


def _change(work: Work, series: Series, pairs: pd.DataFrame) -> Estimate:
    """Return the mean change (of grades the Hodges-Lehmann shift), without test: the main number alone is tested."""
    from outcomes.change import ordinal_change, paired_change

    before, after = pairs["before"].to_numpy(dtype=float), pairs["after"].to_numpy(dtype=float)
    if series.ordinal:
        levels = series.definition.levels(series.scale.key)
        found = ordinal_change(before, after, levels=levels, unit=series.scale.unit, level=work.level).hodges_lehmann
    else:
        rng = work.rng("sensitivity", series.name)
        found = paired_change(before, after, unit=series.scale.unit, level=work.level, rng=rng, resamples=100).mean
    return dataclasses.replace(found, test=None)
