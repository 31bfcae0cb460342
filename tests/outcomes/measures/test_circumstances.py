"""Other circumstances at a later visit are listed; tables of manuals round half up."""

from __future__ import annotations

import pandas as pd
import pytest

from outcomes.errors import UsageError
from outcomes.measures import circumstances_changed, half_up, push_size, score, whoqol_table


def walks(*rows: tuple[str, str, str]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["visit", "item", "response"], dtype="str")
    frame = frame.assign(participant_id="P1", measure="tenmwt", assessed_day=range(len(rows)))
    return frame.assign(row_id=[f"assessments/{i + 1}" for i in range(len(frame))])


def told(frame: pd.DataFrame) -> list[list[str]]:
    found = circumstances_changed({"assessments": frame})
    return found[["item", "visit_before", "before", "visit", "after", "rows"]].values.tolist()


def test_a_change_of_walking_aid_or_pace_is_listed_with_both_rows() -> None:
    frame = walks(("a", "device", "cane"), ("a", "pace", "comfortable"), ("b", "device", "none"), ("b", "pace", "fast"))
    assert told(frame) == [
        ["device", "a", "cane", "b", "none", "assessments/1 assessments/3"],
        ["pace", "a", "comfortable", "b", "fast", "assessments/2 assessments/4"],
    ]


def test_the_same_and_what_was_not_recorded_are_no_change() -> None:
    assert told(walks(("a", "device", "cane"), ("b", "device", "cane"))) == []
    frame = walks(("a", "device", "cane"), ("b", "device", "none"))
    frame["response"] = frame["response"].where(frame["visit"] == "a")
    assert told(frame) == []
    assert told(walks(("a", "time", "10"), ("b", "time", "12"))) == []
    assert len(circumstances_changed({})) == 0


def test_visits_come_in_the_order_of_their_days() -> None:
    frame = walks(("z", "device", "cane"), ("a", "device", "none"))
    assert told(frame)[0][1:5] == ["z", "cane", "a", "none"]


def test_half_up_is_not_half_to_even() -> None:
    # 12.5, 62.5 and 4.5 are printed as 13, 63 and 5 in the table of the WHOQOL-BREF manual
    assert [int(half_up(x)) for x in (12.5, 62.5, 4.5)] == [13, 63, 5]
    assert [round(x) for x in (12.5, 62.5, 4.5)] == [12, 62, 4]


@pytest.mark.parametrize(
    ("domain", "raw", "expected"),
    [
        # the manual's printed table (user manual of 1998, revised 2012)
        pytest.param("environment", 9, (5, 6), id="whoqol_bref_04"),
        pytest.param("physical", 24, (14, 63), id="whoqol_bref_05"),
        ("environment", 35, (18, 88)),
        ("psychological", 6, (4, 0)),
        ("social", 5, (7, 19)),
        ("social", 15, (20, 100)),
        ("physical", 11, (6, 13)),
        ("psychological", 19, (13, 56)),
    ],
)
def test_the_printed_table_of_a_domain(domain: str, raw: int, expected: tuple[int, int]) -> None:
    assert whoqol_table(domain, raw) == expected


def test_a_raw_sum_that_cannot_be_is_refused() -> None:
    for domain, raw in (("social", 2), ("social", 16), ("mind", 10)):
        with pytest.raises(UsageError):
            whoqol_table(domain, raw)


@pytest.mark.parametrize(
    ("length", "width", "size"),
    # bands of PUSH 3.0 (secondary listing); areas between the printed bands are rounded half up to 0.1 first
    [
        pytest.param(2.4, 1.5, 6, id="push_1"),
        pytest.param(0, 0, 0, id="push_2"),
        pytest.param(6, 4.1, 10, id="push_4"),
        (0.5, 0.5, 2),
        (0.65, 1, 3),
        (1.05, 1, 4),
        (0.1, 0.1, 1),
        (6, 4, 9),
    ],
)
def test_the_size_of_a_wound(length: float, width: float, size: int) -> None:
    assert push_size(length, width) == size


def test_a_wound_scores_with_its_size() -> None:
    # 2.4 x 1.5 = 3.6 cm2 is size 6; 6 + 2 + 3
    assert score("push", {"size": push_size(2.4, 1.5), "exudate": 2, "tissue": 3})["total"] == 11
    for length, width in ((-1, 2), (0, 2)):
        with pytest.raises(UsageError):
            push_size(length, width)
