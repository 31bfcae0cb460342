"""Whatever stands at a place of a protocol, it is read or refused with a line of ours."""

from __future__ import annotations

import copy
import datetime

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


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), VALUES), min_size=1, max_size=3))
def test_a_replaced_value_is_read_or_refused(edits):
    data = copy.deepcopy(SOURCE.data)
    for path, value in edits:
        inner = data
        try:
            for part in path[:-1]:
                inner = inner[part]
            inner[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    try:
        protocol = build(SOURCE, data)
    except DefinitionError as error:
        assert error.problems
        assert all(problem.message for problem in error.problems)
    else:
        assert protocol.analysis.compare is not None


@given(st.sampled_from([path for path in PLACES if path[0] not in ("statements",)]))
def test_a_date_is_refused_everywhere(path):
    data = copy.deepcopy(SOURCE.data)
    inner = data
    for part in path[:-1]:
        inner = inner[part]
    inner[path[-1]] = datetime.date(2026, 1, 31)
    try:
        build(SOURCE, data)
    except DefinitionError as error:
        assert any("2026-01-31" in problem.message for problem in error.problems)
    else:
        raise AssertionError(f"a date was accepted at {path}")


def test_a_wrong_value_under_an_unknown_statement_is_one_unknown_key():
    data = {**SOURCE.data, "statements": {"foo": 3}}
    try:
        build(SOURCE, data)
    except DefinitionError as error:
        assert [problem.message for problem in error.problems] == ["unknown key 'foo'"]
    else:
        raise AssertionError("accepted")
