"""Traces in Parquet: whole sessions in time order, a row group a batch, null for missing and never NaN."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.dose import CHANNELS, PHASES, Batch
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FORMAT = b"outcomes.traces"
"""Mark in the metadata of a file that we wrote: its order can be trusted, and is checked."""

VERSION = b"1"
GROUP_SAMPLES = 1 << 19
"""Samples in a row group: about so many, whole sessions."""

IDS = ("participant_id", "session_id")


def write_traces(path: str | Path, batches: Iterable[Batch], *, group_samples: int = GROUP_SAMPLES) -> int:
    """Write traces as one Parquet file, whole or not at all: whole sessions in time order, a row group a batch.

    Ids and phases are dictionaries: their codes stay the same over thousands of samples and take next to no room, and a
    reader finds where a session begins by comparing codes, not texts. The numbers are plain, for the kernel needs each
    as a whole column of doubles, which plain pages hold as they are. Dictionaries of readings that are rounded to a
    digit would halve the file and make it no faster to read here; a program that only adds a column up would read it
    in half the time (``tests/benchmarks/traces_peers.md``).

    Parameters
    ----------
    path : path
    batches : iterable of Batch
        No session in two of them.
    group_samples : int
        Samples in a row group, about; a session is never cut.

    Returns
    -------
    int
        Sessions written.

    Raises
    ------
    DesignError
        A session comes twice.
    UsageError
        The file cannot be written.
    """
    import os
    import tempfile

    import pyarrow.parquet as pq

    from outcomes.errors import UsageError
    from outcomes.files import PARTIAL

    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, partial = tempfile.mkstemp(prefix=PARTIAL, dir=path.parent)
        os.close(handle)
        try:
            written: set[tuple[str, str]] = set()
            with pq.ParquetWriter(partial, _schema(), compression="zstd", use_dictionary=[*IDS, "phase"]) as writer:
                for batch in batches:
                    _refuse_twice(batch, written)
                    for part in batch.blocks(group_samples):
                        writer.write_table(_table(part), row_group_size=len(part.t_s))
            os.chmod(partial, 0o644)
            os.replace(partial, path)
        except BaseException:
            os.unlink(partial)
            raise
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from error
    return len(written)


def _refuse_twice(batch: Batch, written: set[tuple[str, str]]) -> None:
    for key in zip(batch.participants, batch.sessions, strict=True):
        if key in written:
            raise DesignError(f"session {key[0]}/{key[1]} comes twice")
        written.add(key)


def _schema() -> Any:
    import pyarrow as pa

    word = pa.dictionary(pa.int32(), pa.string())
    fields = [*((name, word) for name in IDS), ("t_s", pa.float64()), *((name, pa.float64()) for name in CHANNELS)]
    return pa.schema([*fields, ("phase", word)]).with_metadata({FORMAT: VERSION})


def _table(batch: Batch) -> Any:
    import numpy as np
    import pyarrow as pa

    n = len(batch.t_s)
    place = batch.session_of_sample()
    columns: list[Any] = []
    for texts in (batch.participants, batch.sessions):
        known = list(dict.fromkeys(texts))
        code = np.array([known.index(t) if len(known) < 50 else -1 for t in texts], dtype=np.int32)
        if len(known) >= 50:
            at = {text: i for i, text in enumerate(known)}
            code = np.array([at[text] for text in texts], dtype=np.int32)
        columns.append(pa.DictionaryArray.from_arrays(pa.array(code[place]), pa.array(known, pa.string())))
    columns.append(pa.array(batch.t_s))
    for name in CHANNELS:
        found = batch.channels.get(name)
        columns.append(pa.nulls(n, pa.float64()) if found is None else pa.array(found, from_pandas=True))
    codes = np.full(n, -1, dtype=np.int32) if batch.phase is None else batch.phase.astype(np.int32)
    columns.append(pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(PHASES, pa.string())))
    return pa.Table.from_arrays(columns, schema=_schema())


def is_ours(path: Path) -> bool:
    """Return whether a Parquet file was written by `write_traces`.

    Raises
    ------
    OSError, ValueError
        The file cannot be read as Parquet.
    """
    import pyarrow.parquet as pq

    return (pq.read_metadata(path).metadata or {}).get(FORMAT) == VERSION


def groups(path: Path) -> int:
    """Return the number of row groups."""
    import pyarrow.parquet as pq

    return int(pq.read_metadata(path).num_row_groups)


def read_groups(path: Path, which: Iterable[int] | None = None) -> Iterator[Batch]:
    """Yield the row groups of a file of ours as batches; only one is in memory at a time.

    Parameters
    ----------
    path : Path
    which : iterable of int, optional
        Row groups; all by default.

    Raises
    ------
    DesignError
        A NaN, a time that falls, a session that is cut by the end of a row group or that comes back later in it.
    """
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, read_dictionary=[*IDS, "phase"], memory_map=True, pre_buffer=False) as file:
        for group in range(file.num_row_groups) if which is None else which:
            yield _batch(file, group)


def _batch(file: Any, group: int) -> Batch:
    import numpy as np

    meta = file.metadata.row_group(group)
    names = file.schema_arrow.names
    empty = {
        names[i]
        for i in range(meta.num_columns)
        if (stats := meta.column(i).statistics) is not None and stats.null_count == meta.num_rows
    }
    wanted = [name for name in (*IDS, "t_s", *CHANNELS, "phase") if name in names and name not in empty]
    table = file.read_row_group(group, columns=wanted, use_threads=False)
    codes = {name: _codes(table.column(name)) for name in IDS}
    new = np.empty(table.num_rows, dtype=np.bool_)
    new[:1] = True
    new[1:] = codes["session_id"][0][1:] != codes["session_id"][0][:-1]
    new[1:] |= codes["participant_id"][0][1:] != codes["participant_id"][0][:-1]
    first = np.flatnonzero(new)
    ids = [[words[code] for code in code_of[first].tolist()] for code_of, words in (codes[name] for name in IDS)]
    if len(set(zip(*ids, strict=True))) < len(first):
        raise DesignError(f"row group {group}: the samples of a session do not lie together")
    phase = None
    if "phase" in wanted:
        code, words = _codes(table.column("phase"))
        place = {word: i for i, word in enumerate(PHASES)}
        to_ours = np.array([*(place[word] for word in words), -1], dtype=np.int8)
        phase = to_ours[code]
    channels = {name: _floats(table.column(name), name, group) for name in CHANNELS if name in wanted}
    times = _floats(table.column("t_s"), "t_s", group)
    return Batch.of(ids[0], ids[1], np.append(first, table.num_rows), times, channels, phase)


def _codes(column: Any) -> tuple[NDArray[np.int32], list[str]]:
    """Return the codes of a dictionary column, -1 for null, and its words."""
    import numpy as np

    whole = column.combine_chunks()
    chunk = whole.chunk(0) if hasattr(whole, "num_chunks") else whole
    indices = chunk.indices.fill_null(-1) if chunk.null_count else chunk.indices
    return np.asarray(indices, dtype=np.int32), chunk.dictionary.to_pylist()


def _floats(column: Any, name: str, group: int) -> NDArray[np.float64]:
    """Return a column, nan where null.

    Raises
    ------
    DesignError
        The file holds a NaN: whether that is a missing value or a fault is not known.
    """
    import numpy as np

    values: NDArray[np.float64] = np.asarray(column.to_numpy(), dtype=np.float64)
    if np.isnan(values.sum()) and int(np.isnan(values).sum()) > column.null_count:
        raise DesignError(f"row group {group}, column {name}: NaN stands where null should; missing is null")
    return values
