from __future__ import annotations

import pytest

from outcomes.reports.facts import Facts
from outcomes.reports.tables import Table, html_table


def test_a_table_has_caption_and_scopes():
    text = html_table(Table.build("Outcomes", ("Name", "n"), [("girth", "12")]), prefix="Table 1")
    assert "<caption><b>Table 1.</b> Outcomes</caption>" in text
    assert '<th scope="col">Name</th><th scope="col" class="num">n</th>' in text
    assert '<th scope="row">girth</th><td class="num">12</td>' in text


def test_every_text_is_escaped():
    text = html_table(Table.build("<b>&", ("<i>", '"'), [("<script>alert(1)</script>", "x")], note="<u>"))
    for piece in ("<script", "<i>", "<u>", "<b>&"):
        assert piece not in text


def test_an_empty_cell_must_say_why():
    with pytest.raises(ValueError, match="empty cell"):
        Table.build("c", ("a", "b"), [("x", "")])
    with pytest.raises(ValueError, match="1 cells under 2"):
        Table.build("c", ("a", "b"), [("x",)])


def test_a_table_without_rows_says_so():
    assert html_table(Table.build("Adverse events", ("a",), [])) == "<p>Adverse events: no rows.</p>"


def test_a_table_survives_being_written_as_data():
    table = Table.build("c", ("a", "b"), [("x", "y")], note="n")
    assert Table.from_dict(table.to_dict()) == table


def test_every_table_can_be_built_from_a_full_and_from_an_empty_record(builder):
    from outcomes.reports.conference import TABLES

    for record in (builder().full().build(), builder().build()):
        for build in TABLES.values():
            assert build(Facts(record)).caption


def test_an_exploratory_outcome_is_not_tested(builder):
    from outcomes.reports.conference_tables import outcomes

    row = outcomes(Facts(builder().girth(role="exploratory").build())).rows
    assert row[0][5] == "not tested"


def test_a_measure_whose_rule_is_from_memory_says_so_beside_its_source(builder):
    from outcomes.reports.conference_tables import measures

    girth, ashworth = measures(Facts(builder().full().build())).rows
    assert girth[-1] == "An invented source (2020)"
    assert ashworth[-1] == "Another invented source (1999) [from memory, check before use: the grades]"


def test_a_long_source_keeps_what_is_from_memory():
    from outcomes.reports.facts import source_of

    row = {"source": "x" * 300, "status": "MEMORY"}
    assert source_of(row, 200).endswith(" [from memory, check before use]")
    assert source_of(row | {"status": "VERIFIED"}, 200).endswith("x…")
    told = source_of({"source": "A", "status": "VERIFIED", "from_memory": "the bands"}, 200)
    assert told == "A [from memory, check before use: the bands]"


def test_scores_with_a_mark_are_counted_below_the_measures(builder):
    from outcomes.reports.conference_tables import measures

    note = measures(Facts(builder().full().build())).note
    assert note == "Scores with a mark: mas rank, total typed: all but fewer than 5 of 24 people."
