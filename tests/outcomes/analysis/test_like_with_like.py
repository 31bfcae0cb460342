"""What may not be joined or held against each other: variants, units of analysis, groups, people whose dose is unknown.

Every number follows by hand from the tables that the tests write.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.result import Record
from outcomes.study import Study
from protocols import parse_protocol

Tables = dict[str, pd.DataFrame]
Build = Callable[..., Study]
GIRTH = "change/limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/"
WALK = "change/tenmwt.speed/-/all/after_minus_before/-/mean"

WALKING = """
schema = 1
[study]
title = "Walks"
design = "{design}"
[harms]
collection = "none occurred"
[analysis]
compare = ["before", "after"]
report = "{report}"
{groups}
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 2
when = "end"
[[measures]]
measure = "tenmwt"
role = "primary"
{variant}
[training]
mode = "legs"
weeks = 2
sessions_per_week = 2
active_minutes = [30]
[dose]
metrics = ["active_minutes", "work_kj"]
"""
GROUPS = """
[[groups]]
key = "usual"
label = "Usual care"
reference = true
[[groups]]
key = "cycling"
label = "Cycling"
"""
PEOPLE = [f"P{i:02}" for i in range(1, 13)]


def walks(paces: Callable[[str, str], str]) -> pd.DataFrame:
    rows = []
    for i, person in enumerate(PEOPLE):
        for visit, day, gain in (("before", "2025-01-06", 0.0), ("after", "2025-01-20", 0.5 + (i % 3))):
            common = {"participant_id": person, "visit": visit, "measure": "tenmwt", "assessed_at": day}
            pace = paces(person, visit)
            rows += [common | {"item": "pace", "response": pace}] if pace else []
            rows += [common | {"item": "time", "trial": t, "response": str(20.0 + i - gain)} for t in (1, 2)]
    return pd.DataFrame(rows)


def sessions(minutes: Callable[[int, int], str], work: Callable[[int, int], str], people: list[str]) -> pd.DataFrame:
    """Three sessions of each person, on days 2, 4 and 9."""
    return pd.DataFrame(
        [
            {
                "participant_id": person,
                "session_id": f"S{n}",
                "started_at": day,
                "status": "done",
                "active_minutes": minutes(int(person[1:]), n),
                "work_kj": work(int(person[1:]), n),
            }
            for person in people
            for n, day in enumerate(("2025-01-08", "2025-01-10", "2025-01-15"), start=1)
        ]
    )


def walked(
    paces: Callable[[str, str], str] = lambda *_: "comfortable",
    minutes: Callable[[int, int], str] = lambda i, n: str(20 + i),
    work: Callable[[int, int], str] = lambda i, n: str(10 + i % 4),
    trained: list[str] = PEOPLE,
    group: Callable[[int], str] | None = None,
    variant: str = "",
    report: str = "all",
) -> Record:
    people: dict[str, Any] = {"participant_id": PEOPLE, "enrolled_on": "2025-01-06"}
    if group is not None:
        people["group"] = [group(int(person[1:])) for person in PEOPLE]
    text = WALKING.format(
        design="single arm" if group is None else "parallel groups",
        groups="" if group is None else GROUPS,
        variant=variant,
        report=report,
    )
    tables = {"participants": pd.DataFrame(people), "assessments": walks(paces)}
    tables["sessions"] = sessions(minutes, work, trained)
    return analyse(Study.from_tables(parse_protocol(text, "protocol.toml"), **tables)).record


# ------------------------------------------------------------------------------------------------------ variants


def test_a_comfortable_walk_is_not_compared_with_a_fast_one() -> None:
    found = walked(lambda person, visit: "fast" if visit == "after" else "comfortable")[WALK]
    assert found.status == "not estimable"
    assert "pace comfortable, fast" in found.reason
    assert "name the variant" in found.reason


def test_nor_one_person_s_fast_walk_with_the_comfortable_ones_of_others() -> None:
    assert walked(lambda person, visit: "fast" if person == "P04" else "comfortable")[WALK].status == "not estimable"


def test_the_variant_that_the_protocol_names_is_taken_alone() -> None:
    found = walked(
        lambda person, visit: "fast" if person == "P04" else "comfortable", variant='variant = "pace=comfortable"'
    )
    assert found["change/tenmwt@pace_comfortable.speed/-/all/after_minus_before/-/mean"].n_people == 11


def test_a_pace_that_was_not_noted_is_no_other_pace() -> None:
    assert walked(lambda person, visit: "" if person == "P04" else "comfortable")[WALK].n_people == 12


# ------------------------------------------------------------------------------------------------------ error


def test_the_error_of_one_reading_is_not_that_of_two(build: Build, tables: Tables) -> None:
    again = tables["repeats"]
    record = analyse(build(repeats=again[again["trial"] == 1])).record
    assert record[GIRTH + "share_better"].status == "not estimable"
    assert "has 1 readings, one of the visits 2" in record[GIRTH + "share_better"].reason
    assert GIRTH + "mdc95_used" not in record.entries
    # the error itself stands, with its unit of analysis
    error = record["reliability/limb_girth.girth/mid_thigh.mean/all/-/-/mdc95"]
    assert error.unit_of_analysis == "mid thigh, mean of both sides, 1 reading, same rater"


def test_readings_and_raters_of_another_place_do_not_count(build: Build, tables: Tables) -> None:
    calf = tables["repeats"].assign(place="calf_max", rater="R2")
    more = pd.concat([tables["repeats"], calf[calf["trial"] == 1]])
    record = analyse(build(repeats=more)).record
    error = record["reliability/limb_girth.girth/mid_thigh.mean/all/-/-/mdc95"]
    assert error.unit_of_analysis == "mid thigh, mean of both sides, 2 readings, same rater"


def test_one_rater_s_error_is_doubted_where_raters_changed(build: Build, tables: Tables) -> None:
    assert analyse(build()).record[GIRTH + "mdc95_used"].caveats == ()
    seen = tables["assessments"]
    seen.loc[seen["visit"] == "after", "rater"] = "R2"
    record = analyse(build(assessments=seen)).record
    assert record[GIRTH + "mdc95_used"].caveats == ("other_raters",)
    assert "too small" in record.caveats["other_raters"]


# ------------------------------------------------------------------------------------------------------ family


def test_an_outcome_without_change_stays_in_the_family(build: Build, tables: Tables) -> None:
    seen = tables["assessments"]
    seen.loc[seen["measure"] == "mas", "response"] = "1"
    record = analyse(build(assessments=seen)).record
    tone = "change/mas.rank/knee_extensors.worse/all/after_minus_before/-/"
    assert record[tone + "hodges_lehmann"].test.p == 1
    assert record[tone + "p_holm"].value == 1


# ------------------------------------------------------------------------------------------------------ dose


def test_work_that_nobody_wrote_down_is_no_dose_and_stops_nothing() -> None:
    record = walked(work=lambda i, n: "")
    for statistic in ("delivered_sum", "delivered_mean"):
        found = record[f"dose/-/-/all/after/work_kj/{statistic}"]
        assert (found.status, found.reason) == ("not estimable", "no delivered session has a value of it")
    assert record["dose/-/-/all/after/work_kj/sessions_without"].value == 36
    assert record["dose/-/-/all/after/active_minutes/delivered_sum"].value == sum(3 * (20 + i) for i in range(1, 13))
    slope = record["dose_response/tenmwt.speed/-/all/after_minus_before/work_kj/slope"]
    assert slope.status == "not estimable"


def test_n_counts_the_people_whose_dose_is_known() -> None:
    record = walked(work=lambda i, n: "10" if i > 2 else "")
    mean = record["dose/-/-/all/after/work_kj/delivered_mean"]
    assert (mean.value, mean.n_people, mean.caveats) == (30, 10, ("dose_people_unknown",))
    # a person with a session that has no value is known to have had at least the rest
    record = walked(work=lambda i, n: "10" if i > 2 or n == 1 else "")
    mean = record["dose/-/-/all/after/work_kj/delivered_mean"]
    assert (mean.value, mean.n_people) == ((10 * 30 + 2 * 10) / 12, 12)
    assert mean.caveats == ("dose_lower_bound",)


def test_an_association_says_what_is_wrong_with_its_dose() -> None:
    slope = "dose_response/tenmwt.speed/-/all/after_minus_before/{}/slope"
    whole = walked()
    assert whole[slope.format("active_minutes")].caveats == ("association",)
    assert whole[slope.format("work_kj")].caveats == ("association", "work_is_partly_outcome")
    part = walked(minutes=lambda i, n: "" if (i, n) == (3, 2) else str(20 + i))
    assert part[slope.format("active_minutes")].caveats == ("association", "dose_too_low")


def test_cumulative_dose_goes_on_over_a_week_whose_sessions_have_no_value() -> None:
    record = walked(minutes=lambda i, n: "" if n == 3 else str(20 + i))
    # the second week adds nothing that is known: two weeks a person, no change of dose within any
    found = record["dose_response/-/-/all/after_minus_before/active_minutes/within_person_r"]
    assert found.reason == "dose does not change within any person"


# ------------------------------------------------------------------------------------------------------ groups


@pytest.mark.parametrize("report", ["all", "each group", "both"])
def test_groups_that_were_trained_differently_are_not_one_dose_response(report: str) -> None:
    cycling = [person for person in PEOPLE if int(person[1:]) % 2]
    record = walked(trained=cycling, group=lambda i: "cycling" if i % 2 else "usual", report=report)
    key = "dose_response/tenmwt.speed/-/{}/after_minus_before/active_minutes/slope"
    assert key.format("all") not in record.entries
    for group in ("usual", "cycling"):
        assert record[key.format(group)].reason == "6 people with dose and change; fewer than 10 are described only"
    delivered = {g: record[f"dose/-/-/{g}/after/sessions/delivered_sum"].value for g in ("all", "usual", "cycling")}
    assert delivered == {"all": 18, "usual": 0, "cycling": 18}


def test_people_without_a_group_are_counted() -> None:
    record = walked(group=lambda i: "" if i < 4 else "cycling" if i % 2 else "usual", report="each group")
    assert record["flow/-/-/all/-/-/without_group"].value == 3
    assert "without a group" in record.tables["flow"].to_frame()["stage"].tolist()
