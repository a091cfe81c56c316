"""Write a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from sweeprig.capture.folder import numbered
from sweeprig.capture.locks import claim, lock, remove
from sweeprig.errors import FileError, SweeprigError

_PART = ".part-"  # how the names of files begin that are being written


def write_atomically(
    path: Path, data: bytes, *, next_step: str, error: type[SweeprigError] = FileError, mode: int = 0o644
) -> None:
    """Write `data` to `path`: after a crash or power cut there is the old file or the new one, never half of it.

    A link is replaced, not followed. Raises `error` with the caller's `next_step`, also where `path` is a device or a
    pipe.
    """
    fill_atomically(path, lambda part: part.write_bytes(data), next_step=next_step, error=error, mode=mode)


def fill_atomically(
    path: Path,
    fill: Callable[[Path], object],
    *,
    next_step: str,
    error: type[SweeprigError] = FileError,
    mode: int = 0o644,
) -> None:
    """Do the same with what `fill` writes to the file that it is given, whose name ends like `path`."""
    with _as_error(path, next_step, error):
        if path.exists() and not path.is_file():
            raise OSError(f"{path} is not a regular file")
        _write(path, fill, lambda part: part.replace(path), mode=mode)


def write_new(path: Path, data: bytes, *, next_step: str, error: type[SweeprigError] = FileError) -> Path:
    """Write `data` to `path`, or, where that is taken, to path-2, path-3 and so on. Return the path."""
    with _as_error(path, next_step, error):
        return _write(path, lambda part: part.write_bytes(data), lambda part: _named(part, path))


def clear_parts(folder: Path) -> None:
    """Remove half-written files that crashes left in a folder; those that another program is writing stay."""
    for part in folder.glob(f"{_PART}*"):
        if claim(part):
            remove(part)


@contextlib.contextmanager
def _as_error(path: Path, next_step: str, error: type[SweeprigError]) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise error(f"{path} cannot be written.", seen=str(exc), next_step=next_step) from exc


def _write(
    path: Path, fill: Callable[[Path], object], place: Callable[[Path], Path], *, mode: int = 0o644
) -> Path:
    """Let `fill` write a locked file beside `path`, synchronise it, then let `place` move it to its name."""
    path.parent.mkdir(parents=True, exist_ok=True)
    guard, name = tempfile.mkstemp(prefix=_PART, suffix=path.suffix, dir=path.parent)
    part = Path(name)
    try:
        lock(guard)
        fill(part)
        with part.open("r+b") as filled:
            os.fsync(filled.fileno())
        part.chmod(mode)
        if os.name != "posix":
            os.close(guard)  # what is open cannot be renamed there
        placed = place(part)
    finally:
        if os.name == "posix":
            os.close(guard)
        with contextlib.suppress(OSError):
            part.unlink()
    _sync_folder(path.parent)
    return placed


def _named(part: Path, path: Path) -> Path:
    """Give a file the first of the names path, path-2, path-3 ... that is free."""
    for name in numbered(path.parent, path.stem, path.suffix):
        with contextlib.suppress(FileExistsError):
            try:
                os.link(part, name)
            except FileExistsError:
                raise
            except OSError:  # a file system without links: claim the name, then put the file under it
                os.close(os.open(name, os.O_CREAT | os.O_EXCL))
                part.replace(name)
            return name
    raise AssertionError("a number has too many digits")


def _sync_folder(folder: Path) -> None:
    """Synchronise the folder, so that the new name survives a power cut, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
