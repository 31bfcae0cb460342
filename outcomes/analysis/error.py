"""Measurement error of every series, from the clinic's own repeat tests or from a published value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from outcomes.analysis import values as _values
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work
    from outcomes.study import Series

ORDINAL = "an ordinal grade has no minimal detectable change; the transition table shows who moved"


@dataclass(frozen=True)
class UsableError:
    """The measurement error that changes of one series are held against.

    Parameters
    ----------
    mdc : float
        Minimal detectable change, 95 %, in the scale's unit.
    standard_error : float, optional
        Standard error of measurement; None where a publication gives the MDC alone.
    degrees_of_freedom : float, optional
        Of the standard error; None (a published value) is taken as known without error.
    source : str
        "own repeat tests" with n, or the publication.
    inputs : tuple of str
        Record keys that it comes from.
    caveats : tuple of str
        Ids of the caveats of holding changes against it.
    """

    mdc: float
    standard_error: float | None
    degrees_of_freedom: float | None
    source: str
    inputs: tuple[str, ...]
    caveats: tuple[str, ...] = ()


def measure_error(work: Work) -> None:
    """Write reliability and measurement error of every series; remember which one its changes are held against."""
    for series in work.study.series:
        own = _own_error(work, series)
        wanted = series.plan.minimal_change
        if wanted == "own" and own is not None:
            try:
                _refuse_other_unit(work, series)
                work.errors[series.name] = own
            except DesignError as refusal:
                work.unfit[series.name] = refusal.reason
        elif wanted == "published":
            published = _published_error(work, series)
            if published is not None:
                work.errors[series.name] = published


def repeat_matrix(work: Work, series: Series) -> tuple[Any, pd.DataFrame]:
    """Return the complete participants x occasions matrix of a series from the repeat tests, and its values."""
    from outcomes.matrices import as_matrix

    trained = work.participants["trained_side"]
    values = _values.series_values(work.repeat_scores, series, trained, "occasion")
    values = values[values["value"].notna()]
    if not len(values):
        raise DesignError("there are no repeat tests of it")
    return as_matrix(values, rows="participant_id", columns="occasion", values="value"), values


def _own_error(work: Work, series: Series) -> UsableError | None:
    """Write what the repeat tests of a series say and return its error; None where they allow none."""
    try:
        matrix, values = repeat_matrix(work, series)
        if series.ordinal:
            raise DesignError(ORDINAL)
        scores = matrix.complete()
        estimates, degrees_of_freedom = _estimates(work, series, scores)
    except DesignError as refusal:
        _refuse_own(work, series, ORDINAL if series.ordinal else refusal.reason)
        return None
    what = unit_of_analysis(work, series, scores.shape[1])
    keys = {name: work.key("reliability", name, series) for name in estimates}
    for name, estimate in estimates.items():
        label = f"{series.label}: {LABELS[name]}"
        work.add(keys[name], estimate, label, series.plan.role, unit_of_analysis=what, inputs=("people/repeats",))
    words = f"{series.label}: retested people left out as an occasion is missing"
    lost_key = work.key("reliability", "people_incomplete", series)
    work.count(lost_key, matrix.n_incomplete, words, inputs=("people/repeats",))
    work.people.setdefault("repeats", values.iloc[:0].assign(series=""))
    work.people["repeats"] = keep_repeats(work.people["repeats"], values.assign(series=series.name))
    mdc, se = estimates["mdc95"].value, estimates["standard_error_agreement"].value
    if not isinstance(mdc, float) or not isinstance(se, float):
        return None
    return UsableError(
        mdc=mdc,
        standard_error=se,
        degrees_of_freedom=degrees_of_freedom,
        source=f"own repeat tests, {scores.shape[0]} people, {what}",
        inputs=(keys["mdc95"], keys["standard_error_agreement"]),
        caveats=_other_raters(work, series),
    )


def _estimates(work: Work, series: Series, scores: Any) -> tuple[dict[str, Estimate], float]:
    """Return the estimates that `LABELS` names, without those that are not defined, and the degrees of freedom of the
    standard error of agreement."""
    from outcomes.reliability import concordance_correlation, intraclass_correlations, measurement_error

    scale: Any = "ratio" if series.scale.level == "ratio" else "interval"
    error = measurement_error(scores, unit=series.scale.unit, level=work.level, scale=scale)
    asked = work.study.protocol.analysis.agreement
    results: list[Any] = [error]
    if "correlations" in asked:
        correlations = intraclass_correlations(scores, level=work.level)
        results.append(correlations)
        for name, reason in correlations.reasons.items():
            if name in LABELS:
                key, label = work.key("reliability", name, series), f"{series.label}: {LABELS[name]}"
                work.record.refuse(key, reason, label=label, role=series.plan.role, unit="1", n_people=len(scores))
    if "concordance" in asked and scores.shape[1] == 2:
        try:
            results.append(concordance_correlation(scores, level=work.level))
        except DesignError as refusal:
            label = f"{series.label}: {LABELS['concordance']}"
            key = work.key("reliability", "concordance", series)
            work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit="1")
    found = {name: getattr(result, name) for name in LABELS for result in results if hasattr(result, name)}
    return {name: one for name, one in found.items() if one is not None}, float(error.degrees_of_freedom)


def _refuse_own(work: Work, series: Series, reason: str) -> None:
    """Write why there is no measurement error, where one was to be expected or a grade can have none."""
    plan, label = series.plan, f"{series.label}: minimal detectable change"
    protocol = work.study.protocol
    named = protocol.study.design == "test-retest" or "agreement" in protocol.analysis.model_fields_set
    if series.ordinal or plan.minimal_change == "own" or named:
        key = work.key("reliability", "mdc95", series)
        work.record.refuse(key, reason, label=label, role=plan.role, unit=series.scale.unit)


def keep_repeats(frame: pd.DataFrame, more: pd.DataFrame) -> pd.DataFrame:
    """Return the person-level table of repeat tests with the values of one more series."""
    import pandas as pd

    return pd.concat([frame, more], ignore_index=True) if len(frame) else more.reset_index(drop=True)


LABELS = {
    "icc_1_1": "ICC(1,1)",
    "icc_a_1": "ICC(A,1)",
    "icc_c_1": "ICC(C,1)",
    "icc_1_k": "ICC(1,k)",
    "icc_a_k": "ICC(A,k)",
    "icc_c_k": "ICC(C,k)",
    "concordance": "concordance correlation",
    "standard_error_agreement": "standard error of measurement, agreement",
    "standard_error_consistency": "standard error of measurement, consistency",
    "within_person_standard_deviation": "within-person standard deviation",
    "mdc95": "minimal detectable change, 95 %",
    "mdc95_percent": "minimal detectable change, 95 %, in percent of the mean",
}
"""Statistic of the repeat tests, by the name of its field in the result, to its label."""


def unit_of_analysis(work: Work, series: Series, occasions: int) -> str:
    """Return in words what one value of the error study is: place, side rule, readings, raters."""
    rows = _rows(work, series, "repeats")
    parts = [series.place.replace("_", " "), series.side_words]
    readings = _readings(rows, "occasion")
    if readings:
        parts.append(f"{readings} reading{'s' if readings > 1 else ''}")
    raters = rows.dropna(subset=["rater"]).groupby("participant_id")["rater"].nunique()
    if len(raters):
        same, different = (raters == 1).all(), (raters == occasions).all()
        parts.append("same rater" if same else "a different rater each time" if different else "same and other raters")
    return ", ".join(part for part in parts if part)


def _rows(work: Work, series: Series, table: str) -> pd.DataFrame:
    """Return the answers that the values of one series are made of."""
    rows = work.study.table(table)
    rows = rows[(rows["measure"] == series.definition.key) & (rows["place"].fillna("") == series.place)]
    if series.sides in ("left", "right", "both"):
        rows = rows[rows["side"] == series.sides]
    return rows[rows["response"].notna()]


def _readings(rows: pd.DataFrame, time: str) -> int:
    """Return how many numbered readings one value usually has (the smaller where two are as usual); 0 without any."""
    numbered = rows[rows["trial"].notna()]
    per = numbered.groupby(["participant_id", time, "side"], dropna=False)["trial"].nunique()
    return int(per.mode().iloc[0]) if len(per) else 0


def _refuse_other_unit(work: Work, series: Series) -> None:
    """Refuse to hold the values of the visits against the error of another number of readings or another variant.

    The error of one reading is not that of the mean of two: it is larger, by up to the root of two.
    """
    if not work.study.has("assessments"):
        return
    again, once = (
        _readings(_rows(work, series, table), time)
        for table, time in (("repeats", "occasion"), ("assessments", "visit"))
    )
    if again != once:
        raise DesignError(
            f"a value of the repeat tests has {again or 'no numbered'} readings, one of the visits {once or 'none'}; "
            "the error of one is not that of the other"
        )
    tested, seen = (_values.variant_words(scores, series) for scores in (work.repeat_scores, work.scores))
    other = [key for key in tested if key in seen and tested[key] != seen[key]]
    if other:
        named = ", ".join(f"{key} {'/'.join(sorted(tested[key]))} and {'/'.join(sorted(seen[key]))}" for key in other)
        raise DesignError(f"repeat tests and visits are of different variants ({named})")


def _other_raters(work: Work, series: Series) -> tuple[str, ...]:
    """Return the caveat where one rater did all repeats of a person and several did a person's compared visits."""
    if not work.study.has("assessments") or work.contrast is None:
        return ()
    again, seen = _rows(work, series, "repeats"), _rows(work, series, "assessments")
    seen = seen[seen["visit"].isin(work.contrast)]
    most = [int(rows.groupby("participant_id")["rater"].nunique().max()) for rows in (again, seen) if len(rows)]
    return ("other_raters",) if len(most) == 2 and most[0] == 1 < most[1] else ()


def people_word(work: Work) -> str | None:
    """Return the one condition of all participants, whom a published value must be of; None where there are several."""
    if not work.study.has("participants"):
        return None
    words = set(work.study.table("participants")["condition"].fillna("").tolist())
    return str(words.pop()) or None if len(words) == 1 else None


def value_word(series: Series) -> str:
    """Return what one value is, in the words of published ones: "one value", "mean of both sides", "worse side"."""
    from outcomes.study.series import AVERAGED

    return series.side_words if series.sides in (*AVERAGED, "worse") else "one value"


def _published_error(work: Work, series: Series) -> UsableError | None:
    from outcomes.measures import published_value

    key = work.key("reliability", "mdc95_published", series)
    label = f"{series.label}: published minimal detectable change"
    what = value_word(series)
    try:
        if series.ordinal:
            raise DesignError(ORDINAL)
        value = published_value(
            series.definition,
            series.plan.published,
            variant=series.plan.variant or "",
            unit_of_analysis=what,
            scale=series.scale.key,
            people=people_word(work),
        )
        if not isinstance(value.value, int | float):
            raise DesignError(f"the published value is {value.value}, not one number")
        mdc = float(value.value)
    except DesignError as refusal:
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit=series.scale.unit)
        return None
    estimate = Estimate(
        value=mdc,
        unit=value.unit,
        method="published_value",
        n_people=0,
        n_values=0,
        source=value.source,
        caveats=("published_error",) if value.status == "VERIFIED" else ("published_error", "from_memory"),
    )
    inputs = (f"definition/{series.definition.key}",)
    work.add(key, estimate, label, series.plan.role, unit_of_analysis=what, inputs=inputs)
    return UsableError(mdc, None, None, f"published: {value.source} ({value.population})", (key,))
