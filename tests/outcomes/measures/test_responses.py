"""One reading of a response: what is normalised, what is refused and by which rule, what is only unusual."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import UsageError
from outcomes.measures import Catalogue, Definition, read_responses
from outcomes.measures.responses import RULES, as_text

BODY = """
[rows]
place = ["arm", "leg"]
variant = ["pace"]
context = ["device", "posture"]
absent_words = { NT = "not_tested", X = "refused" }
[[items]]
key = "grade"
codes = { "0" = 0, "1" = 1, "1+" = 2, "é" = 3 }
spellings = { "1 +" = "1+", "+1" = "1+" }
[[items]]
key = "girth"
range = [10, 100]
usual = [20, 70]
usual_at = { leg = [35, 70] }
unit = "cm"
[[items]]
key = "distance"
range = [0, inf]
unit = "m"
[[items]]
key = "pace"
words = ["slow", "fast"]
spellings = { "quick" = "fast" }
[[items]]
key = "device"
free_text = true
[[items]]
key = "posture"
codes = [0, 1]
[[scales]]
key = "grade"
main = true
rule = "value"
items = ["grade"]
level = "ordinal"
better = "lower"
"""


@pytest.fixture(scope="module")
def form(define: Callable[..., Definition]) -> Definition:
    return define(BODY)


@pytest.mark.parametrize(
    ("item", "typed", "text", "value"),
    [
        ("grade", "1+", "1+", 2),
        ("grade", "1+ ", "1+", 2),
        ("grade", "\t1\u00a0", "1", 1),
        ("grade", "1 +", "1+", 2),
        ("grade", "+1", "1+", 2),
        ("grade", "１＋", "1+", 2),
        ("grade", "e\u0301", "é", 3),
        ("girth", "44.5", "44.5", 44.5),
        ("girth", " 44 ", "44", 44),
        ("girth", "44.", "44.", 44),
        ("girth", "4.45e1", "4.45e1", 44.5),
        ("girth", "４４", "44", 44),
        ("girth", "+44", "+44", 44),
        ("distance", "0", "0", 0),
        ("distance", "1000000", "1000000", 1e6),
        ("pace", "slow", "slow", np.nan),
        ("pace", "quick", "fast", np.nan),
        ("device", " two sticks ", "two sticks", np.nan),
        ("device", "－", "－", np.nan),
        ("posture", "1", "1", 1),
    ],
)
def test_a_response_is_read(form: Definition, item: str, typed: str, text: str, value: float) -> None:
    reading = read_responses(form, item, [typed])
    assert (reading.text[0], reading.problem[0], reading.absent[0]) == (text, "", "")
    np.testing.assert_equal(reading.value[0], value)
    assert reading.normalised[0] == (text != typed)


@pytest.mark.parametrize(
    ("item", "typed", "rule"),
    [
        ("grade", "1++", "not_a_code"),
        ("grade", "1\u00a0+", "not_a_code"),  # a no-break space inside is no blank around
        ("grade", "1.0", "not_a_code"),
        ("grade", "4", "not_a_code"),
        ("grade", "1.5", "not_a_code"),
        ("grade", "nt", "not_a_code"),
        ("grade", "1,5", "decimal_comma"),
        ("grade", "2026-02-01", "looks_like_date"),
        ("grade", "2026-02-01 00:00:00", "looks_like_date"),
        ("grade", "01.02.2026", "looks_like_date"),
        ("grade", "1-Feb", "looks_like_date"),
        ("grade", "Feb 01", "looks_like_date"),
        ("grade", "1-2", "two_values"),
        ("grade", "1/2", "two_values"),
        ("grade", "#REF!", "formula_error"),
        ("grade", "#N/A", "formula_error"),
        ("girth", "41,5", "decimal_comma"),
        ("girth", "0,412", "decimal_comma"),
        ("girth", "1,234", "ambiguous_number"),
        ("girth", "1,234.5", "ambiguous_number"),
        ("girth", "40 cm", "unit_in_cell"),
        ("girth", "40cm", "unit_in_cell"),
        ("girth", '17.5"', "unit_in_cell"),
        ("girth", "<5", "censored"),
        ("girth", "> 200", "censored"),
        ("girth", "≥ 90 cm", "censored"),
        ("girth", "inf", "not_finite"),
        ("girth", "-Infinity", "not_finite"),
        ("girth", "nan", "not_finite"),
        ("girth", "1e309", "not_finite"),
        ("girth", "42/43", "two_values"),
        ("girth", "42 - 43", "two_values"),
        ("girth", "forty", "not_a_number"),
        ("girth", "4 4", "not_a_number"),
        ("girth", "0x2A", "unit_in_cell"),
        ("girth", "4_4", "not_a_number"),
        ("girth", "٤٤", "not_a_number"),
        ("girth", "n/a", "not_a_number"),
        ("girth", "-", "not_a_number"),
        ("girth", "2\x003", "not_a_number"),
        ("girth", "9.99", "hard_limit"),
        ("girth", "412", "hard_limit"),
        ("girth", "−44", "hard_limit"),
        ("girth", "999", "hard_limit"),
        ("pace", "Slow", "not_a_word"),
        ("posture", "2", "not_a_code"),
    ],
)
def test_a_response_is_refused_by_its_rule(form: Definition, item: str, typed: str, rule: str) -> None:
    reading = read_responses(form, item, [typed])
    assert (reading.problem[0], reading.text[0], reading.absent[0]) == (rule, "", "")
    assert np.isnan(reading.value[0])
    assert rule in RULES


@pytest.mark.parametrize(
    ("typed", "absent"),
    [("NT", "not_tested"), (" NT ", "not_tested"), ("X", "refused"), ("NA", ""), ("", ""), (None, ""), (np.nan, "")],
)
def test_a_response_may_say_that_there_is_none(form: Definition, typed: object, absent: str) -> None:
    for item in ("grade", "girth", "pace", "device"):
        reading = read_responses(form, item, [typed])
        assert (reading.text[0], reading.absent[0], reading.problem[0]) == ("", absent, "")
        assert not reading.normalised[0]


def test_an_unusual_number_is_kept_and_marked(form: Definition) -> None:
    reading = read_responses(form, "girth", ["17.5", "20", "70", "70.1", "44", ""])
    assert reading.unusual.tolist() == ["usual_range", "", "", "usual_range", "", ""]
    assert reading.usual[0] == "20 to 70 cm"
    assert reading.value[:1].tolist() == [17.5]
    assert set(reading.problem) == {""}


def test_what_is_usual_may_differ_by_place(form: Definition) -> None:
    reading = read_responses(form, "girth", ["25", "25", "25", "15"], places=["arm", "leg", None, "leg"])
    assert reading.unusual.tolist() == ["", "usual_range", "", "usual_range"]
    assert reading.usual.tolist() == ["", "35 to 70 cm", "", "35 to 70 cm"]


def test_places_and_texts_are_of_one_length(form: Definition) -> None:
    with pytest.raises(UsageError, match="1 places for 2 texts"):
        read_responses(form, "girth", ["25", "25"], places=["arm"])


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        ("grade", "one of 0, 1, 1+, é; or NT, X"),
        ("girth", "10 to 100 cm; or NT, X"),
        ("distance", "0 m or more; or NT, X"),
        ("pace", "one of slow, fast; or NT, X"),
        ("device", "text; or NT, X"),
    ],
)
def test_what_is_expected_is_said_in_words(form: Definition, item: str, expected: str) -> None:
    assert read_responses(form, item, []).expected == expected


def test_numbers_stand_for_the_shortest_decimal_that_reads_back(form: Definition) -> None:
    reading = read_responses(form, "grade", [1.0, 1, np.float64(0), np.int64(1), "1"])
    assert reading.value.tolist() == [1, 1, 0, 1, 1]
    assert read_responses(form, "girth", [44.1]).text[0] == "44.1"
    assert as_text(1e16) == "1e+16"
    assert as_text(True) == "True"


def test_a_column_of_pandas_is_read_like_a_list(form: Definition) -> None:
    texts = ["1+", None, "2"]
    column = pd.Series(texts, dtype="str")
    for values in (column, column.to_numpy(dtype=object), texts):
        reading = read_responses(form, "grade", values)
        assert reading.text.tolist() == ["1+", "", ""]
        assert reading.problem.tolist() == ["", "", "not_a_code"]


def test_each_row_has_its_own_reading_in_the_order_of_the_texts(form: Definition) -> None:
    reading = read_responses(form, "grade", ["0", "1", "0", "NT", "9", "1"])
    np.testing.assert_equal(reading.value, [0, 1, 0, np.nan, np.nan, 1])
    assert reading.problem.tolist() == ["", "", "", "", "not_a_code", ""]


def test_an_unknown_item_is_a_fault_of_use() -> None:
    with pytest.raises(UsageError, match="mas has no item 'grad'; did you mean 'grade'"):
        read_responses(Catalogue.packaged().get("mas"), "grad", ["1"])
