"""An end at which the signal is noisier at rest than at the other: a contact worn where the lever rests. Own."""

from __future__ import annotations

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.grain import ranges_at_rest
from sweeprig.analysis.model import Cause, Code, Finding, Rest, Span
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.capture.model import Channel, Trace

HOLD_THERE = (
    "Hold the lever at that end and move plug and harness by hand. Where the noise changes with that, clean or replace "
    "the contact; where it stays, replace the sensor."
)
TIMES = 3.0  # the range of a window at the other end
MORE_PERCENT = 0.3  # % of supply above it
OF_SUPPLY = 2.0  # times the range of the supply: ripple is at most that of the supply
CODES = 10.0  # of the data's resolution
FEWEST_VISITS = 2
SHARE = 0.7  # of the rests there


def find_noisy_ends(
    trace: Trace, moves: tuple[Moves, ...], found: list[Finding], *, supply_v: float
) -> list[Finding]:
    """Return a doubt for each signal that is noisier at one end, where nothing else is said of that end."""
    if trace.window_s > SLOWEST_S or any(f.code is Code.INTERFERENCE for f in found):
        return []
    out = []
    for channel, source in enumerate((trace.signal_a, trace.signal_b)[: len(moves)]):
        one = None if source is None else _noisy(trace, source, moves[0], channel, supply_v=supply_v)
        out += [] if one is None or any(_said(f, one) for f in found) else [one]
    return out


def _said(f: Finding, one: Finding) -> bool:
    """Whether a finding of the track is at that end, or all over it."""
    if f.channel != one.channel or f.cause is not Cause.TRACK or one.where_percent is None:
        return False
    own = f.where_percent
    return own is None or (own[0] <= one.where_percent[1] + 1 and own[1] >= one.where_percent[0] - 1)


def _noisy(trace: Trace, channel: Channel, a: Moves, number: int, *, supply_v: float) -> Finding | None:
    rest = ranges_at_rest(channel, a.rests)
    if set(rest) != {"low", "high"}:
        return None
    place = max(rest, key=lambda k: rest[k])
    least_v = _least(trace, min(rest.values()), low=place == "low", supply_v=supply_v)
    there = tuple(r for r in a.rests if r.place == place)
    spread = [float(np.median((channel.max_v - channel.min_v)[r.start : r.stop])) for r in there]
    noisy = sum(v >= least_v for v in spread)
    if rest[place] < least_v or noisy < max(FEWEST_VISITS, SHARE * len(spread)):
        return None
    text = (
        f"{CHANNEL_NAMES[number]} is noisy at rest at one end: single readings of one window lie "
        f"{rest[place] * 1e3:z.0f} mV apart in {noisy} of {len(spread)} rests, {min(rest.values()) * 1e3:z.1f} mV at "
        "the other end: a track worn at its end, or plug and harness that move with the lever there"
    )
    numbers = {"range_v": rest[place], "rest_v": min(rest.values())}
    return Finding(
        Code.WORN_SPOT,
        Cause.TRACK,
        number,
        _where(a, there),
        text,
        HOLD_THERE,
        "doubt",
        numbers,
        or_contact=True,
    )


def _least(trace: Trace, quiet_v: float, *, low: bool, supply_v: float) -> float:
    """Return the range from which an end is noisy [V]; without a supply ripple may make all of it at the high end."""
    least = max(TIMES * quiet_v, quiet_v + MORE_PERCENT / 100 * supply_v, CODES * trace.lsb_v)
    if trace.supply is None:
        return least if low else float("inf")
    return max(least, OF_SUPPLY * float(np.median(trace.supply.max_v - trace.supply.min_v)))


def _where(a: Moves, there: tuple[Rest, ...]) -> Span:
    at = float(np.median(np.concatenate([a.place[r.start : r.stop] for r in there])))
    return (0.0, 1.0) if at < 50 else (99.0, 100.0)
