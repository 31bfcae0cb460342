"""The funder's pages: plain, traced, two pages long, never empty and never more than the design can carry."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from outcomes.errors import UsageError
from outcomes.reports import funder_sentences as say
from outcomes.reports import page
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.pdf import pdf
from outcomes.reports.wording import causal_words

sys.path.insert(0, str(Path(__file__).parent))
from conftest import CONTRAST, RecordBuilder, invented_people
from pdf_text import read_pdf
from showing import plain_text, shown
from tracing import untraced

COSTS = [
    {"label": "Staff", "amount": 41600.0, "currency": "EUR"},
    {"label": "Pads", "amount": 5150.0, "currency": "EUR"},
]
JARGON = (
    "confidence interval", "CI", "MDC", "minimal detectable", "P =", "P <", "SD", "baseline", "primary outcome",
    "participants", "adverse", "kJ", "adherence", "effective", "proves", "significant", "responders", "suffering",
    "wheelchair-bound", "trend towards", "no effect",
)  # fmt: skip


def counted_together(record) -> list[int]:
    """Return the sums of counts that a page may print as one: classes of change, levels, reasons."""
    sums = []
    for row in rows_of(record, "outcomes"):
        parts = [row[k] or 0 for k in ("n_better", "n_within", "n_other")]
        rest = 48 - row["n"]
        sums += [sum(parts[:2]), sum(parts[1:]), parts[1] + rest, sum(parts[1:]) + rest, rest]
    for name in ("sex", "condition"):
        counts = [r["n"] for r in rows_of(record, "participants") if r["characteristic"] == name and r["level"]]
        sums += [sum(counts), 48 - sum(counts), *(a + b for a in counts for b in counts)]
    reasons = [r["n"] for r in rows_of(record, "left")]
    return [*sums, sum(reasons), *(a + b for a in reasons for b in reasons)]


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Return builder, folder and executed notebook of the full invented record."""
    report = {"conference": {}, "funder": {"paper": "A4", "costs": COSTS}}
    builder = RecordBuilder(report=report).full()
    folder = builder.write(tmp_path_factory.mktemp("funder") / "study")
    return builder.build(), folder, shown("funder", folder)


def texts(notebook) -> tuple[str, str]:
    return plain_text(page.render(notebook, "funder"), details=True), read_pdf(pdf(notebook, "funder")).text


@pytest.mark.parametrize("public", [False, True])
def test_every_number_of_both_forms_is_in_the_record(study, public):
    record, folder, _ = study
    for text in texts(shown("funder", folder, public=public)):
        text = re.sub(r"\d / \d(?= |$)", " ", text)
        assert untraced(text, record, public=public, more=counted_together(record)) == []


def test_it_is_two_pages_on_both_papers(study):
    for paper, size in (("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))):
        found = read_pdf(pdf(shown("funder", study[1], paper=paper), "funder"))
        assert len(found.pages) == 2
        assert found.sizes[0] == pytest.approx(size, abs=0.01)


def test_the_pdf_is_tagged_titled_and_tells_its_pictures(study):
    found = read_pdf(pdf(study[2], "funder"))
    assert found.tagged
    assert found.language == "en"
    assert found.title == study[0].meta["title"]
    assert {"H1", "Table", "TH", "TD", "Figure", "P"} <= set(found.tags)
    assert len(found.alternatives) == found.tags.count("Figure") == 2
    assert found.alternatives[0].startswith("Limb girth (mid thigh): ")
    assert found.fonts_inside


def test_the_same_notebook_gives_the_same_bytes(study):
    assert pdf(study[2], "funder", until="2026-03-01") == pdf(study[2], "funder", until="2026-03-01")


def test_every_page_says_synthetic_and_the_caution(study):
    for text in read_pdf(pdf(study[2], "funder")).pages:
        assert "Synthetic data" in text
        assert "No medical device; gives no individual advice" in text


def sentences(facts):
    lines = [*say.lead(facts), *say.reach(facts), *say.stay(facts), *say.harms(facts)]
    lines += [*say.costs(facts), *say.cannot_tell(facts)]
    return [s for line in lines for s in re.split(r"(?<=[.?!])\s+(?=[A-Z])", line) if s]


def syllables(word: str) -> int:
    """Return the syllables of a word: its groups of vowels, without a silent e at its end."""
    word = re.sub(r"(?<=[^aeiouyl])e$|(?<=[^aeiouyltd])ed$|(?<=[^aeiouysxz])es$", "", word.lower())
    return max(1, len(re.findall(r"[aeiouy]+", word)))


def grade(lines) -> float:
    """Return the Flesch-Kincaid grade: 0.39 words/sentences + 11.8 syllables/words - 15.59 (Kincaid et al. 1975)."""
    words = [w for line in lines for w in re.findall(r"[A-Za-z]+", line)]
    return 0.39 * len(words) / len(lines) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


RECORDS = {
    "full": lambda: RecordBuilder(report={"funder": {"costs": COSTS}}).full(),
    "no error known": lambda: RecordBuilder().flow().characteristics().girth(mdc=None).dose().harms(0, 0).rest(),
    "could not tell": lambda: RecordBuilder().flow().girth(
        people=[{**p, "change": p["change"] - 1.2, "after": p["after"] - 1.2} for p in invented_people()], p=0.8
    ).harms(),
}  # fmt: skip


@pytest.mark.parametrize("name", RECORDS)
def test_a_reader_of_grade_eight_can_read_it(name):
    facts = Facts(RECORDS[name]().build())
    found = sentences(facts)
    assert grade(found) <= 8.0
    assert max(len(s.split()) for s in found) <= 26


@pytest.mark.parametrize("name", RECORDS)
def test_it_claims_no_cause_and_speaks_no_jargon(name):
    text = " ".join(sentences(Facts(RECORDS[name]().build())))
    assert [w for w in causal_words(text) if w != "because"] == []
    assert [w for w in JARGON if re.search(rf"(?<!\w){re.escape(w)}(?!\w)", text)] == []


def test_a_hidden_outcome_is_said_and_totals_remain():
    people = invented_people(12)
    builder = RecordBuilder().flow(enrolled=14, left=2, analysed=12).girth(people=people).delivery(14).harms(2, 2)
    facts = Facts(builder.build(), public=True)
    text = " ".join(say.lead(facts))
    assert "is not shown, because some counts are fewer than 11 people" in text
    assert "What may be shown are totals: 14 people took part; 1600 sessions were delivered; 800 hours" in text
    assert "Unwanted events: fewer than 11" in " ".join(say.harms(facts))


def test_three_people_give_a_page_that_says_so(tmp_path):
    builder = RecordBuilder().flow(enrolled=3, left=1, analysed=2).girth(people=invented_people(2)).delivery(3)
    folder = builder.harms(0, 0).rest().write(tmp_path / "study")
    text, printed = texts(shown("funder", folder))
    for found in (text, printed):
        assert "is not shown. It was measured both times in fewer than 5 people" in found
        assert "None was reported" in found
        assert "fewer than 5 people took part" in found.lower()


@pytest.mark.parametrize(
    ("collection", "events", "words"),
    [("not collected", None, "No one kept a record of harm"), ("table", 0, "None was reported"),
     ("table", None, "Harm: not reported (collection under [harms], and the table events)")],
)  # fmt: skip
def test_harm_is_always_spoken_of(collection, events, words):
    builder = RecordBuilder(harms_collection=collection).flow().girth()
    if events is not None:
        builder.harms(events, events)
    assert words in " ".join(say.harms(Facts(builder.build())))


def test_costs_show_their_sums(study):
    text = " ".join(say.costs(Facts(study[0])))
    assert "41,600 + 5150 = 46,750 EUR" in text
    assert "46,750 / 1600 sessions = 29.22 EUR" in text
    assert "no sum is made" in " ".join(
        say.costs(
            Facts(RecordBuilder(report={"funder": {"costs": [COSTS[0], {**COSTS[1], "currency": "USD"}]}}).build())
        )
    )
    assert "[[report.funder.costs]]" in " ".join(say.costs(Facts(RecordBuilder().build())))


def test_invented_costs_are_called_invented(study):
    record, _, notebook = study
    assert "Costs, invented like the data: Staff: 41,600 EUR" in texts(notebook)[1]
    record = RecordBuilder(report={"funder": {"costs": COSTS}}, synthetic=False).full().build()
    assert next(say.costs(Facts(record))).startswith("Costs named by the clinic: Staff: 41,600 EUR")


def test_the_table_says_what_counts_as_a_change(study):
    (table,) = (b["table"] for b in page.blocks_of(study[2]) if b["kind"] == "table" and b["name"] == "outcomes")
    assert [row[:2] for row in table["rows"]] == [
        ["Limb girth (mid thigh) (main result)", "1.1 cm or more"],
        ["Modified Ashworth Scale (knee extensors)", "any step"],
    ]


def test_a_name_stands_small_inside_a_sentence(study):
    assert say.lead(Facts(study[0]))[0].startswith("On average, limb girth (mid thigh) was ")


def test_a_record_without_a_primary_estimate_says_what_would_answer():
    lead = say.lead(Facts(RecordBuilder().flow().build()))
    assert lead == ['The main result: not reported (compare under [analysis] and role = "primary").']


def test_weeks_with_too_few_people_are_joined(study):
    from outcomes.reports.funder import months_shown

    builder = RecordBuilder().flow().delivery(people=7)
    rows = months_shown(Facts(builder.build()))
    assert [(r["first_week"], r["last_week"], r["people"]) for r in rows] == [(1, 4, 6), (5, 16, 5)]
    assert rows[1]["delivered_sessions"] == 406.0 + 394.0 + 382.0


def test_published_results_stand_beside_only_when_asked_for(study):
    _, folder, notebook = study
    assert "Beside published results" not in page.render(notebook, "funder")
    builder = RecordBuilder(report={"beside_published": True, "funder": {}}).full()
    asked = shown("funder", builder.write(folder.parent / "asked"))
    html = page.render(asked, "funder")
    assert "These are other people under other conditions" in html
    assert "Fornusek et al. (2013)" in html


def test_a_participant_cannot_be_named_here(study):
    with pytest.raises(UsageError, match="the funder's report is about all of them"):
        shown("funder", study[1], who="P01")


def test_the_contrast_is_the_protocols(study):
    assert Facts(study[0]).contrast_part == CONTRAST
