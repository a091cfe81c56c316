"""The choices that a review may make afresh, and the versions that a result depends on. Imports nothing heavy."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sweeprig import __version__

if TYPE_CHECKING:
    from sweeprig.calibration.model import Calibration
    from sweeprig.words import Sense, Starts


@dataclass(frozen=True)
class Choices:
    """What the operator may choose afresh when a capture is reviewed; None: as the capture has it."""

    profile: str | None = None
    starts: Starts | None = None
    sense: Sense | None = None
    guard_factor: float | None = None
    track_ohm: float | None = None
    calibration: Calibration | None = None
    time_unit: str | None = None  # of a CSV: s, ms or us; None: as its header says, if that can be


def versions() -> dict[str, str]:
    """Return the versions that a result depends on."""
    import numpy as np

    return {"sweeprig": __version__, "numpy": np.__version__, "python": platform.python_version()}
