"""What a profile leaves unjudged for want of a range, and which shipped profiles would judge it."""

from __future__ import annotations

from functools import cache

from sweeprig.judge.profile import load_profile, shipped_names
from sweeprig.judge.profile_model import Profile

ENDS = "the right volts of both ends"
UNCHECKED = "whether closed and open throttle are at the right volts for this sensor"


def ends_are_judged(profile: Profile) -> bool:
    """Return whether a profile says where either end should be."""
    return profile.limits.closed is not None or profile.limits.open is not None


@cache
def profiles_with_ends(tracks: int) -> tuple[str, ...]:
    """Return the shipped profiles of so many tracks that say where the ends should be."""
    shipped = [load_profile(name) for name in shipped_names()]
    return tuple(p.name for p in shipped if ends_are_judged(p) and p.sensor.tracks == tracks)


def left_out(profile: Profile, *, tracks: int) -> str:
    """Return what is not judged and which profiles would, as one line; "" where the profile judges it.

    `tracks`: signals that were captured.
    """
    if ends_are_judged(profile):
        return ""
    *some, last = profiles_with_ends(tracks)
    names = f"{', '.join(some)} or {last}" if some else last
    return f"{ENDS[:1].upper()}{ENDS[1:]}: the profile {profile.name} has no limits for them. These have: {names}."
