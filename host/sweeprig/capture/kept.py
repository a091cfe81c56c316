"""Whether a journal's capture is in a file already: a crash may have come before the journal was removed."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np

from sweeprig.capture.file import DAMAGE, MOST_META, read_capture
from sweeprig.capture.model import Capture
from sweeprig.errors import CaptureFileError
from sweeprig.link.messages import Records

SUFFIX = ".sweep"


def kept_as(folder: Path, capture: Capture) -> Path | None:
    """Return the file in a folder that holds this capture, whole or cut to its sweep; None where there is none."""
    for path in sorted(folder.glob(f"*{SUFFIX}")):
        if _may_be(path, capture):
            try:
                kept = read_capture(path)
            except CaptureFileError:
                continue
            if len(kept.records) and _are_part(kept.records, capture.records):
                return path
    return None


def _may_be(path: Path, capture: Capture) -> bool:
    """Return whether a file's head names this capture's journal; cheap, records are not read."""
    try:
        with zipfile.ZipFile(path) as archive:
            info = archive.getinfo("capture.json")
            meta = json.loads(archive.read(info)) if info.file_size <= MOST_META else {}
        return bool(capture.journal_key) and meta.get("journal") == capture.journal_key
    except (*DAMAGE, AttributeError):
        return False


def _are_part(part: Records, whole: Records) -> bool:
    rows = np.searchsorted(whole.index, part.index)
    if rows.size and int(rows.max()) >= len(whole):
        return False
    return all(
        np.array_equal(a, b) for a, b in zip(vars(part).values(), vars(whole[rows]).values(), strict=True)
    )
