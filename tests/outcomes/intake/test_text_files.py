"""csv and tsv files: structure, encoding, characters."""

from __future__ import annotations

import pytest


def test_a_good_study_has_no_finding(room):
    intake = room.read()
    assert intake.findings == ()
    assert not intake.stops
    assert list(intake.tables) == ["participants", "visits", "assessments"]
    assert intake.tables["assessments"]["row_id"].tolist() == [f"assessments/{i}" for i in range(1, 5)]


def test_an_empty_file_is_refused(room):
    intake = room.read({"participants.csv": b""})
    assert room.where(intake, "empty_file") == ("block", "participants.csv", None, "")
    assert intake.stops


@pytest.mark.parametrize("name", ["participants", "assessments"])
def test_headings_alone_are_refused_where_the_table_is_required(room, name):
    header = {"participants": "participant_id\n", "assessments": room.ANSWERS_HEADER + "\n"}[name]
    intake = room.read({f"{name}.csv": header})
    assert len(intake.findings) == 1
    assert room.where(intake, "header_only") == ("block", f"{name}.csv", 1, "")


def test_headings_alone_are_accepted_where_the_table_is_optional(room):
    intake = room.read({"events.csv": "participant_id,event_id,kind\n"})
    assert intake.findings == ()
    assert len(intake.tables["events"]) == 0


def test_a_semicolon_is_found_and_named(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace(",", ";")})
    assert intake.findings == ()
    sources = intake.ledger.sources().set_index("file")
    assert "semicolon" in sources.loc["participants.csv", "note"]
    assert len(intake.tables["participants"]) == 2


def test_semicolon_and_decimal_comma_need_the_decimal_mark_declared(room):
    text = room.PARTICIPANTS.replace(",", ";").replace("40", "40,5").replace("50", "50,5")
    intake = room.read({"participants.csv": text})
    finding = room.only(intake, "decimal_comma")
    assert (finding.grade, finding.row, finding.column) == ("block", 2, "age_years")
    assert 'decimal = ","' in finding.remedy
    declared = room.read({"participants.csv": text}, intake='decimal = ","')
    assert declared.tables["participants"]["age_years"].tolist() == [40.5, 50.5]


def test_a_heading_that_two_separators_split_is_refused(room):
    intake = room.read({"words.csv": None, "participants.csv": "a;b,c;d\n1;2,3;4\n"})
    assert room.where(intake, "separator") == ("block", "participants.csv", 1, "")
    settled = room.read({"participants.csv": "a;b,c;d\n1;2,3;4\n"}, intake='separator = ";"')
    assert not room.of_rule(settled, "separator")


def test_a_tsv_file_is_read(room):
    intake = room.read({"participants.csv": None, "participants.tsv": room.PARTICIPANTS.replace(",", "\t")})
    assert intake.findings == ()
    assert len(intake.tables["participants"]) == 2


def test_a_row_with_more_fields_is_refused_by_row(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS + "P03,2026-01-05,60,late, by bus\n"})
    assert room.where(intake, "too_many_fields") == ("block", "participants.csv", 4, "")
    assert "quotes" in room.only(intake, "too_many_fields").remedy


def test_a_row_that_ends_early_is_asked_about(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS + "P03,2026-01-05\n"})
    assert room.where(intake, "too_few_fields") == ("ask", "participants.csv", 4, "")


def test_a_row_that_ends_before_a_required_cell_is_refused(room):
    intake = room.read({"sessions.csv": "participant_id,session_id,started_at,status\nP01,s1,2026-01-08\n"})
    assert room.where(intake, "too_few_fields") == ("block", "sessions.csv", 2, "")


def test_a_heading_that_stands_twice_is_refused_with_positions(room):
    intake = room.read({"participants.csv": "participant_id,age_years,age_years\nP01,40,41\nP02,50,51\n"})
    finding = room.only(intake, "duplicate_heading")
    assert (finding.grade, finding.file, finding.row, finding.column) == ("block", "participants.csv", 1, "age_years")
    assert "columns 2, 3" in finding.expected


def test_a_column_without_heading_is_refused_where_it_holds_values(room):
    intake = room.read({"participants.csv": "participant_id,,age_years\nP01,x,40\nP02,,50\n"})
    assert room.where(intake, "empty_heading") == ("block", "participants.csv", 1, "")
    assert (
        room.read({"participants.csv": "participant_id,enrolled_on,\nP01,2026-01-05,\nP02,2026-01-05,\n"}).findings
        == ()
    )


def test_blanks_around_a_heading_are_trimmed_and_counted(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("age_years", " age_years ")})
    assert intake.findings == ()
    assert intake.ledger.sources().set_index("file").loc["participants.csv", "trimmed_headings"] == 1


def test_a_row_of_units_is_refused_with_the_line_that_settles_it(room):
    text = "participant_id,height_cm,age_years\n,cm,\nP01,170,40\nP02,180,50\n"
    intake = room.read({"participants.csv": text})
    finding = room.only(intake, "unit_row")
    assert (finding.grade, finding.file, finding.row, finding.column) == ("block", "participants.csv", 2, "height_cm")
    assert "unit_row = 2" in finding.remedy


def test_a_declared_row_of_units_is_used(room):
    text = "participant_id,enrolled_on,height_cm\nunit,,m\nP01,2026-01-05,1.70\nP02,2026-01-05,1.80\n"
    intake = room.read({"participants.csv": text, "assessments.csv": _below_units(room)}, intake="unit_row = 2")
    assert intake.findings == ()
    assert intake.tables["participants"]["height_cm"].tolist() == [170.0, 180.0]
    assert room.count(intake, "participants", "normalised") == 2


def _below_units(room):
    header, _, rest = room.answers().partition("\n")
    return f"{header}\n,,,,,,,,,\n{rest}"


def test_a_declared_unit_that_does_not_fit_is_refused(room):
    text = "participant_id,height_cm\n,kg\nP01,170\nP02,180\n"
    intake = room.read({"participants.csv": text, "assessments.csv": _below_units(room)}, intake="unit_row = 2")
    assert room.only(intake, "unit_row").found == "kg"


def test_a_declared_row_of_units_that_holds_data_is_refused(room):
    intake = room.read(intake="unit_row = 2")
    assert {(f.file, f.row, f.found) for f in room.of_rule(intake, "unit_row")} == {
        ("participants.csv", 2, "P01"),
        ("assessments.csv", 2, "P01"),
    }


def test_a_quote_that_is_never_closed_is_refused_by_its_row(room):
    intake = room.read({"assessments.csv": room.answers('P01,before,life,,,"two,,3,,', "P02,before,life,,,two,,3,,")})
    assert room.where(intake, "quote") == ("block", "assessments.csv", 6, "")


def test_a_row_of_totals_in_participants_is_refused(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS + "Mean,,45\n"})
    assert room.where(intake, "totals_row") == ("block", "participants.csv", 4, "participant_id")


def test_a_row_of_totals_elsewhere_belongs_to_nobody(room):
    intake = room.read({"assessments.csv": room.answers("Mean,before,girth,thigh,left,reading,1,44.7,,")})
    assert room.where(intake, "unknown_participant") == ("block", "assessments.csv", 6, "participant_id")


def test_blank_rows_are_counted_and_row_numbers_stay_the_spreadsheets(room):
    text = room.answers("", " , ,,,,,,,,", "P01,before,tone,knee,left,grade,,9,,")
    intake = room.read({"assessments.csv": text})
    assert room.where(intake, "not_a_code") == ("set_aside", "assessments.csv", 8, "response")
    assert intake.ledger.sources().set_index("file").loc["assessments.csv", "blank_rows"] == 2


def test_a_line_end_inside_a_quoted_cell_does_not_shift_rows(room):
    header = room.ANSWERS_HEADER + ",note\n"
    rows = 'P01,before,tone,knee,left,grade,,1,,,"two\nlines"\nP02,before,tone,knee,left,grade,,9,,,\n'
    intake = room.read({"assessments.csv": header + rows})
    assert room.only(intake, "not_a_code").row == 3
    assert intake.tables["assessments"]["note"].tolist()[0] == "two\nlines"


def test_an_unknown_heading_is_kept_as_it_is(room):
    intake = room.read(
        {"participants.csv": "participant_id,enrolled_on,shoe size\nP01,2026-01-05, 42 \nP02,2026-01-05,007\n"}
    )
    assert intake.findings == ()
    assert intake.tables["participants"]["shoe size"].tolist() == [" 42 ", "007"]


def test_an_unknown_heading_near_a_known_one_is_asked_about(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("age_years", "age_year")})
    finding = room.only(intake, "unknown_heading")
    assert (finding.grade, finding.row, finding.column) == ("ask", 1, "age_year")
    assert "did you mean 'age_years'?" in finding.expected
    assert intake.tables["participants"]["age_year"].tolist() == ["40", "50"]


def test_a_required_heading_that_is_missing_is_refused_with_the_near_one(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("participant_id", "participant")})
    finding = room.only(intake, "missing_heading")
    assert (finding.grade, finding.file, finding.row) == ("block", "participants.csv", 1)
    assert finding.column == "participant"
    assert "did you mean 'participant_id'?" in finding.expected


def test_a_byte_order_mark_is_dropped(room):
    intake = room.read({"participants.csv": b"\xef\xbb\xbf" + room.PARTICIPANTS.encode()})
    assert intake.findings == ()


def test_latin_1_is_refused_with_byte_and_row(room):
    intake = room.read({"participants.csv": "participant_id,left_reason\nP01,\nP02,Müde\n".encode("latin-1")})
    finding = room.only(intake, "encoding")
    assert (finding.grade, finding.file, finding.row) == ("block", "participants.csv", 3)
    assert "0xfc" in finding.expected
    assert 'encoding = "windows-1252"' in finding.remedy


def test_a_declared_encoding_is_used(room):
    files = {
        "participants.csv": "participant_id,left_reason\nP01,\nP02,Müde\n".encode("windows-1252"),
        "assessments.csv": room.answers().encode("windows-1252"),
    }
    intake = room.read(files, intake='encoding = "windows-1252"')
    assert intake.tables["participants"]["left_reason"].tolist()[1] == "Müde"


@pytest.mark.parametrize("encoding", ["klingon", "hex"])
def test_an_encoding_that_does_not_exist_is_refused(room, encoding):
    intake = room.read(intake=f'encoding = "{encoding}"')
    assert {f.file for f in room.of_rule(intake, "encoding")} == {"participants.csv", "assessments.csv"}


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le"])
def test_utf_16_is_named(room, encoding):
    intake = room.read({"participants.csv": room.PARTICIPANTS.encode(encoding)})
    assert "UTF-16" in room.only(intake, "encoding").expected


def test_a_nul_in_a_cell_is_set_aside(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("50", "5\x000")})
    finding = room.only(intake, "control_character")
    assert (finding.grade, finding.row, finding.column) == ("set_aside", 3, "age_years")
    assert "\\x00" in str(finding)


@pytest.mark.parametrize("ends", ["\r", "\r\n"])
def test_line_ends_of_other_systems_are_read(room, ends):
    assert room.read({"participants.csv": room.PARTICIPANTS.replace("\n", ends)}).findings == ()


def test_mixed_line_ends_are_read(room):
    intake = room.read({"participants.csv": room.PARTICIPANTS.replace("\n", "\r", 1)})
    assert intake.findings == ()
    assert len(intake.tables["participants"]) == 2


def test_unicode_minus_and_full_width_digits_are_read_and_counted(room):
    session = room.GOOD_SESSION.removesuffix("20") + "−3"
    full = "P01,s2,2026-01-10 09:00,done,４０,5,30,20"
    intake = room.read({"sessions.csv": room.sessions(session, full)})
    assert intake.tables["sessions"]["work_kj"].tolist() == [-3.0, 20.0]
    assert intake.tables["sessions"]["total_minutes"].tolist() == [40.0, 40.0]
    assert room.count(intake, "sessions", "normalised") == 2
    assert set(intake.ledger.cells()["reason"]) == {"unicode_form"}


def test_composed_and_decomposed_accents_are_one_id(room):
    people = room.PARTICIPANTS + "Zoe\u0308,2026-01-05,60\n"
    intake = room.read({"participants.csv": people, "assessments.csv": room.answers("Zoë,before,life,,,one,,2,,")})
    assert intake.findings == ()
    assert room.count(intake, "participants", "normalised") == 1


def test_the_header_row_can_be_declared(room):
    files = {
        "participants.csv": "Our people\n" + room.PARTICIPANTS,
        "assessments.csv": "Our tests\n" + room.answers("P01,before,tone,knee,left,grade,,9,,"),
    }
    stopped = room.read(files)
    assert [(f.rule, f.file) for f in stopped.findings] == [
        ("header_row", "assessments.csv"),
        ("header_row", "participants.csv"),
    ]
    assert "Say header_row = 2 under [intake]" in stopped.findings[0].remedy
    intake = room.read(files, intake="header_row = 2")
    assert [(f.rule, f.row) for f in intake.findings] == [("not_a_code", 7)]


def test_a_blank_header_row_is_refused(room):
    intake = room.read({"participants.csv": "\n" + room.PARTICIPANTS})
    assert room.where(intake, "header_row") == ("block", "participants.csv", 1, "")
