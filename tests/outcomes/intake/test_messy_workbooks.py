# ruff: noqa: E501
"""Workbooks as therapists keep them, each as a real file through the command line: every message says where, what, and
what would do; and the rules across tables and visits on a file of their own.
"""

from __future__ import annotations

import datetime as dt
import io
from contextlib import redirect_stderr, redirect_stdout

import pytest
from openpyxl.styles import PatternFill

from outcomes.cli import run

DAY = dt.date(2026, 1, 5)
PEOPLE = [["participant_id", "enrolled_on", "age_years"], ["P01", DAY, 40], ["P02", DAY, 50]]
HEADINGS = ["participant_id", "visit", "measure", "place", "side", "item", "trial", "response", "assessed_at", "rater"]


def girth(person, visit, side, value, day="2026-01-06", rater="R1", place="thigh"):
    return [person, visit, "girth", place, side, "reading", 1, value, day, rater]


GOOD = [girth("P01", "before", "left", 44.5), girth("P01", "before", "right", 45), girth("P02", "before", "left", 50)]


def banner(book):
    sheet = book["assessments"]
    sheet.insert_rows(1)
    sheet["A1"] = "Thigh girth"
    sheet.merge_cells("A1:D1")


def paint(*cells):
    def edit(book):
        for cell in cells:
            book["assessments"][cell].fill = PatternFill("solid", fgColor="FFFF0000")

    return edit


def bands(book):
    for row in (2, 4):
        for cell in book["assessments"][row]:
            cell.fill = PatternFill("solid", fgColor="FFDDDDDD")


def hide(book):
    book["names"].sheet_state = "hidden"
    book["assessments"].row_dimensions[3].hidden = True
    book["assessments"].column_dimensions["H"].hidden = True


def response(*values):
    return [HEADINGS, *(girth("P01", "before", "left", value) for value in values)]


SESSIONS = ["participant_id", "session_id", "started_at", "status", "active_minutes", "total_minutes"]
START = dt.datetime(2026, 1, 8, 9, 0)

BOOKS = {
    "a title merged above the headings": ({"assessments": [HEADINGS, *GOOD]}, banner, 3, [
        "study.xlsx, assessments, row 1: expected headings in row 1; row 2 looks like them", "Say header_row = 2 under [intake] in protocol.toml, or delete what stands above them."]),
    "two tables on one sheet": ({"participants": [*PEOPLE, [], ["participant_id", "visit", "measure", "item", "response"], ["P01", "before", "life", "one", 3]]}, None, 3, [
        "column D, E has none, and a value in row 5; row 5 looks like the headings of another table, which needs a sheet of its own"]),
    "a column of remarks without a heading": ({"participants": [[*PEOPLE[0], None], [*PEOPLE[1], None], [*PEOPLE[2], "moved away"]]}, None, 3, [
        "participants, row 1: expected a heading above every value; column D has none, and a value in row 3"]),
    "days typed as text in three orders": ({"participants": [PEOPLE[0], ["P01", "05.01.2026", 1], ["P02", "2026-01-06", 2], ["P03", "1/13/2026", 3], ["P04", DAY, 4], ["P05", "Jan 2026", 5]]}, None, 3, [
        "row 2, column 'enrolled_on' (P01): found '05.01.2026', expected a day such as 2026-03-31", "row 6, column 'enrolled_on' (P05): found 'Jan 2026', expected a day such as 2026-03-31", "3 participants have none"]),
    "names instead of codes": ({"participants": [["Name", "enrolled_on"], ["Smith, Anna", DAY]]}, None, 3, [
        "participants, row 1: expected a heading 'participant_id' for participants", "'outcomes check FOLDER --suggest' proposes one."]),
    "totals at the bottom": ({"participants": [*PEOPLE, ["n = 2", None, 45], ["Mittelwert", None, 45]], "assessments": [HEADINGS, *GOOD, [*["Average"], *[None] * 6, 46.5]]}, None, 3, [
        "found 'n = 2', expected a participant; it looks like a row of totals", "found 'Mittelwert', expected a participant; it looks like a row of totals", "assessments, row 5, column 'visit' (Average): expected a value"]),
    "cells in red": ({"assessments": [HEADINGS, *GOOD]}, paint("H2", "A3"), 0, [
        "assessments: expected all that counts in words; what a colour means is not read: 2 cells (H2, A3)", "Write what the colour means in a column, such as absent_because or note."]),
    "a row in red": ({"assessments": [HEADINGS, *GOOD]}, paint(*(f"{c}3" for c in "ABCDEFGHIJ")), 0, ["what a colour means is not read: 10 cells (A3, B3, C3, D3, E3 ...)"]),
    "bands of grey are no message": ({"assessments": [HEADINGS, *GOOD]}, bands, 0, ["No findings."]),
    "a column in yellow is no message": ({"assessments": [HEADINGS, *GOOD]}, paint("H1", "H2", "H3", "H4"), 0, ["No findings."]),
    "a remark beside the number": ({"assessments": response("44 (left only)")}, None, 3, ["found '44 (left only)', expected 10 to 100 cm; the number alone: words and signs beside it belong in the column note"]),
    "about": ({"assessments": response("~45")}, None, 3, ["found '~45', expected 10 to 100 cm; the number alone"]),
    "decimal comma and unit": ({"assessments": response("50,5 cm")}, None, 3, ["found '50,5 cm', expected 10 to 100 cm; the number alone, without its unit"]),
    "beyond the tape": ({"assessments": response(">60")}, None, 3, ["found '>60', expected 10 to 100 cm; a limit of the device is no value: leave it empty and say so in a note"]),
    "a dash for missing": ({"assessments": response("-")}, None, 3, ["found '-', expected 10 to 100 cm; empty, or declared under [intake] missing_words, if it means missing"]),
    "words for missing": ({"assessments": response("tape was lost")}, None, 3, ["found 'tape was lost', expected 10 to 100 cm; where there is no value, an empty cell and the reason in absent_because"]),
    "blanks behind everything": ({"participants": [["participant_id ", "enrolled_on", "age_years"], ["P01 ", DAY, "40 "], ["P02\u00a0", DAY, 50]], "assessments": [HEADINGS, girth(" P01", "before ", "left", "44.5 ")]}, None, 0, ["No findings."]),
    "a visit typed twice": ({"assessments": [HEADINGS, *GOOD, girth("P01", "before", "left", 46.5, "2026-01-09"), GOOD[0]]}, None, 3, ["row 5, column 'response' (P01): found '46.5'", "two values for one answer: row 2 has '44.5'"]),
    "units below the headings": ({"participants": [PEOPLE[0], [None, None, "years"], *PEOPLE[1:]], "assessments": [HEADINGS, [*[None] * 7, "cm"], *GOOD]}, None, 3, ["participants, row 2, column 'age_years': found 'years', expected data below the headings; row 2 looks like units", "Say unit_row = 2"]),
    "sheets in German": ({"Patienten": [["Patienten-Nr", "Alter"], ["P01", 40]], "participants": None}, None, 3, ["Patienten: expected the name of a table, or a row of columns.csv; nothing of it was read", "Name the file or sheet so, or map its headings in columns.csv. 'outcomes check FOLDER --suggest' proposes one."]),
    "hidden rows, columns and sheet": ({"assessments": [HEADINGS, *GOOD], "names": [["Code", "Name"], ["P01", "Smith"]]}, hide, 0, ["hidden columns were read like the others: 1", "assessments, row 3: expected rows that can be seen", "names: expected sheets that can be seen"]),
    "minutes as 0:30": ({"sessions": [SESSIONS, ["P01", 1, START, "done", "0:30", 45]]}, None, 3, ["row 2, column 'active_minutes' (P01): found '0:30', expected one number; hours, minutes and seconds are not told apart in it"]),
    "minutes as a time of day": ({"sessions": [SESSIONS, ["P01", 1, START, "done", dt.time(0, 30), 45]]}, None, 3, ["found '00:30', expected a number; the spreadsheet holds a time of day there", "Format the column as a number."]),
    "two rows of headings": ({"girth": [[None, "pre", None], ["Code", "left", "right"], ["P01", 44, 45]], "assessments": None}, None, 3, ["girth: expected the name of a table, or a row of columns.csv", "'outcomes check FOLDER --suggest' proposes one."]),
}  # fmt: skip
"""Sheets in which a workbook differs from a sound one, what is done to it, the exit code, and what is said."""


@pytest.mark.parametrize("name", BOOKS)
def test_a_messy_workbook_is_told_what_would_do(room, name):
    sheets, edit, code, words = BOOKS[name]
    content = {"participants": PEOPLE, "assessments": [HEADINGS, *GOOD], **sheets}
    book = room.workbook({title: rows for title, rows in content.items() if rows}, edit)
    found, out, err = room.check({"participants.csv": None, "assessments.csv": None, "study.xlsx": book})
    assert (found, [text for text in words if text not in out + err]) == (code, []), (found, out, err)
    assert "Smith" not in out + err


def suggested(room, files):
    """Return what ``check --suggest`` prints, and the two proposals that it writes."""
    (room.folder / "protocol.toml").write_text(room.protocol_text(), encoding="utf-8")
    (room.folder / "measures").mkdir()
    for key, text in room.definitions.items():
        (room.folder / "measures" / f"{key}.toml").write_text(text, encoding="utf-8")
    for name, content in files.items():
        (room.folder / name).write_bytes(content)
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run(["check", str(room.folder), "--suggest"])
    assert left.value.code == 0
    return out.getvalue() + err.getvalue()


def test_headings_sheets_and_words_in_german_are_proposed(room):
    book = room.workbook({
        "Patienten": [["Patienten-Nr", "Einschluss", "Alter", "Geschlecht"], ["P01", DAY, 40, "w"], ["P02", DAY, 50, "m"]],
        "Messungen": [["Patienten-Nr", "Besuch", "Messung", "Ort", "Seite", "Wert", "Bemerkung"], ["P01", "vorher", "girth", "thigh", "links", 44.5, "ok"]],
    })  # fmt: skip
    said = suggested(room, {"study.xlsx": book})
    rows = {tuple(line.split(",")[:4]) for line in said.splitlines() if line.startswith(("Patienten,", "Messungen,"))}
    assert rows == {
        ("Patienten", "Patienten-Nr", "participants", "participant_id"), ("Patienten", "Einschluss", "participants", "enrolled_on"),
        ("Patienten", "Alter", "participants", "age_years"), ("Patienten", "Geschlecht", "participants", "sex"),
        ("Messungen", "Patienten-Nr", "assessments", "participant_id"), ("Messungen", "Besuch", "assessments", "visit"),
        ("Messungen", "Messung", "assessments", "measure"), ("Messungen", "Ort", "assessments", "place"),
        ("Messungen", "Seite", "assessments", "side"), ("Messungen", "Wert", "assessments", "response"),
        ("Messungen", "Bemerkung", "assessments", "note"),
    }  # fmt: skip
    assert "sex 'w' means female" in said
    assert "sex 'm' means male" in said


def test_headings_days_and_words_in_french_are_proposed(room):
    text = "Code;Date d'inclusion;\u00c2ge;Sexe\nP01;05/01/2026;40;F\nP02;25/01/2026;50;H\n"
    said = suggested(room, {"patients.csv": text.encode()})
    assert "patients.csv,Date d'inclusion,participants,enrolled_on,,%d/%m/%Y," in said
    assert "patients.csv,\u00c2ge,participants,age_years," in said
    assert "sex 'H' means male" in said
    assert "'Sexe' -> participants.sex: 2 normalised" in said


def test_a_proposal_says_how_many_cells_would_be_set_aside_with_their_rows_and_names_each_column_once(room):
    book = room.workbook({"participants": PEOPLE, "girth": [["Code", "girth_pre_L", "girth_pre_R"], ["P01", 44, 45]]})
    said = suggested(room, {"study.xlsx": book})
    assert said.count("'Code' -> assessments.participant_id") == 1
    assert (
        "'girth_pre_L' -> assessments.response (visit before measure girth item reading side left): 1 in rows set aside"
        in said
    )


MANY = [f"P{i:02d}" for i in range(1, 13)]
SESSION = "participant_id,session_id,started_at,status,total_minutes,active_minutes,work_kj\n"
HEAD = ",".join(HEADINGS) + "\n"


def answers(*rows):
    return HEAD + "".join(",".join(map(str, row)) + "\n" for row in rows)


def people(names):
    return "participant_id,enrolled_on\n" + "".join(f"{name},2026-01-05\n" for name in names)


RULES = {
    "a session of nobody": ({"sessions.csv": SESSION + "P09,s1,2026-01-08 09:00,done,40,30,20\n"}, 3, "sessions.csv, row 2, column 'participant_id' (P09): found 'P09', expected an id of the table participants"),
    "an answer of nobody": ({"assessments.csv": answers(girth("P09", "before", "left", 44))}, 3, "assessments.csv, row 2, column 'participant_id' (P09): found 'P09', expected an id of the table participants"),
    "a visit outside its window": ({"assessments.csv": answers(girth("P01", "before", "left", 44, "2026-02-20"))}, 0, "found '2026-02-20', expected"),
    "one session exported twice": ({"sessions.csv": SESSION + "P01,s1,2026-01-08 09:00,done,40,30,20\nP01,s2,2026-01-08 09:02,done,40,30,20\n"}, 0, "sessions.csv, row 3, column 'started_at' (P01): found '2026-01-08 09:02', expected sessions that differ; all numbers are those of row 2 on the same day: exported twice?"),
    "the same start twice": ({"sessions.csv": SESSION + "P01,s1,2026-01-08 09:00,done,40,30,20\nP01,s2,2026-01-08 09:00,done,41,31,22\n"}, 0, "expected one session at a time; row 2 has the same start"),
    "a session after leaving": ({"participants.csv": "participant_id,enrolled_on,left_on\nP01,2026-01-05,2026-01-06\nP02,2026-01-05,\n", "sessions.csv": SESSION + "P01,s1,2026-01-08 09:00,done,40,30,20\n"}, 0, "a day on or before left_on, 2026-01-06"),
    "sides swapped": ({"assessments.csv": answers(*(girth("P01", v, s, x, d) for v, d, pair in (("before", "2026-01-06", (42, 46)), ("after", "2026-03-30", (46.2, 42.1))) for s, x in zip(("left", "right"), pair, strict=True)))}, 0, "the sides as at before: left 42, right 46; now left 46.2, right 42.1, which would fit the other way round"),
    "another rater": ({"assessments.csv": answers(girth("P01", "before", "left", 44), girth("P01", "after", "left", 45, "2026-03-30", "R2"))}, 0, "people who had another at after than at before, which adds the difference between raters to their change: girth 1 of 1"),
    "two units in a column": ({"participants.csv": people(MANY), "assessments.csv": answers(*(girth(name, "before", "left", 17.5 if i < 3 else 46) for i, name in enumerate(MANY)))}, 0, "expected one unit in a column; 3 of 12 values would fit inches (in)"),
    "readings rounded to half": ({"participants.csv": people(MANY), "assessments.csv": answers(*(girth(n, v, s, 44.5 + i % 4 / 2, d) for i, n in enumerate(MANY) for v, d in (("before", "2026-01-06"), ("after", "2026-03-30")) for s in ("left", "right")))}, 0, "of 48 girth reading readings 100% end in 0 or 5, and a fifth would by chance: they may be rounded"),
}  # fmt: skip
"""Files of a sound study that differ, the exit code, and what is said."""


@pytest.mark.parametrize("name", RULES)
def test_a_rule_across_tables_and_visits_speaks_through_the_command_line(room, name):
    files, code, said = RULES[name]
    found, out, err = room.check({"assessments.csv": answers(*GOOD), **files})
    assert (found, said in out + err) == (code, True), (found, out, err)


@pytest.mark.parametrize(
    "name", ["one session exported twice", "a visit outside its window", "another rater", "sides swapped"]
)
def test_a_decision_with_role_day_and_reason_answers_the_query_and_stays_in_the_ledger(room, name):
    import csv
    import re

    files, _, _ = RULES[name]
    files = {"assessments.csv": answers(*GOOD), **files}
    _, out, _ = room.check(files)
    queries = re.findall(r"\[(q[0-9a-f]{8})\]", out)
    assert queries
    lines = [f"{query},keep,therapist,2026-04-02,looked at the paper" for query in queries]
    answered = files | {"decisions.csv": "\n".join(["query,decision,role,date,reason", *lines, ""])}
    code, out, _ = room.check(answered)
    assert (code, "No findings." in out) == (0, True), out
    with (room.folder / "results" / "check" / "decisions.csv").open(encoding="utf-8", newline="") as file:
        kept = list(csv.DictReader(file))
    assert {row["query"] for row in kept} == set(queries)
    assert {(row["decision"], row["role"], row["date"], row["reason"]) for row in kept} == {
        ("keep", "therapist", "2026-04-02", "looked at the paper")
    }
