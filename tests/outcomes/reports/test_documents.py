from __future__ import annotations

import io
import zipfile

import docx

from outcomes.reports.abstract import build_abstract
from outcomes.reports.documents import abstract_docx
from outcomes.reports.facts import Facts
from outcomes.reports.figures import paired_change, style


def picture():
    return style.save(paired_change([1.0, 2.0], [2.0, 3.0]).figure, "png")


def test_the_document_holds_the_abstract_under_headings(record):
    abstract = build_abstract(Facts(record))
    document = docx.Document(io.BytesIO(abstract_docx(abstract)))
    paragraphs = [(p.style.name, p.text) for p in document.paragraphs]
    assert [text for style_, text in paragraphs if style_ == "Heading 1"] == [abstract.title]
    texts = [text for _, text in paragraphs]
    assert all(text in texts for section in abstract.sections for text in section)
    assert texts[0] == "Synthetic data"
    assert any("No medical device" in text for text in texts)


def test_the_same_words_give_the_same_bytes(record):
    abstract = build_abstract(Facts(record))
    png = picture()
    assert abstract_docx(abstract, picture=png, caption="c", alt="a") == abstract_docx(
        abstract, picture=png, caption="c", alt="a"
    )


def test_the_file_names_nobody_and_no_time(record):
    data = abstract_docx(build_abstract(Facts(record)))
    properties = docx.Document(io.BytesIO(data)).core_properties
    assert (properties.author, properties.last_modified_by, properties.created.year) == ("", "", 1980)
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert {info.date_time for info in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_the_figure_has_a_text_for_those_who_do_not_see_it(record):
    data = abstract_docx(build_abstract(Facts(record)), picture=picture(), caption="Girth", alt="Girth of 2 people")
    shape = docx.Document(io.BytesIO(data)).inline_shapes[0]
    assert shape._inline.docPr.get("descr") == "Girth of 2 people"
    assert round(shape.width.cm, 1) == 8.0


def test_hidden_characters_do_not_break_the_document(builder):
    record = builder(title="a\x00b\u202ec\x1b", question="<w:p>&=HYPERLINK(1)").full().build()
    document = docx.Document(io.BytesIO(abstract_docx(build_abstract(Facts(record)))))
    texts = " ".join(p.text for p in document.paragraphs)
    assert "a\\x00b\\u202ec\\x1b" in texts
    assert "<w:p>&=HYPERLINK(1)" in texts
