"""What holds for any input: balances add up, the order of rows does not matter, nothing but our own errors."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from outcomes.errors import OutcomesError
from outcomes.intake import read_folder

SETTINGS = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

CELLS = {
    "participant_id": ["P01", "P02", "P01 ", "p01", "Q09", "", "Mean"],
    "visit": ["before", "after", "T0", ""],
    "measure": ["girth", "tone", "life", "spare", "girt", ""],
    "place": ["thigh", "knee", "", "hip"],
    "side": ["left", "right", "", "L"],
    "item": ["reading", "grade", "one", "two", "total", ""],
    "trial": ["1", "2", "", "x"],
    "response": ["44.5", "44,5", "1+", "1", "9", "NT", "NA", "#REF!", "<5", "17.5", "", "3", "01-Feb", "\x00"],
    "absent_because": ["", "", "", "unable", "ill"],
    "assessed_at": ["2026-01-06 09:30", "2026-03-30", "03/04/2026", "2026-02-30", "", "46000"],
}
LINES = st.lists(st.tuples(*(st.sampled_from(words) for words in CELLS.values())), max_size=12)


def read(room, files):
    """Read files in a folder of their own."""
    with tempfile.TemporaryDirectory() as name:
        for file, content in files.items():
            (Path(name) / file).write_bytes(content)
        intake = read_folder(name, room.protocol(), room.catalogue)
    room.balanced(intake)
    return intake


def table(lines):
    rows = [",".join(f'"{cell}"' for cell in line) for line in lines]
    return "\n".join([",".join(CELLS), *rows, ""]).encode()


@SETTINGS
@given(lines=LINES)
def test_both_balances_add_up_for_any_mixture_of_cells(room, lines):
    intake = read(room, {"participants.csv": room.PARTICIPANTS.encode(), "assessments.csv": table(lines)})
    filled = [line for line in lines if any(cell.strip() for cell in line)]
    cells = sum(bool(cell.strip()) for line in filled for cell in line)
    assert room.count(intake, "assessments", "rows_read") == len(filled)
    assert room.count(intake, "assessments", "cells_read") == cells


def told(intake):
    """Return findings without the rows that they name."""
    return Counter((f.grade, f.rule, f.file, f.column) for f in intake.findings)


def content(intake):
    """Return the answers used, without their order."""
    frame = intake.tables["assessments"].drop(columns="row_id").astype(object).fillna("-")
    return Counter(map(tuple, frame.to_numpy().tolist()))


@SETTINGS
@given(data=st.data(), lines=LINES)
def test_the_order_of_rows_does_not_matter(room, data, lines):
    people = {"participants.csv": room.PARTICIPANTS.encode()}
    first = read(room, people | {"assessments.csv": table(lines)})
    again = read(room, people | {"assessments.csv": table(data.draw(st.permutations(lines)))})
    assert told(first) == told(again)
    assert content(first) == content(again)
    visits = [intake.tables["visits"].drop(columns="row_id").astype(object).fillna("-") for intake in (first, again)]
    assert visits[0].to_numpy().tolist() == visits[1].to_numpy().tolist()


MAPPING = b"""sheet,heading,table,column,visit,measure,item,place,side,trial
wide,id,participants,participant_id,,,,,,
wide,enrolled,participants,enrolled_on,,,,,,
wide,pre,assessments,response,before,girth,reading,thigh,left,1
wide,post,assessments,response,after,girth,reading,thigh,left,1
wide,tone,assessments,response,before,tone,grade,knee,left,
wide,why,assessments,absent_because,before,tone,,,,
"""
WIDE = {
    "id": ["P01", "P02", "P03", " P01", ""],
    "enrolled": ["2026-01-05", "2026-01-06", "05.01.2026", ""],
    "pre": ["44", "44,5", "444", "", "NA"],
    "post": ["45", "", "x"],
    "tone": ["1+", "1", "9", "", "NT"],
    "why": ["", "unable", "ill"],
}


@SETTINGS
@given(lines=st.lists(st.tuples(*(st.sampled_from(words) for words in WIDE.values())), max_size=8))
def test_every_cell_of_a_wide_sheet_is_counted_once_whatever_stands_in_it(room, lines):
    rows = [",".join(f'"{cell}"' for cell in line) for line in lines]
    intake = read(room, {"columns.csv": MAPPING, "wide.csv": "\n".join([",".join(WIDE), *rows, ""]).encode()})
    answers = cells = 0
    for one, _, pre, post, tone, why in lines:
        given = [bool(pre), bool(post), bool(tone or why)]
        answers += sum(given)
        cells += sum(map(bool, (pre, post, tone, why))) + (any(given) and bool(one.strip()))
    assert room.count(intake, "assessments", "rows_read") == answers
    assert room.count(intake, "assessments", "cells_read") == cells
    assert room.count(intake, "participants", "rows_read") == sum(bool(one or when) for one, when, *_ in lines)


NAMES = ["participants.csv", "assessments.csv", "sessions.csv", "columns.csv", "words.csv", "decisions.csv"]


@pytest.mark.parametrize("name", [*NAMES, "participants.xlsx"])
@settings(SETTINGS, max_examples=10)
@given(content=st.binary(max_size=120))
def test_any_bytes_give_findings_and_no_other_error(room, name, content):
    files = {"participants.csv": room.PARTICIPANTS.encode(), "assessments.csv": room.answers().encode(), name: content}
    try:
        intake = read(room, files)
    except OutcomesError:
        return
    assert all(str(finding) for finding in intake.findings)


TEXT = st.text(
    st.one_of(st.characters(codec="utf-8"), st.sampled_from(',;"\n\r\t\x00 =+-.')),
    max_size=80,
)


@pytest.mark.parametrize("name", NAMES)
@settings(SETTINGS, max_examples=10)
@given(text=TEXT)
def test_any_text_below_good_headings_gives_findings_and_no_other_error(room, name, text):
    headings = {
        "participants.csv": "participant_id,enrolled_on,age_years,group,left_on",
        "assessments.csv": room.ANSWERS_HEADER,
        "sessions.csv": room.SESSIONS_HEADER,
        "columns.csv": "sheet,heading,table,column,unit,format,visit,measure,item,place,side,trial",
        "words.csv": "column,word,means",
        "decisions.csv": "query,decision,role,date,reason",
    }
    files = {"participants.csv": room.PARTICIPANTS.encode(), "assessments.csv": room.answers().encode()}
    intake = read(room, files | {name: f"{headings[name]}\n{text}".encode()})
    assert all(str(finding) for finding in intake.findings)
