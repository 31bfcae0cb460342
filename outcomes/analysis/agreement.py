"""Agreement of every series with itself, from the clinic's own repeat tests: what the plan names and the scale
allows."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from outcomes.analysis.error import keep_repeats, repeat_matrix, unit_of_analysis
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
    "standard_error_percent": "standard error of measurement in percent of the mean",
    "mdc95_group": "minimal detectable change of the mean of all retested people, 95 %",
    "coefficient_of_variation": "coefficient of variation",
    "agreement_bias": "bias, second minus first",
    "agreement_deviation": "standard deviation of the differences",
    "limit_lower": "lower limit of agreement",
    "limit_upper": "upper limit of agreement",
    "bias_slope": "change of the bias with size",
    "spread_slope": "change of the spread of differences with size",
    "kappa": "kappa",
    "kappa_linear": "kappa, linear weights",
    "kappa_quadratic": "kappa, quadratic weights",
    "ac1": "AC1",
    "ac2_quadratic": "AC2, quadratic weights",
    "alpha_ordinal": "ordinal alpha",
    "precision_error": "precision error",
    "precision_error_percent": "precision error in percent",
    "least_significant_change": "least significant change",
    "least_significant_change_percent": "least significant change in percent",
}
"""Statistic of the record to its label, for what `outcomes.analysis.error` does not write."""

Found = dict[str, Estimate]
Part = Callable[["Work", "Series", "ScoreMatrix"], Found]


def measure_agreement(work: Work) -> None:
    """Write what the plan names of agreement for every series that has repeat tests, and the tables beside it."""
    tallies, published = [], []
    for series in work.study.series:
        try:
            matrix, values = repeat_matrix(work, series)
        except DesignError:
            continue  # said where its measurement error is refused
        if series.ordinal:
            work.people.setdefault("repeats", values.iloc[:0].assign(series=""))
            work.people["repeats"] = keep_repeats(work.people["repeats"], values.assign(series=series.name))
        for word in work.study.protocol.analysis.agreement:
            for part in _PARTS[word]:
                _write(work, series, matrix, part)
        if not series.ordinal:
            tallies.append(_tally(work, series, matrix))
            published += _published(work, series)
    if tallies:
        work.record.add_table("retest_tally", dict.fromkeys(_TALLY, ""), tallies)
    if published:
        work.record.add_table("published_errors", dict.fromkeys(_PUBLISHED, ""), published)


def _write(work: Work, series: Series, matrix: ScoreMatrix, part: Part) -> None:
    """Write the estimates of one part, or under its first name why there is none."""
    role, prefix = series.plan.role, f"{series.label}: "
    what = unit_of_analysis(work, series, len(matrix.columns))
    try:
        found = part(work, series, matrix)
    except DesignError as refusal:
        name = _FIRST[part]
        key = work.key("reliability", name, series)
        work.record.refuse(key, refusal.reason, label=prefix + LABELS[name], role=role, unit="1")
        return
    for name, estimate in found.items():
        key = work.key("reliability", name, series)
        work.add(key, estimate, prefix + LABELS[name], role, unit_of_analysis=what, inputs=("people/repeats",))


def _rng(work: Work, series: Series, name: str) -> Any:
    return work.rng("reliability", series.name, name)


def _resamples(work: Work, most: int) -> int:
    return min(max(1_000, work.study.protocol.analysis.resamples), most)


def _incomplete(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return correlations that leave nobody out, where somebody lacks an occasion."""
    from outcomes.reliability import incomplete_intraclass_correlations

    if series.ordinal or not matrix.n_incomplete:
        return {}
    found = incomplete_intraclass_correlations(
        matrix.values, level=work.level, resamples=_resamples(work, 2_000), rng=_rng(work, series, "incomplete")
    )
    named = {f"{name}_incomplete": getattr(found, name) for name in ("icc_1_1", "icc_a_1", "icc_c_1")}
    return {name: estimate for name, estimate in named.items() if estimate is not None}


def _error(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the other forms of the measurement error."""
    from outcomes.reliability import coefficient_of_variation, detectable_change, measurement_error

    if series.ordinal:
        return {}
    ratio = series.scale.level == "ratio"
    scores = matrix.complete()
    error = measurement_error(scores, unit=series.scale.unit, level=work.level, scale="ratio" if ratio else "interval")
    named = {name: getattr(error, name) for name in ("mdc90", "mdc95_consistency", "standard_error_percent")}
    named["mdc95_group"] = detectable_change(error, people=error.n_people).group
    if ratio and scores.min() > 0 and float(error.standard_error_consistency.value or 0) > 0:
        named["coefficient_of_variation"] = coefficient_of_variation(scores, level=work.level)
    return {name: estimate for name, estimate in named.items() if estimate is not None}


def _limits(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return bias and limits of agreement of two occasions, in the form that the plan names."""
    from outcomes.reliability import limits_of_agreement, limits_of_agreement_by_size, ratio_limits_of_agreement

    if series.ordinal:
        return {}
    scores = matrix.complete()
    if scores.shape[1] != 2:
        raise DesignError(f"{scores.shape[1]} occasions; limits of agreement compare two")
    form, (first, second) = work.study.protocol.analysis.limits_of_agreement, scores.T
    if form == "ratio":
        if series.scale.level != "ratio":
            raise DesignError(f"ratios are defined for ratio scales only, and {series.scale.key} is none")
        found = ratio_limits_of_agreement(first, second, level=work.level, interval="exact")
    else:
        found = limits_of_agreement(first, second, unit=series.scale.unit, level=work.level, interval="exact")
    named = {
        "agreement_bias": found.bias,
        "agreement_deviation": found.standard_deviation,
        "limit_lower": found.lower,
        "limit_upper": found.upper,
    }
    if form == "by size":
        slopes = limits_of_agreement_by_size(
            first, second, unit=series.scale.unit, level=work.level, resamples=_resamples(work, 10_000),
            rng=_rng(work, series, "by_size"),
        )  # fmt: skip
        named |= {"bias_slope": slopes.bias_slope, "spread_slope": slopes.spread_slope}
    return named


def _grades(series: Series) -> list[float]:
    levels = series.definition.levels(series.scale.key)
    if levels is None:
        raise DesignError("the scale has no short list of grades")
    return [float(level) for level in levels]


def _kappa(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the kappas of two occasions on the whole scale."""
    from outcomes.reliability import cohen_kappa

    if not series.ordinal:
        return {}
    scores, grades = matrix.complete(), _grades(series)
    if scores.shape[1] != 2:
        raise DesignError(f"{scores.shape[1]} occasions; kappa compares two")
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
    return {name: estimate for name, estimate in named.items() if estimate is not None}


_PARTS: dict[str, tuple[Part, ...]] = {
    "correlations": (_incomplete,),
    "error": (_error,),
    "limits": (_limits,),
    "concordance": (),
    "kappa": (_kappa, _gwet),
    "alpha": (_alpha,),
    "precision": (_precision,),
}
"""Word of ``analysis.agreement`` to what it adds to `outcomes.analysis.error`."""

_FIRST: dict[Part, str] = {
    _incomplete: "icc_a_1_incomplete",
    _error: "mdc95_group",
    _limits: "limit_lower",
    _kappa: "kappa_quadratic",
    _gwet: "ac1",
    _alpha: "alpha_ordinal",
    _precision: "precision_error",
}
"""Part to the statistic under which its refusal stands."""

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


_PUBLISHED = ("key", "label", "own", "published", "unit", "ratio", "population", "variant", "source", "verdict")


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
            mismatch=_mismatch(series, value),
        )  # fmt: skip
        (line,) = own_against_published(own, [other])
        rows.append(
            (key, series.label, own.value, value.value, value.unit, line.ratio, value.population, value.variant,
             value.source, line.verdict)
        )  # fmt: skip
    return rows


def _mismatch(series: Series, value: Any) -> str:
    """Return in what a published value differs from the study; its people are for the reader to compare."""
    mine = {"variant": series.plan.variant or "", "unit_of_analysis": series.side_words or "one value"}
    differing = [name for name, word in mine.items() if getattr(value, name) and getattr(value, name) != word]
    named = [f"{name.replace('_', ' ')} {getattr(value, name)}" for name in differing]
    return "; ".join([*named, *([f"baseline {value.stratum}"] if value.stratum else [])])
