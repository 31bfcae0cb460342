"""Where a command writes: data to standard output or a file, messages and progress to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from outcomes.errors import UsageError, printable
from outcomes.files import write_whole


@dataclass(frozen=True)
class Output:
    """The output options of one command.

    Parameters
    ----------
    file : Path, optional
        Where the data go instead of standard output (``-o``).
    as_json : bool
        Data as JSON (``--json``).
    quiet : bool
        No messages, no progress (``--quiet``).
    """

    file: Path | None = None
    as_json: bool = False
    quiet: bool = False

    def __post_init__(self) -> None:
        """Refuse a file of ``-o`` that may be data of a study.

        Raises
        ------
        UsageError
            It exists and lies in a study folder, beside what the study reads.
        """
        if self.file is not None and self.file.exists() and _may_be_data(self.file.resolve()):
            raise UsageError(
                f"{printable(str(self.file))} exists and may be data of the study; nothing is written over it: name "
                "another file with -o, or move that one away"
            )

    def data(self, text: str, document: Any) -> None:
        """Write what the command is asked for: `document` with ``--json``, else `text`.

        Raises
        ------
        UsageError
            The file of ``-o`` cannot be written.
        """
        shown = json.dumps(document, ensure_ascii=False, indent=1) if self.as_json else text
        if not shown.endswith("\n"):
            shown += "\n"
        if self.file is None:
            sys.stdout.write(shown)
            sys.stdout.flush()
        else:
            write_whole(self.file, shown)
            self.say(f"written: {self.file}")

    def say(self, message: str) -> None:
        """Print a message to standard error, unless ``--quiet``."""
        if not self.quiet:
            print(message, file=sys.stderr, flush=True)

    @contextmanager
    def progress(self) -> Iterator[Callable[[str], None]]:
        """Give a function that shows what is being done; shows nothing unless standard error is a terminal."""
        if self.quiet or not sys.stderr.isatty():
            yield lambda step: None
            return
        from rich.console import Console

        with Console(stderr=True, highlight=False, markup=False).status("", spinner="line") as status:
            yield status.update


def _may_be_data(file: Path) -> bool:
    """Whether a file lies in a study folder, or in a folder of it that does not hold results."""
    return any(
        (folder / "protocol.toml").is_file() and file.relative_to(folder).parts[0] not in ("results", "reports")
        for folder in list(file.parents)[:2]
    )


def columns_text(rows: Sequence[Sequence[object]], *, right: Sequence[int] = ()) -> list[str]:
    """Return rows as lines with aligned columns, two blanks between them.

    Parameters
    ----------
    rows : sequence of rows of equal length
    right : sequence of int
        Positions of the columns that are set flush right.

    Examples
    --------
    >>> columns_text([("visits", 7), ("sessions", 1204)], right=[1])
    ['visits       7', 'sessions  1204']
    """
    cells = [[str(value) for value in row] for row in rows]
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))] if cells else []
    return [
        "  ".join(
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]


def counted(number: int, word: str, words: str | None = None) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> counted(1, "row"), counted(1204, "row"), counted(0, "query", "queries")
    ('1 row', '1,204 rows', '0 queries')
    """
    return f"{number:,} {word if number == 1 else words or word + 's'}"
