"""One person of every two waits: no session, no gain from training, and the difference stands in the truth."""

from __future__ import annotations

import csv
from collections.abc import Callable
from statistics import mean
from typing import Any

import pytest

from protocols import read_protocol
from synthetic_cohort.people import Options


@pytest.fixture(scope="session")
def waiting(written: Callable[..., Any]) -> Any:
    return written(people=60, protocol="wait_list")


def groups(cohort: Any) -> dict[str, str]:
    return {row["participant_id"]: row["group"] for row in cohort.tables["participants"]}


def test_the_study_is_one_of_parallel_groups_whose_reference_waits(waiting: Any) -> None:
    protocol = read_protocol(waiting.folder / "protocol.toml")
    assert (protocol.study.design, protocol.study.allocation) == ("parallel groups", "randomised")
    assert protocol.study.synthetic is True
    assert [g.key for g in protocol.groups if not g.trained] == ["waiting"]


def test_of_every_two_people_one_trains(waiting: Any) -> None:
    found = list(groups(waiting).values())
    assert all({a, b} == {"trained", "waiting"} for a, b in zip(found[::2], found[1::2], strict=True))
    assert len({tuple(found[i : i + 2]) for i in range(0, 60, 2)}) == 2


def test_who_waits_has_no_session_and_no_prescription(waiting: Any) -> None:
    group = groups(waiting)
    for table in ("sessions", "prescriptions"):
        assert {group[row["participant_id"]] for row in waiting.tables[table]} == {"trained"}
    for person in waiting.truth["people"]:
        assert (person["planned_sessions"] == 0) is (person["group"] == "waiting")


def test_the_truth_says_how_the_groups_differ(waiting: Any) -> None:
    told = waiting.truth["cohort"]["groups"]
    first, last = waiting.truth["cohort"]["compare"]
    changes: dict[str, list[float]] = {"trained": [], "waiting": []}
    for person in waiting.truth["people"]:
        if {first, last} <= set(person["visits"]):
            at = [person["visits"][key]["mid_thigh_cm"]["mean"] for key in (first, last)]
            changes[person["group"]].append(at[1] - at[0])
    assert told["difference_cm"] == pytest.approx(mean(changes["trained"]) - mean(changes["waiting"]), abs=1e-5)
    assert set(changes["waiting"]) == {0.0}
    assert told["difference_cm"] > 0.5


def test_where_the_dose_does_nothing_the_groups_do_not_differ_by_training(written: Callable[..., Any]) -> None:
    null = written(people=60, protocol="wait_list", dose_effect="none").truth["cohort"]["groups"]
    spread = (
        null["trained"]["sd"] ** 2 / null["trained"]["n"] + null["waiting"]["sd"] ** 2 / null["waiting"]["n"]
    ) ** 0.5
    assert abs(null["difference_cm"]) < 3 * spread
    assert null["waiting"]["mean"] > 0


def test_everybody_seen_at_the_end_rates_their_change_once(waiting: Any) -> None:
    rated = [row for row in waiting.tables["assessments"] if row["measure"] == "grc"]
    assert {row["visit"] for row in rated} == {"week16"}
    assert all(-7 <= int(row["response"]) <= 7 for row in rated)
    group = groups(waiting)
    means = {
        g: mean(int(r["response"]) for r in rated if group[r["participant_id"]] == g) for g in ("trained", "waiting")
    }
    assert means["trained"] > means["waiting"]


def test_only_measures_of_the_protocol_are_repeated(waiting: Any) -> None:
    planned = {m.measure for m in read_protocol(waiting.folder / "protocol.toml").measures}
    assert {row["measure"] for row in waiting.tables["repeats"]} <= planned


def test_the_other_cohort_has_no_group_and_its_people_are_the_same(cohort: Any, waiting: Any) -> None:
    assert "group" not in cohort.headings["participants"]
    with (cohort.folder / "participants.csv").open(encoding="utf-8", newline="") as file:
        first = list(csv.DictReader(file))
    same = ("participant_id", "sex", "age_years", "condition", "enrolled_on")
    for one, other in zip(first, waiting.tables["participants"], strict=False):
        assert [one[name] for name in same] == [other[name] for name in same]


def test_the_group_of_a_person_hangs_on_the_seed_alone() -> None:
    options = Options(5, 16, "none", False, False, wait_list=True)
    assert [options.group(n) for n in (1, 2, 3)] == [options.group(n) for n in (1, 2, 3)]
    assert Options(5, 16, "none", False, False).group(1) == ""
