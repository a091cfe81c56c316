"""What the disk holds of a capture that no file holds: said after a look, never taken for granted."""

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
    """Return the error of a capture that is in memory alone, with the capture and with what its journal holds of it.

    A journal without one of its records is removed: there is nothing in it to recover.
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
    """Return the records in the journal; None where there is no journal that can be read back."""
    if not capture.journal:
        return None
    try:
        return capture_of_journal(Path(capture.journal), ended=capture.ended).records
    except CaptureFileError:
        return None


def _words(capture: Capture, n_held: int) -> str:
    """Return what is kept and how to have it; "" where nothing is."""
    if not n_held:
        return ""
    n = len(capture.records)
    part = (
        f", the first {n_held * capture.window_s:.1f} of {n * capture.window_s:.1f} s," if n_held < n else ""
    )
    return f"data received so far is kept{part} in the journal: sweeprig recover {capture.journal}"
