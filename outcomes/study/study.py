"""Open a study folder, or build a study in memory, through the same checks."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes import __version__
from outcomes.errors import DataError, Finding, UsageError
from outcomes.files import inside, sha256
from outcomes.study.series import Series, planned_series
from outcomes.study.traces import TableSource, Traces, TraceSummary, differences

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.intake import Intake, Ledger
    from outcomes.intake.decisions import Answered
    from outcomes.intake.settings import Decision
    from outcomes.measures import Catalogue
    from protocols.schema import Protocol

Progress = Callable[[str], None]

STOPS = 'Correct these, or say on_error = "set_aside" under [intake] in protocol.toml; every report then lists them.'
BLOCKS = "Correct these and run outcomes check again; nothing was scored."


def read_plan(folder: str | Path) -> tuple[Protocol, Catalogue]:
    """Read the protocol of a study folder and the catalogue with the study's own definitions; no table is read.

    Parameters
    ----------
    folder : path

    Returns
    -------
    tuple of Protocol and Catalogue

    Raises
    ------
    UsageError
        The folder does not exist or holds no protocol, or one that is a link out of it.
    DefinitionError
        The protocol or a definition is refused, or a worked example of a study's own definition does not hold.
    """
    from outcomes.measures import Catalogue, refuse_contradictions
    from protocols import read_protocol

    folder = Path(folder)
    path = folder / "protocol.toml"
    if not folder.is_dir():
        raise UsageError(f"{folder} is not a folder")
    if not path.is_file():
        raise UsageError(f"{folder} holds no protocol.toml; 'outcomes new' writes one")
    protocol = read_protocol(inside(folder, path.name))
    catalogue = Catalogue.packaged()
    if (folder / "measures").is_dir():
        catalogue = catalogue.with_folder(inside(folder, "measures"))
        refuse_contradictions(catalogue)
    return protocol, catalogue


@dataclass(frozen=True)
class Study:
    """Tables, protocol, catalogue and ledger of one study, checked; hands out copies.

    Use `Study.open` or `Study.from_tables`.
    """

    protocol: Protocol
    catalogue: Catalogue
    series: tuple[Series, ...]
    ledger: Ledger
    findings: tuple[Finding, ...]
    files: Mapping[str, str]
    folder: Path | None
    choices: tuple[tuple[str, object, object], ...]
    _tables: Mapping[str, pd.DataFrame] = field(repr=False)
    _decisions: tuple[Decision, ...] = ()

    @classmethod
    def open(
        cls, folder: str | Path, *, settings: Mapping[str, str] | None = None, progress: Progress | None = None
    ) -> Study:
        """Read and check a study folder; always writes ``results/check``.

        Parameters
        ----------
        folder : path
        settings : mapping of str to str, optional
            Choices of the protocol changed for this run, such as ``{"analysis.alpha": "0.1"}``.
        progress : callable, optional
            Called with the name of each file as it is read.

        Raises
        ------
        UsageError
            The folder does not exist or holds no protocol.
        DefinitionError
            The protocol or a definition is refused.
        DataError
            The tables are refused; holds every finding.
        """
        from outcomes.intake import read_folder, write_check
        from protocols import with_choices

        folder = Path(folder)
        protocol, catalogue = read_plan(folder)
        choices: tuple[tuple[str, object, object], ...] = ()
        if settings:
            protocol, changed = with_choices(protocol, settings)
            choices = tuple(changed)
        series = planned_series(protocol, catalogue)
        intake = read_folder(folder, protocol, catalogue, progress=progress)
        write_check(intake, folder)
        return cls._from_intake(intake, protocol, catalogue, series, folder, choices)

    @classmethod
    def from_tables(cls, protocol: Protocol, catalogue: Catalogue | None = None, **frames: pd.DataFrame) -> Study:
        """Build a study from data frames named like the tables, through the same checks and ledger.

        Parameters
        ----------
        protocol : Protocol
        catalogue : Catalogue, optional
            The packaged one by default.
        **frames : DataFrame
            A frame per table, columns as in the vocabulary.

        Raises
        ------
        DefinitionError, DataError
            As `open`.
        """
        from outcomes.intake import read_frames
        from outcomes.measures import Catalogue as Packaged

        catalogue = catalogue or Packaged.packaged()
        series = planned_series(protocol, catalogue)
        intake = read_frames(frames, protocol, catalogue)
        return cls._from_intake(intake, protocol, catalogue, series, None, ())

    @classmethod
    def _from_intake(
        cls,
        intake: Intake,
        protocol: Protocol,
        catalogue: Catalogue,
        series: tuple[Series, ...],
        folder: Path | None,
        choices: tuple[tuple[str, object, object], ...],
    ) -> Study:
        if intake.stops:
            blocked = any(finding.grade == "block" for finding in intake.findings)
            raise DataError(intake.findings, BLOCKS if blocked else STOPS)
        return cls(
            protocol=protocol,
            catalogue=catalogue,
            series=series,
            ledger=intake.ledger,
            findings=tuple(intake.findings),
            files=dict(intake.files),
            folder=folder,
            choices=choices,
            _tables=dict(intake.tables),
            _decisions=intake.later,
        )

    @property
    def id(self) -> str:
        """First 12 digits of the hash of everything that the numbers depend on."""
        definitions = {s.definition.key: s.definition.sha256 for s in self.series}
        content = {
            "files": dict(self.files),
            "protocol": self.protocol.sha256,
            "choices": [[key, str(used)] for key, _, used in self.choices],
            "definitions": definitions,
            "software": __version__,
        }
        if self.trace_files:
            content["traces"] = self.trace_files
        return sha256(json.dumps(content, sort_keys=True).encode())[:12]

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """A copy of every table that exists; ``trace_sessions`` too where the protocol takes the dose from traces."""
        from outcomes.dose import TRACE_SESSIONS

        tables = {name: frame.copy() for name, frame in self._tables.items()}
        plan = self.protocol.dose
        if plan is not None and plan.source == "traces" and len(self.traces):
            tables[TRACE_SESSIONS] = self.trace_summary.sessions.copy()
        return tables

    def has(self, name: str) -> bool:
        """Whether the study has the table, with at least one row."""
        return name in self._tables and len(self._tables[name]) > 0

    def table(self, name: str) -> pd.DataFrame:
        """Return a copy of one table.

        Raises
        ------
        UsageError
            The study has no such table.
        """
        if name not in self._tables:
            raise UsageError(f"the study has no table '{name}'")
        return self._tables[name].copy()

    @cached_property
    def traces(self) -> Traces:
        """The traces of the study: its folder ``traces/``, and its table ``traces`` where it has one."""
        from outcomes.dose import TraceRules
        from outcomes.intake import find_sources

        plan = self.protocol.dose
        rules = TraceRules() if plan is None else TraceRules(gap_s=plan.gap_s, cadence_floor_rpm=plan.cadence_floor_rpm)
        files, findings = ([], []) if self.folder is None else find_sources(self.folder)
        table = [TableSource(self._tables["traces"])] if self.has("traces") else []
        cache = None if self.folder is None else self.folder / "results" / "traces"
        return Traces((*table, *files), tuple(findings), rules, cache)

    @cached_property
    def trace_files(self) -> dict[str, str]:
        """SHA-256 of every file of traces, by name."""
        return {source.file: source.sha256 for source in self.traces.sources if source.sha256}

    @property
    def traced(self) -> bool:
        """Whether there is anything to say about traces: files or a table of them, or answers to queries about them."""
        return bool(len(self.traces) or self.traces.findings or self._decisions)

    @cached_property
    def trace_summary(self) -> TraceSummary:
        """The row of every session that has a trace, summed once."""
        return self.traces.summary()

    @cached_property
    def _answered_traces(self) -> tuple[list[Finding], list[Answered]]:
        """What is still to be said about the traces, and the queries about them that decisions answer."""
        from outcomes.intake import answer_findings

        found = list(self.trace_summary.findings) if len(self.traces) else list(self.traces.findings)
        left, answered = answer_findings([*found, *self._differences()], self._decisions)
        grades = {finding.grade for finding in left}
        if "block" in grades:
            raise DataError(left, BLOCKS)
        if "set_aside" in grades and self.protocol.intake.on_error == "stop":
            raise DataError(left, STOPS)
        return left, answered

    def trace_findings(self) -> list[Finding]:
        """Return everything that is wrong with the traces, and where they differ from the session rows.

        Raises
        ------
        DataError
            A decision would set a trace aside, which no decision can; or a part of a trace cannot be used, and the
            protocol says stop.
        """
        return list(self._answered_traces[0])

    @property
    def full_ledger(self) -> Ledger:
        """The ledger with the answered queries about traces beside those about tables; reads traces that there are."""
        return replace(self.ledger, answered=(*self.ledger.answered, *self._answered_traces[1]))

    def write_trace_check(self) -> None:
        """Write ``results/check`` anew with what is said about traces, where there is anything to say of them.

        Raises
        ------
        UsageError
            It cannot be written, or another run writes it.
        DataError
            As `trace_findings`.
        """
        from outcomes.intake import write_trace_check

        if self.folder is not None and self.traced:
            write_trace_check(self.folder, (*self.findings, *self.trace_findings()), self.full_ledger)

    def trace_queries(self) -> list[Finding]:
        """Return where session rows and traces differ by more than they may and nobody has answered yet, each with
        file, row and column."""
        differ = {finding.query for finding in self._differences()}
        return [finding for finding in self._answered_traces[0] if finding.query in differ]

    def _differences(self) -> list[Finding]:
        if not self.has("sessions") or not len(self.traces):
            return []
        return differences(self._tables["sessions"], self.trace_summary.sessions, self.ledger.locate)

    def queries(self) -> list[Finding]:
        """Return the findings that ask a question."""
        return [finding for finding in self.findings if finding.grade == "ask"]
