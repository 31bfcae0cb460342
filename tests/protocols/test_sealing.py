"""The seal and the hash of a protocol."""

from __future__ import annotations

import hashlib
import json
import tomllib
from datetime import date

import pytest

from outcomes.errors import DefinitionError, UsageError
from protocols import freeze, parse_protocol, read_protocol


@pytest.fixture
def path(tmp_path, accepted):
    path = tmp_path / "protocol.toml"
    path.write_text("# our own comment\n" + accepted, encoding="utf-8")
    return path


def test_the_hash_is_that_of_the_parsed_file_as_canonical_json(accepted):
    content = tomllib.loads(accepted)
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert parse_protocol(accepted).sha256 == hashlib.sha256(text.encode()).hexdigest()


def test_layout_and_comments_do_not_count_in_the_hash(accepted):
    spaced = accepted.replace(" = ", "  =  ").replace("[harms]", "\n# why\n[harms]")
    assert parse_protocol(spaced).sha256 == parse_protocol(accepted).sha256


def test_freezing_appends_day_and_hash_and_keeps_the_text(path):
    before = path.read_text(encoding="utf-8")
    sealed = freeze(path, on=date(2026, 3, 1))
    after = path.read_text(encoding="utf-8")
    assert after.startswith(before)
    assert sealed.frozen is not None
    assert (sealed.frozen.on, sealed.frozen.sha256) == ("2026-03-01", sealed.sha256)
    again = read_protocol(path)
    assert again == sealed
    assert not again.changed_after_freezing


def test_freezing_twice_keeps_the_first_day(path):
    freeze(path, on=date(2026, 3, 1))
    content = path.read_bytes()
    sealed = freeze(path, on=date(2026, 9, 9))
    assert sealed.frozen is not None
    assert sealed.frozen.on == "2026-03-01"
    assert path.read_bytes() == content


def test_a_later_change_is_seen_and_not_sealed_over(path):
    freeze(path, on=date(2026, 3, 1))
    path.write_text(path.read_text().replace("week = 12", "week = 13"))
    assert read_protocol(path).changed_after_freezing
    content = path.read_bytes()
    with pytest.raises(UsageError, match="was frozen on 2026-03-01 and changed since"):
        freeze(path)
    assert path.read_bytes() == content


def test_a_faulty_protocol_is_not_sealed(path):
    path.write_text(path.read_text().replace("week = 12", "week = 'x'"))
    content = path.read_bytes()
    with pytest.raises(DefinitionError):
        freeze(path)
    assert path.read_bytes() == content


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("last", ["\n", ""])
def test_line_ends_byte_order_mark_and_a_missing_last_line_end_are_kept(path, accepted, end, mark, last):
    text = mark + accepted.rstrip("\n").replace("\n", end) + last.replace("\n", end)
    path.write_bytes(text.encode())
    freeze(path)
    written = path.read_bytes().decode()
    assert written.startswith(text)
    assert written.count("\n") == written.count(end)
    assert not read_protocol(path).changed_after_freezing


def test_a_hand_made_seal_must_look_like_one(accepted, faults):
    found = "\n".join(faults(accepted + '[frozen]\non = 2026-03-01\nsha256 = "abc"\n'))
    assert "frozen.on: found the date or time 2026-03-01 without quotes" in found
    assert "frozen.sha256: found the text 'abc', expected 64 hexadecimal digits" in found
