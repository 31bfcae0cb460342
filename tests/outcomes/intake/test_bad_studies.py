"""Malformed studies through the command lines that come after the check: analysis, parameters, reports, machine.

Names of cases as in test_bad_inputs.py, and J parameters, K text, L privacy, N too little or odd data. Of every
refusal: exit code, words, nothing written, nothing of the study changed.
"""

from __future__ import annotations

import errno
import html
import io
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from contextlib import redirect_stderr, redirect_stdout

import pytest

from outcomes.cli import run

PEOPLE = "participant_id,enrolled_on,age_years,sex\n"
ANSWER = "participant_id,visit,measure,place,side,item,trial,response,assessed_at\n"
DAYS = (("before", "2026-01-06"), ("after", "2026-03-30"))


def said(*words):
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run(list(words))
    assert "Traceback" not in out.getvalue() + err.getvalue()
    return left.value.code, out.getvalue(), err.getvalue()


def study(*pairs):
    """Return the tables of a study: a pair of readings, before and after, of both sides for each participant."""
    names = [f"P{i:02d}" for i in range(1, len(pairs) + 1)]
    rows = [
        f"{name},{visit},girth,thigh,{side},reading,1,{value},{day}\n"
        for name, pair in zip(names, pairs, strict=True)
        for (visit, day), value in zip(DAYS, pair, strict=True)
        for side in ("left", "right")
        if value is not None
    ]
    people = "".join(f"{name},2026-01-05,{40 + i},female\n" for i, name in enumerate(names))
    return {"participants.csv": PEOPLE + people, "assessments.csv": ANSWER + "".join(rows)}


def contents(room):
    """Return every file of the study folder that is no result, by name."""
    return {
        path.relative_to(room.folder).as_posix(): path.read_bytes()
        for path in room.folder.rglob("*")
        if path.is_file() and path.relative_to(room.folder).parts[0] not in ("results", "reports")
    }


def analysed(room, files):
    """Check and analyse a study; return the record."""
    assert room.check(files)[0] == 0
    before = contents(room)
    code, _, err = said("analyse", str(room.folder))
    assert code == 0, err
    assert contents(room) == before
    latest = (room.folder / "results" / "latest").read_text(encoding="utf-8").strip()
    return json.loads((room.folder / "results" / latest / "record.json").read_text(encoding="utf-8"))


def estimates(record, start, end):
    """Return the estimates of one outcome whose key begins and ends so."""
    found = [one for one in record["estimates"] if one["key"].startswith(start) and one["key"].endswith(end)]
    assert found
    return found


TOO_LITTLE = {
    "F11 one visit": (((44, None), (45, None), (46, None)), "mean", "nobody has both values"),
    "N01 one pair": (((44, 45),), "mean", "1 person has both values; at least 3 are needed"),
    "N02 no variation": (tuple((40 + i, 41 + i) for i in range(6)), "d_z", "everybody changed by the same amount"),
}
"""Readings before and after, the statistic that cannot be estimated, and a word of the reason."""


@pytest.mark.parametrize("name", TOO_LITTLE)
def test_too_little_data_give_a_reason_and_no_number(room, name):
    pairs, statistic, reason = TOO_LITTLE[name]
    for one in estimates(analysed(room, study(*pairs)), "change/girth.girth", f"/{statistic}"):
        assert (one["status"], one["value"], one["interval"]) == ("not estimable", None, None)
        assert reason in one["reason"]


def test_a_reviewer_s_decisions_are_part_of_the_record_and_their_number_stands_on_every_page(room):
    from outcomes.reports.abstract import page_notes
    from outcomes.reports.facts import Facts
    from outcomes.result import Record

    files = study((44, 45), (45, 47), (50, 53), (41, 75))
    _, out, _ = room.check(files)
    query = re.search(r"found '75', expected usually .*\[(q[0-9a-f]+)\]", out).group(1)
    decisions = f"query,decision,role,date,reason\n{query},set_aside,therapist,2026-04-02,tape slipped\n"
    record = analysed(room, files | {"decisions.csv": decisions})
    table = next(table for table in record["tables"] if table["name"] == "decisions")
    assert [list(row.values()) if isinstance(row, dict) else list(row) for row in table["rows"]] == [
        [query, "set_aside", "therapist", "2026-04-02", "tape slipped"]
    ]
    latest = (room.folder / "results" / "latest").read_text(encoding="utf-8").strip()
    notes = page_notes(Facts(Record.read(room.folder / "results" / latest / "record.json"), "", "", "", False))
    assert "Queries about the data that a reviewer answered: 1; values set aside so: 1." in notes


REPEATS = "participant_id,occasion,measure,place,side,item,trial,response\n"


def repeats(*rows):
    """Return a table of repeats: a row of readings a participant, an occasion each."""
    lines = [
        f"P{i:02d},{occasion},girth,thigh,{side},reading,1,{value}\n"
        for i, row in enumerate(rows, start=1)
        for occasion, value in zip(("one", "two"), row, strict=True)
        for side in ("left", "right")
        if value is not None
    ]
    return {"repeats.csv": REPEATS + "".join(lines)}


def test_constant_repeats_have_no_correlation_and_say_why(room):
    """N03."""
    files = study(*[(44, 45 + i) for i in range(6)]) | repeats(*[(44, 44)] * 6)
    for one in estimates(analysed(room, files), "reliability/girth.girth", ""):
        assert (one["status"], one["value"], bool(one["reason"])) == ("not estimable", None, True), one["key"]


def test_a_missing_repeat_is_counted_and_the_rest_is_estimated(room):
    """N04: seven complete pairs and one rating alone; the eighth person is counted as lost."""
    pairs = [(40 + i, 40 + i + (i % 3) / 2) for i in range(7)]
    files = study(*[(44, 45 + i) for i in range(8)]) | repeats(*pairs, (47, None))
    record = analysed(room, files)
    [one] = estimates(record, "reliability/girth.girth", "/icc_a_1")
    assert (one["status"], one["n_people"]) == ("estimated", 7)
    [lost] = estimates(record, "reliability/girth.girth", "/people_incomplete")
    assert lost["value"] == 1
    shutil.rmtree(room.folder / "results")
    alone = analysed(room, study(*[(44, 45 + i) for i in range(8)]) | repeats(*pairs))
    [same] = estimates(alone, "reliability/girth.girth", "/icc_a_1")
    assert same["value"] == one["value"]  # seven complete pairs alone give the same number: nothing was filled in
    [nobody] = estimates(alone, "reliability/girth.girth", "/people_incomplete")
    assert nobody["value"] == 0


GROUPS = """
[[groups]]
key = "a"
label = "Trained"
reference = true
[[groups]]
key = "b"
label = "Waited"
[[groups]]
key = "c"
label = "Other"
"""


def test_a_group_with_nobody_left_is_named_in_the_flow_and_the_others_are_compared_without_it(room):
    """N06: nobody of the second of three groups came to the second visit."""
    files = study(*[(40 + i / 3, None if i % 3 == 1 else 41 + i / 3 + i % 4 / 4) for i in range(24)])
    header, *rows = files["participants.csv"].splitlines()
    people = [f"{row},{'abc'[i % 3]}" for i, row in enumerate(rows)]
    files["participants.csv"] = "\n".join([f"{header},group", *people, ""])
    design = 'design = "parallel groups"\nallocation = "randomised"'
    text = room.protocol_text().replace('design = "single arm"', design).replace("[[visits]]", f"{GROUPS}[[visits]]", 1)
    record = analysed(room, files | {"protocol.toml": text})
    [empty] = estimates(record, "groups/girth.girth/thigh.mean/b_minus_a/", "/ancova_difference")
    assert empty["status"] == "not estimable"
    assert empty["reason"] == "0 people have both values in group b; at least 3 are needed"
    [other] = estimates(record, "groups/girth.girth/thigh.mean/c_minus_a/", "/ancova_difference")
    assert (other["status"], other["n_people"]) == ("estimated", 16)
    flow = next(table for table in record["tables"] if table["name"] == "flow")
    assert ["analysed, Girth (thigh, mean of both sides)", 0, "group b, nobody left to compare"] in flow["rows"]


def test_a_protocol_without_a_primary_outcome_is_refused(room):
    """N09."""
    text = room.protocol_text().replace('role = "primary"', 'role = "secondary"')
    code, out, err = room.check({"protocol.toml": text})
    assert code == 3
    assert "primary" in out + err
    assert not (room.folder / "results").exists()


PARAMETERS = {
    "J01 misspelt": ("alpah=0.1", "unknown parameter 'alpah'"),
    "J01 misspelt key": ("analysis.alpah=0.1", "alpha"),
    "J02 code as a name": ("import os; a=1", "'import os; a' is no name of a parameter"),
    "J04 a reserved word": ("class=1", "'class' is no name of a parameter"),
    "J05 no number": ("report.conference.words=abc", "found 'abc', expected a whole number from 50 to 5000"),
    "J05 out of range": ("report.conference.words=-5", "found '-5', expected a whole number from 50 to 5000"),
    "J03 no value": ("alpha", "expected KEY=VALUE"),
}


@pytest.mark.parametrize("name", PARAMETERS)
def test_a_wrong_parameter_is_refused_before_anything_runs(room, name):
    pair, words = PARAMETERS[name]
    room.check(study((44, 45), (45, 47)))
    before = contents(room)
    code, out, err = said("report", str(room.folder), "--for", "conference", "--set", pair)
    assert (code in (2, 3), out) == (True, "")
    assert words in err
    assert contents(room) == before
    assert not (room.folder / "reports").exists()


@pytest.mark.parametrize("file", ["participants.csv", "assessments.csv", "protocol.toml", "measures/girth.toml"])
@pytest.mark.parametrize("command", ["check", "score", "dose", "analyse"])
def test_an_output_that_is_an_input_is_refused(room, command, file):
    """J09."""
    room.check(study((44, 45), (45, 47)))
    before = contents(room)
    code, out, err = said(command, str(room.folder), "-o", str(room.folder / file))
    assert (code, out) == (2, "")
    assert "may be data of the study; nothing is written over it" in err
    assert contents(room) == before


def test_an_output_into_a_file_of_its_own_is_written_and_written_again(room, tmp_path):
    """J09."""
    room.check(study((44, 45), (45, 47)))
    for _ in range(2):
        assert said("score", str(room.folder), "-o", str(tmp_path / "scores.csv"))[0] == 0
    assert (tmp_path / "scores.csv").read_text(encoding="utf-8").startswith("participant_id,")


MACHINES = {
    "M07 German": {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"},
    "M07 far east": {"TZ": "Pacific/Auckland", "PYTHONHASHSEED": "7"},
}

GERMAN = """
import locale, os, pathlib, sys
if os.environ.get("LC_ALL") == "de_DE.UTF-8":
    try:
        locale.setlocale(locale.LC_ALL, "")
    except locale.Error:  # a machine without that locale: what Python's own functions would then be told
        locale._override_localeconv = {"decimal_point": ",", "thousands_sep": "."}
    pathlib.Path(os.environ["SEEN"]).write_text(locale.localeconv()["decimal_point"])
"""


def test_numbers_do_not_depend_on_the_machine(room, tmp_path):
    """M07: a locale with a decimal comma that is really in force, another time zone, no home, no folder to write in."""
    record = analysed(room, study((44.5, 45.25), (45, 47), (50, 53), (41, 41)))
    before = contents(room)
    empty, places, site = (tmp_path / name for name in ("elsewhere", "locales", "site"))
    for folder in (empty, places, site):
        folder.mkdir()
    (site / "sitecustomize.py").write_text(GERMAN, encoding="utf-8")
    if shutil.which("localedef"):
        made = ["localedef", "-c", "-i", "de_DE", "-f", "UTF-8", str(places / "de_DE.UTF-8")]
        subprocess.run(made, capture_output=True, check=False)
    empty.chmod(0o555)
    words = [sys.executable, "-m", "outcomes", "analyse", str(room.folder), "--json"]
    kept = {name: value for name, value in os.environ.items() if name not in ("HOME", "XDG_CONFIG_HOME")}
    kept["PYTHONPATH"] = os.pathsep.join([str(site), *filter(None, sys.path)])
    kept |= {"LOCPATH": str(places), "SEEN": str(tmp_path / "seen")}
    for machine in MACHINES.values():
        done = subprocess.run(words, cwd=empty, env=kept | machine, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr
        latest = (room.folder / "results" / "latest").read_text(encoding="utf-8").strip()
        again = json.loads((room.folder / "results" / latest / "record.json").read_text(encoding="utf-8"))
        assert again == record
    assert (tmp_path / "seen").read_text(encoding="utf-8") == ","
    assert (contents(room), list(empty.iterdir())) == (before, [])


def test_a_notebook_without_its_cell_of_parameters_is_refused_before_anything_runs(room):
    """J07: the author's own copy in the study folder, whose cell has lost its tag."""
    from outcomes.reports.run import notebooks_folder

    room.check(study((44, 45), (45, 47)))
    book = json.loads((notebooks_folder() / "conference.ipynb").read_text(encoding="utf-8"))
    for cell in book["cells"]:
        cell["metadata"].pop("tags", None)
    (room.folder / "notebooks").mkdir()
    (room.folder / "notebooks" / "conference.ipynb").write_text(json.dumps(book), encoding="utf-8")
    before = contents(room)
    code, out, err = said("report", str(room.folder), "--for", "conference", "--set", "word_limit=200")
    assert (code, out) == (2, "")
    assert "conference.ipynb has 0 code cells with the tag 'parameters'; it needs exactly one" in err
    assert contents(room) == before
    assert not (room.folder / "reports").exists()


def test_a_public_page_hides_the_only_woman_and_what_would_give_her_away_and_names_letters_it_lacks(room, tmp_path):
    """L05 a woman with a lesion at C5, L06 the men beside her, K05 letters that the font lacks, J03 code as a value."""
    files = study(*[(40 + i / 3, 41 + i / 3 + i % 5 / 4) for i in range(26)])
    header, first, *rows = files["participants.csv"].splitlines()
    people = [f"{first},C5", *(f"{row.replace('female', 'male')},T5" for row in rows)]
    files["participants.csv"] = "\n".join([f"{header},neurological_level", *people, ""])
    text = room.definitions["girth"].replace('title = "Girth"', 'title = "Girth \u5468\u56f2"')
    assert room.check(files | {"measures/girth.toml": text})[0] == 0
    ran = tmp_path / "ran"
    title = f"""7' + "8" + \\'); open({str(ran)!r}, 'w') #"""
    words = ("report", str(room.folder), "--for", "conference", "--public", "--set", f"study.title={title}")
    code, _, err = said(*words)
    assert (code, ran.exists()) == (0, False), err
    page = (room.folder / "reports" / "conference" / "report.html").read_text(encoding="utf-8")
    words = html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page)))
    assert "Sex: female 26 of 26 not shown Sex: male 26 of 26 not shown" in words
    assert "Counts of fewer than 11 people, and those that would give them away, are not shown." in words
    assert "The font of the figure lacks: \u5468\u56f2" in words
    assert title in words
    for path in (room.folder / "reports").rglob("*"):
        if path.is_file() and path.suffix != ".png":  # the picture has its words in the svg beside it
            content = path.read_bytes() if path.suffix != ".docx" else unpacked(path)
            for hidden in (rb"\b25 of 26\b", rb"\b1 of 26\b", rb"\bC5\b"):
                assert not re.search(hidden, content), (path.name, hidden)


def test_text_of_the_clinic_is_inert_in_every_form_and_notes_and_dates_are_not_shared(room):
    """K03 a picture that would run in the title, K05 letters that the font lacks, L02 a name in a note, L09 dates."""
    title = 'title = "<img src=x onerror=alert(1)> \u6e2c\u5b9a"'
    events = "participant_id,event_id,occurred_on,kind,description\nP01,e1,2026-01-17,skin,Zacharias fell\n"
    protocol = room.protocol_text().replace('title = "Small"', title).replace('"none occurred"', '"table"')
    files = study((44, 45), (45, 47), (50, 53), (41, 41)) | {"events.csv": events, "protocol.toml": protocol}
    assert room.check(files)[0] == 0
    code, _, err = said("report", str(room.folder), "--for", "conference", "--public")
    assert code == 0, err
    written = [path for path in (room.folder / "reports").rglob("*") if path.is_file()]
    assert {path.suffix for path in written} >= {".html", ".txt", ".docx", ".ipynb"}
    for path in written:
        content = path.read_bytes() if path.suffix != ".docx" else unpacked(path)
        if path.suffix not in (".txt", ".md", ".ipynb", ".csv"):
            assert b"<img src=x" not in content, path.name
        for text in (b"Zacharias", b"2026-01-17", b"2026-01-06", b"P01"):
            assert text not in content, (path.name, text)


def unpacked(path):
    """Return the parts of a document but its pictures, whose bytes mean nothing as text."""
    with zipfile.ZipFile(path) as parts:
        return b"".join(parts.read(name) for name in parts.namelist() if not name.endswith(".png"))


@pytest.mark.parametrize("what", ["mkdir", "open"])
def test_a_read_only_folder_is_said_in_one_line_and_nothing_of_it_changes(room, monkeypatch, what):
    """J09, M07: what a file system answers that cannot be written, whoever runs the tests."""
    assert room.check(study((44, 45), (45, 47)))[0] == 0
    shutil.rmtree(room.folder / "results")
    before, real = contents(room), getattr(os, what)

    def read_only(path, *rest, **named):
        writes = what == "mkdir" or bool(rest and rest[0] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
        if writes and str(path).startswith(str(room.folder)):
            raise OSError(errno.EROFS, "Read-only file system", str(path))
        return real(path, *rest, **named)

    monkeypatch.setattr(os, what, read_only)
    for command in ("check", "analyse"):
        code, out, err = said(command, str(room.folder))
        assert (code, out) == (2, ""), (out, err)
        assert "Read-only file system" in err
        assert err.count("\n") == 1
    monkeypatch.undo()
    assert contents(room) == before
    assert [path for path in (room.folder / "results").rglob("*") if path.is_file()] == []


def test_a_folder_without_the_right_to_write_is_said(room):
    """The same by the rights of the folder, where they bind: the superuser may write everywhere."""
    assert room.check(study((44, 45), (45, 47)))[0] == 0
    shutil.rmtree(room.folder / "results")
    before = contents(room)
    room.folder.chmod(0o555)
    code, _, err = said("check", str(room.folder))
    room.folder.chmod(0o755)
    assert contents(room) == before
    if os.geteuid():
        assert code == 2
        assert "Permission denied" in err
    else:
        assert code == 0
