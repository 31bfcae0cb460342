"""The traces of a study: sources that are opened batch by batch, summed on threads, never all in memory at once."""

from __future__ import annotations

import json
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from outcomes import __version__
from outcomes.errors import Finding, UsageError
from outcomes.files import sha256, write_whole

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.dose import Batch, TraceRules

Piece = tuple["Batch | None", list[Finding]]

REMEMBERED = 2
"""Version of what is remembered of a finished file: raised whenever its rows or the checks of its values change."""


class Source(Protocol):
    """One file, or table, of traces."""

    @property
    def file(self) -> str:
        """Its name in findings."""

    @property
    def sha256(self) -> str:
        """Hash of its content."""

    def pieces(self) -> int:
        """Return in how many pieces it can be read."""

    def piece(self, number: int, *, gap_s: float = 5.0) -> Piece:
        """Read one piece: whole sessions, checked, and the findings about them."""


@dataclass(frozen=True, slots=True)
class TableSource:
    """The table ``traces`` of a study, where somebody typed or exported it as one table."""

    frame: pd.DataFrame
    file: str = "table traces"

    @property
    def sha256(self) -> str:
        """Empty: the tables of a study are hashed by themselves."""
        return ""

    def pieces(self) -> int:
        """Return 1: a table is one piece."""
        return 1

    def piece(self, number: int, *, gap_s: float = 5.0) -> Piece:
        """Return the whole table, checked like any file of traces, and the findings."""
        from outcomes.dose import batch_of_frame
        from outcomes.intake import TraceChecks, checked_batch

        placed = self.frame[self.frame["t_s"].notna()]
        checks = TraceChecks(self.file, gap_s)
        batch = checked_batch(batch_of_frame(placed), checks) if len(placed) else None
        return batch, checks.found.sorted()


@dataclass(frozen=True, slots=True)
class TraceSummary:
    """What the traces of a study hold.

    Parameters
    ----------
    sessions : DataFrame
        Rows of `outcomes.dose.summarise` with ``file`` behind them, by participant and session.
    findings : tuple of Finding
        Everything that was wrong, with file and time.
    reused : int
        Files whose rows an earlier run had finished.
    """

    sessions: pd.DataFrame
    findings: tuple[Finding, ...]
    reused: int


@dataclass(frozen=True)
class Traces:
    """The traces of a study, in order of their files.

    Parameters
    ----------
    sources : tuple of Source
    findings : tuple of Finding
        About how the files lie in their folder.
    rules : TraceRules
        How they are read: the protocol's gap and cadence floor.
    cache : Path or None
        Where finished files are remembered.
    """

    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]
    rules: TraceRules
    cache: Path | None = None

    def __len__(self) -> int:
        return len(self.sources)

    def batches(self) -> Iterator[Batch]:
        """Yield every batch, one after the other; only one is in memory at a time."""
        for source in self.sources:
            for number in range(source.pieces()):
                batch, _ = source.piece(number, gap_s=self.rules.gap_s)
                if batch is not None:
                    yield batch

    def session(self, participant_id: str, session_id: str) -> Batch:
        """Return the trace of one session.

        Raises
        ------
        UsageError
            There is none.
        """
        for batch in self.batches():
            for i, key in enumerate(zip(batch.participants, batch.sessions, strict=True)):
                if key == (participant_id, session_id):
                    return batch.part(i, i + 1)
        raise UsageError(f"there is no trace of session '{participant_id}/{session_id}'")

    def summary(self, *, workers: int | None = None, progress: Callable[[str], None] | None = None) -> TraceSummary:
        """Return the row of every session, and every finding.

        Parameters
        ----------
        workers : int, optional
            Threads; as many as there are processors by default. The result is the same with any number.
        progress : callable, optional
            Called with the name of each file as it is finished.

        Notes
        -----
        A file that is finished is remembered under ``results/traces`` by its name, size, time of change and the rules;
        an interrupted run goes on where it stopped. At most one piece per thread, and one more, is in memory.
        """
        workers = workers or os.cpu_count() or 1
        known = [self._remembered(source) for source in self.sources]
        fresh = (source for source, part in zip(self.sources, known, strict=True) if part is None)
        parts: list[_Part] = [part for part in known if part is not None]
        reused = len(parts)
        with ThreadPoolExecutor(max_workers=workers) as pool:
            pieces: list[_Part] = []
            for source, piece, is_last in self._pieces(fresh, pool, workers):
                pieces.append(piece)
                if not is_last:
                    continue
                part, pieces = _file_part(source, pieces), []
                self._remember(source, *part)
                parts.append(part)
                if progress is not None:
                    progress(source.file)
        sessions, doubles = _once([frame for frame, _ in parts])
        told = [finding for _, findings in parts for finding in findings]
        return TraceSummary(sessions, (*self.findings, *told, *doubles), reused)

    def _pieces(
        self, sources: Iterable[Source], pool: ThreadPoolExecutor, workers: int
    ) -> Iterator[tuple[Source, _Part, bool]]:
        """Sum the pieces of files on threads, in order, at most one more in flight than there are threads.

        Yields the file, the sum of a piece, and whether it is the file's last.
        """
        flying: deque[tuple[Source, Future[_Part], bool]] = deque()
        for source in sources:
            total = source.pieces()
            for number in range(total):
                if len(flying) > workers:
                    first, future, is_last = flying.popleft()
                    yield first, future.result(), is_last
                flying.append((source, pool.submit(self._piece, source, number), number == total - 1))
        for first, future, is_last in flying:
            yield first, future.result(), is_last

    def _piece(self, source: Source, number: int) -> _Part:
        from outcomes.dose import summarise

        batch, told = source.piece(number, gap_s=self.rules.gap_s)
        return (_no_rows() if batch is None else summarise(batch, self.rules)), told

    def _place(self, source: Source) -> Path | None:
        path = getattr(source, "path", None)
        if self.cache is None or path is None:
            return None
        status = path.stat()
        content = [source.file, status.st_size, status.st_mtime_ns, asdict(self.rules), __version__, REMEMBERED]
        content += [list(getattr(source, "ids", ())), str(sorted(getattr(source, "headings", {}).items()))]
        return self.cache / f"{sha256(json.dumps(content).encode())[:24]}.json"

    def _remembered(self, source: Source) -> _Part | None:
        import numpy as np
        import pandas as pd

        place = self._place(source)
        if place is None or not place.is_file():
            return None
        try:
            found = json.loads(place.read_text(encoding="utf-8"))
            columns = {name: pd.Series(values, dtype=kind) for name, kind, values in found["columns"]}
            return pd.DataFrame(columns).fillna(np.nan), [Finding(**one) for one in found["findings"]]
        except (ValueError, KeyError, TypeError):
            return None

    def _remember(self, source: Source, frame: pd.DataFrame, told: Sequence[Finding]) -> None:
        place = self._place(source)
        if place is None:
            return
        columns = [
            [name, str(frame[name].dtype), [None if v != v else v for v in frame[name].tolist()]] for name in frame
        ]
        content: dict[str, Any] = {"columns": columns, "findings": [asdict(one) for one in told]}
        write_whole(place, json.dumps(content, allow_nan=False))


_Part = tuple["pd.DataFrame", list[Finding]]


def _file_part(source: Source, pieces: Sequence[_Part]) -> _Part:
    """Return the rows and findings of a file from those of its pieces."""
    import pandas as pd

    frames = [frame for frame, _ in pieces if len(frame)]
    frame = pd.concat(frames, ignore_index=True) if frames else _no_rows()
    names = pd.Series([source.file] * len(frame), dtype="str")
    return frame.assign(file=names), [finding for _, told in pieces for finding in told]


def _no_rows() -> pd.DataFrame:
    from outcomes.dose import joined

    return joined([])


def _once(frames: Sequence[pd.DataFrame]) -> tuple[pd.DataFrame, list[Finding]]:
    """Return every session once, and findings about sessions that come twice, under one id or under two."""
    import pandas as pd

    whole = pd.concat(frames, ignore_index=True) if frames else _no_rows().assign(file=pd.Series(dtype="str"))
    keys = ["participant_id", "session_id"]
    whole = whole.sort_values([*keys, "file"], kind="stable", ignore_index=True)
    again = whole.duplicated(keys)
    first = whole[~again].set_index(keys)["file"]
    findings = []
    for row in whole[again].to_dict("records"):
        kept = first[(row["participant_id"], row["session_id"])]
        found = {"file": row["file"], "participant": row["participant_id"], "found": f"session {row['session_id']}"}
        expected = f"each session in one file; it is also in {kept}, which is kept"
        findings.append(Finding(grade="set_aside", rule="exported_twice", table="traces", expected=expected, **found))
    whole = whole[~again].reset_index(drop=True)
    return whole, findings + _alike(whole)


def _alike(whole: pd.DataFrame) -> list[Finding]:
    """Ask about sessions of different ids whose traces have the same length, work and peak to the last digit."""
    ridden = whole[whole["recorded_work_j"] > 0]
    same = ["samples", "total_s", "recorded_work_j", "trapezoid_work_j", "peak_power_w"]
    findings = []
    for _, part in ridden[ridden.duplicated(same, keep=False)].groupby(same, sort=False):
        head, *others = part.to_dict("records")
        for row in others:
            expected = (
                f"a trace of its own; it equals that of {head['participant_id']}/{head['session_id']} in "
                f"{head['file']}, as if one session were exported twice"
            )
            findings.append(_asked("same_trace", expected, row, file=row["file"]))
    return findings


def differences(sessions: pd.DataFrame, rows: pd.DataFrame, locate: Callable[[str], Any]) -> list[Finding]:
    """Return a finding for every value of the sessions table that differs from its trace by more than it may.

    Parameters
    ----------
    sessions : DataFrame
        The sessions table.
    rows : DataFrame
        Rows of `summarise`.
    locate : callable
        Gives file, sheet, row and heading of a cell.
    """
    from outcomes.dose import reconcile

    findings = []
    people = sorted(set(sessions["participant_id"]))
    for row in reconcile(sessions, rows).to_dict("records"):
        if not row["row_id"]:
            expected = f"a row of the sessions table for every trace{_centre_hint(row['participant_id'], people)}"
            findings.append(_asked("no_session_row", expected, row, file="traces"))
            continue
        place = locate(f"{row['row_id']}/{row['quantity']}")
        hint = f"; {row['hint']}" if row["hint"] else ""
        expected = (
            f"within {row['tolerance']:.3g} {row['unit']} of the trace's {row['in_traces']:.4g} {row['unit']}{hint}"
        )
        where = {"file": place.file, "sheet": place.sheet, "row": place.row, "column": place.heading}
        findings.append(_asked("trace_differs", expected, row, found=f"{row['in_sessions']:.6g}", **where))
    return findings


def _centre_hint(person: str, people: Sequence[str]) -> str:
    """Return how the id of a trace is written where centres gave the same ids; empty where that is not the matter."""
    joined = [other for other in people if other.endswith(f"/{person}")]
    return f"; ids of several centres are written CENTRE/PARTICIPANT: {' or '.join(joined)}" if joined else ""


def _asked(rule: str, expected: str, session: dict[Any, Any], *, file: str, found: str = "", **where: Any) -> Finding:
    """Return a query about one session."""
    from outcomes.intake.collector import query_id

    told = found or f"session {session['session_id']}"
    person = str(session["participant_id"])
    query = query_id(file, where.get("sheet", ""), where.get("row"), where.get("column", ""), rule, f"{person} {told}")
    return Finding(
        grade="ask", rule=rule, expected=expected, file=file, table="sessions", participant=person, found=told,
        query=query, **where,
    )  # fmt: skip
