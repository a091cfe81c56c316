"""What the connection test measures and reports, and the equations of the divided node that it uses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from sweeprig.bench.readings.live import Levels
from sweeprig.capture.model import FloatArray
from sweeprig.frontend import FrontEnd
from sweeprig.words import Sense

BIAS_V = 2.7  # 3.3 V less the bias diode at some 2 uA; frontend/parts.toml D3: 0.7 V at 1 mA
HELD_V = 0.3  # an open lead cannot stand here: the divider pulls it to ground


class Joint(StrEnum):
    """What the bias line shows of the signal lead."""

    CONNECTED = "connected"
    OPEN = "open"
    NO_BIAS = "the bias does not act"
    NOT_TESTED = "not tested"


class WiringFault(StrEnum):
    """The faults that the connection test can find."""

    SUPPLY_SHORT = "supply-short"
    SUPPLY_OVERLOAD = "supply-overload"
    SUPPLY_LOW = "supply-low"
    OPEN_SIGNAL = "open-signal"
    AT_GROUND = "signal-at-ground"
    SUPPLY_OPEN = "supply-open"
    SHORT_TO_SUPPLY = "signal-shorted-to-supply"
    AT_SUPPLY = "signal-at-supply"
    GROUND_OPEN = "ground-open"
    WRONG_PIN = "wrong-pin"
    REVERSED = "reversed"
    NOT_FOLLOWING = "not-following"
    SMALL_SPAN = "small-span"
    NOT_ANALOGUE = "not-analogue"


@dataclass(frozen=True)
class Position:
    """What was measured with the lever at one place; None where this build or hookup cannot."""

    on: Levels  # burden on where fitted
    bare: Levels | None = None  # burden off
    up: Levels | None = None  # burden off, bias up
    zero_v: float = (
        0.0  # [V] what the signal read before anything was switched on: the converter's own offset
    )


@dataclass(frozen=True)
class ConnectionFinding:
    """One thing that is wrong, or that leaves the test undecided."""

    fault: WiringFault
    what: str
    evidence: str
    next_step: str
    could_be: str = ""  # what looks the same, and what shows which it is
    severity: str = "fault"  # fault | doubt (leaves the test undecided) | note


@dataclass(frozen=True)
class ConnectionTest:
    """Result of the connection test."""

    verdict: str  # connected | fault | undecided
    sense: Sense
    moved_v: float  # [V] between the two lever positions
    joint: Joint
    findings: tuple[ConnectionFinding, ...]
    lines: tuple[str, ...]


def node_pull(end: FrontEnd, *, is_open: bool) -> float:
    """How far the divided node is pulled towards the bias voltage, 0 to 1: R/(R_bias + R), R all else connected to it.

    Connected: R1 parallel R2, a sensor of low resistance beyond R1. Open: R2 alone.
    """
    if end.bias_ohm is None:
        return 0.0
    held = end.r_bottom_ohm if is_open else end.r_parallel_ohm
    return held / (end.bias_ohm + held)


def joint_of(place: Position, end: FrontEnd) -> Joint:
    """Return what the bias line shows. A signal that is above ground by itself is connected to something."""
    if place.bare is None or place.up is None or end.bias_ohm is None:
        return Joint.NOT_TESTED
    if place.bare.signal_v > HELD_V:
        return Joint.CONNECTED
    node = place.bare.signal_v * end.divider_ratio
    share = (place.up.signal_v - place.bare.signal_v) * end.divider_ratio / (BIAS_V - node)
    joined, alone = node_pull(end, is_open=False), node_pull(end, is_open=True)
    if share < joined / 2:
        return Joint.NO_BIAS
    return Joint.OPEN if share > (joined + alone) / 2 else Joint.CONNECTED


def source_ohm(place: Position, end: FrontEnd) -> float | None:
    """Source resistance of the signal [ohm], from how far the burden pulls it down; None without a burden.

    On one channel, so that no difference between channels counts: r = R_burden (v_bare - v_on) / v_on, to first
    order in the rig's own input.
    """
    if place.bare is None or end.burden_ohm is None or place.on.signal_v <= 0:
        return None
    return max(0.0, (place.bare.signal_v - place.on.signal_v) / place.on.signal_v * end.burden_ohm)


def far_level(mean_v: FloatArray, *, from_v: float, window_s: float, hold_s: float = 0.15) -> float:
    """Level of the stretch of `hold_s` that stands farthest from `from_v` [V]; medians, so that no spike counts.

    `mean_v` has shape (n,); fewer windows than one stretch give their median.
    """
    size = max(1, round(hold_s / window_s))
    n = mean_v.size // size
    if n == 0:
        return float(np.median(mean_v))
    blocks = np.median(mean_v[: n * size].reshape(n, size), axis=1)
    return float(blocks[np.argmax(np.abs(blocks - from_v))])


def not_analogue(toggles: str, places: Sequence[Position]) -> ConnectionFinding:
    """Return the finding on a signal that is no position: `toggles` is "pwm" or "levels"."""
    what = "switches on and off within milliseconds" if toggles == "pwm" else "shows only two levels"
    seen = " and ".join(f"{p.on.low_v:.2f} to {p.on.high_v:z.2f} V" for p in places)
    return ConnectionFinding(
        WiringFault.NOT_ANALOGUE,
        "The signal is not analogue: whether it follows the lever is not judged.",
        f"it {what}; single conversions {seen} at {'closed and open throttle' if len(places) > 1 else 'closed'}",
        "ask for the sensor's type: PWM, digital and on/off outputs need an oscilloscope",
        "digital output, or a joint that opens and closes all the time: sweeprig wiggle with the lever at rest",
        severity="doubt",
    )


def reach_line(end: FrontEnd, hookup: str) -> str:
    """Return a line on the shortest open contact that this rig can show with its usual lead."""
    seconds, short = end.shortest_open_s(hookup), end.shortest_short_s(hookup)
    lifts = (
        f", and a wiper that leaves the track for {1e6 * seconds:.0f} µs or longer."
        if np.isfinite(seconds)
        else "; how long a wiper must leave the track to be seen is not guaranteed."
    )
    shorts = f"shorts to ground of {1e6 * short:.0f} µs (millionths of a second) or longer"
    return f"What this rig can detect with the {hookup} lead: {shorts}{lifts}"


def check_json(checks: dict[str, ConnectionTest], *, hookup: str, reach: str) -> dict[str, Any]:
    """Return one JSON object: the verdict of all tracks, and each track's findings."""
    order = ("fault", "undecided", "connected")
    worst = next(v for v in order if any(c.verdict == v for c in checks.values()))
    return {
        "schema_version": 1,
        "verdict": worst,
        "hookup": str(hookup),
        "shortest_dropout": reach,
        "tracks": {
            name: {
                "verdict": c.verdict,
                "sense": str(c.sense),
                "moved_v": round(c.moved_v, 4),
                "signal_lead": str(c.joint),
                "measured": list(c.lines),
                "findings": [
                    {
                        "code": str(f.fault),
                        "severity": f.severity,
                        "what": f.what,
                        "evidence": f.evidence,
                        "next_step": f.next_step,
                        "could_be": f.could_be,
                    }
                    for f in c.findings
                ],
            }
            for name, c in checks.items()
        },
    }
