"""Wear on the track: lifts at a place, dips, rough regions, flat spots, steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S, Fault
from population.scene import Event, Scene
from population.sensor import PROFILE_POINTS, profile_places
from population.waves import GridNoise

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pass:
    """One pass of the shaft over a place."""

    at_s: float
    speed: float
    direction: int


def passes(u: Array, place: float, gap: float) -> list[Pass]:
    """Passes from beyond one edge of the place to beyond the other."""
    side = np.where(u > place + gap, 1, np.where(u < place - gap, -1, 0))
    far = np.flatnonzero(side)
    turns = np.flatnonzero(np.diff(side[far]))
    found = []
    for k in turns:
        i, j = int(far[k]), int(far[k + 1])
        part = u[i : j + 1] - place
        cross = i + int(np.argmax(np.sign(part) != np.sign(part[0])))
        f = (place - u[cross - 1]) / (u[cross] - u[cross - 1]) if u[cross] != u[cross - 1] else 0.0
        lo, hi = max(0, cross - 6), min(len(u) - 1, cross + 6)
        speed = abs(u[hi] - u[lo]) / ((hi - lo) * GRID_S)
        found.append(Pass((cross - 1 + f) * GRID_S, max(float(speed), 1e-3), int(np.sign(u[j] - u[i]))))
    return found


@dataclass(frozen=True)
class Spot:
    """A worn spot: where, how wide, how long the wiper lifts, what is left of the signal."""

    place: float
    width: float = 0.006
    lift_s: tuple[float, float] = (0.001, 0.06)
    left: float = 0.0
    share: float = 1.0
    floats: bool = False
    micro: bool = False
    chatter: bool = False
    direction: int = 0
    channels: str = "A"


def _pieces(scene: Scene, spot: Spot, p: Pass) -> list[tuple[float, float]]:
    """Times of the lifts in one pass."""
    rng = scene.rng
    dwell = spot.width / p.speed
    if spot.micro:
        count = int(rng.integers(1, 4))
        starts = p.at_s + np.sort(rng.uniform(-0.5, 0.5, count)) * min(dwell, 0.05)
        return [(float(s), float(s + rng.uniform(*spot.lift_s))) for s in starts]
    length = float(np.clip(dwell * rng.uniform(0.6, 1.0), *spot.lift_s))
    start = p.at_s - length / 2
    if not spot.chatter:
        return [(start, start + length)]
    cuts = np.sort(rng.uniform(0, length, 2 * int(rng.integers(2, 5)) + 1))
    bounds = start + np.concatenate(([0.0], cuts))
    return [(float(a), float(b)) for a, b in zip(bounds[::2], bounds[1::2], strict=True) if b - a > 2e-5]


def wear(scene: Scene, spot: Spot, cause: str = "worn-spot") -> None:
    """Lift the wiper at a place: in a share of the passes."""
    rng = scene.rng
    found = passes(scene.shaft, spot.place, spot.width / 2)
    hit = [p for p in found if spot.direction in (0, p.direction) and rng.uniform() < spot.share]
    tau = float(rng.uniform(0.3, 2.0)) if spot.floats else scene.open_tau_s
    events = [
        Event(a, b, spot.channels, keep=spot.left * rng.uniform(0.85, 1.0), tau_s=tau)
        for p in hit
        for a, b in _pieces(scene, spot, p)
    ]
    share = len(hit) / len(found) if found else 0.0
    scene.add_events(events, cause=cause, seat="sensor", place=spot.place, share=share)
    if spot.floats:
        scene.notes.append("The lifted wiper floats: the input keeps its voltage.")


def lift_at_rest(scene: Scene, stop: int, share: float) -> None:
    """The wiper loses contact for a while during rests on a stop (wear right at the stop)."""
    rng, events = scene.rng, []
    label = scene.hand.label
    edges = np.flatnonzero(np.diff((label == (-1 if stop == 0 else 1)).astype(int), prepend=0, append=0))
    for i, j in zip(edges[::2], edges[1::2], strict=True):
        if (j - i) * GRID_S > 0.15 and rng.uniform() < share:
            for _ in range(int(rng.integers(1, 4))):
                at = rng.uniform(i * GRID_S + 0.02, j * GRID_S - 0.07)
                events.append(Event(at, at + rng.uniform(0.002, 0.04), "A", tau_s=scene.open_tau_s))
    scene.add_events(events, cause="worn-spot", seat="sensor", place=float(stop), share=share)


def _fixed(scene: Scene, cause: str, channel: str, place: float, width: float, depth_v: float) -> None:
    """Write down a fault that is fixed to its place: every pass shows it, if it is deep enough."""
    n = len(passes(scene.shaft, place, width / 2))
    shown = n if depth_v >= 0.75 * scene.least_visible_v() else 0
    depth = depth_v / scene.supply_v * 100
    scene.faults.append(Fault(cause, "sensor", channel, place, 1.0, depth, 0.0, n, shown))


def dip(scene: Scene, place: float, depth_v: float, width: float, channel: str = "A") -> None:
    """A place where the track reads a few millivolts low, always the same."""
    shape = np.exp(-0.5 * ((profile_places() - place) / (width / 2.35)) ** 2)
    old = scene.profiles.get(channel, np.zeros(PROFILE_POINTS))
    scene.profiles[channel] = old - depth_v * shape
    _fixed(scene, "dip", channel, place, width, depth_v)


def rough(scene: Scene, place: float, width: float, rms_v: float, channel: str = "A") -> None:
    """A rough region: noise that is partly fixed to the place, partly random while the wiper moves."""
    rng, u = scene.rng, scene.shaft
    where = profile_places()
    inside = np.abs(where - place) < width / 2
    fixed = np.convolve(rng.standard_normal(PROFILE_POINTS), np.ones(12) / np.sqrt(12), mode="same")
    old = scene.profiles.get(channel, np.zeros(PROFILE_POINTS))
    scene.profiles[channel] = old + fixed * inside * rms_v * 0.6
    speed = np.abs(np.gradient(u, GRID_S))
    sigma = rms_v * 0.8 * (np.abs(u - place) < width / 2) * np.minimum(1.0, speed / 0.05)
    scene.waves.append(GridNoise(channel, sigma))
    _fixed(scene, "rough-track", channel, place, min(width, 0.8), rms_v)


def flat(scene: Scene, place: float, width: float, channel: str = "A") -> None:
    """A flat spot: over a width the output stands still; then it catches up over a short way."""
    low, high, catch = place - width / 2, place + width / 2, width * 0.15

    def edit(u: Array, ratio: Array) -> Array:
        order = np.argsort(u)
        at_low = float(np.interp(low, u[order], ratio[order]))
        at_end = float(np.interp(high + catch, u[order], ratio[order]))
        out = np.where((u >= low) & (u <= high), at_low, ratio)
        late = (u > high) & (u < high + catch)
        return np.where(late, at_low + (at_end - at_low) * (u - high) / catch, out)

    scene.edits[channel].append(edit)
    scene.changed()
    span = abs(scene.sensor.tracks[0].open - scene.sensor.tracks[0].closed) * scene.supply_v
    _fixed(scene, "flat-spot", channel, place, width, width * span)


def step(scene: Scene, place: float, size_v: float, channel: str = "A") -> None:
    """A step: beyond the place the track reads another voltage by a fixed amount, fading to the open stop."""

    def edit(u: Array, ratio: Array) -> Array:
        fade = np.clip((1 - u) / (1 - place), 0, 1)
        return ratio - size_v / scene.supply_v * fade / (1 + np.exp(-np.clip((u - place) / 0.0005, -60, 60)))

    scene.edits[channel].append(edit)
    scene.changed()
    _fixed(scene, "step", channel, place, 0.002, abs(size_v))
