"""The journal: what the board sends is written to disk as it arrives, so that a crash loses none of it.

A journal is one line of JSON with all that a capture needs besides the records; the same line a second time with a
checksum, for a disk that damages the first; then the bytes of the port as they came. The file is locked until its
capture is in a capture file: a journal without a lock was left behind by a crash.
"""

from __future__ import annotations

import contextlib
import glob
import json
import os
import time
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sweeprig.capture.folder import numbered
from sweeprig.capture.locks import alone_in, claim, hold, remove
from sweeprig.capture.model import SweepSetup
from sweeprig.capture.plain import setup_from_plain, setup_to_plain
from sweeprig.capture.plausible import renamed
from sweeprig.capture.writer import Disk, Writer
from sweeprig.errors import CaptureFileError
from sweeprig.link.clean import clean_plain, clean_text, is_number, is_whole

SUFFIX = ".journal"
FORMAT = "sweeprig-journal"
VERSION = 1
_AGAIN = b"again "  # begins the second copy of the line
SYNC_EVERY_S = 1.0  # a power cut loses at most this much; a killed program loses nothing


@dataclass(frozen=True)
class JournalHead:
    """The first line of a journal: what is known when a capture begins."""

    created: str  # ISO 8601 with offset
    rig: Mapping[str, Any]
    setup: SweepSetup
    window: int
    conversion_hz: float
    n_windows: int | None = None  # windows asked for; None: open end
    versions: Mapping[str, str] | None = None
    key: str = ""  # different for every journal
    calibration: Mapping[str, Any] | None = None

    def to_line(self) -> bytes:
        """Return the line, line end included."""
        data = {**vars(self), "format": FORMAT, "version": VERSION}
        data |= {"rig": dict(self.rig), "setup": setup_to_plain(self.setup)}
        return json.dumps(data, separators=(",", ":"), default=dict).encode() + b"\n"


def _again(line: bytes) -> bytes:
    """Return the second copy of the line, with its checksum."""
    return b"%s%08x %s" % (_AGAIN, zlib.crc32(line), line)


class Journal:
    """A journal that is being written; it is locked until its capture is in a file or the lock is given up.

    `write` puts the bytes into the queue of a writer thread: it may wait a moment, but never for a slow disk. Bytes for
    which the queue had no room are dropped and counted in `n_refused`.
    """

    def __init__(
        self,
        folder: Path,
        head: JournalHead,
        *,
        stem: str,
        clock: Callable[[], float] = time.monotonic,
        disk: Disk | None = None,
    ) -> None:
        self._clock = clock
        disk = disk or Disk()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with alone_in(folder):
                self.path, handle = _new_file(folder, stem)
        except OSError as exc:
            raise _unwritable(folder, exc) from exc
        try:
            line = head.to_line()
            disk.put(handle, line + _again(line))
            disk.sync(handle)
        except OSError as exc:
            remove(self.path)
            raise _unwritable(folder, exc) from exc
        self._writer = Writer(handle, disk)
        self._synced = clock()

    @property
    def n_refused(self) -> int:
        """Bytes that were dropped because the queue was full."""
        return self._writer.n_refused

    def write(self, data: bytes) -> None:
        """Append bytes. Raises CaptureFileError, for instance where the disk is full."""
        due = self._clock() - self._synced >= SYNC_EVERY_S
        try:
            self._writer.put(data, sync=due)
        except OSError as exc:
            raise _unwritable(self.path, exc) from exc
        if due:
            self._synced = self._clock()

    def close(self) -> None:
        """Write what waits and close the writer; the file stays, and stays locked."""
        self._writer.close()


def _new_file(folder: Path, stem: str) -> tuple[Path, int]:
    """Create a file and lock it; return its path and handle. The caller keeps other programs out of the folder."""
    flags = os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0)
    for path in numbered(folder, stem, SUFFIX):
        with contextlib.suppress(FileExistsError):
            handle = os.open(path, flags, 0o644)
            hold(path, handle)
            return path, handle
    raise AssertionError("a number has too many digits")


def left_behind(place: Path) -> list[Path]:
    """Lock and return the journals in a folder, or the one named, that no other program has locked."""
    folder, pattern = (place, f"*{SUFFIX}") if place.is_dir() else (place.parent, glob.escape(place.name))
    with alone_in(folder):
        return [path for path in sorted(folder.glob(pattern)) if claim(path)]


def _unwritable(path: Path, exc: OSError) -> CaptureFileError:
    return CaptureFileError(
        f"The journal of the capture cannot be written under {path}.",
        seen=str(exc),
        next_step="free some space or choose another folder with --out",
    )


def read_journal(path: Path) -> tuple[JournalHead, bytes]:
    """Return the head and the board's bytes. Raises CaptureFileError where both copies of the head are damaged."""
    data = bytes_of(path)
    line, rest = _second(data) or _first(data)
    try:
        plain = json.loads(line) if line else None
        if not isinstance(plain, dict) or plain.get("format") != FORMAT or plain.get("version") != VERSION:
            raise ValueError("its first line is not that of a journal")
        head = _head(renamed(plain), str(path))
    except (ValueError, LookupError, TypeError, ArithmeticError, RecursionError, MemoryError) as exc:
        raise CaptureFileError(
            f"{path} is not a journal, or it ends inside its first line.",
            seen=f"{len(data)} bytes; {exc!s:.200}",
        ) from exc
    return head, rest


def bytes_of(path: Path) -> bytes:
    """Return the bytes of a journal. Raises CaptureFileError."""
    try:
        return path.read_bytes()
    except OSError as exc:
        raise CaptureFileError(f"{path} cannot be read.", seen=str(exc), next_step="check the name") from exc


def _second(data: bytes) -> tuple[bytes, bytes] | None:
    """Return the second copy of the line, and what follows it; None where it is missing or damaged."""
    at = data.find(_AGAIN)
    while at >= 0:
        begin = at + len(_AGAIN) + 9
        end = data.find(b"\n", begin) + 1
        if data[begin - 9 : begin] == b"%08x " % zlib.crc32(data[begin:end]):
            return data[begin:end], data[end:]
        at = data.find(_AGAIN, at + 1)
    return None


def _first(data: bytes) -> tuple[bytes, bytes]:
    """Return the first line ("" where it has no end), and what follows it and its damaged second copy."""
    line, end, rest = data.partition(b"\n")
    begin = len(_AGAIN) + 9
    again = rest[begin : begin + len(line)]
    is_there = rest.startswith(_AGAIN) or again[:40] == line[:40] or again[-40:] == line[-40:]
    return line if end else b"", rest[begin + len(line) + 1 :] if is_there else rest


def _head(plain: Mapping[str, Any], where: str) -> JournalHead:
    """Return the head in the first line. Raises CaptureFileError, or ValueError with the name of the bad key."""
    n_windows, calibration, versions = plain["n_windows"], plain["calibration"], plain["versions"]
    window, conversion_hz = plain["window"], plain["conversion_hz"]
    for key, fits in (
        ("n_windows", n_windows is None or is_whole(n_windows, 1, 1 << 40)),
        ("window", is_whole(window, 1, 1 << 20)),
        ("conversion_hz", is_number(conversion_hz, above=0.0)),
        ("rig", isinstance(plain["rig"], dict)),
        ("calibration", calibration is None or isinstance(calibration, dict)),
        ("versions", versions is None or isinstance(versions, dict)),
    ):
        if not fits:
            raise ValueError(f"{key} is {plain[key]!r:.80}")
    return JournalHead(
        created=clean_text(str(plain["created"]), 64),
        rig=clean_plain(plain["rig"]),
        setup=setup_from_plain(plain["setup"], where=where),
        window=window,
        conversion_hz=float(conversion_hz),
        n_windows=n_windows,
        versions=clean_plain(versions),
        key=clean_text(str(plain.get("key", "")), 64),
        calibration=clean_plain(calibration),
    )
