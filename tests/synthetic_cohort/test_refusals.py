"""What `write_cohort` refuses, in words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from outcomes.errors import UsageError
from synthetic_cohort import write_cohort


@pytest.mark.parametrize(
    ("choices", "message"),
    [
        ({"people": 0}, "people: found 0, expected 1 to 9999"),
        ({"people": 10_000}, "people: found 10000, expected 1 to 9999"),
        ({"seed": -1}, "seed: found -1, expected 0 or more"),
        ({"weeks": 3}, "weeks: found 3, expected 4 to 52"),
        ({"weeks": 53}, "weeks: found 53, expected 4 to 52"),
        ({"protocol": "wait"}, "protocol: found 'wait', expected one of leg_cycling_16_weeks, wait_list"),
        ({"damage": "some"}, "damage: found 'some', expected 'cells' or 'all'"),
        (
            {"dose_effect": "power"},
            "dose_effect: found 'power', expected one of none, active_minutes, work_kj, saturating",
        ),
    ],
)
def test_an_argument_out_of_range_is_named_with_what_would_do(
    tmp_path: Path, choices: dict[str, Any], message: str
) -> None:
    with pytest.raises(UsageError) as caught:
        write_cohort(tmp_path / "cohort", **choices)
    assert str(caught.value) == message
    assert not (tmp_path / "cohort").exists()


def test_a_folder_that_holds_other_files_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "participants.csv").write_text("participant_id\nreal\n")
    with pytest.raises(UsageError, match="holds other files"):
        write_cohort(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["participants.csv"]
    assert (tmp_path / "participants.csv").read_text() == "participant_id\nreal\n"


def test_a_truth_file_of_someone_else_does_not_open_the_door(tmp_path: Path) -> None:
    (tmp_path / "truth.json").write_text('{"synthetic": false}')
    with pytest.raises(UsageError, match="holds other files"):
        write_cohort(tmp_path)


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "cohort").write_text("")
    with pytest.raises(UsageError, match="is a file, not a folder"):
        write_cohort(tmp_path / "cohort")


def test_an_earlier_cohort_is_replaced(tmp_path: Path) -> None:
    write_cohort(tmp_path, people=2, damage="all")
    (tmp_path / "results").mkdir()
    second = write_cohort(tmp_path, people=3)
    assert second.rows["participants"] == 3
    assert (tmp_path / "results").is_dir()


def test_one_person_is_a_cohort_even_a_damaged_one(tmp_path: Path) -> None:
    for damage in (None, "cells", "all"):
        written = write_cohort(tmp_path, people=1, damage=damage)
        assert written.rows["participants"] >= 1
