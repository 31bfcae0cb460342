"""Write files and folders whole or not at all."""

from __future__ import annotations

import glob
import hashlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from outcomes.errors import UsageError

PARTIAL = ".partial-"
"""Prefix of what is still being written; readers skip it, the next run removes it."""

OLD = ".old"
"""Ending of an earlier folder that stands aside while the new one takes its place."""

LOCK = ".lock-"
"""Prefix of the file that a run holds while it writes the file or folder of that name."""


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

    Only one run at a time writes `target`. What a killed run left beside it is removed, or put back where it was the
    only copy.

    Raises
    ------
    UsageError
        The place cannot be written, or another run writes it; what stood there is left as it was.
    """
    with locked(target):
        try:
            _recover(target)
            partial = Path(tempfile.mkdtemp(prefix=f"{PARTIAL}{target.name}-", dir=target.parent))
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


@contextmanager
def locked(target: Path, wait: float = 2.0) -> Iterator[None]:
    """Let one run at a time write `target`; the lock ends with the run, also when it is killed.

    Parameters
    ----------
    target : Path
        File or folder that is written; its own folder is made if need be and holds the lock while it lasts.
    wait : float
        Seconds to wait for another run.

    Raises
    ------
    UsageError
        Another run writes `target`, or the place cannot be written.
    """
    path = target.parent / f"{LOCK}{target.name}"
    until = time.monotonic() + wait
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        while (handle := _try_lock(path)) is None:
            if time.monotonic() > until:
                raise UsageError(f"{target} is being written by another run; wait until it has ended")
            time.sleep(0.05)
    except OSError as error:
        raise UsageError(f"{target} cannot be written: {error.strerror or error}") from error
    try:
        yield
    finally:
        _unlock(handle, path)


def _try_lock(path: Path) -> int | None:
    """Return an open handle that holds the lock of a file, or None where another run holds it."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if not _is_same_file(handle, path):  # the run that held it has just removed the file
                os.close(handle)
                return None
    except (BlockingIOError, PermissionError):
        os.close(handle)
        return None
    return handle


def _is_same_file(handle: int, path: Path) -> bool:
    try:
        return os.fstat(handle).st_ino == os.stat(path).st_ino
    except FileNotFoundError:
        return False


def _unlock(handle: int, path: Path) -> None:
    if sys.platform == "win32":
        os.close(handle)
    else:
        path.unlink(missing_ok=True)
        os.close(handle)


def _recover(target: Path) -> None:
    """Remove what killed runs left beside `target`; an earlier folder that lost its place is put back."""
    old = target.parent / f"{PARTIAL}{target.name}{OLD}"
    if old.exists() and not target.exists():
        os.replace(old, target)
    shutil.rmtree(old, ignore_errors=True)
    for stale in target.parent.glob(f"{PARTIAL}{glob.escape(target.name)}-{'?' * 8}"):
        if stale.is_dir():
            shutil.rmtree(stale, ignore_errors=True)


def remove_leftovers(folder: Path) -> None:
    """Remove the half-written files that a killed run left in a folder; call where `folder` is locked."""
    for stale in folder.glob(f"{PARTIAL}*"):
        if stale.is_file():
            stale.unlink(missing_ok=True)


def _take_place(partial: Path, target: Path) -> None:
    """Move `partial` to `target` in one step where the system can exchange two folders, else in two.

    In two steps an earlier folder stands aside for a moment; a run that is killed then leaves it to `_recover`.
    """
    if not target.exists():
        os.replace(partial, target)
        return
    if _exchange(partial, target):
        return
    old = target.parent / f"{PARTIAL}{target.name}{OLD}"
    os.replace(target, old)
    try:
        os.replace(partial, target)
    except OSError:
        os.replace(old, target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _exchange(first: Path, second: Path) -> bool:
    """Exchange two folders in one step; return whether the system could."""
    if sys.platform != "linux":
        return False
    import ctypes

    rename = getattr(ctypes.CDLL(None), "renameat2", None)
    if rename is None:
        return False
    here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of <fcntl.h> and <linux/fs.h>
    return bool(rename(here, os.fsencode(first), here, os.fsencode(second), exchange) == 0)


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
