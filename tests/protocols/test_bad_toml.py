"""Files that are no protocol: each gets its line and what would do, and nothing of the libraries below."""

from __future__ import annotations

import pytest

from outcomes.errors import DefinitionError
from protocols import parse_protocol, read_protocol

EDITS = [
    # (what, text taken out, text put in, part of the message)
    ("the same key twice", 'title = "Twelve weeks"', 'title = "a"\ntitle = "b"', "protocol.toml, line 4: "),
    ("the same table twice", "[harms]", "[study]\n[harms]", "protocol.toml, line 21: "),
    ("a word without quotes", '"single arm"', "single arm", "protocol.toml, line 4: "),
    ("yes for true", 'title = "Twelve weeks"', 'title = "a"\nsynthetic = yes', "protocol.toml, line 4: "),
    ("a date where text is meant", '"Twelve weeks"', "2026-01-31", "found the date or time 2026-01-31 without quotes"),
    ("a time where text is meant", '"Twelve weeks"', "12:30:00", "found the date or time 12:30:00 without quotes"),
    ("a number where text is meant", '"Twelve weeks"', "12", "study.title: found the number 12, expected text"),
    ("a number typed as text", "week = 12", 'week = "12"', "visits[1].week: found the text '12', expected a number"),
    ("true for a number", "week = 12", "week = true", "visits[1].week: found true, expected a number"),
    ("a fraction for a count", "[analysis]", "[analysis]\nseed = 1.5", "analysis.seed: found the number 1.5"),
    ("no number", "week = 12", "week = nan", "visits[1].week: found the number nan, expected a number"),
    ("infinity", "week = 12", "week = inf", "visits[1].week: found the number inf, expected a number"),
    (
        "alpha above one",
        "[analysis]",
        "[analysis]\nalpha = 5",
        "found the number 5, expected a number above 0 and below",
    ),
    (
        "alpha below zero",
        "[analysis]",
        "[analysis]\nalpha = -0.05",
        "found the number -0.05, expected a number above 0",
    ),
    ("alpha of one half", "[analysis]", "[analysis]\nalpha = 0.5", "expected a number above 0 and below 0.5"),
    ("a number of 400 digits", "week = 12", "week = 1" + "0" * 400, "visits[1].week: found the number 1000"),
    ("a misspelt key", 'collection = "not', 'colection = "not', "unknown key 'colection'; did you mean 'collection'?"),
    ("a path to other data", "[harms]", '[intake]\ndata = "../../other.csv"\n[harms]', "unknown key 'data'"),
    ("one table for an array", "[[measures]]", "[measures]", "measures: found a table, expected tables in [[ ]]"),
    ("an array for one table", "[harms]", "[[harms]]", "harms: found a list, expected a table"),
    ("a word for a list", '["mid_thigh"]', '"mid_thigh"', "found the text 'mid_thigh', expected a list in [ ]"),
    ("a number in a list of texts", '["mid_thigh"]', '["mid_thigh", 3]', "measures[0].places[1]: found the number 3"),
    ("blanks for a text", '"Twelve weeks"', '"  "', "study.title: found an empty text, expected some text"),
    ("another version", "schema = 1", "schema = 2", "schema: '2' is not one of 1"),
    ("a version as text", "schema = 1", 'schema = "1"', "schema: '1' is not one of 1"),
    ("a statement that nobody prints", "[harms]", '[statements]\nfundingrole = "x"\n[harms]', "mean 'funding_role'"),
    ("a table in a statement", "[harms]", "[statements.consent]\nx = 1\n[harms]", "statements.consent: found a table"),
    ("two documents in one file", "[harms]", "---\n[harms]", "protocol.toml, line 21: "),
]


@pytest.mark.parametrize(("out", "put", "message"), [edit[1:] for edit in EDITS], ids=[edit[0] for edit in EDITS])
def test_a_fault_is_named_in_our_words(accepted, faults, out, put, message):
    assert out in accepted
    found = "\n".join(faults(accepted.replace(out, put, 1)))
    assert message in found
    assert not any(word in found.lower() for word in ("pydantic", "validation", "traceback", "input_value", "ctx"))


def test_an_empty_file_lists_what_is_needed(faults):
    assert faults("") == [
        "protocol.toml: key 'schema' is required",
        "protocol.toml: section [study] is required",
        "protocol.toml: at least one [[measures]] is required",
        "protocol.toml: section [harms] is required",
        'protocol.toml: at least two [[visits]] are required, except for design = "test-retest"',
        "protocol.toml, analysis: key 'compare' is required, except for design = \"test-retest\"",
    ]


def test_a_file_of_more_than_a_megabyte_is_not_read(tmp_path, accepted):
    path = tmp_path / "protocol.toml"
    path.write_text(accepted + "#" * 1_000_000)
    with pytest.raises(DefinitionError, match="at most 1,000,000 are read"):
        read_protocol(path)


def test_a_file_in_another_encoding_is_named(tmp_path, accepted):
    path = tmp_path / "protocol.toml"
    path.write_bytes(accepted.replace("Twelve", "Zwölf").encode("latin-1"))
    with pytest.raises(DefinitionError, match="line 3: not UTF-8"):
        read_protocol(path)


def test_deep_nesting_is_refused_without_a_trace(accepted):
    with pytest.raises(DefinitionError):
        parse_protocol(accepted + "x = " + "[" * 50 + "]" * 50)
