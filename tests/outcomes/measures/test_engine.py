"""How numbers are formed, on small definitions made for the tests; every expected value is worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from outcomes.errors import DataError, DefinitionError
from outcomes.measures import Definition, card, score, score_sets

Define = Callable[..., Definition]

ITEMS = """
[[items]]
keys = ["a", "b", "c", "d"]
codes = [0, 1, 2, 3]
"""

SCALE = """
[[scales]]
key = "{key}"
{main}rule = "{rule}"
{parts}
level = "ordinal"
better = "higher"
{more}
"""


def scale(key: str, rule: str, parts: str, more: str = "", *, main: bool = False) -> str:
    return SCALE.format(key=key, rule=rule, parts=parts, more=more, main="main = true\n" if main else "")


ALL = 'items = ["a", "b", "c", "d"]'


@pytest.mark.parametrize(
    ("rule", "more", "answers", "value"),
    [
        ("sum", "", [1, 2, 3, 0], 6),
        ("sum", "", [1, 2, 3, None], None),
        ("mean", "", [1, 2, 3, 0], 1.5),
        ("mean", "", [1, 2, None, 0], None),
        ("sum", 'missing = "mean of answered"\nat_least = 3', [1, 2, 3, None], 8),
        ("sum", 'missing = "mean of answered"\nat_least = 3', [1, 2, 3, 3], 9),
        ("sum", 'missing = "mean of answered"\nat_least = 3', [1, 2, None, None], None),
        ("sum", 'missing = "sum of answered"', [1, None, 3, None], 4),
        ("mean", 'missing = "mean of answered"', [1, None, 2, None], 1.5),
        ("mean", 'missing = "mean of answered"', [None, None, None, None], None),
        ("sum", "factor = 0.5", [1, 2, 3, 0], 3),
        ("mean", "factor = 4\noffset = -4", [1, 2, 3, 0], 2),
        ("largest", "", [1, 2, 0, 0], 2),
        ("largest", "", [1, None, 0, None], 1),
        ("largest", "at_least = 3", [1, None, 0, None], None),
        ("largest", "", [None, None, None, None], None),
        ("sum", "cap = 5", [1, 2, 3, 0], 5),
        ("sum", "cap = 5", [1, 2, 1, 1], 5),
        ("sum", "cap = 5", [1, 2, 1, None], None),
    ],
)
def test_a_sum_or_mean_follows_its_missing_rule(
    define: Define, rule: str, more: str, answers: list[int | None], value: float | None
) -> None:
    form = define(ITEMS + scale("total", rule, ALL, more, main=True))
    given = dict(zip("abcd", answers, strict=True))
    assert score(form, given)["total"] == value
    sets = score_sets(form, {key: np.array([np.nan if one is None else one]) for key, one in given.items()})
    np.testing.assert_equal(sets["total"], [np.nan if value is None else value])


def test_a_number_above_its_cap_is_flagged_and_one_at_it_is_not(define: Define) -> None:
    form = define(ITEMS + scale("total", "sum", ALL, "cap = 5\nrange = [0, 5]", main=True))
    assert form.levels("total") == (0, 1, 2, 3, 4, 5)
    assert "above 5 counts as 5, flagged" in card(form)
    told = [score(form, dict.fromkeys("abcd", 1) | {"a": a}).flags["total"] for a in (2, 3)]
    assert told == [(), ("total capped at 5",)]


def test_the_largest_answer_says_what_it_takes(define: Define) -> None:
    form = define(ITEMS + scale("worst", "largest", ALL, "range = [0, 3]", main=True))
    assert form.levels("worst") == (0, 1, 2, 3)
    assert "largest of a, b, c, d; of those answered, at least 1" in " ".join(card(form).split())
    assert score(form, {}).reasons["worst"] == "all 4 items missing"


def test_a_score_with_missing_items_is_flagged_and_counts_them(define: Define) -> None:
    form = define(ITEMS + scale("total", "sum", ALL, 'missing = "mean of answered"\nat_least = 2', main=True))
    scored = score(form, {"a": 1, "b": 2, "c": 3})
    assert scored.flags["total"] == ("items missing",)
    assert (scored.items_answered["total"], scored.items_expected["total"]) == (3, 4)
    few = score(form, {"a": 1}, absent={"b": "refused"})
    assert few.reasons["total"] == "1 of 4 items answered, at least 2 needed"


def test_a_scale_of_scales_names_the_items_behind_it(define: Define) -> None:
    form = define(
        ITEMS
        + scale("first", "sum", 'items = ["a", "b"]')
        + scale("second", "sum", 'items = ["c", "d"]')
        + scale("total", "sum", 'scales = ["first", "second"]', main=True)
    )
    assert score(form, {"a": 1, "b": 2, "c": 3, "d": 0}).scales == {"first": 3, "second": 3, "total": 6}
    partly = score(form, {"a": 1, "b": 2, "c": 3})
    assert partly.scales == {"first": 3, "second": None, "total": None}
    assert partly.reasons == {"second": "item d missing", "total": "item d missing"}
    assert (partly.items_answered["total"], partly.items_expected["total"]) == (3, 4)


def test_a_mean_of_scales_and_a_scale_of_one_scale(define: Define) -> None:
    form = define(
        ITEMS
        + scale("first", "sum", 'items = ["a", "b"]')
        + scale("second", "sum", 'items = ["c", "d"]')
        + scale("half", "mean", 'scales = ["first", "second"]', main=True)
        + scale("percent", "value", 'scales = ["half"]', "factor = 10\noffset = 1")
    )
    assert score(form, {"a": 1, "b": 2, "c": 3, "d": 1}).scales == {"first": 3, "second": 4, "half": 3.5, "percent": 36}


def test_the_levels_of_a_scale_are_the_values_that_it_can_take(define: Define) -> None:
    form = define(
        """
[[items]]
key = "a"
codes = { "0" = 0, "1" = 1, "1+" = 3 }
[[items]]
key = "b"
codes = [0, 5]
"""
        + scale("grade", "value", 'items = ["a"]', main=True)
        + scale("total", "sum", 'items = ["a", "b"]')
        + scale("double", "value", 'items = ["a"]', "factor = 2")
        + scale("mean", "mean", 'items = ["a", "b"]')
    )
    assert form.levels("grade") == (0, 1, 3)
    assert form.level_names("grade") == ("0", "1", "1+")
    assert form.levels("total") == (0, 1, 3, 5, 6, 8)
    assert form.level_names("total") == ("0", "1", "3", "5", "6", "8")
    assert (form.levels("double"), form.level_names("double")) == ((0, 2, 6), ("0", "1", "1+"))
    assert (form.levels("mean"), form.level_names("mean")) == (None, ())


ASKED = """
[[items]]
key = "often"
codes = [0, 1, 2]
[[items]]
key = "hard"
codes = [1, 2, 3]
asked_if = {{ item = "often", {condition} }}
"""


@pytest.mark.parametrize(
    ("condition", "often", "asked"),
    [
        ("above = 0", 0, False),
        ("above = 0", 1, True),
        ("at_least = 1", 0, False),
        ("at_least = 1", 1, True),
        ("below = 2", 2, False),
        ("below = 2", 1, True),
        ("at_most = 1", 2, False),
        ("at_most = 1", 1, True),
    ],
)
def test_an_item_is_asked_only_where_another_says_so(define: Define, condition: str, often: int, asked: bool) -> None:
    form = define(ASKED.format(condition=condition) + scale("hard", "value", 'items = ["hard"]', main=True))
    without, answered = score(form, {"often": often}), score(form, {"often": often, "hard": 2})
    if asked:
        assert without.reasons["hard"] == "item hard missing"
        assert answered["hard"] == 2
        assert without.items_expected["hard"] == 1
    else:
        assert without.reasons["hard"] == f"hard not asked because often is {often}"
        assert answered.reasons["hard"] == f"hard answered although often is {often}"
        assert without.items_expected["hard"] == 0


def test_an_answer_stands_where_the_deciding_item_is_missing(define: Define) -> None:
    form = define(ASKED.format(condition="above = 0") + scale("hard", "value", 'items = ["hard"]', main=True))
    assert score(form, {"hard": 2})["hard"] == 2
    assert score(form, {}).reasons["hard"] == "hard not known to be asked as often is missing"


READINGS = """
[rows]
trial = {{ min = 2, max = 3 }}
{rows}
[[items]]
key = "reading"
range = [0, 100]
[[scales]]
key = "value"
main = true
rule = "trials"
items = ["reading"]
level = "ratio"
unit = "cm"
better = "{better}"
"""


def readings(define: Define, rows: str, better: str = "none") -> Definition:
    return define(READINGS.format(rows=rows, better=better))


@pytest.mark.parametrize(
    ("rows", "better", "given", "value"),
    [
        ('combine = "mean"', "none", [1, 2], 1.5),
        ('combine = "mean"', "none", [1, 2, 6], 3),
        ('combine = "median"', "none", [1, 6, 2], 2),
        ('combine = "median"', "none", [1, 6], 3.5),
        ('combine = "best"', "higher", [1, 6, 2], 6),
        ('combine = "best"', "lower", [4, 1, 2], 1),
        ('combine = "mean"\nif_spread_over = 1\nthen = "median"', "none", [42.1, 41.1, 41.1], 41.43333333333333),
        ('combine = "mean"\nif_spread_over = 1\nthen = "median"', "none", [42.2, 41.1, 41.1], 41.1),
        ('combine = "mean"\nif_spread_over = 1\nthen = "median"', "none", [40, 44], 42),
    ],
)
def test_readings_become_one_by_their_rule(
    define: Define, rows: str, better: str, given: list[float], value: float
) -> None:
    assert score(readings(define, rows, better), {"reading": given})["value"] == pytest.approx(value, abs=1e-12)


def test_readings_that_lie_far_apart_are_flagged(define: Define) -> None:
    form = readings(define, 'combine = "mean"\nif_spread_over = 1\nthen = "median"')
    assert score(form, {"reading": [40, 44, 41]}).flags["value"] == ("median of readings",)
    assert score(form, {"reading": [40, 40.5, 41]}).flags["value"] == ()


@pytest.mark.parametrize(
    ("given", "absent", "value", "reason"),
    [
        ([5], None, None, "fewer than 2 readings"),
        (5, None, None, "fewer than 2 readings"),
        ([1, 2, 3, 4], None, None, "4 readings, at most 3"),
        ([5, None, 7], None, 6, ""),
        ([None, None], None, None, "item reading missing"),
        (None, {"reading": "refused"}, None, "item reading refused"),
        ([None, None], {"reading": [None, "equipment"]}, None, "item reading equipment"),
        ([5, 7, None], {"reading": [None, None, "refused"]}, 6, ""),
    ],
)
def test_too_few_or_too_many_readings_give_no_score(
    define: Define, given: Any, absent: Any, value: float | None, reason: str
) -> None:
    scored = score(readings(define, 'combine = "mean"'), {"reading": given}, absent=absent)
    assert (scored["value"], scored.reasons.get("value", "")) == (value, reason)


def test_fewer_readings_may_be_kept_with_a_flag(define: Define) -> None:
    form = readings(define, 'combine = "mean"\nfewer = "flag"')
    scored = score(form, {"reading": [5]})
    assert (scored["value"], scored.flags["value"]) == (5, ("low_quality",))
    assert score(form, {"reading": [5, 6]}).flags["value"] == ()


def test_a_reading_that_is_absent_beside_others_is_flagged(define: Define) -> None:
    form = readings(define, 'combine = "mean"')
    assert score(form, {"reading": [5, 7, None]}, absent={"reading": [None, None, "refused"]}).flags["value"] == (
        "reading absent",
    )


RATIO = """
[rows]
trial = { min = 1, max = 3 }
combine = "mean"
combine_on = "scores"
[[items]]
key = "way"
range = [0, 100]
unit = "m"
[[items]]
key = "time"
range = [0.5, 100]
unit = "s"
[[scales]]
key = "speed"
main = true
rule = "ratio"
items = ["way", "time"]
range = [0, 10]
unit = "m/s"
level = "ratio"
better = "higher"
[[scales]]
key = "of_readings"
rule = "ratio"
items = ["way", "time"]
combine_on = "readings"
unit = "m/s"
level = "ratio"
better = "higher"
[[scales]]
key = "best"
rule = "ratio"
items = ["way", "time"]
combine = "best"
factor = 3.6
unit = "km/h"
level = "ratio"
better = "higher"
"""


@pytest.mark.parametrize(
    ("given", "speed", "of_readings", "best"),
    [
        ({"way": 10, "time": [10, 20]}, 0.75, 10 / 15, 3.6),
        ({"way": [10, 20], "time": [10, 10]}, 1.5, 1.5, 7.2),
        ({"way": [10, 20], "time": [10, None]}, 1, 1, 3.6),
        ({"way": 0, "time": [10]}, 0, 0, 0),
    ],
)
def test_a_ratio_is_formed_before_or_after_the_readings_are_combined(
    define: Define, given: dict[str, Any], speed: float, of_readings: float, best: float
) -> None:
    scored = score(define(RATIO), given)
    assert scored.scales == pytest.approx({"speed": speed, "of_readings": of_readings, "best": best}, abs=1e-12)


def test_a_reading_without_its_partner_is_left_out_and_flagged(define: Define) -> None:
    scored = score(define(RATIO), {"way": [10, 20], "time": [10, None]})
    assert scored.flags["speed"] == ("reading left out",)


def test_a_number_beyond_the_range_of_its_scale_is_no_score(define: Define) -> None:
    scored = score(define(RATIO), {"way": 100, "time": [5]})
    assert (scored["speed"], scored.reasons["speed"]) == (None, "20 m/s is outside 0 to 10 m/s")
    assert scored["of_readings"] == 20


def test_parts_of_different_readings_make_no_ratio(define: Define) -> None:
    scored = score(define(RATIO), {"way": [10, None], "time": [None, 10]})
    assert (scored["speed"], scored.reasons["speed"]) == (None, "no reading has all its items")


def test_an_illegal_number_is_refused_in_sets_with_its_place(define: Define) -> None:
    form = define(ITEMS + scale("total", "sum", ALL, main=True))
    zero = np.zeros(20_000)
    bad = zero.copy()
    bad[17_000], bad[17_001] = 4, 0.5
    with pytest.raises(DataError) as refusal:
        score_sets(form, {"a": zero, "b": bad})
    assert [(f.column, f.found) for f in refusal.value.findings] == [("b", "4 in set 17001"), ("b", "0.5 in set 17002")]


def test_a_number_outside_the_hard_range_is_refused_in_sets(define: Define) -> None:
    with pytest.raises(DataError, match=r"found '0\.1 in set 2', expected 0\.5 to 100 s"):
        score_sets(define(RATIO), {"way": [1, 1], "time": [1, 0.1]})


def test_codes_that_are_not_all_whole_numbers_in_a_row_are_checked_too(define: Define) -> None:
    form = define(
        '[[items]]\nkey = "a"\ncodes = { "0" = 0, "1" = 1.5, "3" = 300 }\n'
        + scale("total", "value", 'items = ["a"]', main=True)
    )
    assert score_sets(form, {"a": [0, 1.5, 300, np.nan]})["total"][:3].tolist() == [0, 1.5, 300]
    with pytest.raises(DataError, match="found '1 in set 1'"):
        score_sets(form, {"a": [1]})


NUMBERS = """
[[items]]
keys = ["x", "y", "z"]
range = [0.5, 100]
"""


def test_a_sum_counts_its_parts_with_their_weights_and_has_a_range(define: Define) -> None:
    parts = 'items = ["x", "y"]\nweights = [1, -1]\nrange = [0, 50]'
    form = define(NUMBERS + scale("gap", "sum", parts, main=True))
    assert score(form, {"x": 9, "y": 2.5})["gap"] == 6.5
    assert score(form, {"x": 2, "y": 3}).reasons["gap"] == "-1 points is outside 0 to 50 points"
    assert score(form, {"x": 2}).reasons["gap"] == "item y missing"


def test_the_values_of_a_weighted_sum_of_codes_are_known(define: Define) -> None:
    parts = 'items = ["a", "b"]\nweights = [1, 4]\nrange = [0, 15]'
    form = define(ITEMS + scale("both", "sum", parts, main=True))
    assert form.levels("both") == tuple(range(16))
    assert score(form, {"a": 2, "b": 3})["both"] == 14


def test_a_sum_of_products_multiplies_one_by_one(define: Define) -> None:
    parts = 'items = ["a", "b"]\ntimes = ["c", "d"]\nrange = [0, 18]'
    form = define(ITEMS + scale("both", "sum", parts, main=True))
    scored = score(form, {"a": 1, "b": 2, "c": 3, "d": 2})
    assert (scored["both"], scored.items_answered["both"], scored.items_expected["both"]) == (7, 4, 4)
    scored = score(form, {"a": 1, "b": 2, "c": 3})
    assert (scored.reasons["both"], scored.items_answered["both"]) == ("item d missing", 3)
    assert form.levels("both") == tuple(sorted({a + b for a in (0, 1, 2, 3, 4, 6, 9) for b in (0, 1, 2, 3, 4, 6, 9)}))


def test_zero_times_what_was_not_answered_is_zero(define: Define) -> None:
    form = define(ITEMS + scale("both", "sum", 'items = ["a", "b"]\ntimes = ["c", "d"]', main=True))
    assert score(form, {"a": 0, "b": 2, "d": 3})["both"] == 6
    assert score(form, {"c": 0, "b": 2, "d": 3})["both"] == 6
    assert score(form, {"a": 1, "b": 2, "d": 3}).reasons["both"] == "item c missing"


def test_a_form_with_too_few_answers_gives_no_score_at_all(define: Define) -> None:
    form = define(
        "[rows]\nat_least = 3\n"
        + ITEMS
        + scale("pair", "mean", 'items = ["a", "b"]', 'missing = "mean of answered"', main=True)
        + scale("alone", "value", 'items = ["c"]')
    )
    enough = score(form, {"a": 1, "c": 2, "d": 3})
    assert (enough.scales, enough.flags["pair"]) == ({"pair": 1, "alone": 2}, ("items missing",))
    few = score(form, {"a": 1, "c": 2})
    reason = "2 of 4 items of the form answered, at least 3 needed"
    assert (few.scales, few.reasons) == ({"pair": None, "alone": None}, {"pair": reason, "alone": reason})
    assert few.flags == {"pair": (), "alone": ()}
    found = score_sets(form, {"a": [1, 1], "c": [2, 2], "d": [3, float("nan")]})
    np.testing.assert_equal(found["alone"], [2, np.nan])
    assert "no score with fewer than 3 items of the form answered" in card(form)


def test_a_form_cannot_need_more_answers_than_it_has_items(define: Define) -> None:
    with pytest.raises(DefinitionError, match="5 of 4 items can never be answered"):
        define("[rows]\nat_least = 5\n" + ITEMS + scale("total", "sum", ALL, main=True))


def test_a_ratio_of_scales_needs_a_part_above_zero_below_the_line(define: Define) -> None:
    form = define(
        NUMBERS
        + scale("top", "sum", 'items = ["x", "z"]\nweights = [1, -1]')
        + scale("bottom", "sum", 'items = ["y", "z"]\nweights = [1, -1]')
        + scale("share", "ratio", 'scales = ["top", "bottom"]', "factor = 100", main=True)
    )
    assert score(form, {"x": 9, "y": 11, "z": 1})["share"] == 80
    assert score(form, {"x": 9, "y": 1, "z": 1}).reasons["share"] == "top or bottom has no score"
    assert score(form, {"x": 9, "y": 0.5, "z": 1}).reasons["share"] == "top or bottom has no score"
    assert score(form, {"x": 9, "z": 1}).reasons["share"] == "item y missing"


@pytest.mark.parametrize(
    ("absent", "value", "reason"),
    [
        ({"d": "not_tested"}, 6, ""),
        ({}, None, "item d missing"),
        ({"d": "refused"}, None, "item d refused"),
        ({"a": "not_tested", "d": "not_tested"}, None, "item a not tested"),
    ],
)
def test_an_item_is_left_out_only_for_the_reasons_that_it_names(
    define: Define, absent: dict[str, str], value: float | None, reason: str
) -> None:
    items = """
[[items]]
keys = ["a", "b", "c"]
codes = [0, 1, 2, 3]
left_out_if = []

[[items]]
key = "d"
codes = [0, 1, 2, 3]
left_out_if = ["not_tested"]
"""
    form = define(items + scale("total", "sum", ALL, 'missing = "sum of answered"', main=True))
    answers = {key: number for key, number in {"a": 1, "b": 2, "c": 3}.items() if key not in absent}
    scored = score(form, answers, absent=absent)
    assert (scored["total"], scored.reasons.get("total", "")) == (value, reason)
    assert scored.flags["total"] == (("items missing",) if value is not None else ())


def test_a_withheld_scale_gives_its_reason_and_never_a_number(define: Define) -> None:
    more = 'withheld = "the weights are from memory"'
    body = ITEMS + scale("total", "sum", ALL, more, main=True) + scale("first", "value", 'items = ["a"]')
    form = define(body)
    scored = score(form, {"a": 1, "b": 2, "c": 3, "d": 0})
    assert (scored["total"], scored["first"]) == (None, 1)
    assert scored.reasons == {"total": "withheld: the weights are from memory"}
    assert scored.flags["total"] == ()
    sets = score_sets(form, {key: np.array([1.0]) for key in "abcd"})
    assert np.isnan(sets["total"]).all()
    assert sets["first"].tolist() == [1]
