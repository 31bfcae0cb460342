"""What must hold for any answers: ranges, refusals, the order of rows, and one score alone as in a table."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes.errors import DataError
from outcomes.measures import Catalogue, Definition, Item, score, score_sets, score_table
from outcomes.vocabulary import ABSENT_WORDS

DEFINITIONS = [pytest.param(definition, id=definition.key) for definition in Catalogue.packaged()]
EVERY_VERSION = [
    pytest.param(Catalogue.packaged().get(current.key, version), id=f"{current.key}-{version}")
    for current in Catalogue.packaged()
    for version in Catalogue.packaged().versions(current.key)
]
LONG = 100
"""Items from which on a form is drawn for fewer people, so that drawing it does not take all the time."""
FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

Frame = Callable[..., pd.DataFrame]


def legal(item: Item) -> st.SearchStrategy[str]:
    """Return texts that the item accepts."""
    if item.free_text:
        return st.sampled_from(["one stick", "frame", "Ω"])
    if item.codes or item.words:
        return st.sampled_from([*item.codes, *item.words])
    assert item.range is not None
    low, high = item.range
    high = min(high, 1e6)
    return st.floats(low, high, allow_nan=False).map(lambda x: repr(min(max(round(x, 2), low), high)))


def answered(definition: Definition, item: Item) -> st.SearchStrategy[tuple[Any, Any]]:
    """Return what `score` takes for one item: an answer, none, or the reason why there is none."""
    one = st.one_of(legal(item).map(lambda text: (text, None)), st.sampled_from(ABSENT_WORDS).map(lambda w: (None, w)))
    one = st.one_of(one, st.just((None, None)))
    if definition.rows.trial is None or item in definition.context:
        return one
    several = st.lists(one, min_size=1, max_size=definition.rows.trial.max + 1)
    return several.map(lambda found: ([text for text, _ in found], [word for _, word in found]))


@st.composite
def people(draw: st.DrawFn, definition: Definition) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return answers and reasons for absence of one person, all of them legal."""
    given_, absent = {}, {}
    for item in definition.items:
        if not draw(st.booleans()) and not definition.rows.trial:
            continue
        text, word = draw(answered(definition, item))
        given_[item.key] = text
        if item in definition.answers:
            absent[item.key] = word
    return given_, absent


@pytest.mark.parametrize("definition", EVERY_VERSION)
@FEW
@given(data=st.data())
def test_a_legal_answer_set_scores_in_range_or_says_why_not(definition: Definition, data: st.DataObject) -> None:
    answers, absent = data.draw(people(definition))
    scored = score(definition, answers, absent=absent)
    for scale in definition.scales:
        value = scored[scale.key]
        if value is None:
            assert scored.reasons[scale.key]
        else:
            assert scale.key not in scored.reasons
            assert math.isfinite(value)
            assert scale.range is None or scale.range[0] <= value <= scale.range[1]
            levels = definition.levels(scale.key)
            assert levels is None or value in levels
        assert scored.items_answered[scale.key] <= scored.items_expected[scale.key]


@pytest.mark.parametrize("definition", EVERY_VERSION)
@FEW
@given(data=st.data())
def test_an_answer_that_is_no_code_is_refused(definition: Definition, data: st.DataObject) -> None:
    item = data.draw(st.sampled_from([item for item in definition.items if not item.free_text]))
    text = data.draw(st.text(min_size=1).filter(lambda t: t.strip() not in ("", "NA", *definition.rows.absent_words)))
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    codes = {*item.codes, *item.words, *item.spellings}
    accepted = text.strip() in codes or (item.range is not None and item.range[0] <= found <= item.range[1])
    if accepted:
        return
    with pytest.raises(DataError) as refusal:
        score(definition, {item.key: text})
    assert [finding.column for finding in refusal.value.findings] == [item.key]


@pytest.mark.parametrize("definition", DEFINITIONS)
@FEW
@given(data=st.data())
def test_alone_and_in_a_table_the_score_is_the_same(
    definition: Definition, frame: Frame, as_rows: Callable[..., Any], data: st.DataObject
) -> None:
    most = 4 if len(definition.items) < LONG else 2
    sets = data.draw(st.lists(people(definition), min_size=1, max_size=most))
    rows = [
        {**row, "participant_id": f"P{number}"}
        for number, (answers, absent) in enumerate(sets)
        for row in as_rows(definition, answers, absent)
    ]
    if not rows:
        return
    order = data.draw(st.permutations(range(len(rows))))
    table = score_table(definition, frame(*(rows[i] for i in order), measure=definition.key))
    table = table.set_index(["participant_id", "scale"])
    for number, (answers, absent) in enumerate(sets):
        scored = score(definition, answers, absent=absent)
        if f"P{number}" not in table.index.get_level_values(0):
            assert not set(answers) & {item.key for item in definition.answers}
            continue
        for scale, value in scored.scales.items():
            row = table.loc[(f"P{number}", scale)]
            assert row["value"] == value or (value is None and math.isnan(row["value"]))
            assert row["reason"] == scored.reasons.get(scale, "")
            assert row["flags"] == "; ".join(scored.flags[scale])
            assert row["variant"] == scored.variant
            assert (row["items_answered"], row["items_expected"]) == (
                scored.items_answered[scale],
                scored.items_expected[scale],
            )


@pytest.mark.parametrize("definition", DEFINITIONS)
@FEW
@given(data=st.data())
def test_the_order_of_the_rows_does_not_matter(
    definition: Definition, frame: Frame, as_rows: Callable[..., Any], data: st.DataObject
) -> None:
    answers, absent = data.draw(people(definition))
    rows = [{**row, "visit": visit} for visit in ("week0", "week4") for row in as_rows(definition, answers, absent)]
    if not rows:
        return
    table = frame(*rows, measure=definition.key)
    shuffled = table.iloc[data.draw(st.permutations(range(len(table))))]
    pd.testing.assert_frame_equal(score_table(definition, shuffled), score_table(definition, table))


@pytest.mark.parametrize("key", ["mas", "psfs", "scim3", "swls"])
@FEW
@given(data=st.data())
def test_sets_of_numbers_score_as_single_answers_do(key: str, data: st.DataObject) -> None:
    definition = Catalogue.packaged().get(key)
    number = {item.key: st.one_of(st.none(), st.sampled_from(list(item.codes))) for item in definition.answers}
    sets = data.draw(st.lists(st.fixed_dictionaries(number), min_size=1, max_size=5))
    columns = {
        item.key: np.array([np.nan if one[item.key] is None else item.codes[one[item.key]] for one in sets])
        for item in definition.answers
    }
    found = score_sets(definition, columns)
    for i, one in enumerate(sets):
        for scale, value in score(definition, one).scales.items():
            np.testing.assert_equal(found[scale][i], np.nan if value is None else value)
