"""Pain, fatigue, bladder, bowel, daily life and quality of life: what is answered is legal, and follows the truth."""

from __future__ import annotations

from collections import defaultdict
from statistics import correlation, mean
from typing import Any

import pytest

MEASURES = ("pain_nrs", "fss", "bladder", "nbd", "barthel", "qol_bds")
BARTHEL = {  # Mahoney & Barthel (1965) Md State Med J 14:61-65
    "feeding": 10,
    "bathing": 5,
    "grooming": 5,
    "dressing": 10,
    "bowels": 10,
    "bladder": 10,
    "toilet_use": 10,
    "transfers": 15,
    "mobility": 15,
    "stairs": 10,
}


def sittings(cohort: Any, measure: str) -> dict[tuple[str, str], dict[str, str]]:
    """Answers by person and visit; empty ones with their item."""
    found: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for row in cohort.tables["assessments"]:
        if row["measure"] == measure:
            found[row["participant_id"], row["visit"]][row["item"]] = row["response"]
    return found


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_is_taken_first_at_the_end_and_later_and_sometimes_refused_whole(
    cohort: Any, measure: str
) -> None:
    taken = sittings(cohort, measure)
    assert {visit for _, visit in taken} == {"week0", "week16", "week20"}
    refused = [answers for answers in taken.values() if not all(answers.values())]
    assert all(not any(answers.values()) for answers in refused)
    assert 0.01 < len(refused) / len(taken) < 0.2


def test_daily_life_has_ten_items_that_sum_to_100() -> None:
    from synthetic_cohort.wellbeing import BARTHEL_CODES

    assert {item: max(codes) for item, codes in BARTHEL_CODES.items()} == BARTHEL
    assert sum(BARTHEL.values()) == 100


@pytest.mark.parametrize(
    ("measure", "items", "low", "high"),
    [("pain_nrs", 1, 0, 10), ("fss", 9, 1, 7), ("barthel", 10, 0, 15), ("qol_bds", 4, 0, 10)],
)
def test_codes_lie_on_their_scale(cohort: Any, measure: str, items: int, low: int, high: int) -> None:
    for answers in sittings(cohort, measure).values():
        assert len(answers) == items
        assert all(low <= int(text) <= high for text in answers.values() if text)


def test_bowel_care_is_answered_in_words_with_a_satisfaction_from_0_to_10(cohort: Any) -> None:
    for answers in sittings(cohort, "nbd").values():
        assert len(answers) == 11
        if answers["satisfaction"]:
            assert 0 <= int(answers["satisfaction"]) <= 10
            assert answers["frequency"] in ("daily", "2-6/week", "<1/week")
            assert answers["digital"] in ("<1/week", ">=1/week")


def test_only_people_with_an_injury_use_catheters_or_answer_about_life_after_one(cohort: Any) -> None:
    injured = {r["participant_id"] for r in cohort.tables["participants"] if r["condition"] == "spinal_cord_injury"}
    assert {name for name, _ in sittings(cohort, "qol_bds")} <= injured
    for (name, _), answers in sittings(cohort, "bladder").items():
        if answers["catheterisations_per_day"]:
            assert (float(answers["catheterisations_per_day"]) > 0) is (name in injured)


@pytest.mark.parametrize(("measure", "truth"), [("pain_nrs", "pain"), ("fss", "fatigue"), ("barthel", "independence")])
def test_answers_follow_the_truth(cohort: Any, measure: str, truth: str) -> None:
    people = cohort.people()
    pairs = []
    for (name, visit), answers in sittings(cohort, measure).items():
        if all(answers.values()):
            values = [int(text) for text in answers.values()]
            pairs.append((sum(values) if measure == "barthel" else mean(values), people[name]["visits"][visit][truth]))
    assert len(pairs) > 80
    answered, true = zip(*pairs, strict=True)
    assert correlation(answered, true) > 0.8
    assert mean(answered) == pytest.approx(mean(true), rel=0.06)


def test_only_fatigue_of_these_is_repeated_within_the_week(cohort: Any) -> None:
    assert {r["measure"] for r in cohort.tables["repeats"]} & set(MEASURES) == {"fss"}
