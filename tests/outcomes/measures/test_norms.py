"""A value beside a published table of its age and sex; outside the table there is no word."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.errors import DefinitionError, DesignError
from outcomes.measures import Catalogue, against_norm
from outcomes.measures.fields import NORMS
from outcomes.measures.norms import LIMITS

MEASURES = Catalogue.packaged()
WITHOUT, STANDARD = "hands=without", "form=standard"

CASES = [  # id, measure, value, who, place, worse; the source of each is that of its row, which is tested beside
    ("tug_01", "tug", 11.0, {"age_years": 72}, "above average", True, "Bohannon (2006) J Geriatr"),
    ("tug_02", "tug", 12.0, {"age_years": 85}, "average", False, "Bohannon (2006) J Geriatr"),
    ("ftsts_01", "ftsts", 12.0, {"age_years": 65, "variant": WITHOUT}, "above average", True, "Bohannon (2006)"),
    ("ftsts_02", "ftsts", 12.0, {"age_years": 74, "variant": WITHOUT}, "average", False, "Bohannon (2006)"),
    (
        "chairstand30_01", "chairstand30", 11, {"age_years": 67, "sex": "male", "variant": STANDARD},
        "below average", True, "Rikli, Jones (1999)",
    ),
    (
        "chairstand30_02", "chairstand30", 11, {"age_years": 67, "sex": "female", "variant": STANDARD},
        "average", False, "Rikli, Jones (1999)",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("measure", "value", "who", "place", "worse", "source"), [pytest.param(*rest, id=name) for name, *rest in CASES]
)
def test_a_value_gets_the_word_of_its_row(
    measure: str, value: float, who: dict[str, Any], place: str, worse: bool, source: str
) -> None:
    found = against_norm(MEASURES.get(measure), value, **who)
    assert (found.place, found.worse, found.status) == (place, worse, "VERIFIED")
    assert found.source.startswith(source)
    assert found.place in found.summary()
    assert found.source in found.summary()


@pytest.mark.parametrize(
    ("measure", "who", "why"),
    [
        pytest.param(
            "chairstand30",
            {"age_years": 52, "sex": "male", "variant": STANDARD},
            "ages 60 to 94 years, not 52",
            id="chairstand30_04",
        ),
        ("chairstand30", {"age_years": 95, "sex": "male", "variant": STANDARD}, "ages 60 to 94 years, not 95"),
        ("chairstand30", {"age_years": 67, "variant": STANDARD}, "a row for each sex"),
        ("chairstand30", {"age_years": 67, "sex": "male", "variant": "form=arms_allowed"}, "the variant"),
        ("ftsts", {"age_years": 90, "variant": WITHOUT}, "ages 60 to 89 years, not 90"),
        ("ftsts", {"age_years": 70, "variant": "hands=with"}, "the variant 'hands=without'"),
        ("tug", {"age_years": 59.9}, "ages 60 to 99 years, not 59"),
        ("tug", {"age_years": float("nan")}, "numbers"),
        ("bbs", {"age_years": 70}, "no published table by age"),
    ],
)
def test_outside_a_table_there_is_no_word(measure: str, who: dict[str, Any], why: str) -> None:
    with pytest.raises(DesignError, match=why):
        against_norm(MEASURES.get(measure), 14, **who)


def test_completed_years_count() -> None:
    assert against_norm(MEASURES.get("tug"), 9.5, age_years=69.9).key == "norm_limits_60_69"
    assert against_norm(MEASURES.get("tug"), 9.5, age_years=70).key == "norm_limits_70_79"


def test_both_limits_belong_to_the_average() -> None:
    found = [against_norm(MEASURES.get("tug"), value, age_years=75).place for value in (8.1, 8.2, 10.2, 10.3)]
    assert found == ["below average", "average", "average", "above average"]


def test_the_limits_of_a_mean_are_called_so() -> None:
    assert "interval of the mean" in against_norm(MEASURES.get("tug"), 9, age_years=75).summary()


def test_every_table_says_what_its_limits_are() -> None:
    assert set(LIMITS) == set(NORMS)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('statistic = "norm_mean"\nvalue = 3', "is for norm_interval or norm_quartiles"),
        ('statistic = "norm_interval"\nvalue = 3', "is for norm_interval or norm_quartiles"),
        ('statistic = "norm_upper_limit"\nvalue = 3', "overlaps the ages of 'first'"),
    ],
)
def test_a_faulty_row_is_named(tmp_path, line: str, said: str) -> None:
    row = (
        'unit = "s"\npopulation = "adults"\nage_years = [60, 69]\nsource = "made for this test"\nstatus = "COMPUTED"\n'
    )
    text = f"""
key = "made"
version = "1"
title = "Made"
construct = "made"
source = "made for this test"
[[items]]
key = "a"
range = [0, 10]
[[scales]]
key = "value"
main = true
rule = "value"
items = ["a"]
level = "ratio"
better = "higher"
[[published]]
key = "first"
statistic = "norm_upper_limit"
value = 2
{row}
[[published]]
key = "second"
{line}
{row}sex = "male"
"""
    (tmp_path / "made.toml").write_text(text, encoding="utf-8")
    with pytest.raises(DefinitionError, match=said):
        Catalogue({}).with_folder(tmp_path)
