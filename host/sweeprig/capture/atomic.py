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


def write_atomically(
    path: Path, data: bytes, *, next_step: str, error: type[SweeprigError] = FileError
) -> None:
    """Put `data` under `path`: after a crash or power cut there is the old file or the new one, no half.

    A link is replaced, not followed. Raises `error` with the caller's `next_step`, which says what is true of this
    file, also where `path` is a device or a pipe.
    """
    with _told(path, next_step, error):
        if path.exists() and not path.is_file():
            raise OSError(f"{path} is no regular file")
        _write(path, data, lambda part: part.replace(path))


def write_new(path: Path, data: bytes, *, next_step: str, error: type[SweeprigError] = FileError) -> Path:
    """Do the same, but replace nothing: where the name is taken a number goes behind it. Return the path."""
    with _told(path, next_step, error):
        return _write(path, data, lambda part: _named(part, path))


def clear_parts(folder: Path, suffix: str) -> None:
    """Remove what crashes left of files with this ending; what another program is writing stays."""
    for part in folder.glob(f".*{suffix}.*.part"):
        if claim(part):
            remove(part)


@contextlib.contextmanager
def _told(path: Path, next_step: str, error: type[SweeprigError]) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise error(f"{path} cannot be written.", seen=str(exc), next_step=next_step) from exc


def _write(path: Path, data: bytes, place: Callable[[Path], Path]) -> Path:
    """Write a file beside `path`, on the disk and locked, then have it put in its place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    part, guard = Path(name), os.dup(handle)
    try:
        lock(guard)
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        part.chmod(0o644)
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
    """Give a file the first of the names path, path-2, path-3 ... that nobody has."""
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
    raise AssertionError("numbers do not end")


def _sync_folder(folder: Path) -> None:
    """Make the new name itself last, where the system lets a folder be synchronised."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
