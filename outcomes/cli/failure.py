"""What a user reads when a command fails, and the exit code that goes with it."""

from __future__ import annotations

import sys
import tempfile
import traceback

from outcomes.cli.codes import OUR_FAULT, PRIVACY, REFUSED, USAGE
from outcomes.errors import DataError, DefinitionError, DesignError, OutcomesError, PrivacyError, UsageError

EXIT_CODES: tuple[tuple[type[OutcomesError], int], ...] = (
    (PrivacyError, PRIVACY),
    (UsageError, USAGE),
    (DataError, REFUSED),
    (DefinitionError, REFUSED),
    (DesignError, REFUSED),
    (OutcomesError, REFUSED),
)


def explain(error: Exception, *, debug: bool) -> int:
    """Print an error to standard error and return the exit code.

    Parameters
    ----------
    error : Exception
        An OutcomesError is printed as its own text. Anything else is a fault of ours: one line, and the trace is saved.
    debug : bool
        Print the trace as well.

    Returns
    -------
    int
    """
    trace = "".join(traceback.format_exception(error))
    if debug:
        print(trace, file=sys.stderr)
    if isinstance(error, OutcomesError):
        print(str(error), file=sys.stderr)
        return next(code for kind, code in EXIT_CODES if isinstance(error, kind))
    print(f"A fault in outcomes itself, not in your files: {_one_line(error)}", file=sys.stderr)
    print(_saved(trace), file=sys.stderr)
    return OUR_FAULT


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _saved(trace: str) -> str:
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="outcomes-trace-", suffix=".txt", delete=False, encoding="utf-8", errors="backslashreplace"
        ) as file:
            file.write(trace)
    except OSError:
        return "The trace could not be saved; the same command with --debug prints it."
    return f"The trace was saved to {file.name}; it may hold values of your data, so read it before you send it."
