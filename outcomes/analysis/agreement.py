"""Agreement of every series with itself, from the clinic's own repeat tests: what the plan names and the scale
allows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from outcomes.analysis import error as _error_study
from outcomes.analysis import limits as _limits
from outcomes.analysis.error import keep_repeats, people_word, repeat_matrix, unit_of_analysis, value_word
from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    from outcomes.analysis.plan import Work
    from outcomes.matrices import ScoreMatrix
    from outcomes.study import Series

LABELS: dict[str, str] = {
    "icc_1_1_incomplete": "ICC(1,1), everybody",
    "icc_a_1_incomplete": "ICC(A,1), everybody",
    "icc_c_1_incomplete": "ICC(C,1), everybody",
    "mdc90": "minimal detectable change, 90 %",
    "mdc95_consistency": "minimal detectable change, 95 %, mean change left out",
    "mdc95_trials": "minimal detectable change of a mean of {trials} occasions, 95 %",
    "standard_error_percent": "standard error of measurement in percent of the mean",
    "standard_error_from_icc": "standard error of measurement from the ICC and the spread of the scores",
    "mdc95_group": "minimal detectable change of the mean of {people} people, 95 %",
    "coefficient_of_variation": "coefficient of variation",
    "kappa": "kappa",
    "kappa_linear": "kappa, linear weights",
    "kappa_quadratic": "kappa, quadratic weights",
    "fleiss_kappa": "Fleiss' kappa of all occasions",
    "ac1": "AC1",
    "ac2_quadratic": "AC2, quadratic weights",
    "alpha_ordinal": "ordinal alpha",
    "precision_error": "precision error",
    "precision_error_percent": "precision error in percent",
    "precision_df": "precision error, degrees of freedom",
    "least_significant_change": "least significant change",
    "least_significant_change_percent": "least significant change in percent",
    **_limits.LABELS,
}
"""Statistic of the record to its label, for what `outcomes.analysis.error` does not write."""

RESAMPLED = (
    *("icc_1_1", "icc_a_1", "icc_c_1", "icc_1_k", "icc_a_k", "icc_c_k"),
    *("standard_error_agreement", "mdc95", "concordance"),
)
"""Statistics that get an interval by bootstrap over people beside their exact one, where the plan asks for it."""

Found = dict[str, Estimate]


@dataclass(frozen=True, slots=True)
class Part:
    """What computes some statistics of a series from its repeat tests; a refusal stands under the first of them."""

    first: str
    run: Callable[[Work, Series, ScoreMatrix], Found]


def measure_agreement(work: Work) -> None:
    """Write what the plan names of agreement for every series that has repeat tests, and the tables beside it."""
    tallies, published = [], []
    for series in work.study.series:
        try:
            matrix, values = repeat_matrix(work, series)
        except DesignError as refusal:
            _refuse_all(work, series, refusal.reason)
            continue
        if series.ordinal:
            work.people.setdefault("repeats", values.iloc[:0].assign(series=""))
            work.people["repeats"] = keep_repeats(work.people["repeats"], values.assign(series=series.name))
        for word in work.study.protocol.analysis.agreement:
            for part in PARTS[word]:
                _write(work, series, matrix, part)
        if not series.ordinal:
            tallies.append(_tally(work, series, matrix))
            published += _published(work, series)
    if tallies:
        work.record.add_table("retest_tally", dict.fromkeys(_TALLY, ""), tallies)
    if published:
        work.record.add_table("published_errors", dict.fromkeys(_PUBLISHED, ""), published)


def _refuse_all(work: Work, series: Series, reason: str) -> None:
    """Write why there is nothing of a series without repeat tests, where a plan names what it wants of them; the
    detectable change of a measured number says so itself."""
    plan = work.study.protocol
    named = plan.study.design == "test-retest" or "agreement" in plan.analysis.model_fields_set
    wanted = [part.first for word in plan.analysis.agreement if word in ("kappa", "alpha") for part in PARTS[word]]
    names = wanted if named and series.ordinal else []
    names += ["acceptable_verdict"] if series.plan.acceptable_difference is not None else []
    for name in names:
        key, label = work.key("reliability", name, series), f"{series.label}: {LABELS[name]}"
        work.record.refuse(key, reason, label=label, role=series.plan.role, unit="1")


def _write(work: Work, series: Series, matrix: ScoreMatrix, part: Part) -> None:
    """Write the estimates of one part, or under its first name why there is none."""
    what = unit_of_analysis(work, series, len(matrix.columns))
    try:
        found = part.run(work, series, matrix)
    except DesignError as refusal:
        key, label = work.key("reliability", part.first, series), _label(work, series, matrix, part.first)
        work.record.refuse(key, refusal.reason, label=label, role=series.plan.role, unit="1")
        return
    for name, estimate in found.items():
        key, label = work.key("reliability", name, series), _label(work, series, matrix, name)
        work.add(key, estimate, label, series.plan.role, unit_of_analysis=what, inputs=("people/repeats",))


def _label(work: Work, series: Series, matrix: ScoreMatrix, name: str) -> str:
    plan = work.study.protocol.analysis
    stem = name.removesuffix("_bootstrap")
    words = _error_study.LABELS.get(stem) or LABELS[stem]
    words = words.format(trials=plan.mdc_trials, people=plan.mdc_people or len(matrix.rows) - matrix.n_incomplete)
    return f"{series.label}: {words}{', bootstrap over people' if stem != name else ''}"


def _rng(work: Work, series: Series, name: str) -> Any:
    return work.rng("reliability", series.name, name)


def _resamples(work: Work, most: int) -> int:
    return min(max(1_000, work.study.protocol.analysis.resamples), most)


def _incomplete(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return correlations that leave nobody out, where somebody lacks an occasion."""
    from outcomes.reliability import incomplete_intraclass_correlations

    if series.ordinal or not matrix.n_incomplete:
        return {}
    found = incomplete_intraclass_correlations(matrix.values, level=work.level)
    named = {f"{name}_incomplete": getattr(found, name) for name in ("icc_1_1", "icc_a_1", "icc_c_1")}
    return {name: estimate for name, estimate in named.items() if estimate is not None}


def _error(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the other forms of the measurement error."""
    from outcomes.reliability import coefficient_of_variation, detectable_change, measurement_error

    if series.ordinal:
        return {}
    ratio = series.scale.level == "ratio"
    scores, plan = matrix.complete(), work.study.protocol.analysis
    error = measurement_error(scores, unit=series.scale.unit, level=work.level, scale="ratio" if ratio else "interval")
    named = {name: getattr(error, name) for name in ("mdc90", "mdc95_consistency", "standard_error_percent")}
    change = detectable_change(error, trials=plan.mdc_trials or 1, people=plan.mdc_people or error.n_people)
    named["mdc95_group"] = change.group
    if plan.mdc_trials is not None:
        named["mdc95_trials"] = change.mean_of_trials
    if ratio and scores.min() > 0 and float(error.standard_error_consistency.value or 0) > 0:
        named["coefficient_of_variation"] = coefficient_of_variation(scores, level=work.level)
    return {name: estimate for name, estimate in named.items() if estimate is not None}


def _error_from_icc(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the standard error that follows from the intraclass correlation and the spread of all scores."""
    from outcomes.reliability import error_from_correlation, intraclass_correlations

    if series.ordinal:
        return {}
    scores = matrix.complete()
    correlations = intraclass_correlations(scores, level=work.level)
    icc = correlations.icc_a_1
    if icc is None or not isinstance(icc.value, float):
        raise DesignError(correlations.reasons["icc_a_1"])
    found = error_from_correlation(float(scores.std(ddof=1)), icc.value, unit=series.scale.unit)
    estimate = Estimate(
        value=found.standard_error, unit=series.scale.unit, method="standard_error_from_icc", n_people=len(scores),
        n_values=scores.size, source="Weir (2005) J Strength Cond Res 19:231",
    )  # fmt: skip
    return {"standard_error_from_icc": estimate}


def _resampled(name: str, work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return one statistic of all occasions with an interval by bootstrap over people."""
    from outcomes.reliability import bootstrap_estimate

    if series.ordinal or (name == "concordance" and len(matrix.columns) != 2):
        return {}
    unit = series.scale.unit if name in ("standard_error_agreement", "mdc95") else "1"
    found = bootstrap_estimate(
        matrix.complete(), name, unit=unit, level=work.level,
        resamples=max(1_000, work.study.protocol.analysis.resamples), rng=_rng(work, series, f"{name}_bootstrap"),
    )  # fmt: skip
    return {f"{name}_bootstrap": found}


def _grades(series: Series) -> list[float]:
    levels = series.definition.levels(series.scale.key)
    if levels is None:
        raise DesignError("the scale has no short list of grades")
    return [float(level) for level in levels]


def _kappa(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the kappas of two occasions on the whole scale; of more occasions that of all of them."""
    from outcomes.reliability import cohen_kappa, fleiss_kappa

    if not series.ordinal:
        return {}
    scores, grades = matrix.complete(), _grades(series)
    if scores.shape[1] > 2:
        return {"fleiss_kappa": fleiss_kappa(scores, grades=grades, level=work.level).coefficient}
    first, second = scores.T
    words = ("plain",) if len(grades) == 2 else ("plain", "linear", "quadratic")
    names = {"plain": "kappa", "linear": "kappa_linear", "quadratic": "kappa_quadratic"}
    return {
        names[word]: cohen_kappa(first, second, grades=grades, weights=word, level=work.level).kappa for word in words
    }


def _gwet(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return AC1 and AC2 of all occasions; people without one of them count with those that they have."""
    from outcomes.reliability import gwet_agreement

    if not series.ordinal:
        return {}
    grades = _grades(series)
    found = {"ac1": gwet_agreement(matrix.values, grades=grades, level=work.level).coefficient}
    if len(grades) > 2:
        weighted = gwet_agreement(matrix.values, grades=grades, weights="quadratic", level=work.level)
        found["ac2_quadratic"] = weighted.coefficient
    return found


def _alpha(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return ordinal alpha of all occasions."""
    from outcomes.reliability import krippendorff_alpha

    if not series.ordinal:
        return {}
    found = krippendorff_alpha(
        matrix.values, level=work.level, resamples=_resamples(work, 10_000), rng=_rng(work, series, "alpha")
    )
    return {"alpha_ordinal": found.coefficient}


def _precision(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return precision error and least significant change."""
    from outcomes.reliability import precision_error

    if series.ordinal:
        return {}
    scale: Any = "ratio" if series.scale.level == "ratio" else "interval"
    found = precision_error(matrix.values, unit=series.scale.unit, level=work.level, scale=scale)
    names = ("precision_error", "precision_error_percent", "least_significant_change")
    named = {name: getattr(found, name) for name in (*names, "least_significant_change_percent")}
    named["precision_df"] = Estimate(
        value=found.degrees_of_freedom, unit="1", method="degrees_of_freedom", n_people=found.n_people,
        n_values=found.n_values,
    )  # fmt: skip
    return {name: estimate for name, estimate in named.items() if estimate is not None}


PARTS: dict[str, tuple[Part, ...]] = {
    "correlations": (Part("icc_a_1_incomplete", _incomplete),),
    "error": (Part("mdc95_group", _error), Part("standard_error_from_icc", _error_from_icc)),
    "limits": (
        Part("limit_lower", _limits.of_differences),
        Part("acceptable_verdict", _limits.against_acceptable),
    ),
    "limits ratio": (Part("limit_lower_ratio", _limits.of_ratios),),
    "limits by size": (Part("spread_slope", _limits.by_size),),
    "limits replicates": (Part("limit_lower_replicates", _limits.of_readings),),
    "limits pairs": (Part("limit_lower_pairs", _limits.of_pairs),),
    "concordance": (),
    "kappa": (Part("kappa_quadratic", _kappa), Part("ac1", _gwet)),
    "alpha": (Part("alpha_ordinal", _alpha),),
    "precision": (Part("precision_error", _precision),),
    "bootstrap": tuple(Part(f"{name}_bootstrap", partial(_resampled, name)) for name in RESAMPLED),
    "items": (),
}
"""Word of ``analysis.agreement`` to what it adds to `outcomes.analysis.error`; items have a file of their own."""

_TALLY = (
    "key", "label", "occasions", "n_done", "n_incomplete", "n_needed", "n_missing", "margin", "low_ratio", "high_ratio"
)  # fmt: skip


def _tally(work: Work, series: Series, matrix: ScoreMatrix) -> tuple[Any, ...]:
    """Return how far the retest study of one series has come."""
    from outcomes.reliability import retest_tally

    occasions = max(2, len(matrix.columns))
    done = len(matrix.rows) - matrix.n_incomplete if len(matrix.columns) >= 2 else 0
    margin = work.study.protocol.analysis.retest_margin
    found = retest_tally(done, margin=margin, occasions=occasions, level=work.level)
    key = work.key("reliability", "mdc95", series)
    return (
        key, series.label, occasions, done, matrix.n_incomplete, found.n_needed, found.n_missing, margin,
        found.low_ratio, found.high_ratio,
    )  # fmt: skip


_PUBLISHED = (
    "key", "label", "own", "published", "unit", "ratio", "population", "people", "variant", "source", "status",
    "verdict",
)  # fmt: skip


def _published(work: Work, series: Series) -> list[tuple[Any, ...]]:
    """Return every published minimal detectable change of a series beside the clinic's own, with what differs."""
    from outcomes.reliability import PublishedError, own_against_published

    key = work.key("reliability", "mdc95", series)
    entry = work.record.get(key)
    if entry is None or entry.status != "estimated" or not isinstance(entry.value, float):
        return []
    own = Estimate(
        value=entry.value, unit=entry.unit, method="mdc95", n_people=entry.n_people, n_values=entry.n_values,
        interval=entry.interval,
    )  # fmt: skip
    rows = []
    for value in series.definition.published:
        if value.statistic != "mdc95" or not isinstance(value.value, float):
            continue
        if value.scale != series.scale.key or value.unit != entry.unit or value.value <= 0:
            continue
        other = PublishedError(
            mdc95=value.value, unit=value.unit, population=value.population, source=value.source,
            mismatch=_mismatch(work, series, value),
        )  # fmt: skip
        (line,) = own_against_published(own, [other])
        rows.append(
            (key, series.label, own.value, value.value, value.unit, line.ratio, value.population,
             _same_people(work, value), value.variant, value.source, value.status, line.verdict)
        )  # fmt: skip
    return rows


def _same_people(work: Work, value: Any) -> str:
    """Return whether a published value is of people such as the study's, by the condition of all participants."""
    mine = people_word(work)
    if not value.people:
        return "not told in words that can be matched"
    if mine is None:
        return "not known: the study's people have no one condition"
    return "same" if mine in value.people else f"other: {' or '.join(value.people).replace('_', ' ')}"


def _mismatch(work: Work, series: Series, value: Any) -> str:
    """Return in what a published value differs from the study."""
    mine = {"variant": series.plan.variant or "", "unit_of_analysis": value_word(series)}
    differing = [name for name, word in mine.items() if getattr(value, name) and getattr(value, name) != word]
    named = [f"{name.replace('_', ' ')} {getattr(value, name)}" for name in differing]
    people = _same_people(work, value)
    return "; ".join(
        [
            *named,
            *([f"baseline {value.stratum}"] if value.stratum else []),
            *([f"people {people.removeprefix('other: ')}"] if people.startswith("other") else []),
        ]
    )
