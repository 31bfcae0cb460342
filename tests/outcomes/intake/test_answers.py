"""Answers: measures, visits, items, places, sides, trials, and what a response says."""

from __future__ import annotations

import pytest


def read(room, *rows, **protocol):
    return room.read({"assessments.csv": room.answers(*rows)}, **protocol)


def responses(intake):
    return intake.tables["assessments"].set_index("row_id")["response"].to_dict()


def test_a_grade_stays_text_and_its_version_is_filled_in(room):
    frame = read(room).tables["assessments"].set_index("row_id")
    assert frame.loc["assessments/3", "response"] == "1+"
    assert set(frame["version"]) == {"1"}


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ("P01,before,tone,knee,left,grade,,1++,,", "not_a_code"),
        ("P01,before,tone,knee,left,grade,,1.5,,", "not_a_code"),
        ("P01,before,life,,,two,,5,,", "not_a_code"),
        ("P01,before,life,,,two,,1-2,,", "two_values"),
        ("P01,before,tone,knee,left,grade,,01-Feb,,", "looks_like_date"),
        ("P01,before,tone,knee,left,grade,,2026-02-01,,", "looks_like_date"),
        ("P01,before,girth,calf,left,reading,1,412,,", "hard_limit"),
        ("P01,before,girth,calf,left,reading,1,42/43,,", "two_values"),
        ('P01,before,girth,calf,left,reading,1,"41,5",,', "decimal_comma"),
        ("P01,before,girth,calf,left,reading,1,#REF!,,", "formula_error"),
        ("P01,before,girth,calf,left,reading,1,<5,,", "censored"),
    ],
)
def test_an_impossible_answer_is_set_aside_and_its_row_stays(room, row, rule):
    intake = read(room, row)
    assert room.where(intake, rule) == ("set_aside", "assessments.csv", 6, "response")
    frame = intake.tables["assessments"]
    assert len(frame) == 5
    assert frame["response"].isna().sum() == 1
    assert room.count(intake, "assessments", "emptied") == 1


def test_what_would_do_is_said(room):
    finding = room.only(read(room, "P01,before,tone,knee,left,grade,,1++,,"), "not_a_code")
    assert str(finding) == (
        "assessments.csv, row 6, column 'response' (P01): found '1++', expected one of 0, 1, 1+, 2; or NT"
    )


def test_blanks_and_declared_spellings_are_normalised(room):
    rows = ("P01,before,tone,knee,left,grade,,1 +,,", "P02,before,tone,knee,left,grade,, 2 ,,")
    intake = read(room, *rows)
    assert intake.findings == ()
    assert responses(intake)["assessments/5"] == "1+"
    assert sorted(intake.ledger.cells()["reason"]) == ["blanks", "declared_spelling"]


def test_na_is_missing_and_nt_becomes_the_reason(room):
    intake = read(room, "P01,before,tone,knee,left,grade,,NT,,", "P01,before,life,,,two,,NA,,")
    assert intake.findings == ()
    frame = intake.tables["assessments"].set_index("row_id")
    assert frame.loc["assessments/5", "absent_because"] == "not_tested"
    assert frame["response"].isna().sum() == 2


def test_two_reasons_are_asked_about(room):
    intake = read(room, "P01,before,tone,knee,left,grade,,NT,refused,")
    assert room.where(intake, "two_reasons") == ("ask", "assessments.csv", 6, "response")
    assert intake.tables["assessments"]["absent_because"].dropna().tolist() == ["refused"]


def test_an_answer_beside_a_reason_for_none_loses_both(room):
    intake = read(room, "P01,before,tone,knee,left,grade,,2,refused,")
    finding = room.only(intake, "answer_and_absent")
    assert (finding.grade, finding.row, finding.found) == ("set_aside", 6, "2 and refused")
    last = intake.tables["assessments"].iloc[-1]
    assert last[["response", "absent_because"]].isna().all()
    assert room.count(intake, "assessments", "emptied") == 2


def test_an_unknown_reason_is_set_aside(room):
    intake = read(room, "P01,before,tone,knee,left,grade,,,ill,")
    finding = room.only(intake, "not_a_word")
    assert (finding.grade, finding.row, finding.column) == ("set_aside", 6, "absent_because")
    assert "unable" in finding.expected


@pytest.mark.parametrize(
    ("row", "rule", "column"),
    [
        ("P01,T0,life,,,two,,2,,", "unknown_visit", "visit"),
        ("P01,Pre-test,life,,,two,,2,,", "unknown_visit", "visit"),
        ("P01,before,lif,,,two,,2,,", "unknown_measure", "measure"),
        ("P01,before,life,,,three,,2,,", "unknown_item", "item"),
        ("P01,before,girth,hip,left,reading,1,44,,", "unknown_place", "place"),
        ("P01,before,girth,,left,reading,1,44,,", "unknown_place", "place"),
        ("P01,before,life,knee,,two,,2,,", "no_place", "place"),
        ("P01,before,girth,thigh,L,reading,1,44,,", "not_a_word", "side"),
        ("P01,before,girth,thigh,Li,reading,1,44,,", "not_a_word", "side"),
        ("P01,before,girth,thigh,0,reading,1,44,,", "not_a_word", "side"),
        ("P01,before,girth,thigh,,reading,1,44,,", "no_side", "side"),
        ("P01,before,life,,left,two,,2,,", "side_not_used", "side"),
        ("P01,before,girth,thigh,right,reading,4,44,,", "trial", "trial"),
        ("P01,before,life,,,two,1,2,,", "trial_not_used", "trial"),
        ("P01,before,girth,thigh,right,reading,one,44,,", "not_a_number", "trial"),
    ],
)
def test_a_word_inside_a_key_that_cannot_be_read_sets_its_row_aside(room, row, rule, column):
    intake = read(room, row)
    assert room.where(intake, rule) == ("set_aside", "assessments.csv", 6, column)
    assert len(intake.tables["assessments"]) == 4
    assert room.count(intake, "assessments", "set_aside") == 1


def test_the_near_word_is_said(room):
    assert "did you mean 'life'?" in room.only(read(room, "P01,before,lif,,,two,,2,,"), "unknown_measure").expected
    assert "did you mean 'before'?" in room.only(read(room, "P01,befor,life,,,two,,2,,"), "unknown_visit").expected


def test_words_csv_maps_the_clinics_words(room):
    words = "column,word,means\nvisit,T0,before\nside,L,left\nresponse,nicht getestet,NT\n"
    rows = ("P02,T0,tone,knee,L,grade,,2,,", "P01,T0,tone,knee,L,grade,,nicht getestet,,")
    intake = room.read({"words.csv": words, "assessments.csv": room.answers(*rows)})
    assert intake.findings == ()
    frame = intake.tables["assessments"].set_index("row_id")
    assert frame.loc["assessments/5", ["visit", "side"]].tolist() == ["before", "left"]
    assert frame.loc["assessments/6", "absent_because"] == "not_tested"


def test_rows_of_a_measure_that_the_protocol_does_not_name_are_set_aside_and_said_once(room):
    intake = read(room, "P01,before,spare,,,answer,,1,,", "P02,before,spare,,,answer,,0,,")
    finding = room.only(intake, "not_in_protocol")
    assert (finding.grade, finding.row, finding.column, finding.found) == ("set_aside", 6, "measure", "spare")
    assert "2 rows" in finding.expected
    assert room.count(intake, "assessments", "set_aside") == 2


def test_another_version_is_set_aside(room):
    header = room.ANSWERS_HEADER.replace("measure,", "measure,version,")
    text = header + "\nP01,before,life,1,,,one,,2,,\nP02,before,life,2,,,one,,2,,\n"
    intake = room.read({"assessments.csv": text})
    assert room.where(intake, "version") == ("set_aside", "assessments.csv", 3, "version")


def test_two_values_for_one_answer_are_refused_with_both_rows(room):
    intake = read(room, "P02,before,tone,knee,right,grade,,2,,2026-01-06 10:00")
    finding = room.only(intake, "two_values")
    assert (finding.grade, finding.row, finding.column, finding.found) == ("block", 6, "response", "2")
    assert "two values for one answer: row 4 has '1+'" in finding.expected


def test_two_raters_for_one_answer_are_two_values(room):
    header = room.ANSWERS_HEADER + ",rater\n"
    rows = "P01,before,tone,knee,left,grade,,1,,,R1\nP01,before,tone,knee,left,grade,,1+,,,R2\n"
    assert room.only(room.read({"assessments.csv": header + rows}), "two_values").grade == "block"


def test_the_same_answer_twice_is_a_duplicate(room):
    intake = read(room, "P02,before,tone,knee,right,grade,, 1+,,2026-01-06 10:00")
    assert intake.findings == ()
    assert room.count(intake, "assessments", "duplicates") == 1


def test_a_girth_in_inches_is_asked_about(room):
    intake = read(room, "P01,before,girth,thigh,right,reading,1,17.5,,")
    finding = room.only(intake, "unit_slip")
    assert (finding.grade, finding.row) == ("ask", 6)
    assert finding.expected == "usually 35 to 70 cm; the value would fit inches (in)"
    assert responses(intake)["assessments/5"] == "17.5"


def test_an_unusual_answer_is_asked_about(room):
    finding = room.only(read(room, "P01,before,girth,thigh,right,reading,1,88,,"), "unusual")
    assert (finding.grade, finding.row, finding.expected) == ("ask", 6, "usually 35 to 70 cm")


def test_a_typed_total_that_agrees_is_set_aside_in_silence(room):
    intake = read(room, "P02,before,life,,,two,,4,,", "P02,before,life,,,total,,7,,")
    assert intake.findings == ()
    assert intake.ledger.rows().set_index("row_id").loc["assessments/6", "reason"] == "typed_total"


@pytest.mark.parametrize(("total", "said"), [("8", "the items give 7"), ("7", "the items do not give one")])
def test_a_typed_total_that_disagrees_or_stands_alone_is_shown(room, total, said):
    items = ["P02,before,life,,,two,,4,,"] if total == "8" else []
    intake = read(room, *items, f"P02,before,life,,,total,,{total},,")
    finding = room.only(intake, "typed_total")
    assert (finding.grade, finding.found) == ("set_aside", total)
    assert said in finding.expected


def test_decimal_commas_in_all_readings_are_refused_once(room):
    rows = [f'P01,before,girth,{place},right,reading,1,"4{i},5",,' for i, place in enumerate(("thigh", "calf"))]
    text = "\n".join([room.ANSWERS_HEADER, *rows, "P02,before,life,,,one,,3,,", ""])
    intake = room.read({"assessments.csv": text})
    assert room.where(intake, "decimal_comma") == ("block", "assessments.csv", 2, "response")
    declared = room.read({"assessments.csv": text}, intake='decimal = ","')
    assert declared.findings == ()
    assert declared.tables["assessments"]["response"].tolist() == ["40.5", "41.5", "3"]


def test_repeats_are_read_like_assessments(room):
    repeats = (
        "participant_id,occasion,measure,place,side,item,trial,response\n"
        "P01,first,girth,thigh,left,reading,1,44\nP01,second,girth,thigh,left,reading,1,444\n"
    )
    intake = room.read({"repeats.csv": repeats})
    assert room.where(intake, "hard_limit") == ("set_aside", "repeats.csv", 3, "response")


def test_a_test_retest_study_needs_repeats_instead_of_assessments(room):
    intake = room.read({"assessments.csv": None}, design="single arm")
    assert "assessments.csv" in room.only(intake, "missing_table").expected


def test_one_number_written_in_two_ways_is_one_value(room):
    rows = ["P02,after,girth,thigh,left,reading,1,44.1,,", "P02,after,girth,thigh,left,reading,1,44.10,,"]
    intake = room.read({"assessments.csv": room.answers(*rows)})
    assert intake.findings == ()
    assert room.count(intake, "assessments", "duplicates") == 1


def test_the_answers_of_a_second_rater_are_one_finding(room):
    header = "participant_id,visit,rater,measure,item,response\n"
    rows = [
        f"P01,before,{rater},life,{item},{answer}"
        for rater, answer in (("R1", 1), ("R2", 2))
        for item in ("one", "two")
    ]
    finding = room.only(room.read({"assessments.csv": header + "\n".join(rows) + "\n"}), "two_values")
    assert (finding.grade, finding.row, finding.column) == ("block", 4, "response")
    assert "two values for one answer, as in 2 cells: row 2 has '1'" in finding.expected
    assert "second rater" in finding.remedy


def test_a_second_row_of_a_wide_sheet_is_one_finding(room):
    mapping = "sheet,heading,table,column,visit,measure,item\n"
    mapping += "life,Code,assessments,participant_id,,,\nlife,rater,assessments,rater,,,\n"
    mapping += "".join(f"life,{item},assessments,response,before,life,{item}\n" for item in ("one", "two"))
    sheet = "Code,rater,one,two\nP01,R1,1,2\nP01,R2,3,4\nP02,R1,1,1\n"
    intake = room.read({"assessments.csv": None, "life.csv": sheet, "columns.csv": mapping})
    finding = room.only(intake, "two_values")
    assert (finding.file, finding.row, finding.column) == ("life.csv", 3, "one")
    assert "as in 2 cells: row 2" in finding.expected
