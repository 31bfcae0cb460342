"""The schema describes itself."""

from __future__ import annotations

import pytest

from protocols import describe
from protocols.keys import shape_at
from protocols.schema import STATEMENTS

KEYS = {key.path: key for key in describe()}


def test_every_key_says_what_it_is_and_which_report_line_it_answers():
    for key in KEYS.values():
        assert key.type, key.path
        if key.path != "statements":
            assert "Answers: " in key.description, key.path


def test_every_key_is_described_once():
    paths = [key.path for key in describe()]
    assert len(paths) == len(set(paths))


@pytest.mark.parametrize(
    ("path", "type_", "words", "default"),
    [
        ("study.design", "word", ("single arm", "parallel groups", "single case", "test-retest"), "required"),
        ("analysis.alpha", "number above 0 and below 0.5", (), "0.05"),
        ("training.current_ma", "two of number (mA) at least 0 and at most 300", (), "absent"),
        ("training.channels[].side", "word", ("left", "right", "both"), "required"),
        ("training.active_minutes", "list of number (min) at least 0 and at most 600", (), "absent"),
        ("training.pulse_width_us", "number (µs) at least 10 and at most 2,000", (), "absent"),
        ("dose.metrics", "list of word", ("active_minutes", "work_kj", "charge_c"), '["active_minutes", "work_kj"]'),
        ("study.synthetic", "true or false", (), "false"),
        ("groups[].trained", "true or false", (), "true"),
        ("measures[].anchor_slight", "two of number", (), "absent"),
        ("analysis.group_spread", "word", ("equal", "hc3"), '"equal"'),
        ("report.funder.costs[].amount", "number at least 0", (), "required"),
        ("statements.data_access", "text", (), "absent"),
        ("visits[].window_days", "two of whole number (days) at least 0 and at most 365", (), "absent"),
    ],
)
def test_type_words_and_default(path, type_, words, default):
    key = KEYS[path]
    assert (key.type, key.words, key.default) == (type_, words, default)


def test_a_key_that_does_not_exist_has_no_shape():
    assert shape_at(("study", "titel")) is None
    assert shape_at(("statements", "x")) is None
    assert shape_at(("study", "title", "x")) is None
    assert shape_at(("statements", next(iter(STATEMENTS)))) is not None
