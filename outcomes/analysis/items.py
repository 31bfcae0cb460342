"""Consistency of the items of every total that the protocol follows: Cronbach's alpha and omega."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DesignError
from outcomes.result import Estimate

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from outcomes.analysis.plan import Work
    from outcomes.measures.schema import Definition, Scale
    from outcomes.study import Series

LABELS = {
    "cronbach_alpha": "Cronbach's alpha of the items",
    "mcdonald_omega": "omega of the items",
    "cronbach_alpha_bootstrap": "Cronbach's alpha of the items, bootstrap over people",
    "items_incomplete": "people left out of alpha and omega as an answer is missing",
}

MEASURED = ("value", "trials", "ratio", "recode")
"""Rules of scales that are no total of items."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a total: an item, the weight it is added with, and another number for each of its own."""

    item: str
    weight: float
    recode: dict[float, float]


def measure_items(work: Work) -> None:
    """Write alpha and omega of every total of several items, where the plan asks for them."""
    asked = work.study.protocol.analysis.agreement
    if "items" not in asked:
        return
    for series in work.study.series:
        if series.scale.rule in MEASURED or len(series.definition.items_of(series.scale)) < 2:
            continue
        found: dict[str, Estimate] = {}
        try:
            answers, when = _answers(work, series)
            _alpha(work, series, answers, found, resampled="bootstrap" in asked)
            _omega(work, series, answers, found)
        except DesignError as refusal:
            name = next((name for name in ("cronbach_alpha", "mcdonald_omega") if name not in found), "mcdonald_omega")
            when = _moment(work, series)[2]
            work.record.refuse(
                work.key("reliability", name, series, contrast=when), refusal.reason,
                label=f"{series.label}: {LABELS[name]}", role=series.plan.role, unit="1",
            )  # fmt: skip
        for name, estimate in found.items():
            key, label = work.key("reliability", name, series, contrast=when), f"{series.label}: {LABELS[name]}"
            work.add(key, estimate, label, series.plan.role, inputs=(f"ledger/{_moment(work, series)[0]}",))


def _alpha(
    work: Work, series: Series, answers: NDArray[np.float64], found: dict[str, Estimate], *, resampled: bool
) -> None:
    import numpy as np

    from outcomes.reliability import bootstrap_estimate, cronbach_alpha

    result = cronbach_alpha(answers, level=work.level)
    found["cronbach_alpha"] = result.alpha
    found["items_incomplete"] = Estimate(
        value=result.n_incomplete, unit="1", method="count", n_people=result.n_incomplete,
        n_values=result.n_incomplete,
    )  # fmt: skip
    if resampled:
        whole = answers[~np.isnan(answers).any(axis=1)]
        found["cronbach_alpha_bootstrap"] = bootstrap_estimate(
            whole, "cronbach_alpha", unit="1", level=work.level,
            resamples=max(1_000, work.study.protocol.analysis.resamples),
            rng=work.rng("reliability", series.name, "cronbach_alpha"),
        )  # fmt: skip


def _omega(work: Work, series: Series, answers: NDArray[np.float64], found: dict[str, Estimate]) -> None:
    from outcomes.reliability import mcdonald_omega

    if answers.shape[1] < 3:
        raise DesignError(f"{answers.shape[1]} items; omega needs at least 3")
    resamples = min(max(200, work.study.protocol.analysis.resamples), 1_000)
    rng = work.rng("reliability", series.name, "omega")
    found["mcdonald_omega"] = mcdonald_omega(answers, level=work.level, resamples=resamples, rng=rng).omega["total"]


def _moment(work: Work, series: Series) -> tuple[str, str, str]:
    """Return table, column of the moment, and the visit (- for the first occasion) that the items are taken from."""
    if work.study.has("assessments") and work.contrast is not None:
        visits = series.plan.visits or (work.contrast[0],)
        return "assessments", "visit", work.contrast[0] if work.contrast[0] in visits else visits[0]
    return "repeats", "occasion", "-"


def _answers(work: Work, series: Series) -> tuple[NDArray[np.float64], str]:
    """Return the answers as the total adds them, people in rows and items in columns, and the visit they are of."""
    from outcomes.measures import read_responses

    definition = series.definition
    if definition.rows.place or definition.rows.side or definition.rows.trial:
        raise DesignError("the measure is taken at several places, sides or times, so its items make no single total")
    parts = list(_parts(definition, series.scale))
    table, column, when = _moment(work, series)
    if not work.study.has(table):
        raise DesignError("nobody has answers to its items")
    rows = work.study.table(table)
    rows = rows[rows["measure"] == definition.key]
    rows = rows[rows[column] == (when if when != "-" else rows[column].min())]
    columns: dict[str, pd.Series] = {}
    for part in parts:
        mine = rows[rows["item"] == part.item].set_index("participant_id")["response"]
        numbers = mine.copy().astype(object)
        numbers[:] = read_responses(definition, part.item, mine.tolist()).value
        one = numbers.astype(float)
        columns[part.item] = (one.map(part.recode) if part.recode else one) * part.weight
    import pandas as pd

    wide = pd.DataFrame(columns).dropna(how="all")
    if not len(wide):
        raise DesignError("nobody has answers to its items")
    return wide.to_numpy(dtype=float), when


def _parts(definition: Definition, scale: Scale) -> list[Part]:
    """Return the items that a total adds, each with its weight.

    Raises
    ------
    DesignError
        The scale is not a sum or a mean of items.
    """
    if scale.rule not in ("sum", "mean", "recode") or scale.times:
        raise DesignError(f"{scale.key} is formed by the rule '{scale.rule}', not by adding items")
    weights = scale.weights or (1.0,) * len(scale.items or scale.scales)
    if scale.items:
        recode = {definition.item(scale.items[0]).codes[code]: number for code, number in scale.recode.items()}
        return [Part(item, weight, recode) for item, weight in zip(scale.items, weights, strict=True)]
    out: list[Part] = []
    for name, weight in zip(scale.scales, weights, strict=True):
        inner = definition.scale(name)
        if scale.rule == "mean" or inner.rule == "mean":
            raise DesignError(f"{scale.key} is formed from other scales by means, not by adding items")
        factor = weight * (inner.factor or 1.0)
        out += [Part(part.item, part.weight * factor, part.recode) for part in _parts(definition, inner)]
    items = [part.item for part in out]
    if len(set(items)) < len(items):
        raise DesignError(f"{scale.key} counts an item twice")
    return out
