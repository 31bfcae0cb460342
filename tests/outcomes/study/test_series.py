"""What the protocol follows: names that exist, one number for the primary outcome, a rule for both limbs."""

from __future__ import annotations

import pytest

from outcomes.errors import DefinitionError
from outcomes.measures import Catalogue
from outcomes.study import planned_series
from protocols import parse_protocol

HEAD = """
schema = 1
[study]
title = "A test"
design = "single arm"
[harms]
collection = "not collected"
[analysis]
compare = ["before", "after"]
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
"""

GIRTH = """
[[measures]]
measure = "limb_girth"
role = "primary"
places = ["mid_thigh"]
minimal_change = "own"
hoped_for = "increase"
"""


def series_of(measures: str) -> list[str]:
    protocol = parse_protocol(HEAD + measures, "protocol.toml")
    return [series.name for series in planned_series(protocol, Catalogue.packaged())]


def refusal(measures: str) -> str:
    with pytest.raises(DefinitionError) as caught:
        series_of(measures)
    return str(caught.value)


def test_two_limbs_of_an_interval_scale_are_averaged_unless_said() -> None:
    assert series_of(GIRTH) == ["limb_girth.girth/mid_thigh.mean"]


def test_a_single_side_needs_no_rule() -> None:
    assert series_of(GIRTH + 'sides = ["left"]') == ["limb_girth.girth/mid_thigh.left"]


def test_an_unknown_measure_is_refused_with_line_and_near_word() -> None:
    text = refusal(GIRTH.replace('"limb_girth"', '"limb_girt"'))
    line = (HEAD + GIRTH).splitlines().index('measure = "limb_girth"') + 1
    assert (
        text == f"protocol.toml, line {line}, measures[0].measure: no measure 'limb_girt'; did you mean 'limb_girth'?"
    )


@pytest.mark.parametrize(
    ("extra", "key", "words"),
    [
        ('scales = ["girht"]', "scales", "did you mean 'girth'?"),
        ('version = "9"', "version", "'9' is not one of"),
        ('published = "nobody"', "published", "'nobody' is not one of"),
        ('limbs = "worse"', "limbs", "no better direction"),
        ('bands = "mine"', "bands", "none, as this measure has none"),
    ],
)
def test_names_and_rules_that_do_not_fit_are_refused(extra: str, key: str, words: str) -> None:
    measures = GIRTH.replace('minimal_change = "own"', 'minimal_change = "published"') if key == "published" else GIRTH
    text = refusal(measures + extra)
    assert f"measures[0].{key}:" in text
    assert words in text


def test_an_unknown_place_is_refused() -> None:
    assert "measures[0].places: 'mid_tigh' is not one of" in refusal(GIRTH.replace("mid_thigh", "mid_tigh"))


GRADE = '[[measures]]\nmeasure = "mas"\nrole = "secondary"\nplaces = ["knee_extensors"]\n'


def test_two_limbs_of_an_ordinal_scale_need_a_rule_and_are_never_averaged() -> None:
    assert "say how two sides become one" in refusal(GIRTH + GRADE)
    assert "a mean of two grades is no grade" in refusal(GIRTH + GRADE + 'limbs = "mean"')
    assert series_of(GIRTH + GRADE + 'limbs = "worse"')[1] == "mas.rank/knee_extensors.worse"


def test_the_primary_outcome_is_one_number() -> None:
    text = refusal(GIRTH.replace('["mid_thigh"]', '["mid_thigh", "calf_max"]'))
    assert "measures[0].role: the primary outcome is one number; 2 are named" in text


def test_all_faults_are_told_together() -> None:
    text = refusal(GIRTH.replace("limb_girth", "girth") + GRADE)
    assert len(text.splitlines()) == 2
