"""The connection test with a rig: what is switched and measured, in which order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sweepboard import wire
from sweeprig.analysis.channel_events import events_of
from sweeprig.analysis.not_analogue import toggles
from sweeprig.analysis.wiggle import together
from sweeprig.bench.connection.diagnose import diagnose, signal_b
from sweeprig.bench.connection.model import ConnectionTest, Position, far_level, reach_line
from sweeprig.bench.hookup.prepare import wait_until_dead
from sweeprig.bench.hookup.rules import check_dead, check_released, tapped_lines
from sweeprig.bench.readings import live
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Levels, RigVolts
from sweeprig.bench.session import Session
from sweeprig.capture.model import Channel, Trace
from sweeprig.judge.profile import Profile
from sweeprig.link.messages import Message, Records
from sweeprig.words import Hookup

LOOK_S = 0.2
LEAST_RECORDS = 100
STEP_S = 0.25  # [s] of stream between two looks while the lever is moved
STEADY_V = 0.02  # of the supply: a lever at rest moves the signal less than this from look to look


@dataclass(frozen=True)
class ConnectionTested:
    """Result of the connection test of all tracks, with the lines shown on the way."""

    checks: dict[str, ConnectionTest]
    lines: tuple[str, ...]
    reach: str
    n_dropouts: int = 0  # seen while the lever was moved

    @property
    def verdict(self) -> str:
        """The worst of all tracks: fault, undecided or connected."""
        order = ("fault", "undecided", "connected")
        return next(v for v in order if any(c.verdict == v for c in self.checks.values()))


def run_check(
    s: Session, *, move_s: float, progress: Callable[[float, Levels], None] = lambda _s, _seen: None
) -> ConnectionTested:
    """Measure the sensor with the lever at closed, then while it is moved to open and held; all off in the end.

    The session has not powered the sensor yet. `move_s` is the longest time given for the movement [s].
    Raises HookupError, LinkError.
    """
    hookup = s.setup.hookup
    with live.streaming(s.client, hookup):
        lines, closed = _tapped_closed(s.volts) if hookup == Hookup.TAPPED else _powered_closed(s)
        for line in lines:
            s.ask.say(line)
        s.ask.say("Now move the lever slowly to OPEN throttle and hold it there.")
        opened, moved = _opened(s, closed, move_s, progress)
    s.off()
    way = _way(s.volts, moved)
    checks, kinds = _judged(s, closed, opened, way)
    n = 0 if way is None or any(kinds) else _dropouts(way, s.profile)
    return ConnectionTested(checks, (*s.setup.prepared, *lines), reach_line(s.volts.front_end, hookup), n)


def _judged(
    s: Session, closed: Position, opened: Position, way: Trace | None
) -> tuple[dict[str, ConnectionTest], list[str]]:
    """Return the result for each track, and for each signal "pwm", "levels" or "" (a position)."""
    supply = closed.on.supply_v or s.profile.supply.nominal_v
    kinds = ["", ""] if way is None else [_toggles(way, c, supply) for c in (way.signal_a, way.signal_b)]
    judged = partial(diagnose, end=s.volts.front_end, profile=s.profile, given_sense=s.setup.sense)
    checks = {"signal A": judged(closed, opened, track="signal A", toggles=kinds[0])}
    if s.profile.sensor.tracks > 1:
        b, b_open = signal_b(closed), signal_b(opened)
        if b is not None and b_open is not None:
            checks["signal B"] = judged(b, b_open, track="signal B", toggles=kinds[1])
    return checks, kinds


def _way(volts: RigVolts, messages: list[Message]) -> Trace | None:
    """The signals while the lever was moved; None where too little came."""
    records = Records.concatenate([m for m in messages if isinstance(m, Records)])
    return None if len(records) < LEAST_RECORDS else volts.trace(records)


def _toggles(way: Trace, channel: Channel | None, supply_v: float) -> str:
    """'pwm', 'levels' or ''. Levels that change only where records were lost may be a lever that was moved there."""
    kind = "" if channel is None else toggles(channel, supply_v=supply_v)
    if channel is None or kind != "levels":
        return kind
    span = float(np.ptp(channel.mean_v))
    edges = np.flatnonzero(np.abs(np.diff(channel.mean_v)) > span / 2) + 1
    return kind if edges.size and not way.gap_before[edges].any() else ""


def _dropouts(way: Trace, profile: Profile) -> int:
    """Dropouts while the lever was moved, deep enough for the profile; coinciding channels count once."""
    least = profile.limits.dropout.value
    found = [e for e in events_of(way) if e.kind != "jump" and e.depth_percent >= least]
    return len(together(found))


def _tapped_closed(volts: RigVolts) -> tuple[tuple[str, ...], Position]:
    seen = live.levels_now(volts, seconds=0.5)
    return (check_released(seen), *tapped_lines(seen)), Position(seen)


def _powered_closed(s: Session) -> tuple[tuple[str, ...], Position]:
    """Measure without power, then with: burden on, burden off, bias up; an overload switches off at once."""
    nothing = wait_until_dead(s.volts)
    dead = check_dead(nothing)
    s.power_on()
    if live.has(s.client, "monitor"):
        live.switch(s.client, "slow", every_ms=50)
    seen = live.levels_now(s.volts, seconds=LOOK_S, settle_s=limit("first_power.settle_s"))
    place = Position(seen) if seen.overloaded else replace(_with_bias(s, seen), zero_v=nothing.signal_v)
    if s.power.overloaded is not None:
        place = Position(
            replace(seen, supply_v=s.power.overloaded.supply_v, flags_any=wire.FLAG_SUPPLY_FAULT)
        )
    if not place.on.overloaded:
        return (dead,), place
    live.release(s.client)
    return (dead, "The supply is overloaded at closed throttle and is switched off."), place


def _with_bias(s: Session, seen: Levels) -> Position:
    client = s.client
    if not live.has(client, "burden") and not live.has(client, "bias"):
        return Position(seen)
    live.switch(client, "burden", on=False)
    bare = live.levels(s.volts, s.collect(seconds=LOOK_S))
    up = None
    if live.has(client, "bias"):
        live.switch(client, "bias", mode="up")
        up = live.levels(s.volts, s.collect(seconds=LOOK_S))
        live.switch(client, "bias", mode="off")
    live.switch(client, "burden", on=True)
    return Position(seen, bare, up)


def _opened(
    s: Session, closed: Position, move_s: float, progress: Callable[[float, Levels], None]
) -> tuple[Position, list[Message]]:
    """Measure while the lever is moved, until it stands still far from closed or time is up."""
    if s.setup.hookup == Hookup.POWERED and closed.on.overloaded:
        live.collect(s.client, seconds=move_s)
        s.power_on()
        return Position(live.levels_now(s.volts, seconds=LOOK_S, settle_s=limit("first_power.settle_s"))), []
    kept: list[Message] = []
    before = closed.on.signal_v
    settle = 0.1
    for step in range(max(1, round(move_s / STEP_S))):
        fresh = s.collect(seconds=STEP_S, settle_s=settle)
        kept, settle = kept + fresh, 0.0
        seen = live.levels(s.volts, fresh)
        progress((step + 1) * STEP_S, seen)
        if seen.overloaded:
            live.release(s.client)
            at = s.power.overloaded
            return Position(seen if at is None else replace(seen, supply_v=at.supply_v)), []
        if _has_arrived(seen, before, closed.on):
            break
        before = seen.signal_v
    return Position(_far(s.volts, kept, closed.on)), kept


def _has_arrived(seen: Levels, before_v: float, closed: Levels) -> bool:
    supply = seen.supply_v or closed.supply_v or 5.0
    far = abs(seen.signal_v - closed.signal_v) > 3 * limit("check.follows_percent") / 100 * supply
    return far and abs(seen.signal_v - before_v) < STEADY_V * supply


def _far(volts: RigVolts, messages: list[Message], closed: Levels) -> Levels:
    """Levels at the place farthest from closed, flags of the whole way."""
    whole = live.levels(volts, messages)
    records = Records.concatenate([m for m in messages if isinstance(m, Records)])
    a, b = (volts.channel(records, number).mean_v for number in (0, 1))
    window_s = volts.client.window_s
    return replace(
        whole,
        signal_v=far_level(a, from_v=closed.signal_v, window_s=window_s),
        signal_b_v=far_level(b, from_v=closed.signal_b_v or 0.0, window_s=window_s),
    )
