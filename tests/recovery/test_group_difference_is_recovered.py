"""The comparison of groups finds the difference that was put into the wait-list cohort, at the rate that it states."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from functools import cache
from pathlib import Path
from statistics import mean, stdev

import pytest

from outcomes.analysis import analyse
from outcomes.change import analysis_of_covariance, difference_of_changes
from outcomes.study import Study
from synthetic_cohort import write_cohort
from synthetic_cohort.cohort import draw_cohort
from synthetic_cohort.people import Options
from synthetic_cohort.plan import make_plan

PEOPLE = 26
COHORTS = 24
Values = tuple[list[float], list[float], list[str], float]


@cache
def cohorts(dose_effect: str) -> tuple[Values, ...]:
    plan = make_plan(16, "wait_list")
    return tuple(observe(Options(seed, 16, dose_effect, False, False, wait_list=True), plan) for seed in range(COHORTS))


def observe(options: Options, plan: object) -> Values:
    """Return first and last girth (mean of both thighs), groups, and the true difference of the people seen."""
    members, tables = draw_cohort(PEOPLE, plan, options)  # type: ignore[arg-type]
    read: dict[tuple[str, str], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in tables["assessments"]:
        if row["measure"] == "limb_girth" and row["place"] == "mid_thigh" and row["response"]:
            read[row["participant_id"], row["visit"]][row["side"]].append(float(row["response"]))
    girth = {key: mean(map(mean, sides.values())) for key, sides in read.items() if len(sides) == 2}
    before, after, group = [], [], []
    true: dict[str, list[float]] = {"trained": [], "waiting": []}
    for member in members:
        person, start = member.course.person, {visit.key: visit.start for visit in member.held}
        name = person.participant_id
        if (name, "week0") in girth and (name, "week16") in girth:
            before.append(girth[name, "week0"])
            after.append(girth[name, "week16"])
            group.append(person.group)
            at = [
                mean(member.course.girth_cm("mid_thigh", side, start[key]) for side in ("left", "right"))
                for key in ("week0", "week16")
            ]
            true[person.group].append(at[1] - at[0])
    return before, after, group, mean(true["trained"]) - mean(true["waiting"])


def compared(one: Values):
    return analysis_of_covariance(one[0], one[1], one[2], reference="waiting", unit="cm").difference["trained"]


def least(nominal: float, n: int) -> float:
    """The lowest share out of n that chance leaves likely: two standard errors below."""
    return nominal - 2 * math.sqrt(nominal * (1 - nominal) / n)


def test_the_difference_is_found_without_bias() -> None:
    drawn = cohorts("active_minutes")
    errors = [compared(one).value - one[3] for one in drawn]
    assert abs(mean(errors)) < 2.5 * stdev(errors) / math.sqrt(COHORTS)


def test_its_intervals_cover_the_difference_of_the_population_at_the_stated_rate() -> None:
    drawn = cohorts("active_minutes")
    population = mean(one[3] for one in drawn)
    covered = sum(f.interval.low <= population <= f.interval.high for f in map(compared, drawn))
    assert covered / COHORTS >= least(0.95, COHORTS)


def test_where_training_does_nothing_a_difference_is_found_no_more_often_than_stated() -> None:
    found = sum(compared(one).test.p <= 0.05 for one in cohorts("none"))
    assert found / COHORTS <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / COHORTS)


def test_a_rise_in_one_group_alone_would_have_been_found_where_there_is_no_difference() -> None:
    # Both groups gain by time alone: within the trained group the change is found in most cohorts, and says nothing.
    within = between = 0
    for before, after, group, _ in cohorts("none"):
        changes = {g: [b - a for a, b, h in zip(before, after, group, strict=True) if h == g] for g in set(group)}
        trained = changes["trained"]
        within += abs(mean(trained)) > 2.2 * stdev(trained) / math.sqrt(len(trained))
        between += difference_of_changes(trained, changes["waiting"], unit="cm").difference.test.p <= 0.05
    assert within > COHORTS / 4
    assert between / COHORTS <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / COHORTS)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("wait_list")
    write_cohort(folder, people=PEOPLE, seed=11, protocol="wait_list")
    study = Study.open(folder, settings={"analysis.resamples": "1000"})
    return study, analyse(study)


def test_the_whole_way_leads_to_the_same_difference_and_plans_nothing_for_who_waits(
    record: Callable[..., object],
) -> None:
    study, analysis = record  # type: ignore[misc]
    one = analysis.record[
        "groups/limb_girth.girth/mid_thigh.mean/trained_minus_waiting/week16_minus_week0/-/ancova_difference"
    ]
    seen = observe(Options(11, 16, "active_minutes", False, False, wait_list=True), make_plan(16, "wait_list"))
    people = study.table("participants").set_index("participant_id")["group"]
    assert one.n_people == len(seen[0])
    assert one.value == pytest.approx(compared(seen).value)
    dose = analysis.people["dose"]
    waits = dose["participant_id"].map(people) == "waiting"
    assert not dose.loc[waits, "planned_sessions"].fillna(0).any()
    assert not dose.loc[waits, "missed_sessions"].fillna(0).any()
    assert dose.loc[~waits, "planned_sessions"].fillna(0).any()
    weeks = analysis.record.tables["dose_by_week"].to_frame()
    assert weeks["people"].max() == (people == "trained").sum()
    assert "dose/-/-/waiting/week16/sessions/delivered_sum" not in analysis.record.entries
    assert not [k for k, e in analysis.record.entries.items() if k.startswith("change/") and e.test is not None]
    important = analysis.record["important/limb_girth.girth/mid_thigh.mean/all/week16_minus_week0/-/share_important"]
    assert 0 < important.value < 1
