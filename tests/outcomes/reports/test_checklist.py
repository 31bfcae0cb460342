"""The checklist: the design picks the guideline, and what is missing names the field that would answer it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from outcomes.reports.checklist import AUTHOR, answer, checklist, chosen, guidelines
from protocols.schema import STATEMENTS, HarmsPlan, StudyPlan, TrainingPlan

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder

FIELDS = sorted({item["field"] for g in guidelines()["guidelines"] for item in g["items"]})


@pytest.mark.parametrize(
    ("design", "allocation", "first"),
    [("single arm", None, "trend"), ("parallel groups", "randomised", "consort-2025"),
     ("parallel groups", "not randomised", "trend"), ("single case", None, "scribe"), ("test-retest", None, "grras")],
)  # fmt: skip
def test_the_design_picks_the_guideline(design, allocation, first):
    assert chosen({"design": design, "allocation": allocation})[0] == first


@pytest.mark.parametrize("field", FIELDS)
def test_every_field_is_one_that_a_protocol_has(field):
    kind, _, name = field.partition(".")
    known = {"statements": STATEMENTS, "study": StudyPlan.model_fields, "training": TrainingPlan.model_fields,
             "harms": HarmsPlan.model_fields}  # fmt: skip
    if kind in known and name:
        assert name in known[kind]
    assert answer(field)
    assert (answer(field) == AUTHOR) == (field == "author")


def test_what_is_missing_names_its_field(record):
    rows = checklist(record).set_index(["guideline", "item"])
    assert set(rows["status"]) == {"answered", "answered in part", "NOT REPORTED"}
    missing = rows[rows["status"] == "NOT REPORTED"]
    assert missing["answered_by"].str.startswith("needs ").all()
    assert "needs eligibility under [statements]" in set(missing["answered_by"])
    assert (rows[rows["status"] == "answered"]["where"] != "").all()


def test_a_statement_answers_its_items():
    said = checklist(RecordBuilder(statements={"eligibility": "Adults."}).full().build())
    row = said[said["answered_by"] == "eligibility under [statements]"].iloc[0]
    assert row["status"].startswith("answered")
    assert row["where"] == "Methods: participants"


def test_not_applicable_carries_its_reason():
    aside = [{"guideline": "cert", "item": "9", "reason": "nothing was done at home"}]
    rows = checklist(RecordBuilder(not_applicable=aside).full().build()).set_index(["guideline", "item"])
    assert rows.loc[("cert", "9"), "status"] == "not applicable"
    assert rows.loc[("cert", "9"), "note"] == "nothing was done at home"


def test_no_item_claims_compliance(record):
    text = checklist(record, abstract=True).to_csv().lower()
    assert "complian" not in text
    assert "complies" not in text


def test_the_guideline_for_abstracts_comes_first(record):
    assert checklist(record, abstract=True)["guideline"].iloc[0] == "strobe-abstract"
