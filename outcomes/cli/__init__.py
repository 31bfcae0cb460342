"""The `outcomes` command: one thin function a command, and the exit codes.

0 done, 1 a fault of ours, 2 usage, 3 input or definition refused, 4 privacy gate refused.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from outcomes.cli.codes import DONE, STOPPED

__all__ = ["run"]


def run(arguments: Sequence[str] | None = None) -> None:
    """Run one command of the command line and leave with its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        What stands behind the word ``outcomes``; the command line by default.

    Raises
    ------
    SystemExit
        Always. 0 done, 1 a fault of ours, 2 usage, 3 input or definition refused, 4 privacy gate refused, 130 stopped
        from the keyboard.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        from outcomes.cli.app import app

        app(words, prog_name="outcomes")
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        sys.exit(STOPPED)
    except Exception as error:  # noqa: BLE001 - the last place that can turn a fault into one line and a saved trace
        from outcomes.cli.failure import explain

        sys.exit(explain(error, debug="--debug" in words))
    sys.exit(DONE)
