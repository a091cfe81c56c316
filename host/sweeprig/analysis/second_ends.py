"""Ends of a second track: what it reads while the lever, as the first track shows it, is at its stops.

A second track that drifts would otherwise show one visit as its end and all others as a lever that stopped short.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sweeprig.analysis.model import FloatArray, Rest
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.strokes import STEP_S, rest_of
from sweeprig.analysis.visits import Stop, Visit
from sweeprig.capture.model import Trace

PLACES = ("low", "high")
FEWEST_AGREEING = 2  # visits of track A on one level: a stop
MOST_PASSED = 1  # visits of track A that turned round beyond it


def at_the_stops(b: Moves, a: Moves, *, slope: float, trace: Trace) -> Moves:
    """Return track B with rests and stops at its ends where the lever was at those of track A.

    An end keeps its own where no two visits of A agree on a stop, or where B never rested there by itself.
    """
    rests, stops = list(b.rests), list(b.stops)
    for k, place in enumerate(PLACES):
        at = k if slope > 0 else 1 - k
        stop = a.stops[at]
        if b.stops[k] is None or stop is None or stop.agree < FEWEST_AGREEING or stop.passed > MOST_PASSED:
            continue
        rests = [replace(r, place="middle", visit=-1) if r.place == place else r for r in rests]
        rests += _rests(b, [r for r in a.rests if r.place == PLACES[at]], place, trace.lsb_v)
        stops[k] = _stop(stop, rests, b, low=place == "low", steep=abs(slope), window_s=trace.window_s)
    return replace(b, rests=tuple(sorted(rests, key=lambda r: r.start)), stops=(stops[0], stops[1]))


def _rests(b: Moves, there: list[Rest], place: str, lsb_v: float) -> list[Rest]:
    found = [(r, rest_of(b.path_steady_v, b.good, r.start, r.stop, lsb_v=lsb_v)) for r in there]
    return [replace(own, place=place, visit=r.visit) for r, own in found if own is not None]


def _stop(stop: Stop, rests: list[Rest], b: Moves, *, low: bool, steep: float, window_s: float) -> Stop:
    """The visits of a stop of track A as track B shows them; what A alone tells in the volts of B."""
    around = max(1, round(STEP_S / window_s))
    own = [
        [r.value_v for r in rests if r.place == PLACES[not low] and r.visit == k]
        for k in range(len(stop.visits))
    ]
    visits = tuple(
        _visit(v, at, b.path_steady_v, low=low, around=around) for v, at in zip(stop.visits, own, strict=True)
    )
    return replace(
        stop, visits=visits, passed_v=steep * stop.passed_v, held_short_v=steep * stop.held_short_v
    )


def _visit(visit: Visit, levels: list[float], path: FloatArray, *, low: bool, around: int) -> Visit:
    turn_v = float(np.median(path[max(0, visit.turn_at - around) : visit.turn_at + around + 1]))
    level_v = float(np.mean(levels)) if levels else turn_v
    return Visit(low, level_v, (), turn_v=turn_v, turn_at=visit.turn_at)
