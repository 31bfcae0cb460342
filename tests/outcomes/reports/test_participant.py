"""One person's page: own values only, a verdict only where the error of the test is known, one page, traced."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pandas as pd
import pytest

from outcomes.errors import UsageError
from outcomes.reports import open_participant_page, page
from outcomes.reports.pdf import pdf
from outcomes.reports.write import file_name

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from pdf_text import read_pdf
from showing import plain_text, shown
from tracing import numbers_of, untraced

SERIES = {"measure": "limb_girth", "scale": "girth", "place": "mid_thigh", "side_rule": "mean"}


def write_values(folder, **values):
    """Replace the person-level values: person to (visit, value) pairs of thigh girth."""
    rows = [
        {"participant_id": who, "group": "all", **SERIES, "visit": visit, "value": value, "reason": "", "flags": "",
         "cells": ""}
        for who, pairs in values.items()
        for visit, value in pairs
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(folder / "results" / "0123456789ab" / "people" / "values.csv", index=False)
    return folder


@pytest.fixture
def folder(tmp_path):
    made = RecordBuilder().full().write(tmp_path / "study")
    return write_values(
        made, P01=[("week0", 44.0), ("week16", 45.5)], P02=[("week0", 51.37), ("week16", 51.87)], P03=[("week0", 40.0)]
    )


@pytest.fixture
def opened(folder):
    return open_participant_page(study=str(folder), who="P01")


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("P01", "44.0 cm at Week 0, 45.5 cm at Week 16. This change is more than the usual error of the test."),
        ("P02", "51.4 cm at Week 0, 51.9 cm at Week 16. This change is within the usual error of the test."),
        ("P03", "there is one value, so nothing can be said about a change."),
    ],
)
def test_a_change_is_held_against_the_error_of_the_test(folder, who, said):
    page_of = open_participant_page(study=str(folder), who=who)
    assert said in page_of.verdict(page_of.series[0])


def test_no_verdict_without_a_known_error(tmp_path):
    made = RecordBuilder().flow().girth(mdc=None).dose().harms().rest().write(tmp_path / "study")
    page_of = open_participant_page(study=str(made), who="P01")
    text = plain_text(page.render(shown("participant", made, who="P01"), "participant"))
    assert "We cannot say whether" in page_of.verdict(
        {**page_of.series[0], "values": {"week0": (1.0, ""), "week16": (9.0, "")}}
    )
    assert "more than the usual error" not in text
    assert "grey band" not in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_both_forms_hold_this_person_only(folder, paper):
    notebook = shown("participant", folder, who="P01", paper=paper)
    printed = read_pdf(pdf(notebook, "participant"))
    assert len(printed.pages) == 1
    assert printed.tagged
    assert printed.language == "en"
    assert any("44.0" in told and "45.5" in told for told in printed.alternatives)
    record = RecordBuilder().full().build()
    people = folder / "results" / "0123456789ab" / "people"
    own = [pd.read_csv(people / f"{n}.csv").query("participant_id == 'P01'") for n in ("values", "dose")]
    mine = [n for frame in own for n in numbers_of(frame.select_dtypes("number").fillna(0).to_numpy().ravel().tolist())]
    for text in (plain_text(page.render(notebook, "participant"), details=True), printed.text):
        assert untraced(re.sub(r"1 / 1|P01", "", text), record, more=mine) == []
        assert not re.search(r"51\.4|P02|other people|average|rank(?:ed)? ", text)
        assert not re.search(r"\b(?:should|try to|recommend|keep going|well done)\b", text)
        assert "Synthetic data" in text
        assert "No medical device" in text


def test_a_long_battery_stays_on_one_page(tmp_path):
    builder = RecordBuilder().full()
    template = builder.outcomes[0]
    for i in range(30):
        builder.outcomes.append({**template, "place": f"place_{i}.mean", "label": f"Limb girth (place {i}, mean)",
                                 "role": "exploratory", "key": f"{template['key']}{i}"})  # fmt: skip
    made = builder.write(tmp_path / "study")
    rows = [
        {"participant_id": "P01", "group": "all", **SERIES, "place": place, "visit": visit, "value": 44.0, "reason": "",
         "flags": "", "cells": ""}
        for place in ("mid_thigh", *(f"place_{i}" for i in range(30)))
        for visit in ("week0", "week16")
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(made / "results" / "0123456789ab" / "people" / "values.csv", index=False)
    notebook = shown("participant", made, who="P01")
    printed = read_pdf(pdf(notebook, "participant"))
    assert len(printed.pages) == 1
    assert re.search(r"\d+ more rows stand in the html page", printed.text)
    assert "place 29" in page.render(notebook, "participant")


def test_an_id_never_becomes_a_path():
    for who in ("../../P01", "/etc/passwd", "P 01", "a" * 200, "<script>", "P\u202e01", ".."):
        name = file_name(who)
        assert re.fullmatch(r"[A-Za-z0-9_-]+", name)
        assert len(name) < 80
    assert file_name("P 01") != file_name("P_01") == "P_01"


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({}, "whose page"),
        ({"who": "P99"}, "no value of a participant 'P99'"),
        ({"who": "P01", "public": True}, "never public"),
        ({"who": "P01", "reader": "funder"}, "writes a participant's page"),
    ],
)
def test_what_does_not_fit_is_refused(folder, options, message):
    with pytest.raises(UsageError, match=message):
        open_participant_page(study=str(folder), **options)
