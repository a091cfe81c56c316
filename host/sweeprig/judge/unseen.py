"""What a capture leaves open, and what of the rig has to stand beside its verdict."""

from __future__ import annotations

from datetime import datetime

from sweeprig.judge.checks import Seen
from sweeprig.judge.load import Load
from sweeprig.trim.model import Trim
from sweeprig.trim.uncertainty import beyond_points, channel_of

VERIFY_FAILED = "the rig failed its last check standard: trim it again before it passes anything"


def open_points(seen: Seen) -> tuple[str, ...]:
    """Return what keeps a capture without a fault from being passed."""
    out = []
    if seen.profile.sensor.tracks > 1 and seen.trace.signal_b is None:
        out.append("track B was not captured: sweep it as well")
    if seen.rig is not None and verify_failed(seen.rig.trim):
        out.append(VERIFY_FAILED)
    return tuple(out)


def not_shown(seen: Seen, load: Load) -> tuple[str, ...]:
    """Return what this capture and this profile together could not show, each with what to do."""
    out = list(seen.analysis.not_shown)
    lost, total = seen.trace.n_lost, seen.trace.n_lost + seen.trace.t_s.size
    if lost:
        share = 100 * lost / max(total, 1)
        out.append(
            f"{lost} of {total} records ({share:.2g} %) were lost and are not judged. Use another cable or port."
        )
    if seen.rig is None:
        out.append(
            "Accuracy of what measured this data: not known. The intervals hold its scatter and resolution only; "
            "what has neither is judged as read. Use a rig with a trim."
        )
    if seen.trace.source != "rig" and seen.scale.supply.value is not None:
        own, wide = seen.profile.limits.supply, seen.scale.supply_range
        out.append(
            f"Supply against the limits of its source: who fed the sensor is not known, so the wider ones were used, "
            f"{wide.low:g} to {wide.high:g} V. From a controller: {own.low:g} to {own.high:g} V."
        )
    if seen.scale.supply.value is None and seen.profile.supply.ratiometric:
        r = seen.profile.limits.supply
        out.append(
            f"Limits at nominal supply: the supply is taken as {r.low:g} to {r.high:g} V, not measured. "
            "Observe the supply."
        )
    if seen.profile.sensor.tracks < 2 and seen.trace.signal_b is not None:
        out.append("Track B: the profile has one track, so B was not judged. Take a profile with two tracks.")
    out += _load(seen, load) + _beyond(seen)
    return tuple(out)


def _load(seen: Seen, load: Load) -> list[str]:
    if load.track_ohm is None or load.shift_percent <= seen.profile.limits.loading.value:
        return []
    return [
        f"Open-circuit volts: the rig's own load can shift a track of {load.track_ohm:g} ohm by up to "
        f"{load.shift_percent:.2g} % of supply near two thirds of its travel. Measure the track and give it with "
        "--track-ohm."
    ]


def _beyond(seen: Seen) -> list[str]:
    """Ends outside the voltages at which the rig was trimmed."""
    own = None if seen.rig is None else channel_of(seen.rig.trim, 0)
    out = []
    for name in ("low", "high"):
        value = seen.quantities[f"{name}_v"].value
        if own is not None and value is not None and beyond_points(value, own):
            out.append(
                f"The {name} end at {value:z.3f} V lies outside the points of the trim. Trim over the range."
            )
    return out


def verify_failed(trim: Trim) -> bool:
    """True where the last check standard of this rig failed."""
    return bool(trim.verified and trim.verified[-1].get("verdict") == "fail")


def rig_marks(trim: Trim | None, *, taken_at: str) -> tuple[str, ...]:
    """Return what of the rig has to stand on the sheet: no trim, a trim too old, a failed check standard, its remarks.

    `taken_at`: ISO 8601 with offset, when the capture was taken; dates that do not read are no reason to mark.
    """
    if trim is None:
        return ()
    out = []
    if trim.kind == "nominal":
        out.append("This rig was never trimmed: its intervals come from the tolerance of its parts.")
    age = age_days(trim.made_at, taken_at)
    if age is not None and age > trim.max_age_days:
        out.append(
            f"The trim was {age:.0f} days old, over its limit of {trim.max_age_days:.0f}: trim the rig again."
        )
    if verify_failed(trim):
        out.append(f"{VERIFY_FAILED[:1].upper()}{VERIFY_FAILED[1:]}.")
    return (*out, *trim.remarks)


def age_days(made_at: str, taken_at: str) -> float | None:
    """Return the days from one ISO 8601 time to another; None where either does not read."""
    try:
        return (datetime.fromisoformat(taken_at) - datetime.fromisoformat(made_at)).total_seconds() / 86400
    except (ValueError, TypeError):
        return None
