"""Recovery, raters, medicine and selection: flags and the main number by other rules, worked out by hand."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest

from outcomes.analysis import analyse
from outcomes.errors import DefinitionError, DesignError
from outcomes.models import regression_to_the_mean
from outcomes.result import Interval, Record
from outcomes.study import Study
from protocols import parse_protocol

Build = Callable[..., Study]
Tables = dict[str, pd.DataFrame]
GIRTH = "limb_girth.girth/mid_thigh.mean/all/after_minus_before/-/"
# changes of the limb means, from conftest: P1 2, P2 .5, P3 1, P4 3, P5 -.5; mean 1.2


def run_of(record: Record, name: str) -> pd.Series:
    frame = record.tables["sensitivity"].to_frame()
    return frame[(frame["run"] == name) & (frame["measure"] == "limb_girth.girth")].iloc[0]


def test_people_early_after_onset_are_flagged_and_left_out_beside_the_main_number(build: Build, tables: Tables) -> None:
    people = tables["participants"].assign(months_since_onset=["6", "30", "40", "12", "18", "50", "60"])
    record = analyse(build(participants=people)).record
    assert record["flag/-/-/all/after_minus_before/-/natural_recovery"].value == 2  # P1, P4; 18 months is not below 18
    row = run_of(record, "without early recovery")
    assert (row["n"], row["left_out"], row["unknown"]) == (3, 2, 0)
    assert row["change"] == pytest.approx((0.5 + 1 - 0.5) / 3)
    assert row["main_change"] == pytest.approx(1.2)
    entry = record["sensitivity/" + GIRTH + "mean_without_early_recovery"]
    assert entry.test is None
    late = analyse(build(participants=people, analysis="recovery_months = 12")).record
    assert late["flag/-/-/all/after_minus_before/-/natural_recovery"].value == 1


def test_an_onset_that_is_not_known_leaves_the_person_out_and_is_counted(build: Build, tables: Tables) -> None:
    people = tables["participants"].assign(months_since_onset=["6", "", "40", "50", "30", "50", "60"])
    row = run_of(analyse(build(participants=people)).record, "without early recovery")
    assert (row["n"], row["left_out"], row["unknown"]) == (3, 1, 1)
    nobody = run_of(analyse(build()).record, "without early recovery")
    assert nobody["reason"] == "0 people are left; 3 are needed"


def test_a_change_of_rater_is_flagged_and_left_out(build: Build, tables: Tables) -> None:
    rows = tables["assessments"]
    rows.loc[(rows["participant_id"] == "P4") & (rows["visit"] == "after"), "rater"] = "R2"
    record = analyse(build(assessments=rows)).record
    assert record["flag/" + GIRTH + "raters"].value == 1
    row = run_of(record, "same rater")
    assert (row["n"], row["left_out"]) == (4, 1)
    assert row["change"] == pytest.approx((2 + 0.5 + 1 - 0.5) / 4)
    alike = run_of(analyse(build()).record, "same rater")
    assert alike["reason"] == "nobody is left out, so it is the main number"


def test_a_change_of_medicine_is_flagged_and_left_out(build: Build) -> None:
    changes = pd.DataFrame({"participant_id": ["P3"], "changed_on": ["2025-02-03"], "kind": ["medicine"]})
    record = analyse(build(changes=changes)).record
    assert record["flag/-/-/all/after_minus_before/-/medicine"].value == 1
    row = run_of(record, "medicine unchanged")
    assert row["change"] == pytest.approx((2 + 0.5 + 3 - 0.5) / 4)
    untold = run_of(analyse(build()).record, "medicine unchanged")
    assert untold["unknown"] == 5


def test_each_rule_for_events_is_shown_the_other_way_round(build: Build) -> None:
    changes = pd.DataFrame({"participant_id": ["P3"], "changed_on": ["2025-02-03"], "kind": ["therapy"]})
    rule = '[[analysis.events]]\ntable = "changes"\nkind = "therapy"\nstrategy = "{}"'
    out = run_of(analyse(build(analysis=rule.format("excluded"), changes=changes)).record, "whatever therapy")
    assert (out["main_n"], out["n"]) == (4, 5)
    assert out["change"] == pytest.approx(1.2)
    kept = run_of(analyse(build(analysis=rule.format("whatever happened"), changes=changes)).record, "without therapy")
    assert (kept["main_n"], kept["n"]) == (5, 4)


def test_only_the_runs_that_the_plan_names_are_made(build: Build) -> None:
    record = analyse(build(analysis='sensitivity = ["same rater"]')).record
    assert set(record.tables["sensitivity"].to_frame()["run"]) == {"same rater"}


def test_what_selection_alone_would_bring_is_told_where_the_plan_names_the_cut_off(
    plan: Callable[[], str], tables: Tables
) -> None:
    def record(lines: str) -> Record:
        text = plan().replace('hoped_for = "increase"\n', f'hoped_for = "increase"\n{lines}\n', 1)
        return analyse(Study.from_tables(parse_protocol(text, "protocol.toml"), **tables)).record

    key = "flag/" + GIRTH + "regression_to_mean"
    told = record("entry_cut = 40\nentry_mean = 45")
    icc = told["reliability/limb_girth.girth/mid_thigh.mean/all/-/-/icc_a_1"].value
    assert told[key].interval.low < told[key].value < told[key].interval.high < 0
    assert told[key].value == pytest.approx(-(1 - icc) * ((51 + 44 + 59 + 48 + 51) / 5 - 45))
    assert "entry_mean under [[measures]]" in record("entry_cut = 40")[key].reason
    assert key not in record("").entries
    with pytest.raises(DefinitionError, match="needs the key 'entry_cut'"):
        record("entry_mean = 45")


def test_regression_to_the_mean_moves_with_the_unit_and_refuses_what_cannot_be() -> None:
    first = [60.0, 66.0, 63.0]
    whole = regression_to_the_mean(first, population_mean=50.0, reliability=0.6, unit="cm").expected.value
    inches = regression_to_the_mean(
        [x / 2.54 for x in first], population_mean=50 / 2.54, reliability=0.6, unit="[in_i]"
    ).expected.value
    assert whole == pytest.approx(-0.4 * 13)
    assert inches == pytest.approx(whole / 2.54)
    ends = Interval(-0.2, 0.9, 0.95, "exact F")
    found = regression_to_the_mean(
        first, population_mean=50.0, reliability=0.6, reliability_interval=ends, unit="cm"
    ).expected.interval
    assert (found.low, found.high) == pytest.approx((-13, -1.3))
    with pytest.raises(DesignError, match="lies between 0 and 1"):
        regression_to_the_mean(first, population_mean=50.0, reliability=1.2, unit="cm")
