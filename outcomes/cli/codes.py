"""The exit codes of the command line."""

from __future__ import annotations

from typing import Final

DONE: Final = 0
OUR_FAULT: Final = 1
USAGE: Final = 2
REFUSED: Final = 3
"""Input or definition refused."""
PRIVACY: Final = 4
"""A privacy gate refused."""
STOPPED: Final = 130
"""Stopped from the keyboard."""
