"""The capture file: one zip with a JSON description and .npy arrays. See docs/reference/capture-file.md."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import struct
import tokenize
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.capture.atomic import write_new
from sweeprig.capture.locks import let_go, remove
from sweeprig.capture.members import (
    ARRAYS,
    RECORD_ARRAYS,
    arrays_of,
    member_bytes,
    npy,
    read_array,
    snapshots_of,
)
from sweeprig.capture.model import Capture
from sweeprig.capture.plain import setup_from_plain, setup_to_plain
from sweeprig.capture.plausible import (
    MOST_INDEX,
    agreeing,
    check_counts,
    check_records,
    check_snapshots,
    checked_meta,
    renamed,
)
from sweeprig.capture.regular import MOST_CAPTURE, TooLongError, read_regular
from sweeprig.errors import CaptureFileError
from sweeprig.link.clean import clean_plain, clean_text, is_whole
from sweeprig.link.messages import Gap, Mark, Records, SlowReading

SUFFIX = ".sweep"
FORMAT = "sweeprig-capture"
VERSION = 1

ARCHIVE = b"PK"  # what every capture begins with
NO_CAPTURE = "it does not begin as a capture does"
DAMAGE = (  # what zip, zlib, json and numpy raise for bytes that are not a whole file of ours
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    LookupError,
    ArithmeticError,
    AttributeError,
    ValueError,
    TypeError,
    EOFError,
    OSError,
    RuntimeError,
    MemoryError,
    SyntaxError,
    Warning,
    tokenize.TokenError,
)
MOST_META = 32 << 20  # bytes of the description, unpacked
MOST_FILE = MOST_CAPTURE  # bytes of the whole file
_STAMP = (1980, 1, 1, 0, 0, 0)  # no clock in the file, so that equal captures are equal files


# --- writing


def write_capture(path: Path, capture: Capture) -> Capture:
    """Write a file that can be read back, under a new name; then remove the journal that the capture was made from.

    Nothing is replaced: where the name is taken a number goes behind it. Returns the capture with its `sha256` and
    the `path` that it has. Raises CaptureFileError; the journal stays then, for `recover`.
    """
    journal = Path(capture.journal) if capture.journal else None
    try:
        data = checked_pack(capture, str(path))
        there = journal is not None and journal.is_file()
        kept = f"the data is kept in the journal {journal}" if there else "existing files are unchanged"
        step = f"free some space or choose another folder; {kept}"
        path = write_new(path, data, next_step=step, error=CaptureFileError)
        digest = hashlib.sha256(data).hexdigest()
        if not _reads_back(path, digest):
            with contextlib.suppress(OSError):
                path.unlink()  # what is kept is the journal
            raise _damaged(str(path), "the file read back differs from the data written", len(data))
        if journal:
            remove(journal)
    finally:
        if journal:
            let_go(journal)
    return replace(capture, sha256=digest, path=str(path), journal="")


def _reads_back(path: Path, digest: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == digest
    except OSError:
        return False


def checked_pack(capture: Capture, where: str) -> bytes:
    """Return the bytes of a capture file, read back once. Raises CaptureFileError where they cannot be."""
    try:
        data = pack(capture)
        unpack(data, where=where)
    except DAMAGE as exc:
        raise _damaged(where, f"{type(exc).__name__}: {exc!s:.300}", None) from exc
    return data


def pack(capture: Capture) -> bytes:
    """Return the bytes of a capture file. The same capture gives the same bytes."""
    members = {f"{name}.npy": npy(array) for name, array in arrays_of(capture).items()}
    meta = _meta_of(capture, {name: hashlib.sha256(data).hexdigest() for name, data in members.items()})
    text = json.dumps(meta, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in {"capture.json": text.encode(), **members}.items():
            info = zipfile.ZipInfo(name, _STAMP)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, data)
    return out.getvalue()


def _meta_of(capture: Capture, digests: Mapping[str, str]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "version": VERSION,
        "created": clean_text(capture.created),
        "ended": capture.ended,
        "window": capture.window,
        "conversion_hz": capture.conversion_hz,
        "channels": list(wire.CHANNEL_NAMES),
        "rig": clean_plain(dict(capture.rig)),
        "setup": setup_to_plain(capture.setup),
        "calibration": clean_plain(dict(capture.calibration)) if capture.calibration is not None else None,
        "versions": clean_plain(dict(capture.versions)),
        "coaching": clean_plain(capture.coaching),
        "board_text": clean_plain(capture.board_text),
        "bad_frames": capture.bad_frames,
        "first_index": capture.first_index,
        "stop_index": capture.stop_index,
        "set_aside": dict(capture.set_aside),
        "n_records": len(capture.records),
        "n_lost": capture.n_lost,
        "sha256": dict(digests),
        **({"journal": capture.journal_key} if capture.journal_key else {}),
    }


# --- reading


def read_capture(path: Path) -> Capture:
    """Read a capture file; every part is checked against its stored digest. Raises CaptureFileError."""
    try:
        data = read_regular(path, most=MOST_FILE)
    except TooLongError as exc:
        raise _damaged(str(path), f"more than {MOST_FILE} bytes", exc.size) from exc
    except (OSError, ValueError, MemoryError) as exc:
        raise CaptureFileError(f"{path} cannot be read.", seen=str(exc), next_step="check the name") from exc
    try:
        capture = unpack(data, where=str(path))
    except DAMAGE as exc:
        begins = "its end is missing, or it was changed" if data.startswith(ARCHIVE) else NO_CAPTURE
        seen = begins if isinstance(exc, zipfile.BadZipFile) else f"{type(exc).__name__}: {exc!s:.300}"
        raise _damaged(str(path), seen, len(data)) from exc
    return replace(capture, sha256=hashlib.sha256(data).hexdigest(), path=str(path))


def unpack(data: bytes, *, where: str) -> Capture:
    """Return the capture in the bytes of a file. Raises CaptureFileError, or what zip and numpy raise."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        plain = json.loads(member_bytes(archive, "capture.json", MOST_META))
        _check_head(plain, where)
        meta = checked_meta(renamed(plain), where)
        arrays = {name: read_array(archive, name, meta["sha256"]) for name in ARRAYS}
    records = _checked(Records(**{name: arrays[name] for name in RECORD_ARRAYS}), where)
    check_records(records, meta["window"], where)
    check_counts(records, meta, where)
    sound, aside = agreeing(records, meta["window"], where)
    snapshots = snapshots_of(arrays["snapshots"], arrays["snapshot_codes"])
    check_snapshots(snapshots, where)
    return Capture(
        records=sound,
        rig=meta["rig"],
        setup=setup_from_plain(meta["setup"], where=where),
        created=meta["created"],
        window=meta["window"],
        conversion_hz=float(meta["conversion_hz"]),
        gaps=tuple(Gap(*row) for row in arrays["gaps"].tolist()),
        snapshots=snapshots,
        slow=tuple(SlowReading(*row) for row in arrays["slow"].tolist()),
        marks=tuple(Mark(*row) for row in arrays["marks"].tolist()),
        board_text=tuple(meta["board_text"]),
        calibration=meta["calibration"],
        versions=meta["versions"],
        ended=meta["ended"],
        coaching=tuple(meta["coaching"]),
        bad_frames=meta["bad_frames"],
        first_index=_first_index(records, meta) if meta.get("first_index") is None else meta["first_index"],
        stop_index=meta.get("stop_index"),
        set_aside={**meta.get("set_aside", {}), **aside},
    )


def _first_index(records: Records, meta: Mapping[str, Any]) -> int:
    """Return the index that a capture should begin with where it does not say so: the records that it counts tell."""
    lost: Any = meta.get("n_lost")
    if not len(records) or not is_whole(lost, 0, MOST_INDEX):
        return 0
    first: int = int(records.index[-1]) + 1 - len(records) - lost
    return min(first, int(records.index[0]))


def _check_head(meta: Any, where: str) -> None:
    if not isinstance(meta, dict) or meta.get("format") != FORMAT:
        raise _damaged(where, "it is not marked as a capture", None)
    if meta.get("version") != VERSION:
        raise CaptureFileError(
            f"{where} is a capture file of another version.",
            seen=f"version {meta.get('version')}",
            limit=f"version {VERSION}",
            next_step="open it with the version that wrote it, or update this program",
        )


def _checked(records: Records, where: str) -> Records:
    if len({len(array) for array in vars(records).values()}) != 1:
        raise _damaged(where, "its arrays have different lengths", None)
    if (np.diff(records.index) <= 0).any():
        raise _damaged(where, "its record index does not rise", None)
    return records


def _damaged(where: str, seen: str, size: int | None) -> CaptureFileError:
    return CaptureFileError(
        f"{where} is not a capture file, or it is damaged.",
        seen=seen + (f" ({size} bytes)" if size is not None else ""),
        limit="a complete .sweep file",
        next_step="copy the original again; the name of a CSV ends in .csv",
    )
