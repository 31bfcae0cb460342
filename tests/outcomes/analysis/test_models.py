"""Models of limbs and visits from the protocol to the record, on a small study built in memory."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.intervals import t_interval
from outcomes.study import Study
from protocols import parse_protocol

PEOPLE = [f"P{i:02d}" for i in range(12)]
VISITS = (("before", "2025-01-06"), ("middle", "2025-02-03"), ("after", "2025-03-03"))
RNG = np.random.default_rng(4)
LEVEL = np.round(50 + 4 * RNG.normal(size=12), 1)
GIRTH = {
    (who, side, visit): round(float(LEVEL[i] + 0.5 * j + own[i] * j / 2 + 0.2 * RNG.normal()), 1)
    for own in [RNG.normal(size=12)]
    for i, who in enumerate(PEOPLE)
    for side in ("left", "right")
    for j, (visit, _) in enumerate(VISITS)
}


def girths(gone: set[tuple[str, str, str]] = frozenset()) -> pd.DataFrame:  # type: ignore[assignment]
    days = dict(VISITS)
    rows = [
        {
            "participant_id": who, "visit": visit, "measure": "limb_girth", "item": "reading", "place": "mid_thigh",
            "side": side, "trial": 1, "response": str(value), "assessed_at": days[visit], "rater": "R1",
        }
        for (who, side, visit), value in GIRTH.items()
        if (who, side, visit) not in gone
    ]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.fixture
def study(plan: Callable[[], str]) -> Callable[..., Study]:
    def make(assessments: pd.DataFrame, limbs: str = "modelled", role: str = "primary") -> Study:
        text = plan().partition('[[measures]]\nmeasure = "mas"')[0]
        text = text.replace('places = ["mid_thigh"]\n', f'places = ["mid_thigh"]\nlimbs = "{limbs}"\n')
        middle = '[[visits]]\nkey = "middle"\nlabel = "Middle"\nweek = 4\nwhen = "during"\n'
        text = text.replace('[[visits]]\nkey = "after"', middle + '[[visits]]\nkey = "after"')
        people = pd.DataFrame({"participant_id": PEOPLE, "enrolled_on": "2025-01-06"})
        protocol = parse_protocol(text, "protocol.toml")
        return Study.from_tables(protocol, participants=people, assessments=assessments)

    return make


KEY = "model/limb_girth.girth/mid_thigh.modelled/all/after_minus_before/-/"


def test_both_limbs_are_modelled_beside_person_means_and_what_limbs_as_people_would_claim(
    study: Callable[..., Study],
) -> None:
    record = analyse(study(girths())).record
    changes = np.array([[GIRTH[w, s, "after"] - GIRTH[w, s, "before"] for s in ("left", "right")] for w in PEOPLE])
    right, wrong = t_interval(changes.mean(axis=1)), t_interval(changes.ravel())
    for statistic, expected in (("limb_modelled", right), ("limb_person_means", right), ("limbs_as_people", wrong)):
        interval = record[KEY + statistic].interval
        assert (interval.low, interval.high) == pytest.approx((expected.low, expected.high))
    assert record["change/limb_girth.girth/mid_thigh.modelled/all/after_minus_before/-/mean"].value == pytest.approx(
        changes.mean()
    )
    table = record.tables["limbs"].to_frame()
    assert table["way"].tolist() == ["limbs modelled", "person means", "limbs counted as people"]
    assert table["limbs"].tolist() == [24, 24, 24]
    assert record[KEY + "limbs_as_people"].unit_of_analysis == "limb"
    assert record.caveats["limbs_are_not_people"]


def test_a_person_with_one_limb_counts_in_the_model_alone(study: Callable[..., Study]) -> None:
    record = analyse(study(girths({("P03", "left", "after"), ("P07", "right", "before")}))).record
    table = record.tables["limbs"].to_frame()
    assert table[["people", "limbs"]].to_numpy().tolist() == [[12, 22], [10, 20], [12, 22]]
    assert record["change/limb_girth.girth/mid_thigh.modelled/all/after_minus_before/-/mean"].n_people == 10


def test_a_missing_limb_of_everybody_is_refused_in_words(study: Callable[..., Study]) -> None:
    record = analyse(study(girths({key for key in GIRTH if key[1] == "left"}))).record
    assert "a limb term needs values of two" in record[KEY + "limb_modelled"].reason


def test_all_visits_of_everybody_stand_beside_complete_pairs(study: Callable[..., Study]) -> None:
    gone = {(who, side, "after") for who in ("P01", "P02") for side in ("left", "right")}
    record = analyse(study(girths(gone), limbs="mean")).record
    key = "model/limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/visit_change"
    assert record[key].n_people == 12
    row = record.tables["visit_models"].to_frame().iloc[0]
    assert (row["people"], row["pairs"], row["values"]) == (12, 10, 34)
    pairs = record["change/limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/mean"]
    assert row["pairs_change"] == pytest.approx(pairs.value)
    assert row["own_courses"] == "level and course"
    assert record[key.replace("visit_change", "visit_f")].test.df[0] == 2
    assert not record.tables["limbs"].rows


def test_perfectly_flat_values_are_refused_with_the_reason(study: Callable[..., Study]) -> None:
    flat = girths().assign(response="50.0")
    record = analyse(study(flat)).record
    assert "the same in every row" in record[KEY + "visit_change"].reason
    assert "the same in every row" in record[KEY + "limb_modelled"].reason
