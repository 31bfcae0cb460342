"""Versions of one measure beside the current one: their worked examples hold, and they say as much as it does."""

from __future__ import annotations

import pytest

from outcomes.errors import DataError
from outcomes.measures import Catalogue, Definition, score
from outcomes.measures.schema import Example

CATALOGUE = Catalogue.packaged()
OTHER = [
    pytest.param(CATALOGUE.get(current.key, version), id=f"{current.key}-{version}")
    for current in CATALOGUE
    for version in CATALOGUE.versions(current.key)[1:]
]
EXAMPLES = [
    pytest.param(case.values[0], example, id=f"{case.id}-{number}")
    for case in OTHER
    for number, example in enumerate(case.values[0].examples, start=1)
]


@pytest.mark.parametrize(("definition", "example"), EXAMPLES)
def test_a_worked_example_of_another_version_holds(definition: Definition, example: Example) -> None:
    given, circumstances = example.given, {"absent": example.absent, "context": example.context}
    if example.refused:
        with pytest.raises(DataError) as refusal:
            score(definition, given, **circumstances)
        assert [finding.column for finding in refusal.value.findings] == [example.refused]
        return
    scored = score(definition, given, **circumstances)
    assert example.expected
    for scale, expected in example.expected.items():
        found = scored.reasons[scale] if isinstance(expected, str) else scored[scale]
        assert found == expected
    for scale, labels in example.bands.items():
        assert {name: scored.bands[scale][name] for name in labels} == labels


@pytest.mark.parametrize("definition", OTHER)
def test_another_version_says_as_much_as_the_current_one(definition: Definition) -> None:
    current = CATALOGUE.get(definition.key)
    assert definition.version != current.version
    assert definition.licence == current.licence
    assert definition.traps
    assert definition.examples
