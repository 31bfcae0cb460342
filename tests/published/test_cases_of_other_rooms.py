"""Worked cases of measures that one score does not show: sums of grades, changes, errors, a whole cohort.

Where a case speaks of a change, the score of each visit stands in ``cases/measures_*.toml``, its threshold in
``tests/outcomes/measures/test_properties.py``. ``case_index.toml`` names the tests of every case.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from outcomes.change import percent_change
from outcomes.measures import Catalogue, against_threshold, score, score_sets
from outcomes.reliability import measurement_error

MEASURES = Catalogue.packaged()


def test_girth_1() -> None:
    # 100 (46.2 - 44.0) / 44.0: formed from the raw girths; two people, as one has no mean
    found = percent_change([44.0, 44.0], [46.2, 46.2], scale="ratio")
    assert found.mean_percent.value == pytest.approx(5.0, abs=1e-12)
    assert MEASURES.get("limb_girth").main_scale.level == "ratio"


def test_girth_2() -> None:
    # 44.0, 44.2, 43.9: the mean, and the median once one reading is more than 1 cm off
    assert score("limb_girth", {"reading": [44.0, 44.2, 43.9]})["girth"] == pytest.approx(44.0333, abs=5e-5)
    far = score("limb_girth", {"reading": [44.0, 44.2, 42.9]})
    assert (far["girth"], far.flags["girth"]) == (44.0, ("median of readings",))


def test_mas_1() -> None:
    # 0, 1, 1+, 2, 3, 4: the ranks sum to 15, the other coding to 11.5 (both codings in a public database)
    scored = [score("mas", {"grade": grade}) for grade in ("0", "1", "1+", "2", "3", "4")]
    assert sum(one.scales["rank"] or 0 for one in scored) == 15
    assert sum(one.scales["half"] or 0 for one in scored) == 11.5


def test_martin_2() -> None:
    # 42297.9 g is what the printed equation gives where pi is dropped (Martin et al. 1990, worked out by hand)
    given = {
        "stature": 175,
        "thigh_girth": 52,
        "front_thigh_skinfold": 1.2,
        "forearm_girth": 27,
        "calf_girth": 36,
        "medial_calf_skinfold": 0.8,
    }
    without_pi = 175 * (0.0553 * (52 - 1.2) ** 2 + 0.0987 * 27**2 + 0.0331 * (36 - 0.8) ** 2) - 2445
    assert without_pi == pytest.approx(42297.9, abs=0.05)
    mass = score("muscle_mass_martin", given)["mass"]
    assert mass is not None
    assert without_pi - mass == pytest.approx(42297.9 - 39153.4, abs=0.1)


def test_hrr_1() -> None:
    from outcomes.measures import target_heart_rate

    assert target_heart_rate(rest=60, peak=120, share=0.5) == 90  # 60 + 0.5 (120 - 60)


@pytest.mark.parametrize(
    ("error", "mdc95"), [pytest.param(0.7, 1.94, id="mdc_1.1"), pytest.param(1.84, 5.10, id="mdc_1.2")]
)
def test_mdc_1(error: float, mdc95: float) -> None:
    # published pairs of the fatigue scale (Learmonth 2013) and the shoulder index (Curtis 1995)
    # differences +error and -error: their standard deviation is error x root 2, and no shift between occasions
    found = measurement_error([[10, 10 + error], [20 + error, 20]], unit="{score}", scale="interval")
    assert found.standard_error_agreement.value == pytest.approx(error, abs=1e-12)
    assert found.mdc95.value == pytest.approx(mdc95, abs=0.005)


@pytest.mark.parametrize(
    ("measure", "before", "after", "how", "change", "percent"),
    [
        pytest.param("pain_nrs", 6, 4, {"key": "decrease_sci_percent", "people": "spinal_cord_injury"}, -2, -33.333,
                     id="nrs_1"),
        pytest.param("t25fw", 10.0, 8.0, {"statistic": "reliable_change_percent", "people": "multiple_sclerosis"},
                     -2, -20.0, id="t25fw_02.1"),
        pytest.param("t25fw", 0.762, 0.9525,
                     {"statistic": "mcid_percent", "people": "multiple_sclerosis", "scale": "speed"}, 0.1905, 25.0,
                     id="t25fw_02.2"),
        pytest.param("nhpt", 60.0, 50.0, {"statistic": "reliable_change_percent", "people": "multiple_sclerosis"},
                     -10, -16.6667, id="nhpt_02"),
        pytest.param("dxa_lean", 8.2, 8.9, {"statistic": "least_significant_change", "people": "spinal_cord_injury",
                                            "unit_of_analysis": ""}, 0.7, 8.5366, id="lean_1"),
    ],
)  # fmt: skip
def test_a_change_in_percent_of_the_value_before(
    measure: str, before: float, after: float, how: dict[str, str], change: float, percent: float
) -> None:
    # 100 (after - before) / before, by hand; the thresholds and their sources stand in the definitions
    found = against_threshold(MEASURES.get(measure), before, after, **{"statistic": "mcid", **how})
    assert found.change == pytest.approx(change, abs=1e-9)
    assert found.compared == pytest.approx(percent, abs=5e-4)


def sums(first: int, count: int) -> Callable[[Sequence[int]], dict[str, list[int]]]:
    """Return what spreads sums of answers over `count` items from number `first` on."""

    def spread(totals: Sequence[int]) -> dict[str, list[int]]:
        return {
            f"msis_{first + place}": [total // count + (place < total % count) for total in totals]
            for place in range(count)
        }

    return spread


def test_msis29_01() -> None:
    # a published cohort (PLoS One 2013): mean sums 60.5 and 24.8 are reported as 50.6 and 43.8 %
    answers = {**sums(1, 20)([60] * 5 + [61] * 5), **sums(21, 9)([24] * 2 + [25] * 8)}
    assert sum(sum(answers[f"msis_{n}"]) for n in range(1, 21)) / 10 == 60.5
    assert sum(sum(answers[f"msis_{n}"]) for n in range(21, 30)) / 10 == 24.8
    scored = score_sets("msis29", answers, version="v1")
    assert scored["physical"].mean() == pytest.approx(50.6, abs=0.1)
    assert scored["psychological"].mean() == pytest.approx(43.8, abs=0.1)


@pytest.mark.parametrize(
    ("version", "profile"),
    [pytest.param("five_levels", "21143", id="eq5d_01"), pytest.param("three_levels", "11212", id="eq5d_02")],
)
def test_a_profile_is_its_levels_and_no_index_is_formed(version: str, profile: str) -> None:
    # both profiles are examples on pages of the owner
    definition = MEASURES.get("eq5d", version)
    scored = score(definition, {f"d{n}": level for n, level in enumerate(profile, start=1)})
    assert "".join(f"{scored[f'd{n}']:g}" for n in range(1, 6)) == profile
    assert {scale.key for scale in definition.scales} == {"vas", "d1", "d2", "d3", "d4", "d5"}


def test_whoqol_bref_05() -> None:
    # raw 24 of seven items: 63 by the printed table, 60.71 by the exact rule (q3 and q4 are turned: 3 stays 3)
    answers = {"q3": 3, "q4": 3, "q10": 4, "q15": 4, "q16": 4, "q17": 3, "q18": 3} | {f"q{n}": 3 for n in (5, 6, 7)}
    answers |= {f"q{n}": 3 for n in (1, 2, 8, 9, 11, 12, 13, 14, 19, 20, 21, 22, 23, 24, 25, 26)}
    assert score("whoqol_bref", answers)["physical"] == pytest.approx(60.71, abs=0.005)
