"""The ramp of `calibrate ramp`: what to set, the counted codes, and whether the jumper is back."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.cli.calibration.options import RampSource
from sweeprig.cli.calibration.stored import stored
from sweeprig.cli.console import console

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from sweeprig.calibration.model import Calibration
    from sweeprig.link.client import RigClient

STILL_THERE = (
    "Jumper J1 is still at RAMP: signal A reads the ramp, not the sensor. Move it to LEAD before any job."
)


def counted(
    port: str, source: RampSource, seconds: float, folder: Path
) -> tuple[Calibration, NDArray[np.int64], bool]:
    """Return the stored calibration, the counts of codes, and whether the ramp was the rig's own. SweeprigError."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.calibration.own_ramp import has_ramp
    from sweeprig.bench.calibration.ramp import count_codes

    with opened_rig(port) as client:
        rig = client.hello()
        before = stored(str(rig["uid"]), folder)
        if source is RampSource.RIG and not has_ramp(client):
            raise _no_ramp(str(rig.get("build", "")))
        if source is not RampSource.LEADS and has_ramp(client):
            counts = _own(client, seconds)
            console.end_progress()
            return before, counts, True
        console.say(
            "A generator's ramp or triangle, from below 0.1 V to above 4.9 V, goes on signal A; slow is better."
        )
        counts = count_codes(client, seconds=seconds, progress=_progress)
    console.end_progress()
    return before, counts, False


def _own(client: RigClient, seconds: float) -> NDArray[np.int64]:
    from sweeprig.bench.calibration.own_ramp import count_own_ramp

    console.say(
        "Jumper J1 at RAMP, the powered lead plugged in: the rig makes its own ramp and powers no lead."
    )
    return count_own_ramp(client, seconds=seconds, progress=_progress)


def look_at_jumper(port: str) -> None:
    """Ask to put the jumper back and check that it is: at a terminal until it is, or the operator gives up."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.calibration.own_ramp import jumper_at_ramp

    for _ in range(3 if sys.stdin.isatty() else 1):
        if sys.stdin.isatty():
            console.say("The calibration is stored. Move jumper J1 back to LEAD, then press Enter.")
            sys.stdin.readline()
        with opened_rig(port) as client:
            if not jumper_at_ramp(client):
                console.say("Jumper J1 is back: signal A no longer follows the ramp.")
                return
        console.warn(STILL_THERE)


def _progress(share: float) -> None:
    console.progress(f"Counting codes: {100 * share:3.0f} %")


def _no_ramp(build: str) -> Exception:
    from sweeprig.errors import CalibrationError

    return CalibrationError(
        "This rig cannot make its own ramp.",
        seen=f"a {build} build, or firmware that has none",
        limit="a full or driven build with the ramp fitted",
        next_step="sweeprig install, or a generator on signal A and --source leads",
    )
