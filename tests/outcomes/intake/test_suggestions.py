"""Proposals for columns.csv and words.csv, and headings by pattern: what a person renames is then understood."""

from __future__ import annotations

import pytest

from outcomes.intake import read_folder, suggest_columns

WIDE = "Code,girth_pre_L,girth_pre_R,girth_post_L\nP01,44,45,46\nP02,47,48,49\n"
MAPPING = "sheet,heading,table,column,measure,item,place\nwide,Code,assessments,participant_id,,,\n"
PATTERN = MAPPING + "wide,girth_{visit}_{side},assessments,response,girth,reading,thigh\n"
WORDS = "column,word,means\nvisit,pre,before\nvisit,post,after\nside,L,left\nside,R,right\n"


def test_a_pattern_stands_for_every_heading_of_its_shape(room):
    files = {"assessments.csv": None, "wide.csv": WIDE, "columns.csv": PATTERN, "words.csv": WORDS}
    intake = room.read(files)
    assert intake.findings == ()
    answers = intake.tables["assessments"]
    told = answers[["participant_id", "visit", "side", "response"]].to_numpy().tolist()
    assert told[:3] == [
        ["P01", "before", "left", "44"],
        ["P01", "before", "right", "45"],
        ["P01", "after", "left", "46"],
    ]
    assert len(told) == 6
    assert intake.ledger.locate("assessments/3/response").heading == "girth_post_L"


def test_a_word_of_a_heading_that_means_nothing_is_refused_not_guessed(room):
    words = WORDS.replace("visit,post,after\n", "")
    intake = room.read({"assessments.csv": None, "wide.csv": WIDE, "columns.csv": PATTERN, "words.csv": words})
    finding = room.only(intake, "pattern_word")
    assert (finding.grade, finding.file, finding.row, finding.column) == ("block", "wide.csv", 1, "girth_post_L")
    assert "where the heading has 'post'" in finding.expected
    assert "words.csv" in finding.remedy


@pytest.mark.parametrize(
    ("heading", "grade", "said"),
    [
        ("girth_{visit}_{leg}", "block", "not 'leg'"),
        ("girth_{visit}_{visit}", "block", "'visit' is given twice"),
        ("size_{visit}", "ask", "none has this shape"),
    ],
)
def test_a_faulty_pattern_is_named_with_its_row(room, heading, grade, said):
    mapping = MAPPING + f"wide,{heading},assessments,response,girth,reading,thigh\n"
    finding = room.only(room.read({"wide.csv": WIDE, "columns.csv": mapping, "words.csv": WORDS}), "pattern")
    assert (finding.grade, finding.file, finding.row) == (grade, "columns.csv", 3)
    assert said in finding.expected


def suggest(room, files):
    for name, content in files.items():
        (room.folder / name).write_text(content, encoding="utf-8")
    return suggest_columns(room.folder, room.protocol(), room.catalogue)


CLINIC = {
    "participants.csv": "Code;Gender;Height [m];enrolled_on\nP01;f;1.70;25/01/2026\nP02;M;1.80;03/02/2026\n",
    "assessments.csv": "Code,visit,measure,item,side,place,response\nP01,pre,tone,grade,Li,knee,1+\n"
    "P02,Before ,tone,grade,R,knee,0\n",
}


def test_what_is_proposed_is_understood_once_it_is_renamed(room):
    suggestion = suggest(room, CLINIC)
    for name, text in (("columns.csv", suggestion.text), ("words.csv", suggestion.words.text)):
        (room.folder / name).write_text(text, encoding="utf-8")
    intake = read_folder(room.folder, room.protocol(), room.catalogue)
    assert [str(f) for f in intake.findings if f.grade != "ask"] == []
    people = intake.tables["participants"]
    assert people["height_cm"].tolist() == [170, 180]
    assert people["sex"].tolist() == ["female", "male"]
    assert people["enrolled_on"].dt.strftime("%Y-%m-%d").tolist() == ["2026-01-25", "2026-02-03"]
    assert intake.tables["assessments"]["side"].tolist() == ["left", "right"]
    assert intake.tables["assessments"]["visit"].tolist() == ["before", "before"]


def test_it_says_what_it_would_do_to_each_column(room):
    effects = "\n".join(suggest(room, CLINIC).effects)
    assert "participants.csv, 'Height [m]' -> participants.height_cm: 2 normalised" in effects
    assert "assessments.csv, 'side' -> assessments.side: 2 normalised" in effects


def test_a_wide_sheet_is_proposed_heading_by_heading(room):
    suggestion = suggest(room, {"participants.csv": room.PARTICIPANTS, "wide.csv": WIDE})
    assert "wide.csv,Code,assessments,participant_id" in suggestion.text
    assert "wide.csv,girth_post_L,assessments,response,,,after,,girth,,reading,,left," in suggestion.text


def test_a_word_for_which_nothing_fits_is_said_and_not_proposed(room):
    answers = CLINIC["assessments.csv"].replace("Li", "starboard")
    suggestion = suggest(room, CLINIC | {"assessments.csv": answers})
    assert ("side", "starboard") in suggestion.words.unknown
    assert "starboard" not in suggestion.words.text


def test_the_command_writes_proposals_beside_the_tables_and_no_reading_takes_them_for_tables(room):
    code, out, err = room.check(CLINIC, "", "--suggest")
    assert code == 0
    assert "columns.suggested.csv: " in err
    assert "rename it to words.csv" in err
    assert out == (room.folder / "columns.suggested.csv").read_text(encoding="utf-8")
    (room.folder / "columns.suggested.csv").rename(room.folder / "columns.csv")
    intake = read_folder(room.folder, room.protocol(), room.catalogue)
    assert not room.of_rule(intake, "not_read")
