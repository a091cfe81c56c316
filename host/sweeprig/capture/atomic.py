"""Write a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from sweeprig.errors import FileError, SweeprigError


def write_atomically(
    path: Path, data: bytes, *, next_step: str, error: type[SweeprigError] = FileError
) -> None:
    """Put `data` under `path`: after a crash or power cut there is the old file or the new one, no half.

    Raises `error` with the caller's `next_step`, which says what is true of this file.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
        _sync_folder(path.parent)
    except OSError as exc:
        raise error(f"{path} cannot be written.", seen=str(exc), next_step=next_step) from exc


def _sync_folder(folder: Path) -> None:
    """Make the new name itself last, where the system lets a folder be synchronised."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
