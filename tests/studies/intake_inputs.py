"""Generated inputs for the way in, and what must hold for each: used by the short test and by the long study.

Every input is a study folder: tables as csv from cells that clinics type, the three settings files, the ``[intake]``
section, and, for a part of them, files whose bytes were damaged. What is read is compared with a second reading of the
same cells that shares no code with the product.
"""

from __future__ import annotations

import csv
import io
import random
import re
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from hypothesis import strategies as st

from outcomes.errors import DefinitionError, OutcomesError
from outcomes.intake import read_folder
from outcomes.measures import Catalogue
from protocols import packaged_path, parse_protocol

MEASURE = """
key = "{key}"
version = "1"
title = "{key}"
construct = "made up"
source = "made for these tests"
[rows]
place = ["thigh", "knee"]
side = true
trial = {{ min = 1, max = 3 }}
combine = "mean"
[[items]]
key = "reading"
{item}
[[scales]]
key = "value"
main = true
rule = "{rule}"
items = ["reading"]
level = "{level}"
better = "higher"
"""

PROTOCOL = """
schema = 1
[study]
title = "Generated"
design = "single arm"
[[visits]]
key = "before"
label = "Before"
week = 0
window_days = [0, 14]
when = "baseline"
[[visits]]
key = "after"
label = "After"
week = 12
when = "end"
[[measures]]
measure = "girth"
role = "primary"
[[measures]]
measure = "tone"
role = "secondary"
limbs = "worse"
[training]
mode = "legs"
weeks = 12
sessions_per_week = 3
[dose]
[analysis]
compare = ["before", "after"]
[harms]
collection = "none occurred"
[intake]
"""

IDS = ["P01", "P02", "007", "1E5", "NA", "None", "P01 ", " P02", "p01", "", "Mean", "P\u200b01", "Р01"]
NUMBERS = [
    "44.5", "44,5", "1,234", "1.234", "44.50", " 44.5 ", "−3", "３", "12", "0", "-0", "1e2", "1e309", "inf", "nan",
    "<5", "40 cm", "42/43", "NA", "n/a", ".", "-", "999", "", "#REF!", "\x00", "41.5.1", "0x10", "1_000", "٣",
    "1e-400", "+7",     "00012", "1.", ".5", "5%", "½", "²", "17.5", "500",
]  # fmt: skip
GRADES = ["0", "1", "1+", "1 +", "2", "1.5", "3", "NT", "NA", "", "01-Feb", "1+ ", "x", "1,5", "1.0"]
DAYS = [
    "2026-01-06", "2026-01-06 09:30", "06/01/2026", "2026-02-30", "13/25/2026", "5/1/26", "46000", "", "soon",
    "2026-01-06T09:30Z", "0001-01-01", "9999-12-31", "2026-1-6", "06.01.2026",
]  # fmt: skip
WORDS = ["left", "right", "L", "both", "", "Left", "links", "0"]
COLUMNS = {
    "participants": {"participant_id": IDS, "enrolled_on": DAYS, "age_years": NUMBERS, "sex": ["female", "F", "", "1"]},
    "assessments": {
        "participant_id": IDS,
        "visit": ["before", "after", "pre", "", "T0"],
        "measure": ["girth", "tone", "mas", "", "Girth"],
        "place": ["thigh", "knee", "", "hip"],
        "side": WORDS,
        "item": ["reading", "grade", ""],
        "trial": ["1", "2", "", "x", "1.0", "1.5"],
        "response": NUMBERS + GRADES,
        "absent_because": ["", "", "unable", "ill"],
        "assessed_at": DAYS,
        "rater": ["R1", "R2", ""],
    },
    "sessions": {
        "participant_id": IDS,
        "session_id": ["s1", "s2", "S1", "", "1"],
        "started_at": DAYS,
        "status": ["done", "missed", "", "Done"],
        "total_minutes": NUMBERS,
        "active_minutes": NUMBERS,
        "work_kj": NUMBERS,
        "mean_power_w": NUMBERS,
    },
}
SANE = {
    "participant_id": ["P01", "P02"],
    "visit": ["before", "after"],
    "assessed_at": ["", "2026-01-06"],
    "started_at": ["2026-01-06 09:30", "2026-01-07", "2026-01-08"],
    "measure": ["girth", "tone"],
}
SOUND = {
    "assessments": {
        **SANE,
        "place": ["thigh", "knee"],
        "side": ["left", "right"],
        "item": ["reading"],
        "trial": ["1", "2", "3"],
        "response": ["44.5", "44.50", " 52", "1", "2"] * 8 + NUMBERS + GRADES,
        "absent_because": [""],
        "rater": ["R1", "R2", ""],
    },
    "sessions": {
        "participant_id": ["P01", "P02"],
        "session_id": ["1", "2", "3", "4"],
        "started_at": ["2026-01-06 09:30", "2026-01-07", "2026-01-08"],
        "status": ["done", "missed", "shortened"],
        "total_minutes": ["40", "45.5"] * 10 + NUMBERS,
        "active_minutes": ["30", "30.0"] * 10 + NUMBERS,
        "work_kj": ["20", "18.25"] * 10 + NUMBERS,
        "mean_power_w": ["", "11"] * 10 + NUMBERS,
    },
}
"""Cells of studies that are mostly right, so that they are read to the end and their numbers compared."""
KEYS = {"assessments": (0, 1, 2, 3, 4, 5, 6), "sessions": (0, 1)}
NUMERIC = {"age_years", "total_minutes", "active_minutes", "work_kj", "mean_power_w"}
EXTRA_HEADINGS = [
    "",
    " age_years",
    "age",
    "note",
    "Name",
    "participant",
    "=x",
    "response",
    "visit",
    "x" * 300,
    "\ufeffid",
]
INTAKE = {
    "decimal": ['"."', '","'],
    "separator": ['","', '";"', '"\\t"', '"|"'],
    "encoding": ['"utf-8"', '"windows-1252"', '"utf-16"', '"nonsense"', '"base64"'],
    "header_row": ["1", "2", "5"],
    "unit_row": ["2", "3"],
    "missing_words": ['["999"]', '["-", "n/a"]'],
    "date_format": ['"%d/%m/%Y"', '"%m/%d/%Y"', '"%d.%m.%Y"'],
    "on_error": ['"set_aside"', '"stop"'],
}
ENCODINGS = ["utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "windows-1252"]
COLUMNS_HEADINGS = (
    "sheet", "heading", "table", "column", "unit", "format", "visit", "measure", "item", "place", "side", "trial",
)  # fmt: skip
SETTINGS_CELLS = [
    "", "participants", "assessments", "participant_id", "response", "age_years", "girth", "tone", "reading",
    "thigh", "left", "before", "cm", "in", "%d/%m/%Y", "labels", "1", "-", "keep", "set_aside", "therapist",
    "2026-01-01", "side", "L", "sex", "F", "female", "qdeadbeef", "\x00", "x" * 50,
]  # fmt: skip


@dataclass
class Generated:
    """One study folder: its files, what its tables were made of, and its protocol."""

    files: dict[str, bytes]
    protocol: str
    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    intact: bool = True


def catalogue(folder: Path) -> Catalogue:
    """Return the two measures of the generated studies."""
    girth = MEASURE.format(
        key="girth", item='range = [10, 100]\nusual = [35, 70]\nunit = "cm"', rule="trials", level="ratio"
    )
    codes = 'codes = { "0" = 0, "1" = 1, "1+" = 2, "2" = 3 }\nspellings = { "1 +" = "1+" }'
    tone = MEASURE.format(key="tone", item=codes, rule="value", level="ordinal").replace(
        'trial = { min = 1, max = 3 }\ncombine = "mean"\n', ""
    )
    for key, text in (("girth", girth), ("tone", tone)):
        (folder / f"{key}.toml").write_text(text, encoding="utf-8")
    return Catalogue({}).with_folder(folder)


@st.composite
def tables(draw: st.DrawFn, name: str, kind: str) -> list[list[str]]:
    """A table of cells that clinics type, with its headings first; some headings are left out, doubled or foreign.

    In a sane study the ids, visits and days are right, so that it is the other cells that are looked at; in a sound one
    most cells are, and no key comes twice.
    """
    if kind == "sound" and name in SOUND:
        columns = {heading: words for heading, words in SOUND[name].items() if heading in COLUMNS[name]}
        cells = [st.sampled_from(words) for words in columns.values()]
        key = lambda row: tuple(row[i] for i in KEYS[name])  # noqa: E731
        return [list(columns), *map(list, draw(st.lists(st.tuples(*cells), min_size=1, max_size=12, unique_by=key)))]
    sane = kind != "wild"
    columns = dict(COLUMNS[name]) | (SANE if sane else {})
    columns = {heading: words for heading, words in columns.items() if heading in COLUMNS[name]}
    if sane and name == "participants":
        return [
            ["participant_id", "age_years"],
            *([one, draw(st.sampled_from(NUMBERS))] for one in SANE["participant_id"]),
        ]
    for heading in draw(st.lists(st.sampled_from(sorted(columns)), max_size=1)):
        if draw(st.integers(0, 9)) == 0:
            columns.pop(heading)
    headings = list(columns)
    for heading in draw(st.lists(st.sampled_from(EXTRA_HEADINGS), max_size=1)):
        if draw(st.integers(0, 4)) == 0:
            headings.insert(draw(st.integers(0, len(headings))), heading)
    cells = [
        st.one_of(*[st.sampled_from(columns.get(heading, NUMBERS))] * 12, st.text(max_size=6)) for heading in headings
    ]
    rows = draw(st.lists(st.tuples(*cells), max_size=8))
    return [headings, *map(list, rows)]


def csv_text(rows: list[list[str]], separator: str, end: str) -> str:
    """Return rows as csv."""
    out = io.StringIO(newline="")
    broken = any("\r" in cell or "\n" in cell for row in rows for cell in row)
    quoting = csv.QUOTE_ALL if broken else csv.QUOTE_MINIMAL  # the writer leaves a lone \r without quotes
    csv.writer(out, delimiter=separator, lineterminator=end, quoting=quoting).writerows(rows)
    return out.getvalue()


@st.composite
def settings_files(draw: st.DrawFn) -> dict[str, bytes]:
    """The three small files, sound or not."""
    headings = {
        "columns.csv": list(COLUMNS_HEADINGS),
        "words.csv": ["column", "word", "means"],
        "decisions.csv": ["query", "decision", "role", "date", "reason"],
    }
    files = {}
    for name in draw(st.lists(st.sampled_from(sorted(headings)), max_size=2, unique=True)):
        width = len(headings[name])
        cells = st.lists(st.sampled_from(SETTINGS_CELLS), min_size=width, max_size=width)
        files[name] = csv_text([headings[name], *draw(st.lists(cells, max_size=4))], ",", "\n").encode()
    return files


@st.composite
def studies(draw: st.DrawFn, kinds: tuple[str, ...] = ("wild", "sane", "sound")) -> Generated:
    """A study folder of generated tables, settings and ``[intake]``, of one of the `kinds`."""
    keys = draw(st.lists(st.sampled_from(sorted(INTAKE)), max_size=2, unique=True))
    lines = [f"{key} = {draw(st.sampled_from(INTAKE[key]))}" for key in keys]
    kind = draw(st.sampled_from(kinds))
    if kind != "wild":
        lines = [line for line in lines if line.startswith(("decimal", "missing"))] + ['on_error = "set_aside"']
    made = {name: draw(tables(name, kind)) for name in COLUMNS if name != "sessions" or draw(st.booleans())}
    separator, end = (
        draw(st.sampled_from([",", ",", ",", ";", "\t"])),
        draw(st.sampled_from(["\n", "\n", "\r\n", "\r"])),
    )
    encodings = ["utf-8"] * 9 + ["utf-8-sig", "utf-16"] if kind == "sound" else ENCODINGS
    encoding = draw(st.sampled_from(encodings))
    files = {
        f"{name}.csv": csv_text(rows, separator, end).encode(
            encoding, "surrogatepass" if encoding == "utf-8" else "replace"
        )
        for name, rows in made.items()
    }
    files |= draw(settings_files()) if draw(st.integers(0, 5 if kind == "sound" else 2)) == 2 else {}
    generated = Generated(files, PROTOCOL + "\n".join(lines) + "\n", made)
    if draw(st.integers(0, 9 if kind == "sound" else 4)) == 3:
        name = draw(st.sampled_from(sorted(files)))
        generated.files[name] = damaged(files[name], draw(st.integers(0, 2**32)))
        generated.intact = False
    return generated


def damaged(content: bytes, seed: int) -> bytes:
    """Return bytes with some of them changed, cut off, doubled or put in."""
    rng = random.Random(seed)
    raw = bytearray(content)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(raw) + 1) if raw else 0
        what = rng.randrange(5)
        if what == 0 and raw:
            raw[min(at, len(raw) - 1)] = rng.randrange(256)
        elif what == 1:
            raw[at:at] = rng.choice(
                [b'"', b",", b";", b"\n", b"\r", b"\x00", b"\xff\xfe", b"=", b"\xc3", b"PK\x03\x04"]
            )
        elif what == 2:
            del raw[at : at + rng.randint(1, 40)]
        elif what == 3:
            del raw[at:]
        else:
            raw += raw[at : at + rng.randint(1, 200)]
    return bytes(raw)


def damaged_protocol(seed: int) -> str:
    """Return the text of a ready-made protocol with lines changed, doubled, left out or cut."""
    rng = random.Random(seed)
    text = packaged_path(rng.choice(["leg_cycling_16_weeks", "arm_cycling_12_weeks"])).read_text(encoding="utf-8")
    lines = text.split("\n")
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(lines))
        what = rng.randrange(6)
        if what == 0:
            del lines[at]
        elif what == 1:
            lines.insert(at, rng.choice(lines))
        elif what == 2:
            lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
        elif what == 3:
            lines[at] = damaged(lines[at].encode(), rng.randrange(2**32)).decode("utf-8", "replace")
        elif what == 4:
            lines[at] = re.sub(
                r"=.*", "= " + rng.choice(["-1", "nan", "[]", '""', "2026-01-01", "true", "1e400", "{}"]), lines[at]
            )
        else:
            lines[at] = lines[at].replace('"', rng.choice(["", "'", '"""']))
    return "\n".join(lines)


def check_protocol(text: str) -> str:
    """Read a protocol; return "refused" or "read". Anything but a refusal of ours is a fault."""
    try:
        parse_protocol(text, "protocol.toml")
    except DefinitionError as error:
        return "refused" if str(error).strip() else "refused without a word"
    return "read"


def check_study(generated: Generated, known: Catalogue) -> str:
    """Read a generated study and check all that must hold; return what became of it."""
    try:
        protocol = parse_protocol(generated.protocol, "protocol.toml")
    except DefinitionError:
        return "protocol refused"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file, content in generated.files.items():
            (folder / file).write_bytes(content)
        try:
            intake = read_folder(folder, protocol, known)
        except OutcomesError as error:
            raise AssertionError(f"a whole folder was refused without findings: {error}") from error
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == generated.files
    balance = intake.ledger.balance()
    assert (balance["rows_read"] == balance["used"] + balance["duplicates"] + balance["set_aside"]).all()
    parts = ["as_typed", "normalised", "emptied", "in_duplicates", "in_set_aside"]
    assert (balance["cells_read"] == balance[parts].sum(axis=1)).all()
    cells = Counter(
        (cell["file"], cell["sheet"], cell["row"], cell["heading"], cell["table"], cell["column"])
        for cell in intake.ledger.every_cell().to_pylist()
        if cell["table"]
    )
    repeated = any(len(set(sheet.headings)) < len(sheet.headings) for sheet in intake.ledger.sheets)
    assert repeated or max(cells.values(), default=1) == 1
    assert cells.total() == balance["cells_read"].sum()
    for finding in intake.findings:
        assert finding.expected
        assert "\n" not in str(finding)
    if generated.intact:
        check_numbers(generated, intake, decimal="," if 'decimal = ","' in generated.protocol else ".")
    return "stopped" if intake.stops else "read"


def check_numbers(generated: Generated, intake, decimal: str) -> None:
    """Compare every number of every table with a second reading of the cell that the ledger names.

    A heading that a table does not know is kept as an extra column, as typed.
    """
    mapped = "columns.csv" in generated.files
    for table, frame in intake.tables.items():
        cells = generated.tables.get(table)
        for column in (NUMERIC | {"response"}) & set(frame.columns) & set(COLUMNS.get(table, ())):
            filled = frame[frame[column].notna()]
            for row_id, value in zip(filled["row_id"], filled[column], strict=True):
                place = intake.ledger.locate(f"{row_id}/{column}")
                if cells is None or mapped or not place.heading:
                    continue
                typed = cell_at(cells, place.row, place.heading)
                assert typed is not None, (table, row_id, column, place)
                check_value(typed, value, decimal)


def cell_at(cells: list[list[str]], row: int, heading: str) -> str | None:
    """Return the generated cell of a row of the file; blank lines inside cells are no rows of the csv reader."""
    headings = [text.strip() for text in cells[0]]
    if headings.count(heading) != 1 or not 1 <= row <= len(cells):
        return None
    return cells[row - 1][headings.index(heading)]


def check_value(typed: str, value: object, decimal: str) -> None:
    """A number is what the cell says in the plainest reading; a text is the cell without blanks, or a declared form."""
    plain = typed.strip().replace("−", "-")
    plain = "".join(chr(ord(c) - 0xFEE0) if 0xFF01 <= ord(c) <= 0xFF5E else c for c in plain).strip()
    if decimal == "," and re.fullmatch(r"[+-]?[0-9]*,[0-9]+", plain):
        plain = plain.replace(",", ".")
    if isinstance(value, float):
        assert re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?", plain), (typed, value)
        assert float(plain) == value, (typed, value)
    else:
        assert str(value) in (plain, {"1 +": "1+"}.get(plain)), (typed, value)
