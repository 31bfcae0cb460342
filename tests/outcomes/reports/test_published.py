"""Published results beside a study's own: complete entries, only where asked for, and said to be of other people."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from outcomes.measures import Catalogue
from outcomes.reports import page
from outcomes.reports.facts import Facts
from outcomes.reports.published import beside_published, published

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from showing import shown

STANDING, RESULTS = published()
KNOWN = Catalogue.packaged().keys()
ASKED = {"beside_published": True, "conference": {}, "funder": {}}


@pytest.mark.parametrize("result", RESULTS, ids=[r["key"] for r in RESULTS])
def test_an_entry_says_who_what_where_from_and_what_was_read(result):
    assert {"key", "beside", "population", "training", "result", "source", "seen"} <= set(result) <= {*result, "n"}
    assert all(str(result[name]).strip() for name in result)
    assert set(result["beside"]) <= {*KNOWN, "training", "harms"}
    assert "n" not in result or result["n"] > 0


def test_no_entry_is_there_twice():
    assert len({r["key"] for r in RESULTS}) == len(RESULTS)
    assert len({(r["source"], r["result"]) for r in RESULTS}) == len(RESULTS)


def table_of(**report):
    facts = Facts(RecordBuilder(report=report).full().build())
    return [block.data["table"] for block in beside_published(facts)]


def test_the_study_stands_first_and_others_below_with_the_sentence_that_they_are_others():
    (table,) = table_of(**ASKED)
    topics = [row for row in table["rows"] if row[0] == "this study"]
    assert [row[2] for row in topics] == ["40", "48", "48"]
    assert topics[0][4].startswith("mean change in limb girth (mid thigh): ")
    assert topics[1][4] == "1600 of 2060 (77.7%) planned sessions"
    assert topics[2][4] == "Adverse events: 9 in 7 people."
    assert table["note"] == "These are other people under other conditions. They are no benchmark and no target."
    girth = [r for r in RESULTS if "limb_girth" in r["beside"]]
    assert [row[0] for row in table["rows"][1 : 1 + len(girth)]] == [r["source"] for r in girth]
    assert len(table["rows"]) == 3 + sum(
        {"limb_girth", "training", "harms"} & set(r["beside"]) != set() for r in RESULTS
    )


def test_nothing_stands_there_unless_the_protocol_asks():
    assert table_of(conference={}) == []


@pytest.mark.parametrize("reader", ["conference", "funder"])
def test_it_is_on_the_pages_of_those_who_asked(tmp_path, reader):
    folder = RecordBuilder(report=ASKED).full().write(tmp_path / "study")
    html = page.render(shown(reader, folder), reader)
    assert "Beside published results" in html
    assert STANDING in html
    assert ("Warms et al." in html) == (reader == "conference")


def test_a_measure_without_a_published_result_says_so():
    builder = RecordBuilder(report=ASKED).flow().girth()
    builder.outcomes[0] |= {"measure": "house_measure.score"}
    (block,) = beside_published(Facts(builder.build()), whole=False)
    assert block.data["table"]["rows"] == []
    assert block.data["table"]["note"].startswith("No published result of this measure is packaged.")
