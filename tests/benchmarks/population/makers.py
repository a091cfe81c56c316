"""Makers of scenes: sensors, rigs, loggers with ordinary spread."""

from __future__ import annotations

import numpy as np

from population.converter import draw_converter
from population.hands import hand
from population.scene import Logger, Rig, Scene
from population.script import Hand
from population.sensor import Sensor, TrackSpec, texture

Rng = np.random.Generator
STEPS: dict[str, tuple[float, int, float]] = {
    "8": (5 / 256, 4, 5 * 255 / 256),
    "10": (5 / 1024, 4, 5 * 1023 / 1024),
    "12": (5 / 4096, 4, 5 * 4095 / 4096),
    "16": (5 / 65536, 5, 5 * 65535 / 65536),
    "1mV": (0.001, 3, 1e6),
    "10mV": (0.01, 2, 1e6),
}


def between(rng: Rng, low: float, high: float) -> float:
    """A number between two limits."""
    return float(rng.uniform(low, high))


def _pick(rng: Rng, given: str | None, words: tuple[str, ...], p: tuple[float, ...]) -> str:
    return str(rng.choice(words, p=p)) if given is None else given


def second_track(rng: Rng, first: TrackSpec, relation: str) -> TrackSpec:
    """The second track of a sound sensor with two tracks."""
    bow = rng.uniform(-0.002, 0.002)
    if relation == "half":
        return TrackSpec(first.closed / 2, first.open / 2, bow)
    if relation == "opposed":
        return TrackSpec(1 - first.closed + rng.uniform(-0.004, 0.004), 1 - first.open, bow)
    if relation == "offset":
        shift = rng.uniform(0.03, 0.045) * (-1 if first.open > 0.86 else 1)
        return TrackSpec(first.closed + shift, first.open + shift, bow)
    if relation == "ratio-0.97":
        return TrackSpec(first.closed * 0.97, first.open * 0.97, first.bow)
    if relation == "30-mV":
        return TrackSpec(first.closed + 0.006, first.open + 0.006, first.bow)
    return TrackSpec(first.closed, first.open, first.bow)


def sensor(
    rng: Rng,
    *,
    form: str | None = None,
    r_ohm: float | None = None,
    relation: str = "one",
    falling: bool = False,
    closed: float | None = None,
    opened: float | None = None,
    bow: float | None = None,
    texture_v: float | None = None,
) -> Sensor:
    """A sound sensor; closed and opened are volts at 5 V without load."""
    form = _pick(rng, form, ("pot", "hall"), (0.75, 0.25))
    low = float(rng.uniform(0.43, 0.495)) if closed is None else closed
    high = float(rng.uniform(4.2, 4.68)) if opened is None else opened
    curve = float(rng.uniform(-0.004, 0.004)) if bow is None else bow
    first = TrackSpec(high / 5, low / 5, curve) if falling else TrackSpec(low / 5, high / 5, curve)
    tracks = (first,) if relation == "one" else (first, second_track(rng, first, relation))
    ohm = float(rng.choice([1000.0, 2500.0, 5000.0, 10000.0])) if r_ohm is None else r_ohm
    fine = float(rng.uniform(0.0002, 0.0012)) if texture_v is None else texture_v
    return Sensor(
        form, ohm, tracks, relation, 0.0 if form == "hall" else fine, float(rng.uniform(0.1e-9, 0.6e-9))
    )


def rig(
    rng: Rng,
    part: Sensor,
    *,
    chip: str | None = None,
    build: str | None = None,
    hookup: str | None = None,
    noise_lsb: float | None = None,
    mismatch: float = 0.0,
) -> Rig:
    """A board: chip, build, time constants."""
    chip = _pick(rng, chip, ("rp2040", "rp2350"), (0.5, 0.5))
    build = _pick(rng, build, ("full", "plain"), (0.65, 0.35))
    hookup = _pick(rng, hookup, ("powered", "tapped"), (0.6, 0.4))
    if build == "full":
        base = 13.3e-6
    else:
        top = 10e3 + part.mean_source_ohm
        base = top * 15e3 / (top + 15e3) * 2.2e-9
    cable = part.mean_source_ohm * part.cable_f
    taus = [base * rng.uniform(0.95, 1.05) + (cable if i < 2 else 0.0) for i in range(3)]
    divider = [0.6 * (1 + mismatch * rng.uniform(-1, 1)) for _ in range(3)]
    return Rig(
        chip,
        build,
        hookup,
        draw_converter(rng, chip, noise_lsb),
        (taus[0], taus[1], taus[2]),
        (divider[0], divider[1], divider[2]),
        float(rng.uniform(0.1, 1.0)),
    )


def rig_scene(
    rng: Rng,
    word: str | Hand = "plain",
    *,
    part: Sensor | None = None,
    relation: str = "one",
    chip: str | None = None,
    build: str | None = None,
    hookup: str | None = None,
    supply_v: float | None = None,
    play: float = 0.0,
    noise_lsb: float | None = None,
    mismatch: float = 0.0,
    form: str | None = None,
) -> Scene:
    """A sound scene on the rig."""
    part = sensor(rng, relation=relation, form=form) if part is None else part
    board = rig(rng, part, chip=chip, build=build, hookup=hookup, noise_lsb=noise_lsb, mismatch=mismatch)
    if supply_v is None:
        supply_v = float(rng.uniform(4.4, 5.2) if board.hookup == "powered" else rng.uniform(4.9, 5.1))
    burden = 25e3 if board.build == "plain" else float(rng.uniform(0.75e6, 1.2e6))
    tau = burden * (part.cable_f + 0.1e-9)
    lever = hand(rng, word) if isinstance(word, str) else word
    scene = Scene(rng, lever, part, burden, tau, supply_v, rig=board, play=play)
    return with_texture(scene)


def with_texture(scene: Scene) -> Scene:
    """Give the tracks their fine unevenness."""
    if scene.sensor.texture_v > 0:
        for name in "AB"[: len(scene.sensor.tracks)]:
            scene.profiles[name] = texture(scene.rng, scene.sensor.texture_v)
    return scene


def _instants(rng: Rng, seconds: float, rate: float, jitter: float, drop: float) -> np.ndarray:
    t = np.arange(int(seconds * rate)) / rate + 1e-4
    t = t + rng.uniform(-0.5, 0.5, len(t)) * jitter / rate
    keep = rng.uniform(size=len(t)) >= drop
    if drop > 0 and len(t) > 100:
        hole = int(rng.integers(20, len(t) - 20))
        keep[hole : hole + int(rng.integers(2, 8))] = False
    return np.asarray(np.maximum(np.sort(t[keep]), 0.0))


def logger_scene(
    rng: Rng,
    word: str | Hand = "plain",
    *,
    rate: float | None = None,
    res: str | None = None,
    jitter: float = 0.0,
    drop: float = 0.0,
    part: Sensor | None = None,
    relation: str = "one",
    supply_v: float | None = None,
    with_b: bool = False,
    shown_jitter: float = 0.0,
    noise_v: float | None = None,
    form: str | None = None,
) -> Scene:
    """A sound scene on a coarse logger: jitter moves instants and times, shown_jitter the column only."""
    part = sensor(rng, relation=relation, form=form) if part is None else part
    rate = float(rng.choice([100.0, 200.0, 500.0, 1000.0])) if rate is None else rate
    res = str(rng.choice(list(STEPS))) if res is None else res
    step, places, top = STEPS[res]
    if supply_v is None:
        supply_v = float(rng.uniform(4.9, 5.1) if "mV" in res else rng.uniform(4.85, 4.975))
    lever = hand(rng, word) if isinstance(word, str) else word
    instants = _instants(rng, lever.duration_s, rate, jitter, drop)
    shown = instants + rng.uniform(-0.5, 0.5, len(instants)) * shown_jitter / rate
    shown = np.sort(np.maximum(shown - instants[0], 0.0)) if len(instants) else shown
    noise = float(rng.uniform(0.0005, 0.002)) if noise_v is None else noise_v
    logger = Logger(instants, shown, step, places, top, with_b or len(part.tracks) > 1, noise)
    scene = Scene(rng, lever, part, 1e6, 1e6 * part.cable_f, supply_v, logger=logger)
    return with_texture(scene)
