"""Traces in csv files: rows of samples with the vocabulary's headings, or those that traces/columns.csv explains."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.dose import CHANNELS, PHASES, phase_codes
from outcomes.errors import near_word
from outcomes.intake.traces_check import RawTrace, TraceChecks

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

Heading = tuple[str, float]
"""Column that a heading stands for, and the factor that turns its unit into ours."""

RECORDED_AT = "recorded_at"
"""A wall time or moment of every sample, instead of seconds from the start."""

NAMES = ("participant_id", "session_id", "t_s", RECORDED_AT, *CHANNELS, "phase")
HEADER_ROW = 1
MOST_CELLS_NAMED = 5


def read_csv(
    path: Path, file: str, ids: tuple[str, str], headings: Mapping[str, Heading], checks: TraceChecks
) -> list[RawTrace]:
    """Read a csv file of samples as sessions in the order of the file; what cannot be read becomes findings.

    Parameters
    ----------
    path : Path
    file : str
        Its name in findings.
    ids : (str, str)
        Participant and session that the file's place names; empty where the file has columns for them.
    headings : mapping of str to Heading
        What headings that are no column of the vocabulary stand for.
    checks : TraceChecks
        Takes the findings.
    """
    frame = _frame(path, file, checks)
    if frame is None:
        return []
    named, factors = _columns(frame, headings)
    if not _sound(named, list(frame.columns), file, ids, checks):
        return []
    numbers = {name: _numbers(named[name], name, file, factors, checks) for name in ("t_s", *CHANNELS) if name in named}
    if "t_s" not in numbers:
        numbers["t_s"] = _elapsed(named[RECORDED_AT], file, checks)
    phase = _phases(named["phase"], file, checks) if "phase" in named else None
    return _sessions(named, numbers, phase, ids)


def _frame(path: Path, file: str, checks: TraceChecks) -> pd.DataFrame | None:
    import pandas as pd

    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        checks.found.add("set_aside", "unreadable_file", f"a csv file in UTF-8: {error}", file=file, table="traces")
        return None
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    try:
        frame = pd.read_csv(
            io.StringIO(text), dtype="str", sep=separator, keep_default_na=False, skip_blank_lines=False
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        checks.found.add("set_aside", "unreadable_file", f"rows of samples: {error}", file=file, table="traces")
        return None
    frame.columns = [str(name).strip() for name in frame.columns]
    frame.index = pd.RangeIndex(HEADER_ROW + 1, HEADER_ROW + 1 + len(frame))
    blank = (frame == "").all(axis=1)
    return frame[~blank]


def _columns(frame: pd.DataFrame, headings: Mapping[str, Heading]) -> tuple[pd.DataFrame, dict[str, float]]:
    """Return the frame with our column names, and the factor of each; other columns, places too, are dropped."""
    names = {heading: headings.get(heading, (heading, 1.0)) for heading in frame.columns}
    kept = {heading: column for heading, (column, _) in names.items() if column in NAMES}
    factors = dict(names.values())
    return frame[list(kept)].rename(columns=kept), factors


def _sound(frame: pd.DataFrame, seen: list[str], file: str, ids: tuple[str, str], checks: TraceChecks) -> bool:
    missing = [
        name
        for name, given in zip(("participant_id", "session_id"), ids, strict=True)
        if not given and name not in frame
    ]
    if "t_s" not in frame and RECORDED_AT not in frame:
        missing.append("t_s")
    if frame.columns.duplicated().any():
        missing.append("each column once")
    for name in missing:
        checks.found.add(
            "set_aside", "missing_column", f"column '{name}'{near_word(name, seen)}; traces/columns.csv says "
            "what other headings stand for, and a file at traces/PARTICIPANT/SESSION.csv needs no ids",
            file=file, table="traces", row=HEADER_ROW,
        )  # fmt: skip
    return not missing


def _numbers(
    column: pd.Series[str], name: str, file: str, factors: Mapping[str, float], checks: TraceChecks
) -> NDArray[np.float64]:
    import numpy as np
    import pandas as pd

    texts = column.str.strip()
    values: NDArray[np.float64] = np.array(pd.to_numeric(texts, errors="coerce"), dtype=np.float64)
    blank = texts.isin(["", "NA"]).to_numpy()
    wrong = np.flatnonzero((np.isnan(values) & ~blank) | np.isinf(values))
    for i in wrong[:MOST_CELLS_NAMED].tolist():
        more = len(wrong) - MOST_CELLS_NAMED
        last = i == wrong[:MOST_CELLS_NAMED][-1]
        said = f"; {more} more in this column" if last and more > 0 else ""
        checks.found.add(
            "set_aside", "not_a_number", f"a number with a decimal point{said}",
            file=file, table="traces", row=int(column.index[i]), column=name, found=str(texts.iloc[i]),
        )  # fmt: skip
    values[wrong] = np.nan
    return values * factors.get(name, 1.0)


def _elapsed(column: pd.Series[str], file: str, checks: TraceChecks) -> NDArray[np.float64]:
    """Return wall times as seconds; those with an offset are put on one clock, those without are taken as they are."""
    import numpy as np
    import pandas as pd

    texts = column.str.strip()
    offset = texts.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True).any()
    times = pd.to_datetime(texts, errors="coerce", format="ISO8601", utc=bool(offset))
    wrong = np.flatnonzero(times.isna() & (texts != ""))
    for i in wrong[:MOST_CELLS_NAMED].tolist():
        checks.found.add(
            "set_aside", "not_a_time", "a time such as 2025-03-30T10:15:00", file=file, table="traces",
            row=int(column.index[i]), column=RECORDED_AT, found=str(texts.iloc[i]),
        )  # fmt: skip
    start = times.dropna().iloc[0] if times.notna().any() else pd.Timestamp(0)
    seconds: NDArray[np.float64] = np.array((times - start).dt.total_seconds(), dtype=np.float64)
    return seconds


def _phases(column: pd.Series[str], file: str, checks: TraceChecks) -> NDArray[np.int8]:
    texts = column.str.strip()
    strange = ~texts.isin(["", *PHASES])
    for word in texts[strange].unique()[:MOST_CELLS_NAMED]:
        row = int(texts.index[(texts == word).to_numpy().argmax()])
        checks.found.add(
            "set_aside", "not_a_word", f"one of {', '.join(PHASES)}{near_word(word, PHASES)}",
            file=file, table="traces", row=row, column="phase", found=str(word),
        )  # fmt: skip
    return phase_codes(texts.where(~strange, "").tolist())


def _sessions(
    frame: pd.DataFrame,
    numbers: Mapping[str, NDArray[np.float64]],
    phase: NDArray[np.int8] | None,
    ids: tuple[str, str],
) -> list[RawTrace]:
    """Return the sessions of a file in order of their first row; each keeps the order of its rows."""
    import numpy as np
    import pandas as pd

    person = frame["participant_id"].str.strip() if not ids[0] else pd.Series(ids[0], index=frame.index)
    session = frame["session_id"].str.strip() if not ids[1] else pd.Series(ids[1], index=frame.index)
    code, keys = pd.factorize(pd.MultiIndex.from_arrays([person, session]))
    traces = []
    for i, key in enumerate(keys):
        rows = np.flatnonzero(code == i) if len(keys) > 1 else np.arange(len(frame))
        traces.append(
            RawTrace(
                str(key[0]),
                str(key[1]),
                numbers["t_s"][rows],
                {name: numbers[name][rows] for name in CHANNELS if name in numbers},
                None if phase is None or (phase[rows] < 0).all() else phase[rows],
                int(frame.index[rows[0]]),
            )
        )
    return traces
