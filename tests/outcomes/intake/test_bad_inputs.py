# ruff: noqa: E501
"""Malformed inputs as clinics have them, each as a real file through the command line: what is said, and the exit code.

Letters and numbers name the cases: A structure of text files, B characters, C numbers, D ids, E dates, F scales, G
sessions, H workbooks, I protocols, K text that attacks, M files and machine; `ROWS` lists all. 3 is the exit code of refused input, 0 of a
run that goes on; a case that asks goes on.
"""

from __future__ import annotations

import ast
import io
import re
import zipfile
from pathlib import Path

import pytest

PEOPLE = "participant_id,enrolled_on,age_years\n"
TWO = "P01,2026-01-05,40\nP02,2026-01-05,50\n"
ANSWER = "participant_id,visit,measure,place,side,item,trial,response,assessed_at\n"
GIRTH = "P01,before,girth,thigh,left,reading,1,{},2026-01-06\n"
TONE = "{},before,tone,knee,{},grade,,{},2026-01-06\n"
SESSION = "participant_id,session_id,started_at,status,total_minutes,passive_minutes,active_minutes,work_kj,mean_power_w,mean_cadence_rpm\n"
DONE = "P01,s1,2026-01-08 09:00,done,{},{},{},{},{},{}\n"
STIMULATION = "participant_id,session_id,channel,current_ma,pulse_width_us,frequency_hz\n"
RIDE = {"sessions.csv": SESSION + DONE.format(40, 5, 30, 20, "", "")}


def girths(*values):
    """Return a table of readings of one place, a visit and side each."""
    keys = [
        (person, visit, side)
        for person in ("P01", "P02")
        for visit in ("before", "after")
        for side in ("left", "right")
    ]
    lines = [f"{p},{v},girth,thigh,{s},reading,1,{x},\n" for (p, v, s), x in zip(keys, values, strict=False)]
    return {"assessments.csv": ANSWER + "".join(lines)}


def girth(text):
    quoted = '"' + str(text).replace('"', '""') + '"'
    return {"assessments.csv": ANSWER + GIRTH.format(quoted)}


def people(*lines, header=PEOPLE):
    return {"participants.csv": header + "".join(f"{line}\n" for line in lines)}


def tone(*grades):
    return {"assessments.csv": ANSWER + "".join(TONE.format(p, s, g) for (p, s), g in zip(
        [("P01", "left"), ("P01", "right"), ("P02", "left"), ("P02", "right")], grades, strict=False))}  # fmt: skip


CASES = {
    # A. Structure of a text file
    "A01": ({"participants.csv": ""}, 3, "participants.csv: expected headings and rows; the file is empty"),
    "A02 required": (people(), 3, "participants.csv, row 1: expected at least one row below the headings of participants"),
    "A02 optional": ({"events.csv": "participant_id,event_id,kind\n"}, 0, "No findings."),
    "A03": ({"participants.csv": (PEOPLE + TWO).replace(",", ";")}, 0, "No findings."),
    "A04": (people("P01,2026-01-05,40,x", "P02,2026-01-05,50"), 3, "row 2: expected 3 fields, as there are headings; the row has 4"),
    "A06 required": (people("P01,2026-01-05,40", "P02,2026-01-05,50", header="enrolled_on,age_years,participant_id\n"), 3, "found"),
    "A06 optional": (people("P01,2026-01-05,40", "P02,2026-01-05"), 0, "row 3: expected 3 fields, as there are headings; the row has 2"),
    "A07": (people("P01,40,41", header="participant_id,age_years,age_years\n"), 3, "each heading once; columns 2, 3 bear it"),
    "A09": (people("P01,2026-01-05,40", "P02,2026-01-05,50", header="participant_id, enrolled_on,age_years \n"), 0, "No findings."),
    "A10": (people(",,a", "P01,2026-01-05,40", "P02,2026-01-05,50"), 3, "Say unit_row = 2 under [intake] in protocol.toml"),
    "A12": (people("P01,2026-01-05,40", '"P02,2026-01-05,50'), 3, "row 3: expected a closing quote"),
    "A13 people": (people("P01,2026-01-05,40", "P02,2026-01-05,50", "Mean,,45"), 3, "it looks like a row of totals"),
    "A13 answers": ({"assessments.csv": ANSWER + GIRTH.format(44) + "Mean,before,girth,thigh,left,reading,1,44,\n"}, 3, "row 3, column 'participant_id' (Mean): found 'Mean', expected an id of the table participants"),
    "A14": (people("P01,2026-01-05,40", ",,", "", "P02,2026-01-05,50"), 0, "No findings."),
    "A15 near": (people("P01,x", "P02,y", header="participant_id,ais_grad\n"), 0, "did you mean 'ais_grade'? It is kept as an extra column"),
    "A15 far": (people("P01,x", "P02,y", header="participant_id,shoe\n"), 0, "Next: outcomes analyse"),
    "A16": (people("P01,40", "P02,50", header="participant,age_years\n"), 3, "did you mean 'participant_id'?"),
    # B. Encoding and characters
    "B01": ({"participants.csv": b"\xef\xbb\xbf" + (PEOPLE + TWO).encode()}, 0, "No findings."),
    "B02": ({"participants.csv": (PEOPLE + TWO + "Jos\xe9,2026-01-05,40\n").encode("latin-1")}, 3, 'byte 0xe9 in row 4 is not, as in Latin-1 or Windows-1252'),
    "B03": ({"participants.csv": (PEOPLE + TWO).encode("utf-16")}, 3, "the file is UTF-16"),
    "B04": (people("P01,2026-01-05,4\x000", "P02,2026-01-05,50"), 3, "row 2, column 'age_years' (P01): found '4\\x000'"),
    "B05": ({"participants.csv": (PEOPLE + TWO).replace("\n", "\r")}, 0, "No findings."),
    "B06": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, "−3", "", "")}, 0, "found '−3', expected usually 0 to 130 kJ"),
    "B08": (people("P01,2026-01-05,４０", "P02,2026-01-05,50"), 0, "No findings."),
    "B09": (people("P01,2026-01-05,40", "P0\u200b2,2026-01-05,50"), 3, "it holds U+200B"),
    "B11": ({**people("Jose\u0301,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "Jos\xe9")}, 0, "No findings."),
    # C. Numbers and missing values
    "C01": (girth("41,5"), 3, "found '41,5', expected"),
    "C02": (girths("1,234"), 3, "row 2"),
    "C03": (girth("40 cm"), 3, "the number alone, without its unit"),
    "C04": (girth("<5"), 3, "a limit of the device is no value: leave it empty and say so in a note"),
    "C05": (girth("1e309"), 3, "found '1e309', expected"),
    "C06 none": (girth("null"), 3, "declared under [intake] missing_words"),
    "C06 text": (people("P01,None", "P02,NA", header="participant_id,left_reason\n"), 0, "Next: outcomes analyse"),
    "C07": (girth("999"), 3, "found '999', expected 10 to 100 cm"),
    "C08": (girth("n/a "), 3, "declared under [intake] missing_words"),
    "C10 hard": (girth("900"), 3, "found '900', expected 10 to 100 cm"),
    "C10 soft": (girth("75"), 0, "found '75', expected usually 35 to 70 cm"),
    "C11": (girth("17.5"), 0, "the value would fit inches (in)"),
    "C12 duration": ({"sessions.csv": SESSION + DONE.format(-40, "", "", 20, "", "")}, 3, "found '-40', expected 0 to 240 min"),
    "C12 motor": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, -20, "", "")}, 0, "found '-20', expected usually 0 to 130 kJ"),
    "C12 work": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, -80, "", "")}, 3, "found '-80', expected -50 to 500 kJ"),
    "C14": (girths("", ""), 0, "values; the column is empty, and what needs it is left out"),
    # D. Identifiers
    "D01": ({**people("007,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "007")}, 0, "No findings."),
    "D02": ({**people("1E5,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "1E5")}, 0, "No findings."),
    "D03": ({**people("NA,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "NA")}, 0, "No findings."),
    "D04": (people("P01 ,2026-01-05,40", "P02,2026-01-05,50"), 0, "No findings."),
    "D05": (people("p01,2026-01-05,40", "P02,2026-01-05,50"), 3, "looks the same, case differs"),
    "D07": (people("P01,2026-01-05,40", "P01,2026-01-05,41", "P02,2026-01-05,50"), 3, "two rows for one key: row 2 has '40'"),
    "D09": ({"assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "P09")}, 3, "found 'P09', expected an id of the table participants"),
    # E. Dates
    "E01": (people("P01,03/04/2025,40", "P02,04/03/2025,50"), 3, "day and month could be swapped"),
    "E02": (people("P01,03/04/2025,40", "P02,25/04/2025,50"), 3, "row 3, column 'enrolled_on': found '25/04/2025', expected dates with one reading, 2 cells; this one can only be day first"),
    "E03": (people("P01,2026-02-30,40", "P02,2026-01-05,50"), 3, "there is no such day or time"),
    "E04": (people("P01,45321,40", "P02,45322,50"), 3, "numbers may be date serials"),
    "E05": (people("P01,5/1/25,40", "P02,6/1/25,50"), 3, "dates with four digits of year"),
    "E06 before": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, 20, "", "").replace("2026-01-08", "2026-01-01")}, 0, "a day on or after enrolled_on, 2026-01-05"),
    "E06 after": ({**RIDE, **people("P01,2026-01-05,2026-01-06", "P02,2026-01-05,", header="participant_id,enrolled_on,left_on\n")}, 0, "a day on or before left_on, 2026-01-06"),
    "E07": ({"assessments.csv": ANSWER + GIRTH.format(44) + GIRTH.format(45).replace("before", "after").replace("01-06", "01-05")}, 0, "expected a day after before, 2026-01-06; after is before it"),
    "E10 midnight": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, 20, "", "").replace("09:00", "23:50")}, 0, "No findings."),
    # F. Scales
    "F01": (tone("1+"), 0, "No findings."),
    "F02": (tone("1+", "1.5"), 3, "found '1.5', expected one of 0, 1, 1+, 2"),
    "F03": ({"assessments.csv": ANSWER + "P01,before,life,,,one,,5,\n"}, 3, "found '5', expected one of 1, 2, 3, 4"),
    "F04": ({"assessments.csv": ANSWER + "P01,before,life,,,one,,3,\nP01,before,life,,,two,,2,\nP01,before,life,,,total,,9,\n"}, 3, "found '9', expected the items; a total is formed from them, and the items give 5"),
    "F07": (girth("42/43"), 3, "one value a cell, one side a row"),
    "F08": ({"assessments.csv": ANSWER + GIRTH.format(44).replace("left", "Li")}, 3, "found 'Li', expected one of left, right, both"),
    "F09": ({"assessments.csv": ANSWER + GIRTH.format(44).replace("before", "T0")}, 3, "found 'T0', expected one of before, after"),
    "F06": ({
        **people(*(f"P{i:02d},2026-01-05,40" for i in range(1, 11))),
        "assessments.csv": ANSWER + "".join(TONE.format(f"P{i:02d}", "left", 0) for i in range(1, 11)),
    }, 0, "for tone lower is better, and at before 100% of 10 people are in the best fifth of 0 to 3; was the scale turned round?"),
    # G. Sessions and dose
    "G01": ({"sessions.csv": SESSION + DONE.format("", "", 1800, 20, "", "")}, 3, "found '1800', expected 0 to 180 min; 1800 would fit s"),
    "G02": ({**RIDE, "stimulation.csv": STIMULATION + "P01,s1,1,120000,300,35\n"}, 3, "found '120000', expected 0 to 200 mA; 120000 would fit"),
    "G03": ({**RIDE, "stimulation.csv": STIMULATION + "P01,s1,1,60,0.3,35\n"}, 0, "found '0.3', expected usually 100 to 500 µs; 0.3 would fit ms"),
    "G04": ({"sessions.csv": SESSION + DONE.format(40, 5, 30, 18, 10, 0)}, 0, "more than 0 rpm, as the mean power is 10 W"),
    "G06": ({"sessions.csv": SESSION + DONE.format(200, 5, 30, 20, "", "")}, 0, "found '200', expected usually 10 to 90 min"),
    "G07": ({"sessions.csv": SESSION + DONE.format(20, "", 30, 20, "", "")}, 3, "found '30', expected at most the total of 20 min"),
    # I. The protocol, as TOML
    "I01 empty": ({"protocol.toml": ""}, 3, "protocol.toml"),
    "I01 word": ({"protocol.toml": "hello"}, 3, "protocol.toml: Expected '='"),
    "I14 twice": ({"protocol.toml": "[study]\ntitle = 'a'\n[study]\ntitle = 'b'\n"}, 3, "protocol.toml, line"),
    # K. Text that attacks
    "K01": (people('P01,"=HYPERLINK(""http://example.org"",""x"")"', "P02,@SUM(A1)", header="participant_id,sex\n"), 3, "found '=HYPERLINK("),
    "K02": (people("P01,<script>alert(1)</script>", "P02,female", header="participant_id,sex\n"), 3, "found '<script>alert(1)</script>'"),
    "K07": (people(f"P01,{'x' * 5000}", "P02,female", header="participant_id,sex\n"), 3, "…"),
    "K08": ({**people("../../etc,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "../../etc")}, 0, "No findings."),
    # L, M. Privacy and the machine
    "L01": (people("P01,Ada,1950-01-01", "P02,Bo,1951-01-01", header="participant_id,Nachname,DOB\n"), 0, "codes only; the heading looks as if it told who somebody is"),
    "L03": ({**people("AB-030250,2026-01-05,40"), "assessments.csv": ANSWER + GIRTH.format(44).replace("P01", "AB-030250")}, 0, "initials with a day of birth"),
    "M01": ({"~$participants.xlsx": b"\x05me"}, 0, "the file beside it may be open and not saved yet"),
}  # fmt: skip
"""Name of the case: the files in which it differs from a sound study, the exit code, and what is said."""


@pytest.mark.parametrize("name", CASES)
def test_a_malformed_input_gets_its_answer(room, name):
    files, code, said = CASES[name]
    found, out, err = room.check(files)
    assert (found, said in out + err) == (code, True), (found, out, err)


LINES = {
    "I03": ("[analysis]\nalpha = 0.05\nalpha = 0.5", "Cannot overwrite a value"),
    "I04": ("[analysis]\nalhpa = 0.05", "did you mean 'alpha'?"),
    "I05": ("[study]\nsetting = NO", "line"),
    "I06": ("[study]\nsetting = 12:30", "line"),
    "I08": ('[analysis]\nalpha = "5e-2"', "alpha"),
    "I09 large": (
        "[analysis]\nalpha = 5",
        "analysis.alpha: found the number 5, expected a number above 0 and below 0.5",
    ),
    "I09 negative": (
        "[analysis]\nalpha = -0.05",
        "analysis.alpha: found the number -0.05, expected a number above 0 and below 0.5",
    ),
    "I09 nan": (
        "[analysis]\nalpha = nan",
        "analysis.alpha: found the number nan, expected a number above 0 and below 0.5",
    ),
    "I10": ("[study]\nsetting = FES: a trial", "line"),
    "I11": ('[study]\nsetting = !!python/object/apply:os.system ["x"]', "line"),
    "a date where text is meant": ("[study]\nsetting = 2026-01-01", "setting"),
}
"""Lines of a section that are wrong, and what is said; each stands in a protocol that is sound without them."""


@pytest.mark.parametrize("name", LINES)
def test_a_faulty_line_of_the_protocol_is_named(room, name):
    lines, said = LINES[name]
    head, _, rest = lines.partition("\n")
    sound = room.protocol_text()
    code, out, err = room.check({"protocol.toml": sound.replace(head, f"{head}\n{rest}", 1)})
    assert (code, said in out + err, "protocol.toml" in out + err) == (3, True, True), (code, out, err)
    assert not (room.folder / "results").exists()


def test_an_oversize_protocol_is_refused_unread(room):
    code, out, err = room.check({"protocol.toml": room.protocol_text() + "#" * 1_100_000})
    assert code == 3
    assert "protocol.toml" in out + err


def archive(**parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as book:
        for name, content in parts.items():
            book.writestr(name, content)
    return out.getvalue()


def commented(book):
    """Give a cell a comment."""
    from openpyxl.comments import Comment

    book["participants"]["A2"].comment = Comment("red: left out", "x")


def bombed(content):
    """Return a workbook whose first sheet declares entities."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as book, zipfile.ZipFile(out, "w") as changed:
        for name in book.namelist():
            part = book.read(name)
            if name.startswith("xl/worksheets/"):
                part = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]>' + part.partition(b"?>")[2]
            changed.writestr(name, part)
    return out.getvalue()


BOOKS = {
    "H01": (lambda room: (PEOPLE + TWO).encode(), 3, "the content is not a workbook; if it is text, name the file .csv"),
    "H04 cut": (lambda room: room.workbook({"participants": [["participant_id"], ["P01"]]})[:900], 3, "the archive is damaged or cut off"),
    "H04 other": (lambda room: archive(hello="x"), 3, "the archive holds no workbook"),
    "H05": (lambda room: room.workbook({"participants": [["participant_id", "age_years"], ["P01", "=40+1"], ["P02", 5]]}), 3, "the formula was never calculated"),
    "H06": (lambda room: room.workbook({"participants": [["participant_id", "age_years"], ["P01", "#REF!"], ["P02", 5]]}), 3, "row 2, column 'age_years' (P01): found '#REF!', expected a value; the cell holds an error, which is not the same as empty"),
    "H09": (lambda room: room.workbook({"participants": [["participant_id"], ["P01"], ["P02"]], "names": [["Nachname"], ["Smith"]]}, lambda book: setattr(book["names"], "sheet_state", "hidden")), 0, "participants.xlsx, names: expected sheets that can be seen; a hidden sheet stays in the file"),
    "H12": (lambda room: room.workbook({"participants": [["participant_id"], ["P01"], ["P02"]]}, commented), 0, "participants.xlsx, participants: expected all that counts in cells; comments are not read: 1 (A2)"),
    "H14": (lambda room: bombed(room.workbook({"participants": [["participant_id"], ["P01"]]})), 3, "entities"),
    "H07": (lambda room: room.workbook({"participants": [["participant_id", "age_years"], ["P01", 40], ["P02", 41]]}, lambda book: book["participants"].merge_cells("A2:A3")), 3, "A2:A3 is merged"),
    "H10": (lambda room: room.workbook({"one": [["participant_id"], ["P01"]], "two": [["a"], [1]]}), 3, "a sheet named 'participants'; the workbook has 'one', 'two'"),
}  # fmt: skip


@pytest.mark.parametrize("name", BOOKS)
def test_a_malformed_workbook_gets_its_answer(room, name):
    make, code, said = BOOKS[name]
    found, out, err = room.check({"participants.csv": None, "participants.xlsx": make(room)})
    assert (found, said in out + err) == (code, True), (found, out, err)


def test_an_encrypted_workbook_is_refused_with_what_to_do(room):
    """H03: the container in which a spreadsheet program puts a workbook with a password."""
    code, out, _ = room.check({"participants.csv": None, "participants.xlsx": room.encrypted()})
    assert code == 3
    assert re.search(r"participants\.xlsx: expected [^;\n]*; it is encrypted: save it without a password", out)
    assert "expected the table participants" not in out  # the workbook may hold it


def test_a_trace_that_ends_before_it_begins_is_refused_and_one_over_midnight_is_not(room):
    """E10."""
    head = "participant_id,session_id,recorded_at,power_w\n"
    row = "P01,s1,2026-01-{},10\n"
    (room.folder / "traces").mkdir()
    trace = room.folder / "traces" / "s1.csv"
    trace.write_text(head + row.format("08T23:59:59") + row.format("09T00:00:01"), encoding="utf-8")
    files = {"sessions.csv": SESSION + DONE.format("", "", "", "", "", "").replace("09:00", "23:50")}
    code, out, err = room.check_traced(files)
    assert (code, "clock" in out) == (0, False), (out, err)
    trace.write_text(head + row.format("08T10:30:00") + row.format("08T09:00:00"), encoding="utf-8")
    code, out, err = room.check_traced(files)
    assert code == 3
    assert (
        "traces/s1.csv, row 2, column 't_s' (P01): found 'session s1 at 0 s', expected a clock that only goes forward; it fell by 5400 s"
        in out
    )
    assert 'say on_error = "set_aside"' in err
    assert "clock_jump" in (room.folder / "results" / "check" / "findings.csv").read_text(encoding="utf-8")


def test_a_protocol_indented_with_tabs_is_read(room):
    """I02: tabs are no fault in TOML."""
    tabbed = re.sub(r"^(?=\w+ = )", "\t", room.protocol_text(), flags=re.MULTILINE)
    assert tabbed.count("\t") > 10
    assert room.check({"protocol.toml": tabbed})[0] == 0


def test_a_number_as_id_joins_the_same_id_as_text(room):
    """D06."""
    book = room.workbook({"participants": [["participant_id", "enrolled_on"], [7, "2026-01-05"]]})
    answers = ANSWER + GIRTH.format(44).replace("P01", "7")
    code, out, err = room.check({"participants.csv": None, "participants.xlsx": book, "assessments.csv": answers})
    assert (code, "No findings." in out) == (0, True), (out, err)


def test_a_workbook_named_csv_is_told_so(room):
    """H02."""
    code, out, err = room.check({"participants.csv": room.workbook({"participants": [["participant_id"], ["P01"]]})})
    assert (code, "participants.csv: expected text; the content is a workbook" in out + err) == (3, True), (out, err)


def test_a_link_to_a_protocol_elsewhere_is_not_followed(room, tmp_path):
    """I16: a protocol holds no paths; what remains is a file of the folder that is a link out of it."""
    (tmp_path / "elsewhere.toml").write_text(room.protocol_text(), encoding="utf-8")
    (room.folder / "protocol.toml").symlink_to(tmp_path / "elsewhere.toml")
    code, _, err = room.check({"protocol.toml": None})
    assert code == 2
    assert "'protocol.toml' lies outside the study folder" in err


def test_all_problems_of_a_file_are_listed_and_the_rest_counted(room):
    rows = "".join(f"P01,s{i},2026-01-08 09:00,done,900,5,30,20,,\n" for i in range(60))
    code, out, _ = room.check({"sessions.csv": SESSION + rows})
    assert code == 3
    assert out.count("found '900'") <= 20
    assert "more in results/check/findings.csv" in out
    listed = (room.folder / "results" / "check" / "findings.csv").read_text(encoding="utf-8")
    assert listed.count("hard_limit") == 60


def test_a_formula_typed_as_text_is_inert_in_what_is_exported(room):
    room.check(people("P01,=1+1", "P02,@SUM(A1)", header="participant_id,sex\n"))
    findings = (room.folder / "results" / "check" / "findings.csv").read_text(encoding="utf-8")
    assert "'=1+1" in findings
    assert ",=1+1" not in findings


def test_the_same_check_gives_the_same_bytes(room):
    """M06."""
    room.check(girth("17.5"))
    first = {path.name: path.read_bytes() for path in (room.folder / "results" / "check").iterdir()}
    room.check(girth("17.5"))
    assert {path.name: path.read_bytes() for path in (room.folder / "results" / "check").iterdir()} == first


def test_a_folder_that_cannot_be_written_is_said_and_nothing_is_lost(room, monkeypatch):
    """M02."""
    import os

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    code, _, err = room.check({})
    assert code == 2
    assert "cannot be written: No space left on device" in err


def test_a_table_of_300_megabytes_is_refused_at_a_stated_limit_without_being_read(room):
    import tracemalloc

    from outcomes.intake import read_folder

    (room.folder / "participants.csv").write_text(PEOPLE + TWO, encoding="utf-8")
    with (room.folder / "assessments.csv").open("wb") as file:
        file.truncate(300_000_000)
    tracemalloc.start()
    intake = read_folder(room.folder, room.protocol(), room.catalogue)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    finding = room.only(intake, "file_size")
    assert (finding.grade, finding.file) == ("block", "assessments.csv")
    assert finding.expected == "at most 64,000,000 bytes; it has 300,000,000"
    assert peak < 50_000_000


ROWS = {
    "A": "01 02 03 04 06 07 09 10 12 13 14 15 16",
    "B": "01 02 03 04 05 06 08 09 11",
    "C": "01 02 03 04 05 06 07 08 10 11 12 14",
    "D": "01 02 03 04 05 06 07 09",
    "E": "01 02 03 04 05 06 07 10",
    "F": "01 02 03 04 06 07 08 09 11",
    "G": "01 02 03 04 06 07",
    "H": "01 02 03 04 05 06 07 09 10 12 14",
    "I": "01 02 03 04 05 06 08 09 10 11 14 16",
    "J": "01 02 03 04 05 07 09",
    "K": "01 02 03 05 07 08",
    "L": "01 02 03 05 06 09",
    "M": "01 02 06 07",
    "N": "01 02 03 04 06 09 10",
}
"""Numbers of the cases of each letter."""

ELSEWHERE = {"N10": "reports/test_format.py::test_p_has_two_significant_digits_and_a_floor"}
"""Cases whose test has no name of theirs, by file and function under tests/outcomes."""


def named_cases(file):
    """Return the names of cases in a file of tests: those of its tables, and those in the docstring of a test."""
    tree = ast.parse((Path(__file__).parent / file).read_text(encoding="utf-8"))
    keys = [
        key.value
        for table in tree.body
        if isinstance(table, ast.Assign) and isinstance(table.value, ast.Dict) and table.targets[0].id != "ELSEWHERE"
        for key in table.value.keys
        if isinstance(key, ast.Constant)
    ]
    tests = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    told = [name for test in tests for name in re.findall(r"\b[A-N][0-9]{2}\b", ast.get_docstring(test) or "")]
    return {key[:3] for key in keys if re.fullmatch(r"[A-N][0-9]{2}( .*)?", str(key))} | set(told)


def test_every_case_is_listed_once_and_has_a_test_that_bears_its_name():
    cases = [f"{letter}{number}" for letter, numbers in ROWS.items() for number in numbers.split()]
    assert len(set(cases)) == len(cases) == 118
    here = named_cases("test_bad_inputs.py") | named_cases("test_bad_studies.py")
    assert set(ELSEWHERE) & here == set()
    for case, test in ELSEWHERE.items():
        file, _, function = test.partition("::")
        assert f"def {function}(" in (Path(__file__).parents[1] / file).read_text(encoding="utf-8"), case
    assert here | set(ELSEWHERE) == set(cases)
