"""Tables become matrices without averaging or losing anything."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from outcomes.errors import DesignError
from outcomes.matrices import all_equal, as_matrix, complete_matrix, finite_vector, paired, snapped

LONG = pd.DataFrame(
    {
        "who": ["b", "a", "c", "b", "a", "c"],
        "when": ["2", "1", "1", "1", "2", "2"],
        "cm": [42.0, 50.0, 47.0, 41.0, 51.0, np.nan],
    }
)


def spread(table: pd.DataFrame):
    return as_matrix(table, rows="who", columns="when", values="cm")


def test_rows_and_columns_are_sorted_and_missing_cells_stay_empty() -> None:
    found = spread(LONG)
    assert found.rows == ("a", "b", "c")
    assert found.columns == ("1", "2")
    np.testing.assert_array_equal(found.values, [[50, 51], [41, 42], [47, np.nan]])


def test_who_lacks_an_occasion_is_named_and_counted() -> None:
    found = spread(LONG)
    assert found.incomplete == ("c",)
    assert found.n_incomplete == 1
    np.testing.assert_array_equal(found.complete(), [[50, 51], [41, 42]])


def test_an_absent_row_and_an_empty_cell_are_the_same() -> None:
    np.testing.assert_array_equal(spread(LONG.dropna()).values, spread(LONG).values)


def test_the_order_of_the_table_does_not_matter() -> None:
    np.testing.assert_array_equal(spread(LONG.sample(frac=1, random_state=3)).values, spread(LONG).values)


def test_a_duplicate_is_refused_with_its_place_and_never_averaged() -> None:
    twice = pd.concat([LONG, LONG.iloc[[0]].assign(cm=43.0)])
    with pytest.raises(DesignError, match="two values for one cell: who b, when 2"):
        spread(twice)


def test_too_few_complete_people_are_said_with_those_left_out() -> None:
    with pytest.raises(DesignError, match=r"one person with a score on all 2 occasions \(2 without\)"):
        spread(LONG.iloc[:5].assign(cm=[42.0, 50.0, 47.0, 41.0, np.nan])).complete()


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        (LONG.drop(columns="cm"), "no column 'cm'"),
        (LONG.assign(who=[None, "a", "b", "c", "d", "e"]), "'who' is empty in a row"),
        (LONG.assign(cm=["x"] * 6), "cm are not all numbers"),
        (LONG.assign(cm=[np.inf] * 6), "infinite"),
        (LONG.iloc[:0], "no rows"),
    ],
)
def test_a_table_that_cannot_be_spread_is_refused(table: pd.DataFrame, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        spread(table)


@pytest.mark.parametrize(
    ("scores", "reason"),
    [
        ([1.0, 2.0], "participants in rows"),
        ([[1.0, 2.0]], "one person; at least 2"),
        ([[1.0], [2.0]], "1 occasion; at least 2"),
        ([[1.0, np.nan], [2.0, 3.0]], "1 of 4 values missing"),
        ([[1.0, np.inf], [2.0, 3.0]], "infinite"),
        ([["a", "b"], ["c", "d"]], "not all numbers"),
    ],
)
def test_a_matrix_that_is_not_complete_is_refused(scores: list, reason: str) -> None:
    with pytest.raises(DesignError, match=reason):
        complete_matrix(scores)


def test_vectors_are_checked_for_length_and_missing_values() -> None:
    with pytest.raises(DesignError, match="dose: 1 of 2 values missing"):
        finite_vector([1.0, np.nan], name="dose")
    with pytest.raises(DesignError, match="dose: 0 values; at least 1"):
        finite_vector([], name="dose")
    with pytest.raises(DesignError, match="one row of values"):
        finite_vector([[1.0]], name="dose")
    with pytest.raises(DesignError, match="2 values before and 1 after"):
        paired([1, 2], [1])
    with pytest.raises(DesignError, match="one person with both values"):
        paired([1], [1])


def test_dust_of_floating_point_makes_no_difference_between_equal_changes() -> None:
    changes = np.array([0.9 - 0.8, 0.2 - 0.1, 1.3 - 1.2])
    assert len(set(changes)) == 3
    assert len(set(snapped(changes))) == 1
    assert all_equal(changes, scale=1.3)
    assert not all_equal(np.array([0.1, 0.1001]))
