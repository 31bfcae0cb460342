"""The whole way in: files or frames to checked tables, with the ledger and every finding of every table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.errors import Finding, UsageError, findings_csv, near_word
from outcomes.files import inside, locked, remove_leftovers, write_whole
from outcomes.intake.answer_checks import check_answers
from outcomes.intake.answers import read_answers
from outcomes.intake.cell_ledger import counted_cells
from outcomes.intake.cells import read_cells
from outcomes.intake.centres import join_centres
from outcomes.intake.collector import Collector
from outcomes.intake.columns import plan_feeds
from outcomes.intake.cross_checks import check_rows
from outcomes.intake.days import count_days
from outcomes.intake.decisions import apply_decisions
from outcomes.intake.drafts import Draft, assemble
from outcomes.intake.duplicates import find_duplicates
from outcomes.intake.frames import build_frames, frame_hash, sheet_of_frame
from outcomes.intake.identifiers import check_identifiers, point_out_identifying
from outcomes.intake.ledger import Ledger, decisions_csv, ledger_files
from outcomes.intake.limits import check_limits
from outcomes.intake.mapping import HeadingRule, read_mappings
from outcomes.intake.patterns import expand_patterns
from outcomes.intake.query_sheet import read_query_sheets
from outcomes.intake.raw import PROPOSES
from outcomes.intake.readers import WORKBOOK_SUFFIXES, Contents, near_table, read_settings, read_tables
from outcomes.intake.review import ForReview, for_review, review_csv
from outcomes.intake.scale_checks import check_scales
from outcomes.intake.settings import Decision, read_decisions, read_words
from outcomes.intake.settling import Reader
from outcomes.intake.traces import FOLDER as TRACES
from outcomes.intake.value_labels import apply_labels
from outcomes.intake.visit_checks import check_visits
from outcomes.vocabulary import ANSWER_TABLES, TABLES

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.intake.raw import Sheet
    from outcomes.measures import Catalogue
    from protocols.schema import Protocol


REVIEW = "for_clinical_review.csv"
"""What a clinician should look at, apart from the findings."""


@dataclass(frozen=True)
class Intake:
    """Checked tables of a study, and what became of everything that was read.

    Parameters
    ----------
    tables : dict of str to DataFrame
        Used rows of every table that exists, in the order of the vocabulary.
    ledger : Ledger
    findings : tuple of Finding
        Those that stop the run first.
    files : dict of str to str
        SHA-256 of every file, or frame, by name.
    on_error : {"stop", "set_aside"}
        What the protocol says about impossible values.
    review : tuple of ForReview
        What a clinician should look at; no errors.
    later : tuple of Decision
        Answers that no query of a table takes; those to queries about traces are among them.
    """

    tables: Mapping[str, pd.DataFrame] = field(repr=False)
    ledger: Ledger = field(repr=False)
    findings: tuple[Finding, ...]
    files: Mapping[str, str]
    on_error: str = "stop"
    review: tuple[ForReview, ...] = ()
    later: tuple[Decision, ...] = ()

    @property
    def stops(self) -> bool:
        """Whether the run stops: a finding of grade "block", or one set aside where the protocol says stop."""
        grades = {finding.grade for finding in self.findings}
        return "block" in grades or ("set_aside" in grades and self.on_error == "stop")


def read_folder(
    folder: str | Path,
    protocol: Protocol,
    catalogue: Catalogue,
    *,
    progress: Callable[[str], None] | None = None,
    settings: Mapping[str, bytes] | None = None,
) -> Intake:
    """Read and check every table of a study folder; no file of the clinic is changed.

    Parameters
    ----------
    folder : path
    protocol : Protocol
    catalogue : Catalogue
        The study's own definitions included.
    progress : callable, optional
        Called with the name of each file as it is read.
    settings : mapping of str to bytes, optional
        What columns.csv, words.csv or decisions.csv would hold; by default what stands in the folder.

    Returns
    -------
    Intake
        Also where a finding stops the run: ask `stops`.

    Raises
    ------
    UsageError
        The folder does not exist.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise UsageError(f"{folder} is not a folder")
    found, contents = Collector(), Contents()
    read_settings(folder, contents, found)
    contents.settings |= settings or {}
    rules = protocol.intake
    mappings = read_mappings(contents.settings.get("columns.csv"), protocol, catalogue, found)
    words = read_words(contents.settings.get("words.csv"), rules, found)
    decisions = read_decisions(contents.settings.get("decisions.csv"), rules, found)
    known = {heading for table in TABLES.values() for heading in table.by_heading}
    known |= {one.heading for one in mappings}
    read_tables(folder, rules, known, contents, found, progress)
    decisions += read_query_sheets(contents.sheets, found)
    mappings = expand_patterns(mappings, contents.sheets, words, protocol, catalogue, found)
    traced = (folder / TRACES).is_dir()
    study = _Study(protocol, catalogue, words, decisions, mappings, found, traced)
    return study.intake(contents.sheets, contents.hashes, contents.refused)


def read_frames(frames: Mapping[str, pd.DataFrame], protocol: Protocol, catalogue: Catalogue) -> Intake:
    """Check data frames named like the tables, as `read_folder` checks files.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        By table; columns as in the vocabulary.
    protocol : Protocol
    catalogue : Catalogue

    Returns
    -------
    Intake

    Raises
    ------
    UsageError
        A name that is no table, or something that is no data frame.
    """
    import pandas as pd

    for name, frame in frames.items():
        if name not in TABLES:
            raise UsageError(f"'{name}' is not a table{near_word(name, TABLES)}")
        if not isinstance(frame, pd.DataFrame):
            raise UsageError(f"{name} is not a data frame")
    sheets = [sheet_of_frame(name, frame) for name, frame in frames.items()]
    hashes = {sheet.file: frame_hash(sheet) for sheet in sheets}
    study = _Study(protocol, catalogue, {}, [], [], Collector())
    return study.intake(sheets, hashes, set())


@dataclass(slots=True)
class _Study:
    """One reading of one study."""

    protocol: Protocol
    catalogue: Catalogue
    words: Mapping[str, Mapping[str, str]]
    decisions: Sequence[Decision]
    mappings: Sequence[HeadingRule]
    found: Collector
    traced: bool = False

    def intake(self, sheets: Sequence[Sheet], hashes: Mapping[str, str], refused: set[str]) -> Intake:
        """Return the checked tables."""
        plan = plan_feeds(sheets, self.mappings, self.catalogue, self.found, refused)
        drafts = assemble(sheets, plan.feeds)
        point_out_identifying(sheets, drafts, self.found)
        self._required(drafts, plan.claimed, sheets, refused)
        read = {
            name: (len(draft), sum(int(counted_cells(draft, column).sum()) for column in draft.state))
            for name, draft in drafts.items()
        }
        self._check(drafts)
        self.found.drop_moot(drafts)
        traced = self.traced or "traces" in drafts
        answered, later, emptied = apply_decisions(drafts, self.decisions, self.found, traced=traced)
        self.found.drop_moot(drafts)
        if emptied:
            count_days(drafts, self.protocol, Collector())
        tables, derived = build_frames(drafts, self.protocol)
        ledger = Ledger(drafts, sheets, read, derived, answered)
        ledger.balance()
        return Intake(
            tables,
            ledger,
            tuple(self.found.sorted()),
            dict(hashes),
            self.protocol.intake.on_error,
            for_review(drafts),
            tuple(later),
        )

    def _required(
        self, drafts: Mapping[str, Draft], claimed: set[str], sheets: Sequence[Sheet], refused: set[str]
    ) -> None:
        """Refuse a study without a table that it needs, or with nothing in it."""
        retest = self.protocol.study.design == "test-retest"
        for name in ("participants", "repeats" if retest else "assessments"):
            if name in drafts and not len(drafts[name]):
                sheet = drafts[name].sheets[drafts[name].feeds[0].sheet]
                expected = f"at least one row below the headings of {name}"
                self.found.add(
                    "block",
                    "header_only",
                    expected,
                    file=sheet.file,
                    sheet=sheet.name,
                    table=name,
                    row=sheet.header_row,
                )
            elif name not in drafts and name not in claimed:
                if any(_may_hold(file, name) for file in refused):
                    continue
                names = [sheet.name or sheet.file.rpartition(".")[0] or sheet.file for sheet in sheets]
                near = next((f"; did you mean '{other}'?" for other in names if name in near_table(other)), "")
                listed = f"{name}.csv, {name}.xlsx or a sheet named '{name}'"
                remedy = f"Name the file or sheet so, or map its headings in columns.csv. {PROPOSES}"
                self.found.add("block", "missing_table", f"the table {name}: {listed}{near}", table=name, remedy=remedy)

    def _check(self, drafts: dict[str, Draft]) -> None:
        words = {column: dict(known) for column, known in self.words.items()}
        for group in self.protocol.groups:
            for word in group.words:
                words.setdefault("group", {}).setdefault(word, group.key)
        reader = Reader(self.protocol, words, self.found)
        for draft in drafts.values():
            apply_labels(draft, reader, self.catalogue)
            read_cells(draft, reader)
        join_centres(drafts, self.found)
        check_identifiers(drafts, reader)
        for name in ANSWER_TABLES:
            if name in drafts:
                read_answers(drafts[name], reader, self.catalogue)
        for draft in drafts.values():
            find_duplicates(draft, self.found)
        check_limits(drafts, reader)
        enrolment = count_days(drafts, self.protocol, self.found)
        check_rows(drafts, reader, enrolment)
        check_visits(drafts, reader, enrolment)
        check_answers(drafts, reader, self.catalogue)
        check_scales(drafts, reader, self.catalogue)


def _may_hold(file: str, table: str) -> bool:
    """Whether a file that could not be read may hold a table: it is named so, or is a workbook of several sheets."""
    stem, _, suffix = file.lower().rpartition(".")
    return stem == table or (f".{suffix}" in WORKBOOK_SUFFIXES and stem not in TABLES)


def check_files(intake: Intake) -> dict[str, str | bytes]:
    """Return what `write_check` writes, by file name."""
    files = ledger_files(intake.ledger)
    return {"findings.csv": findings_csv(intake.findings), REVIEW: review_csv(intake.review), **files}


def write_check(intake: Intake, folder: str | Path) -> list[Path]:
    """Write findings, ledger, cells and balance to ``results/check``, each whole; also for a run that stops.

    Parameters
    ----------
    intake : Intake
    folder : path
        The study folder.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    UsageError
        They cannot be written, or another run writes them.
    """
    target = inside(Path(folder), "results/check")
    with locked(target):
        remove_leftovers(target)
        return [write_whole(target / name, text) for name, text in check_files(intake).items()]


def write_trace_check(folder: str | Path, findings: Sequence[Finding], ledger: Ledger) -> None:
    """Write findings and decisions of ``results/check`` anew once traces are read, those about them included.

    Parameters
    ----------
    folder : path
        The study folder.
    findings : sequence of Finding
        About tables and traces.
    ledger : Ledger
        With every answered query.

    Raises
    ------
    UsageError
        They cannot be written, or another run writes them.
    """
    target = inside(Path(folder), "results/check")
    with locked(target):
        write_whole(target / "findings.csv", findings_csv(findings))
        write_whole(target / "decisions.csv", decisions_csv(ledger))
