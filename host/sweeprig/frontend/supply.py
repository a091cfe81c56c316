"""What a regulated supply holds, from the parts of a build."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sweeprig.frontend.tables import Part, table


@dataclass(frozen=True)
class Regulated:
    """What a regulated supply holds, and the step-up before it."""

    set_v: float
    tol: float  # relative half-width of set_v
    boost_v: float
    boost_low_v: float
    boost_high_v: float


def regulated(p: Mapping[str, Part]) -> Regulated | None:
    """Return the regulated supply of these parts; None where the supply follows USB.

    set = ref + R63 (ref/R64 - (boost - ref)/R67): Kirchhoff at the halved node. The half-width adds the reference
    with its drift over the table's temperatures, both resistors and the amplifier's offset.
    """
    if "reference" not in p:
        return None
    ref, top, bottom = p["reference"], p["r_feedback_top"], p["r_feedback_bottom"]
    boost = p["boost"].value * (1 + p["r_boost_top"].value / p["r_boost_bottom"].value)
    spread = p["boost"].tol + 2 * p["r_boost_top"].tol * (1 - p["boost"].value / boost)
    lifted_a = (boost - ref.value) / p["r_feedback_hold"].value
    held = ref.value + top.value * (ref.value / bottom.value - lifted_a)
    kelvins = max(abs(float(table()["temperature"][k]) - 25.0) for k in ("min_c", "max_c"))
    share = top.value / (top.value + bottom.value)
    tol = ref.tol + ref.more["drift_per_k"] * kelvins + 2 * top.tol * share
    tol += p["error_amp"].more["offset_v"] / ref.value
    return Regulated(held, tol, boost, boost * (1 - spread), boost * (1 + spread))


def battery_ohm(p: Mapping[str, Part]) -> tuple[float, float]:
    """Return (all that is before the battery's divided node, what is below it) [ohm]."""
    return p["r_battery_guard"].value + p["r_battery_top"].value, p["r_battery_bottom"].value
