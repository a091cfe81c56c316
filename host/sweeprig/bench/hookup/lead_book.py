"""The last check of each rig's test lead, and its result."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path

from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import MOST_BOOK, read_text


@dataclass(frozen=True)
class LeadCheck:
    """One check with the test plug: two resistors in place of a sensor."""

    made_at: str  # ISO 8601 with offset
    passed: bool
    ratio: float  # signal over supply
    wanted_ratio: float
    noise_v: float  # [V] standard deviation of the window means, at rest
    n_events: int  # seen while the lead was shaken
    shaken_s: float  # [s]
    operator: str = ""
    reason: str = ""  # why it did not pass

    @property
    def line(self) -> str:
        """One line for the sheet."""
        verdict = "passed" if self.passed else f"FAILED ({self.reason})"
        return (
            f"{self.made_at[:10]} {verdict}: ratio {self.ratio:.4f}, noise {1000 * self.noise_v:z.2f} mV,"
            f" {self.n_events} events in {self.shaken_s:.0f} s of shaking"
        )


@dataclass(frozen=True)
class LeadBook:
    """Stores the last check of each rig's lead, one small file per rig."""

    folder: Path

    def _file(self, uid: str) -> Path:
        return self.folder / f"lead-{re.sub(r'[^A-Za-z0-9]+', '-', uid) or 'unknown'}.json"

    def note(self, uid: str, check: LeadCheck) -> Path:
        """Store a check in place of the last one."""
        path = self._file(uid)
        step = "correct this folder's permissions, then test the lead again: this test is not saved"
        write_atomically(
            path, json.dumps(asdict(check), indent=2, ensure_ascii=False).encode(), next_step=step
        )
        return path

    def last(self, uid: str) -> LeadCheck | None:
        """Return the last check; None where there is none, or none that can be read."""
        try:
            return LeadCheck(**json.loads(read_text(self._file(uid), most=MOST_BOOK)))
        except (OSError, ValueError, TypeError, RecursionError):
            return None

    def line(self, uid: str) -> str:
        """Return the line for the sheet; "" where the lead was never checked or its file is damaged."""
        last = self.last(uid)
        try:
            return "" if last is None else last.line
        except (TypeError, ValueError):
            return ""
