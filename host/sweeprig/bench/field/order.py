"""The job order that a board takes along: what a press may do, in codes of this rig's own converter.

Pure. The board decides only whether a sweep is worth keeping; the verdict comes from the analysis afterwards.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sweepboard.keep_order import MOST_TEXT
from sweeprig.bench.hookup.cautions import CAUTIONS, SECURED, Confirmation
from sweeprig.bench.hookup.interlock import NEEDS_SECURING
from sweeprig.bench.hookup.way_off import off_order
from sweeprig.bench.readings.battery import charging_v
from sweeprig.bench.readings.limits import SNAPSHOT_SPREAD, limit
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.bench.sweep.trigger import LEAD_S
from sweeprig.calibration.slow import battery_of_node
from sweeprig.capture.model import SweepSetup
from sweeprig.capture.plain import setup_from_plain, setup_to_plain
from sweeprig.errors import InputError
from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile import Profile
from sweeprig.words import Hookup, Setting

PLUG_OFF = Confirmation(
    "plug-off",
    "I WILL take the sensor's plug OFF the harness, onto the rig's powered lead, before each press; nothing else"
    " powers it then.",
)
USB_FIRST = Confirmation(
    "usb-first",
    f"I WILL connect the power bank BEFORE the tap lead. {off_order('power bank')}",
)
HOURS = 24  # of running time that an order holds
NOT_SENT = ("profile_text", "prepared")  # of a setup: too long for a board, and looked at again afterwards


@dataclass(frozen=True)
class FieldOrder:
    """What was sent: the rules for the board, and what the host needs to make captures of what it keeps."""

    id: str
    sent: datetime
    sweeps: int
    setup: SweepSetup
    rules: Mapping[str, Any]

    @property
    def text(self) -> str:
        """The order as the board keeps it. Raises InputError where it is too long for it."""
        plain = setup_to_plain(self.setup)
        empty = setup_to_plain(SweepSetup())
        said = {k: v for k, v in plain.items() if v != empty[k] and k not in NOT_SENT}
        more = {"sent": self.sent.isoformat(timespec="seconds"), "setup": said}
        text = json.dumps({**self.rules, "more": more}, separators=(",", ":"))
        n = len(json.dumps({"order": text}))
        if n > MOST_TEXT:
            raise InputError(
                "The order is too long for the board.",
                seen=f"{n} bytes",
                limit=f"{MOST_TEXT} bytes",
                next_step="shorten --notes, --label, --part or --operator",
            )
        return text


def confirmations(setup: SweepSetup) -> tuple[Confirmation, ...]:
    """Return what must be confirmed at sending, because nobody can be asked in the vehicle."""
    wired = USB_FIRST if setup.hookup == Hookup.TAPPED else PLUG_OFF
    secured = (SECURED,) if setup.vehicle_drive in NEEDS_SECURING else ()
    return (CAUTIONS, wired, *secured)


def make_order(
    setup: SweepSetup,
    profile: Profile,
    plan: SweepPlan,
    end: FrontEnd,
    rig: Mapping[str, Any],
    *,
    sweeps: int,
    order_id: str,
    sent: datetime,
) -> FieldOrder:
    """Return the order for this rig. `plan` says strokes and times; `setup` is kept with every capture."""
    window_s = float(rig["window"] * rig["channels"] / rig["conversion_hz"])
    per_v = 2 * int(rig["window"]) / end.lsb_v  # levels: two sums of a window
    powered = setup.hookup == Hookup.POWERED
    supply_v = (
        min(profile.supply.nominal_v, end.supply_v(current_a=0.0)) if powered else profile.supply.nominal_v
    )
    rules = {
        "id": order_id,
        "uid": str(rig["uid"]),
        "build": str(rig["build"]),
        "task": "wiggle" if setup.task.startswith("wiggle") else "sweep",
        "hookup": str(setup.hookup),
        "plug_off": powered,
        "sweeps": sweeps,
        "hours": HOURS,
        "least": round(profile.series.start.value / 100 * profile.supply.nominal_v * per_v),
        "span": round(profile.limits.span.value * per_v),
        "strokes": plan.strokes,
        "hold": round(plan.hold_s / window_s),
        "lead": round(LEAD_S / window_s) + 2 * int(rig["records_per_packet"]),
        "longest": round(plan.longest_s / window_s),
        "fast": round(plan.fastest_s / window_s),
        "low": round(profile.limits.lower_rail.value * per_v),
        "high": round((supply_v - profile.limits.upper_rail.value) * per_v),
        "short": round(limit("first_power.short_v") / end.lsb_v),
        "settle": round(limit("first_power.settle_s") / window_s),
        "battery_uv": battery_uv(setup, end),
        "spread": SNAPSHOT_SPREAD,
    }
    return FieldOrder(order_id, sent, sweeps, setup, rules)


def battery_uv(setup: SweepSetup, end: FrontEnd) -> int:
    """Return the battery reading [uV at its node] above which the engine counts as running; 0: not checked."""
    if setup.setting != Setting.VEHICLE or "battery" not in end.capabilities:
        return 0
    return round(1e6 * charging_v(setup.vehicle_system) / battery_of_node(1.0, end))


def read_order(text: str) -> FieldOrder:
    """Return the order that a board keeps. ValueError, KeyError, TypeError, CaptureFileError."""
    plain = json.loads(text)
    more = plain["more"]
    said = {**setup_to_plain(SweepSetup()), **more["setup"]}
    sent = datetime.fromisoformat(more["sent"])
    rules = {k: v for k, v in plain.items() if k != "more"}
    setup = setup_from_plain(said, where="the order on the board")
    return FieldOrder(str(plain["id"]), sent, int(plain["sweeps"]), setup, rules)
