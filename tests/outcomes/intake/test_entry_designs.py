"""The entry workbook follows the protocol: groups, test-retest, own definitions, several versions."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from outcomes.intake import new_study, read_folder
from outcomes.intake.entry_layout import TITLE_LIMIT, EntryColumn, layout
from outcomes.intake.entry_workbook import _validation
from outcomes.measures import Catalogue
from protocols import parse_protocol, read_protocol

OWN = """\
key = "{key}"
version = "1"
title = "Reach"
construct = "reach"
source = "made for this test"
[[items]]
key = "rater"
range = [0, inf]
unit = "cm"
[[scales]]
key = "reach"
main = true
rule = "value"
items = ["rater"]
level = "ratio"
better = "higher"
unit = "cm"
[[examples]]
given = {{ rater = 3 }}
expected = {{ reach = 3 }}
source = "follows from the rule"
"""

RETEST = """\
schema = 1
[study]
title = "Twice"
design = "test-retest"
[[measures]]
measure = "{key}"
role = "primary"
[harms]
collection = "not collected"
"""

GROUPED = """\
schema = 1
[study]
title = "Two groups"
design = "parallel groups"
[[groups]]
key = "early"
label = "Early"
words = ["E"]
reference = true
[[groups]]
key = "late"
label = "Late"
[[visits]]
key = "before"
label = "Before"
when = "baseline"
[[visits]]
key = "after"
label = "After"
when = "end"
[[measures]]
measure = "swls"
role = "primary"
[analysis]
compare = ["before", "after"]
[harms]
collection = "none occurred"
"""


def own_study(folder: Path, key: str) -> Path:
    """Write a protocol with its own definition beside it; return the protocol."""
    (folder / "measures").mkdir(parents=True)
    (folder / "measures" / f"{key}.toml").write_text(OWN.format(key=key))
    (folder / "protocol.toml").write_text(RETEST.format(key=key))
    return folder / "protocol.toml"


def test_groups_have_a_drop_down_of_keys_and_words(tmp_path):
    sheets = {sheet.title: sheet for sheet in layout(parse_protocol(GROUPED), Catalogue.packaged())}
    assert list(sheets) == ["participants", "changes", "swls"]
    group = next(column for column in sheets["participants"].columns if column.heading == "group")
    assert group.words == ("early", "E", "late")


def test_a_test_retest_study_has_people_and_repeats_only(tmp_path):
    path = own_study(tmp_path / "first", "reach")
    files = new_study(tmp_path / "second", path)
    assert [file.name for file in files if file.parent.name == "measures"] == ["reach.toml"]
    book = openpyxl.load_workbook(tmp_path / "second" / "study.xlsx")
    assert book.sheetnames == ["read me", "participants", "reach repeats"]


def test_an_item_that_bears_the_name_of_a_column_gets_a_heading_of_its_own(tmp_path):
    path = own_study(tmp_path / "first", "reach")
    new_study(tmp_path / "second", path)
    book = openpyxl.load_workbook(tmp_path / "second" / "study.xlsx")
    sheet = book["reach repeats"]
    assert [cell.value for cell in sheet[1]][-1] == "reach rater"
    book["participants"].cell(2, 1, "P1")
    for position, value in ((1, "P1"), (2, "first"), (sheet.max_column, 3)):
        sheet.cell(2, position, value)
    book.save(tmp_path / "second" / "study.xlsx")
    protocol = read_protocol(tmp_path / "second" / "protocol.toml")
    catalogue = Catalogue.packaged().with_folder(tmp_path / "second" / "measures")
    repeats = read_folder(tmp_path / "second", protocol, catalogue).tables["repeats"]
    assert list(zip(repeats["item"], repeats["response"], strict=True)) == [("rater", "3")]


def test_a_long_measure_key_still_fits_the_name_of_a_sheet(tmp_path):
    key = "a_measure_with_a_key_of_far_more_than_thirty_one_letters"
    path = own_study(tmp_path / "first", key)
    new_study(tmp_path / "second", path)
    names = openpyxl.load_workbook(tmp_path / "second" / "study.xlsx").sheetnames
    assert all(len(name) <= TITLE_LIMIT for name in names)
    assert names[-1].endswith(" repeats")


@pytest.mark.parametrize(
    ("low", "high", "operator"),
    [(0.0, 5.0, "between"), (0.0, float("inf"), "greaterThanOrEqual"), (float("-inf"), 5.0, "lessThanOrEqual")],
)
def test_an_open_range_warns_at_its_closed_end(low, high, operator):
    rule = _validation(EntryColumn("x", "number", "A number.", {}, low=low, high=high))
    assert rule.operator == operator
    assert "inf" not in f"{rule.formula1}{rule.formula2}{rule.prompt}"


def test_a_list_that_is_too_long_or_holds_a_comma_has_no_drop_down():
    long = EntryColumn("x", "text", "A word.", {}, words=tuple(f"word{i}" for i in range(60)))
    comma = EntryColumn("x", "text", "A word.", {}, words=("a,b", "c"))
    assert _validation(long).type is None
    assert _validation(comma).type is None
    assert len(_validation(long).prompt) <= 255
