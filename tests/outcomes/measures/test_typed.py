"""A total that was typed instead of items: taken where the measure allows it, marked, and never against the items."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from outcomes.errors import DataError
from outcomes.measures import Catalogue, score_table

Frame = Callable[..., pd.DataFrame]


def scored(frame: Frame, measure: str, *rows: dict[str, Any]) -> pd.DataFrame:
    return score_table(measure, frame(*rows, measure=measure)).set_index(["participant_id", "scale"])


def items(measure: str, response: str, **more: Any) -> list[dict[str, Any]]:
    return [{"item": item.key, "response": response, **more} for item in Catalogue.packaged().get(measure).answers]


def test_a_total_alone_is_taken_and_marked(frame: Frame) -> None:
    row = scored(frame, "swls", {"item": "total", "response": "23"}).loc[("P01", "total")]
    assert (row["value"], row["reason"], row["flags"], row["cells"]) == (23, "", "total typed", "assessments/1")
    assert (row["items_answered"], row["items_expected"]) == (0, 5)


def test_totals_of_parts_stand_for_themselves_and_the_others_say_why_they_are_missing(frame: Frame) -> None:
    found = scored(frame, "scim3", {"item": "self_care", "response": "12"}, {"item": "mobility", "response": "20"})
    assert found.loc[("P01", "self_care"), "value"] == 12
    assert found.loc[("P01", "mobility"), "flags"] == "total typed"
    assert found.loc[("P01", "total"), "reason"] == "no items: only a total was typed"


def test_people_with_items_and_people_with_totals_stand_in_one_table(frame: Frame) -> None:
    rows = items("swls", "4", participant_id="P03") + [
        {"item": "total", "response": "30", "participant_id": name} for name in ("P02", "P04")
    ]
    found = scored(frame, "swls", *rows)
    assert found["value"].tolist() == [30, 20, 30]
    assert found["flags"].tolist() == ["total typed", "", "total typed"]
    assert found.index.get_level_values(0).tolist() == ["P02", "P03", "P04"]


def test_a_total_that_agrees_with_the_items_changes_nothing(frame: Frame) -> None:
    found = scored(frame, "swls", *items("swls", "4"), {"item": "total", "response": "20"})
    assert (found.loc[("P01", "total"), "value"], found.loc[("P01", "total"), "flags"]) == (20, "")


def test_a_total_never_fills_in_for_a_missing_item(frame: Frame) -> None:
    found = scored(frame, "swls", *items("swls", "4")[1:], {"item": "total", "response": "20"})
    assert found.loc[("P01", "total"), "reason"] == "item swls_1 missing; a total was typed beside some of its items"


@pytest.mark.parametrize(
    ("rows", "rule", "found"),
    [
        ([*items("swls", "4"), {"item": "total", "response": "21"}], "typed_total", "21"),
        ([{"item": "total", "response": "36"}], "hard_limit", "36"),
        ([{"item": "total", "response": "20,5"}], "hard_limit", "20,5"),
        ([{"item": "total", "response": "20.5"}], "hard_limit", "20.5"),
        ([{"item": "total", "response": "20"}, {"item": "total", "response": "20"}], "two_answers", "20"),
    ],
)
def test_a_total_that_contradicts_or_cannot_be_is_a_finding_with_its_row(
    frame: Frame, rows: list[dict[str, Any]], rule: str, found: str
) -> None:
    with pytest.raises(DataError) as refusal:
        scored(frame, "swls", *rows)
    finding = refusal.value.findings[-1]
    assert (finding.rule, finding.found, finding.file) == (rule, found, f"assessments/{len(rows)}")


def test_a_measure_that_does_not_allow_it_has_no_such_item(frame: Frame) -> None:
    with pytest.raises(DataError, match="expected one of frequency"):
        scored(frame, "nbd", {"item": "total", "response": "12"})


def test_which_totals_may_be_typed_is_said_on_the_card() -> None:
    from outcomes.measures import card

    assert "a total that was typed instead of items is taken" in " ".join(
        card(Catalogue.packaged().get("scim3")).split()
    )
