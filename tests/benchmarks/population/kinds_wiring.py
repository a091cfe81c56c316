"""Kinds: loose wires, shorts, several faults together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from population import loose
from population.cases import GRID_S
from population.makers import Rng, rig_scene, sensor
from population.registry import enter
from population.scene import Scene
from population.worn import Spot, wear

Put = Callable[[Scene, Rng], None]


def _add(name: str, group: str, text: str, put: Put, word: str = "plain", **fixed: object) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, word, **fixed)  # type: ignore[arg-type]
        put(scene, rng)
        return scene

    enter(name, group, text, make, sound=False)


def _count(rng: Rng, low: int, high: int) -> int:
    return int(rng.integers(low, high + 1))


def _random(wire: str, length: tuple[float, float], low: int = 5, high: int = 20) -> Put:
    return lambda s, r: loose.dropouts(s, wire, loose.spread(s, _count(r, low, high)), length)


def _moving(wire: str) -> Put:
    return lambda s, r: loose.dropouts(
        s, wire, loose.times_in(s, loose.moving(s), _count(r, 5, 20)), (5e-4, 0.05)
    )


def _at_rest(scene: Scene, rng: Rng) -> None:
    mask = (scene.hand.label != 0) & ~loose.moving(scene, 0.01)
    loose.dropouts(scene, "signal", loose.times_in(scene, mask, _count(rng, 6, 15)), (1e-3, 0.03))


def _at_slam(scene: Scene, rng: Rng) -> None:
    """The knock of the lever at the stop opens the contact: always the same place, yet not worn."""
    arrive = np.flatnonzero(np.diff((scene.hand.label == 1).astype(int)) == 1) * GRID_S
    times = np.sort(np.concatenate([arrive + rng.uniform(0.0, 0.02, len(arrive)) for _ in range(2)]))
    loose.dropouts(scene, "signal", times, (5e-4, 0.01), "loose-signal")
    scene.undecided = True
    scene.notes.append("Dropouts come with the knock at the open stop: place and time cannot be told apart.")


def _same_place_twice(scene: Scene, rng: Rng) -> None:
    """Of random dropouts, two happen to share a place."""
    times = loose.times_in(scene, loose.moving(scene), 6)
    u = scene.shaft
    place = float(u[int(times[0] / GRID_S)])
    later = np.flatnonzero((np.abs(u - place) < 0.004) & (np.arange(len(u)) * GRID_S > times[0] + 1.0))
    if len(later):
        times = np.sort(np.append(times, later[0] * GRID_S))
    loose.dropouts(scene, "signal", times, (1e-3, 0.02))
    scene.notes.append("Two of the dropouts share a place by chance.")


def _loose_signal() -> None:
    _add(
        "loose-signal",
        "loose",
        "Dropouts of the signal wire at random times.",
        _random("signal", (1e-3, 0.06)),
    )
    _add(
        "loose-signal-short",
        "loose",
        "Dropouts of 50 us to 1 ms at random times.",
        _random("signal", (5e-5, 1e-3)),
    )
    _add("loose-signal-moving", "loose", "Dropouts only while the lever moves.", _moving("signal"))
    _add(
        "loose-signal-bursts",
        "loose",
        "Bursts of dropouts while the lever moves.",
        lambda s, r: loose.dropouts(
            s, "signal", loose.bursts(s, loose.moving(s), _count(r, 2, 6)), (2e-4, 5e-3)
        ),
    )
    _add("loose-signal-at-rest", "loose", "Dropouts only at rest.", _at_rest)
    _add(
        "loose-at-open-knock",
        "loose",
        "Dropouts with each knock at the open stop.",
        _at_slam,
        "hard-bouncing",
    )


def _loose_supply() -> None:
    _add(
        "loose-same-place-twice",
        "loose",
        "Random dropouts; two share a place by chance.",
        _same_place_twice,
        "many",
    )
    _add("loose-one-dropout", "loose", "One single dropout.", _random("signal", (2e-3, 0.03), 1, 1))
    _add(
        "loose-supply-wire", "loose", "Dropouts of the sensor's supply wire.", _random("supply", (1e-3, 0.06))
    )
    _add("loose-supply-moving", "loose", "Supply wire drops out while moving.", _moving("supply"))
    _add(
        "loose-ground-wire",
        "loose",
        "Dropouts of the sensor's ground wire: the output jumps up.",
        _random("ground", (1e-3, 0.06)),
    )
    _add("loose-ground-moving", "loose", "Ground wire drops out while moving.", _moving("ground"))
    _add("loose-many-strokes", "loose", "Random dropouts over many strokes.", _moving("signal"), "many")
    _add(
        "loose-trembling-hand",
        "loose",
        "Random dropouts under a trembling hand.",
        _random("signal", (1e-3, 0.03)),
        "tremor",
    )
    _add("loose-long", "loose", "Dropouts of 50 to 400 ms.", _random("signal", (0.05, 0.4), 3, 8))


def _loose_ground() -> None:
    for wire in ("signal", "supply", "ground"):
        _add(
            f"unplugged-half-way-{wire}",
            "loose",
            f"The {wire} wire comes off and stays off.",
            lambda s, r, w=wire: loose.unplug(s, w, float(r.uniform(0.35, 0.65)) * s.hand.duration_s),
        )
    _add(
        "unplugged-and-back",
        "loose",
        "The signal wire comes off for 0.3 to 1.5 s.",
        lambda s, r: loose.unplug(
            s, "signal", t := float(r.uniform(0.3, 0.5)) * s.hand.duration_s, t + float(r.uniform(0.3, 1.5))
        ),
        "many",
    )


def _loose() -> None:
    _loose_signal()
    _loose_supply()
    _loose_ground()


def _shorts() -> None:
    for rail in ("ground", "supply"):
        _add(
            f"short-to-{rail}",
            "short",
            f"The signal lies on the {rail} all the time.",
            lambda s, r, x=rail: _short(s, x, float(r.uniform(0.05, 2))),
        )
        _add(
            f"short-to-{rail}-through-ohms",
            "short",
            f"The signal is pulled to the {rail} through 100 to 1000 ohm.",
            lambda s, r, x=rail: _short(s, x, float(r.uniform(100, 1000))),
            part=None,
            form="pot",
        )
        _add(
            f"short-to-{rail}-from-half-way",
            "short",
            f"A short to {rail} begins half way and stays.",
            lambda s, r, x=rail: _short(s, x, 0.5, float(r.uniform(0.4, 0.6)) * s.hand.duration_s),
        )
        _add(
            f"short-to-{rail}-at-times",
            "short",
            f"Brief shorts to {rail} at random times.",
            lambda s, r, x=rail: loose.brief_shorts(
                s, x, loose.spread(s, _count(r, 5, 15)), (2e-4, 0.03), float(r.choice([0.5, 200.0]))
            ),
        )


def _short(scene: Scene, rail: str, ohm: float, from_s: float = 0.0) -> None:
    loose.short(scene, rail, ohm, from_s=from_s)
    scene.must_not = ("sound", "worn")
    scene.notes.append(f"Short through {ohm:.1f} ohm. closed_v and open_v are with the short.")


def _mixed(name: str, text: str, second: Put) -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, "many", part=sensor(rng, form="pot"))
        wear(scene, Spot(float(rng.uniform(0.03, 0.6)), 0.006))
        second(scene, rng)
        scene.must_not = ("sound",)
        return scene

    enter(name, "mixed", text, make, sound=False)


def register() -> None:
    """Enter the kinds of this module."""
    _loose()
    _shorts()
    _mixed("mixed-worn-and-loose", "A worn spot and a loose signal wire.", _random("signal", (1e-3, 0.03)))
    _mixed(
        "mixed-worn-and-supply-loose", "A worn spot and a loose supply wire.", _random("supply", (1e-3, 0.03))
    )
    _mixed(
        "mixed-worn-and-sag",
        "A worn spot and a sagging supply.",
        lambda s, r: loose.sag(s, float(r.uniform(0.4, 1.0)), 3, (0.2, 0.8)),
    )
    _mixed(
        "mixed-worn-and-ringing",
        "A worn spot and ringing bursts.",
        lambda s, r: loose.ringing(s, "A", loose.spread(s, 30), float(r.uniform(0.3, 1.0)), 8e3, 3e-4),
    )
