from __future__ import annotations

import re

import pytest

from outcomes.reports.abstract import arrange, build_abstract, count, fit
from outcomes.reports.facts import Facts
from outcomes.reports.wording import Sentence
from outcomes.result import Record


@pytest.mark.parametrize("limit", [150, 250, 300, 500])
@pytest.mark.parametrize("study", ["invented record", "cohort"])
def test_the_abstract_keeps_the_limit_of_the_protocol(record, demo, study, limit):
    """Counted as a form counts it: what stands between blanks, headings included (common practice, no source)."""
    if study == "cohort":
        record = Record.from_json(demo[2].to_json())
    record.meta["report"]["conference"] |= {"words": limit, "characters": None}
    abstract = build_abstract(Facts(record))
    assert abstract.limit == limit
    assert 0.8 * limit < len(re.split(r"\s+", abstract.body.strip())) == abstract.used <= limit
    assert not abstract.to_cut
    pasted = abstract.to_text().partition("-" * 20)[0]
    assert abstract.body in pasted
    for words in (
        "control group",
        "enrolled",
        "analysed",
        "Delivered",
        "95% CI",
    ):
        assert words in abstract.body
    assert re.search(r"mean change|leaves out zero", abstract.body)
    assert re.search(r"Missing|No value was missing", abstract.body)
    assert re.search(r"Adverse events", abstract.body)


@pytest.mark.parametrize("limit", [1000, 1500, 2000, 2500])
def test_the_other_form_counts_characters(record, limit):
    record.meta["report"]["conference"] |= {"characters": limit}
    abstract = build_abstract(Facts(record))
    assert (abstract.unit, abstract.limit) == ("characters", limit)
    assert 0.8 * limit < len(abstract.body) == abstract.used <= limit


def test_what_must_be_said_stays_and_the_cut_is_named(record):
    abstract = build_abstract(Facts(record), word_limit=100)
    for words in ("enrolled", "analysed", "Delivered", "mean change", "Missing", "Adverse events", "1.1 cm"):
        assert words in abstract.body
    assert abstract.used > 100
    assert len(abstract.to_cut) == 4
    longest = [int(re.search(r"\((\d+) words\)", one)[1]) for one in abstract.to_cut]
    assert longest == sorted(longest, reverse=True)
    line = next(line for line in abstract.findings if line.startswith(f"Too long by {abstract.used - 100} words"))
    assert all(one in line for one in abstract.to_cut)


@pytest.mark.parametrize(
    ("title", "said"),
    [
        ("Cycling for sixteen weeks", "Title: it does not name the design"),
        ("LEG CYCLING BEFORE AND AFTER", "Title: all in capital letters."),
        ("Before and after " + "very " * 20 + "long", "Title: 24 words, at most 20 are asked for."),
        ("Leg cycling in a gym, a single group before and after", ""),
    ],
)
def test_the_title_is_checked(builder, title, said):
    found = [line for line in build_abstract(Facts(builder(title=title).full().build())).findings if "Title:" in line]
    assert [line for line in found if line.startswith(said)] == found if said else found == []
    assert bool(found) == bool(said)


@pytest.mark.parametrize("word", ["Riverside Gym", "Dr Example", "Exampletown"])
def test_a_name_in_a_blinded_text_is_found_wherever_it_stands(builder, word):
    plan = {"conference": {"words": 900, "blind_words": ["Riverside Gym", "Dr Example", "Exampletown"]}}
    for where in ({"title": f"Before and after at {word}"}, {"statements": {"rationale": f"As {word} says"}}):
        findings = build_abstract(Facts(builder(report=plan, **where).full().build())).findings
        assert f"Not blinded: the text contains {word}." in findings
    clean = build_abstract(Facts(builder(report=plan).full().build())).findings
    assert "Blinding: none of the 3 words in blind_words stands in the text." in clean


def test_the_least_important_goes_first(record):
    abstract = build_abstract(Facts(record), word_limit=250)
    assert abstract.left_out[0] == "training settings"
    assert "dose and change" not in abstract.left_out


def test_nothing_is_cut_where_there_is_room(record):
    abstract = build_abstract(Facts(record), word_limit=1000)
    assert abstract.left_out == abstract.shortened == ()


def test_a_character_limit_counts_blanks(builder):
    report = {"conference": {"characters": 1500, "headings": ["Background", "Methods", "Results", "Conclusion"]}}
    abstract = build_abstract(Facts(builder(report=report).full().build()))
    assert (abstract.unit, abstract.limit) == ("characters", 1500)
    assert len(abstract.body) == abstract.used <= 1500


def test_words_are_what_stands_between_blanks():
    assert count("P = 0.01, n = 12\n\nWord–word", "words") == 7  # as submission forms count; common practice, no source


@pytest.mark.parametrize(
    "headings", [["One"], ["A", "B"], ["A", "B", "C"], ["A", "B", "C", "D"], ["A", "B", "C", "D", "E"]]
)
def test_every_sentence_stands_under_a_heading(record, headings):
    report = {"conference": {"words": 900, "headings": headings}}
    record.meta["report"] = report
    abstract = build_abstract(Facts(record))
    assert [h for h, _ in abstract.sections] == headings
    assert all(text for _, text in abstract.sections)
    assert "Single-arm" in abstract.sections[0][1]
    assert "control group" in abstract.sections[-1][1]


def test_a_sixth_heading_is_left_to_the_author(record):
    record.meta["report"] = {"conference": {"words": 900, "headings": list("ABCDEF")}}
    assert build_abstract(Facts(record)).sections[-1] == ("F", "Not reported.")


def test_fit_puts_back_what_fits_again():
    sentences = [
        Sentence("a", "results", "one two three four five six", short="one two"),
        Sentence("b", "results", "seven eight", 1),
        Sentence("c", "results", "nine " * 20, 5),
    ]
    kept, left_out, shortened = fit(sentences, ["R"], "words", 9)
    assert [s.name for s in kept] == ["a", "b"]
    assert left_out == ("c",)
    assert shortened == ()


def test_sentences_keep_their_order():
    sentences = [
        Sentence("x", "results", "First."),
        Sentence("y", "background", "Zero."),
        Sentence("z", "results", "Second."),
    ]
    texts = [text for _, text in arrange(sentences, ["A", "M", "R", "C"])]
    assert texts == ["Zero.", "Not reported.", "First. Second.", "Not reported."]


def test_every_page_note_is_there(builder):
    frozen = {"on": "2026-01-05", "changed": True}
    choices = [{"key": "analysis.alpha", "protocol": "0.05", "used": "0.1"}]
    text = build_abstract(Facts(builder(frozen=frozen, changed_choices=choices).full().build())).to_text()
    alpha = "Differs from protocol: analysis.alpha: 0.1 (protocol: 0.05)"
    frozen_on = "changed after freezing on 2026-01-05"
    for words in ("Synthetic data", "data until 2026-03-01", "outcomes 0.1.0", "No medical device", alpha, frozen_on):
        assert words in text


def test_real_data_are_not_called_synthetic(builder):
    assert "Synthetic" not in build_abstract(Facts(builder(synthetic=False).full().build())).to_text()


def test_an_empty_record_says_what_is_not_reported(builder):
    abstract = build_abstract(Facts(builder(training=None, question=None, harms_collection="table").build()))
    answers = " ".join(answer for _, answer in abstract.missing)
    for field in (
        "[training]",
        "question under [study]",
        "eligibility",
        "participants",
        "compare under [analysis]",
        "events",
    ):
        assert field in answers


def test_another_outcome_than_the_primary_is_said(record):
    facts = Facts(record, measure="mas")
    grade = "Modified Ashworth Scale (knee extensors, worse side)"
    assert facts.changed_choices == [f"outcome: {grade} (protocol: secondary, not the primary outcome)"]
    assert "grade lower in 12" in build_abstract(facts).body
