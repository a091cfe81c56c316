"""Kinds: sound sensors under all sorts of hands, sensors, supplies and boards."""

from __future__ import annotations

import numpy as np

from population.hands import hand
from population.makers import Rng, rig_scene, sensor
from population.registry import enter
from population.scene import Scene
from population.waves import Knots, Saw, Sine

HANDS: dict[str, str] = {
    "even": "smooth full strokes",
    "steady": "strokes of nearly constant speed",
    "uneven": "speed that wanders",
    "quick": "strokes of 0.3 to 0.45 s",
    "slow": "strokes of 3 to 4 s",
    "fast-then-slow": "fast at first, then slow",
    "creeping-end": "the last part of each stroke is crept",
    "hesitant-start": "creeps off the stop, then hurries",
    "stick-slip": "dry friction: stands and jumps",
    "tremor": "tremor of 4 to 10 Hz on slow strokes",
    "bouncing": "small bounces at the stops",
    "hard-bouncing": "bounces of 3 to 9 percent",
    "pause-mid": "a pause on the way in each stroke",
    "pause-near-closed": "a pause 2 to 8 percent from closed",
    "pause-near-open": "a pause 2 to 8 percent from open",
    "pause-near-both": "pauses near both stops",
    "overshoot": "the lever's spring swings beyond the stop",
    "spring-return": "a spring shuts it in 40 to 50 ms",
    "brief-rests": "rests of 0.1 to 0.3 s only",
    "press-varies": "the stop is pressed harder or softer",
    "relaxing": "the rest drifts as the hand relaxes",
    "unequal-rests": "rests from 0.16 to 3 s",
    "two-strokes": "one opening and one closing only",
    "one-stroke": "one opening only",
    "long-rests": "rests of 2.5 to 5 s",
    "many": "ten to fourteen strokes",
    "partial-strokes": "partial strokes between full ones",
    "begins-open": "begins at the open stop",
    "begins-half-way": "begins half way",
    "half-strokes": "never reaches the open stop",
    "long-creep": "one stroke of 12 s, then quicker ones",
    "detent": "a notch at one place, both ways",
    "detent-near-closed": "a notch at 4 to 10 percent",
    "let-go": "the lever is let go and snaps back",
    "one-long-two-short": "one long stroke, two short ones",
    "closes-twice": "reaches closed, lifts, reaches it again",
    "opens-twice": "reaches open, lifts, reaches it again",
    "pumping": "touches the stops without resting",
    "not-quite-closed": "some closings end 1 to 3.5 percent short",
    "ends-under-way": "the record ends under way",
}


def _by_hand(word: str) -> None:
    enter(
        f"hand-{word}", "hand", f"Sound sensor; {HANDS[word]}.", lambda rng: rig_scene(rng, word), sound=True
    )


def _play(low: float, high: float, word: str) -> None:
    name = f"hand-play-{word}"
    enter(
        name,
        "hand",
        f"Sound sensor; play of {low * 100:g} to {high * 100:g} percent between lever and shaft.",
        lambda rng: rig_scene(rng, word, play=float(rng.uniform(low, high))),
        sound=True,
    )


def _cable(ohm: float) -> None:
    def make(rng: Rng) -> Scene:
        part = sensor(rng, form="pot", r_ohm=ohm)
        part = type(part)(
            part.form, part.r_ohm, part.tracks, part.relation, part.texture_v, rng.uniform(0.8e-9, 2e-9)
        )
        scene = rig_scene(rng, "any", part=part)
        lift = scene.supply_v / ohm * rng.uniform(0.3, 1.2)
        t = np.array([0.0])
        scene.waves += [Knots("G", t, np.array([lift])), Knots("V", t, np.array([-lift]))]
        scene.notes.append(f"Cable: ground {lift * 1e3:.1f} mV up, supply as much down at the sensor.")
        return scene

    enter(
        f"sound-{ohm:g}-ohm-long-cable",
        "sensor",
        f"Sound track of {ohm:g} ohm at the end of a long cable.",
        make,
        sound=True,
    )


def _ripple(name: str, low_v: float, high_v: float, freqs: tuple[float, float], text: str) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "any")
        f = float(np.exp(rng.uniform(*np.log(freqs))))
        scene.waves.append(Saw("V", float(rng.uniform(low_v, high_v)), f, float(rng.uniform(0.2, 0.6))))
        return scene

    enter(name, "supply", f"Sound; {text}. The output follows its supply.", make, sound=True)


def _drift(rng: Rng) -> Scene:
    scene = rig_scene(rng, "any", hookup="powered", supply_v=float(rng.uniform(4.8, 5.1)))
    t = np.linspace(0, scene.hand.duration_s, 9)
    scene.waves.append(Knots("V", t, np.cumsum(rng.normal(0, 0.03, 9)).clip(-0.25, 0.1)))
    return scene


def _load_steps(rng: Rng) -> Scene:
    scene = rig_scene(rng, "any", hookup="tapped", supply_v=5.0)
    at = np.sort(rng.uniform(0.5, scene.hand.duration_s, 6))
    t = np.ravel([[a, a + 0.004] for a in at])
    v = np.ravel([[0.0, -0.04] if i % 2 == 0 else [-0.04, 0.0] for i in range(6)])
    order = np.argsort(t, kind="stable")
    scene.waves.append(Knots("V", t[order], v * rng.uniform(0.4, 1.0)))
    return scene


def _falling(rng: Rng) -> Scene:
    scene = rig_scene(rng, "any", part=sensor(rng, falling=True))
    scene.must_not = ("worn", "loose", "short")
    scene.notes.append("The voltage falls while the lever opens. Electrically sound; the sense is reversed.")
    return scene


def _bowed(rng: Rng) -> Scene:
    return rig_scene(
        rng, "any", part=sensor(rng, form="pot", bow=float(rng.choice([-1, 1]) * rng.uniform(0.01, 0.018)))
    )


def _convert(name: str, text: str, **fixed: object) -> None:
    def make(rng: Rng) -> Scene:
        form = str(rng.choice(["pot", "hall"]))
        part = sensor(
            rng, form=form, closed=float(rng.uniform(0.25, 0.9)), opened=float(rng.uniform(3.5, 4.7))
        )
        return rig_scene(rng, "even", part=part, **fixed)  # type: ignore[arg-type]

    enter(f"converter-{name}", "converter", f"Sound sensor, even hand; {text}.", make, sound=True)


def _end_on_wide(code: int, at_open: bool) -> None:
    def make(rng: Rng) -> Scene:
        volts = (code - 10) / 4096 * 3.3 / 0.6 + rng.uniform(-0.05, 0.05)
        supply = float(rng.uniform(4.95, 5.05))
        end = volts * 5 / supply
        part = sensor(rng, form="hall", opened=end) if at_open else sensor(rng, form="hall", closed=end)
        scene = rig_scene(rng, "even", part=part, chip="rp2040", supply_v=supply)
        scene.notes.append(f"An end lies near code {code}.")
        return scene

    where = "open" if at_open else "closed"
    enter(
        f"converter-{where}-end-on-code-{code}",
        "converter",
        f"Sound sensor; its {where} end lies on the wide code below {code}.",
        make,
        sound=True,
    )


def _slow_over_codes(chip: str) -> None:
    def make(rng: Rng) -> Scene:
        return rig_scene(rng, hand(rng, "long-creep"), chip=chip, form="hall", noise_lsb=0.5)

    enter(
        f"converter-creep-over-codes-{chip}",
        "converter",
        "Sound sensor crept over the converter's uneven codes with little noise: looks like flat spots.",
        make,
        sound=True,
    )


def _sensors() -> None:
    for ohm in (1000.0, 2500.0, 5000.0, 10000.0):
        _cable(ohm)
    enter(
        "sound-hall",
        "sensor",
        "Sound Hall part, any hand.",
        lambda r: rig_scene(r, "any", form="hall"),
        sound=True,
    )
    enter(
        "sound-10-kohm-loaded",
        "sensor",
        "Sound 10 kohm track, loaded by the plain build.",
        lambda r: rig_scene(r, "any", part=sensor(r, form="pot", r_ohm=1e4), build="plain"),
        sound=True,
    )
    enter(
        "sound-bowed", "sensor", "Sound track with a linearity error of 1 to 1.8 percent.", _bowed, sound=True
    )
    enter(
        "sound-coarse-texture",
        "sensor",
        "Sound track with a texture of 2 to 3 mV rms.",
        lambda r: rig_scene(r, "any", part=sensor(r, form="pot", texture_v=float(r.uniform(0.002, 0.003)))),
        sound=True,
    )
    enter(
        "sound-reversed-sense",
        "sensor",
        "Sound sensor whose voltage falls while opening.",
        _falling,
        sound=True,
    )
    enter(
        "sound-any", "sensor", "Sound sensor, any hand, any board.", lambda r: rig_scene(r, "any"), sound=True
    )


def _supplies() -> None:
    _ripple("supply-ripple-small", 0.005, 0.02, (100, 2000), "supply ripple of 5 to 20 mV p-p")
    _ripple("supply-ripple-large", 0.03, 0.06, (100, 2000), "supply ripple of 30 to 60 mV p-p")
    _ripple("supply-ripple-switching", 0.01, 0.06, (15e3, 120e3), "switching ripple of 10 to 60 mV p-p")
    _ripple("supply-ripple-near-record-rate", 0.02, 0.06, (900, 1100), "ripple close to one period a record")
    for name, low, high in (("supply-low-4.3", 4.3, 4.36), ("supply-high-5.2", 5.15, 5.2)):
        enter(
            name,
            "supply",
            f"Sound; the rig feeds {low:g} to {high:g} V.",
            lambda r, a=low, b=high: rig_scene(r, "any", hookup="powered", supply_v=float(r.uniform(a, b))),
            sound=True,
        )
    enter("supply-drift", "supply", "Sound; the supply wanders by up to 0.25 V.", _drift, sound=True)
    enter(
        "supply-load-steps",
        "supply",
        "Sound; other loads step the supply by 16 to 40 mV.",
        _load_steps,
        sound=True,
    )
    enter(
        "supply-reading-noisy", "supply", "Sound; hum of 3 to 8 mV on all three readings.", _hum, sound=True
    )


def _hum(rng: Rng) -> Scene:
    scene = rig_scene(rng, "any")
    scene.waves.append(Sine("ABS", float(rng.uniform(0.003, 0.008)), float(rng.choice([50.0, 60.0, 100.0]))))
    return scene


def register() -> None:
    """Enter the kinds of this module."""
    for word in HANDS:
        _by_hand(word)
    for low, high, word in ((0.001, 0.004, "even"), (0.006, 0.01, "uneven"), (0.006, 0.01, "tremor")):
        _play(low, high, word)
    _sensors()
    _supplies()
    for chip in ("rp2040", "rp2350"):
        for build in ("full", "plain"):
            _convert(f"{chip}-{build}", f"{chip}, {build} build, many boards", chip=chip, build=build)
        _convert(f"{chip}-noisy", f"{chip} with 1.2 LSB of noise", chip=chip, noise_lsb=1.2)
        _slow_over_codes(chip)
    _convert(
        "divider-mismatch",
        "dividers of 0.1 percent parts (0.05 percent each), see Case.divider",
        mismatch=0.0005,
    )
    for code, at_open in ((512, False), (3584, True)):
        _end_on_wide(code, at_open)
