"""Which files of a study folder are read, and by what: text files, workbooks, files of statistics programs; lock files,
links that lead out of the folder and other kinds are named."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.errors import near_word
from outcomes.files import PARTIAL, sha256
from outcomes.intake.data_files import PARQUET, STATISTICS, read_data_file
from outcomes.intake.text_files import read_text_file
from outcomes.intake.workbooks import read_workbook
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    from outcomes.intake.collector import Collector
    from outcomes.intake.raw import Sheet
    from protocols.schema import IntakeRules

TEXT_SUFFIXES = (".csv", ".tsv")
WORKBOOK_SUFFIXES = (".xlsx", ".xlsm", ".xls", ".ods")
DATA_SUFFIXES = PARQUET + STATISTICS
OTHER_SUFFIXES = (
    ".xlsb",
    ".numbers",
    ".txt",
    ".tab",
    ".json",
    ".por",
    ".sas7bdat",
    ".xpt",
    ".rds",
    ".feather",
    ".arrow",
)
"""Kinds of tables that are not read; one named like a table is refused instead of passed over."""

SETTINGS = ("columns.csv", "words.csv", "decisions.csv")
SUGGESTED = ("columns.suggested.csv", "words.suggested.csv")
"""Proposals; a person accepts one by giving it the name without ``suggested``."""

SIZE_LIMIT = 64_000_000
"""Bytes of one file. Measured: 25 MB of csv, 400,000 answers, take 0.67 GB of memory; 64 MB in proportion 1.5 GB."""

LOCK = ("~$", ".~lock.")


@dataclass(slots=True)
class Contents:
    """What a study folder holds.

    Parameters
    ----------
    sheets : list of Sheet
        In the order of file names, sheets in the order of their workbook.
    settings : dict of str to bytes
        columns.csv, words.csv and decisions.csv, where they exist.
    hashes : dict of str to str
        SHA-256 of every file that was read.
    refused : set of str
        Files that could not be read; a finding says why.
    """

    sheets: list[Sheet] = field(default_factory=list)
    settings: dict[str, bytes] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)


def read_settings(folder: Path, contents: Contents, found: Collector) -> None:
    """Read the bytes of columns.csv, words.csv and decisions.csv."""
    for name in SETTINGS:
        if (folder / name).is_file():
            raw = _bytes(folder / name, contents, found)
            if raw is not None:
                contents.settings[name] = raw


def read_tables(
    folder: Path,
    rules: IntakeRules,
    known: Collection[str],
    contents: Contents,
    found: Collector,
    progress: Callable[[str], None] | None = None,
) -> None:
    """Read every table file of a study folder.

    Parameters
    ----------
    folder : Path
    rules : IntakeRules
        ``[intake]`` of the protocol.
    known : collection of str
        Headings that would be recognised; decides between separators.
    contents : Contents
        Takes the sheets.
    found : Collector
        Takes the findings.
    progress : callable, optional
        Called with the name of each file.
    """
    for path in sorted(folder.iterdir(), key=lambda path: path.name):
        suffix = path.suffix.lower()
        is_broken_link = path.is_symlink() and not path.exists()
        if not (path.is_file() or is_broken_link) or path.name in SETTINGS + SUGGESTED or path.name.startswith(PARTIAL):
            continue
        if path.name.startswith(LOCK):
            _name_lock(path.name, found)
        elif suffix in TEXT_SUFFIXES + WORKBOOK_SUFFIXES + DATA_SUFFIXES:
            if progress is not None:
                progress(path.name)
            _read_one(path, suffix, rules, known, contents, found)
        elif suffix in OTHER_SUFFIXES and path.stem.lower() in TABLES:
            contents.refused.add(path.name)
            found.add(
                "block",
                "file_kind",
                "csv, tsv, xlsx, xls, ods, parquet, sav or dta; save the file as one",
                file=path.name,
            )


def _read_one(
    path: Path, suffix: str, rules: IntakeRules, known: Collection[str], contents: Contents, found: Collector
) -> None:
    raw = _bytes(path, contents, found)
    if raw is None:
        contents.refused.add(path.name)
        return
    if suffix in TEXT_SUFFIXES:
        sheet = read_text_file(path.name, raw, rules, known, found)
        sheets = [] if sheet is None else [sheet]
    elif suffix in DATA_SUFFIXES:
        sheet = read_data_file(path.name, suffix, raw, found)
        sheets = [] if sheet is None else [sheet]
    else:
        sheets = read_workbook(path.name, raw, rules, known, found)
        for sheet in sheets:
            sheet.notes += ["macros were left alone"] if suffix == ".xlsm" else []
    if not sheets:
        contents.refused.add(path.name)
    contents.sheets += sheets


def _bytes(path: Path, contents: Contents, found: Collector) -> bytes | None:
    if not path.resolve().is_relative_to(path.parent.resolve()):
        found.add(
            "block",
            "outside_folder",
            "a file inside the study folder; this is a link that leads out of it, and was not followed",
            file=path.name,
            remedy="Copy the file into the study folder.",
        )
        return None
    try:
        size = path.stat().st_size
        if size > SIZE_LIMIT:
            remedy = "Split the table into studies, or leave out what no column needs; recordings belong in traces."
            expected = f"at most {SIZE_LIMIT:,} bytes; it has {size:,}"
            found.add("block", "file_size", expected, file=path.name, remedy=remedy)
            return None
        raw = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        found.add("block", "unreadable_file", f"a file that can be read: {reason}", file=path.name)
        return None
    contents.hashes[path.name] = sha256(raw)
    return raw


def _name_lock(name: str, found: Collector) -> None:
    found.add(
        "ask",
        "lock_file",
        "no open spreadsheet; the file beside it may be open and not saved yet, the lock file was passed over",
        file=name,
        remedy="Close the spreadsheet program and check again.",
    )


def near_table(name: str) -> str:
    """Return ``"; did you mean 'x'?"`` for the table nearest to a file or sheet name, or an empty text."""
    return near_word(name, TABLES, cutoff=0.7)
