"""Limits of agreement of every series in the forms that the plan names, from its repeat tests."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from outcomes.analysis import values as _values
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from outcomes.analysis.plan import Work
    from outcomes.matrices import ScoreMatrix
    from outcomes.reliability import LimitsOfAgreement
    from outcomes.result import Estimate
    from outcomes.study import Series

    Found = dict[str, Estimate]

NAMES = {
    "agreement_bias": "bias, second minus first",
    "agreement_deviation": "standard deviation of the differences",
    "limit_lower": "lower limit of agreement",
    "limit_upper": "upper limit of agreement",
}
FORMS = {
    "": "",
    "_ratio": ", ratio of second to first",
    "_replicates": ", single readings",
    "_pairs": ", occasions two by two",
}
"""End of the statistic to what its label says of the form."""
SIZES = {"lower_quartile": 0.25, "median": 0.5, "upper_quartile": 0.75}
"""Where limits by regression are given: quantiles, as the smallest and the largest value are those of one person."""
LABELS: dict[str, str] = (
    {f"{name}{end}": f"{label}{words}" for end, words in FORMS.items() for name, label in NAMES.items()}
    | {
        "acceptable_difference": "difference of two measurements that is acceptable, fixed beforehand",
        "acceptable_verdict": "limits of agreement against the acceptable difference",
        "acceptable_share": "share of people whose difference is acceptable",
        "bias_slope": "change of the bias with size",
        "spread_slope": "change of the spread of differences with size",
    }
    | {f"size_{name}": f"size of the people, {name.replace('_', ' ')}" for name in SIZES}
    | {
        f"limit_{end}_{name}": f"{end} limit of agreement at the {name.replace('_', ' ')} of size"
        for name in SIZES
        for end in ("lower", "upper")
    }
)


def _two(matrix: ScoreMatrix) -> NDArray[np.float64]:
    """Return first and second score of everybody who has both, one row each."""
    scores = matrix.complete()
    if scores.shape[1] != 2:
        raise DesignError(f"{scores.shape[1]} occasions; these limits of agreement compare two")
    return scores.T


def _named(found: LimitsOfAgreement, end: str = "") -> Found:
    fields = dict(zip(NAMES, (found.bias, found.standard_deviation, found.lower, found.upper), strict=True))
    return {f"{name}{end}": estimate for name, estimate in fields.items()}


def of_differences(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return bias and limits of the differences."""
    from outcomes.reliability import limits_of_agreement

    if series.ordinal:
        return {}
    return _named(limits_of_agreement(*_two(matrix), unit=series.scale.unit, level=work.level, interval="exact"))


def against_acceptable(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return what the limits are against a difference that was fixed beforehand, where the plan fixed one."""
    from outcomes.reliability import acceptable_agreement

    acceptable = series.plan.acceptable_difference
    if acceptable is None:
        return {}
    if series.ordinal:
        raise DesignError("a grade only ranks, so no size of a difference of grades can be acceptable")
    held = acceptable_agreement(*_two(matrix), acceptable=acceptable, unit=series.scale.unit, level=work.level)
    return {
        "acceptable_verdict": held.verdict,
        "acceptable_share": held.share,
        "acceptable_difference": held.acceptable,
    }


def of_ratios(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return bias and limits of the ratios."""
    from outcomes.reliability import ratio_limits_of_agreement

    if series.ordinal:
        return {}
    if series.scale.level != "ratio":
        raise DesignError(f"ratios are defined for ratio scales only, and {series.scale.key} is none")
    return _named(ratio_limits_of_agreement(*_two(matrix), level=work.level, interval="exact"), "_ratio")


def by_size(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the limits by regression at three sizes, and how bias and spread change with size."""
    import numpy as np

    from outcomes.reliability import limits_of_agreement_by_size
    from outcomes.result import Estimate

    if series.ordinal:
        return {}
    first, second = _two(matrix)
    sizes = np.quantile((first + second) / 2, list(SIZES.values()))
    found = limits_of_agreement_by_size(
        first, second, unit=series.scale.unit, at=sizes.tolist(), level=work.level
    )  # fmt: skip
    named = {"bias_slope": found.bias_slope, "spread_slope": found.spread_slope}
    for i, name in enumerate(SIZES):
        named[f"size_{name}"] = Estimate(
            value=found.sizes[i], unit=series.scale.unit, method="size_quantile", n_people=found.n_people,
            n_values=2 * found.n_people,
        )  # fmt: skip
        named |= {f"limit_lower_{name}": found.lower[i], f"limit_upper_{name}": found.upper[i]}
    return named


def of_readings(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the limits of single readings: two occasions with several readings each, the true value constant."""
    import numpy as np

    from outcomes.reliability import replicate_limits_of_agreement

    if series.ordinal:
        return {}
    readings = list(_readings(work, series))
    if len(readings) < 2:
        raise DesignError("nobody has several numbered readings on an occasion, so none of a single reading are known")
    occasions = sorted({occasion for one in readings for occasion in one["occasion"]})
    if len(occasions) != 2:
        raise DesignError(f"{len(occasions)} occasions; these limits of agreement compare the readings of two")
    people = sorted({person for one in readings for person in one["participant_id"]})
    table = np.full((2, len(people), len(readings)), np.nan)
    for k, one in enumerate(readings):
        wide = one.pivot(index="participant_id", columns="occasion", values="value").reindex(people, columns=occasions)
        table[:, :, k] = wide.to_numpy(dtype=float).T
    table = table[:, ~np.isnan(table).all(axis=2).any(axis=0)]
    found = replicate_limits_of_agreement(table[0], table[1], unit=series.scale.unit, level=work.level)
    return _named(found, "_replicates")


def _readings(work: Work, series: Series) -> Any:
    """Yield for each numbered reading its value of everybody and every occasion, scored as if it were the only one."""
    from outcomes.measures import score_table

    rows = work.study.table("repeats")
    rows = rows[rows["measure"] == series.definition.key]
    trial = series.definition.rows.trial
    if trial is None:
        return
    alone = dataclasses.replace(
        series.definition, rows=dataclasses.replace(series.definition.rows, trial=dataclasses.replace(trial, min=1))
    )
    for number in sorted(rows["trial"].dropna().unique()):
        scores = score_table(alone, rows[(rows["trial"] == number) | rows["trial"].isna()])
        values = _values.series_values(scores, series, work.participants["trained_side"], "occasion")
        values = values[values["value"].notna()]
        if len(values):
            yield values


def of_pairs(work: Work, series: Series, matrix: ScoreMatrix) -> Found:
    """Return the limits of occasions taken two by two, the true value varying from pair to pair."""
    import numpy as np

    from outcomes.reliability import varying_limits_of_agreement

    if series.ordinal:
        return {}
    k = len(matrix.columns)
    if k < 4 or k % 2:
        raise DesignError(f"{k} occasions; taken two by two, an even number from 4 is needed")
    first, second = matrix.values[:, 0::2], matrix.values[:, 1::2]
    whole = ~np.isnan(first) & ~np.isnan(second)
    first, second = (np.where(whole, side, np.nan)[whole.any(axis=1)] for side in (first, second))
    return _named(varying_limits_of_agreement(first, second, unit=series.scale.unit, level=work.level), "_pairs")
