"""Worked examples that one path of one result does not show, and the index that leads to every number of all of them.

A number that follows another convention than ours stands here with the one that it is not. ``index.toml`` names, for
each number of each example, its value and where it is held: a path of a case in ``cases/*.toml``, or a test of this
file, in which the number must stand.
"""

from __future__ import annotations

import ast
import functools
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from outcomes.change import (
    analysis_of_covariance,
    benjamini_hochberg,
    bonferroni,
    hedges_correction,
    holm,
    paired_change,
    paired_effect_sizes,
    sign_flip_test,
    two_group_effect_sizes,
)
from outcomes.errors import DesignError
from outcomes.intervals import t_quantile, t_two_sided
from outcomes.models import marginal_model, mixed_model
from outcomes.reliability import (
    error_from_correlation,
    limits_of_agreement,
    measurement_error,
    root_mean_square_error,
)
from outcomes.result import Estimate

HERE = Path(__file__).parent
INDEX: dict[str, dict[str, list[Any]]] = tomllib.loads((HERE / "index.toml").read_text(encoding="utf-8"))
THESE = "test_worked_examples"


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / "data" / name)


def standard_error(found: Estimate, df: float) -> float:
    """Return the standard error behind a t interval of 95 %."""
    assert found.interval is not None
    return (found.interval.high - found.interval.low) / 2 / t_quantile(0.975, df)


# --------------------------------------------------------------------------------------------------- the examples

PEFR = table("bland_altman_1986_pefr.csv")
MINI, WRIGHT = PEFR[["mini1", "mini2"]].to_numpy(float), PEFR[["wright1", "wright2"]].to_numpy(float)


def test_standard_errors_of_bias_and_limits_of_1986_and_1999() -> None:
    # Bland & Altman 1986 Lancet i:307: s/sqrt n, s sqrt(3/n); 1999 Stat Methods Med Res 8:135
    first, second = PEFR["mini1"], PEFR["wright1"]
    old = limits_of_agreement(first, second, unit="L/min", interval="1986")
    new = limits_of_agreement(first, second, unit="L/min", interval="approximate")
    assert standard_error(new.bias, 16) == pytest.approx(9.40192500351, abs=9.4e-6)
    assert standard_error(old.lower, 16) == pytest.approx(16.284611795, abs=1.6e-5)
    assert standard_error(new.lower, 16) == pytest.approx(16.3951079847, rel=1e-5)


def test_repeatability_of_1986_is_two_standard_deviations_of_differences_about_zero() -> None:
    # Bland & Altman 1986: 2 sqrt(mean d2) of duplicates, which is 2 sqrt 2 times the within-person standard deviation
    for duplicates, wanted in ((WRIGHT, 43.2937979528), (MINI, 56.3163334368)):
        found = measurement_error(duplicates, unit="L/min").within_person_standard_deviation.value
        assert 2 * math.sqrt(2) * float(found) == pytest.approx(wanted, abs=5.6e-5)


def test_means_of_repeats_spread_less_than_single_readings() -> None:
    # Bland & Altman 1986 and 1999: not corrected, so smaller than the spread of differences of single readings
    means = limits_of_agreement(MINI.mean(axis=1), WRIGHT.mean(axis=1), unit="L/min")
    assert means.standard_deviation.value == pytest.approx(33.204136879, abs=3.3e-5)
    pressure = table("bland_altman_1999_sbp.csv")
    first, second = (pressure[[f"{who}{k}" for k in (1, 2, 3)]].mean(axis=1) for who in "SJ")
    found = limits_of_agreement(first, second, unit="mm[Hg]")
    assert found.standard_deviation.value == pytest.approx(18.9338973299, abs=1.9e-5)


def test_standard_errors_from_the_deviation_of_all_scores() -> None:
    # Weir 2005 J Strength Cond Res 19:231, data set A: the standard deviation is that of all sixteen scores
    scores = np.array([[146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218]], dtype=float)
    spread = float(scores.std(ddof=1))
    assert spread == pytest.approx(31.7487532564, abs=3.2e-5)
    found = error_from_correlation(standard_deviation=spread, icc=0.947016137049, unit="W")
    assert (found.standard_error, found.of_estimate) == pytest.approx((7.30799909622, 7.11176135197), rel=1e-6)


def test_limits_by_student_t_are_wider_than_those_by_1_96() -> None:
    # Hopkins 2000 Sports Med 30:1: half-width t(4) x 4.0866
    trials = [62, 78, 81, 55, 66], [67, 76, 87, 55, 63]
    found = limits_of_agreement(*trials, unit="W", multiplier=t_quantile(0.975, 4))
    assert float(found.upper.value) - float(found.bias.value) == pytest.approx(11.3461188056, abs=1.1e-5)  # type: ignore[arg-type]


def test_precision_is_the_root_mean_square_and_not_the_mean_of_deviations() -> None:
    # Glueer et al 1995 Osteoporos Int 5:262: the mean of the deviations is too small
    spread = MINI.std(axis=1, ddof=1)
    assert spread.mean() == pytest.approx(13.6845959418, abs=1.4e-5)
    assert measurement_error(MINI, unit="L/min").within_person_standard_deviation.value == pytest.approx(19.9108306324)
    five = [5.7, 4.2, 5.7, 2.8, 2.1]
    assert np.mean(five) == pytest.approx(4.1)
    assert root_mean_square_error(five, unit="1").value == pytest.approx(4.35591551801)


FILMS = [9, 7, 8, 9, 8, 9, 9, 10, 9, 9], [9, 6, 7, 8, 7, 9, 8, 8, 8, 7]


def test_t_of_a_paired_change_is_d_z_times_the_root_of_n() -> None:
    # Lakens 2013 Front Psychol 4:863; Fisher 1935: t test of Darwin's maize beside its sign-flip test
    d = paired_effect_sizes(FILMS[1], FILMS[0], rng=np.random.default_rng(1)).d_z
    assert float(d.value) * math.sqrt(10) == pytest.approx(4.74341649025, abs=4.7e-6)  # type: ignore[arg-type]
    maize = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)
    change = paired_change(np.zeros(15), maize, unit="cm", rng=np.random.default_rng(1))
    assert change.d_z is not None
    t = float(change.d_z.value) * math.sqrt(15)  # type: ignore[arg-type]
    assert t == pytest.approx(2.14798746133, abs=2.1e-6)
    assert t_two_sided(t, 14) == pytest.approx(0.0497029440218, abs=5e-8)
    assert sign_flip_test(maize).test.p == pytest.approx(0.0526733398438)


def test_of_all_flips_of_the_maize_835_are_higher_and_863_as_high() -> None:
    # enumeration of 32768 sums: what is not as high with all signs turned is higher
    maize = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)
    there, back = sign_flip_test(maize), sign_flip_test(-maize)
    assert there.n_as_high == 863
    assert there.n_assignments - (back.n_as_high or 0) == 835


def test_the_first_film_as_divisor_and_the_short_correction() -> None:
    # Lakens 2013: Glass's divisor is the standard deviation of one film; g by the short form with 18 degrees of freedom
    first = paired_effect_sizes(FILMS[0], FILMS[1], rng=np.random.default_rng(1)).d_before
    assert -float(first.value) == pytest.approx(1.21466449527, abs=1.2e-6)  # type: ignore[arg-type, union-attr]
    d = two_group_effect_sizes(*FILMS).d_s.value
    assert float(d) * hedges_correction(18, form="approximate") == pytest.approx(1.07830754583, abs=1.1e-6)  # type: ignore[arg-type]


P = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.759, 1]


def test_of_fifteen_comparisons_three_or_four_are_found() -> None:
    # Benjamini & Hochberg 1995 JRSS-B 57:289: three by Bonferroni and Holm, four by their own rule
    assert [sum(p <= 0.05 for p in rule(P)) for rule in (bonferroni, holm, benjamini_hochberg)] == [3, 3, 4]


def anorexia() -> tuple[pd.Series, pd.Series, pd.Series]:
    data = table("mass_anorexia.csv")
    return data["Prewt"], data["Postwt"], data["Treat"]


def test_standard_errors_of_adjusted_and_unadjusted_differences() -> None:
    # R 4.2.2 lm on Hand et al 1994
    before, after, group = anorexia()
    found = analysis_of_covariance(before, after, group, reference="Cont", unit="[lb_av]")
    assert standard_error(found.difference["CBT"], 68) == pytest.approx(1.89349260697, abs=1.9e-6)
    assert standard_error(found.difference["FT"], 68) == pytest.approx(2.19314941164, abs=2.2e-6)
    assert standard_error(found.unadjusted["FT"], 69) == pytest.approx(2.34816253826, abs=2.3e-6)


def test_of_change_in_place_of_the_later_value_only_the_slope_differs_by_one() -> None:
    # R 4.2.2 lm on Hand et al 1994
    before, after, group = anorexia()
    found = analysis_of_covariance(before, after - before, group, reference="Cont", unit="[lb_av]")
    assert found.slope.value == pytest.approx(-0.565538849639, abs=5.7e-7)
    assert found.difference["FT"].value == pytest.approx(8.66012818099, abs=8.7e-6)


def test_criteria_count_the_residual_variance() -> None:
    # without it, as some programs print, AIC of these data is 487.973
    before, after, group = anorexia()
    found = analysis_of_covariance(before, after, group, reference="Cont", unit="[lb_av]").criteria
    assert found.n_parameters == 5
    assert float(found.aic.value) - 2 == pytest.approx(487.973297542, abs=4.9e-4)  # type: ignore[arg-type]


def test_degrees_of_freedom_are_not_those_of_containment() -> None:
    # R nlme 3.1-162 prints 79 for the interaction: 108 values less 27 children less 2 columns that change within them
    teeth = table("orthodont.csv")
    female = (teeth["sex"] == "Female").to_numpy(float)
    age = teeth["age_years"].to_numpy(float)
    columns = np.column_stack([np.ones(108), age, female, age * female])
    found = mixed_model(
        teeth["distance_mm"], columns, teeth["participant"], slope="age",
        names=["intercept", "age", "female", "age_female"], unit="mm",
    )  # fmt: skip
    contained = found.n_values - found.n_people - 2
    assert contained == 79
    assert found.fixed_effects[3].df == pytest.approx(25, abs=1e-6)


def test_ids_that_repeat_over_centres_would_be_56_people_and_are_refused() -> None:
    # R geepack 1.3.9 respiratory: 111 people at two centres, whose ids begin at 1 in each
    data = table("respiratory.csv")
    columns = np.column_stack([np.ones(444), data["treat"] == "A", data["baseline"]]).astype(float)
    with pytest.raises(DesignError, match="two values of person 1 at visit 1: the ids name 56 people for 444 rows"):
        marginal_model(
            data["outcome"], columns, data["id"], data["visit"], names=["start", "treated", "baseline"], family="binary"
        )


# ------------------------------------------------------------------------------------------------------ the index

SOURCE = (HERE / f"{THESE}.py").read_text(encoding="utf-8")
TESTS = {node.name: ast.get_source_segment(SOURCE, node) or "" for node in ast.parse(SOURCE).body
         if isinstance(node, ast.FunctionDef)}  # fmt: skip


@functools.cache
def expectations(file: str) -> list[tuple[str, float]]:
    """Return every path of a file of cases with the number that is expected there."""
    found = []
    for case in tomllib.loads((HERE / "cases" / f"{file}.toml").read_text(encoding="utf-8"))["cases"]:
        found += list(case.get("expected", {}).items())
        found += [(path, r_rows()[key]) for path, key in case.get("r", {}).items()]
    return found


@functools.cache
def r_rows() -> dict[str, float]:
    """Return every value that R computed, by key."""
    rows: dict[str, float] = {}
    for file in (HERE / "r").glob("*.csv"):
        if file.name != "models_trials.csv":
            rows |= dict(pd.read_csv(file)[["key", "value"]].itertuples(index=False))
    return rows


def is_held(value: float, file: str, path: str) -> bool:
    if file == THESE:
        return str(abs(value)) in TESTS.get(path, "")
    return any(where == path and one == pytest.approx(value, rel=1e-5, abs=0) for where, one in expectations(file))


def test_all_numbers_of_all_examples_are_in_the_index() -> None:
    assert len(INDEX) == 40
    assert sum(len(keys) for keys in INDEX.values()) == 390


@pytest.mark.parametrize("example", INDEX)
def test_every_number_of_an_example_is_held_where_the_index_says(example: str) -> None:
    assert [key for key, where in INDEX[example].items() if not is_held(*where)] == []
