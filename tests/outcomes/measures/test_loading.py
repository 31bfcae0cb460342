"""A definition is read with every problem at once, each with its line; what does not fit together is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.errors import DefinitionError
from outcomes.measures.fields import FIELDS
from outcomes.measures.loading import parse_definition, read_definition

FORM = """\
key = "form"
version = "v1"
title = "A form of the tests"
construct = "nothing"
source = "made for the tests, no source"

[rows]
place = ["arm", "leg"]
side = true
variant = ["pace"]
absent_words = { NT = "not_tested" }

[[items]]
key = "a"
codes = { "0" = 0, "1" = 1, "1+" = 2 }
spellings = { "+1" = "1+" }

[[items]]
key = "b"
codes = [1, 2, 3]
asked_if = { item = "a", above = 0 }

[[items]]
key = "pace"
words = ["slow", "fast"]

[[scales]]
key = "total"
main = true
rule = "sum"
items = ["a", "b"]
range = [1, 5]
level = "ordinal"
better = "lower"

[[bands]]
set = "house"
range = [1, 2]
label = "few"
source = "made for the tests"

[[bands]]
set = "house"
range = [3, 5]
label = "many"
source = "made for the tests"

[[published]]
key = "error"
statistic = "standard_error"
value = 0.7
unit = "1"
population = "nobody"
source = "made for the tests"
status = "MEMORY"

[[published]]
key = "change"
statistic = "mdc95"
value = 1.9
unit = "1"
population = "nobody"
source = "made for the tests"
status = "MEMORY"

[[examples]]
given = { a = "1+", b = 3 }
expected = { total = 5 }
source = "2 + 3"
"""

READINGS = """\
key = "form"
version = "v1"
title = "A form of the tests"
construct = "nothing"
source = "made for the tests, no source"

[rows]
trial = { min = 1, max = 3 }
combine = "mean"
combine_on = "scores"
if_spread_over = 1.0
then = "median"

[[items]]
key = "distance"
range = [0, 100]
usual = [5, 20]
unit = "m"
default = 10

[[items]]
key = "time"
range = [0.5, 100]
unit = "s"

[[scales]]
key = "speed"
main = true
rule = "ratio"
items = ["distance", "time"]
unit = "m/s"
level = "ratio"
better = "higher"

[[examples]]
given = { time = [10] }
expected = { speed = 1 }
source = "10 / 10"
"""

BAD = [
    # what is replaced, by what, and what is said
    ('title = "A form', 'titel = "A form', "line 3, titel: unknown key 'titel'; did you mean 'title'?"),
    ('construct = "nothing"\n', "", "key 'construct' is required: what it measures"),
    ('source = "made for the tests, no source"\n', "", "key 'source' is required: publication of the measure"),
    ('version = "v1"', "version = 1", "version: found the number 1, expected text"),
    ('key = "form"', 'key = "Form A"', "key: found the text 'Form A', expected a key of small letters"),
    ('key = "form"', 'key = "other"', "the file is named 'form', expected 'other' or 'other@v1'"),
    ('place = ["arm", "leg"]', 'place = ["arm", "arm"]', "rows.place: found a list, expected a list of different keys"),
    ("side = true", 'side = "yes"', "rows.side: found the text 'yes', expected true or false"),
    ('NT = "not_tested"', 'NT = "nottested"', "found 'nottested', expected one of unable, refused, not_tested"),
    ('NT = "not_tested"', '1 = "not_tested"', "rows.absent_words.1: '1' is also a code"),
    ('variant = ["pace"]', 'variant = ["pce"]', "rows.variant: no item 'pce'; did you mean 'pace'?"),
    ('variant = ["pace"]', "", "items[2].words: only for items that rows.variant or rows.context names"),
    ('variant = ["pace"]', 'variant = ["pace"]\ncontext = ["pace"]', "rows.context: 'pace' is a variant already"),
    ('variant = ["pace"]', 'variant = ["pace"]\ncombine = "mean"', "rows.combine: needs trial = { min, max }"),
    (
        'words = ["slow", "fast"]',
        "free_text = true",
        "a variant needs words or codes: two spellings would be two variants",
    ),
    ('codes = { "0" = 0, "1" = 1, "1+" = 2 }', "codes = { }", "items[0].codes: found a table, expected codes"),
    ('"1+" = 2 }', '"1+ " = 2 }', "items[0].codes: '1+ ' has blanks around it"),
    ('"1+" = 2 }', '"1+" = "2" }', "items[0].codes: found a table, expected codes"),
    ("codes = [1, 2, 3]", "codes = [1, 2, 2]", "items[1].codes: found a list, expected codes"),
    ("codes = [1, 2, 3]", "codes = [1, 2.5]", "items[1].codes: found a list, expected codes"),
    (
        "codes = [1, 2, 3]",
        "range = [3, 1]",
        "items[1].range: found a list, expected [low, high] with low not above high",
    ),
    ("codes = [1, 2, 3]", "range = [nan, 1]", "items[1].range: found a list, expected [low, high]"),
    ("codes = [1, 2, 3]", "", "items[1]: exactly one of codes, words, range and free_text is required; found none"),
    ("codes = [1, 2, 3]", "codes = [1]\nrange = [1, 3]", "free_text is required; found codes and range"),
    ("codes = [1, 2, 3]", "codes = [1, 2, 3]\ndefault = 4", "items[1].default: 4 is not the number of a code"),
    ("codes = [1, 2, 3]", "codes = [1, 2, 3]\nusual = [1, 2]", "items[1].usual: only for an item with a range"),
    ('words = ["slow", "fast"]', 'words = ["slow", "fast"]\ndefault = 1', "items[2].default: not for a context item"),
    ('"+1" = "1+"', '"+1" = "1++"', "items[0].spellings.+1: no code '1++'; did you mean '1+'?"),
    ('"+1" = "1+"', '"1" = "1+"', "items[0].spellings.1: '1' is a code itself"),
    ('key = "b"', 'key = "a"', "item 'a' is defined twice"),
    ('key = "b"', 'key = "b"\nkeys = ["c"]', "items[1]: one of 'key' and 'keys' is required"),
    ('item = "a", above', 'item = "x", above', "items[1].asked_if.item: no item 'x'"),
    ('item = "a", above = 0', 'item = "a"', "items[1].asked_if: expected item and one of above"),
    ('item = "a", above = 0', 'item = "a", over = 0', "unknown key 'over'"),
    ("main = true\n", "", "scales: exactly one scale has main = true; none has"),
    ('rule = "sum"', 'rule = "summ"', "scales[0].rule: found 'summ', expected one of value, recode, sum"),
    ('rule = "sum"', 'rule = "value"', "scales[0].rule: value needs 1 item; found 2"),
    ('rule = "sum"', 'rule = "ratio"', "scales[0].items: b is divided by, so it needs a range above 0"),
    ('rule = "sum"', 'rule = "sum"\ncombine = "best"', "scales[0].combine: only for a scale of several readings"),
    ('rule = "sum"', 'rule = "sum"\ncap = 4', "scales[0].cap: 4 is not the largest value 5 of the range"),
    ('rule = "sum"', 'rule = "sum"\nfactor = 0', "scales[0].factor: 0 makes every score the same"),
    ('rule = "sum"', 'rule = "sum"\nweights = [1]', "scales[0].weights: 1 for 2 items or scales"),
    ('rule = "sum"', 'rule = "sum"\nweights = [1, 0]', "scales[0].weights: 0 leaves a part out: do not name it"),
    ('rule = "sum"', 'rule = "sum"\nweights = ["a"]', "scales[0].weights: found a list, expected a list of numbers"),
    ('rule = "sum"', 'rule = "mean"\nweights = [1, 2]', "scales[0].weights: is for the rule sum"),
    ('rule = "sum"', 'rule = "sum"\ntimes = ["a", "bb"]', "scales[0].times: no item 'bb'; did you mean 'b'?"),
    ('rule = "sum"', 'rule = "sum"\nwithheld = 1', "scales[0].withheld: found the number 1, expected text"),
    (
        'rule = "sum"',
        'rule = "sum"\nweights = [1, 1]\nmissing = "sum of answered"',
        "scales[0].weights: 'sum of answered' is for a plain sum",
    ),
    (
        "codes = [1, 2, 3]",
        'codes = [1, 2, 3]\nleft_out_if = ["not_testd"]',
        "items[1].left_out_if: found 'not_testd', expected some of unable, refused, not_tested",
    ),
    ('rule = "sum"', 'rule = "sum"\nunable = 9', "scales[0].range: 1 to 5, but its codes give 1 to 9"),
    (
        'rule = "sum"',
        'rule = "sum"\nmissing = "mean"',
        "scales[0].missing: found 'mean', expected one of no score, mean of",
    ),
    ('rule = "sum"', 'rule = "sum"\nat_least = 2', "scales[0].at_least: without meaning where a missing item gives no"),
    (
        'rule = "sum"',
        'rule = "sum"\nmissing = "mean of answered"\nat_least = 3',
        "scales[0].at_least: 3 of 2 items can never be answered",
    ),
    (
        'rule = "sum"',
        'rule = "mean"\nmissing = "sum of answered"',
        "scales[0].missing: 'sum of answered' is for sum",
    ),
    ('items = ["a", "b"]', 'items = ["a", "bb"]', "scales[0].items: no item 'bb'; did you mean 'b'?"),
    ('items = ["a", "b"]', 'items = ["a", "pace"]', "scales[0].items: 'pace' is context, not an answer"),
    ('items = ["a", "b"]', 'scales = ["part"]', "scales[0].scales: no scale above 'part'"),
    ('items = ["a", "b"]\n', "", "scales[0]: one of items and scales is required"),
    ("range = [1, 5]", "range = [0, 5]", "scales[0].range: 0 to 5, but its codes give 1 to 5"),
    ('level = "ordinal"', 'level = "ordinary"', "did you mean 'ordinal'?"),
    ('better = "lower"\n', "", "scales[0]: key 'better' is required: better direction"),
    ("range = [3, 5]", "range = [2, 5]", "bands[1].range: 'many' overlaps 'few' in the set house"),
    ("range = [3, 5]", "range = [3, 6]", "bands[1].range: goes beyond the range 1 to 5 of total"),
    ('label = "few"\nsource = "made for the tests"', 'label = "few"', "bands[0]: key 'source' is required"),
    ('set = "house"', 'set = "house"\nscale = "totl"', "bands[0].scale: no scale 'totl'; did you mean 'total'?"),
    ('key = "change"', 'key = "error"', "published: published value 'error' is given twice"),
    ("value = 0.7", "value = 0", "published[1].value: mdc95 stands beside a standard error of 0; expected one above 0"),
    ("value = 1.9", "value = 1.5", "published[1].value: mdc95 1.5 is 2.14 times the standard error 0.7; expected 2.77"),
    (
        'statistic = "mdc95"',
        'statistic = "mdc90"',
        "mdc90 1.9 is 2.71 times the standard error 0.7; expected 2.33 times",
    ),
    ("value = 1.9", "value = [3, 1]", "published[1].value: found a list, expected a number, [low, high] or text"),
    ('population = "nobody"\n', "", "published[0]: key 'population' is required"),
    ('status = "MEMORY"', 'status = "GUESS"', "published[0].status: found 'GUESS', expected one of VERIFIED"),
    ('given = { a = "1+", b = 3 }', 'given = { aa = "1+" }', "examples[0].given.aa: no item 'aa'; did you mean 'a'?"),
    ("expected = { total = 5 }", "expected = { totl = 5 }", "examples[0].expected.totl: no scale 'totl'"),
    ("expected = { total = 5 }", "expected = { total = [5] }", "examples[0].expected.total: found a list"),
    ("expected = { total = 5 }", 'refused = "c"', "examples[0].refused: no item 'c'"),
    ("expected = { total = 5 }\n", "", "examples[0]: one of 'expected' and 'refused' is required"),
    ('source = "2 + 3"\n', "", "examples[0]: key 'source' is required"),
    ("[[scales]]", "[scales]", "scales: found a table, expected tables in [[scales]]"),
    ("[rows]", "[[rows]]", "rows: found a list, expected a table"),
    ('spellings = { "+1" = "1+" }', "spellings = 1", "items[0].spellings: found the number 1, expected a table"),
    (
        'spellings = { "+1" = "1+" }',
        'spellings = { "+1" = 1 }',
        "items[0].spellings.+1: found the number 1, expected text",
    ),
]

BAD_READINGS = [
    ("max = 3", "max = 0", "rows.trial.max: found the number 0, expected a whole number from 1"),
    ("{ min = 1, max = 3 }", "{ min = 4, max = 3 }", "rows.trial: min 4 is above max 3"),
    ("{ min = 1, max = 3 }", "{ most = 3 }", "rows.trial.most: unknown key 'most'"),
    ('combine = "mean"\n', "", "scales[0].combine: several readings need rows.combine or combine here"),
    ('then = "median"\n', "", "rows.then: if_spread_over and then belong together"),
    (
        'rule = "ratio"\nitems = ["distance", "time"]',
        'rule = "value"\nitems = ["time"]',
        "is formed by 'trials' or 'ratio'",
    ),
    ('rule = "ratio"', 'rule = "trials"', "scales[0].rule: trials needs 1 item; found 2"),
    ("[rows]\ntrial = { min = 1, max = 3 }", "[rows]", "rows.combine: needs trial = { min, max }"),
    ('better = "higher"', 'better = "none"\ncombine = "best"', "the best of several readings needs better = higher or"),
    ('better = "higher"', 'better = "higher"\nrecode = { "1" = 2 }', 'scales[0].recode: rule = "recode" and recode'),
    ("range = [0.5, 100]", "range = [0, 100]", "scales[0].items: time is divided by, so it needs a range above 0"),
    ("usual = [5, 20]", "usual = [5, 200]", "items[0].usual: 5 to 200 is not inside the range 0 to 100"),
    ("usual = [5, 20]", "usual_at = { arm = [5, 20] }", "items[0].usual_at.arm: no place 'arm'"),
    ("default = 10", "default = 200", "items[0].default: 200 is outside 0 to 100"),
    ('unit = "m/s"', 'unit = "m/s"\nrange = [1, 5]\nunable = 0', "scales[0].unable: 0 is outside 1 to 5"),
]


def problems(text: str, name: str = "form.toml") -> str:
    with pytest.raises(DefinitionError) as refusal:
        parse_definition(text, name)
    return str(refusal.value)


@pytest.mark.parametrize("text", [FORM, READINGS])
def test_the_good_definitions_of_these_tests_are_read(text: str) -> None:
    assert parse_definition(text, "form.toml").main_scale.main


@pytest.mark.parametrize(("good", "bad", "message"), BAD, ids=[message[:60] for _, _, message in BAD])
def test_a_bad_definition_is_refused_in_words(good: str, bad: str, message: str) -> None:
    assert good in FORM
    assert message in problems(FORM.replace(good, bad, 1))


@pytest.mark.parametrize(("good", "bad", "message"), BAD_READINGS, ids=[message[:60] for _, _, message in BAD_READINGS])
def test_a_bad_definition_of_readings_is_refused_in_words(good: str, bad: str, message: str) -> None:
    assert good in READINGS
    assert message in problems(READINGS.replace(good, bad, 1))


def test_all_problems_come_at_once_each_with_its_line() -> None:
    text = (
        FORM.replace("title", "titel", 1).replace("range = [3, 5]", "range = [2, 5]").replace('"a", "b"]', '"a", "x"]')
    )
    lines = problems(text).split("\n")
    assert [line.partition(": ")[0] for line in lines] == [
        "form.toml, line 3, titel",
        "form.toml",
        "form.toml, line 31, scales[0].items",
        "form.toml, line 44, bands[1].range",
    ]


def test_a_problem_of_a_later_item_of_several_keys_has_the_line_of_their_table() -> None:
    text = FORM.replace('key = "b"\n', 'keys = ["b", "c"]\n').replace("codes = [1, 2, 3]", "")
    assert "form.toml, line 18, items[1]: exactly one of codes" in problems(text)


def test_a_file_that_is_no_toml_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "form.toml"
    path.write_text('key = "form"\nversion = \n', encoding="utf-8")
    with pytest.raises(DefinitionError, match=r"form\.toml, line 2"):
        read_definition(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DefinitionError, match="cannot be read"):
        read_definition(tmp_path / "form.toml")


def test_a_file_of_an_older_version_bears_its_version(tmp_path: Path) -> None:
    path = tmp_path / "form@v1.toml"
    path.write_text(FORM, encoding="utf-8")
    assert read_definition(path).version == "v1"
    path = path.rename(tmp_path / "form@v2.toml")
    with pytest.raises(DefinitionError, match="expected 'form' or 'form@v1'"):
        read_definition(path)


def test_the_hash_does_not_see_comments_but_every_value() -> None:
    plain = parse_definition(FORM, "form.toml").sha256
    assert parse_definition("# a comment\n" + FORM, "form.toml").sha256 == plain
    assert parse_definition(FORM.replace('"few"', '"fewer"'), "form.toml").sha256 != plain


def test_ten_lines_make_a_measure() -> None:
    text = """
key = "body_weight"
version = "pounds"
title = "Body weight"
construct = "body weight"
source = "scales of the clinic; common practice, no source"
items = [{ key = "weight", range = [30, 400], unit = "lb" }]
[[scales]]
key = "weight"
main = true
rule = "value"
items = ["weight"]
unit = "lb"
level = "ratio"
better = "none"
"""
    assert parse_definition(text, "body_weight.toml").main_scale.unit == "lb"


def test_every_key_of_a_definition_is_described_in_a_line() -> None:
    for section in FIELDS.values():
        for field in section.values():
            assert field.about
            assert "\n" not in field.about
            assert bool(field.words) == (field.kind in ("word", "words"))
