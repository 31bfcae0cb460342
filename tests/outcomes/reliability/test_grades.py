"""Agreement of grades: the whole scale counts, second opinions of general libraries, decided edges."""

from __future__ import annotations

import krippendorff
import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import aggregate_raters, cohens_kappa
from statsmodels.stats.inter_rater import fleiss_kappa as statsmodels_fleiss_kappa

from outcomes.coverage import is_coverage_caveat
from outcomes.errors import DesignError
from outcomes.reliability import (
    CAVEATS,
    METHODS,
    agreement_weights,
    cohen_kappa,
    fleiss_kappa,
    gwet_agreement,
    kappa_of_table,
    krippendorff_alpha,
)

ASHWORTH = ("0", "1", "1+", "2", "3", "4")


def ratings(n: int, k: int, seed: int, q: int = 5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    latent = rng.normal(size=(n, 1)) + 0.6 * rng.normal(size=(n, k))
    return np.clip(np.round(latent + q / 2), 0, q - 1).astype(int)


@pytest.mark.parametrize("weights", ["plain", "linear", "quadratic"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scikit_learn_gives_the_same_kappa_when_told_the_whole_scale(weights: str, seed: int) -> None:
    first, second = ratings(40, 2, seed).T
    found = cohen_kappa(first, second, grades=range(5), weights=weights)
    word = None if weights == "plain" else weights
    theirs = cohen_kappa_score(first, second, labels=list(range(5)), weights=word)
    assert found.kappa.value == pytest.approx(theirs, abs=1e-12)


def test_statsmodels_gives_the_same_standard_errors() -> None:
    table = [[10, 3, 1], [2, 12, 4], [0, 3, 9]]
    for weights in ("plain", "linear", "quadratic"):
        found = kappa_of_table(table, weights=weights)
        theirs = cohens_kappa(
            np.array(table), weights=None if weights == "plain" else 1 - agreement_weights(weights, 3)
        )
        assert found.standard_error**2 == pytest.approx(theirs.var_kappa, rel=1e-9)
        assert found.null_standard_error**2 == pytest.approx(theirs.var_kappa0, rel=1e-9)


def test_a_grade_that_nobody_used_still_counts_for_the_weights() -> None:
    # Nobody used the third of four grades; leaving it out would put the second and the fourth side by side.
    first, second = [1, 1, 2, 2, 4, 4], [1, 2, 2, 1, 4, 2]
    declared = cohen_kappa(first, second, grades=(1, 2, 3, 4), weights="quadratic")
    used = cohen_kappa(first, second, grades=(1, 2, 4), weights="quadratic")
    assert declared.kappa.value == pytest.approx(
        cohen_kappa_score(first, second, labels=[1, 2, 3, 4], weights="quadratic")
    )
    assert used.kappa.value != pytest.approx(declared.kappa.value, abs=0.01)


def test_the_grades_of_a_scale_are_names_in_order() -> None:
    found = cohen_kappa(["0", "1+", "2", "4"], ["0", "1", "2", "3"], grades=ASHWORTH, weights="quadratic")
    assert found.grades == ASHWORTH
    assert len(found.counts) == 6
    assert found.kappa.value == pytest.approx(
        cohen_kappa_score([0, 2, 3, 5], [0, 1, 3, 4], labels=range(6), weights="quadratic")
    )


def test_perfect_agreement_is_1_without_interval() -> None:
    found = cohen_kappa([1, 2, 3], [1, 2, 3], grades=(1, 2, 3))
    assert (found.kappa.value, found.kappa.interval) == (1.0, None)
    assert "perfect_agreement" in found.kappa.caveats
    assert 0 < found.kappa.test.p <= 1


def test_negative_agreement_is_kept() -> None:
    assert cohen_kappa([1, 1, 2, 2], [2, 2, 1, 1], grades=(1, 2)).kappa.value == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("first", "second", "grades", "reason"),
    [
        ([1, 1], [1, 1], (1, 2), "chance alone"),
        ([1], [1], (1, 2), "at least 2"),
        ([1, 2], [1], (1, 2), "2 first and 1 second"),
        ([1, None], [1, 2], (1, 2), "1 ratings missing"),
        ([1, np.nan], [1, 2], (1, 2), "1 ratings missing"),
        ([1, 3], [1, 2], (1, 2), "found '3'"),
        ([1, "x"], [1, 2], (1, 2), "found 'x'"),
        ([1, np.inf], [1, 2], (1, 2), "found 'inf'"),
        ([1, 2], [1, 2], (1, 1), "twice"),
        ([1, 1], [1, 1], (1,), "two grades"),
    ],
)
def test_ratings_without_a_kappa_are_refused(first: list, second: list, grades: tuple, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        cohen_kappa(first, second, grades=grades)


@pytest.mark.parametrize(
    ("weights", "are", "reason"),
    [
        ("cubic", "agreement", "none of"),
        ([[1, 0], [0, 1]], "agreement", "3 x 3"),
        ([[0, 1, 2], [1, 0, 1], [2, 1, 0]], "agreement", "say if they are of disagreement"),
        ([[1, 0, 0], [0, 1, 0], [0, 0, 1]], "disagreement", "0 for equal grades"),
        ([[1, 0.5, 0], [0, 1, 0], [0, 0, 1]], "agreement", "symmetric"),
    ],
)
def test_weights_that_mean_nothing_are_refused(weights: object, are: str, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        kappa_of_table([[3, 1, 0], [1, 3, 1], [0, 1, 3]], weights=weights, weights_are=are)


@pytest.mark.parametrize(
    ("counts", "reason"), [([[1, 2]], "square"), ([[1, -1], [0, 2]], "not below 0"), ([[0, 0], [0, 1]], "at least 2")]
)
def test_tables_without_a_kappa_are_refused(counts: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        kappa_of_table(counts)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_statsmodels_gives_the_same_kappa_of_several_raters(seed: int) -> None:
    table = ratings(25, 4, seed)
    theirs = statsmodels_fleiss_kappa(aggregate_raters(table, n_cat=5)[0])
    assert fleiss_kappa(table, grades=range(5)).coefficient.value == pytest.approx(theirs, abs=1e-12)


def test_fleiss_kappa_takes_no_missing_rating_and_gwets_does() -> None:
    table = ratings(12, 3, 4).astype(float)
    table[0, 1] = np.nan
    with pytest.raises(DesignError, match="every rating"):
        fleiss_kappa(table, grades=range(5))
    assert gwet_agreement(table, grades=range(5)).n_ratings == 35


def test_the_linearised_standard_errors_are_near_those_of_leaving_people_out() -> None:
    table = ratings(60, 3, 5)
    for call in (
        lambda t: fleiss_kappa(t, grades=range(5)),
        lambda t: gwet_agreement(t, grades=range(5)),
        lambda t: gwet_agreement(t, grades=range(5), weights="quadratic"),
    ):
        left = np.array([call(np.delete(table, i, axis=0)).coefficient.value for i in range(60)])
        jackknife = np.sqrt(59 / 60 * ((left - left.mean()) ** 2).sum())
        assert call(table).standard_error == pytest.approx(jackknife, rel=0.03)


def test_intervals_on_fishers_scale_stay_below_1_and_plain_ones_may_pass_it() -> None:
    table = [[0, 0], [1, 1], [2, 2], [3, 3], [4, 4], [2, 3], [1, 1], [0, 0]]
    first, second = zip(*table, strict=True)
    for call in (
        lambda word: cohen_kappa(first, second, grades=range(5), weights="quadratic", interval=word).kappa,
        lambda word: gwet_agreement(table, grades=range(5), weights="quadratic", interval=word).coefficient,
    ):
        on_scale, plain = call("fisher").interval, call("plain").interval
        assert on_scale.high < 1 < plain.high
        assert on_scale.method == "Fisher z"
        with pytest.raises(DesignError, match="'wilson' is none of fisher, plain"):
            call("wilson")


def test_kappa_has_no_interval_where_it_is_not_defined_without_one_person() -> None:
    found = cohen_kappa([0, 0, 0, 0, 1], [0, 0, 0, 0, 0], grades=(0, 1)).kappa
    assert (found.value, found.interval) == (0.0, None)
    assert "no_interval_jackknife" in found.caveats
    assert "no_interval_jackknife" in CAVEATS


def test_ac1_does_not_collapse_where_one_grade_is_common() -> None:
    table = [[0, 0]] * 45 + [[0, 1], [1, 0], [0, 1], [1, 0], [1, 1]]
    assert cohen_kappa(*zip(*table, strict=True), grades=(0, 1)).kappa.value < 0.35
    assert gwet_agreement(table, grades=(0, 1)).coefficient.value > 0.85


@pytest.mark.parametrize("metric", ["nominal", "ordinal", "interval", "ratio"])
@pytest.mark.parametrize("seed", [1, 2])
def test_another_program_gives_the_same_alpha(metric: str, seed: int) -> None:
    table = ratings(20, 4, seed).astype(float)
    table[np.random.default_rng(seed).random(table.shape) < 0.2] = np.nan
    theirs = krippendorff.alpha(reliability_data=table.T, level_of_measurement=metric)
    assert krippendorff_alpha(table, metric=metric).coefficient.value == pytest.approx(theirs, abs=1e-12)


def test_unused_grades_change_no_alpha() -> None:
    table = ratings(20, 3, 6)
    few, many = (krippendorff_alpha(table, grades=g).coefficient.value for g in (range(5), range(-3, 12)))
    assert many == pytest.approx(few, abs=1e-12)


def test_names_need_their_scale() -> None:
    table = [["0", "0"], ["1", "1+"], ["2", "2"]]
    assert krippendorff_alpha(table, grades=ASHWORTH).n_used == 3
    with pytest.raises(DesignError, match="need the grades"):
        krippendorff_alpha(table)
    with pytest.raises(DesignError, match="not names of grades"):
        krippendorff_alpha(table, grades=ASHWORTH, metric="interval")


def test_alpha_has_an_interval_over_people_within_its_bounds() -> None:
    found = krippendorff_alpha(ratings(30, 2, 7), rng=np.random.default_rng(1))
    assert found.coefficient.interval.low < found.coefficient.value < found.coefficient.interval.high <= 1
    assert krippendorff_alpha(ratings(30, 2, 7)).reason == "no random numbers were given"


@pytest.mark.parametrize(
    ("table", "more", "reason"),
    [
        ([[1, 1], [1, 1]], {}, "every rating is the same"),
        ([[1, 1], [1, 1]], {"grades": (1, 2)}, "every rating is the same"),
        ([[1, 2], [1, np.nan], [np.nan, 2]], {}, "1 people with two ratings"),
        ([[np.nan, np.nan]], {"grades": (1, 2)}, "no rating"),
        ([[1, np.inf], [1, 2]], {}, "infinite"),
        ([[-1, 2], [1, 2]], {"metric": "ratio"}, "below 0"),
        ([[1, 2], [1, 2]], {"metric": "cubic"}, "none of"),
        ([1, 2, 3], {}, "rows"),
    ],
)
def test_ratings_without_an_alpha_are_refused(table: list, more: dict, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        krippendorff_alpha(table, **more)


def test_perfect_agreement_of_several_is_1_without_interval() -> None:
    table = [[1, 1, 1], [2, 2, 2], [3, 3, 3], [1, 1, 1]]
    rng = np.random.default_rng(1)
    for found in (
        fleiss_kappa(table, grades=(1, 2, 3)),
        gwet_agreement(table, grades=(1, 2, 3)),
        krippendorff_alpha(table, rng=rng),
    ):
        assert (found.coefficient.value, found.coefficient.interval) == (1.0, None)
        assert found.reason


def test_every_method_and_caveat_has_its_sentence() -> None:
    table = ratings(20, 2, 8)
    found = [
        cohen_kappa(*table.T, grades=range(5), weights=w).kappa for w in ("plain", "linear", "quadratic", np.eye(5))
    ]
    found += [fleiss_kappa(table, grades=range(5)).coefficient, gwet_agreement(table, grades=range(5)).coefficient]
    found += [gwet_agreement(table, grades=range(5), weights="linear").coefficient]
    found += [krippendorff_alpha(table + 1, metric=m).coefficient for m in ("nominal", "ordinal", "interval", "ratio")]
    assert {e.method for e in found} <= set(METHODS)
    assert {c for e in found for c in e.caveats if not is_coverage_caveat(c)} <= set(CAVEATS)


@pytest.mark.parametrize("table", [[[0, 1], [1, 3], [2, 4], [0, 2], [1, 2]], [[0, 0], [1, 1], [2, 2], [2, 2]]])
def test_there_is_no_interval_where_the_ratings_of_all_people_agree_alike(table: list[list[int]]) -> None:
    first, second = zip(*table, strict=True)
    found = (
        cohen_kappa(first, second, grades=range(5)).kappa,
        gwet_agreement(table, grades=range(5)).coefficient,
        fleiss_kappa(table, grades=range(5)).coefficient,
    )
    for estimate in found:
        assert estimate.interval is None
        assert {"no_interval_variance", "perfect_agreement"} & set(estimate.caveats)
    # by size these ratings do not differ alike, so a weighted agreement spreads
    spread = gwet_agreement(table, grades=range(5), weights="linear").coefficient
    assert (spread.interval is None) == (table[0] == [0, 0])
