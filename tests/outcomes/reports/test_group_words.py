"""What a report says of groups: the difference and its limit, never that one changed and the other did not."""

from __future__ import annotations

import math

import pytest

from outcomes.analysis.groups import COLUMNS
from outcomes.change import number_needed_to_treat
from outcomes.reports.abstract import build_abstract
from outcomes.reports.asked_tables import important, reliable, sizes
from outcomes.reports.change_sentences import p_words
from outcomes.reports.conference_tables import outcomes
from outcomes.reports.facts import Facts
from outcomes.reports.group_sentences import plain_difference
from outcomes.reports.group_tables import groups
from outcomes.reports.sentences import conference_sentences
from outcomes.reports.wording import causal_words

CONTRAST = "week16_minus_week0"
PARALLEL = {
    "design": "parallel groups",
    "allocation": "randomised",
    "groups": [
        {"key": "trained", "label": "Trained", "reference": False, "trained": True},
        {"key": "waiting", "label": "Waiting", "reference": True, "trained": False},
    ],
}


def row(**more):
    needed = number_needed_to_treat(14, 20, 6, 20)
    found = {
        **dict.fromkeys(COLUMNS), "key": "groups/limb_girth.girth/mid_thigh.mean/trained_minus_waiting/"
        f"{CONTRAST}/-/ancova_difference", "measure": "limb_girth.girth", "place": "mid_thigh.mean",
        "label": "Limb girth (mid thigh, mean of both sides)", "role": "primary", "group": "trained",
        "reference": "waiting", "contrast": CONTRAST, "unit": "cm", "level": "ratio", "better": "neither",
        "words_better": "larger", "n": 40, "n_group": 20, "n_reference": 20, "method": "ancova", "difference": 1.31,
        "low": 0.42, "high": 2.2, "p": 0.0051, "change_difference": 1.25, "change_low": 0.33, "change_high": 2.17,
        "size": 0.31, "size_low": 0.05, "size_high": 0.57, "size_name": "d_ppc2", "better_group": 14,
        "better_reference": 6, "share_difference": needed.difference.value, "share_low": needed.difference.interval.low,
        "share_high": needed.difference.interval.high, "needed": needed.number.value, "needed_first": needed.ends[0],
        "needed_last": needed.ends[1],
    }  # fmt: skip
    return {**found, **more}


def facts(builder, *rows, **meta):
    made = builder(**{**PARALLEL, **meta})
    made.girth(group="trained", people=made.people[:20]).girth(group="waiting", people=made.people[20:])
    made.table("group_differences", tuple(COLUMNS), [[one[c] for c in COLUMNS] for one in rows or (row(),)])
    return Facts(made.build())


def text_of(found):
    return " ".join(f"{s.text} {s.short}" for s in conference_sentences(found))


def test_the_difference_is_said_with_interval_p_and_people(builder):
    text = text_of(facts(builder))
    assert (
        "Limb girth (mid thigh), Trained minus Waiting at Week 16, given the first value (analysis of covariance): "
        "1.3 (95% CI 0.4 to 2.2) cm, P = 0.0051 (n = 20 and 20)."
    ) in text
    assert "Limb girth (mid thigh) was larger in Trained than in Waiting at Week 16, given the first value." in text


def test_no_change_within_a_group_is_tested_or_concluded_from(builder):
    found = facts(builder)
    assert [p_words(found, one) for one in found.rows] == ["", ""]
    assert {cells[5] for cells in outcomes(found).rows} == {"not tested"}
    said = [s for s in conference_sentences(found) if s.section == "conclusion"]
    assert said
    assert not [s for s in said if " than at Week 0" in s.text or "changed" in s.text]
    (within,) = [s.text for s in conference_sentences(found) if "Mean change" in s.text]
    assert within.count("(n = 20)") == 2
    assert " in Trained; " in within
    assert "P " not in within


def test_a_difference_that_may_be_none_could_not_be_told(builder):
    text = text_of(facts(builder, row(difference=0.3, low=-0.6, high=1.2, p=0.5)))
    assert "The study could not tell whether Limb girth (mid thigh) differed between Trained and Waiting" in text
    assert "the interval (−0.6 to 1.2 cm) includes no difference" in text


@pytest.mark.parametrize(
    ("allocation", "limit"),
    [("not randomised", "people were not randomised"), (None, "is not reported, so the groups may differ")],
)
def test_without_chance_the_limit_is_said(builder, allocation, limit):
    assert limit in text_of(facts(builder, allocation=allocation))
    assert "Limit:" not in text_of(facts(builder))


def test_a_number_needed_that_may_be_harm_runs_through_infinity_on_the_page(builder):
    needed = number_needed_to_treat(8, 20, 6, 20)
    wide = row(
        better_group=8, better_reference=6, share_difference=0.1, share_low=needed.difference.interval.low,
        share_high=needed.difference.interval.high, needed=needed.number.value, needed_first=needed.ends[0],
        needed_last=needed.ends[1],
    )  # fmt: skip
    cell = groups(facts(builder, wide)).rows[0][6]
    assert cell == needed.summary()
    assert "to infinity to NNTH" in cell
    assert "number needed NNTB 10.0 (NNTB" in text_of(facts(builder, wide))


def test_an_end_of_infinity_is_a_word(builder):
    end = row(share_low=0.0, needed_last=None)
    assert groups(facts(builder, end)).rows[0][6].endswith(" to infinity)")
    assert "inf " not in groups(facts(builder, end)).rows[0][6]
    assert not math.isinf(row()["needed_first"])


def test_few_people_beyond_error_give_no_number_needed(builder):
    few = row(better_reference=2)
    assert groups(facts(builder, few)).rows[0][6] == "not shown"
    assert "number needed" not in text_of(facts(builder, few))


def test_a_small_group_is_not_shown(builder):
    small = row(n_group=3)
    assert groups(facts(builder, small)).rows[0][1:4] == ("fewer than 5", "not shown", "not shown")
    assert "not shown (fewer than 5 people in a group)" in text_of(facts(builder, small))


def test_a_refused_difference_says_why(builder):
    refused = row(difference=None, low=None, high=None, p=None, reason="1 person has both values in group trained")
    found = facts(builder, refused)
    assert "not estimable (1 person has both values in group trained)" in text_of(found)
    assert "The difference between Trained and Waiting could not be estimated." in text_of(found)
    assert groups(found).rows[0][2] == "not estimable: 1 person has both values in group trained"


def test_no_sentence_about_groups_claims_a_cause(builder):
    for one in (row(), row(difference=-1.0, low=-2.0, high=-0.1), row(difference=0.1, low=-1.0, high=1.2)):
        assert causal_words(text_of(facts(builder, one, allocation="not randomised"))) == []


def test_the_abstract_of_groups_keeps_the_difference_when_it_is_short(builder):
    report = {"conference": {"words": 60, "headings": ["All"], "blind_words": []}}
    assert "Trained minus Waiting" in build_abstract(facts(builder, report=report)).body


def test_the_funder_reads_the_difference_in_plain_words_and_no_verdict_on_one_group(builder):
    from outcomes.reports.funder_sentences import cannot_tell, lead

    found = facts(builder, allocation="not randomised")
    text = " ".join(lead(found))
    assert "Compared with Waiting, limb girth (mid thigh) was 1.3 cm larger in Trained at Week 16" in text
    assert "The true difference is likely to lie between 0.4 and 2.2 cm." in text
    wide = facts(builder, row(difference=0.3, low=-0.6, high=1.2, p=0.5))
    assert "We could not tell whether limb girth (mid thigh) differed between Trained and Waiting" in plain_difference(
        wide
    )
    assert "could not tell whether limb girth (mid thigh) changed" not in " ".join(lead(wide))
    assert "Only the difference between the groups can." in " ".join(cannot_tell(found))
    assert "Chance did not decide who was in which group" in " ".join(cannot_tell(found))


def test_a_study_without_groups_has_no_such_table(builder):
    assert groups(Facts(builder().full().build())).rows == ()


# ------------------------------------------------------------------------------------------- what a plan asks for


def asked(builder):
    parts = {"measure": "limb_girth.girth", "place": "mid_thigh.mean", "contrast": CONTRAST}
    made = builder().girth()
    made.put("change", "d_z", 0.74, interval=(0.4, 1.1), **parts)
    made.put("important", "roc", 1.5, "cm", interval=(0.8, 2.1), **parts)
    for statistic, value in (
        ("better", 18),
        ("within", 20),
        ("other", 2),
        ("share_better", 0.45),
        ("share_other", 0.05),
    ):
        interval = (value - 0.04, value + 0.2) if statistic.startswith("share") else None
        made.put("reliable_change", statistic, value, interval=interval, **parts)
    return Facts(made.build())


def test_sizes_important_and_reliable_change_have_tables_where_the_record_has_them(builder):
    found = asked(builder)
    assert sizes(found).rows == (("d_z", "40", "0.74 (0.40 to 1.10)"),)
    assert important(found).rows == (("roc", "40", "1.5 (0.8 to 2.1) cm"),)
    assert "Not the minimal detectable change" in important(found).note
    assert sizes(Facts(builder().girth().build())).rows == ()


def test_a_reliable_change_of_few_people_is_not_shown(builder):
    rows = reliable(asked(builder)).rows
    assert rows[0][2] == "18 people; share 0.45 (0.41 to 0.65)"
    assert rows[1][2] == "not shown"
