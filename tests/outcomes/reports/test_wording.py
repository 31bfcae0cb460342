from __future__ import annotations

import pytest

from outcomes.reports.abstract import Abstract, build_abstract
from outcomes.reports.facts import Facts
from outcomes.reports.sentences import conference_sentences
from outcomes.reports.wording import causal_words, found_words


@pytest.mark.parametrize(
    "text",
    ["girth grew because of cycling", "an effect of training", "It worked; this proves it", "cycling Improved girth",
     "due to the programme", "responders", "a trend towards more", "benefits", "caused"],
)  # fmt: skip
def test_causal_words_are_found(text):
    assert causal_words(text)


@pytest.mark.parametrize("text", ["Girth changed.", "It was associated with change.", "affected limb", "workstation"])
def test_plain_words_are_no_causal_words(text):
    assert not causal_words(text)


def all_text(facts):
    return " ".join(f"{s.text} {s.short}" for s in conference_sentences(facts))


def variants(builder):
    """Yield records of every design and every verdict."""
    yield builder().full().build()
    yield builder(design="single case").full().build()
    yield builder().flow().girth(change=0.2, change_low=-0.9, change_high=1.3, p=0.7).association().build()
    yield builder().flow().girth(change=0.1, change_low=-0.2, change_high=0.4, p=0.6).build()
    yield builder().flow().girth(mdc=None).association(slope=0.5, low=0.2, high=0.8, p=0.01).build()
    yield (
        builder().girth(change=None, change_low=None, change_high=None, p=None, reason="nobody has both values").build()
    )
    yield builder(design="test-retest", compare=[], training=None).retest().rest().build()
    yield builder(**GROUPS).flow(group="arms").girth(group="arms").girth(group="legs").build()


GROUPS = {
    "design": "parallel groups",
    "groups": [
        {"key": "arms", "label": "Arm group", "reference": True},
        {"key": "legs", "label": "Leg group", "reference": False},
    ],
}


def test_no_sentence_of_ours_claims_a_cause(builder):
    for record in variants(builder):
        assert causal_words(all_text(Facts(record))) == []


def test_the_first_line_names_the_design(builder):
    for design, words in (
        ("single arm", "Single-arm"),
        ("parallel groups", "parallel groups"),
        ("test-retest", "Test-retest"),
    ):
        first = conference_sentences(Facts(builder(design=design).full().build()))[0]
        assert words in first.text


def test_a_wide_interval_with_zero_could_not_tell(builder):
    record = builder().girth(change=0.2, change_low=-0.9, change_high=1.3, p=0.7).build()
    text = all_text(Facts(record))
    assert "could not tell whether Limb girth (mid thigh) changed" in text
    assert "mean change 0.2 (95% CI −0.9 to 1.3) cm" in text
    assert "P = 0.70" in text


def test_a_narrow_interval_with_zero_is_told_as_plainly(builder):
    record = builder().girth(change=0.1, change_low=-0.2, change_high=0.4, p=0.6).build()
    text = all_text(Facts(record))
    assert "the interval (−0.2 to 0.4 cm) includes a fall, no change and a rise" in text
    assert "measurement error of one person" not in text


def test_a_p_value_above_alpha_is_no_change_even_where_the_interval_leaves_out_zero(builder):
    record = builder().girth(change=2.0, change_low=0.1, change_high=3.9, p=0.06).build()
    assert "could not tell whether Limb girth (mid thigh) changed: the interval" in all_text(Facts(record))
    assert "leaves out zero, the P value does not" in all_text(Facts(record))


def test_people_are_held_against_the_error_and_the_mean_is_not(builder):
    rise = builder().girth(change=2.0, change_low=1.5, change_high=2.5, p=0.0001)
    text = all_text(Facts(rise.build()))
    assert "larger on average at Week 16 than at Week 0; in 21 of 40 people by at least the measurement error." in text
    fall = builder().girth(
        change=-2.0, change_low=-2.5, change_high=-1.5, p=0.0001, n_better=5, n_within=17, n_other=18
    )
    text = all_text(Facts(fall.build()))
    assert "smaller on average at Week 16 than at Week 0; in 6 of 40 people by at least the measurement error." in text


def test_the_share_by_error_alone_is_said_to_be_of_both_directions(builder):
    assert "(both ways) beyond it" in all_text(Facts(builder().girth().build()))


def test_without_repeats_the_field_that_would_answer_is_named(builder):
    text = all_text(Facts(builder().girth(mdc=None).build()))
    assert (
        "People beyond measurement error: not reported (the table repeats, or minimal_change under [[measures]])"
        in text
    )


def test_groups_without_a_comparison_are_described_and_nothing_is_concluded(builder):
    record = builder(**GROUPS).flow(group="arms").girth(group="arms").girth(group="legs").build()
    text = all_text(Facts(record))
    assert "Mean change of Limb girth (mid thigh): " in text
    assert "in Arm group; " in text
    assert text.count("analysed: 40 in Arm group") == 2
    assert "Difference between groups: not reported" in text
    assert "No conclusion on a difference between groups is possible." in text
    assert "P = " not in text


def test_a_retest_study_says_reliability_and_no_change(builder):
    record = builder(design="test-retest", compare=[], training=None).flow().characteristics().retest().rest().build()
    text = all_text(Facts(record))
    assert "ICC(A,1) 0.94 (95% CI 0.87 to 0.97)" in text
    assert "minimal detectable change 1.11 (95% CI 0.86 to 1.55) cm (n = 24)" in text
    assert "mean change" not in text


def test_an_association_with_zero_in_its_interval_could_not_tell(record):
    assert "Could not tell whether more delivered active time was associated with change" in all_text(Facts(record))


def test_harms_say_how_they_were_asked(builder):
    none = builder(harms_collection="none occurred").harms(0, 0).build()
    assert "Adverse events were asked about; none was reported." in all_text(Facts(none))
    assert "Adverse events were not collected." in all_text(Facts(builder(harms_collection="not collected").build()))
    assert "Adverse events: 9 in fewer than 5 people." in all_text(Facts(builder().harms(9, 3).build()))


def test_few_people_give_no_mean(builder):
    few = builder().girth(people=builder().people[:4]).build()
    text = all_text(Facts(few))
    assert "change not estimable (fewer than 5 people)" in text
    assert "mean change" not in text


def test_the_rule_for_few_people_holds_across_sentence_and_table(builder):
    from outcomes.reports.conference_tables import outcomes

    facts = Facts(builder().full().build())
    text = all_text(facts)
    grades = next(row for row in outcomes(facts).rows if "Ashworth" in row[0])
    assert "grade lower in 12, higher in fewer than 5, of 37 people" in text
    assert grades[6] == "lower 12, the same not shown, higher fewer than 5"


def test_an_author_s_causal_word_is_a_finding(builder):
    abstract = build_abstract(Facts(builder(title="Effect of cycling").full().build()))
    assert any("effect" in line for line in abstract.findings)


def test_a_randomised_study_may_say_effect(builder):
    record = builder(title="Effect of cycling", design="parallel groups", allocation="randomised").full().build()
    assert not any("shows no cause" in line for line in build_abstract(Facts(record)).findings)


def test_words_to_blind_are_found_whole():
    assert found_words("At Riverside, the gym", ["riverside", "gym", "side", " "]) == ["riverside", "gym"]


def test_a_text_with_a_blind_word_is_not_called_blinded(builder):
    report = {"conference": {"words": 250, "headings": ["All"], "blind_words": ["Riverside"]}}
    named = builder(title="Cycling at Riverside", report=report).full().build()
    assert "Not blinded: the text contains Riverside." in build_abstract(Facts(named)).findings
    clean = builder(report=report).full().build()
    text = build_abstract(Facts(clean)).to_text()
    assert "none of the 1 word in blind_words stands in the text" in text


def test_an_abstract_survives_being_written_as_data(record):
    abstract = build_abstract(Facts(record))
    assert Abstract.from_dict(abstract.to_dict()) == abstract


def test_the_first_line_says_how_groups_were_formed(builder):
    randomised = builder(**GROUPS, allocation="randomised").build()
    assert conference_sentences(Facts(randomised))[0].text.startswith("Study of parallel groups, randomised")
    unsaid = build_abstract(Facts(builder(**GROUPS).build()))
    assert ("allocation", "allocation under [study]") in unsaid.missing


def test_what_is_not_reported_is_said_once_for_all_groups(builder):
    record = builder(**GROUPS).girth(group="arms", mdc=None).girth(group="legs", mdc=None).build()
    assert build_abstract(Facts(record)).body.count("People beyond measurement error: not reported") == 1


def test_no_missing_value_is_said(builder):
    assert "No value was missing." in all_text(Facts(builder().flow(enrolled=40, left=0).girth().build()))


def test_a_study_without_training_says_so_once(builder):
    body = build_abstract(Facts(builder(training=None).flow().girth().build())).body
    assert "Training: not reported ([training] in the protocol, and the table sessions)." in body
    assert "Delivered training" not in body


def test_a_dose_of_charge_is_named_before_the_others(builder):
    record = builder(dose_plan={"metrics": ["charge_c"]}).full()
    for statistic, value in (("delivered_sum", 1600.0), ("delivered_mean", 40.0), ("delivered_sd", 8.4)):
        record.put("dose", statistic, value, "C", contrast="week16", exposure="charge_c")
    facts = Facts(record.build())
    assert facts.exposures[0] == "charge_c"
    assert "planned sessions; 40.0 (SD 8.4) C of stimulation charge a person (none planned); 1500" in all_text(facts)
    without = Facts(builder().full().build())
    assert "charge" not in build_abstract(without).body


def test_energy_and_load_say_what_they_assume_and_what_would_answer(builder):
    from outcomes.reports.recorded_tables import load

    columns = ("quantity", "label", "unit", "sessions", "delivered", "people", "mean", "sd", "reason")
    record = builder()
    record.table("internal_load", columns, [
        ("metabolic_energy", "metabolic energy, assumed efficiency 0.08", "kcal", 90, 100, 20, 53.8, 9.1, ""),
        ("sci_met_minutes", "SCI MET-minutes (2.7 mL/kg/min)", "{MET}.min", 3, 100, 2, 66.7, None, ""),
        ("heart_rate_load", "heart-rate load", "1", 0, 100, 0, None, None, "no measured peak; needs vo2peak"),
    ])  # fmt: skip
    table = load(Facts(record.build()))
    assert table.rows[0][:1] == ("Metabolic energy, assumed efficiency 0.08",)
    assert table.rows[0][1:] == ("90 of 100", "20", "53.8 kcal", "9.1")
    assert table.rows[1][1:] == ("not shown", "fewer than 5", "not shown", "not shown")
    assert table.rows[2][3] == "not reported: no measured peak; needs vo2peak"
