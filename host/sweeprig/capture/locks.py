"""Locks on files in use. A lock ends with its program, so a file without one was left behind by a crash."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

_LOCK_AT = 1 << 40
_held: dict[Path, int] = {}  # files that this program works on, with their handles


def lock(handle: int) -> bool:
    """Lock an open file until it is closed or its process ends; return False where another holds it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, _LOCK_AT, os.SEEK_SET)  # far behind the end: locked bytes could not be read
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """In the `with` body, keep other programs from creating or claiming files in a folder, where the system can."""
    if sys.platform == "win32":
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network file systems have no locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def hold(path: Path, handle: int) -> bool:
    """Lock an open file until `let_go`; where another program has it, close the handle and return False."""
    if lock(handle) and _is_still(path, handle):
        _held[path] = handle
        return True
    os.close(handle)
    return False


def claim(path: Path) -> bool:
    """Lock a file that was left behind, until `let_go`; return False where another program has it."""
    try:
        return path.is_file() and hold(path, os.open(path, os.O_RDWR))
    except OSError:
        return False


def let_go(path: Path) -> None:
    """Unlock a file, if this program has locked it."""
    handle = _held.pop(path, -1)
    if handle >= 0:
        os.close(handle)


def remove(path: Path) -> None:
    """Remove a file and its lock."""
    if sys.platform == "win32":
        let_go(path)  # what is open cannot be removed there
    path.unlink(missing_ok=True)
    let_go(path)


def rename(path: Path, target: Path) -> Path:
    """Rename a file and unlock it; return the new path."""
    if sys.platform == "win32":
        let_go(path)
    path.replace(target)
    let_go(path)
    return target


def _is_still(path: Path, handle: int) -> bool:
    """Return whether the open file still has that path: another program may have removed or renamed it."""
    try:
        return os.path.samestat(path.stat(), os.fstat(handle))
    except OSError:
        return False
