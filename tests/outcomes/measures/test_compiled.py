"""The compiled catalogue is what the TOML files say, and is never used where it might not be."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from outcomes.measures import Catalogue, compiled
from outcomes.measures.catalogue import FOLDER
from outcomes.measures.loading import read_definition

FILES = sorted(FOLDER.glob("*.toml"))


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty place for the compiled file."""
    monkeypatch.setattr(compiled, "FILE", tmp_path / "cache" / "definitions")
    compiled._entries.cache_clear()
    yield compiled.FILE
    compiled._entries.cache_clear()
    monkeypatch.undo()


def test_every_definition_comes_back_as_its_toml_gives_it(place: Path) -> None:
    read = {path: read_definition(path) for path in FILES}
    assert compiled.write(read.items())
    for path, definition in read.items():
        found = compiled.load(path, path.read_bytes())
        assert found == definition
        assert repr(found) == repr(definition)  # also the types: a tuple stays a tuple
    assert len(read) >= len(Catalogue.packaged())


def test_a_file_that_has_changed_since_is_not_taken_from_it(place: Path) -> None:
    path = FILES[0]
    compiled.write([(path, read_definition(path))])
    assert compiled.load(path, path.read_bytes()) is not None
    assert compiled.load(path, path.read_bytes() + b"\n") is None
    assert compiled.load(FILES[1], FILES[1].read_bytes()) is None


def test_a_change_of_the_reader_makes_it_void(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = FILES[0]
    compiled.write([(path, read_definition(path))])
    compiled._entries.cache_clear()
    monkeypatch.setattr(compiled, "_readers", lambda: "another")
    assert compiled.load(path, path.read_bytes()) is None


@pytest.mark.parametrize("content", [b"", b"\x00", b"[", b"null", b"[1, 2]", b"{}", b"no json", b"\xe9\x00"])
def test_a_damaged_file_is_as_good_as_none(place: Path, content: bytes) -> None:
    place.parent.mkdir()
    place.write_bytes(content)
    assert compiled.load(FILES[0], FILES[0].read_bytes()) is None


def test_a_place_that_cannot_be_written_is_no_fault(place: Path) -> None:
    place.parent.write_text("a file where the folder should be", encoding="utf-8")
    assert compiled.write([(FILES[0], read_definition(FILES[0]))]) is False


def test_a_full_load_leaves_it_behind_for_the_next_process() -> None:
    code = (
        "from outcomes.measures import catalogue; list(catalogue.Catalogue.packaged()); "
        "catalogue._packaged.cache_clear(); list(catalogue.Catalogue.packaged()); print(len(catalogue._PARSED))"
    )
    again = (
        "from outcomes.measures import catalogue as c; [c._packaged(k) for k in c._packaged_files()]; "
        "print(len(c._PARSED))"
    )
    for words in (code, again):
        done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
        assert done.stdout.split() == ["0"]
