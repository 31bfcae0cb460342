"""One shape for every number: what is undefined is refused, and what is written comes back unrounded."""

from __future__ import annotations

import datetime
import json
import math
from dataclasses import FrozenInstanceError, dataclass
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import outcomes
from outcomes.errors import DataError
from outcomes.result import (
    Estimate,
    HypothesisTest,
    Interval,
    Record,
    Result,
    check_key,
    plain,
    record_key,
)

SCHEMA = json.loads((Path(outcomes.__file__).parent / "record.schema.json").read_text(encoding="utf-8"))
KEY = "change/limb_girth.girth/mid_thigh.mean/all/week16_minus_week0/-/mean"


def estimate(**more: Any) -> Estimate:
    return Estimate(**{"value": 1.25, "unit": "cm", "method": "mean_change", "n_people": 8, "n_values": 8, **more})


def record() -> Record:
    made = Record(
        meta={"title": "A study", "synthetic": True, "software_version": "0"},
        methods={"mean_change": "Mean of the changes."},
        caveats={"small": "Few people."},
    )
    made.add(
        KEY,
        estimate(
            interval=Interval(-math.inf, 2.0, 0.95, "Student t"),
            test=HypothesisTest(name="t", p=0.0123, statistic=math.inf, df=(7.0,)),
            source="Student (1908) Biometrika 6(1):1-25",
            caveats=("small",),
        ),
        label="girth, change",
        role="primary",
        inputs=("people/change",),
    )
    made.refuse(record_key("reliability", "mdc95"), "an ordinal scale has none", label="MDC", unit="1")
    made.add_table(
        "outcomes", {"words": "", "n": "1", "change": "cm"}, [("a µ", 3, np.float64(0.1)), (None, 0, np.nan)]
    )
    return made


# ------------------------------------------------------------------------------------------------------ numbers


@pytest.mark.parametrize("ends", [(math.nan, 1.0), (0.0, math.nan), (2.0, 1.0)])
def test_an_interval_has_two_ends_in_order(ends: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="not an interval"):
        Interval(*ends, 0.95, "Student t")


def test_an_interval_may_be_open_to_one_side() -> None:
    assert Interval(0.5, math.inf, 0.95, "chi-square").high == math.inf


@pytest.mark.parametrize("p", [0.0, -0.1, 1.1, math.nan])
def test_p_is_never_zero_nor_beyond_one(p: float) -> None:
    with pytest.raises(ValueError, match="p of sign-flip"):
        HypothesisTest(name="sign-flip", p=p)


def test_a_statistic_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(ValueError, match="not a number"):
        HypothesisTest(name="t", p=0.5, statistic=math.nan)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_nan_and_infinity_are_no_estimates(value: float) -> None:
    with pytest.raises(ValueError, match="is no estimate"):
        estimate(value=value)


def test_results_are_frozen() -> None:
    with pytest.raises(FrozenInstanceError):
        estimate().value = 2.0  # type: ignore[misc]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread(Result):
    """A result of two numbers, for these tests."""

    spread: Estimate
    note: str
    rows: tuple[int, ...] = ()

    def summary(self) -> str:
        return f"spread < {self.spread.value}"


def test_a_result_is_one_row_with_its_interval_beside_it() -> None:
    frame = Spread(spread=estimate(interval=Interval(1.0, 2.0, 0.95, "x")), note="n").to_frame()
    assert frame.to_dict("records") == [{"spread": 1.25, "spread_low": 1.0, "spread_high": 2.0, "note": "n"}]


def test_a_result_shows_its_sentence_in_a_notebook_as_text_not_markup() -> None:
    assert Spread(spread=estimate(), note="")._repr_html_() == "<p>spread &lt; 1.25</p>"


# --------------------------------------------------------------------------------------------------------- keys


def test_a_key_has_seven_parts_and_marks_the_unused() -> None:
    assert record_key("flow", "enrolled") == "flow/-/-/all/-/-/enrolled"
    assert len(KEY.split("/")) == 7


@pytest.mark.parametrize("key", ["", "a/b", KEY + "/x", KEY.replace("girth", "Girth"), KEY.replace("mean", "")])
def test_a_key_outside_the_grammar_is_our_own_fault(key: str) -> None:
    with pytest.raises(ValueError, match="does not follow"):
        check_key(key)


def test_a_repeated_key_stops_the_run() -> None:
    made = record()
    with pytest.raises(ValueError, match="written twice"):
        made.add(KEY, estimate(), label="again")
    with pytest.raises(ValueError, match="written twice"):
        made.refuse(KEY, "again", label="again")
    with pytest.raises(ValueError, match="written twice"):
        made.add_table("outcomes", {}, [])


def test_a_row_of_another_length_is_our_own_fault() -> None:
    with pytest.raises(ValueError, match="does not have 2 values"):
        Record().add_table("t", {"a": "", "b": ""}, [("only one",)])


# ------------------------------------------------------------------------------------------------------ scalars


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        (np.float64(0.1), 0.1),
        (np.int64(3), 3),
        (np.bool_(True), True),
        (math.nan, None),
        (np.nan, None),
        (None, None),
        (pd.NA, None),
        (pd.NaT, None),
        ("text", "text"),
        (math.inf, math.inf),
    ],
)
def test_a_scalar_is_plain_python(value: object, wanted: object) -> None:
    got = plain(value)
    assert got == wanted
    assert type(got) is type(wanted)


@pytest.mark.parametrize("value", [[1], {"a": 1}, datetime.date(2025, 1, 1)])
def test_what_is_no_scalar_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="is no scalar of the record"):
        plain(value)


# --------------------------------------------------------------------------------------------------------- json


def test_a_record_comes_back_as_it_was_written() -> None:
    made = record()
    back = Record.from_json(made.to_json())
    assert back == made
    assert back[KEY].test == made[KEY].test
    assert back.tables["outcomes"].to_frame().equals(made.tables["outcomes"].to_frame())


def test_equal_records_are_equal_text_and_the_text_is_strict_json() -> None:
    assert record().to_json() == record().to_json()
    json.loads(record().to_json(), parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_number_is_rounded(value: float) -> None:
    made = Record()
    made.add(KEY, estimate(value=value), label="x")
    made.add_table("t", {"x": "cm"}, [(value,)])
    back = Record.from_json(made.to_json())
    assert back[KEY].value == value
    assert back.tables["t"].rows == ((value,),)


def test_a_record_fits_its_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(json.loads(record().to_json()), SCHEMA)


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("schema",), 2),
        (("estimates", 0, "key"), "Change/x"),
        (("estimates", 0, "status"), "guessed"),
        (("estimates", 0, "interval", "low"), "low"),
        (("estimates", 0, "n_people"), -1),
        (("estimates", 0, "extra"), 1),
        (("estimates", 0, "test", "p"), 0),
        (("estimates", 1, "reason"), ""),
        (("tables", 0, "rows", 0), [{"nested": 1}, 1, 1]),
        (("methods", "mean_change"), 1),
    ],
)
def test_the_schema_refuses_what_is_no_record(place: tuple[Any, ...], value: Any) -> None:
    document = json.loads(record().to_json())
    target = document
    for part in place[:-1]:
        target = target[part]
    target[place[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, SCHEMA)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": 99}', "null", '{"schema": 1, "meta": {}}'])
def test_a_file_that_is_no_record_is_refused_by_name(text: str) -> None:
    with pytest.raises(DataError, match=r"old\.json.*expected a record of schema 1") as caught:
        Record.from_json(text, "old.json")
    assert "Run outcomes analyse again." in str(caught.value)


def test_a_record_is_read_from_its_file(tmp_path: Path) -> None:
    (tmp_path / "record.json").write_text(record().to_json(), encoding="utf-8")
    assert Record.read(tmp_path / "record.json") == record()
