"""Every key has the line on which it stands, so that a fault can name it; what is not TOML is refused by line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.errors import DefinitionError
from outcomes.toml_source import SIZE_LIMIT, parse_toml, read_toml, spell_path

TEXT = '''# a comment = not a key
schema = 1
[study]            # comment
title = "a # b = c"
question = """
[not_a_table]
not_a_key = 1
"""
[[measures]]
measure = "mas"
places = [
  "elbow",  # key = no
  "knee",
]
[[measures]]
measure = "psfs"
words = { NT = "not_tested" }
[training]
"quoted key" = 1
dotted.key = 2
[[training.channels]]
channel = 1
[[training.channels]]
channel = 2
'''

LINES = [
    (("schema",), 2),
    (("study",), 3),
    (("study", "title"), 4),
    (("study", "question"), 5),
    (("measures", 0), 9),
    (("measures", 0, "measure"), 10),
    (("measures", 0, "places"), 11),
    (("measures", 1), 15),
    (("measures", 1, "measure"), 16),
    (("training", "quoted key"), 19),
    (("training", "dotted", "key"), 20),
    (("training", "channels", 0, "channel"), 22),
    (("training", "channels", 1, "channel"), 24),
]


@pytest.mark.parametrize(("path", "line"), LINES)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_every_key_has_its_line(path: tuple[str | int, ...], line: int, end: str) -> None:
    assert parse_toml(TEXT.replace("\n", end), "protocol.toml").lines[path] == line


def test_text_inside_quotes_and_brackets_is_no_key() -> None:
    lines = parse_toml(TEXT, "protocol.toml").lines
    names = {part for path in lines for part in path}
    assert not names & {"not_a_table", "not_a_key", "key = no", "b"}


@pytest.mark.parametrize(
    ("path", "line"), [(("measures", 1, "words", "NT"), 17), (("measures", 0, "places", 1), 11), (("nowhere",), None)]
)
def test_a_key_without_a_line_has_that_of_its_nearest_ancestor(path: tuple[str | int, ...], line: int | None) -> None:
    assert parse_toml(TEXT, "protocol.toml").line_of(path) == line


@pytest.mark.parametrize(
    "text", ["a = '''x'''\nb = 1", 'a = """x\\""" y"""\nb = 1', 'a = "\\""\nb = 1', "a = '['\nb = 1"]
)
def test_quotes_that_close_on_their_line_hide_nothing(text: str) -> None:
    assert parse_toml(text, "x.toml").lines[("b",)] == 2


@pytest.mark.parametrize("separator", ["\u2028", "\u2029", "\u0085"])
def test_only_a_line_feed_ends_a_line(separator: str) -> None:
    assert parse_toml(f"a = 'x{separator}y'  # {separator}\nb = 1\n", "x.toml").lines[("b",)] == 2


keys = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)
values = st.sampled_from(["1", '"text # [x]"', "[1, 2]", "[\n 1,\n 2,\n]", '"""\nlong\n[x]\n"""', "{ a = 1 }", "'lit'"])


@given(st.dictionaries(keys, st.dictionaries(keys, values, max_size=4), min_size=1, max_size=4))
def test_the_line_of_a_key_begins_with_it(tables: dict[str, dict[str, str]]) -> None:
    text = "".join(
        f"[{table}]\n" + "".join(f"{key} = {value}\n" for key, value in rows.items()) for table, rows in tables.items()
    )
    source = parse_toml(text, "x.toml")
    lines = text.split("\n")
    for table, rows in tables.items():
        assert lines[source.lines[(table,)] - 1] == f"[{table}]"
        for key in rows:
            assert lines[source.lines[(table, key)] - 1].startswith(f"{key} = ")
    assert source.data == tomllib.loads(text)


def test_an_unknown_key_is_named_with_its_line_and_a_near_word() -> None:
    source = parse_toml("[analysis]\nalhpa = 0.1\n", "protocol.toml")
    problem = source.unknown_key(("analysis", "alhpa"), ("alpha", "seed"))
    assert str(problem) == "protocol.toml, line 2, analysis.alhpa: unknown key 'alhpa'; did you mean 'alpha'?"


def test_a_path_is_spelled_as_a_reader_counts_it() -> None:
    assert spell_path(("items", 0, "codes", "1+")) == "items[0].codes.1+"
    assert spell_path(()) == ""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a = 1\na = 2\n", "line 2"),
        ("a = \n", "line 1"),
        ("x = 1\n[a\n", "line 2"),
        ("a = 'open\n", "before the end of the file; something is not closed"),
        ("a = [1, 2", "Unclosed array"),
        ("d = 2025-02-30\n", "line 1"),
        ("a = " + "1" * 5000, "not readable as TOML"),
        ("a = " + "[" * 100_000, "not readable as TOML"),
    ],
)
def test_what_is_not_toml_is_refused_where_it_stands(text: str, says: str) -> None:
    with pytest.raises(DefinitionError, match=says):
        parse_toml(text, "protocol.toml")


def test_a_missing_file_and_a_folder_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(DefinitionError, match=r"gone.toml: cannot be read: no such file"):
        read_toml(tmp_path / "gone.toml")
    with pytest.raises(DefinitionError, match="cannot be read"):
        read_toml(tmp_path)


def test_a_file_that_is_not_utf8_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b"a = 1\nb = 'm\xfcde'\n")
    with pytest.raises(DefinitionError, match=r"latin\.toml, line 2: not UTF-8"):
        read_toml(path)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "bom.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(path, "protocol.toml").data == {"a": 1}


def test_a_file_beyond_the_size_limit_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "big.toml"
    path.write_bytes(b"#" * (SIZE_LIMIT + 1))
    with pytest.raises(DefinitionError, match=r"at most 1,000,000 are read"):
        read_toml(path)
