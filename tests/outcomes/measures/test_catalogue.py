"""The catalogue: the packaged measures, a study's own, versions, and near words."""

from __future__ import annotations

import pickle
import subprocess
import sys
from pathlib import Path

import pytest

from outcomes.errors import DefinitionError, UsageError
from outcomes.measures import Catalogue, score

OWN = """
key = "{key}"
version = "{version}"
title = "Body weight"
construct = "body weight"
source = "scales of the clinic; common practice, no source"
[[items]]
key = "weight"
range = [30, {high}]
unit = "lb"
[[scales]]
key = "weight"
main = true
rule = "value"
items = ["weight"]
unit = "lb"
level = "ratio"
better = "none"
"""


def write(folder: Path, name: str, key: str = "body_weight", version: str = "pounds", high: int = 400) -> None:
    (folder / name).write_text(OWN.format(key=key, version=version, high=high), encoding="utf-8")


def test_the_packaged_measures_are_read_once_and_listed_in_order() -> None:
    catalogue = Catalogue.packaged()
    assert catalogue.keys() == tuple(sorted(catalogue.keys()))
    assert [definition.key for definition in catalogue] == list(catalogue.keys())
    assert len(catalogue) == len(catalogue.keys())
    assert "mas" in catalogue
    assert "mass" not in catalogue
    assert Catalogue.packaged().get("mas") is catalogue.get("mas")


def test_a_definition_is_read_only_when_it_is_asked_for() -> None:
    code = (
        "from outcomes.measures import catalogue\n"
        "read, real = [], catalogue._read\n"
        "catalogue._read = lambda path: (read.append(path.stem), real(path))[1]\n"
        "found = catalogue.Catalogue.packaged()\n"
        "found.keys(); found.get('mas'); found.get('mas'); found.versions('mas')\n"
        "print(*read)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["mas"]


def test_a_study_adds_its_own_measures(tmp_path: Path) -> None:
    write(tmp_path, "body_weight.toml")
    catalogue = Catalogue.packaged().with_folder(tmp_path)
    assert score("body_weight", {"weight": 80.7}, catalogue=catalogue)["weight"] == 80.7
    assert "body_weight" in catalogue
    assert "body_weight" not in Catalogue.packaged()
    assert catalogue.get("mas") is Catalogue.packaged().get("mas")


def test_a_packaged_key_and_version_cannot_be_defined_again(tmp_path: Path) -> None:
    write(tmp_path, "mas.toml", key="mas", version="bohannon1987")
    with pytest.raises(DefinitionError, match="mas bohannon1987 is defined already"):
        Catalogue.packaged().with_folder(tmp_path)


def test_a_study_may_have_its_own_version_of_a_packaged_measure(tmp_path: Path) -> None:
    write(tmp_path, "mas.toml", key="mas", version="house1")
    catalogue = Catalogue.packaged().with_folder(tmp_path)
    assert catalogue.versions("mas") == ("house1", "bohannon1987")
    assert catalogue.get("mas").version == "house1"
    assert catalogue.get("mas", "bohannon1987").title == "Modified Ashworth Scale"


def test_an_older_version_of_a_study_leaves_the_packaged_one_current(tmp_path: Path) -> None:
    write(tmp_path, "mas@ashworth1964.toml", key="mas", version="ashworth1964")
    catalogue = Catalogue.packaged().with_folder(tmp_path)
    assert catalogue.versions("mas") == ("bohannon1987", "ashworth1964")
    assert catalogue.get("mas").version == "bohannon1987"


def test_versions_lie_side_by_side(tmp_path: Path) -> None:
    write(tmp_path, "body_weight.toml", version="v2", high=500)
    write(tmp_path, "body_weight@v1.toml", version="v1")
    catalogue = Catalogue.packaged().with_folder(tmp_path)
    assert catalogue.versions("body_weight") == ("v2", "v1")
    assert score("body_weight", {"weight": 450}, catalogue=catalogue)["weight"] == 450
    assert catalogue.get("body_weight", "v1").items[0].range == (30, 400)


def test_one_version_in_two_files_is_refused(tmp_path: Path) -> None:
    write(tmp_path, "body_weight.toml", version="v1")
    write(tmp_path, "body_weight@v1.toml", version="v1")
    with pytest.raises(DefinitionError, match="body_weight v1 is defined already"):
        Catalogue.packaged().with_folder(tmp_path)


def test_the_problems_of_all_files_come_at_once(tmp_path: Path) -> None:
    write(tmp_path, "one.toml", key="two")
    write(tmp_path, "three.toml", key="three", high=3)
    with pytest.raises(DefinitionError) as refusal:
        Catalogue.packaged().with_folder(tmp_path)
    assert {problem.file for problem in refusal.value.problems} == {"one.toml", "three.toml"}


def test_unknown_keys_versions_and_folders_are_faults_of_use(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no measure 'scim'; did you mean 'scim3'"):
        Catalogue.packaged().get("scim")
    with pytest.raises(UsageError, match="scim3 has no version 'itzkovich2008'; known: itzkovich2007; did you mean"):
        Catalogue.packaged().get("scim3", "itzkovich2008")
    with pytest.raises(UsageError, match="is not a folder"):
        Catalogue.packaged().with_folder(tmp_path / "measures")
    assert Catalogue.packaged().versions("scim") == ()


def test_the_parts_of_a_definition_are_found_by_key() -> None:
    scim3 = Catalogue.packaged().get("scim3")
    assert scim3.main_scale is scim3.scale("total")
    assert scim3.item("bladder").codes["15"] == 15
    assert len(scim3.items_of(scim3.main_scale)) == 19
    with pytest.raises(UsageError, match="scim3 has no scale 'totl'; did you mean 'total'"):
        scim3.scale("totl")
    with pytest.raises(UsageError, match="scim3 has no item 'blader'; did you mean 'bladder'"):
        scim3.item("blader")


def test_a_catalogue_can_be_sent_to_another_process(tmp_path: Path) -> None:
    write(tmp_path, "body_weight.toml")
    sent = pickle.loads(pickle.dumps(Catalogue.packaged().with_folder(tmp_path)))
    assert sent.get("body_weight") == Catalogue.packaged().with_folder(tmp_path).get("body_weight")
    assert sent.keys() == tuple(sorted(("body_weight", *Catalogue.packaged().keys())))
