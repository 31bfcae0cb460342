"""Every number of every form of all four reports: held by the record, and moving when the record moves."""

from __future__ import annotations

import io
import json
import re
import sys
from pathlib import Path

import docx
import lxml.html
import pytest

from outcomes.reports import page
from outcomes.reports.facts import rows_of
from outcomes.reports.write import write_forms
from outcomes.result import Record

sys.path.insert(0, str(Path(__file__).parent))
from conftest import RecordBuilder
from pdf_text import read_pdf
from showing import plain_text, shown
from tracing import PRINTED, RATIO, numbers_of, untraced

READERS = ("conference", "funder", "class", "participant")
EXERCISES = re.compile(r"Exercise The work of one session, by hand\..*?(?=What went in)")
HASH = re.compile(r"\b[0-9a-f]{12,64}\b")
COUNTER = re.compile(r"\b\d / \d\b|\b\d+ of \d+ (?:words|characters)\b|(?<=Findings Every sentence that the record can "
                     r"fill, none left out\. )1\.|(?<=[.?] )\d{1,2}\. (?=[A-Z\d])")  # fmt: skip
"""No number of the study: pages, length of the abstract (its own test counts it), numbers of findings."""


def texts_of(folder: Path, reader: str, target: Path, **more) -> dict[str, str]:
    """Return what a reader of each form of a report sees, by form."""
    target.mkdir(parents=True)
    notebook = shown(reader, folder, **more)
    write_forms(notebook, reader, target)
    html = (target / "report.html").read_text(encoding="utf-8")
    texts = {"html": spaced(html), "alternatives": " ".join(alternatives(html))}
    texts |= {f"figures/{p.name}": p.read_text(encoding="utf-8") for p in (target / "figures").glob("*.txt")}
    if (target / "report.pdf").is_file():
        made = read_pdf((target / "report.pdf").read_bytes())
        texts |= {"pdf": made.text, "pdf alternatives": " ".join(made.alternatives)}
    if (target / "abstract.docx").is_file():
        document = docx.Document(io.BytesIO((target / "abstract.docx").read_bytes()))
        cells = [cell.text for table in document.tables for row in table.rows for cell in row.cells]
        alts = [shape._inline.docPr.get("descr") for shape in document.inline_shapes]
        texts["docx"] = " ".join([*(p.text for p in document.paragraphs), *cells, *alts])
        texts["docx"] = texts["docx"].replace("Figure 1.", "").replace("Table 1.", "")
        texts["txt"] = (target / "abstract.txt").read_text(encoding="utf-8")
    return {form: stripped(text) for form, text in texts.items()}


def spaced(html: str, *, details: bool = True) -> str:
    """Return the text of a page, a blank between any two elements."""
    return plain_text(re.sub(r"(</[a-z0-9]+>)", r"\1 ", html), details=details)


def alternatives(html: str) -> list[str]:
    return [str(alt) for alt in lxml.html.fromstring(html).xpath("//img/@alt")]


def stripped(text: str) -> str:
    """Return a text without what is no number of the study: exercises on invented data, hashes, counters."""
    return COUNTER.sub("", HASH.sub("", EXERCISES.sub("", " ".join(text.split()))))


def person_numbers(results: Path) -> list[float]:
    """Return every number of the person-level tables, which figures of persons and a person's own page print."""
    found = {n for path in (results / "people").glob("*.csv") for n in numbers_of(path.read_text(encoding="utf-8"))}
    return sorted(found)


def counted_together(record: Record) -> list[float]:
    """Return the sums of counts that a page for others prints as one, so that a small one is not told."""
    sums: list[float] = []
    n = record["flow/-/-/all/-/-/enrolled"].value
    for row in rows_of(record, "outcomes"):
        a, b, c = (row[k] or 0 for k in ("n_better", "n_within", "n_other"))
        rest = n - row["n"]
        sums += [a + b, b + c, a + b + c, b + rest, b + c + rest, rest]
    for name in ("sex", "condition"):
        counts = [r["n"] for r in rows_of(record, "participants") if r["characteristic"] == name and r["level"]]
        sums += [sum(counts), n - sum(counts), *(p + q for p in counts for q in counts)]
    reasons = [r["n"] for r in rows_of(record, "left")]
    return [*sums, sum(reasons), *(p + q for p in reasons for q in reasons)]


def software(results: Path) -> list[float]:
    """Return the numbers of versions and of the seed, which the page of a class prints."""
    path = results / "run.json"
    return list(numbers_of(json.loads(path.read_text(encoding="utf-8")))) if path.is_file() else []


@pytest.mark.parametrize("reader", READERS)
def test_every_number_of_every_form_is_in_the_record(demo, tmp_path, reader):
    folder, results, record = demo
    more = {"who": "P002"} if reader == "participant" else {}
    allowed = person_numbers(results) if reader != "funder" else []
    allowed += counted_together(record) if reader == "funder" else software(results) if reader == "class" else []
    texts = texts_of(folder, reader, tmp_path / reader, **more)
    assert {"conference": {"docx", "txt"}, "funder": {"pdf"}, "participant": {"pdf"}}.get(reader, set()) <= set(texts)
    found = {form: untraced(text, record, more=allowed) for form, text in texts.items()}
    assert {form: numbers for form, numbers in found.items() if numbers} == {}
    assert all(PRINTED.search(text) for text in texts.values())


def test_a_number_that_the_record_does_not_hold_is_found_in_each_form(demo, tmp_path, monkeypatch):
    folder, _, record = demo
    from outcomes.reports import abstract, funder_sentences

    notes = abstract.ledger
    monkeypatch.setattr(abstract, "ledger", lambda facts, **words: f"{notes(facts, **words)} Planted: 87.6543.")
    monkeypatch.setattr(funder_sentences, "next_step", lambda facts: "Planted: 87.6543.")
    for reader in READERS:
        more = {"who": "P002"} if reader == "participant" else {}
        texts = texts_of(folder, reader, tmp_path / reader, **more)
        for form in {"html", "pdf", "docx", "txt"} & set(texts):
            assert "87.6543" in untraced(texts[form], record), (reader, form)


# ------------------------------------------------------------------------------ no number is typed into a sentence

KEPT = {"week", "first_week", "last_week", "month", "level"}
"""Columns that name a place in time, and the level of the intervals: they stay."""
SHARES = {"ratio_of_sums", "mean_of_ratios", "share", "expected_by_error"}


def moved(value, name=""):
    """Return plain data of a record with every number changed: doubled, a share halved, a P value a tenth larger."""
    if isinstance(value, bool) or value is None or name in KEPT:
        return value
    if isinstance(value, int | float):
        factor = 1.1 if name in ("p", "rank_p") else 0.5 if name in SHARES else 2
        return type(value)(value * factor) if isinstance(value, float) or factor == 2 else value * factor
    if isinstance(value, dict):
        return {key: moved(item, name if name in SHARES and key == "value" else key) for key, item in value.items()}
    return [moved(item, name) for item in value] if isinstance(value, list) else value


def moved_study(folder: Path) -> None:
    """Change every number of the study's record and of its person-level tables."""
    results = folder / "results" / "0123456789ab"
    path = results / "record.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    for table in data["tables"]:
        names = [column["name"] for column in table["columns"]]
        table["rows"] = [[moved(v, names[i]) for i, v in enumerate(row)] for row in table["rows"]]
    data["estimates"] = [moved(one, one["key"].rpartition("/")[2]) for one in data["estimates"]]
    data["meta"]["training"] = moved(data["meta"]["training"])
    for cost in data["meta"]["report"].get("funder", {}).get("costs", ()):
        cost["amount"] *= 2
    path.write_text(json.dumps(data), encoding="utf-8")
    for table in (results / "people").glob("*.csv"):
        lines = [line.split(",") for line in table.read_text(encoding="utf-8").splitlines()]
        for line in lines[1:]:
            line[:] = [_twice(cell) if lines[0][i] not in KEPT else cell for i, cell in enumerate(line)]
        table.write_text("\n".join(",".join(line) for line in lines) + "\n", encoding="utf-8")


def _twice(cell: str) -> str:
    return repr(2 * float(cell)) if re.fullmatch(r"-?\d+(\.\d+)?", cell) else cell


def typed(first: str, second: str, named: set[float]) -> list[str]:
    """Return the numbers that stand in both texts although the record moved, and that no text of the study holds."""
    first, second = (RATIO.sub(r"\1 of \2", text) for text in (first, second))  # `untraced` works the share out again
    words = [PRINTED.split(text) for text in (first, second)]
    assert words[0] == words[1]
    pairs = zip(PRINTED.findall(first), PRINTED.findall(second), strict=True)
    values = [(a, float(a.replace(",", "").replace("−", "-"))) for a, b in pairs if a == b]
    return [token for token, value in values if value and abs(value) not in named]


def words_of(data) -> set[float]:
    """Return the numbers inside the texts of plain data: titles, labels, dates, sources."""
    if isinstance(data, str):
        return {abs(n) for n in numbers_of(data)}
    if isinstance(data, dict):
        return set().union(*(words_of(v) | words_of(k) for k, v in data.items()))
    return set().union(*(words_of(v) for v in data)) if isinstance(data, list) else set()


@pytest.mark.parametrize("reader", READERS)
def test_every_printed_number_moves_when_the_record_moves(tmp_path, reader):
    first, second, named = two_texts(tmp_path, reader)
    assert typed(first, second, named) == []


def test_a_number_that_is_typed_into_a_sentence_is_found(tmp_path, monkeypatch):
    from outcomes.reports import study_sentences

    def planted(facts):
        yield study_sentences.Sentence("harms", "results", "Adverse events: 9 in 7 people.")

    monkeypatch.setattr(study_sentences, "harms", planted)
    first, second, named = two_texts(tmp_path, "conference")
    assert typed(first, second, named) == ["9", "7"]


def two_texts(tmp_path: Path, reader: str) -> tuple[str, str, set[float]]:
    """Return the page of a reader by a record and by one with every number moved, and the numbers inside its texts."""
    costs = [{"label": "Staff", "amount": 41600.0, "currency": "EUR"}]
    nothing_withheld = {"internal_minimum": 1, "public_minimum": 1}
    report = {"conference": {"words": 1000}, "funder": {"costs": costs}}
    builder = RecordBuilder(report=report, privacy=nothing_withheld).full()
    more = {"who": "P03"} if reader == "participant" else {}
    texts = []
    for name in ("as it is", "moved"):
        folder = builder.write(tmp_path / name)
        if name == "moved":
            moved_study(folder)
        html = page.render(shown(reader, folder, **more), reader)
        texts.append(stripped(spaced(html, details=False)))  # data of figures: by membership alone
    record = json.loads(builder.build().to_json())
    small = {float(record["meta"]["privacy"]["internal_minimum"]), 100 * record["meta"]["level"]}
    run = {*software(tmp_path / "moved" / "results" / "0123456789ab"), 256.0} if reader == "class" else set()  # SHA-256
    return texts[0], texts[1], words_of(record) | small | run
