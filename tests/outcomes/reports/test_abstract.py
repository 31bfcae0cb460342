from __future__ import annotations

import pytest

from outcomes.reports.abstract import arrange, build_abstract, count, fit
from outcomes.reports.facts import Facts
from outcomes.reports.wording import Sentence

MUST_NAMES = ("enrolled", "analysed", "Delivered", "mean change", "Missing", "Adverse events", "1.1 cm", "2.5%")


@pytest.mark.parametrize("limit", [200, 250, 300, 500])
def test_the_abstract_keeps_its_limit(record, limit):
    abstract = build_abstract(Facts(record), word_limit=limit)
    assert len(abstract.body.split()) == abstract.used <= limit
    assert not abstract.to_cut


def test_what_must_be_said_stays_and_the_cut_is_named(record):
    abstract = build_abstract(Facts(record), word_limit=150)
    for words in MUST_NAMES:
        assert words in abstract.body
    assert abstract.used > 150
    assert len(abstract.to_cut) == 4
    assert any(line.startswith(f"Too long by {abstract.used - 150} words") for line in abstract.findings)


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
