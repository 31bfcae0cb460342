"""The score of one person: what may be given, what is refused, and what comes back."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.errors import DataError, UsageError
from outcomes.measures import Catalogue, score


def findings(*args: Any, **options: Any) -> list[tuple[str, str, str, str]]:
    with pytest.raises(DataError) as refusal:
        score(*args, **options)
    return [(f.column, f.rule, f.found, f.expected) for f in refusal.value.findings]


def test_an_impossible_answer_names_item_found_and_expected() -> None:
    assert findings("mas", {"grade": "1++"}) == [
        ("grade", "not_a_code", "1++", "one of 0, 1, 1+, 2, 3, 4; or NT"),
    ]


def test_all_impossible_answers_come_at_once() -> None:
    found = findings("swls", {"swls_1": 0, "swls_2": 8, "swls_3": "3,5", "swls_4": 4, "swls_5": 1.5})
    assert [(item, rule) for item, rule, _, _ in found] == [
        ("swls_1", "not_a_code"), ("swls_2", "not_a_code"), ("swls_3", "decimal_comma"), ("swls_5", "not_a_code"),
    ]  # fmt: skip


def test_an_unknown_item_is_refused_with_the_nearest_one() -> None:
    ((column, rule, found, expected),) = findings("psfs", {"frequncy": 1})
    assert (column, rule, found) == ("item", "unknown_word", "frequncy")
    assert expected.endswith("did you mean 'frequency'?")


@pytest.mark.parametrize("answer", [True, "yes", [1, 2], {"a": 1}])
def test_what_is_no_answer_is_refused(answer: object) -> None:
    assert findings("psfs", {"frequency": answer})


@pytest.mark.parametrize(("answer", "value"), [(1, 1), (1.0, 1), ("1", 1), (" 1 ", 1), ("1.0", None)])
def test_a_number_is_a_code_but_a_text_is_taken_as_typed(answer: object, value: float | None) -> None:
    if value is None:
        assert findings("psfs", {"frequency": answer})
    else:
        assert score("psfs", {"frequency": answer})["frequency"] == value


def test_a_score_says_measure_version_and_variant() -> None:
    scored = score("tenmwt", {"time": [12.5]}, context={"start": "dynamic", "pace": "fast", "device": "one stick"})
    assert (scored.measure, scored.version, scored.variant) == (
        "tenmwt",
        "timed_distance",
        "pace=fast,start=dynamic",
    )
    assert score("tenmwt", {"time": [12.5], "start": "static"}).variant == "start=static"
    assert score("tenmwt", {"time": [12.5]}).variant == ""


def test_a_context_word_that_does_not_exist_is_refused() -> None:
    assert findings("tenmwt", {"time": [12.5]}, context={"pace": "quick"}) == [
        ("pace", "not_a_word", "quick", "one of comfortable, fast; or NT, unable")
    ]
    ((column, rule, _, _),) = findings("tenmwt", {"time": [12.5], "pace": "fast"}, context={"pace": "fast"})
    assert (column, rule) == ("pace", "two_answers")


def test_a_reason_for_absence_is_a_word_of_the_vocabulary() -> None:
    assert score("mas", {}, absent={"grade": "equipment"}).reasons["rank"] == "item grade equipment"
    ((column, _, found, expected),) = findings("mas", {}, absent={"grade": "unabel"})
    assert (column, found) == ("grade", "unabel")
    assert expected.endswith("did you mean 'unable'?")


def test_an_answer_and_a_reason_for_its_absence_contradict_each_other() -> None:
    assert findings("mas", {"grade": "1"}, absent={"grade": "refused"}) == [
        ("grade", "answer_and_absence", "1", "an answer or 'refused', not both")
    ]
    assert findings("mas", {"grade": "NT"}, absent={"grade": "refused"})
    assert score("mas", {"grade": "NT"}, absent={"grade": "not_tested"})["rank"] is None


def test_unable_in_one_of_two_walks_leaves_the_other() -> None:
    scored = score("tenmwt", {"distance_timed": 10, "time": [12.5, None]}, absent={"time": [None, "unable"]})
    assert (scored["speed"], scored.flags["speed"]) == (0.8, ("reading absent",))


def test_a_person_who_is_unable_lies_in_no_band() -> None:
    scored = score("tenmwt", {}, absent={"time": "unable"})
    assert scored.bands["speed"] == {}
    assert scored["speed"] == 0


def test_another_reason_for_absence_is_no_speed_of_zero() -> None:
    scored = score("tenmwt", {}, absent={"time": "refused"})
    assert (scored["speed"], scored.reasons["speed"]) == (None, "item time refused")


def test_a_speed_that_nobody_walks_is_no_score() -> None:
    scored = score("tenmwt", {"distance_timed": 20, "time": [2]})
    assert scored.reasons["speed"] == "10 m/s is outside 0 to 3 m/s"


def test_the_summary_holds_every_scale() -> None:
    assert score("psfs", {"frequency": 0}).summary() == (
        "psfs: frequency 0 points; severity: no score (severity not asked because frequency is 0)"
    )
    assert score("limb_girth", {"reading": [44, 45]}).summary() == "limb_girth: girth 44.5 cm"
    assert score("mas", {"grade": "1+"}).to_frame().loc[0, "measure"] == "mas"


def test_an_unknown_measure_or_version_is_a_fault_of_use() -> None:
    with pytest.raises(UsageError, match="no measure 'limb_grith'; did you mean 'limb_girth'"):
        score("limb_grith", {})
    with pytest.raises(UsageError, match="mas has no version 'ashworth1964'; known: bohannon1987"):
        score("mas", {"grade": "1"}, version="ashworth1964")


def test_values_are_plain_numbers() -> None:
    scored = score(Catalogue.packaged().get("swls"), {f"swls_{i}": 4 for i in range(1, 6)})
    assert type(scored["total"]) is float
    assert type(scored.items_answered["total"]) is int
    assert scored.bands["total"] == {"pavot_diener_1993": "neutral", "diener_2006": "average"}
