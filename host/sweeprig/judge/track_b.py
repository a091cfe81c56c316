"""A second signal that the profile does not judge, or misses: when it counts, and which profiles would do. Pure.

A sensor with two tracks is as good as its worse one. A pass that looked at one of two would be a wrong verdict, so a
second signal that nobody judged leaves a capture undecided, whichever profile of one track was taken. And one that a
profile of two tracks asks for in vain leaves open whether that profile fits.
"""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import TwoTracks
from sweeprig.capture.model import Trace
from sweeprig.judge.left_out import profiles_with_ends
from sweeprig.judge.model import OpenPoint
from sweeprig.judge.profile import load_profile
from sweeprig.judge.profile_model import Profile
from sweeprig.words import ANY_SENSOR

UNJUDGED = "track B carries a signal and was not judged"
ONE_SIGNAL = "no second signal was seen, so the profile may not fit"
NOT_CAPTURED = "track B was not captured"
NAME = "FILE"  # stands for the capture until its name or number is known
LIVE_SHARE = 0.05  # of the time; own choice, no source
LIVE_PERCENT = 5.0  # % of supply: more than hum and spikes leave on an open lead; own choice, no source


def is_unjudged(profile: Profile, trace: Trace) -> bool:
    """Return whether a second signal was there that a profile of one track does not judge."""
    if profile.sensor.tracks > 1 or trace.signal_b is None or not trace.t_s.size:
        return False
    high = float(np.nanquantile(trace.signal_b.mean_v, 1 - LIVE_SHARE))
    return high > LIVE_PERCENT / 100 * trace.nominal_supply_v


def is_missing(profile: Profile, trace: Trace) -> bool:
    """Return whether a profile of two tracks met one signal: not both are connected, or the profile does not fit."""
    return profile.sensor.tracks > 1 and trace.signal_b is None


def profiles_for(two: TwoTracks | None) -> tuple[str, ...]:
    """Return the shipped profiles that judge both tracks: the one of the relation that was seen, else all."""
    every = profiles_with_ends(2)
    related = tuple(n for n in every if two is not None and load_profile(n).sensor.relation == two.relation)
    return related or every


def missing_point(profile: Profile, trace: Trace) -> tuple[OpenPoint, ...]:
    """Return the open point where a second signal is missing, with both next steps; None where it is there."""
    if not is_missing(profile, trace):
        return ()
    other = f"judge this capture again by a profile of one track (`sweeprig review {NAME} --profile {ANY_SENSOR}`)"
    step = f"If the sensor has two, connect the second signal to input B and sweep again; if it has one, {other}."
    return (OpenPoint("track B", f"{NOT_CAPTURED}: {ONE_SIGNAL}", step),)


def open_point(profile: Profile, trace: Trace, two: TwoTracks | None) -> tuple[OpenPoint, ...]:
    """Return the open point where a second signal is not judged, with how to judge it; None where there is none."""
    if not is_unjudged(profile, trace):
        return ()
    names = profiles_for(two)
    one = names[0] if len(names) == 1 else "NAME"
    choice = "" if len(names) == 1 else f"; NAME is {', '.join(names[:-1])} or {names[-1]}"
    command = f"(`sweeprig review {NAME} --profile {one}`)"
    step = f"Judge this capture again by a profile of two tracks {command}{choice}."
    return (OpenPoint("track B", UNJUDGED, step),)
