"""What measured a capture: nothing is known of it where the data came from elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sweeprig.calibration.model import Calibration
from sweeprig.capture.model import Trace
from sweeprig.frontend import FrontEnd


@dataclass(frozen=True)
class Rig:
    """A calibration and the front end it belongs to, and the board while it captured."""

    calibration: Calibration
    front_end: FrontEnd
    temperature_c: float | None = None  # of the board; None where not known
    smps_mode: str = ""  # of its regulator; "" where not known

    def during(self, trace: Trace) -> Rig:
        """Return the same rig as it was while it took `trace`."""
        return replace(self, temperature_c=trace.board_temperature_c, smps_mode=trace.smps_mode)
