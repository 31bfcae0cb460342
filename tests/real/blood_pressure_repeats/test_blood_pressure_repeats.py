"""Published repeat readings, read as a clinic's own repeat tests, give the published measurement error."""

from __future__ import annotations

import csv
import math
import shutil
from pathlib import Path

import pytest

HERE = Path(__file__).parent

# Bland & Altman 1999, Table 1; computed by R 4.2.2 in confirm.R: within-person variance, repeatability coefficient
WITHIN_VARIANCE = {"J": 37.4078431373, "S": 83.1411764706}
REPEATABILITY = {"J": 16.9532280228, "S": 25.2743009213}

FORMS = {
    # psych's names to ours: Shrout & Fleiss (1979) to McGraw & Wong (1996)
    "ICC1": "icc_1_1",
    "ICC2": "icc_a_1",
    "ICC3": "icc_c_1",
    "ICC1k": "icc_1_k",
    "ICC2k": "icc_a_k",
    "ICC3k": "icc_c_k",
}


def confirmed(observer: str) -> dict[str, dict[str, float]]:
    """Return the numbers that confirm.R wrote for one observer, by psych's name."""
    lines = (HERE / "confirm.txt").read_text(encoding="utf-8").splitlines()
    assert "psych 2.2.9, ICC(lmer = FALSE)" in lines[0]
    rows = [row for row in csv.DictReader(lines[1:]) if row["observer"] == observer]
    return {r["statistic"]: {name: float(r[name]) for name in ("value", "low", "high") if r[name]} for r in rows}


@pytest.fixture(scope="module", params=["J", "S"])
def observed(request, tmp_path_factory):
    """Return observer, study and record; the folder is a copy, as a check writes into it."""
    from outcomes import Study, analyse

    name = f"observer_{request.param.lower()}"
    folder = shutil.copytree(HERE / name, tmp_path_factory.mktemp("pressure") / name)
    study = Study.open(folder)
    return request.param, study, analyse(study).record


def value(record, statistic):
    return record[f"reliability/systolic_pressure.pressure/-/all/-/-/{statistic}"]


@pytest.mark.parametrize("observer", ["J", "S"])
def test_the_readings_are_the_published_columns(observer):
    with (HERE / "systolic_pressure.csv").open(newline="") as file:
        published = [[row["item"], *(row[f"{observer}{i}"] for i in (1, 2, 3))] for row in csv.DictReader(file)]
    with (HERE / f"observer_{observer.lower()}" / "readings.csv").open(newline="") as file:
        kept = list(csv.reader(file))
    assert kept[0] == ["Person", f"{observer}1", f"{observer}2", f"{observer}3"]
    assert kept[1:] == published


def test_every_reading_is_a_repeat_test(observed):
    observer, study, _ = observed
    repeats = study.table("repeats")
    assert len(repeats) == 85 * 3
    assert list(repeats["occasion"].unique()) == ["first", "second", "third"]
    assert set(repeats["rater"]) == {observer}
    assert len(study.table("participants")) == 85


def test_within_person_variance_and_repeatability_are_the_published_ones(observed):
    observer, _, record = observed
    spread = value(record, "within_person_standard_deviation")
    assert spread.unit == "mm[Hg]"
    assert spread.value**2 == pytest.approx(WITHIN_VARIANCE[observer], abs=5e-11)
    # Bland & Altman 1999, section 3: repeatability coefficient = 1.96 x sqrt 2 x within-person standard deviation
    assert 1.96 * math.sqrt(2) * spread.value == pytest.approx(REPEATABILITY[observer], abs=5e-11)
    assert confirmed(observer)["within_variance"]["value"] == WITHIN_VARIANCE[observer]
    assert confirmed(observer)["repeatability"]["value"] == REPEATABILITY[observer]


def test_the_six_intraclass_correlations_are_those_of_psych(observed):
    observer, _, record = observed
    for theirs, ours in FORMS.items():
        entry, expected = value(record, ours), confirmed(observer)[theirs]
        assert entry.n_people == 85
        found = (entry.value, entry.interval.low, entry.interval.high)
        assert found == pytest.approx((expected["value"], expected["low"], expected["high"]), abs=5e-10), ours


def test_no_change_is_reported_where_no_visit_is_planned(observed):
    _, _, record = observed
    assert not [key for key in record.entries if key.startswith("change/")]
