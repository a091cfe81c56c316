"""The rig's own ramp: whether its jumper connects it to the converter, and the counts of codes while it runs."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.bench.calibration.ramp import count_codes
from sweeprig.bench.readings.live import collect, has, no_data, streaming
from sweeprig.capture.model import Hookup
from sweeprig.errors import CalibrationError
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Records

LEGS = 2  # up and down: what the filter's lag bends one way up, it bends the other way down
LEAST_S = (
    40.0  # of both legs: the filter's turns then stay within the codes that are left out (decision own-ramp)
)
LOOK_LEG_MS = 500
LOOK_S = 0.8
FOLLOWS_CODES = 1000  # of 4095 that signal A moves by where the jumper joins it to the ramp


def has_ramp(client: RigClient) -> bool:
    """Return whether this rig can make its own ramp."""
    return has(client, "ramp")


def jumper_at_ramp(client: RigClient) -> bool:
    """Return whether signal A follows a short ramp. The leads get no voltage from it. Raises LinkError."""
    with streaming(client, str(Hookup.POWERED)):
        client.command("supply", on=False)
        client.command("ramp", leg_ms=LOOK_LEG_MS, legs=LEGS)
        messages = collect(client, seconds=LOOK_S)
    records = Records.concatenate([m for m in messages if isinstance(m, Records)]).usable()
    if not len(records):
        raise no_data()
    return bool(np.ptp(records.sums[:, 0].astype(np.float64)) > FOLLOWS_CODES * wire.WINDOW)


def count_own_ramp(
    client: RigClient, *, seconds: float, progress: Callable[[float], None] = lambda _: None
) -> NDArray[np.int64]:
    """Return how often each code (4096,) came while the rig's own ramp went up and down once in `seconds`.

    Raises CalibrationError where it is too fast or does not reach the converter, LinkError.
    """
    if seconds < LEAST_S:
        raise CalibrationError(
            "The rig's own ramp is too fast to be straight.",
            seen=f"{seconds:g} s up and down",
            limit=f"at least {LEAST_S:g} s",
            next_step=f"--seconds {LEAST_S:g} or more",
        )
    if not jumper_at_ramp(client):
        raise CalibrationError(
            "The rig's own ramp does not reach the converter.",
            seen="signal A does not follow the ramp",
            limit=f"at least {FOLLOWS_CODES} codes of movement",
            next_step="set jumper J1 to RAMP, powered lead plugged in, and repeat; or use a generator: --source leads",
        )

    def begin() -> None:
        client.command("supply", on=False)
        client.command("ramp", leg_ms=round(1000 * seconds / LEGS), legs=LEGS)

    return count_codes(client, seconds=seconds, progress=progress, hookup=Hookup.POWERED, begin=begin)
