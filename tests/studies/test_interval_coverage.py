"""The committed table of coverage meets its bars, names every interval of the record, and can be drawn again."""

from __future__ import annotations

import math
import sys
from collections import Counter
from importlib import import_module
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from outcomes import change, dose_response, models, reliability, single_case
from outcomes.coverage import coverage_shortfall

HERE = Path(__file__).parent


def beside(name: str) -> ModuleType:
    """Return one of the files beside this one as a module."""
    sys.path.insert(0, str(HERE))
    try:
        return import_module(name)
    finally:
        sys.path.remove(str(HERE))


STUDY, REGISTRY = beside("interval_coverage"), beside("coverage_registry")
ROWS = STUDY.read_table()
FALL_SHORT = {
    "marginal model, CR0": 24,
    "percentile bootstrap, important change, corner": 25,
    "jackknife on Fisher's scale, ICC(A,1) with gaps": 100,  # where occasions differ: they are taken as they are
    "expanded bootstrap over people, standard error of agreement": 25,
    "1999 formula, limit of agreement": 12,
    "1986 formula, limit of agreement": 12,
    "chi-square, within-person standard deviation": 100,
}
"""Intervals that fall short of near normal data below so many people: records quote the table there."""
WITHOUT_INTERVAL = frozenset(
    """
    acceptable_difference acceptable_verdict ancova_information count_better count_higher count_lower
    count_other count_same count_within degrees_of_freedom dose_curve_aicc dose_curve_weight
    dose_description dose_leave_one_out dose_median_person_r dose_only_time dose_prediction_error
    dose_prediction_gain dose_vif dose_within_person_r
    expected_by_known_error limb_likeness mean_after mean_before median_after median_before
    mixed_f_kenward_roger mixed_f_satterthwaite mixed_information mixed_leave_one_out mixed_sd_ml mixed_sd_reml
    number_needed percent_change_of_mean phase_difference pnd rci_better rci_expected
    rci_other rci_within regression_to_mean
    sd_after sd_before sd_change sign_flip signed_rank size_quantile slopes_differ standard_error_from_icc
    tau_u_pairs tau_u_parker tau_u_whole
    """.split()  # noqa: SIM905
)
"""Ids of method notes of numbers that have no interval, in the rooms of the statistics."""
ELSEWHERE = frozenset({"mixed_term_kenward_roger", "mixed_term_satterthwaite"})
"""Those whose coverage stands in `models_small_samples.csv`."""
RERUN = [
    ("Student t, mean", "skewed", 12),
    ("BCa bootstrap, mean", "normal", 24),
    ("Hodges-Lehmann", "ordinal", 8),
    ("noncentral t, d_z", "normal", 12),
    ("Wilson, share", "share 0.2", 8),
    ("Newcombe, difference of shares and number needed", "shares 0.5, 0.3", 24),
    ("t with HC3, ANCOVA difference", "unequal", 12),
    ("Feng-Cliff, Cliff's delta", "ordinal", 12),
    ("chi-square, standard error of consistency", "normal", 8),
    ("F, ICC(A,1)", "shifted", 12),
    ("sign flip", "long tails", 24),
    ("rank sum", "normal", 60),
]
FASTER = [name for name, study in STUDY.STUDIES.items() if study.many is not None]


def margin(row: dict) -> float:
    """Two Monte-Carlo standard errors of a share of 95 %."""
    return 2 * math.sqrt(0.95 * 0.05 / max(1, row["replicates"] - row["refused"]))


def named(row: dict) -> str:
    return f"{row['interval']} {row['shape']} {row['n']}"


def test_the_table_holds_every_interval_shape_and_number_of_people() -> None:
    assert [(r["interval"], r["shape"], r["n"]) for r in ROWS] == list(STUDY.cells())
    for row in ROWS:
        study = STUDY.STUDIES[row["interval"]]
        assert row["replicates"] == study.replicates_of(row["n"])
        assert row["held"] + row["below"] + row["above"] + row["refused"] == row["replicates"]
        assert (row["methods"], row["kind"], row["groups"]) == (" ".join(study.methods), study.kind, study.groups)


def test_a_row_of_fewer_than_10_000_replicates_says_why() -> None:
    assert all(bool(row["fewer"]) == (row["replicates"] < 10_000) for row in ROWS)


def test_every_method_with_an_interval_was_simulated_once() -> None:
    rooms = (change, dose_response, models, reliability, single_case)
    notes = {key for room in rooms for key in room.METHODS}
    simulated = Counter(key for study in STUDY.STUDIES.values() for key in study.methods)
    assert max(simulated.values()) == 1
    parts = set(simulated), WITHOUT_INTERVAL, ELSEWHERE
    assert set().union(*parts) == notes
    assert sum(len(part) for part in parts) == len(notes)


@pytest.mark.parametrize("row", [r for r in ROWS if r["kind"] == "test"], ids=named)
def test_a_test_finds_what_is_not_there_in_at_most_5_percent(row: dict) -> None:
    assert row["above"] / row["replicates"] <= 0.05 + margin(row)


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["kind"] == "interval" and r["shape"] in ("normal", "shifted")], ids=named
)
def test_an_interval_holds_the_truth_in_93_percent_of_near_normal_data_or_is_known_to_fall_short(row: dict) -> None:
    share = row["held"] / (row["replicates"] - row["refused"])
    assert share >= 0.93 - margin(row) or row["n"] < FALL_SHORT.get(row["interval"], 0)


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["kind"] == "interval" and r["replicates"] - r["refused"] >= 100], ids=named
)
def test_a_row_that_falls_short_is_quoted_with_every_number_that_has_the_interval(row: dict) -> None:
    seen = row["replicates"] - row["refused"]
    if row["held"] / seen < 0.93 - 2 * math.sqrt(0.93 * 0.07 / seen):
        for method in row["methods"].split():
            found = coverage_shortfall(method, 0.95, row["n"] * row["groups"])
            assert found is not None
            assert f"{100 * row['held'] / seen:.0f}% (" in found.words


@pytest.mark.parametrize(("name", "shape", "n"), RERUN)
def test_the_first_block_drawn_again_gives_the_committed_count(name: str, shape: str, n: int) -> None:
    (row,) = [r for r in ROWS if (r["interval"], r["shape"], r["n"]) == (name, shape, n)]
    assert STUDY.block(name, shape, n, 0)["held"] == row["first_block"]


@pytest.mark.parametrize("name", FASTER)
def test_the_form_for_all_studies_at_once_gives_the_interval_of_the_package(name: str) -> None:
    study = STUDY.STUDIES[name]
    rng = np.random.default_rng(5)
    for shape in study.shapes:
        n = max(study.smallest, 11)
        REGISTRY.outcomes_of(study, study.draw(rng, n, shape, 12), shape, rng, compared=12)


def test_a_form_that_differs_from_the_package_ends_the_run() -> None:
    from dataclasses import replace

    study = STUDY.STUDIES["Student t, mean"]
    wrong = replace(study, many=lambda x: tuple(end * 1.001 for end in study.many(x)))
    data = study.draw(np.random.default_rng(1), 12, "normal", 5)
    with pytest.raises(RuntimeError, match="by the package"):
        REGISTRY.outcomes_of(wrong, data, "normal", np.random.default_rng(1), compared=1)
