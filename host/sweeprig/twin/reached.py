"""How an event arrives at the converter, by the circuit's equations, for tests and benchmarks to check against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweepboard import wire
from sweeprig.twin.circuit import modes, settled
from sweeprig.twin.render import Source, changed
from sweeprig.twin.scene import KNOT_S, Disturbance
from sweeprig.twin.sources import sources
from sweeprig.twin.world import World

N_TIMES = 400
AFTER_S = 400e-6  # long enough for every build's recovery


@dataclass(frozen=True)
class Reached:
    """One event of one channel, as the circuit passes it on."""

    event: Disturbance
    travel: float  # place of the lever when it began, share of travel
    signal_v: float  # at the sensor, before it
    depth_v: float  # largest departure at the pin, as volts at the sensor
    supply_v: float
    half_s: float  # how long at least half of the signal is lost at the pin, either way

    @property
    def depth_percent(self) -> float:
        """Departure in per cent of the supply at the sensor."""
        return 100.0 * self.depth_v / self.supply_v if self.supply_v else 0.0

    @property
    def duration_s(self) -> float:
        """Length at the sensor [s]."""
        return self.event.stop_s - self.event.start_s


def reached(world: World, event: Disturbance, outputs: int) -> Reached:
    """Return how one event arrives at the pin. The lever is taken as still meanwhile."""
    places = world.scene.places
    at = min(max(0, int(event.start_s / KNOT_S)), places.size - 1)
    c, given = event.channel, sources(world, world.scene.still(places[at : at + 1]), outputs)
    net, normal = world.networks(outputs)[c], given.normal[c]
    there = changed(net, normal, given.other[c], event)
    before, during = (_state(world, c, outputs, s) for s in (normal, there))
    length = event.stop_s - event.start_s
    t_in, t_after = np.linspace(0.0, length, N_TIMES), np.linspace(0.0, AFTER_S, N_TIMES)
    inside = modes(net, float(there.g_s[0]))
    departed = during[2] - before[2] + inside.pin(before - during, t_in)
    left = during - before + inside.after(before - during, length)
    back = modes(net, float(normal.g_s[0])).pin(left, t_after)
    half = abs(before[2]) / 2.0
    half_s = np.count_nonzero(np.abs(departed) >= half) * length / N_TIMES
    half_s += np.count_nonzero(np.abs(back) >= half) * AFTER_S / N_TIMES
    deepest = max(np.abs(departed).max(), np.abs(back).max())
    return Reached(
        event=event,
        travel=float(places[at]),
        signal_v=float(before[0]),
        depth_v=float(deepest) / world.board.ratio(c),
        supply_v=world.supply_v(outputs) - world.ground_drop_v(outputs),
        half_s=float(half_s) if half else 0.0,
    )


def _state(
    world: World, channel: int, outputs: int, source: Source
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    wiper, node = settled(world.networks(outputs)[channel], source.e_v, source.g_s)
    return np.array([wiper[0], node[0], node[0]])


def all_reached(world: World, events: tuple[Disturbance, ...], outputs: int) -> tuple[Reached, ...]:
    """Return how every event arrived, without the channels that carry no signal."""
    used = {0, wire.CHANNELS - 1} | ({1} if world.spec.two_tracks else set())
    return tuple(reached(world, e, outputs) for e in events if e.channel in used)
