"""The invented cohort, the whole way to its page: what the record of a real analysis says is what is printed."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import lxml.html
import pytest

from outcomes.reports import conference, page
from outcomes.reports.abstract import build_abstract
from outcomes.reports.facts import Facts
from outcomes.reports.wording import causal_words

sys.path.insert(0, str(Path(__file__).parent))
from test_page import executed
from tracing import untraced


@pytest.fixture(scope="module")
def cohort(demo):
    """Return folder, record and executed notebook of a cohort of 30 invented people."""
    folder, _, record = demo
    with pytest.MonkeyPatch.context() as patch:
        return folder, record, executed(folder, patch)


def plain_text(html):
    tree = lxml.html.fromstring(html)
    for part in tree.xpath("//style | //details | //head"):
        part.drop_tree()
    tree.xpath("//div[b='Length']/span")[0].drop_tree()
    return re.sub(r"(Figure|Table) \d+", "", " ".join(" ".join(tree.itertext()).split()))


def test_every_number_of_the_page_is_in_the_record(cohort):
    _, record, notebook = cohort
    assert untraced(plain_text(page.render(notebook, "conference")), record) == []


@pytest.mark.parametrize("limit", [250, 300, 500])
def test_the_abstract_fits_and_claims_no_cause(cohort, limit):
    facts = Facts(cohort[1])
    abstract = build_abstract(facts, word_limit=limit)
    assert abstract.used <= limit
    assert untraced(abstract.body, cohort[1]) == []
    ours = abstract.body
    for words in (facts.meta["question"], *facts.statements.values()):
        ours = ours.replace(words, "")
    assert causal_words(ours) == []


def test_every_figure_is_drawn_and_named_once(cohort):
    figures = [b for b in page.blocks_of(cohort[2]) if b["kind"] == "figure"]
    names = [figure["name"] for figure in figures]
    assert len(names) == len(set(names))
    assert {
        "paired_change",
        "change_against_error",
        "participant_flow",
        "dose_over_weeks",
        "dose_against_change",
    } <= set(names)
    assert all(figure["svg"] and figure["png"] and figure["missing_glyphs"] == "" for figure in figures)


def test_every_outcome_of_the_record_is_a_row_of_the_table(cohort):
    outcomes = conference.TABLES["outcomes"](Facts(cohort[1]))
    assert len(outcomes.rows) == len(cohort[1].tables["outcomes"].rows)
