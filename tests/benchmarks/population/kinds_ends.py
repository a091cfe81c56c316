"""Kinds: wrong ends, slipped mounts, signals that are none; and edges of the record."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from population import loose
from population.cases import GRID_S
from population.hands import Style, hand, perform
from population.makers import Rng, rig_scene, sensor
from population.odd_hands import motionless
from population.registry import enter
from population.scene import Scene
from population.script import Hand
from population.waves import Digital

Array = NDArray[np.float64]
Range = tuple[float, float]


def _ends(
    name: str, cause: str, text: str, closed: Range | None, opened: Range | None, dead: float = 0.0
) -> None:
    """Ends that lie wrong; dead > 0 puts up to this share of the travel beyond a rail."""

    def make(rng: Rng) -> Scene:
        low = float(rng.uniform(*closed)) if closed else None
        high = float(rng.uniform(*opened)) if opened else None
        scene = rig_scene(rng, "any", part=sensor(rng, closed=low, opened=high))
        if dead:
            far = float(rng.uniform(0.4, 1.0)) * dead
            scene.notes.append(f"Dead band at the rail, up to {far * 100:.1f} percent of the travel.")
            _dead_band(scene, far, at_open=cause == "end-high")
        place = 1.0 if opened else 0.0
        scene.add_fault(cause, "sensor", "A", None if closed and opened else place)
        return scene

    enter(name, "ends", text, make, sound=False)


def _dead_band(scene: Scene, width: float, at_open: bool) -> None:
    low, high = (0.012, 0.985) if scene.sensor.form == "hall" else (0.0, 1.0)

    def edit(u: Array, ratio: Array) -> Array:
        if at_open:
            return np.minimum(high, ratio[0] + (high - ratio[0]) * u / (1 - width))
        top = scene.sensor.tracks[0].open
        return np.maximum(low, low + (top - low) * (u - width) / (1 - width))

    scene.edits["A"].append(edit)
    scene.changed()


def _slip(name: str, text: str, where: str, back: bool = False) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "many" if back else "even")
        track = scene.sensor.tracks[0]
        span_v = (track.open - track.closed) * scene.supply_v
        size = float(rng.uniform(0.010, 0.060))
        sign = float(rng.choice([-1.0, 1.0]))
        inner = (scene.grid_s > 0.3 * scene.hand.duration_s) & (scene.grid_s < 0.7 * scene.hand.duration_s)
        mask = inner & (
            loose.moving(scene) if where == "moving" else scene.hand.label == (1 if where == "open" else -1)
        )
        times = loose.times_in(scene, mask if mask.any() else inner, 1)
        scene.slips.append((float(times[0]), sign * size / span_v))
        if back:
            scene.slips.append((float(times[0]) + float(rng.uniform(1.0, 2.5)), -sign * size / span_v))
        scene.changed()
        scene.add_fault("mount-slip", "sensor", "A", None, size)
        scene.undecided = size < 0.02 or back
        scene.notes.append(
            f"The mount slips by {sign * size * 1e3:.0f} mV at {times[0]:.2f} s. Ends are means of both."
        )
        return scene

    enter(name, "ends", text, make, sound=False)


def _edit(scene: Scene, cause: str, rule: str, rng: Rng) -> None:
    """Replace the track by a rule: stuck or switch."""
    level, low, high = (
        float(rng.uniform(0.06, 0.94)),
        float(rng.uniform(0.0, 0.06)),
        float(rng.uniform(0.9, 1.0)),
    )
    if rule == "stuck":
        scene.edits["A"].append(lambda u, ratio: np.full(len(u), level))
    elif rule == "stuck-high":
        scene.edits["A"].append(lambda u, ratio: np.full(len(u), 0.88) + 0.004 * u)
    else:
        scene.edits["A"].append(lambda u, ratio: np.where(_schmitt(u, 0.5 * level + 0.2, 0.03), high, low))
    scene.profiles.clear()
    scene.changed()
    scene.add_fault(cause, "sensor", "A")


def _schmitt(u: Array, at: float, gap: float) -> NDArray[np.bool_]:
    """A switch with hysteresis."""
    mark = np.where(u > at + gap, 1, np.where(u < at - gap, 0, -1))
    index = np.maximum.accumulate(np.where(mark >= 0, np.arange(len(u)), 0))
    return np.asarray(mark[index] == 1)


def _rule(name: str, cause: str, rule: str, text: str) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "plain", form="hall")
        _edit(scene, cause, rule, rng)
        return scene

    enter(name, "signal", text, make, sound=False)


def _digital(name: str, form: str, text: str, freq: Range) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "plain", part=sensor(rng, form="hall"))
        f, ripple = float(rng.uniform(*freq)), float(rng.uniform(0.01, 0.04))
        gaps = rng.integers(12, 28, int(scene.hand.duration_s / 50e-6) if form == "pulses" else 1) * 3e-6
        low, high = (0.02, 0.98) if form == "pwm" else (0.08, 0.85)
        scene.digital = Digital(form, f, low, high, np.cumsum(gaps) - 0.01, ripple)
        cause = "filtered-pwm" if form == "filtered" else "digital-signal"
        scene.add_fault(
            cause, "sensor", "A", None, ripple * scene.supply_v / 2 if form == "filtered" else 0.0
        )
        scene.no_ends = form != "filtered"
        scene.must_not = ("worn", "loose") if form == "filtered" else ("sound", "worn", "loose")
        scene.undecided = form == "filtered"
        return scene

    enter(name, "signal", text, make, sound=False)


def _edge(
    name: str,
    text: str,
    lever: str | Hand | None,
    *,
    cut_s: float | None = None,
    sound: bool = True,
    note: str = "",
) -> None:
    def make(rng: Rng) -> Scene:
        arm = motionless(rng) if lever is None else hand(rng, lever) if isinstance(lever, str) else lever
        if cut_s is not None:
            n = max(1, int(cut_s * float(rng.uniform(0.6, 1.0)) / GRID_S))
            arm = Hand(arm.x[:n], arm.label[:n], arm.word)
        scene = rig_scene(rng, arm)
        scene.undecided = True
        scene.notes.append(note or text)
        return scene

    enter(name, "edge", text, make, sound=sound)


def _motionless(name: str, text: str, at: float) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, motionless(rng, at, float(rng.uniform(5, 9))))
        scene.undecided = True
        return scene

    enter(name, "edge", text, make, sound=True)


def _nothing(name: str, text: str, supply: Range, cause: str) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "plain", supply_v=float(rng.uniform(*supply)), hookup="powered")
        loose.unplug(scene, "signal" if supply[1] > 1 else "supply", -1.0)
        scene.faults.clear()
        scene.notes.clear()
        scene.add_fault(cause, "wiring", "A", None, 0.0, scene.hand.duration_s)
        scene.undecided, scene.must_not = True, ("sound", "worn")
        return scene

    enter(name, "edge", text, make, sound=False)


def _thirty(rng: Rng) -> Scene:
    style = Style(
        "thirty-seconds", strokes=(8, 8), stroke_s=(2.2, 2.8), rest_s=(0.8, 1.2), shapes=("uneven",)
    )
    return rig_scene(rng, perform(rng, style))


def _register_ends() -> None:
    _ends("closed-near-ground", "end-low", "The closed end reads 20 to 150 mV.", (0.02, 0.15), None)
    _ends(
        "closed-in-ground", "end-low", "The first part of the travel lies on ground.", (0.3, 0.4), None, 0.12
    )
    _ends("open-near-supply", "end-high", "The open end reads 4.88 to 4.97 V.", None, (4.88, 4.97))
    _ends(
        "open-in-supply",
        "end-high",
        "The last part of the travel lies on the supply.",
        None,
        (4.5, 4.7),
        0.12,
    )
    _ends("closed-high", "closed-high", "The closed end reads 0.9 to 1.4 V.", (0.9, 1.4), None)
    _ends("open-low", "wrong-span", "The open end reads 2.0 to 3.0 V.", None, (2.0, 3.0))
    _ends("span-tiny", "wrong-span", "The whole travel gives 0.3 to 0.9 V.", (0.8, 0.9), (1.2, 1.7))
    _slip("mount-slips-moving", "The mount slips by 10 to 60 mV while moving.", "moving")
    _slip("mount-slips-at-open", "The mount slips by 10 to 60 mV at the open stop.", "open")
    _slip("mount-slips-at-closed", "The mount slips by 10 to 60 mV at the closed stop.", "closed")
    _slip("mount-slips-and-back", "The mount slips and slips back.", "moving", True)
    _rule("stuck", "stuck", "stuck", "The output does not move.")
    _rule("stuck-high", "stuck", "stuck-high", "The output stands high and moves by 0.4 percent.")
    _rule("switch", "switch", "switch", "The sensor is a switch.")
    _digital("digital-pwm", "pwm", "The output is PWM of 100 to 2000 Hz.", (100, 2000))
    _digital(
        "digital-pulses", "pulses", "The output is a train of short low pulses (nibble telegram).", (1, 2)
    )
    _digital("filtered-pwm", "filtered", "A filtered PWM: analogue with ripple.", (100, 1000))
    _edge("edge-few-records", "Less than 60 ms of record.", "even", cut_s=0.06)
    _edge("edge-no-record", "No full record at all.", "even", cut_s=0.0005)
    _edge("edge-half-a-second", "Half a second: the rest only.", "even", cut_s=0.5)
    _edge("edge-ends-in-first-stroke", "The record ends in the first stroke.", "slow", cut_s=2.4)
    _motionless("edge-never-moved-closed", "Nobody moves; closed.", 0.0)
    _motionless("edge-never-moved-open", "Nobody moves; open.", 1.0)


def _register_edges() -> None:
    _motionless("edge-never-moved-between", "Nobody moves; between.", 0.4)
    _nothing("edge-nothing-connected", "Supply is on, no sensor.", (4.8, 5.1), "unplugged")
    _nothing("edge-no-supply", "Sensor connected, no supply.", (0.0, 0.02), "no-supply")
    enter("edge-thirty-seconds", "edge", "Sound; a record of about 30 s.", _thirty, sound=True)


def register() -> None:
    """Enter the kinds of this module."""
    _register_ends()
    _register_edges()
