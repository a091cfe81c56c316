"""A finished capture of a simulated sensor without firmware, link or clock: records straight from conversions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.link.messages import Records, SlowReading
from sweeprig.twin.reached import Reached, all_reached
from sweeprig.twin.scene import WINDOW_S, Disturbance
from sweeprig.twin.sensors import SensorSpec, load_sensor
from sweeprig.twin.sim_url import uid_of
from sweeprig.twin.world import World, WorldTruth
from sweeprig.words import Hookup, Starts

AT_ONCE = 500  # windows
READ_EVERY = 250  # windows from one set of slow readings to the next
CREATED = "2000-01-01T00:00:00+00:00"  # of no day: a simulated capture is the same whenever it is made


@dataclass(frozen=True)
class Played:
    """A capture, and the truth about its sensor."""

    capture: Capture
    truth: WorldTruth
    events: tuple[Disturbance, ...]  # that began inside the capture
    world: World
    outputs: int

    def reached(self) -> tuple[Reached, ...]:
        """Return how each event arrived at the converter."""
        return all_reached(self.world, self.events, self.outputs)


def outputs_of(world: World, hookup: str) -> int:
    """Return the switches as they stand during a capture: bias released; burden on where powered and fitted."""
    if hookup == Hookup.TAPPED:
        return int(wire.OUT_TAPPED)
    return int(wire.OUT_SUPPLY | (wire.OUT_BURDEN if world.front_end.burden_ohm else 0))


def hello_of(world: World, seed: int) -> dict[str, Any]:
    """Return the board's hello for a capture that no board made."""
    end, chip = world.front_end, world.settings.chip.partition("-")[0]
    return {
        "firmware": "none",
        "protocol": wire.PROTOCOL,
        "board": f"simulated {end.build} build",
        "chip": chip,
        "uid": uid_of(end.build, chip, seed),
        "build": end.build,
        "capabilities": list(end.capabilities),
        "hookups": list(end.hookups),
        "channels": wire.CHANNELS,
        "window": wire.WINDOW,
        "conversion_hz": wire.CONVERSION_HZ,
        "records_per_packet": wire.RECORDS_PER_PACKET,
        "reset_cause": "power on",
        "smps": "pwm",
        "simulated": True,
    }


def setup_of(spec: SensorSpec, *, seconds: float, hookup: str) -> SweepSetup:
    """Return the setup that an operator would give for this sensor before the sweep."""
    starts = {"closed": Starts.CLOSED, "open": Starts.OPEN}.get(spec.hand.starts, Starts.ANYWHERE)
    return SweepSetup(
        hookup=Hookup(hookup), starts=starts, profile=spec.profile, seconds=seconds, serial="SIMULATED"
    )


def records_of(world: World, n_windows: int, outputs: int) -> tuple[Records, tuple[SlowReading, ...]]:
    """Return the next windows as records, and slow readings now and then."""
    shape = (n_windows, wire.CHANNELS)
    sums, mins, maxs = np.empty(shape, np.uint32), np.empty(shape, np.uint16), np.empty(shape, np.uint16)
    slow: list[SlowReading] = []
    first = at = 0
    while at < n_windows:
        codes = world.channels(min(READ_EVERY, n_windows - at), outputs)
        part = slice(at, at + codes[0].shape[0])
        for channel, windows in enumerate(codes):
            sums[part, channel] = windows.sum(axis=1, dtype=np.uint32)
            mins[part, channel] = windows.min(axis=1)
            maxs[part, channel] = windows.max(axis=1)
        slow += [SlowReading(at, *reading) for reading in world.readings(outputs)]
        at = part.stop
    flags = np.full(n_windows, _flags(outputs), np.uint16)
    flags[0] |= wire.FLAG_SPLICE
    index = first + np.arange(n_windows, dtype=np.int64)
    position = np.full(n_windows, wire.NO_POSITION, np.uint16)
    return Records(index, sums, mins, maxs, position, flags), tuple(slow)


def _flags(outputs: int) -> int:
    flags = wire.FLAG_SUPPLY_ON if outputs & wire.OUT_SUPPLY else 0
    return int(flags | (wire.FLAG_BURDEN_ON if outputs & wire.OUT_BURDEN else 0))


def play(
    spec: SensorSpec | str,
    *,
    seed: int = 0,
    seconds: float = 5.0,
    hookup: str = "powered",
    setup: SweepSetup | None = None,
    pooled_noise: bool = True,
    **rig: Any,
) -> Played:
    """Make one sweep; `rig` goes to World (build, chip, rig_seed, usb_v, noise_lsb, hum_v, ...).

    HookupError where the build must not be used in this hookup.
    """
    spec = load_sensor(spec) if isinstance(spec, str) else spec
    world = World(spec, seed=seed, pooled_noise=pooled_noise, chunk=AT_ONCE, **rig)
    world.front_end.check_hookup(hookup)
    outputs = outputs_of(world, hookup)
    n = round(seconds / WINDOW_S)
    records, slow = records_of(world, n, outputs)
    capture = Capture(
        records=records,
        rig=hello_of(world, rig.get("rig_seed") or seed),
        setup=setup or setup_of(spec, seconds=seconds, hookup=hookup),
        created=CREATED,
        window=wire.WINDOW,
        conversion_hz=float(wire.CONVERSION_HZ),
        slow=slow,
    )
    events = tuple(e for e in world.scene.events if e.start_s < n * WINDOW_S)
    return Played(capture, world.truth(outputs), events, world, outputs)


def capture_of(
    spec: SensorSpec | str, *, seed: int = 0, seconds: float = 5.0, hookup: str = "powered", **more: Any
) -> Capture:
    """Return the capture alone; see `play`."""
    return play(spec, seed=seed, seconds=seconds, hookup=hookup, **more).capture


__all__ = ["Played", "capture_of", "play"]
