"""Groups compared: the model of statsmodels, no test within a group, families, refusals, people beyond error."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from outcomes.analysis import analyse
from outcomes.result import Record
from outcomes.study import Study
from protocols import parse_protocol

PLAN = """
schema = 1
[study]
title = "Two groups"
design = "parallel groups"
{allocation}
[harms]
collection = "none occurred"
[[groups]]
key = "trained"
label = "Trained"
[[groups]]
key = "waiting"
label = "Waiting"
reference = true
trained = false
[[visits]]
key = "before"
label = "Before"
week = 0
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 8
when = "end"
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
sides = ["left"]
minimal_change = "own"
hoped_for = "increase"
{girth}
[[measures]]
measure = "limb_girth"
role = "secondary"
places = ["calf_max"]
sides = ["left"]
[[measures]]
measure = "mas"
role = "{tone}"
places = ["knee_extensors"]
sides = ["left"]
{more}
[analysis]
compare = ["before", "after"]
resamples = 1000
{analysis}
"""

PEOPLE = [f"P{n:02d}" for n in range(1, 25)]
GROUP = ["trained" if n % 2 else "waiting" for n in range(24)]
DRAW = np.random.default_rng(6)
THIGH = np.round(50 + 4 * DRAW.normal(size=24), 1)
GAIN = np.round(np.where(np.array(GROUP) == "trained", 1.4, 0.1) + DRAW.normal(size=24), 1)
CALF = np.round(34 + 2 * DRAW.normal(size=24), 1)
TONE = DRAW.integers(1, 4, 24)
EASED = np.where(np.array(GROUP) == "trained", DRAW.integers(0, 2, 24), 0)
RATING = np.clip(np.round(GAIN * 2 + DRAW.normal(size=24)), -7, 7)
GRADES = ["0", "1", "1+", "2", "3", "4"]
PART = "trained_minus_waiting/after_minus_before/-/"
GIRTH, SHIN = (f"groups/limb_girth.girth/{place}.left/{PART}" for place in ("mid_thigh", "calf_max"))
SPASM = f"groups/mas.rank/knee_extensors.left/{PART}"


def answers(table: dict[str, Any], values: Any, **key: Any) -> list[dict[str, Any]]:
    return [
        {"participant_id": p, "response": str(v), "side": "left", **table, **key}
        for p, v in zip(PEOPLE, values, strict=True)
    ]


def frames() -> dict[str, pd.DataFrame]:
    before = {"visit": "before", "assessed_at": "2025-01-06"}
    after = {"visit": "after", "assessed_at": "2025-03-03"}
    thigh = {"measure": "limb_girth", "item": "reading", "place": "mid_thigh", "trial": 1}
    calf = {"measure": "limb_girth", "item": "reading", "place": "calf_max", "trial": 1}
    tone = {"measure": "mas", "item": "grade", "place": "knee_extensors"}
    rows = answers(before, THIGH, **thigh) + answers(after, np.round(THIGH + GAIN, 1), **thigh)
    rows += answers(before, CALF, **calf) + answers(after, np.round(CALF + GAIN[::-1] / 4, 2), **calf)
    rows += answers(before, [GRADES[g] for g in TONE], **tone)
    rows += answers(after, [GRADES[g] for g in TONE - EASED], **tone)
    rated = {"measure": "grc", "item": "rating", "side": None}
    rows += answers(after, [int(r) for r in RATING], **rated)
    again = [
        {**thigh, "participant_id": p, "side": "left", "occasion": occasion, "response": str(value)}
        for p, first, second in zip(PEOPLE[:8], THIGH, np.round(THIGH + DRAW2, 1), strict=False)
        for occasion, value in (("first", first), ("second", second))
    ]
    people = pd.DataFrame({"participant_id": PEOPLE, "enrolled_on": "2025-01-06", "group": GROUP})
    return {"participants": people, "assessments": pd.DataFrame(rows), "repeats": pd.DataFrame(again)}


DRAW2 = np.array([0.3, -0.2, 0.4, 0.1, 0.5, -0.1, 0.2, 0.0] * 3)
"""Second reading minus first of the repeats; mean of the first eight 0.15."""

RATED = '[[measures]]\nmeasure = "grc"\nrole = "exploratory"\nvisits = ["after"]'
ANCHOR = 'anchor = "grc"\nanchor_important = 2\nanchor_slight = [1, 3]'


def compared(
    analysis: str = "", girth: str = "", tone: str = "secondary", allocation: str = "", **changed: pd.DataFrame
) -> Any:
    text = PLAN.format(analysis=analysis, girth=girth, tone=tone, allocation=allocation, more=RATED)
    return analyse(Study.from_tables(parse_protocol(text), **{**frames(), **changed}))


@pytest.fixture(scope="module")
def record() -> Record:
    return compared().record


def table() -> pd.DataFrame:
    return pd.DataFrame({"before": THIGH, "after": np.round(THIGH + GAIN, 1), "g": GROUP})


def test_the_primary_difference_is_that_of_statsmodels_given_the_first_value(record: Record) -> None:
    theirs = smf.ols("after ~ before + C(g, Treatment('waiting'))", table()).fit()
    name = "C(g, Treatment('waiting'))[T.trained]"
    found = record[GIRTH + "ancova_difference"]
    assert found.value == pytest.approx(theirs.params[name])
    assert (found.interval.low, found.interval.high) == pytest.approx(tuple(theirs.conf_int().loc[name]))
    assert found.test.p == pytest.approx(theirs.pvalues[name])
    assert found.caveats == ("not_randomised",)
    assert record["groups/limb_girth.girth/mid_thigh.left/" + PART + "change_difference"].test is None


def test_hc3_is_used_where_the_plan_says_so() -> None:
    theirs = smf.ols("after ~ before + C(g, Treatment('waiting'))", table()).fit(cov_type="HC3", use_t=True)
    found = compared('group_spread = "hc3"').record[GIRTH + "ancova_difference"]
    assert found.method == "ancova_hc3"
    assert found.test.p == pytest.approx(theirs.pvalues["C(g, Treatment('waiting'))[T.trained]"])


def test_randomised_people_need_no_caveat() -> None:
    assert compared(allocation='allocation = "randomised"').record[GIRTH + "ancova_difference"].caveats == ()


@pytest.mark.parametrize("report", ["each group", "all", "both"])
def test_no_change_within_a_group_is_tested(report: str) -> None:
    record = compared(f'report = "{report}"').record
    within = [entry for key, entry in record.entries.items() if key.startswith(("change/", "model/", "sensitivity/"))]
    assert within
    assert not [entry.key for entry in within if entry.test is not None]
    assert not [entry.key for entry in within if entry.key.endswith(("/p_holm", "/p_bh"))]
    assert not [entry.key for entry in within if {"p_cannot_reach", "p_simulated"} & set(entry.caveats)]
    assert record.tables["outcomes"].to_frame()["p"].isna().all()


def test_secondary_differences_are_adjusted_for_their_number(record: Record) -> None:
    rows = record.tables["group_differences"].to_frame().set_index("measure")
    calf, tone = (record[key + "p_holm"].value for key in (SHIN, SPASM))
    p = [record[SHIN + "ancova_difference"].test.p, record[SPASM + "cliff_dominance"].test.p]
    # Holm (1979): the smaller of two p doubled, the larger at least that
    assert sorted([calf, tone]) == pytest.approx([min(2 * min(p), 1), max(min(2 * min(p), 1), max(p))])
    assert GIRTH + "p_holm" not in record.entries
    assert rows.loc["mas.rank", "p_adjusted"] == tone


def test_an_exploratory_difference_is_not_tested() -> None:
    record = compared(tone="exploratory").record
    assert record[SPASM + "cliff_dominance"].test is None
    assert SPASM + "p_holm" not in record.entries
    rows = record.tables["group_differences"].to_frame().set_index("measure")
    assert pd.isna(rows.loc["mas.rank", "p"])


def test_grades_are_compared_by_rank_alone(record: Record) -> None:
    change = -EASED
    trained = np.array(GROUP) == "trained"
    pairs = np.sign(change[trained][:, None] - change[~trained][None, :])
    assert record[SPASM + "cliff_dominance"].value == pytest.approx(pairs.mean())
    assert SPASM + "ancova_difference" not in record.entries
    assert SPASM + "number_needed" not in record.entries


def test_the_number_needed_counts_people_beyond_the_detectable_change(record: Record) -> None:
    mdc = record["reliability/limb_girth.girth/mid_thigh.left/all/-/-/mdc95"].value
    change, trained = np.round(THIGH + GAIN, 1) - THIGH, np.array(GROUP) == "trained"
    shares = [np.mean(change[group] >= mdc - 1e-9) for group in (trained, ~trained)]
    assert record[GIRTH + "share_difference"].value == pytest.approx(shares[0] - shares[1])
    assert record[GIRTH + "number_needed"].value == pytest.approx(1 / (shares[0] - shares[1]))
    interval = record[GIRTH + "share_difference"].interval
    assert record[GIRTH + "number_needed_first_end"].value == pytest.approx(1 / interval.high)


def test_a_group_of_one_is_refused_with_its_count() -> None:
    people = frames()["participants"]
    people.loc[people["group"] == "trained", "group"] = [None] * 11 + ["trained"]
    found = compared(participants=people).record[GIRTH + "ancova_difference"]
    assert found.status == "not estimable"
    assert found.reason == "1 person has both values in group trained; at least 3 are needed"


def test_a_plan_without_groups_has_no_comparison_and_its_tests_stay() -> None:
    text = PLAN.format(analysis="", girth="", tone="secondary", allocation="", more=RATED)
    start, end = text.index("[[groups]]"), text.index("[[visits]]")
    text = (text[:start] + text[end:]).replace('"parallel groups"', '"single arm"')
    tables = frames()
    tables["participants"] = tables["participants"].drop(columns="group")
    record = analyse(Study.from_tables(parse_protocol(text), **tables)).record
    assert "group_differences" not in record.tables
    assert record["change/limb_girth.girth/mid_thigh.left/all/after_minus_before/-/mean"].test is not None


# ----------------------------------------------------------------------------------- what the plan may ask besides


def test_only_the_effect_sizes_of_the_plan_are_given() -> None:
    record = compared('effect_sizes = ["d_before", "d_z"]').record
    key = "change/limb_girth.girth/mid_thigh.left/trained/after_minus_before/-/"
    trained = np.array(GROUP) == "trained"
    change = (np.round(THIGH + GAIN, 1) - THIGH)[trained]
    assert record[key + "d_before"].value == pytest.approx(change.mean() / THIGH[trained].std(ddof=1))
    assert record[key + "d_z"].value == pytest.approx(change.mean() / change.std(ddof=1))
    assert key + "d_av" not in record.entries


def test_percent_is_given_where_asked_for_and_never_of_another_scale() -> None:
    record = compared(girth="percent = true").record
    key = "change/limb_girth.girth/mid_thigh.left/trained/after_minus_before/-/mean_percent"
    trained = np.array(GROUP) == "trained"
    own = 100 * (np.round(THIGH + GAIN, 1) - THIGH)[trained] / THIGH[trained]
    assert record[key].value == pytest.approx(own.mean())
    assert record[key].unit == "%"


def test_what_people_call_important_stands_beside_and_apart_from_the_detectable_change() -> None:
    record = compared(girth=ANCHOR).record
    key = "important/limb_girth.girth/mid_thigh.left/all/after_minus_before/-/"
    assert record[key + "share_important"].value == pytest.approx(np.mean(RATING >= 2))
    assert record[key + "roc"].status == "estimated"
    assert "anchor_follows_state" in record[key + "roc"].caveats
    assert record[key + "half_sd"].value == pytest.approx(THIGH.std(ddof=1) / 2)
    assert record[key + "half_sd"].caveats[0] == "no_anchor"
    assert record[key + "mean_change"].value == pytest.approx(
        (np.round(THIGH + GAIN, 1) - THIGH)[(RATING >= 1) & (RATING <= 3)].mean()
    )
    assert not [name for name in record.entries if name.startswith("important/") and "mdc" in name]


def test_sizes_by_the_spread_alone_need_no_anchor_and_are_none_of_a_grade() -> None:
    record = compared(girth="distribution_based = true").record
    key = "important/limb_girth.girth/mid_thigh.left/all/after_minus_before/-/"
    assert record[key + "half_sd"].value == pytest.approx(THIGH.std(ddof=1) / 2)
    assert key + "roc" not in record.entries
    error = record["reliability/limb_girth.girth/mid_thigh.left/all/-/-/standard_error_agreement"]
    assert record[key + "one_standard_error"].value == pytest.approx(error.value)
    assert record[key + "one_standard_error"].interval is not None


def test_without_ratings_there_is_no_important_change_and_the_reason_says_so() -> None:
    rows = frames()["assessments"]
    found = compared(girth=ANCHOR, assessments=rows[rows["measure"] != "grc"]).record
    key = "important/limb_girth.girth/mid_thigh.left/all/after_minus_before/-/roc"
    assert found[key].reason == "nobody has both values and a rating of Global Rating of Change"


@pytest.mark.parametrize("form", ["classic", "practice adjusted"])
def test_reliable_changes_go_to_the_people_and_their_counts_to_the_record(form: str) -> None:
    analysis = compared(girth=f'reliable_change = "{form}"')
    people = analysis.people["reliable_change"]
    assert len(people) == 24
    off = 0.0 if form == "classic" else np.mean(DRAW2[:8])
    differences = np.round(THIGH + DRAW2, 1)[:8] - THIGH[:8]
    assert people["practice"].iloc[0] == pytest.approx(0.0 if form == "classic" else differences.mean())
    assert off == pytest.approx(people["practice"].iloc[0], abs=1e-9)
    key = "reliable_change/limb_girth.girth/mid_thigh.left/trained/after_minus_before/-/better"
    assert analysis.record[key].value == int(((people["group"] == "trained") & (people["reliable"] == "better")).sum())
    first = people.iloc[0]
    spread = (first["change"] - first["practice"]) / first["index"] / np.sqrt(2)
    if form == "practice adjusted":
        # standard error of consistency of two occasions: SD of the differences over the root of 2 (Hopkins 2000)
        assert spread == pytest.approx(differences.std(ddof=1) / np.sqrt(2))
