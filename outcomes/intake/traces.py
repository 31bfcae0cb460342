"""The folder traces/ of a study: which files it holds, whose sessions they are, and their batches."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.errors import DesignError, Finding, near_word
from outcomes.intake.collector import Collector
from outcomes.intake.traces_check import RawTrace, TraceChecks, batch_of, checked_batch
from outcomes.intake.traces_table import NAMES, Heading, read_csv

if TYPE_CHECKING:
    from outcomes.dose import Batch

FOLDER = "traces"
SUFFIXES = (".csv", ".parquet", ".fit", ".tcx")
SETTINGS = ("files.csv", "columns.csv")
"""``files.csv`` says whose session a file is (file, participant_id, session_id), ``columns.csv`` what a heading stands
for (heading, column, unit)."""


@dataclass(frozen=True, slots=True)
class TraceSource:
    """One file of traces.

    Parameters
    ----------
    path : Path
    file : str
        Its name in findings, from the study folder.
    ids : (str, str)
        Participant and session that its place or files.csv names; empty where the file has columns for them.
    headings : mapping
        What headings of a csv file stand for.
    """

    path: Path
    file: str
    ids: tuple[str, str] = ("", "")
    headings: Mapping[str, Heading] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """``"csv"``, ``"parquet"``, ``"fit"`` or ``"tcx"``."""
        return self.path.suffix.lower()[1:]

    @property
    def sha256(self) -> str:
        """SHA-256 of the file."""
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()

    def pieces(self) -> int:
        """Return in how many pieces the file can be read: the row groups of a Parquet file, else 1."""
        from outcomes.intake.traces_parquet import groups, is_ours

        if self.kind != "parquet":
            return 1
        try:
            return max(1, groups(self.path)) if is_ours(self.path) else 1
        except (OSError, ValueError):
            return 1

    def piece(self, number: int, *, gap_s: float = 5.0) -> tuple[Batch | None, list[Finding]]:
        """Read one piece.

        Parameters
        ----------
        number : int
            From 0.
        gap_s : float
            The longest step between samples that is still a recording.

        Returns
        -------
        batch : Batch or None
            Whole sessions, checked; None where nothing of the piece can be used.
        findings : list of Finding
        """
        checks = TraceChecks(self.file, gap_s)
        if self.kind == "parquet":
            batch = self._parquet(number, checks)
        else:
            traces = self._csv(checks) if self.kind == "csv" else self._ride(checks)
            batch = batch_of([trace for trace in traces if checks.checked(trace)])
        return batch, checks.found.sorted()

    def _csv(self, checks: TraceChecks) -> list[RawTrace]:
        return read_csv(self.path, self.file, self.ids, self.headings, checks)

    def _parquet(self, number: int, checks: TraceChecks) -> Batch | None:
        from outcomes.intake.traces_parquet import groups, is_ours, read_groups

        try:
            if is_ours(self.path):
                if not groups(self.path):
                    raise DesignError("it holds no samples")
                return checked_batch(next(read_groups(self.path, [number])), checks)
            return self._foreign(checks)
        except (OSError, ValueError) as error:
            self._refuse(checks, "unreadable_file", f"a Parquet file of traces: {error}")
            return None

    def _foreign(self, checks: TraceChecks) -> Batch | None:
        """Read a Parquet file that another program wrote: its order is not trusted, it is checked like a csv file."""
        import numpy as np
        import pandas as pd

        from outcomes.dose import CHANNELS, phase_codes

        frame = pd.read_parquet(self.path)
        frame = frame.rename(columns={heading: column for heading, (column, _) in self.headings.items()})
        missing = [name for name in ("participant_id", "session_id", "t_s") if name not in frame]
        if missing:
            raise DesignError(
                f"it has no column '{missing[0]}'{near_word(missing[0], [str(c) for c in frame.columns])}"
            )
        factors = dict(self.headings.values())
        traces = []
        for key, part in frame.groupby(["participant_id", "session_id"], sort=True):
            person, session = key
            numbers = {
                name: np.array(part[name], dtype=np.float64) * factors.get(name, 1.0)
                for name in ("t_s", *CHANNELS)
                if name in part
            }
            phase = phase_codes(part["phase"].tolist()) if "phase" in part else None
            traces.append(RawTrace(str(person), str(session), numbers.pop("t_s"), numbers, phase))
        return batch_of([trace for trace in traces if checks.checked(trace)])

    def _ride(self, checks: TraceChecks) -> list[RawTrace]:
        from outcomes.intake.traces_ride import NEEDS_EXTRA, read_fit, read_tcx

        try:
            ride = read_fit(self.path) if self.kind == "fit" else read_tcx(self.path)
        except ImportError:
            self._refuse(checks, "needs_extra", NEEDS_EXTRA)
            return []
        trace = RawTrace(*self.ids, ride.seconds(), ride.channels())
        if ride.sessions > 1:
            expected = (
                f"one session in a ride file; it holds {ride.sessions}, and which of them is meant is not known, so "
                "that none is used; export each by itself"
            )
            checks.tell("set_aside", "several_sessions", expected, trace, at=None, column="")
            return []
        if ride.trouble:
            at = float(trace.t_s[-1]) if len(trace.t_s) else None
            kept = "what was read until there is kept" if len(trace.t_s) else "nothing of it could be read"
            expected = f"a whole file; it is damaged or cut off ({ride.trouble}), and {kept}"
            checks.tell("set_aside", "damaged_file", expected, trace, at=at, column="")
        if ride.unknown_sides:
            expected = "a balance that says which side it is of; no left or right power is taken from it"
            checks.tell("ask", "side_unknown", expected, trace, at=None, column="left_power_w")
        return [trace] if len(trace.t_s) or not ride.trouble else []

    def _refuse(self, checks: TraceChecks, rule: str, expected: str) -> None:
        person = self.ids[0]
        checks.found.add("set_aside", rule, expected, file=self.file, table="traces", participant=person)


def find_sources(folder: Path) -> tuple[list[TraceSource], list[Finding]]:
    """Return the trace files of a study in order of their names, and what is wrong with how they lie.

    Parameters
    ----------
    folder : Path
        The study folder; its traces lie in ``traces/``.

    Notes
    -----
    A ride file holds one session and no ids of ours: it lies at ``traces/PARTICIPANT/SESSION.fit``, or
    ``traces/files.csv`` says whose it is; in a study of several centres PARTICIPANT is
    CENTRE/PARTICIPANT. A csv file may lie there too, or have columns for both.
    """
    found = Collector()
    root = folder / FOLDER
    if not root.is_dir():
        return [], []
    named, headings = _files_csv(root, found), _columns_csv(root, found)
    sources = []
    for path in sorted(path for path in root.rglob("*") if path.is_file()):
        inner = path.relative_to(root)
        if str(inner) in SETTINGS or path.name.startswith("."):
            continue
        name = f"{FOLDER}/{inner.as_posix()}"
        if path.suffix.lower() not in SUFFIXES:
            expected = f"a file of one of the kinds {', '.join(SUFFIXES)}; passed over"
            found.add("ask", "file_kind", expected, file=name, table="traces")
            continue
        ids = named.pop(inner.as_posix(), _ids_of_place(inner))
        if path.suffix.lower() in (".fit", ".tcx") and not all(ids):
            expected = "whose session it is: at traces/PARTICIPANT/SESSION, or a row of traces/files.csv"
            found.add("set_aside", "whose_session", expected, file=name, table="traces")
            continue
        sources.append(TraceSource(path, name, ids, headings))
    for inner_name in named:
        found.add(
            "ask", "no_such_file", f"a file '{inner_name}' in traces/", file=f"{FOLDER}/files.csv", table="traces"
        )
    return sources, found.sorted()


def _ids_of_place(inner: Path) -> tuple[str, str]:
    """Return participant and session; a participant of one of several centres lies in a folder of the centre."""
    return ("/".join(inner.parts[:-1]), inner.stem) if len(inner.parts) in (2, 3) else ("", "")


def _rows(path: Path, wanted: tuple[str, ...], found: Collector) -> Iterator[dict[str, str]]:
    if not path.is_file():
        return
    rows = csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig")))
    missing = [name for name in wanted if name not in (rows.fieldnames or ())]
    if missing:
        found.add("set_aside", "missing_column", f"column '{missing[0]}'", file=f"{FOLDER}/{path.name}", row=1)
        return
    for row in rows:
        yield {name: (row.get(name) or "").strip() for name in (*wanted, "unit")}


def _files_csv(root: Path, found: Collector) -> dict[str, tuple[str, str]]:
    rows = _rows(root / "files.csv", ("file", "participant_id", "session_id"), found)
    return {row["file"]: (row["participant_id"], row["session_id"]) for row in rows}


def _columns_csv(root: Path, found: Collector) -> dict[str, Heading]:
    from outcomes.units import column_unit, conversion_factor

    headings: dict[str, Heading] = {}
    for number, row in enumerate(_rows(root / "columns.csv", ("heading", "column"), found), start=2):
        try:
            if row["column"] not in NAMES:
                raise DesignError(f"a column of traces{near_word(row['column'], NAMES)}")
            factor = conversion_factor(row["unit"], column_unit(row["column"])) if row["unit"] else 1.0
            headings[row["heading"]] = (row["column"], factor)
        except DesignError as error:
            file = f"{FOLDER}/columns.csv"
            found.add("set_aside", "trace_heading", error.reason, file=file, row=number, found=row["column"])
    return headings
