"""What the journal holds of a capture that could not be written to a file; the journal is read to find out."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sweeprig.capture.assemble import capture_of_journal
from sweeprig.capture.locks import remove
from sweeprig.capture.model import Capture
from sweeprig.errors import CaptureFileError, CaptureNotKeptError
from sweeprig.link.messages import Records

STEP = "free some space or choose another folder with --out"


def not_kept(error: CaptureFileError, capture: Capture) -> CaptureNotKeptError:
    """Return the error for a capture that is in memory alone; it carries the capture and says what the journal holds.

    A journal without a record is removed: there is nothing in it to recover.
    """
    held = _held(capture)
    n_held = 0 if held is None else int(np.isin(capture.records.index, held.index).sum())
    lost = CaptureNotKeptError(
        error.what, seen=error.seen, next_step=f"{STEP}; {_words(capture, n_held) or 'sweep again'}"
    )
    lost.capture = capture
    if n_held:
        lost.journal = capture.journal
    elif held is not None:
        remove(Path(capture.journal))
    return lost


def _held(capture: Capture) -> Records | None:
    """Return the records in the journal; None where there is none, or none that can be read back."""
    if not capture.journal:
        return None
    try:
        return capture_of_journal(Path(capture.journal), ended=capture.ended).records
    except CaptureFileError:
        return None


def _words(capture: Capture, n_held: int) -> str:
    """Return in words what is kept and how to recover it; "" where nothing is."""
    if not n_held:
        return ""
    n = len(capture.records)
    part = (
        f", the first {n_held * capture.window_s:.1f} of {n * capture.window_s:.1f} s," if n_held < n else ""
    )
    return f"data received so far is kept{part} in the journal: sweeprig recover {capture.journal}"
