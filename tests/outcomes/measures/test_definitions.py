"""The packaged definitions: every worked example holds, alone and in a table, and every property names its source."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from outcomes.errors import DataError
from outcomes.measures import Catalogue, Definition, card, score, score_table
from outcomes.measures.checking import OF_ERROR
from outcomes.measures.fields import STATUSES
from outcomes.measures.schema import FROM_MEMORY, Example

EXAMPLES = [
    pytest.param(definition, example, id=f"{definition.key}-{number}")
    for definition in Catalogue.packaged()
    for number, example in enumerate(definition.examples, start=1)
]
EVERY_VERSION = [
    pytest.param(Catalogue.packaged().get(key, version), id=f"{key}-{version}")
    for key in Catalogue.packaged().keys()  # noqa: SIM118
    for version in Catalogue.packaged().versions(key)
]
DEFINITIONS = [pytest.param(definition, id=definition.key) for definition in Catalogue.packaged()]


def test_there_is_one_measure_of_each_kind() -> None:
    rules = {(d.key, d.main_scale.rule) for d in Catalogue.packaged()}
    assert rules >= {
        ("limb_girth", "trials"), ("mas", "value"), ("psfs", "value"),
        ("scim3", "sum"), ("tenmwt", "ratio"), ("swls", "sum"),
    }  # fmt: skip


@pytest.mark.parametrize(("definition", "example"), EXAMPLES)
def test_a_worked_example_holds(definition: Definition, example: Example) -> None:
    if example.refused:
        with pytest.raises(DataError) as refusal:
            score(definition, example.given, absent=example.absent, context=example.context)
        assert [finding.column for finding in refusal.value.findings] == [example.refused]
        return
    scored = score(definition, example.given, absent=example.absent, context=example.context)
    assert example.expected
    for scale, expected in example.expected.items():
        if isinstance(expected, str):
            assert (scored[scale], scored.reasons[scale]) == (None, expected)
        else:
            assert scored[scale] == expected
    for scale, labels in example.bands.items():
        assert {name: scored.bands[scale][name] for name in labels} == labels
    for scale, flags in example.flags.items():
        assert list(scored.flags[scale]) == flags


@pytest.mark.parametrize(("definition", "example"), EXAMPLES)
def test_a_worked_example_holds_in_a_table(
    definition: Definition, example: Example, frame: Callable[..., Any], as_rows: Callable[..., Any]
) -> None:
    rows = as_rows(definition, example.given, example.absent, example.context) or [{"item": definition.items[0].key}]
    table = frame(*rows, measure=definition.key)
    if example.refused:
        with pytest.raises(DataError) as refusal:
            score_table(definition, table)
        assert {finding.column for finding in refusal.value.findings} == {example.refused}
        return
    scored = score_table(definition, table).set_index("scale")
    for scale, expected in example.expected.items():
        found = scored.loc[scale, "reason" if isinstance(expected, str) else "value"]
        assert found == expected


@pytest.mark.parametrize("definition", DEFINITIONS)
def test_a_definition_says_where_it_is_used_what_may_go_wrong_and_what_its_owners_allow(definition: Definition) -> None:
    assert definition.domain
    assert definition.populations
    assert definition.licence
    assert definition.traps
    assert definition.status in STATUSES
    assert definition.examples


@pytest.mark.parametrize("definition", DEFINITIONS)
def test_a_published_value_names_people_source_and_how_far_it_was_checked(definition: Definition) -> None:
    for value in definition.published:
        assert value.population
        assert value.source
        assert value.status in STATUSES
        assert value.scale in [scale.key for scale in definition.scales]


def test_at_least_one_published_pair_is_checked_against_its_factor() -> None:
    # 0.17 and 0.06 m/s, two decimals each: Andersen and Kristensen, abstract
    walk = Catalogue.packaged().get("tenmwt")
    values = {value.key: value for value in walk.published}
    change, error = values["mdc95_two_raters"].value, values["error_two_raters"].value
    assert isinstance(change, float)
    assert isinstance(error, float)
    assert (change - 0.005) / (error + 0.005) <= OF_ERROR["mdc95"] <= (change + 0.005) / (error - 0.005)


def test_the_maxima_of_the_independence_measure_are_the_published_ones() -> None:
    # 20, 40, 40 and 100: Itzkovich et al. (2007)
    scim3 = Catalogue.packaged().get("scim3")
    ranges = {scale.key: scale.range for scale in scim3.scales}
    assert [ranges[key] for key in ("self_care", "respiration_sphincter", "mobility", "total")] == [
        (0, 20),
        (0, 40),
        (0, 40),
        (0, 100),
    ]


def test_the_grades_of_the_independence_measure_run_from_two_to_nine() -> None:
    # number of grades of an item, as published with the form (NINDS Common Data Elements report)
    counts = [len(item.codes) for item in Catalogue.packaged().get("scim3").items]
    assert (min(counts), max(counts), len(counts)) == (2, 9, 19)


def test_no_score_of_spasticity_can_be_judged_by_a_published_error() -> None:
    # no minimal detectable change of a single grade is published (notes on the measure)
    mas = Catalogue.packaged().get("mas")
    assert {value.statistic for value in mas.published} & {"mdc95", "mdc90", "mdc", "standard_error"} == set()


@pytest.mark.parametrize(("definition", "example"), EXAMPLES)
def test_the_order_of_answers_and_of_items_changes_nothing(definition: Definition, example: Example) -> None:
    if example.refused:
        return
    given = dict(reversed(example.given.items()))
    turned = dataclasses.replace(definition, items=tuple(reversed(definition.items)))
    first = score(definition, example.given, absent=example.absent, context=example.context)
    for again in (definition, turned):
        found = score(again, given, absent=example.absent, context=example.context)
        for scale, value in first.scales.items():
            assert found[scale] == (None if value is None else pytest.approx(value, rel=1e-12, abs=1e-12))


@pytest.mark.parametrize("definition", EVERY_VERSION)
def test_what_is_from_memory_is_said_among_the_traps_and_so_on_the_card(definition: Definition) -> None:
    parts = (*definition.published, *definition.bands)
    unseen = "MEMORY" in (definition.status, *(part.status for part in parts)) or "from memory" in definition.source
    assert bool(definition.from_memory) >= unseen
    text = " ".join(card(definition).split())
    assert all(f"{FROM_MEMORY}{what}" in text for what in definition.from_memory)


@pytest.mark.parametrize("definition", EVERY_VERSION)
def test_every_definition_has_a_licence_and_its_codes_their_notice(definition: Definition) -> None:
    assert definition.licence
    assert not definition.loinc or "LOINC" in definition.licence
