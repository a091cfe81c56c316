"""What a trace lacks, in words with what to do: the supply, sensor ground."""

from __future__ import annotations

from sweeprig.capture.model import Hookup, Trace


def no_supply(trace: Trace) -> str:
    """Return what is not known without the supply."""
    if trace.supply_top_v is not None:
        top = f"{trace.supply_top_v:z.3f} V, the highest value of its converter"
        return f"Supply and ratio: supply_v stays at {top}: the supply may be higher. Record it with a wider range."
    how = "Add the sense lead." if trace.source == "rig" else "Record it too (column supply_v)."
    return f"Supply and ratio: the sensor's supply was not measured. {how}"


def no_ground(trace: Trace) -> str:
    """Return what is not known of sensor ground."""
    if trace.source != "rig":
        return "Ground offset: not in the data. Tap the sensor with the rig's ground sense lead."
    if trace.hookup is Hookup.POWERED:
        return (
            "Ground offset in the harness: not visible while the rig powers the sensor. Measure it in the vehicle "
            "(`--hookup tapped`), with the ground sense lead."
        )
    return "Ground offset: not observed. Add the separate ground sense lead."
