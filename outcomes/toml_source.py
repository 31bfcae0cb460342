"""Read a TOML file and keep the line of every key, so that a later fault can name it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from outcomes.errors import DefinitionError, Problem, near_word

SIZE_LIMIT = 1_000_000
"""Bytes; a protocol or definition larger than this is refused unread."""

KeyPath = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*(.+?)\s*(\]\]?)\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


@dataclass(frozen=True, slots=True)
class TomlSource:
    """A parsed TOML file with the line of every key.

    Parameters
    ----------
    name : str
        How messages call the file.
    data : dict
        What tomllib read.
    lines : dict
        Key path, such as ``("items", 0, "key")``, to line number (first line is 1).
    """

    name: str
    data: dict[str, Any]
    lines: dict[KeyPath, int] = field(repr=False)

    def line_of(self, path: Sequence[str | int]) -> int | None:
        """Return the line of `path`, or of its nearest ancestor that has one; an array of tables has its first's."""
        key = tuple(path)
        while key:
            for known in (key, (*key, 0)):
                if known in self.lines:
                    return self.lines[known]
            key = key[:-1]
        return None

    def problem(self, path: Sequence[str | int], message: str) -> Problem:
        """Return a Problem at `path`, worded with its line."""
        return Problem(self.name, self.line_of(path), spell_path(path), message)

    def unknown_key(self, path: Sequence[str | int], known: Sequence[str]) -> Problem:
        """Return the Problem for a key that does not exist, with the nearest one that does."""
        key = str(path[-1])
        return self.problem(path, f"unknown key '{key}'{near_word(key, known)}")


def spell_path(path: Sequence[str | int]) -> str:
    """Return a key path as text.

    Examples
    --------
    >>> spell_path(("items", 0, "key"))
    'items[0].key'
    """
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


def read_toml(path: Path, name: str | None = None) -> TomlSource:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file; at most `SIZE_LIMIT` bytes, UTF-8.
    name : str, optional
        How messages call it; the file name by default.

    Raises
    ------
    DefinitionError
        Missing, unreadable, too large, not UTF-8, or not TOML; with the line where there is one.
    """
    name = name or path.name
    try:
        size = path.stat().st_size
        if size > SIZE_LIMIT:
            raise DefinitionError([Problem(name, None, "", f"{size:,} bytes; at most {SIZE_LIMIT:,} are read")])
        raw = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise DefinitionError([Problem(name, None, "", f"cannot be read: {reason.lower()}")]) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise DefinitionError([Problem(name, line, "", "not UTF-8; save the file as UTF-8 text")]) from error
    return parse_toml(text, name)


def parse_toml(text: str, name: str) -> TomlSource:
    """Parse TOML text; see `read_toml`."""
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        at = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
        line = int(at[1]) if at and at[1] else None
        if at:
            message = message[: at.start()] + ("" if line else " before the end of the file; something is not closed")
        raise DefinitionError([Problem(name, line, "", message)]) from error
    except (ValueError, RecursionError) as error:  # a number of thousands of digits; brackets nested without end
        raise DefinitionError([Problem(name, None, "", f"not readable as TOML: {error}")]) from error
    return TomlSource(name, data, _scan_lines(text))


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PART.findall(dotted)]


def _scan_lines(text: str) -> dict[KeyPath, int]:
    """Return the line of every header and key; tomllib has already accepted the text."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    prefix: KeyPath = ()
    open_quote = ""
    depth = 0
    for number, line in enumerate(text.split("\n"), start=1):
        if not open_quote and depth == 0:
            if header := _HEADER.match(line):
                prefix = _enter(_parts(header[2]), header[1] == "[[", counts)
                lines.setdefault(prefix, number)
            elif key := _KEY.match(line):
                path = prefix
                for part in _parts(key[1]):
                    path = (*path, part)
                    lines.setdefault(path, number)
        open_quote, depth = _carry(line, open_quote, depth)
    return lines


def _enter(parts: list[str], is_array: bool, counts: dict[KeyPath, int]) -> KeyPath:
    """Return the key path of a header, with the current index of every array of tables on the way."""
    path: KeyPath = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        if is_array and position == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _carry(line: str, open_quote: str, depth: int) -> tuple[str, int]:
    """Return the multi-line quote and the bracket depth still open after `line`, so that text is not read as keys."""
    i = 0
    while i < len(line):
        if open_quote:
            if line.startswith(open_quote, i):
                i += len(open_quote)
                open_quote = ""
                continue
            i += 2 if open_quote == '"""' and line[i] == "\\" else 1
        elif line.startswith(('"""', "'''"), i):
            open_quote = line[i : i + 3]
            i += 3
        elif line[i] in "\"'":
            i = _end_of_quote(line, i)
        elif line[i] == "#":
            break
        else:
            depth += (line[i] in "[{") - (line[i] in "]}")
            i += 1
    return open_quote, max(depth, 0)


def _end_of_quote(line: str, start: int) -> int:
    """Return the position after the one-line quoted text that begins at `start`."""
    quote, i = line[start], start + 1
    while i < len(line) and line[i] != quote:
        i += 2 if quote == '"' and line[i] == "\\" else 1
    return i + 1
