"""Files and folders are written whole or not at all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from outcomes import files
from outcomes.errors import UsageError
from outcomes.files import PARTIAL, inside, locked, sha256, whole_folder, write_whole


def leftovers(folder: Path) -> list[Path]:
    return list(folder.rglob(f"{PARTIAL}*"))


def test_a_file_is_written_with_its_folders_and_the_same_line_ends_everywhere(tmp_path: Path) -> None:
    path = write_whole(tmp_path / "a" / "b.csv", "x\ny µ\n")
    assert path.read_bytes() == "x\ny µ\n".encode()
    assert not leftovers(tmp_path)


def test_a_file_is_replaced_by_the_new_one(tmp_path: Path) -> None:
    write_whole(tmp_path / "f", "old, and longer")
    write_whole(tmp_path / "f", b"new")
    assert (tmp_path / "f").read_bytes() == b"new"


def test_a_failed_write_leaves_the_old_file_and_no_leftover(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_whole(tmp_path / "f", "old")

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match=r"f cannot be written: No space left on device"):
        write_whole(tmp_path / "f", "new")
    assert (tmp_path / "f").read_text() == "old"
    assert not leftovers(tmp_path)


def test_a_place_that_is_a_file_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "f").write_text("")
    with pytest.raises(UsageError, match="cannot be written"):
        write_whole(tmp_path / "f" / "g", "x")
    with pytest.raises(UsageError, match="cannot be written"), whole_folder(tmp_path / "f" / "g"):
        pytest.fail("the body must not run")


def test_a_folder_appears_when_it_is_complete(tmp_path: Path) -> None:
    target = tmp_path / "results" / "abc"
    with whole_folder(target) as folder:
        (folder / "record.json").write_text("{}")
        assert not target.exists()
    assert (target / "record.json").read_text() == "{}"
    assert not leftovers(tmp_path)


def test_a_folder_that_fails_half_way_leaves_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "abc"
    target.mkdir()
    (target / "kept").write_text("old")

    def fail_half_way() -> None:
        with whole_folder(target) as folder:
            (folder / "half").write_text("new")
            raise KeyError("half way")

    with pytest.raises(KeyError, match="half way"):
        fail_half_way()
    assert [path.name for path in target.iterdir()] == ["kept"]
    assert not leftovers(tmp_path)


def test_a_folder_is_replaced_whole(tmp_path: Path) -> None:
    for name in ("first", "second"):
        with whole_folder(tmp_path / "abc") as folder:
            (folder / name).write_text("")
    assert [path.name for path in (tmp_path / "abc").iterdir()] == ["second"]
    assert not leftovers(tmp_path)


def test_the_old_folder_comes_back_when_the_new_one_cannot_take_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "abc"
    target.mkdir()
    (target / "kept").write_text("old")
    real, calls = os.replace, []

    def second_move_fails(source: object, place: object) -> None:
        calls.append(place)
        if len(calls) == 2:
            raise OSError(13, "Permission denied")
        real(source, place)  # type: ignore[arg-type]

    monkeypatch.setattr(files, "_exchange", lambda first, second: False)
    monkeypatch.setattr(os, "replace", second_move_fails)
    with pytest.raises(UsageError, match="Permission denied"), whole_folder(target):
        pass
    assert (target / "kept").read_text() == "old"


def test_what_an_interrupted_run_left_is_removed_by_the_next(tmp_path: Path) -> None:
    (tmp_path / f"{PARTIAL}abc-12345678").mkdir()
    (tmp_path / f"{PARTIAL}abc-other-12345678").mkdir()  # another run may be writing abc-other
    with whole_folder(tmp_path / "abc"):
        pass
    assert [path.name for path in leftovers(tmp_path)] == [f"{PARTIAL}abc-other-12345678"]


def test_an_earlier_folder_that_a_killed_run_left_aside_is_put_back(tmp_path: Path) -> None:
    aside = tmp_path / f"{PARTIAL}abc{files.OLD}"
    aside.mkdir()
    (aside / "kept").write_text("old")

    def fail() -> None:
        with whole_folder(tmp_path / "abc"):
            raise KeyError("half way")

    with pytest.raises(KeyError):
        fail()
    assert (tmp_path / "abc" / "kept").read_text() == "old"
    assert not leftovers(tmp_path)


@pytest.mark.parametrize("can_exchange", [True, False])
def test_a_folder_is_replaced_with_and_without_an_exchange(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, can_exchange: bool
) -> None:
    if not can_exchange:
        monkeypatch.setattr(files, "_exchange", lambda first, second: False)
    for content in ("old", "new"):
        with whole_folder(tmp_path / "abc") as folder:
            (folder / "f").write_text(content)
    assert (tmp_path / "abc" / "f").read_text() == "new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["abc"]


def test_two_runs_do_not_write_one_folder(tmp_path: Path) -> None:
    target = tmp_path / "results" / "abc"
    with locked(target):
        with pytest.raises(UsageError, match="abc is being written by another run"), locked(target, wait=0):
            pytest.fail("the body must not run")
        with locked(tmp_path / "results" / "other", wait=0):
            pass
    with whole_folder(target):
        pass
    assert sorted(path.name for path in target.parent.iterdir()) == ["abc"]


def test_a_second_run_waits_for_the_first(tmp_path: Path) -> None:
    script = "from pathlib import Path; import time; from outcomes.files import locked\n"
    script += f"with locked(Path({str(tmp_path / 'abc')!r})): print('held', flush=True); time.sleep(0.3)"
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"held\n"
        with locked(tmp_path / "abc", wait=20):
            assert other.wait() == 0


def test_the_lock_of_a_killed_run_is_free(tmp_path: Path) -> None:
    script = "from pathlib import Path; import time; from outcomes.files import locked\n"
    script += f"with locked(Path({str(tmp_path / 'abc')!r})): print('held', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"held\n"
        other.kill()
    with locked(tmp_path / "abc", wait=0):
        pass


@pytest.mark.parametrize("name", ["../elsewhere", "a/../../b", "/etc"])
def test_a_name_that_leaves_the_study_folder_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="lies outside the study folder"):
        inside(tmp_path, name)


def test_a_link_that_leads_out_of_the_study_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "study").mkdir()
    (tmp_path / "study" / "out").symlink_to(tmp_path)
    with pytest.raises(UsageError, match="outside"):
        inside(tmp_path / "study", "out/secret")


def test_a_name_inside_is_resolved(tmp_path: Path) -> None:
    assert inside(tmp_path, "a/./b.csv") == (tmp_path / "a" / "b.csv").resolve()


def test_sha256_is_the_standards() -> None:
    # FIPS 180-2, appendix B.1: the message "abc".
    assert sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
