"""A capture named by its file, or by the number or hash of its record; with the words that are in force for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.bench.review.review import Choices, review_file
from sweeprig.bench.shop.captures import configured, fetch
from sweeprig.bench.shop.places import find_places
from sweeprig.errors import FileError
from sweeprig.judge.outcome import Outcome

if TYPE_CHECKING:
    from sweeprig.records.amend import Amendment
    from sweeprig.records.rows import Record
    from sweeprig.records.store import Store

LEAST_HASH = 6  # digits


@dataclass(frozen=True)
class NamedCapture:
    """A file to review; with the record that named it, where one did."""

    path: Path
    record: Record | None = None
    amendments: tuple[Amendment, ...] = ()

    def review(self, choices: Choices) -> Outcome:
        """Review the file; what was corrected since it was made is in its setup, and is said."""
        outcome = review_file(self.path, choices)
        record = self.record
        if record is None or not self.amendments:
            return outcome
        setup = replace(
            outcome.setup, sensor_label=record.label, job=record.job, part=record.part, serial=record.serial,
            operator=record.operator, notes=record.notes,
        )  # fmt: skip
        said = tuple(f"Corrected in record {record.id}: {a.line}." for a in self.amendments)
        return replace(outcome, setup=setup, remarks=(*outcome.remarks, *said))


def is_key(text: str) -> bool:
    """Return whether a text may be a record's number or hash, and is no file."""
    plain = text.strip().lower().removeprefix("#")
    digits = plain.isascii() and plain.isdigit()
    hexadecimal = len(plain) >= LEAST_HASH and not set(plain) - set("0123456789abcdef")
    return (digits or hexadecimal) and not _is_there(text)


def _is_there(text: str) -> bool:
    try:
        return Path(text).exists()
    except (OSError, ValueError):  # a name that the file system does not take
        return False


def named_captures(texts: Sequence[str], place: str) -> list[NamedCapture]:
    """Return the captures that files, numbers and hashes name; `place` of the records is opened only for the latter.

    Raises RecordsError, FileError where a record's capture is no longer at its place.
    """
    if not any(is_key(text) for text in texts):
        return [NamedCapture(Path(text)) for text in texts]
    from sweeprig.records.store import open_store

    with open_store(place, create=False) as store:
        found = []
        for text in texts:
            record = store.get(text) if is_key(text) else None
            if record is None:
                found.append(NamedCapture(Path(text)))
            else:
                found.append(capture_of_record(record, store))
    return found


def capture_of_record(record: Record, store: Store) -> NamedCapture:
    """Return a record's capture, where it lay or a copy that the shop keeps. Raises FileError for neither."""
    path = Path(record.capture_file)
    if not _is_there(record.capture_file):
        path = fetch(store, record, configured(), into=find_places().state / "captures") or _file_of(record)
    return NamedCapture(path, record, store.amendments(record.id))


def _file_of(record: Record) -> Path:
    path = Path(record.capture_file)
    if not _is_there(record.capture_file):
        raise FileError(
            f"The capture of record {record.id} is no longer at its place.",
            seen=record.capture_file,
            limit=f"a file with the hash {record.sha256[:12]}...",
            next_step="name the file where it is now; the setting records_captures keeps copies of the next ones",
        )
    return path
