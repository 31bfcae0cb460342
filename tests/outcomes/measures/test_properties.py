"""A published value is used only where everything that it holds for is what the study measured."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from outcomes.errors import DesignError
from outcomes.measures import Catalogue, Definition, published_value

BODY = """
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
[[scales]]
key = "other"
rule = "value"
items = ["a"]
level = "ratio"
better = "higher"
"""

PUBLISHED = """
[[published]]
key = "{key}"
{more}
unit = "cm"
population = "people of the tests"
source = "made for the tests"
status = "MEMORY"
"""


@pytest.fixture(scope="module")
def form(define: Callable[..., Definition]) -> Definition:
    rows = {
        "good": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"',
        "fast": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nvariant = "pace=fast"',
        "slow_people": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nstratum = "below 0.4 m/s"',
        "other": 'statistic = "mdc95"\nvalue = 2\nunit_of_analysis = "one value"\nscale = "other"',
        "not_said": 'statistic = "mdc95"\nvalue = 2',
        "ninety": 'statistic = "mdc90"\nvalue = 2\nunit_of_analysis = "one value"',
        "interval": 'statistic = "mdc95"\nvalue = [1, 2]\nunit_of_analysis = "one value"',
    }
    return define(BODY + "".join(PUBLISHED.format(key=key, more=more) for key, more in rows.items()))


def test_a_value_that_holds_is_returned_with_its_people_and_source(form: Definition) -> None:
    value = published_value(form, "good", variant="", unit_of_analysis="one value")
    assert (value.value, value.unit, value.population, value.status) == (2.0, "cm", "people of the tests", "MEMORY")
    assert published_value(form, "fast", variant="pace=fast", unit_of_analysis="one value").key == "fast"
    assert published_value(form, "other", variant="", unit_of_analysis="one value", scale="other").key == "other"
    stratum = published_value(form, "slow_people", variant="", unit_of_analysis="one value", stratum="below 0.4 m/s")
    assert stratum.key == "slow_people"


@pytest.mark.parametrize(
    ("key", "variant", "unit", "reason"),
    [
        ("goood", "", "one value", "form has no published value 'goood'; did you mean 'good'?"),
        (None, "", "one value", "form has no published value ''"),
        ("good", "pace=fast", "one value", "holds for the variant 'not stated', the study has 'pace=fast'"),
        ("fast", "", "one value", "holds for the variant 'pace=fast', the study has 'none stated'"),
        ("fast", "pace=fast,start=static", "one value", "the study has 'pace=fast,start=static'"),
        ("good", "", "mean of both sides", "holds for the unit of analysis 'one value', the study has 'mean of both"),
        ("not_said", "", "one value", "holds for the unit of analysis 'not stated', the study has 'one value'"),
        ("slow_people", "", "one value", "holds for the stratum 'below 0.4 m/s', the study has 'none stated'"),
        ("other", "", "one value", "holds for the scale 'other', the study has 'value'"),
        ("ninety", "", "one value", "the published value 'ninety' is a mdc90, not a mdc95"),
        ("interval", "", "one value", "the published value 'interval' is not a single number"),
    ],
)
def test_a_value_that_does_not_hold_is_refused_with_its_reason(
    form: Definition, key: str | None, variant: str, unit: str, reason: str
) -> None:
    with pytest.raises(DesignError) as refusal:
        published_value(form, key, variant=variant, unit_of_analysis=unit)
    assert reason in refusal.value.reason


@pytest.mark.parametrize("key", Catalogue.packaged().keys())
def test_no_packaged_value_becomes_an_error_of_the_mean_of_both_sides(key: str) -> None:
    definition = Catalogue.packaged().get(key)
    for value in definition.published:
        with pytest.raises(DesignError):
            published_value(definition, value.key, variant="", unit_of_analysis="mean of both sides")
