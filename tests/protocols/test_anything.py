"""Whatever stands at a place of a protocol, it is read or refused with a line of ours."""

from __future__ import annotations

import copy
import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DefinitionError
from outcomes.toml_source import read_toml
from protocols import packaged_path
from protocols.reading import build

SOURCE = read_toml(packaged_path("leg_cycling_16_weeks"))
SCALARS = st.text(max_size=8) | st.integers(-(10**320), 10**320) | st.floats() | st.booleans() | st.dates() | st.times()
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
)


def places(value, path=()):
    """Yield the path of every value of nested data."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from places(inner, (*path, key))


PLACES = list(places(SOURCE.data))


def edited(edits):
    """Return the protocol's data with values replaced; a place that an earlier edit took away is passed over."""
    data = copy.deepcopy(SOURCE.data)
    for path, value in edits:
        inner = data
        try:
            for part in path[:-1]:
                inner = inner[part]
            inner[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    return data


def read(data):
    """Return the protocol or None, and the messages of its faults."""
    try:
        return build(SOURCE, data), []
    except DefinitionError as error:
        return None, [problem.message for problem in error.problems]


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), VALUES), min_size=1, max_size=3))
def test_a_replaced_value_is_read_or_refused_with_messages(edits):
    protocol, messages = read(edited(edits))
    assert (protocol is None) == bool(messages)
    assert all(messages)


@pytest.mark.parametrize("path", PLACES, ids=str)
def test_a_date_is_refused_everywhere(path):
    protocol, messages = read(edited([(path, datetime.date(2026, 1, 31))]))
    assert protocol is None
    assert any("2026-01-31" in message for message in messages)


def test_a_wrong_value_under_an_unknown_statement_is_one_fault():
    assert read(edited([(("statements",), {"foo": 3})])) == (None, ["unknown key 'foo'"])
