"""Copies of captures outside the folder of the bench that made them, so that another bench can open them.

The setting `records_captures`: "" nowhere else; "database" in the database of the records; else a folder, in which
each capture has the digest of its file as its name.
"""

from __future__ import annotations

import hashlib
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.bench.shop.config import load_config
from sweeprig.bench.shop.places import expanded, find_places
from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import MOST_CAPTURE, read_regular
from sweeprig.errors import SweeprigError

if TYPE_CHECKING:
    from sweeprig.records.rows import Record
    from sweeprig.records.store import Store

DATABASE = "database"


def configured() -> str:
    """Return the setting in force."""
    return load_config(find_places().config_file).records_captures


def keep(store: Store, path: Path, place: str) -> str:
    """Keep a copy of a capture at `place`; return why it could not be kept, or ""."""
    if not place:
        return ""
    try:
        data = read_regular(path, most=MOST_CAPTURE)
        digest = hashlib.sha256(data).hexdigest()
        if place == DATABASE:
            store.put_file(digest, data)
        else:
            target = file_at(place, digest, path.suffix)
            target.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(target, data, next_step="check the folder and its space")
    except (SweeprigError, OSError) as exc:
        again = f"Later: sweeprig records add {shlex.quote(str(path))}"
        return f"NO COPY OF THE CAPTURE WAS KEPT for other benches: {str(exc).rstrip('.')}. {again}"
    return ""


def file_at(place: str, digest: str, suffix: str) -> Path:
    """Return the path in a folder of the capture with this digest."""
    folder = expanded(
        place, "The setting records_captures", next_step="sweeprig config set records_captures FOLDER"
    )
    return folder / digest[:2] / f"{digest}{suffix}"


def fetch(store: Store, record: Record, place: str, *, into: Path) -> Path | None:
    """Return a stored copy of a record's capture; None where there is no undamaged one.

    A copy from the database is written to the folder `into`, once.
    """
    suffix = Path(record.capture_file).suffix
    if place and place != DATABASE:
        found = file_at(place, record.sha256, suffix)
        if _is_whole(found, record.sha256):
            return found
    copy = into / f"{record.sha256}{suffix}"
    if _is_whole(copy, record.sha256):
        return copy
    data = store.file(record.sha256)
    if data is None:
        return None
    into.mkdir(parents=True, exist_ok=True)
    write_atomically(copy, data, next_step="check the folder and its space")
    return copy


def _is_whole(path: Path, digest: str) -> bool:
    try:
        return hashlib.sha256(read_regular(path, most=MOST_CAPTURE)).hexdigest() == digest
    except OSError:
        return False
