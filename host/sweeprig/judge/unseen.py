"""What a capture leaves open, and what of the rig has to stand beside its verdict."""

from __future__ import annotations

from datetime import datetime

from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import FrontEnd
from sweeprig.judge.checks import Seen
from sweeprig.trim.model import Trim
from sweeprig.words import Hookup

VERIFY_FAILED = "the rig failed its last check standard: trim it again before it passes anything"


def open_points(seen: Seen, trim: Trim | None) -> tuple[str, ...]:
    """Return what keeps a capture without a fault from being passed."""
    out = []
    if seen.profile.sensor.tracks > 1 and seen.trace.signal_b is None:
        out.append("track B was not captured: sweep it as well")
    if verify_failed(trim):
        out.append(VERIFY_FAILED)
    return tuple(out)


def not_shown(
    seen: Seen, setup: SweepSetup, trim: Trim | None, front_end: FrontEnd | None
) -> tuple[str, ...]:
    """Return what this capture and this profile together could not show, each with what to do."""
    out = list(seen.analysis.not_shown)
    lost, total = seen.trace.n_lost, seen.trace.n_lost + seen.trace.t_s.size
    if lost:
        share = 100 * lost / max(total, 1)
        out.append(
            f"{lost} of {total} records ({share:.2g} %) were lost and are not judged. Use another cable or port."
        )
    if trim is None:
        out.append(
            "Accuracy of what measured this data: not known. The intervals hold its scatter only. "
            "Use a rig with a trim."
        )
    if seen.scale.supply.value is None and seen.profile.supply.ratiometric:
        r = seen.profile.limits.supply
        out.append(
            f"Limits at nominal supply: the supply is taken as {r.low:g} to {r.high:g} V, not measured. "
            "Observe the supply."
        )
    if seen.profile.sensor.tracks < 2 and seen.trace.signal_b is not None:
        out.append("Track B: the profile has one track, so B was not judged. Take a profile with two tracks.")
    out += _load(seen, setup, front_end)
    return tuple(out)


def _load(seen: Seen, setup: SweepSetup, front_end: FrontEnd | None) -> list[str]:
    """What the rig's own load may do to a potentiometer whose track was not measured."""
    sensor, limit = seen.profile.sensor, seen.profile.limits.loading.value
    kind = setup.sensor_kind or sensor.kind
    if front_end is None or kind == "hall" or sensor.track_ohm is None or setup.track_ohm is not None:
        return []
    burdened = setup.hookup is Hookup.POWERED and front_end.burden_ohm is not None
    shift = 100 * front_end.loading_error(track_ohm=sensor.track_ohm.high, burden_on=burdened)
    if shift <= limit:
        return []
    return [
        f"Open-circuit volts: the rig's own load can shift a track of {sensor.track_ohm.high:g} ohm by up to "
        f"{shift:.2g} % of supply near two thirds of its travel. Measure the track and give it with --track-ohm."
    ]


def verify_failed(trim: Trim | None) -> bool:
    """True where the last check standard of this rig failed."""
    return bool(trim and trim.verified and trim.verified[-1].get("verdict") == "fail")


def rig_marks(trim: Trim | None, *, taken_at: str) -> tuple[str, ...]:
    """Return what of the rig has to stand on the sheet: no trim, a trim too old, a failed check standard.

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
    return tuple(out)


def age_days(made_at: str, taken_at: str) -> float | None:
    """Return the days from one ISO 8601 time to another; None where either does not read."""
    try:
        return (datetime.fromisoformat(taken_at) - datetime.fromisoformat(made_at)).total_seconds() / 86400
    except (ValueError, TypeError):
        return None
