"""Wiring and supply: loose contacts, shorts, dropouts, disturbances."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S
from population.scene import Event, Scene
from population.sensor import Short
from population.waves import Bursts, Dips, Knots

Array = NDArray[np.float64]


def times_in(scene: Scene, mask: NDArray[np.bool_], count: int) -> Array:
    """Random times inside a mask on the grid, sorted."""
    at = np.flatnonzero(mask)
    if not len(at):
        return np.zeros(0)
    return np.sort(scene.rng.choice(at, count) * GRID_S + scene.rng.uniform(0, GRID_S, count))


def moving(scene: Scene, least: float = 0.1) -> NDArray[np.bool_]:
    """Grid samples in which the shaft moves (speed in spans a second)."""
    return np.asarray(np.abs(np.gradient(scene.shaft, GRID_S)) > least)


def spread(scene: Scene, count: int) -> Array:
    """Times over the whole record; places differ from each other by chance only."""
    return times_in(scene, np.ones(len(scene.hand.x), dtype=bool), count)


def bursts(scene: Scene, mask: NDArray[np.bool_], groups: int) -> Array:
    """Groups of times close together."""
    first = times_in(scene, mask, groups)
    parts = [at + np.cumsum(scene.rng.exponential(0.008, int(scene.rng.integers(4, 15)))) for at in first]
    times = np.sort(np.concatenate(parts)) if parts else np.zeros(0)
    return np.asarray(times[times < scene.hand.duration_s - 0.001])


def _target(scene: Scene, wire: str) -> tuple[str, float, float, float]:
    """Channels, keep, pull, time constant of an open wire."""
    both = "AB" if scene.two else "A"
    tau = scene.open_tau_s
    if wire == "supply":
        return both, 0.0, 0.0, tau if scene.sensor.form == "pot" else 4e-4
    if wire == "ground":
        r = scene.sensor.r_ohm if scene.sensor.form == "pot" else 2000.0
        return both, 0.0, scene.burden_ohm / (scene.burden_ohm + r), r * scene.sensor.cable_f + 1e-6
    return ("B" if wire == "signal-b" else "A"), 0.0, 0.0, tau


def dropouts(
    scene: Scene, wire: str, times: Array, length_s: tuple[float, float], cause: str | None = None
) -> None:
    """Open a wire at the given times. signal: burden pulls low; supply: both low; ground: both high."""
    channels, keep, pull, tau = _target(scene, wire)
    low, high = np.log(length_s[0]), np.log(length_s[1])
    events = [
        Event(float(t), float(t + np.exp(scene.rng.uniform(low, high))), channels, keep, pull, tau)
        for t in times
    ]
    scene.add_events(events, cause=cause or f"loose-{wire}", seat="wiring")
    if scene.must_not is None:
        scene.must_not = ("sound", "worn")


def unplug(scene: Scene, wire: str, at_s: float, back_s: float | None = None) -> None:
    """Open a wire at a time: for good, or until it is plugged in again."""
    channels, keep, pull, tau = _target(scene, wire)
    end = scene.hand.duration_s + 1.0 if back_s is None else back_s
    scene.events.append(Event(at_s, end, channels, keep, pull, tau))
    scene.add_fault("unplugged", "wiring", channels, None, 0.0, min(end, scene.hand.duration_s) - at_s)
    scene.must_not = ("sound", "worn")
    scene.notes.append(
        f"The {wire} wire is open from {at_s:.2f} s. Counts of rests and strokes are the hand's."
    )


def short(scene: Scene, rail: str, ohm: float, *, from_s: float = 0.0, channel: str = "A") -> None:
    """A lasting short of an output to a rail through a resistance, from a time on."""
    if ohm < 20.0 and from_s <= 0.0:
        scene.profiles.pop(channel, None)
    siemens = np.where(scene.grid_s >= from_s, 1.0 / max(ohm, 0.05), 0.0)
    scene.shorts[channel] = Short(1.0 if rail == "supply" else 0.0, siemens)
    scene.changed()
    scene.add_fault(f"short-to-{rail}", "wiring", channel, None, 0.0, scene.hand.duration_s - from_s)


def brief_shorts(scene: Scene, rail: str, times: Array, length_s: tuple[float, float], ohm: float) -> None:
    """Shorts at random times."""
    r = scene.sensor.mean_source_ohm
    own = ohm / (ohm + r)
    pull = (1 - own) if rail == "supply" else 0.0
    events = [Event(float(t), float(t + scene.rng.uniform(*length_s)), "A", own, pull, 1e-6) for t in times]
    scene.add_events(events, cause=f"short-to-{rail}", seat="wiring")
    scene.must_not = ("sound", "worn")


def sag(scene: Scene, depth_v: float, count: int, length_s: tuple[float, float]) -> None:
    """The supply gives way for a while; a ratiometric output follows."""
    t, v = [0.0], [0.0]
    for at in spread(scene, count):
        if at > t[-1] + 0.1:
            end = at + scene.rng.uniform(*length_s)
            t += [at, at + 0.03, end, end + 0.05]
            v += [0.0, -depth_v, -depth_v * 0.9, 0.0]
    scene.waves.append(Knots("V", np.array(t), np.array(v)))
    scene.add_fault("supply-sag", "supply", "S", None, depth_v, float(np.mean(length_s)))
    scene.must_not = ("sound", "worn")


def supply_dropouts(scene: Scene, count: int, length_s: tuple[float, float]) -> None:
    """The supply is gone for moments: S and the outputs fall together."""
    lengths = scene.rng.uniform(*length_s, count)
    fall = 1e-4 if scene.sensor.form == "pot" else 5e-4
    scene.waves.append(Dips("V", spread(scene, count), lengths, scene.supply_v, fall, 3e-5))
    scene.add_fault("supply-dropout", "supply", "S", None, scene.supply_v, float(np.median(lengths)))
    scene.must_not = ("sound", "worn")


def ringing(scene: Scene, targets: str, times: Array, peak_v: float, ring_hz: float, decay_s: float) -> None:
    """Ringing bursts from outside."""
    sizes = peak_v * scene.rng.uniform(0.5, 1.0, len(times)) * scene.rng.choice([-1.0, 1.0], len(times))
    scene.waves.append(Bursts(targets, times, sizes, ring_hz, decay_s))
    disturbance(scene, peak_v, decay_s)


def disturbance(scene: Scene, peak_v: float, length_s: float = 0.0, channel: str = "A") -> None:
    """Write down an interference; a weak one may stay undecided."""
    scene.add_fault("interference", "surroundings", channel, None, peak_v, length_s)
    scene.must_not = ("worn",) if peak_v < 0.1 else ("sound", "worn")
    scene.undecided = scene.undecided or peak_v < 0.1
