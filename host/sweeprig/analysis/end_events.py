"""Long events at the end of what is seen of the travel: a track that carries nothing beyond that place."""

from __future__ import annotations

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.event_texts import SWEEP_AGAIN, numbers_of, worst
from sweeprig.analysis.model import Cause, Code, Event, Finding, FloatArray, Span
from sweeprig.analysis.unplugged import Off
from sweeprig.capture.model import Trace

LEAST_S = 0.2  # s; a contact that bounces is back before. Own choice, no source
LEAST_PERCENT = 10.0  # % of supply. Own choice, no source
NEAR_PERCENT = 2.0  # % of travel from the outermost place that is seen
FEWEST = 2
MOST = 0.75  # share of the long events that are at that end


def beyond_end(own: tuple[Event, ...], channel: int) -> tuple[Finding | None, tuple[Event, ...]]:
    """Return the finding of a track that ends where the lever goes on, and the events that are not of it.

    The lever moves as the signal leaves, and as it comes back at the same place: a wire that opens while the lever
    rests at its stop does neither.
    """
    long = [e for e in own if e.duration_s >= LEAST_S and e.depth_percent >= LEAST_PERCENT]
    for where in ((100.0 - NEAR_PERCENT, 100.0), (0.0, NEAR_PERCENT)):
        there = tuple(e for e in long if not e.at_rest and _is_at(e, where))
        if len(there) >= max(FEWEST, MOST * len(long)):
            return _finding(there, where, channel), tuple(e for e in own if e not in there)
    return None, own


def _is_at(e: Event, where: Span) -> bool:
    return all(at is not None and where[0] <= at <= where[1] for at in (e.at_percent, e.to_percent))


def _finding(there: tuple[Event, ...], where: Span, channel: int) -> Finding:
    text = (
        f"{CHANNEL_NAMES[channel]} goes away at one place and comes back at the same place {len(there)} times, while "
        f"the lever moves ({worst(there)}). Beyond that place the track carries nothing, or the output has gone round "
        "to its other end; per cent of travel count what is seen of it"
    )
    return Finding(
        Code.WORN_SPOT,
        Cause.TRACK,
        channel,
        where,
        text,
        SWEEP_AGAIN,
        numbers=numbers_of(there),
        unconfirmed=True,
    )


def ends_there(runs: list[Off], trace: Trace, channel: int, place: FloatArray | None) -> Finding:
    """A track that carries nothing beyond a place: the signal goes to a rail there each time."""
    rail = "the supply" if runs[0].high else "ground"
    source = trace.signal_a if channel == 0 or trace.signal_b is None else trace.signal_b
    before = [r.start - 2 for r in runs]
    level_v = float(np.median(source.mean_v[before]))
    text = (
        f"{CHANNEL_NAMES[channel]} goes to {rail} {len(runs)} times, each time from {level_v:z.2f} V while the lever "
        "moves: beyond that place the track carries nothing. Per cent of travel count what is seen of it"
    )
    at = None if place is None else float(np.clip(np.median(place[before]), 1.0, 99.0))
    step = "Sweep slowly across that place again. If it shows again and no wire is pulled there, replace the sensor."
    where = None if at is None else (at - 1.0, at + 1.0)
    numbers = {"n_events": float(len(runs)), "level_v": level_v}
    return Finding(Code.WORN_SPOT, Cause.TRACK, channel, where, text, step, numbers=numbers)
