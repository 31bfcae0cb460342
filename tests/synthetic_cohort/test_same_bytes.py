"""The same arguments give the same bytes, on any machine and whoever else takes part."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from synthetic_cohort import write_cohort

PEOPLE = 14
TABLES = (
    "participants",
    "visits",
    "prescriptions",
    "sessions",
    "stimulation",
    "assessments",
    "repeats",
    "events",
    "changes",
)


def hashes(folder: Path) -> dict[str, str]:
    """Return the hash of every file, and one of all files of a folder in it."""
    found = {path.name: hashlib.sha256() for path in sorted(folder.iterdir())}
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        inner = path.relative_to(folder)
        found[inner.parts[0]].update(inner.as_posix().encode() + path.read_bytes())
    return {name: digest.hexdigest() for name, digest in found.items()}


@pytest.mark.parametrize("damage", [None, "cells", "all"])
def test_the_same_seed_gives_the_same_bytes(tmp_path: Path, damage: str | None) -> None:
    for name in ("one", "two"):
        write_cohort(tmp_path / name, people=PEOPLE, seed=3, damage=damage)
    assert hashes(tmp_path / "one") == hashes(tmp_path / "two")


def test_another_seed_gives_other_bytes_in_every_table(tmp_path: Path) -> None:
    write_cohort(tmp_path / "one", people=48, seed=3)
    write_cohort(tmp_path / "two", people=48, seed=4)
    one, two = hashes(tmp_path / "one"), hashes(tmp_path / "two")
    assert [name for name in one if one[name] == two[name]] == ["protocol.toml"]


def test_locale_time_zone_and_hash_seed_do_not_matter(tmp_path: Path) -> None:
    write_cohort(tmp_path / "here", people=PEOPLE)
    code = f"from synthetic_cohort import write_cohort; write_cohort({str(tmp_path / 'there')!r}, people={PEOPLE})"
    other = {"TZ": "Pacific/Auckland", "LC_ALL": "C", "LANG": "de_DE.UTF-8", "PYTHONHASHSEED": "123"}
    subprocess.run([sys.executable, "-W", "error", "-c", code], env=os.environ | other, check=True, cwd=tmp_path)
    assert hashes(tmp_path / "here") == hashes(tmp_path / "there")


@pytest.mark.parametrize("table", TABLES)
def test_more_people_leave_the_earlier_ones_as_they_are(tmp_path: Path, table: str) -> None:
    few, more = tmp_path / "few", tmp_path / "more"
    if not few.exists():
        write_cohort(few, people=5)
        write_cohort(more, people=8)
    assert (more / f"{table}.csv").read_text().startswith((few / f"{table}.csv").read_text())


def test_damage_leaves_every_cell_alone_that_it_does_not_name(tmp_path: Path) -> None:
    write_cohort(tmp_path / "clean", people=PEOPLE)
    write_cohort(tmp_path / "harmed", people=PEOPLE, damage="cells")
    clean, harmed = hashes(tmp_path / "clean"), hashes(tmp_path / "harmed")
    untouched = {"protocol.toml", "events.csv", "changes.csv", "repeats.csv", "stimulation.csv", "traces"}
    assert {name for name in clean if clean[name] == harmed[name]} == untouched


def test_files_have_unix_line_ends_no_byte_order_mark_and_no_zero_too_many(tmp_path: Path) -> None:
    import csv

    written = write_cohort(tmp_path / "cohort", people=PEOPLE)
    for path in (written.protocol, written.truth, *written.tables.values()):
        raw = path.read_bytes()
        assert b"\r" not in raw
        assert not raw.startswith(b"\xef\xbb\xbf")
        assert raw.endswith(b"\n")
        assert b"\n\n\n" not in raw
    for path in written.tables.values():
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        numbers = [cell for cell in cells if cell.replace(".", "").replace("-", "").isdigit() and "." in cell]
        assert not [cell for cell in numbers if cell.endswith(("0", ".")) or cell == "-0"]


def test_the_written_cohort_says_where_its_files_are_and_how_many_rows_they_hold(tmp_path: Path) -> None:
    told: list[str] = []
    written = write_cohort(tmp_path / "cohort", people=4, progress=told.append)
    assert sorted({name.split("/")[0] for name in told}) == sorted(path.name for path in written.folder.iterdir())
    assert tuple(written.tables) == TABLES
    for name, path in written.tables.items():
        assert len(path.read_text().splitlines()) == written.rows[name] + 1
    assert written.faults == 0
