"""The folder that captures go to: whether it takes them, names in it that no file has yet, and the time they carry."""

from __future__ import annotations

import re
import tempfile
import unicodedata
from collections.abc import Iterator
from datetime import datetime
from itertools import count
from pathlib import Path

from sweeprig.errors import FileError

LEAST_ROOM = (
    192 << 10
)  # bytes: the head of a journal twice, 125 kB with a calibration, and a second of records
MOST_STEM = 60  # characters of a label in the name of a file
MOST_BYTES = 100  # of these as UTF-8: file systems take 255 for a whole name, encrypted ones 143


def local_now() -> datetime:
    """Return the time with its offset from UTC."""
    return datetime.now().astimezone()


def file_stem(label: str, when: datetime) -> str:
    """Return a name for the files of one capture: the sensor's label and the time."""
    return f"{name_of(label) or 'sweep'}-{when:%Y%m%d-%H%M%S}"


def name_of(label: str) -> str:
    """Return a label as part of a file's name: letters and digits of any script, all else as one hyphen."""
    plain = unicodedata.normalize("NFC", label).lower()
    words = "".join(c if unicodedata.category(c)[0] in "LNM" else "-" for c in plain)
    cut = re.sub("-+", "-", words).strip("-")[:MOST_STEM]
    return cut.encode()[:MOST_BYTES].decode(errors="ignore").rstrip("-")


def numbered(folder: Path, stem: str, suffix: str) -> Iterator[Path]:
    """Yield `stem`, `stem`-2, `stem`-3 ... in `folder`, without an end."""
    for number in count(1):
        yield folder / (f"{stem}{suffix}" if number == 1 else f"{stem}-{number}{suffix}")


def free_path(folder: Path, stem: str, suffix: str) -> Path:
    """Return the first of the numbered paths that no file has yet."""
    return next(path for path in numbered(folder, stem, suffix) if not path.exists())


TO_CAPTURES = (
    "free some space or choose another one with --out, or with `sweeprig config set captures FOLDER`"
)


def ready_folder(folder: Path, *, what: str = "Captures", next_step: str = TO_CAPTURES) -> Path:
    """Make a folder and try to write into it, before anything is switched on or asked. Raises FileError.

    `what` is to be written there; `next_step` is said where it cannot be.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as tried:
            tried.write(bytes(LEAST_ROOM))
            tried.flush()
    except OSError as exc:
        raise FileError(
            f"{what} cannot be written to {folder}.",
            seen=exc.strerror or str(exc),
            limit=f"a folder with write permission and room for {LEAST_ROOM // 1024} KiB at least",
            next_step=next_step,
        ) from exc
    return folder
