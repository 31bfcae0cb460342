"""words.csv and decisions.csv: what they do, and faults of the files themselves."""

from __future__ import annotations

import pytest

HEADER = "query,decision,role,date,reason\n"
AGED = "participant_id,enrolled_on,age_years\nP01,2026-01-05,93\nP02,2026-01-05,50\n"


def ask(room):
    return room.only(room.read({"participants.csv": AGED}), "soft_limit").query


def decide(room, query, decision="keep", **cells):
    line = {"query": query, "decision": decision, "role": "assessor", "date": "2026-04-01", "reason": "checked"} | cells
    text = HEADER + ",".join(line.values()) + "\n"
    return room.read({"participants.csv": AGED, "decisions.csv": text})


def test_a_kept_value_is_asked_about_no_more(room):
    intake = decide(room, ask(room))
    assert intake.findings == ()
    assert intake.tables["participants"]["age_years"].tolist()[0] == 93.0
    answered = intake.ledger.decisions().iloc[0]
    assert answered[["decision", "role", "rule", "row"]].tolist() == ["keep", "assessor", "soft_limit", 2]


def test_a_value_decided_away_becomes_missing_with_its_reason(room):
    intake = decide(room, ask(room), "set_aside")
    assert intake.findings == ()
    assert intake.tables["participants"]["age_years"].isna().tolist() == [True, False]
    assert intake.ledger.cells()[["state", "reason", "typed"]].to_numpy().tolist() == [["emptied", "decision", "93"]]


def test_a_query_has_the_same_id_in_every_reading_until_its_cell_changes(room):
    first = ask(room)
    assert ask(room) == first
    changed = room.read({"participants.csv": AGED.replace("93", "94")})
    assert room.only(changed, "soft_limit").query != first


def test_an_answer_to_no_query_is_asked_about(room):
    intake = decide(room, "q00000000")
    assert room.where(intake, "no_such_query") == ("ask", "decisions.csv", 2, "query")


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"decision": "drop"}, "decision"),
        ({"role": ""}, "role"),
        ({"date": "1/4/2026"}, "date"),
        ({"reason": ""}, "reason"),
    ],
)
def test_a_fault_of_decisions_csv_names_its_row(room, cells, column):
    intake = decide(room, ask(room), **cells)
    assert room.where(intake, "decision") == ("block", "decisions.csv", 2, column)
    assert room.only(intake, "soft_limit")


def test_two_answers_to_one_query_are_refused(room):
    query = ask(room)
    lines = [f"{query},{decision},assessor,2026-04-01,checked\n" for decision in ("keep", "set_aside")]
    intake = room.read({"participants.csv": AGED, "decisions.csv": HEADER + "".join(lines)})
    assert room.where(intake, "decision") == ("block", "decisions.csv", 3, "decision")


def test_what_is_about_no_value_cannot_be_set_aside(room):
    files = {"notes.csv": "a,b\n1,2\n"}
    query = room.only(room.read(files), "not_read").query
    text = HEADER + f"{query},set_aside,assessor,2026-04-01,no table\n"
    assert room.where(room.read({**files, "decisions.csv": text}), "decision")[0] == "block"
    assert room.read({**files, "decisions.csv": text.replace("set_aside", "keep")}).findings == ()


@pytest.mark.parametrize(
    ("line", "rule", "column"),
    [
        ("visits,T0,before", "unknown_column", "column"),
        ("visit,,before", "empty_word", "word"),
        ("visit,T0,", "empty_word", "means"),
    ],
)
def test_a_fault_of_words_csv_names_its_row(room, line, rule, column):
    intake = room.read({"words.csv": f"column,word,means\n{line}\n"})
    assert room.where(intake, rule) == ("block", "words.csv", 2, column)


def test_a_word_with_two_meanings_is_refused(room):
    intake = room.read({"words.csv": "column,word,means\nvisit,T0,before\nvisit,T0,after\n"})
    assert room.where(intake, "two_meanings") == ("block", "words.csv", 3, "means")


def test_a_word_must_mean_something_that_exists(room):
    files = {
        "words.csv": "column,word,means\nvisit,T0,start\n",
        "assessments.csv": room.answers("P01,T0,life,,,two,,2,,"),
    }
    assert room.where(room.read(files), "unknown_visit") == ("set_aside", "assessments.csv", 6, "visit")


def test_words_of_groups_come_from_the_protocol(room):
    groups = (
        '[[groups]]\nkey = "bike"\nlabel = "Bike"\nwords = ["Rad"]\n'
        '[[groups]]\nkey = "usual"\nlabel = "Usual"\nreference = true\n'
    )
    people = "participant_id,enrolled_on,group\nP01,2026-01-05,Rad\nP02,2026-01-05,walk\n"
    intake = room.read({"participants.csv": people}, design="parallel groups", groups=groups)
    assert intake.tables["participants"]["group"].fillna("-").tolist() == ["bike", "-"]
    finding = room.only(intake, "unknown_group")
    assert (finding.grade, finding.row, finding.expected) == ("set_aside", 3, "one of bike, usual")


def test_a_value_that_is_set_aside_is_not_asked_about_as_well(room):
    rows = ("P01,before,girth,thigh,right,reading,1,75,refused,",)  # 75 is unusual, and an answer beside a reason
    intake = room.read({"assessments.csv": room.answers(*rows)}, intake='on_error = "set_aside"')
    assert [(f.grade, f.rule) for f in intake.findings] == [("set_aside", "answer_and_absent")]
