"""Scales that an algorithm forms: what a definition must have for one, and what holds for any answers to it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.errors import DefinitionError
from outcomes.measures import Catalogue, Definition, card, score, score_table
from outcomes.measures.algorithms import NAMES, algorithm
from outcomes.measures.catalogue import FOLDER
from outcomes.measures.loading import parse_definition

FEW = settings(max_examples=40, deadline=None)
LEVELS = st.integers(-2, 2)


def changed(file: str, *pairs: tuple[str, str]) -> Definition:
    """Return a packaged definition with some of its text replaced."""
    text = (FOLDER / file).read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_definition(text, file)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("tis.toml", '"algorithm:tis"', '"algorithm:tsi"', "no algorithm 'tsi'; did you mean 'tis'?"),
        ("tis.toml", 'key = "dynamic"', 'key = "dinamic"', "the algorithm tis forms no scale 'dinamic'"),
        ("tis.toml", 'key = "static_3"', 'key = "static_4"', "the algorithm reads the item 'static_3'"),
        ("tis.toml", "codes = [0, 1, 2, 3]", "codes = [0, 1, 2, 4]", "no meaning for the number 4"),
        ("tis.toml", "codes = [0, 1, 2, 3]", "range = [0, 3]", "the algorithm takes codes here"),
        ("tis.toml", "range = [0, 7]", 'range = [0, 7]\nitems = ["static_1"]', "the algorithm tis says what it reads"),
        ("tis.toml", "range = [0, 7]", "range = [0, 7]\nat_least = 2", "the algorithm tis decides it"),
        ("tis.toml", "range = [0, 7]", "range = [0, 7]\nfactor = 2", "the algorithm tis decides the number"),
        ("tis.toml", "[rows]", "[rows]\ntrial = { max = 2 }", "the algorithm has no use for trial"),
        ("gas.toml", "trial = { min = 1, max = 12 }", "", "the algorithm needs trial"),
        ("tis.toml", "[rows]", '[options]\nspeed = "high"\n[rows]', "no option 'speed'"),
        ("ipaq_sf@high_of_vigorous.toml", '"vigorous"\n\n', '"vigorus"\n\n', "did you mean 'vigorous'?"),
    ],
)
def test_a_definition_has_what_its_algorithm_needs(file: str, old: str, new: str, said: str) -> None:
    with pytest.raises(DefinitionError) as refusal:
        changed(file, (old, new))
    assert said in str(refusal.value)


@pytest.mark.parametrize("name", NAMES)
def test_every_algorithm_is_used_by_a_definition_and_says_on_its_card_how_it_decides(name: str) -> None:
    using = [d for d in Catalogue.packaged() if any(scale.rule == f"algorithm:{name}" for scale in d.scales)]
    assert using
    words = " ".join(card(using[0]).split())
    for line in algorithm(name).decisions:
        assert " ".join(line.split()) in words


def test_the_card_names_every_option_with_the_one_that_holds() -> None:
    strict = card(Catalogue.packaged().get("ipaq_sf", "high_of_vigorous"))
    assert "high_1500_of = vigorous" in strict
    assert "high_1500_of = total" in card(Catalogue.packaged().get("ipaq_sf"))


def test_a_value_with_a_name_is_said_by_its_name() -> None:
    week = {"days_vigorous": 3, "min_vigorous": 20, "days_moderate": 0, "days_walk": 0, "wheelchair": "no"}
    scored = score("ipaq_sf", week)
    assert scored.names == {"category": "moderate"}
    assert "category moderate" in scored.summary()
    assert scored.explanations["total"] == "3.3 x 0 min x 0 days + 4 x 0 min x 0 days + 8 x 20 min x 3 days"
    assert Catalogue.packaged().get("ipaq_sf").level_names("category") == ("low", "moderate", "high")


def test_the_explanation_stands_in_the_table_of_scores(frame: Callable[..., pd.DataFrame]) -> None:
    goals = [{"item": "attainment", "response": level, "trial": i} for i, level in enumerate(("0", "1"), start=1)]
    table = score_table("gas", frame(*goals, measure="gas")).set_index("scale")
    assert table.loc["t_achieved", "explanation"] == "T = 56.2: 2 goals at 0, +1, equal weights"
    assert table.loc["t_baseline", "explanation"] == ""
    assert table.loc["t_baseline", "reason"] == "no goal has a level"
    assert table.loc["goals", "cells"] == "assessments/1 assessments/2"


def test_more_readings_than_the_measure_allows_leave_no_score() -> None:
    scored = score("gas", {"attainment": [0] * 13})
    assert scored["t_achieved"] is None
    assert scored.reasons["t_achieved"].startswith("13 readings, at most 12")
    assert scored.explanations == {}


@FEW
@given(levels=st.lists(LEVELS, min_size=1, max_size=6), weight=st.integers(1, 9), order=st.randoms())
def test_equal_weights_cancel_and_the_order_of_goals_does_not_matter(
    levels: list[int], weight: int, order: Any
) -> None:
    plain = score("gas", {"attainment": levels})["t_achieved"]
    other = list(levels)
    order.shuffle(other)
    weighted = score("gas", {"attainment": other, "weight": [weight] * len(levels)})["t_achieved"]
    assert weighted == pytest.approx(plain, abs=1e-9)
    # higher levels never give a lower score
    better = score("gas", {"attainment": [min(level + 1, 2) for level in levels]})["t_achieved"]
    assert better is not None
    assert plain is not None
    assert better >= plain


# sum of the levels to T for equal weights, worked out from the published formula, to one decimal
TABLE = {
    1: {-2: 30.0, -1: 40.0, 0: 50.0, 1: 60.0, 2: 70.0},
    3: {-6: 22.6, -5: 27.2, -4: 31.7, -3: 36.3, -2: 40.9, -1: 45.4, 1: 54.6, 2: 59.1, 3: 63.7, 6: 77.4},
    6: {-12: 19.0, -7: 31.9, -1: 47.4, 1: 52.6, 7: 68.1, 12: 81.0},
}


@pytest.mark.parametrize(("goals", "total"), [(n, total) for n, row in TABLE.items() for total in row])
def test_the_table_of_equal_weights(goals: int, total: int) -> None:
    levels, rest = [], total
    for left in range(goals, 0, -1):
        levels.append(max(-2, min(2, rest))) if left > 1 else levels.append(rest)
        rest -= levels[-1]
    assert score("gas", {"attainment": levels})["t_achieved"] == pytest.approx(TABLE[goals][total], abs=0.05)


@FEW
@given(data=st.data())
def test_what_the_shortcut_skips_counts_as_if_it_had_been_graded(data: st.DataObject) -> None:
    sizes = {"grasp": 6, "grip": 4, "pinch": 6, "gross": 3}
    short, full = {"method": "lyle"}, {"method": "full"}
    for name, size in sizes.items():
        keys = [f"{name}_{i}" for i in range(1, size + 1)]
        way = data.draw(st.sampled_from(["hardest", "easiest", "all"]))
        grades = {
            "hardest": [3] * size,
            "easiest": [0] * size,
            "all": [data.draw(st.integers(0, 2)), *(data.draw(st.integers(1, 3)) for _ in keys[1:])],
        }[way]
        full |= dict(zip(keys, map(str, grades), strict=True))
        asked = {"hardest": 1, "easiest": 2, "all": size}[way]
        short |= dict(zip(keys[:asked], map(str, grades), strict=False))
    assert score("arat", short).scales == score("arat", full).scales


@FEW
@given(data=st.data())
def test_minutes_of_a_day_are_sums_of_their_parts(data: st.DataObject) -> None:
    n = data.draw(st.integers(1, 8))
    draw = lambda *words: [data.draw(st.sampled_from(words)) for _ in range(n)]  # noqa: E731
    bouts = {
        "day": draw(1, 2, 3),
        "minutes": [data.draw(st.integers(0, 150)) for _ in range(n)],
        "intensity": draw("nothing", "mild", "moderate", "heavy"),
        "kind": draw("ltpa", "lifestyle"),
    }
    scored = score("para_sci", bouts)
    value = {key: found for key, found in scored.scales.items() if found is not None}
    for part in ("nothing", "mild", "moderate", "heavy", "total"):
        assert value[f"cumulative_{part}"] == pytest.approx(value[f"ltpa_{part}"] + value[f"lifestyle_{part}"])
    assert 3 * (value["cumulative_total"] + value["cumulative_nothing"]) == pytest.approx(sum(bouts["minutes"]))


@FEW
@given(data=st.data())
def test_more_activity_is_never_a_lower_category(data: st.DataObject) -> None:
    week: dict[str, Any] = {"wheelchair": "no"}
    more = dict(week)
    for kind in ("walk", "moderate", "vigorous"):
        days, minutes = data.draw(st.integers(0, 6)), data.draw(st.integers(0, 250))
        week |= {f"days_{kind}": days, f"min_{kind}": minutes}
        more |= {f"days_{kind}": days + data.draw(st.integers(0, 1)), f"min_{kind}": minutes + 20}
    first, second = score("ipaq_sf", week), score("ipaq_sf", more)
    assert first["category"] is not None
    assert second["category"] is not None
    assert second["category"] >= first["category"]
    assert 0 <= (first["total"] or 0) <= 19278  # 1260 minutes of each kind: the guideline's bound
