"""Inputs on which a statistic may be undefined: each has a decided answer, a refusal with its reason or a value.

The tables hold one letter for each input, in the order of `PAIRS` and `TABLES`: r a refusal, v a value, - where a
statistic of changes has no such input. A value holds no nan, no infinite value, and no p of 0. A letter that changes is
a change of what the toolkit says.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import pytest

from outcomes import change, reliability
from outcomes.errors import DesignError
from outcomes.result import Estimate, HypothesisTest, Interval

NAN = float("nan")


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


PAIRS: dict[str, tuple[list[Any], list[Any]]] = {
    "nobody": ([], []),
    "one person": ([1.0], [2.0]),
    "two people": ([1.0, 3.0], [2.0, 5.0]),
    "constant": ([2.0] * 6, [2.0] * 6),
    "constant first": ([2.0] * 6, [1.0, 2.0, 3.0, 4.0, 5.0, 7.0]),
    "equal changes": ([1.0, 2.0, 4.0, 5.0, 7.0, 9.0], [2.0, 3.0, 5.0, 6.0, 8.0, 10.0]),
    "identical": ([1.0, 2.0, 4.0, 5.0, 7.0, 9.0], [1.0, 2.0, 4.0, 5.0, 7.0, 9.0]),
    "all ties": ([1.0, 2.0, 1.0, 2.0, 1.0, 2.0], [2.0, 1.0, 2.0, 1.0, 2.0, 1.0]),
    "missing": ([1.0, NAN, 3.0, 4.0], [2.0, 3.0, 4.0, 6.0]),
    "all missing": ([NAN] * 4, [NAN] * 4),
    "infinite": ([1.0, math.inf, 3.0, 4.0], [2.0, 3.0, 4.0, 6.0]),
    "text": (["a", "b", "c", "d"], [1.0, 2.0, 3.0, 4.0]),
    "lengths differ": ([1.0, 2.0, 3.0], [1.0, 2.0]),
}
"""Two values a person."""

OF_PAIRS: dict[str, tuple[Callable[[Any, Any], Any], str]] = {
    "paired_change": (lambda a, b: change.paired_change(a, b, unit="cm", rng=rng()), "rrvvvvvvrrrrr"),
    "paired_effect_sizes": (lambda a, b: change.paired_effect_sizes(a, b, rng=rng()), "rrvvvvvvrrrrr"),
    "ordinal_change": (lambda a, b: change.ordinal_change(a, b, levels=None, unit="1"), "rrvvvvvvrrrrr"),
    "percent_change": (lambda a, b: change.percent_change(a, b, scale="ratio"), "rrvvvvvvrrrrr"),
    "sign_flip_test": (lambda a, b: change.sign_flip_test(_minus(b, a), rng=rng()), "rvvvvvvvrrrr-"),
    "wilcoxon_signed_rank": (lambda a, b: change.wilcoxon_signed_rank(_minus(b, a)), "rvvrvvrvrrrr-"),
    "rank_comparison": (lambda a, b: change.rank_comparison(a, b, rng=rng()), "rrvvvvvvrrrrv"),
    "difference_of_changes": (lambda a, b: change.difference_of_changes(a, b, unit="cm"), "rrvrvvvvrrrrv"),
    "two_group_effect_sizes": (lambda a, b: change.two_group_effect_sizes(a, b), "rrrrrvvvrrrrr"),
    "pre_post_control": (lambda a, b: change.pre_post_control(a, b, a, b, rng=rng()), "rrrrrvvvrrrrr"),
    "change_classes": (lambda a, b: change.change_classes(_minus(b, a), mdc=1.5), "rvvvvvvvrrrr-"),
    "reliable_change": (lambda a, b: change.reliable_change(a, b, standard_error=1.0), "rvvvvvvvrrrrr"),
    "distribution_based_change": (lambda a, b: change.distribution_based_change(a, unit="cm"), "rrvrrvvvrrrr-"),
    "limits_of_agreement": (lambda a, b: reliability.limits_of_agreement(a, b, unit="cm"), "rrrrvrrvrrrrr"),
    "ratio_limits_of_agreement": (lambda a, b: reliability.ratio_limits_of_agreement(a, b), "rrrrvvrvrrrrr"),
    "acceptable_agreement": (
        lambda a, b: reliability.acceptable_agreement(a, b, acceptable=1, unit="cm"), "rrrrvrrvrrrrr",
    ),
    "cohen_kappa": (lambda a, b: reliability.cohen_kappa(a, b, grades=range(11), weights="quadratic"), "rrvrvvvvrrrrr"),
}  # fmt: skip

TABLES: dict[str, list[list[Any]]] = {
    "nobody": [],
    "one person": [[1.0, 2.0]],
    "one occasion": [[1.0], [2.0], [4.0], [5.0]],
    "two people": [[1.0, 2.0], [4.0, 5.5]],
    "constant": [[2.0, 2.0]] * 6,
    "people alike": [[1.0, 2.0]] * 6,
    "perfect agreement": [[1.0, 1.0], [2.0, 2.0], [4.0, 4.0], [5.0, 5.0]],
    "a constant shift": [[1.0, 2.0], [2.0, 3.0], [4.0, 5.0], [5.0, 6.0]],
    "turned over": [[1.0, 4.0], [2.0, 3.0], [3.0, 2.0], [4.0, 1.0]],
    "no overlap": [[1.0, NAN], [2.0, NAN], [NAN, 3.0], [NAN, 4.0]],
    "one missing": [[1.0, 2.0], [2.0, NAN], [4.0, 5.0], [5.0, 5.5], [6.0, 7.5]],
    "all missing": [[NAN, NAN]] * 4,
    "infinite": [[1.0, math.inf], [2.0, 3.0], [4.0, 5.0], [5.0, 6.0]],
    "text": [["a", 1.0], ["b", 2.0], ["c", 3.0], ["d", 4.0]],
}
"""People in rows, occasions, raters or items in columns."""

OF_TABLES: dict[str, tuple[Callable[[Any], Any], str]] = {
    "intraclass_correlations": (reliability.intraclass_correlations, "rrrvrvvvvrrrrr"),
    "incomplete_intraclass_correlations": (
        lambda t: reliability.incomplete_intraclass_correlations(t, resamples=1000, rng=rng()), "rrrvrrrrvrvrrr",
    ),
    "measurement_error": (lambda t: reliability.measurement_error(t, unit="cm"), "rrrvrvrvvrrrrr"),
    "concordance_correlation": (reliability.concordance_correlation, "rrrrrrvvvrrrrr"),
    "precision_error": (lambda t: reliability.precision_error(t, unit="cm"), "rvrvrvrvvrvrrr"),
    "coefficient_of_variation": (reliability.coefficient_of_variation, "rrrvrrrvvrrrrr"),
    "bootstrap_estimate": (
        lambda t: reliability.bootstrap_estimate(t, "icc_a_1", unit="1", resamples=1000, rng=rng()), "rrrrrrrvvrrrrr",
    ),
    "cronbach_alpha": (reliability.cronbach_alpha, "rrrrrrvvrrvrrr"),
    "replicate_limits_of_agreement": (
        lambda t: reliability.replicate_limits_of_agreement(t, t, unit="cm"), "rrrrrvrvvrvrrr",
    ),
    "varying_limits_of_agreement": (
        lambda t: reliability.varying_limits_of_agreement(t, _turned(t), unit="cm"), "rrrrrvrvvrrrrr",
    ),
    "fleiss_kappa": (lambda t: reliability.fleiss_kappa(t, grades=GRADES), "rrrvrvvvvrrrrr"),
    "gwet_agreement": (lambda t: reliability.gwet_agreement(t, grades=GRADES, weights="quadratic"), "rrrvvvvvvrvrrr"),
    "krippendorff_alpha": (lambda t: reliability.krippendorff_alpha(t, resamples=1000, rng=rng()), "rrrvrvvvvrvrrr"),
}  # fmt: skip
GRADES = tuple(x / 2 for x in range(17))


def _turned(table: Any) -> Any:
    return [row[::-1] for row in table]


def _minus(b: Any, a: Any) -> Any:
    if any(isinstance(x, str) for x in a):
        return a
    return np.asarray(b, dtype=float) - np.asarray(a, dtype=float)


def numbers(value: Any, name: str = "") -> Iterator[tuple[str, float]]:
    """Yield every number of a result with its place."""
    if isinstance(value, Estimate | Interval | HypothesisTest) or dataclasses.is_dataclass(value):
        for item in dataclasses.fields(value):  # type: ignore[arg-type]
            yield from numbers(getattr(value, item.name), f"{name}.{item.name}")
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from numbers(one, f"{name}[{key}]")
    elif isinstance(value, tuple | list | np.ndarray):
        for i, one in enumerate(value):
            yield from numbers(one, f"{name}[{i}]")
    elif isinstance(value, float | int) and not isinstance(value, bool):
        yield name, float(value)


def answer(call: Callable[[], Any]) -> str:
    """Return r for a refusal in words, v for a value without nan."""
    reason = ""
    try:
        found = call()
    except DesignError as refusal:
        reason = refusal.reason
    if reason:
        assert len(reason.split()) >= 3
        assert "nan" not in reason.split()
        return "r"
    for name, number in numbers(found):
        assert not math.isnan(number), name
        assert not (name.endswith(".p") and number <= 0), name
        assert math.isfinite(number) or name.endswith((".low", ".high")), name
    if hasattr(found, "summary"):
        assert "nan" not in found.summary()
    return "v"


@pytest.mark.parametrize("name", OF_PAIRS)
def test_two_values_a_person_have_a_decided_answer(name: str) -> None:
    function, decided = OF_PAIRS[name]
    found = {
        kind: "-" if letter == "-" else answer(lambda: function(*given))  # noqa: B023
        for (kind, given), letter in zip(PAIRS.items(), decided, strict=True)
    }
    assert found == dict(zip(PAIRS, decided, strict=True))


@pytest.mark.parametrize("name", OF_TABLES)
def test_tables_of_people_have_a_decided_answer(name: str) -> None:
    function, decided = OF_TABLES[name]
    found = {kind: answer(lambda: function(given)) for kind, given in TABLES.items()}  # noqa: B023
    assert found == dict(zip(TABLES, decided, strict=True))


def test_an_unused_grade_counts_and_one_off_the_scale_is_refused() -> None:
    first, second = [1, 2, 1, 3, 2, 1], [1, 2, 2, 3, 1, 1]
    narrow, wide = (
        reliability.cohen_kappa(first, second, grades=range(1, top), weights="linear").kappa.value for top in (4, 6)
    )
    assert wide == pytest.approx(narrow)  # linear weights scale, and nobody used grades 4 and 5
    plain, full = (
        reliability.gwet_agreement(np.column_stack([first, second]), grades=range(1, top)).coefficient.value
        for top in (4, 6)
    )
    assert full > plain
    with pytest.raises(DesignError, match="none of the grades 1, 2, 3"):
        reliability.cohen_kappa(first, [9, *second[1:]], grades=range(1, 4))


def test_duplicated_ratings_are_refused_and_units_are_not_mixed() -> None:
    from outcomes.matrices import as_matrix

    long = {"who": ["a", "a", "a", "b"], "when": [1, 2, 2, 1], "cm": [1.0, 2.0, 4.0, 3.0]}
    with pytest.raises(DesignError, match="two values for one cell: who a, when 2"):
        as_matrix(long, rows="who", columns="when", values="cm")
    own = Estimate(value=4.0, unit="cm", method="mdc95", n_people=10, n_values=20)
    other = reliability.PublishedError(mdc95=2.0, unit="mm", population="adults", source="A (2001)")
    with pytest.raises(DesignError, match="own value is in cm, the published one in mm"):
        reliability.own_against_published(own, [other])
