"""Events of a channel: of which channel, when, how deep, what they touched, and whether the supply moved too."""

from __future__ import annotations

import numpy as np

from sweepboard.wire import SIGNAL_A, SIGNAL_B, SUPPLY
from sweeprig.analysis import events as ev
from sweeprig.analysis.by_supply import is_made_by
from sweeprig.analysis.model import Event
from sweeprig.analysis.stretches import stretches
from sweeprig.capture.model import BoolArray, Channel, Trace
from sweeprig.capture.resolution import resolution

COARSEST_PERCENT = 2.5  # % of the supply: a larger step is no resolution; own choice, no source
STEPS = 1.5  # of the resolution of a supply: less than two of its steps are no event


def raw_of(channel: Channel | None, trace: Trace, scale_v: float) -> tuple[ev.RawEvent, ...]:
    """Return the events of one channel of a trace, in windows; none where it was not observed."""
    if channel is None:
        return ()
    parts = stretches(trace.gap_before)
    return ev.find(channel, window_s=trace.window_s, lsb_v=trace.lsb_v, supply_v=scale_v, parts=parts)


def supply_raw(trace: Trace, rail: float) -> tuple[ev.RawEvent, ...]:
    """Return the events of the supply channel, where it was observed; half as sensitive as for a signal.

    One step of the resolution that single readings of it are written in is none.
    """
    scale_v = 2 * rail
    if trace.supply is not None and trace.single:
        step_v = min(resolution(trace.supply.mean_v), COARSEST_PERCENT / 100 * rail)
        scale_v = max(scale_v, STEPS * step_v * 100 / ev.FLOOR_PERCENT)
    return raw_of(trace.supply, trace, scale_v)


def channel_events(
    raw: tuple[ev.RawEvent, ...], trace: Trace, *, rail: float, channel: int, supply: tuple[ev.RawEvent, ...]
) -> tuple[Event, ...]:
    """Return events at no place of a track, with whether the supply moved too (within one window)."""
    taken = np.zeros(trace.t_s.size, dtype=bool)
    for s in supply:
        taken[max(0, s.start - 1) : s.stop + 1] = True
    for e in raw if channel != SUPPLY else ():
        if is_made_by(trace.supply, e):
            taken[e.start : e.stop] = True
    return tuple(_event(e, trace, rail=rail, channel=channel, taken=taken) for e in raw)


def events_of(trace: Trace) -> list[Event]:
    """Return the events of all channels of a stretch of trace, whatever the lever does."""
    nominal = trace.nominal_supply_v
    rail = nominal if trace.supply is None else float(np.median(trace.supply.mean_v))
    rail = rail if rail > nominal / 2 else nominal
    supply = supply_raw(trace, rail)
    out = list(channel_events(supply, trace, rail=rail, channel=SUPPLY, supply=()))
    for number, channel in ((SIGNAL_A, trace.signal_a), (SIGNAL_B, trace.signal_b)):
        out += channel_events(raw_of(channel, trace, rail), trace, rail=rail, channel=number, supply=supply)
    return out


def _event(e: ev.RawEvent, trace: Trace, *, rail: float, channel: int, taken: BoolArray) -> Event:
    return Event(
        start_s=float(trace.t_s[e.start]),
        duration_s=e.duration_s,
        channel=channel,
        kind=_kind(e, rail),
        depth_percent=100 * abs(e.depth_v) / rail,
        at_percent=None,
        stroke=None,
        at_rest=True,
        with_supply=channel == SUPPLY or bool(taken[e.start : e.stop].any()),
        score=e.score,
        end_s=float(trace.t_s[min(e.stop, trace.t_s.size) - 1]) + trace.window_s,
        upward=e.depth_v > 0,
        both_ways=e.both_ways,
        path_v=e.path_v,
        extreme_v=e.extreme_v,
    )


def _kind(e: ev.RawEvent, rail: float) -> str:
    if e.step:
        return "jump"
    if e.extreme_v < 0.05 * rail:
        return "to-ground"
    return "to-supply" if e.extreme_v > 0.95 * rail else "partial"
