"""The page: traced, safe, readable; drawn here without a kernel."""

from __future__ import annotations

import html as html_text
import itertools
import re
import sys
from pathlib import Path

import lxml.html
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from outcomes.errors import OutcomesError, UsageError
from outcomes.reports import conference, page
from outcomes.reports.conference import open_report

sys.path.insert(0, str(Path(__file__).parent))
from tracing import numbers_of, untraced

FIGURES = "paired_change change_against_error grades participant_flow dose_over_weeks dose_against_change"


def executed(folder, monkeypatch, **parameters):
    """Return the notebook that the packaged one becomes, without starting a kernel."""
    blocks: list = []
    monkeypatch.setattr(conference, "show", blocks.append)
    report = open_report(study=str(folder), **parameters)
    report.head()
    report.abstract()
    report.settle()
    for name in FIGURES.split():
        report.figure(name)
    for name in conference.TABLES:
        report.table(name)
    report.notes()
    outputs = [new_output("display_data", data=block._repr_mimebundle_()) for block in blocks]
    return new_notebook(cells=[new_markdown_cell("## All of it"), new_code_cell("", outputs=outputs)])


def rendered(folder, monkeypatch, **parameters):
    return page.render(executed(folder, monkeypatch, **parameters), "conference")


@pytest.fixture(scope="module")
def standard(tmp_path_factory):
    """Return folder and executed notebook of the full invented record; drawn once."""
    from conftest import RecordBuilder

    folder = RecordBuilder().full().write(tmp_path_factory.mktemp("standard") / "study")
    with pytest.MonkeyPatch.context() as patch:
        return folder, executed(folder, patch)


@pytest.fixture(scope="module")
def text(standard):
    return page.render(standard[1], "conference")


def test_the_page_is_one_file_that_loads_nothing(text):
    tree = lxml.html.fromstring(text)
    assert not re.search(r"https?:|//[a-z]", re.sub(r'src="data:[^"]*"', "", text))
    assert tree.xpath("//script | //link | //iframe | //object | //form | //@onclick | //base") == []
    assert all(source.startswith("data:image/") for source in tree.xpath("//@src"))
    policy = tree.xpath('//meta[@http-equiv="Content-Security-Policy"]/@content')
    assert policy == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]


def test_the_page_can_be_read_by_a_machine_that_reads_aloud(text):
    tree = lxml.html.fromstring(text)
    assert tree.get("lang") == "en"
    assert len(tree.xpath("//h1")) == 1
    assert len(tree.xpath("//title")) == 1
    levels = [int(h.tag[1]) for h in tree.xpath("//h1 | //h2 | //h3")]
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    images = tree.xpath("//img")
    assert len(images) == 6
    assert all(len(image.get("alt", "")) > 30 for image in images)
    assert "No description has been provided" not in text
    for table in tree.xpath("//table"):
        assert len(table.xpath("caption")) == 1
        assert all(cell.get("scope") in ("col", "row") for cell in table.xpath(".//th"))
        assert all(cell.text_content().strip() for cell in table.xpath(".//td | .//th"))
        assert table.getparent().get("tabindex") == "0"
    assert len(tree.xpath("//figure[.//details//table]")) == 6


def test_every_page_carries_its_lines(text):
    plain = lxml.html.fromstring(text).text_content()
    for words in ("Synthetic data", "data until 2026-03-01", "outcomes 0.1.0", "No medical device"):
        assert words in plain


def test_every_number_of_the_page_is_in_the_record(text, record):
    tree = lxml.html.fromstring(text)
    for part in tree.xpath("//style | //details | //head"):
        part.drop_tree()
    tree.xpath("//div[b='Length']/span")[0].drop_tree()
    plain = " ".join(" ".join(tree.itertext()).split())
    plain = re.sub(r"(Figure|Table) \d+", "", plain)
    assert untraced(plain, record) == []
    assert len(re.findall(r"\d+", plain)) > 150


def test_every_number_of_a_figure_s_data_is_in_the_person_tables(standard, text, record):
    import pandas as pd

    tables = (standard[0] / "results").glob("*/people/*.csv")
    people = [n for path in tables for n in numbers_of(pd.read_csv(path).values.tolist())]
    tree = lxml.html.fromstring(text)
    for details in tree.xpath("//details"):
        rows = [" ".join(c.text_content() for c in row.xpath("td")) for row in details.xpath(".//tbody/tr")]
        assert untraced("\n".join(rows), record, more=people) == []


def test_a_planted_number_is_found(record):
    assert untraced("mean change 87654.3 cm", record) == ["87654.3"]
    assert untraced("21 of 40 people (46%)", record) == ["46"]


def test_every_number_of_the_abstract_and_of_every_alternative_text_is_in_the_record(standard, record):
    for block in page.blocks_of(standard[1]):
        if block["kind"] == "abstract":
            assert untraced(" ".join(t for _, t in block["abstract"]["sections"]), record) == []
        if block["kind"] == "figure":
            assert untraced(f"{block['alt']} {block['caption']}", record) == []


HOSTILE = (
    "<script>alert(1)</script><img src=x onerror=alert(1)> =HYPERLINK('http://e.org') \u202e $\\frac{1}{0}$ {{7*7}}"
    "</title>"
)


def test_hostile_text_stays_text(tmp_path, builder, monkeypatch):
    visits = [{"key": "week0", "label": HOSTILE, "week": 0}, {"key": "week16", "label": "Week 16", "week": 16}]
    statements = {"eligibility": HOSTILE, "note": HOSTILE}
    made = builder(title=HOSTILE, question=HOSTILE, visits=visits, statements=statements).full()
    for row in made.outcomes:
        row["label"], row["mdc_source"] = f"{row['label']} {HOSTILE}", HOSTILE
    text = rendered(made.write(tmp_path / "study"), monkeypatch)
    tree = lxml.html.fromstring(text)
    assert tree.xpath("//script") == []
    assert all(image.get("src").startswith("data:image/") for image in tree.xpath("//img"))
    assert "\u202e" not in text
    assert "\\u202e" in tree.text_content()
    assert "49" not in re.findall(r"\{\{7\*7\}\}|(?<!\d)49(?!\d)", tree.xpath("//h1")[0].text_content())
    assert html_text.escape("<script>alert(1)</script>") in text


def test_a_public_page_has_no_mark_of_a_person(study_folder, monkeypatch, record):
    text = rendered(study_folder, monkeypatch, public=True)
    tree = lxml.html.fromstring(text)
    assert "Change against the usual error of the test: not drawn (a public report has no mark of a person)." in text
    assert "every person" not in text
    assert "fewer than 11" in tree.text_content()
    captions = " ".join(p.text_content() for p in tree.xpath("//figcaption"))
    assert untraced(captions, record, public=True, more=range(9)) == []


def test_a_report_on_another_outcome_says_so(study_folder, monkeypatch):
    text = rendered(study_folder, monkeypatch, measure="mas")
    assert "protocol: secondary, not the primary outcome" in text
    assert "a grade only ranks; see the grades before and after" in text


def test_both_numbers_stand_where_a_choice_was_changed(study_folder, builder, monkeypatch):
    choices = [{"key": "analysis.compare", "protocol": "x", "used": "y"}]
    made = builder(changed_choices=choices).flow().girth(change=9.1, change_low=8.0, change_high=10.2, p=0.001)
    results = made.write(study_folder.parent / "other") / "results" / "0123456789ab"
    results.rename(study_folder / "results" / "ffff00000000")
    text = rendered(study_folder, monkeypatch, record="ffff00000000")
    plain = lxml.html.fromstring(text).text_content()
    assert (
        "Change of the outcome: by the protocol: Limb girth (mid thigh) 1.0 (95% CI 0.4 to 1.6) cm, n = 40; in this "
        "report: Limb girth (mid thigh) 9.1 (95% CI 8.0 to 10.2) cm, n = 40."
    ) in plain
    assert "Dose and change: by the protocol: Could not tell whether more delivered active time" in plain


def test_the_abstract_s_figure_marks_nobody(study_folder, monkeypatch):
    book = executed(study_folder, monkeypatch)
    blocks = {b["name"]: b for b in page.blocks_of(book) if b.get("png")}
    assert blocks["abstract"]["alt"] == blocks["paired_change"]["alt"]
    lines = [blocks[name]["svg"].count(b'<g id="line2d_') for name in ("abstract", "paired_change")]
    assert lines[1] - lines[0] >= 30


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        ({"measure": "limb_girht"}, "measure 'limb_girht' is not in this record"),
        ({"contrast": "week8_minus_week0"}, "contrast 'week8_minus_week0' is not in this record"),
        ({"dose_metric": "charge"}, "dose_metric 'charge' is not one of"),
        ({"dose_window": "recent"}, "changes the analysis, not only the report"),
        ({"dose_lag": "7"}, "changes the analysis, not only the report"),
        ({"limbs": "worse"}, "changes the analysis, not only the report"),
        ({"minimal_change": "published"}, "changes the analysis, not only the report"),
        ({"who": "P01"}, "the conference report is about all of them"),
        ({"reader": "funder"}, "writes the conference report"),
        ({"record": "none"}, "there is no record 'none'"),
    ],
)
def test_what_the_record_cannot_show_is_refused(study_folder, monkeypatch, parameters, message):
    with pytest.raises(UsageError) as error:
        rendered(study_folder, monkeypatch, **parameters)
    assert message in str(error.value)


def test_an_empty_record_makes_a_page_that_says_so(tmp_path, builder, monkeypatch):
    made = builder(training=None, synthetic=False)
    columns = "measure scale place side_rule group before_visit after_visit"
    made.changes = [dict.fromkeys(columns.split(), "x")]
    folder = made.write(tmp_path / "study")
    plain = lxml.html.fromstring(rendered(folder, monkeypatch)).text_content()
    assert "not drawn (the record has no table flow)" in plain
    assert "Primary outcome: not reported" in plain
    assert "Synthetic" not in plain


def test_a_page_without_a_head_is_refused():
    with pytest.raises(OutcomesError, match=r"report\.head\(\)"):
        page.render(new_notebook(cells=[new_code_cell("1")]), "conference")


def test_what_an_author_adds_is_shown_as_text():
    head = {"kind": "head", "name": "head", "lines": ["d"], "title": "t", "synthetic": False, "paper": "A4"}
    outputs = [
        new_output("display_data", data={page.MIME: head}),
        new_output("execute_result", data={"text/html": "<b>x</b>", "text/plain": "<i>mine</i>"}, execution_count=1),
        new_output("stream", name="stdout", text="printed"),
    ]
    text = page.render(new_notebook(cells=[new_code_cell("", outputs=outputs)]), "conference")
    assert "&lt;i&gt;mine&lt;/i&gt;" in text
    assert "<b>x</b>" not in text
    assert "printed" in text


def test_groups_stand_side_by_side_in_the_flow_and_share_a_scale(tmp_path, builder, monkeypatch):
    groups = [{"key": "arms", "label": "Arm group"}, {"key": "legs", "label": "Leg group"}]
    made = builder(design="parallel groups", groups=groups)
    made.girth(group="arms", mdc=None, people=made.people[:15]).girth(group="legs", mdc=None, people=made.people[15:])
    rows = [("enrolled", 40, ""), ("analysed, girth", 15, "group arms"), ("analysed, girth", 25, "group legs")]
    made.table("flow", ("stage", "n", "note"), rows)
    blocks = list(page.blocks_of(executed(made.write(tmp_path / "study"), monkeypatch)))
    flow = next(b for b in blocks if b["name"] == "participant_flow")
    assert "Analysed, girth: Arm group n = 15; Leg group n = 25" in flow["alt"]
    assert {"paired_change_arms", "paired_change_legs"} <= {b["name"] for b in blocks if b["kind"] == "figure"}
    undrawn = [b for b in blocks if b["kind"] == "text" and "measurement error is not known" in b["lines"][0]]
    assert len(undrawn) == 1
