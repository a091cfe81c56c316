"""What two tracks show together: how B follows A, and whether they are joined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweepboard.wire import SIGNAL_B
from sweeprig.analysis import bridges, two_tracks
from sweeprig.analysis import findings as fi
from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import Code, Finding, TwoTracks
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.no_movement import no_movement, stays_at_rail
from sweeprig.capture.model import Trace


@dataclass(frozen=True)
class Both:
    """Two signals beside each other; empty with one track."""

    two: TwoTracks | None = None
    joined: bool = False  # both stand still together
    bridge: bridges.Bridge | None = None
    joined_runs: tuple[bridges.Joined, ...] = ()  # windows in which both signals are one


def look(trace: Trace, a: Moves, b: Moves | None, *, supply_v: float) -> Both:
    """Return what both signals show together."""
    if b is None or trace.signal_b is None:
        return Both()
    good = a.good & b.good
    two = two_tracks.compare(
        a.path_steady_v,
        b.path_steady_v,
        good,
        place=a.place,
        supply_v=supply_v,
        lsb_v=trace.lsb_v,
        load_ohm=trace.load_ohm,
    )
    bridge = None
    if two is not None and two.relation == "parallel":
        own = (a.path_steady_v[good], b.path_steady_v[good], a.place[good])
        bridge = bridges.find_bridge(*own, supply_v=supply_v, lsb_v=trace.lsb_v)
    times = bridges.joined_times(
        trace.signal_a.mean_v,
        trace.signal_b.mean_v,
        supply_v=supply_v,
        lsb_v=trace.lsb_v,
        window_s=trace.window_s,
    )
    return Both(two, two_tracks.joined(a.path_steady_v, b.path_steady_v, supply_v=supply_v), bridge, times)


def without_joints(events: tuple[RawEvent, ...], times: tuple[bridges.Joined, ...]) -> tuple[RawEvent, ...]:
    """Return the events without the moments at which two signals come together or part."""
    edges = [k for j in times for k in (j.start, j.stop)]
    near = bridges.EDGE_WINDOWS
    return tuple(e for e in events if not any(e.start - near <= k <= e.stop + near for k in edges))


def findings_of(both: Both, trace: Trace, *, supply_v: float) -> list[Finding]:
    """Return shorted or disagreeing tracks; of shorted ones, or one at a rail, it is not said that they disagree."""
    stuck = _stuck(trace, supply_v)
    if stuck is not None:
        return [stuck]
    if both.joined_runs:
        return [fi.tracks_joined_at_times(both.joined_runs, trace)]
    if both.bridge is not None:
        return [fi.bridged_tracks(both.bridge)]
    return fi.about_tracks(both.two)


def _stuck(trace: Trace, supply_v: float) -> Finding | None:
    """A signal B that lies at a rail all the time, while signal A moves."""
    if trace.signal_b is None:
        return None
    low, level, high = (float(q) for q in np.quantile(trace.signal_b.mean_v, (0.002, 0.5, 0.998)))
    if not stays_at_rail(low, high, supply_v):
        return None
    return no_movement(level, supply_v, high - low, SIGNAL_B)


def beside(found: list[Finding], pair: list[Finding]) -> list[Finding]:
    """Return all findings; where the tracks disagree, B's flat spots are left out: a bump of one stays level too."""
    if any(f.code is Code.TRACKS_DISAGREE for f in pair):
        found = [f for f in found if not (f.code is Code.FLAT_SPOT and f.channel == SIGNAL_B)]
    return found + pair


def without_ends_of_stuck(found: list[Finding]) -> list[Finding]:
    """Return the findings; of a signal B that lies at a rail it is not said that its ends differ."""
    stuck = any(f.code in (Code.STUCK_LOW, Code.STUCK_HIGH) and f.channel == SIGNAL_B for f in found)
    return [f for f in found if not (stuck and f.code is Code.ENDS_NOT_REPEATED and f.channel == SIGNAL_B)]
