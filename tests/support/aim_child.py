"""The live view of `aim` on a scripted rig whose sensor is being turned; run on a terminal by the tests.

python -m support.aim_child FROM_V TO_V: the reading goes from one to the other in three seconds and stays there.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sweeprig.bench.board.rig
from support.scripted_rig import Outputs, Reading, ScriptedRig, client_of
from sweeprig.bench.aim.aim import Ends, plan
from sweeprig.bench.sweep.sweep import SweepOrder
from sweeprig.capture.model import SweepSetup
from sweeprig.cli.commands.aim import AimOptions, turn
from sweeprig.judge.profile import load_profile
from sweeprig.link.client import RigClient

TURN = 3000  # records


def main(start_v: float, stop_v: float) -> None:
    """Show the view until it ends by itself."""

    def volts(o: Outputs) -> Reading:
        if not o.supply:
            return (0.0, 0.0, 0.0)
        return (start_v + (stop_v - start_v) * min(1.0, o.index / TURN), 0.0, 5.0)

    @contextmanager
    def opened(_port: str) -> Iterator[RigClient]:
        yield client_of(ScriptedRig(volts))

    sweeprig.bench.board.rig.opened_rig = opened
    profile = load_profile("adjustable-potentiometer")
    ends = Ends(start_v, start_v + 3.85, 5.0)
    asked = AimOptions(confirm=["plug-off"], longest=20.0)
    turn(asked, SweepOrder(SweepSetup(), Path(), Path("no-calibrations")), ends, plan(ends, profile), 0.043)


if __name__ == "__main__":
    main(float(sys.argv[1]), float(sys.argv[2]))
