"""The report of a class: every number with its origin, exercises that the software answers, no row of a person."""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import pytest

from outcomes.errors import UsageError
from outcomes.reports import open_class_report, page
from outcomes.reports.exercises import exercises

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from showing import plain_text, shown

BY_HAND = {
    # 9.2 W x 360 s + 11.6 W x 480 s + 8.4 W x 300 s = 11,400 J, worked out by hand
    "work": "11.4",
    # the only person whose second girth lies 38 cm below the first, and 0.6 cm above it times 2.54; found by eye
    "swap": "A08",
}


def column(key: str, i: int) -> list[str]:
    return [row[i].replace("−", "-").replace(",", "") for row in exercises()[key].data.rows]


def ratio_by_hand() -> float:
    """Return the ratio of widths from t(19) = 2.093024 and t(9) = 2.262157 (computed by R 4.2.2, qt(0.975, df))."""
    left, right = ([float(v) for v in column("limbs", i)] for i in (1, 2))
    widths = []
    for values, t in ((left + right, 2.093024), ([(a + b) / 2 for a, b in zip(left, right, strict=True)], 2.262157)):
        mean = math.fsum(values) / len(values)
        variance = math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1)
        widths.append(t * math.sqrt(variance / len(values)))
    return widths[1] / widths[0]


def correlation_by_hand() -> float:
    """Return the pooled correlation within persons of weeks and minutes, from sums of squares."""
    who, weeks, minutes = column("time", 0), *([float(v) for v in column("time", i)] for i in (1, 2))
    centred = []
    for values in (weeks, minutes):
        means = {w: math.fsum(v for v, x in zip(values, who, strict=True) if x == w) / who.count(w) for w in who}
        centred.append([v - means[w] for v, w in zip(values, who, strict=True)])
    a, b = centred
    return math.fsum(x * y for x, y in zip(a, b, strict=True)) / math.sqrt(
        math.fsum(x * x for x in a) * math.fsum(y * y for y in b)
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return RecordBuilder().full().write(tmp_path_factory.mktemp("class") / "study")


@pytest.fixture(scope="module")
def html(folder):
    return page.render(shown("class", folder), "class")


def test_the_answers_are_those_found_by_hand():
    answers = {**BY_HAND, "limbs": f"{ratio_by_hand():.2f}", "time": f"{correlation_by_hand():.3f}"}
    assert set(answers) == set(exercises())
    for key, answer in answers.items():
        assert f"{answer} is right. " in exercises()[key].check(answer)


@pytest.mark.parametrize(("key", "wrong"), [("work", "11.5"), ("swap", "A07"), ("limbs", "1.41"), ("time", "0.5")])
def test_a_wrong_answer_is_not_given_away(key, wrong):
    said = exercises()[key].check(wrong)
    assert said == f"{wrong} is not right yet. Look at the task again."


def test_an_answer_that_is_no_number_is_refused():
    with pytest.raises(UsageError, match="answer_work: found 'much', expected a number"):
        exercises()["work"].check("much")


def test_no_answer_stands_in_the_page(html):
    text = plain_text(html)
    for key, one in exercises().items():
        assert f"Not answered yet: set answer_{key}." in text
        assert one.lesson not in text
    assert "11.4" not in text.partition("The work of one session")[2].partition("A unit that was swapped")[0]


def test_answers_given_as_parameters_are_checked(folder):
    text = plain_text(page.render(shown("class", folder, answer_work="11.4", answer_swap="a07"), "class"))
    assert "11.4 is right." in text
    assert "a07 is not right yet." in text


def test_every_number_of_the_record_stands_there_with_its_key(folder, html):
    record = RecordBuilder().full().build()
    assert all(f">{key}</th>" in html for key in record.entries)
    assert "outcomes.analyse(outcomes.Study.open(FOLDER)).record[KEY]" in html


def test_a_real_study_shows_no_person_and_no_count_of_few(tmp_path):
    made = RecordBuilder(synthetic=False).full().write(tmp_path / "study")
    html = page.render(shown("class", made), "class")
    text = plain_text(html, details=True)
    assert "Person, by change" not in text
    assert "Synthetic data" not in text
    report = open_class_report(study=str(made))
    shown_counts = [
        report._line(e)
        for e in report.facts.record.entries.values()
        if e.key.startswith("change/mas") and "lower" in e.key
    ]
    assert all(line[1] == "not shown" for line in shown_counts if "count" in line[3])


def test_both_numbers_stand_where_a_choice_was_changed(folder, tmp_path):
    choices = [{"key": "dose.lag_days", "protocol": "0", "used": "7"}]
    made = RecordBuilder(changed_choices=choices, dose_plan={"lag_days": 7}).flow().girth().dose()
    made.association(slope=0.55, low=0.21, high=0.89, p=0.002)
    results = made.write(tmp_path / "study") / "results" / "0123456789ab"
    results.rename(folder / "results" / "ffff00000000")
    book = shown("class", folder, record="ffff00000000", dose_lag="7")
    (table,) = (b["table"] for b in page.blocks_of(book) if b["kind"] == "table" and b["name"] == "varied")
    assert table["caption"] == "Differs from protocol: dose.lag_days: 7 (protocol: 0)"
    name, protocol, varied = table["rows"][1]
    assert name == "dose and change"
    assert "0.31 (95% CI −0.12 to 0.74) cm per 10 h" in protocol
    assert "0.55 (95% CI 0.21 to 0.89) cm per 10 h" in varied


def test_another_choice_is_another_analysis(folder):
    with pytest.raises(UsageError, match='outcomes report FOLDER --for class --set "dose_lag=7" runs it'):
        shown("class", folder, dose_lag="7")


def test_how_to_vary_a_choice_is_said(html):
    assert "outcomes report FOLDER --for class --set analysis.alpha=0.1" in html


def test_the_page_stays_small(html):
    assert len(html.encode()) < 2_000_000
    assert re.search(r"<script", html, re.IGNORECASE) is None
