"""The complete result of one reviewed capture, from which sheet, exports and records are made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sweeprig.analysis.model import Analysis
from sweeprig.calibration.model import Calibration
from sweeprig.capture.model import Capture, SweepSetup, Trace
from sweeprig.judge.model import Judgement

if TYPE_CHECKING:
    from sweeprig.judge.profile import Profile


@dataclass(frozen=True)
class Outcome:
    """One capture from codes to verdict."""

    setup: SweepSetup
    trace: Trace
    analysis: Analysis
    judgement: Judgement
    profile: Profile
    capture: Capture | None  # None for a CSV
    calibration: Calibration | None  # None for a CSV
    made_at: str  # ISO 8601 with offset
    versions: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()  # ageing calibration, override, failed check standard, loading

    @property
    def simulated(self) -> bool:
        """Whether no real sensor was measured."""
        return self.capture is not None and self.capture.simulated
