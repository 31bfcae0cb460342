"""Energy, METs, session-RPE and heart-rate load in the record: every expected value is worked out beside it."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.analysis.load import LOADS
from outcomes.dose import heart_rate_load
from outcomes.study import Study
from protocols import parse_protocol

TESTS = """
[[measures]]
measure = "vo2peak"
role = "exploratory"
[[measures]]
measure = "hrr"
role = "exploratory"
[[measures]]
measure = "bp_hr_rest"
role = "exploratory"
"""


def answers(person: str, visit: str, day: str, **items: tuple[str, list[object]]) -> list[dict[str, object]]:
    """Return assessments of one visit: item to measure and its readings."""
    return [
        {
            "participant_id": person, "visit": visit, "assessed_at": day, "measure": measure, "item": item,
            "trial": trial if len(readings) > 1 else None, "response": str(value),
        }
        for item, (measure, readings) in items.items()
        for trial, value in enumerate(readings, start=1)
    ]  # fmt: skip


@pytest.fixture
def study(plan, tables):
    def make(dose: str = "", more: list[dict[str, object]] | None = None, **columns: list[object]) -> Study:
        sessions = pd.DataFrame(
            {
                "participant_id": ["P1", "P1", "P2"],
                "session_id": ["S1", "S2", "S3"],
                "started_at": ["2025-01-07", "2025-03-15", "2025-01-07"],
                "status": "done",
                **columns,
            }
        )
        text = plan() + TESTS
        text = text.replace("[[visits]]", f"[dose]\n{dose}\n[[visits]]", 1) if dose else text
        given = dict(tables)
        people = given["participants"].assign(
            sex=["male", "female", *["other"] * 5], neurological_level=["T8", "L1", *[""] * 5]
        )
        if more:
            given["assessments"] = pd.concat([given["assessments"], pd.DataFrame(more)], ignore_index=True)
        return Study.from_tables(
            parse_protocol(text, "protocol.toml"), **given | {"participants": people, "sessions": sessions}
        )

    return make


def told(record) -> pd.DataFrame:
    table = record.tables["internal_load"]
    return pd.DataFrame(table.rows, columns=list(table.columns)).set_index("quantity")


def test_energy_and_exertion_of_a_session(study) -> None:
    found = analyse(
        study(
            "gross_efficiency = 0.08",
            work_kj=[18.0, None, 9.0],
            active_minutes=[30.0, 20.0, 20.0],
            total_minutes=[40.0, 30.0, 30.0],
            rpe=[4, 13, 5],
            rpe_scale=["0-10", "6-20", "0-10"],
            oxygen_uptake_ml_kg_min=[7.0, None, None],
        )
    )
    rows = told(found.record)
    assert set(rows.index) == set(LOADS)
    # 18 and 9 kJ over 4.184, and over an efficiency of 8 %
    assert rows.loc["mechanical_energy", "mean"] == pytest.approx(13.5 / 4.184)
    assert rows.loc["metabolic_energy", "mean"] == pytest.approx(13.5 / 4.184 / 0.08)
    assert "assumed gross efficiency of 0.08" in rows.loc["metabolic_energy", "label"]
    assert rows.loc["mechanical_energy", ["sessions", "delivered", "people"]].tolist() == [2, 3, 2]
    # 4 x 40 min and 5 x 30 min; 13 x 30 min by itself
    assert rows.loc["session_rpe_load_0_10", "mean"] == pytest.approx((160 + 150) / 2)
    assert rows.loc["session_rpe_load_6_20", "mean"] == 390
    # 7 mL/kg/min for 30 min: 2 standard METs, 7 / 2.7 after spinal cord injury
    assert rows.loc["standard_met_minutes", "mean"] == pytest.approx(60)
    assert rows.loc["sci_met_minutes", "mean"] == pytest.approx(30 * 7 / 2.7)
    entry = found.record.entries["load/-/-/all/-/sci_met_minutes/session_mean"]
    assert (entry.unit, entry.n_people) == ("{MET}.min", 1)
    assert "Collins" in found.record.methods["load_met_sci"]
    assert len(found.people["internal_load"]) == 3


def test_what_is_not_on_record_is_refused_with_the_field_that_answers(study) -> None:
    rows = told(analyse(study(active_minutes=[30.0, 20.0, 20.0])).record)
    assert rows["mean"].isna().all()
    assert rows["reason"].to_dict() == {
        "mechanical_energy": "no delivered session has what it needs; needs work_kj of sessions",
        "metabolic_energy": "no efficiency is assumed; gross_efficiency under [dose] of the protocol would answer",
        **{
            f"session_rpe_load_{scale}": "no delivered session has what it needs; needs rpe, rpe_scale "
            f"{scale.replace('_', '-')} and total_minutes of sessions"
            for scale in ("0_10", "6_20")
        },
        "heart_rate_load": rows.loc["heart_rate_load", "reason"],
        **{
            f"{kind}_met_minutes": "no delivered session has what it needs; needs oxygen_uptake_ml_kg_min and "
            "active_minutes of sessions"
            for kind in ("standard", "sci")
        },
    }
    assert rows.loc["heart_rate_load", "reason"].startswith("no mean heart rate of the session; needs mean_heart_rate")


def test_the_heart_rate_load_takes_the_last_tests_before_the_session(study) -> None:
    more = [
        *answers("P1", "before", "2025-01-06", heart_rate_peak=("vo2peak", [130]), hr=("bp_hr_rest", [68, 72])),
        *answers("P1", "after", "2025-03-03", heart_rate_peak=("vo2peak", [140])),
        *answers("P2", "after", "2025-03-03", heart_rate_peak=("vo2peak", [150]), hr=("bp_hr_rest", [60, 60])),
    ]
    rates = {"mean_heart_rate_bpm": [100.0, 105.0, 100.0], "total_minutes": [30.0, 30.0, 30.0]}
    found = analyse(study(more=more, **rates))
    rows = found.people["internal_load"].set_index("session_id")
    # session S2 comes after the second peak; the resting rate is still the first one, the mean of 68 and 72
    expected = [
        heart_rate_load(30, 100, rest_bpm=70, peak_bpm=130, peak="measured", sex="male", level="T8"),
        heart_rate_load(30, 105, rest_bpm=70, peak_bpm=140, peak="measured", sex="male", level="T8"),
    ]
    # by hand: r = 0.5, 30 x 0.5 x 0.64 e^(1.92 x 0.5) = 25.07
    assert expected[0] == pytest.approx(25.07, abs=0.005)
    loads = rows["heart_rate_load_measured_peak_total_minutes"]
    assert loads[["S1", "S2"]].tolist() == pytest.approx(expected)
    assert math.isnan(loads["S3"])
    assert rows.loc["S3", "heart_rate_load_reason"].startswith("no measured peak heart rate")
    assert told(found.record).loc["heart_rate_load", ["sessions", "people"]].tolist() == [2, 1]


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ("measured", ""),
        ("predicted", "a heart-rate load needs a measured peak; a predicted one misleads"),
        (None, "no measured peak heart rate"),
    ],
)
def test_a_peak_that_was_predicted_or_of_unknown_origin_gives_no_load(study, said, reason) -> None:
    items = {"hr_peak": ("hrr", [130]), "hr_rest": ("hrr", [70])}
    items |= {} if said is None else {"peak_from": ("hrr", [said])}
    rates = {"mean_heart_rate_bpm": [100.0, None, None], "total_minutes": [30.0, 30.0, 30.0]}
    found = analyse(study(more=answers("P1", "before", "2025-01-06", **items), **rates))
    row = found.people["internal_load"].set_index("session_id").loc["S1"]
    assert bool(row["heart_rate_load_measured_peak_total_minutes"] > 0) is (said == "measured")
    assert reason in row["heart_rate_load_reason"]
    assert bool(row["heart_rate_load_reason"]) is bool(reason)


def test_a_sex_without_weights_gives_no_load_and_says_so() -> None:
    from outcomes.errors import DesignError

    with pytest.raises(DesignError, match="female and male people only"):
        heart_rate_load(30, 100, rest_bpm=70, peak_bpm=130, peak="measured", sex="other")
