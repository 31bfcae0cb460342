"""Findings say where, what was found and what would do; every error is a text that a user can act on."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.errors import (
    GRADES,
    PRINTED_FINDINGS,
    DataError,
    DefinitionError,
    DesignError,
    Finding,
    OutcomesError,
    PrivacyError,
    Problem,
    UsageError,
    findings_csv,
    inert,
    near_word,
    printable,
)


def finding(**more: object) -> Finding:
    given_here = {"grade": "set_aside", "rule": "illegal_code", "expected": "one of 0, 1, 1+, 2, 3, 4"}
    return Finding(**{**given_here, **more})  # type: ignore[arg-type]


def test_a_finding_names_file_sheet_row_heading_participant_found_and_expected() -> None:
    line = str(finding(file="assessments.xlsx", sheet="mas", row=14, column="grade", participant="P07", found="1++"))
    assert line == (
        "assessments.xlsx, mas, row 14, column 'grade' (P07): found '1++', expected one of 0, 1, 1+, 2, 3, 4"
    )


def test_a_finding_without_a_place_names_its_table_or_the_study() -> None:
    assert str(finding(table="sessions")).startswith("sessions: expected")
    assert str(finding()).startswith("study: expected")


def test_a_query_shows_the_id_that_decisions_csv_answers() -> None:
    assert str(finding(grade="ask", query="q-12")).endswith(" [q-12]")


def test_a_finding_stays_on_one_line_whatever_was_typed() -> None:
    line = str(finding(file="a.csv", column="x\ny", participant="P\t1", found="1\r\n2" + "9" * 500))
    assert "\n" not in line
    assert "\r" not in line
    assert len(line) < 200


def test_a_data_error_lists_the_first_findings_counts_the_rest_and_says_the_remedy_last() -> None:
    findings = [finding(file="a.csv", row=n) for n in range(2, 2 + PRINTED_FINDINGS + 3)]
    lines = str(DataError(findings, "Correct these.")).splitlines()
    assert lines[0] == f"{PRINTED_FINDINGS + 3} findings stop the run."
    assert len([line for line in lines if line.startswith("  a.csv, row")]) == PRINTED_FINDINGS
    assert "  and 3 more in results/check/findings.csv" in lines
    assert lines[-1] == "Correct these."


def test_a_data_error_prints_what_stops_and_keeps_what_only_asks() -> None:
    error = DataError([finding(grade="ask", found="asked"), finding(grade="block", found="blocked")])
    assert "1 finding stops the run." in str(error)
    assert "asked" not in str(error)
    assert len(error.findings) == 2


def test_remedies_of_findings_are_said_once() -> None:
    findings = [finding(row=n, remedy="Say decimal = ',' under [intake].") for n in (2, 3)]
    assert str(DataError(findings)).count("Say decimal") == 1


def test_a_definition_error_holds_every_problem_with_file_line_and_key() -> None:
    error = DefinitionError(
        [
            Problem("mas.toml", 3, "items[0].key", "is required"),
            Problem("mas.toml", None, "", "cannot be read"),
            Problem("mas.toml", None, "rows", "x"),
        ]
    )
    assert str(error).splitlines() == [
        "mas.toml, line 3, items[0].key: is required",
        "mas.toml: cannot be read",
        "mas.toml, rows: x",
    ]


@pytest.mark.parametrize("kind", [UsageError, PrivacyError, DesignError, DataError, DefinitionError])
def test_every_error_is_an_outcomes_error(kind: type[Exception]) -> None:
    assert issubclass(kind, OutcomesError)


def test_a_design_error_is_a_value_error_with_its_reason() -> None:
    error = DesignError("all values are equal")
    assert isinstance(error, ValueError)
    assert error.reason == "all values are equal"


def test_findings_csv_has_a_row_for_each_finding_and_no_formula() -> None:
    text = findings_csv([finding(found="=HYPERLINK(1)"), finding(found='a,"b"\nc')])
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["found"] for row in rows] == ["'=HYPERLINK(1)", 'a,"b"\nc']
    assert rows[0]["grade"] in GRADES


@given(st.text())
def test_inert_text_never_begins_like_a_formula_and_is_never_lost(text: str) -> None:
    safe = inert(text)
    assert safe in (text, "'" + text)
    if safe[:1] in ("=", "@", "\t", "\r", "\n"):
        pytest.fail(f"{safe!r} would run")
    if safe[:1] in ("+", "-"):
        float(safe)  # only a plain number may keep its sign; anything else raises here


@given(st.text(), st.integers(2, 60))
def test_printable_text_is_short_and_shows_every_character(text: str, width: int) -> None:
    line = printable(text, width)
    assert len(line) <= width
    assert line.isprintable()


def test_near_word_names_the_nearest_and_is_silent_about_strangers() -> None:
    assert near_word("limb_grith", ["limb_girth", "mas"]) == "; did you mean 'limb_girth'?"
    assert near_word("zzz", ["limb_girth", "mas"]) == ""
    assert near_word("", []) == ""
