"""A small study of three invented measures; every test writes real files and reads them back."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import pytest

from outcomes.cli import run
from outcomes.errors import Finding
from outcomes.intake import Intake, read_folder, read_frames
from outcomes.measures import Catalogue
from protocols import Protocol, parse_protocol

DEFINITIONS = {
    "girth": """
key = "girth"
version = "1"
title = "Girth"
construct = "size"
source = "made for these tests"
[rows]
place = ["thigh", "calf"]
side = true
trial = { min = 1, max = 3 }
combine = "mean"
[[items]]
key = "reading"
range = [10, 100]
usual = [35, 70]
unit = "cm"
[[scales]]
key = "girth"
main = true
rule = "trials"
items = ["reading"]
level = "ratio"
better = "none"
unit = "cm"
""",
    "tone": """
key = "tone"
version = "1"
title = "Tone"
construct = "tone"
source = "made for these tests"
[rows]
place = ["knee"]
side = true
absent_words = { NT = "not_tested" }
[[items]]
key = "grade"
codes = { "0" = 0, "1" = 1, "1+" = 2, "2" = 3 }
spellings = { "1 +" = "1+" }
[[scales]]
key = "rank"
main = true
rule = "value"
items = ["grade"]
range = [0, 3]
level = "ordinal"
better = "lower"
""",
    "life": """
key = "life"
version = "1"
title = "Life"
construct = "life"
source = "made for these tests"
[[items]]
keys = ["one", "two"]
codes = [1, 2, 3, 4]
[[scales]]
key = "total"
main = true
rule = "sum"
items = ["one", "two"]
level = "ordinal"
better = "higher"
""",
    "spare": """
key = "spare"
version = "1"
title = "A measure that no protocol here names"
construct = "spare"
source = "made for these tests"
[[items]]
key = "answer"
codes = [0, 1]
[[scales]]
key = "answer"
main = true
rule = "value"
items = ["answer"]
level = "ordinal"
better = "higher"
""",
}

PROTOCOL = """
schema = 1
[study]
title = "Small"
design = "{design}"
{groups}
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
window_days = [7, 14]
when = "end"
[[measures]]
measure = "girth"
role = "primary"
places = ["thigh"]
[[measures]]
measure = "tone"
role = "secondary"
limbs = "worse"
[[measures]]
measure = "life"
role = "secondary"
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
{intake}
"""

PARTICIPANTS = "participant_id,enrolled_on,age_years\nP01,2026-01-05,40\nP02,2026-01-05,50\n"

ANSWERS_HEADER = "participant_id,visit,measure,place,side,item,trial,response,absent_because,assessed_at"
GOOD_ANSWERS = (
    "P01,before,girth,thigh,left,reading,1,44.5,,2026-01-06 09:30",
    "P01,after,girth,thigh,left,reading,1,45,,2026-03-30 09:30",
    "P02,before,tone,knee,right,grade,,1+,,2026-01-06 10:00",
    "P02,before,life,,,one,,3,,2026-01-06 10:00",
)
SESSIONS_HEADER = "participant_id,session_id,started_at,status,total_minutes,passive_minutes,active_minutes,work_kj"
GOOD_SESSION = "P01,s1,2026-01-08 09:00,done,40,5,30,20"


def protocol_of(intake: str = "", design: str = "single arm", groups: str = "") -> Protocol:
    """Return the small protocol with its ``[intake]`` section."""
    text = PROTOCOL.format(intake=intake, design=design, groups=groups)
    return parse_protocol(text, "protocol.toml")


@pytest.fixture(scope="session")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """The three measures of these tests, and one more."""
    folder = tmp_path_factory.mktemp("measures")
    for key, text in DEFINITIONS.items():
        (folder / f"{key}.toml").write_text(text, encoding="utf-8")
    return Catalogue({}).with_folder(folder)


CHECK_FILES = (
    "findings.csv", "for_clinical_review.csv", "ledger.csv", "cells.csv", "cells.parquet", "balance.csv",
    "sources.csv", "decisions.csv",
)  # fmt: skip


class Room:
    """A study folder to write into, and what tests ask of its reading."""

    PARTICIPANTS = PARTICIPANTS
    ANSWERS_HEADER = ANSWERS_HEADER
    SESSIONS_HEADER = SESSIONS_HEADER
    GOOD_SESSION = GOOD_SESSION
    definitions = DEFINITIONS

    def __init__(self, folder: Path, catalogue: Catalogue) -> None:
        self.folder, self.catalogue = folder, catalogue

    @staticmethod
    def protocol(**changes: str) -> Protocol:
        """Return the small protocol."""
        return protocol_of(**changes)

    def read(self, files: Mapping[str, str | bytes | None] | None = None, **protocol: str) -> Intake:
        """Write files over the good ones (None leaves one out) and read them; no file changes, both balances hold."""
        contents = {"participants.csv": PARTICIPANTS, "assessments.csv": self.answers(), **(files or {})}
        raw = {n: c.encode("utf-8") if isinstance(c, str) else c for n, c in contents.items() if c is not None}
        for name, content in raw.items():
            (self.folder / name).write_bytes(content)
        intake = read_folder(self.folder, protocol_of(**protocol), self.catalogue)
        assert {path.name: path.read_bytes() for path in self.folder.iterdir()} == raw
        self.balanced(intake)
        return intake

    @staticmethod
    def protocol_text(intake: str = "") -> str:
        """Return the text of the small protocol."""
        return PROTOCOL.format(intake=intake, design="single arm", groups="")

    def check(self, files: Mapping[str, str | bytes | None], intake: str = "", *words: str) -> tuple[int, str, str]:
        """Write a study folder and run ``outcomes check`` on it; return exit code, standard output and error.

        No file of the folder changes, nothing is written but ``results/check``, and no traceback is printed.
        """
        contents: dict[str, str | bytes | None] = {
            "protocol.toml": PROTOCOL.format(intake=intake, design="single arm", groups=""),
            "participants.csv": PARTICIPANTS,
            "assessments.csv": self.answers(),
            **{f"measures/{key}.toml": text for key, text in DEFINITIONS.items()},
            **files,
        }
        raw = {n: c.encode("utf-8") if isinstance(c, str) else c for n, c in contents.items() if c is not None}
        for name, content in raw.items():
            (self.folder / name).parent.mkdir(exist_ok=True)
            (self.folder / name).write_bytes(content)
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
            run(["check", str(self.folder), *words])
        assert isinstance(left.value.code, int)
        assert "Traceback" not in out.getvalue() + err.getvalue()
        here = {
            path.relative_to(self.folder).as_posix(): path
            for path in self.folder.rglob("*")
            if path.is_file() and not path.is_symlink()
        }
        written = {name for name in here if name.startswith("results/") or name.endswith(".suggested.csv")}
        assert {name: here[name].read_bytes() for name in set(here) - written} == raw
        checked = {name for name in written if name.startswith("results/")}
        assert checked in (set(), {f"results/check/{name}" for name in CHECK_FILES})
        return left.value.code, out.getvalue(), err.getvalue()

    def check_traced(self, files: Mapping[str, str]) -> tuple[int, str, str]:
        """Run ``outcomes check`` on a study folder that holds traces besides; no file of the clinic changes."""
        good = {
            "protocol.toml": self.protocol_text(),
            "participants.csv": PARTICIPANTS,
            "assessments.csv": self.answers(),
        }
        for name, content in (
            good | {f"measures/{key}.toml": text for key, text in DEFINITIONS.items()} | dict(files)
        ).items():
            (self.folder / name).parent.mkdir(exist_ok=True)
            (self.folder / name).write_text(content, encoding="utf-8")
        before = self._inputs()
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
            run(["check", str(self.folder)])
        assert "Traceback" not in out.getvalue() + err.getvalue()
        assert self._inputs() == before
        return int(left.value.code or 0), out.getvalue(), err.getvalue()

    def _inputs(self) -> dict[str, bytes]:
        paths = [path for path in self.folder.rglob("*") if path.is_file() and "results" not in path.parts]
        return {path.relative_to(self.folder).as_posix(): path.read_bytes() for path in paths}

    def frames(self, **frames: Any) -> Intake:
        """Read frames in memory; both balances hold."""
        intake = read_frames(frames, protocol_of(), self.catalogue)
        self.balanced(intake)
        return intake

    @staticmethod
    def balanced(intake: Intake) -> None:
        """Check both balances by hand."""
        balance = intake.ledger.balance()
        assert (balance["rows_read"] == balance["used"] + balance["duplicates"] + balance["set_aside"]).all()
        parts = ["as_typed", "normalised", "emptied", "in_duplicates", "in_set_aside"]
        assert (balance["cells_read"] == balance[parts].sum(axis=1)).all()
        cells = intake.ledger.every_cell().to_pylist()
        told = Counter((cell["table"], cell["row_state"], cell["state"]) for cell in cells if cell["table"])
        for row in balance.to_dict("records"):
            table = row["table"]
            assert [told[table, "used", state] for state in parts[:3]] == [row[state] for state in parts[:3]]
            for state in ("duplicate", "set_aside"):
                listed = sum(n for (of, rows, _), n in told.items() if (of, rows) == (table, state))
                assert listed == row["in_duplicates" if state == "duplicate" else "in_set_aside"]
        places = Counter((c["file"], c["sheet"], c["row"], c["heading"], c["table"]) for c in cells if c["heading"])
        repeated = {(s.file, s.name, h) for s in intake.ledger.sheets for h in s.headings if s.headings.count(h) > 1}
        assert {key for key, n in places.items() if n > 1 and (key[0], key[1], key[3]) not in repeated} == set()
        derived = {name: len(rows) for name, rows in intake.ledger.derived.items()}
        for name, used in zip(balance["table"], balance["used"], strict=True):
            assert used == len(intake.tables[name]) - derived.get(name, 0)

    @staticmethod
    def answers(*rows: str) -> str:
        """Return assessments.csv of four good answers and then `rows`; the first of `rows` stands in row 6."""
        return "\n".join([ANSWERS_HEADER, *GOOD_ANSWERS, *rows]) + "\n"

    @staticmethod
    def sessions(*rows: str, header: str = SESSIONS_HEADER) -> str:
        """Return sessions.csv; the first of `rows` stands in row 2."""
        return "\n".join([header, *rows]) + "\n"

    @staticmethod
    def of_rule(intake: Intake, rule: str) -> list[Finding]:
        """Return the findings of a rule."""
        return [finding for finding in intake.findings if finding.rule == rule]

    def only(self, intake: Intake, rule: str) -> Finding:
        """Return the one finding of a rule."""
        found = self.of_rule(intake, rule)
        assert len(found) == 1, [str(finding) for finding in intake.findings]
        return found[0]

    def where(self, intake: Intake, rule: str) -> tuple[Any, ...]:
        """Return grade, file, row and column of the one finding of a rule."""
        finding = self.only(intake, rule)
        return finding.grade, finding.file, finding.row, finding.column

    @staticmethod
    def count(intake: Intake, table: str, column: str) -> int:
        """Return one number of the balance."""
        return int(intake.ledger.balance().set_index("table").loc[table, column])

    @staticmethod
    def workbook(sheets: Mapping[str, list[list[Any]]], edit: Callable[[Any], None] | None = None) -> bytes:
        """Return an xlsx file with the cells of each sheet, after `edit` has changed the workbook."""
        from openpyxl import Workbook

        book = Workbook()
        book.remove(book.active)
        for title, rows in sheets.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(row)
        if edit is not None:
            edit(book)
        out = io.BytesIO()
        book.save(out)
        return out.getvalue()

    @staticmethod
    def encrypted() -> bytes:
        """Return the container in which a spreadsheet program puts a workbook with a password."""
        import xlwt

        book, out = xlwt.Workbook(), io.BytesIO()
        book.add_sheet("participants")
        book.save(out)
        content, entry = out.getvalue(), "Workbook".encode("utf-16-le")
        at, renamed = content.index(entry), "EncryptedPackage".encode("utf-16-le")
        return content[:at] + renamed.ljust(64, b"\0") + (len(renamed) + 2).to_bytes(2, "little") + content[at + 66 :]


@pytest.fixture
def room(tmp_path: Path, catalogue: Catalogue) -> Room:
    """An empty study folder."""
    folder = tmp_path / "study"
    folder.mkdir()
    return Room(folder, catalogue)
