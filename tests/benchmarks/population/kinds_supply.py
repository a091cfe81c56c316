"""Kinds: supply, ground, interference."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from population import loose
from population.makers import Rng, between, rig_scene
from population.registry import enter
from population.scene import Scene
from population.waves import Knots, Sine, Spikes

Put = Callable[[Scene, Rng], None]


def _add(name: str, group: str, text: str, put: Put, word: str = "plain", **fixed: object) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, word, **fixed)  # type: ignore[arg-type]
        put(scene, rng)
        return scene

    enter(name, group, text, make, sound=False)


def _count(rng: Rng, low: int, high: int) -> int:
    return int(rng.integers(low, high + 1))


def _ground_offset(scene: Scene, rng: Rng) -> None:
    lift = float(rng.uniform(0.08, 0.25))
    scene.waves.append(Knots("G", np.array([0.0]), np.array([lift])))
    scene.add_fault("ground-offset", "wiring", "A", None, lift, scene.hand.duration_s)
    scene.undecided, scene.must_not = True, ("worn",)
    scene.notes.append(f"Sensor ground {lift * 1e3:.0f} mV up: looks like a closed end that is too high.")


def _ground_shift(scene: Scene, rng: Rng) -> None:
    """A motor near by draws current while the lever is open or moves."""
    lift = float(rng.uniform(0.04, 0.12))
    smooth = np.convolve(loose.moving(scene).astype(float), np.ones(60) / 60, mode="same")
    scene.waves.append(Knots("G", scene.grid_s, lift * smooth))
    scene.add_fault("ground-shift", "wiring", "A", None, lift)
    scene.undecided, scene.must_not = lift < 0.07, ("worn",)


def _ground_bounce(scene: Scene, rng: Rng) -> None:
    at = loose.spread(scene, _count(rng, 8, 20))
    t = np.ravel([[a, a + 1e-3, a + 6e-3, a + 8e-3] for a in at])
    v = np.tile([0.0, 1.0, 1.0, 0.0], len(at)) * rng.uniform(0.08, 0.3)
    order = np.argsort(t, kind="stable")
    scene.waves.append(Knots("G", t[order], v[order]))
    scene.add_fault("ground-shift", "wiring", "A", None, float(v.max()), 6e-3)
    scene.must_not = ("sound", "worn")


def _sag_with_open(scene: Scene, rng: Rng) -> None:
    """The load rises as the lever opens: the supply sags with the position."""
    depth = float(rng.uniform(0.3, 0.7))
    scene.waves.append(Knots("V", scene.grid_s, -depth * np.clip(scene.shaft, 0, 1)))
    scene.add_fault("supply-sag", "supply", "S", None, depth)
    scene.must_not = ("worn",)


def _supply() -> None:
    _add(
        "supply-sag",
        "supply",
        "The supply sags by 0.4 to 1.2 V two to five times.",
        lambda s, r: loose.sag(s, float(r.uniform(0.4, 1.2)), _count(r, 2, 5), (0.2, 1.0)),
    )
    _add("supply-sag-with-open", "supply", "The supply sags as the lever opens.", _sag_with_open)
    _add(
        "supply-dropouts",
        "supply",
        "The supply is gone for 2 to 50 ms at random times.",
        lambda s, r: loose.supply_dropouts(s, _count(r, 4, 12), (2e-3, 0.05)),
    )
    _add(
        "supply-dropouts-short",
        "supply",
        "The supply is gone for 0.2 to 1 ms at random times.",
        lambda s, r: loose.supply_dropouts(s, _count(r, 5, 15), (2e-4, 1e-3)),
    )
    _add("ground-offset", "supply", "The sensor's ground is 80 to 250 mV up.", _ground_offset)
    _add(
        "ground-shift-moving",
        "supply",
        "The sensor's ground shifts by 40 to 120 mV while moving.",
        _ground_shift,
    )
    _add("ground-bounce", "supply", "The sensor's ground jumps by 80 to 300 mV for some ms.", _ground_bounce)


def _hum(scene: Scene, wave: Sine | Spikes, peak: float) -> None:
    scene.waves.append(wave)
    loose.disturbance(scene, peak)


def _motor_pwm(scene: Scene, rng: Rng) -> None:
    peak = between(rng, 0.15, 0.8)
    _hum(scene, Spikes("A", peak, between(rng, 500, 2500), between(rng, 0.1, 0.9), 3e-5), peak)


def _every(scene: Scene, rng: Rng) -> np.ndarray:
    """Ignition-like times: a steady rate that wanders a little."""
    rate = rng.uniform(15, 60)
    return np.cumsum(rng.normal(1 / rate, 0.01 / rate, int(scene.hand.duration_s * rate)))


def _noise_bursts() -> None:
    _add(
        "noise-ringing",
        "interference",
        "Ringing bursts at random times on the signal.",
        lambda s, r: loose.ringing(
            s, "A", loose.spread(s, _count(r, 15, 60)), between(r, 0.3, 2.0), between(r, 2e3, 4e4), 3e-4
        ),
    )
    _add(
        "noise-ringing-all",
        "interference",
        "Ringing bursts on all three wires.",
        lambda s, r: loose.ringing(
            s, "ABS", loose.spread(s, _count(r, 15, 60)), between(r, 0.3, 1.5), between(r, 2e3, 2e4), 3e-4
        ),
    )
    _add(
        "noise-ignition",
        "interference",
        "Ringing repeated like ignition.",
        lambda s, r: loose.ringing(s, "A", _every(s, r), between(r, 0.2, 1.0), between(r, 5e3, 3e4), 2e-4),
    )
    _add(
        "noise-alternator",
        "interference",
        "Alternator ripple of 100 to 300 mV on the signal.",
        lambda s, r: _hum(s, Sine("A", p := between(r, 0.1, 0.3), between(r, 200, 1200), humps=True), p),
    )
    _add(
        "noise-alternator-weak",
        "interference",
        "Alternator ripple of 20 to 60 mV on the signal.",
        lambda s, r: _hum(s, Sine("A", p := between(r, 0.02, 0.06), between(r, 200, 1200), humps=True), p),
    )


def _noise_steady() -> None:
    _add(
        "noise-motor-pwm",
        "interference",
        "Spikes of a motor's PWM couple in.",
        lambda s, r: _hum(
            s, Spikes("A", p := between(r, 0.15, 0.8), between(r, 500, 2500), between(r, 0.1, 0.9), 3e-5), p
        ),
    )
    _add(
        "noise-hum",
        "interference",
        "Hum of 100 to 300 mV on the signal.",
        lambda s, r: _hum(s, Sine("A", p := between(r, 0.1, 0.3), float(r.choice([50.0, 60.0]))), p),
    )
    _add("noise-one-spike", "interference", "One single ringing burst.", lambda s, r: _one_spike(s, r))
    _add(
        "noise-while-moving",
        "interference",
        "Ringing only while the lever moves (a motor follows it).",
        lambda s, r: loose.ringing(
            s, "A", loose.times_in(s, loose.moving(s), 80), between(r, 0.3, 1.0), between(r, 3e3, 2e4), 3e-4
        ),
    )


def _noise() -> None:
    _noise_bursts()
    _noise_steady()


def _one_spike(scene: Scene, rng: Rng) -> None:
    loose.ringing(scene, "A", loose.spread(scene, 1), float(rng.uniform(0.5, 2.0)), 1e4, 3e-4)
    scene.undecided, scene.must_not = True, ("worn", "loose")


def register() -> None:
    """Enter the kinds of this module."""
    _supply()
    _noise()
