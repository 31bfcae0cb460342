"""The list of measures and the card of one."""

from __future__ import annotations

import pytest

from outcomes.measures import Catalogue, Definition, card, listing
from outcomes.measures.cards import WIDTH

DEFINITIONS = [pytest.param(definition, id=definition.key) for definition in Catalogue.packaged()]


@pytest.mark.parametrize("definition", DEFINITIONS)
def test_a_card_holds_all_that_is_known_of_a_measure(definition: Definition) -> None:
    text = card(definition)
    flat = " ".join(text.split())
    assert definition.title in flat
    assert definition.source in flat
    assert definition.licence in flat
    for part in (*definition.items, *definition.scales, *definition.published):
        assert f" {part.key}: " in flat or f" {part.key}, " in flat  # items that are answered alike stand together
    for value in definition.published:
        assert f"({value.source}) [{value.status}]" in flat
    for trap in definition.traps:
        assert trap in flat
    for band in definition.bands:
        assert band.label in flat
    assert max(len(line) for line in text.split("\n")) <= WIDTH


def test_the_card_of_a_graded_measure_says_what_each_grade_counts() -> None:
    text = " ".join(card(Catalogue.packaged().get("mas")).split())
    assert "grade: one of 0, 1, 1+, 2, 3, 4 (counted as 0, 1, 2, 3, 4, 5)" in text
    assert "rank: 0 to 5 points (ordinal; lower is better, the main scale): the number of grade" in text
    assert "half: 0 to 4 points (ordinal; lower is better): grade recoded: 0 = 0, 1 = 1, 1+ = 1.5" in text


def test_the_card_of_readings_says_how_they_become_one() -> None:
    text = " ".join(card(Catalogue.packaged().get("limb_girth")).split())
    assert "readings: 2 to 3 (fewer are flagged); mean of the readings, median where they lie more than 1 apart" in text
    assert "mid_thigh usually 35 to 70 cm" in text
    walk = " ".join(card(Catalogue.packaged().get("tenmwt")).split())
    assert "speed: 0 to 3 m/s (ratio; higher is better, the main scale): distance_timed / time of each reading" in walk
    assert "unable counts as 0" in walk
    assert "distance_timed: 4 to 20 m; usually 6 to 10 m; 10 m where not given" in walk


def test_the_card_says_when_an_item_is_asked() -> None:
    assert "severity: one of 1, 2, 3; asked only if frequency is above 0" in card(Catalogue.packaged().get("psfs"))


def test_the_list_holds_every_measure_or_those_with_a_word() -> None:
    catalogue = Catalogue.packaged()
    assert [row["key"] for row in listing(catalogue)] == list(catalogue.keys())
    assert "tenmwt" in [row["key"] for row in listing(catalogue, "walking speed")]
    assert "swls" in [row["key"] for row in listing(catalogue, "Quality_of life")]
    assert listing(catalogue, "no such word") == []
    assert all(all(row.values()) for row in listing(catalogue))


def test_the_card_says_what_a_part_is_counted_with_and_where_no_score_is_formed() -> None:
    catalogue = Catalogue.packaged()
    assert "sum of 1 x r2, -1 x r1; a missing answer leaves no score" in " ".join(card(catalogue.get("mts")).split())
    text = " ".join(card(catalogue.get("adfsci")).split())
    assert "sum of ad_frequency_1 x ad_severity_1, ad_frequency_2 x ad_severity_2" in text
    assert "NO SCORE IS FORMED: numbers of items and maxima (7 and 5 symptoms) are from memory" in text
    stroke = " ".join(card(catalogue.get("nihss")).split())
    assert "arm_left: one of 0, 1, 2, 3, 4; may be left out where not tested" in stroke
    assert "gaze: one of 0, 1, 2; never left out" in stroke
