"""Write files and folders whole or not at all."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from outcomes.errors import UsageError

PARTIAL = ".partial-"
"""Prefix of what is still being written; readers skip it, the next run removes it."""


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write a file beside its place and move it there, so that a reader meets the old file or the new one.

    Parameters
    ----------
    path : Path
        Its folder is made if need be.
    content : bytes or str
        Text is written as UTF-8 with ``\\n`` line ends on every system.

    Raises
    ------
    UsageError
        The folder cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=PARTIAL, dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from error
    return path


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """Give a new empty folder beside `target`; on success it takes its place, on any error it is removed.

    Raises
    ------
    UsageError
        The place cannot be written; what stood there is left as it was.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        for stale in target.parent.glob(f"{PARTIAL}*"):
            if stale.is_dir():
                shutil.rmtree(stale, ignore_errors=True)
        partial = Path(tempfile.mkdtemp(prefix=PARTIAL, dir=target.parent))
        os.chmod(partial, 0o755)
    except OSError as error:
        raise UsageError(f"{target} cannot be written: {error.strerror or error}") from error
    try:
        yield partial
        _take_place(partial, target)
    except OSError as error:
        raise UsageError(f"{target} cannot be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _take_place(partial: Path, target: Path) -> None:
    """Move `partial` to `target`; an earlier folder is moved away first and removed last."""
    if not target.exists():
        os.replace(partial, target)
        return
    old = Path(tempfile.mkdtemp(prefix=PARTIAL, dir=target.parent))
    os.replace(target, old / target.name)
    try:
        os.replace(partial, target)
    except OSError:
        os.replace(old / target.name, target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def sha256(data: bytes) -> str:
    """Return the SHA-256 of `data` in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def inside(folder: Path, name: str) -> Path:
    """Return `name` resolved inside `folder`.

    Raises
    ------
    UsageError
        The path leaves the folder.
    """
    path = (folder / name).resolve()
    if not path.is_relative_to(folder.resolve()):
        raise UsageError(f"'{name}' lies outside the study folder")
    return path
