"""The whole report through papermill: every form, the same bytes twice, whole or not at all."""

from __future__ import annotations

import io
import shutil
import sys
from pathlib import Path

import docx
import nbformat
import pytest
from nbformat.v4 import new_code_cell

from outcomes.errors import OutcomesError, UsageError
from outcomes.reports import write_report
from outcomes.reports.run import find_notebook
from outcomes.result import Record

sys.path.insert(0, str(Path(__file__).parent))
from tracing import untraced

FORMS = (
    *("report.html", "abstract.docx", "abstract.txt", "conference.ipynb"),
    *("figures/paired_change.svg", "figures/abstract.png"),
)


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """Return two reports of the same record in different folders."""
    from conftest import RecordBuilder

    made = []
    for name in ("one", "another"):
        folder = tmp_path_factory.mktemp(name) / "study"
        RecordBuilder().full().write(folder)
        files = write_report(folder, "conference")
        assert all(path.is_file() for path in files)
        made.append(folder)
    return made


def test_every_form_is_there_and_the_page_comes_first(reports):
    names = list(bytes_of(reports[0] / "reports" / "conference"))
    assert set(FORMS) <= set(names)
    figures = {Path(n).stem for n in names if n.startswith("figures/")}
    for figure in figures:
        assert {f"figures/{figure}.{e}" for e in ("svg", "png", "txt")} <= set(names)


def test_the_same_record_gives_the_same_bytes(reports):
    first, second = (bytes_of(folder / "reports" / "conference") for folder in reports)
    assert first == second


def test_no_file_names_the_folder_or_the_interpreter(reports):
    for name, data in bytes_of(reports[0] / "reports" / "conference").items():
        for word in (str(reports[0]), str(Path.home()), sys.executable):
            assert word.encode() not in data, name


def test_every_number_of_text_and_document_is_in_the_record(reports):
    folder = reports[0] / "reports" / "conference"
    record = Record.read(reports[0] / "results" / "0123456789ab" / "record.json")
    body = (folder / "abstract.txt").read_text(encoding="utf-8").partition("-" * 20)[0]
    assert untraced(body, record) == []
    document = docx.Document(io.BytesIO((folder / "abstract.docx").read_bytes()))
    texts = [p.text for p in document.paragraphs]
    cut = next(i for i, t in enumerate(texts) if t.startswith("Figure 1."))
    assert untraced(" ".join(texts[:cut]) + texts[cut].removeprefix("Figure 1."), record) == []


def test_a_failing_cell_leaves_the_earlier_report(reports):
    folder = reports[1]
    before = bytes_of(folder)
    own = folder / "notebooks"
    own.mkdir()
    book = nbformat.read(find_notebook("conference", folder), as_version=4)
    book.cells.append(new_code_cell("undefined_name"))
    nbformat.write(book, own / "conference.ipynb")
    with pytest.raises(OutcomesError, match="failed with NameError"):
        write_report(folder, "conference")
    shutil.rmtree(own)
    assert bytes_of(folder) == before


@pytest.mark.parametrize(
    ("reader", "options", "message"),
    [
        ("board", {}, "no report for 'board' in this version; there is one for conference, funder"),
        ("conferense", {}, "did you mean 'conference'"),
        ("conference", {"settings": {"word_limti": "1"}}, "unknown parameter 'word_limti'"),
        ("conference", {"settings": {"study": "/etc"}}, "'study' is not set but named"),
        ("conference", {"settings": {"record": "../.."}}, "there is no record '../..'"),
        ("conference", {"settings": {"record": "0123456789ab", "analysis.alpha": "0.1"}}, "a record is finished"),
        ("conference", {"settings": {"word_limit": "200", "report.conference.words": "300"}}, "set twice"),
        ("conference", {"settings": {"report.conference.words": "20"}}, "expected a whole number from 50"),
    ],
)
def test_what_does_not_fit_is_refused_before_anything_is_written(study_folder, reader, options, message):
    before = bytes_of(study_folder)
    with pytest.raises(UsageError) as error:
        write_report(study_folder, reader, **options)
    assert message in str(error.value)
    assert bytes_of(study_folder) == before


def test_a_folder_that_does_not_exist_is_refused(tmp_path):
    with pytest.raises(UsageError, match="is no folder"):
        write_report(tmp_path / "nowhere", "conference")
