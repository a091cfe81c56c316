"""Kinds: wear on the track."""

from __future__ import annotations

from collections.abc import Callable

from population.makers import Rng, between, rig_scene, sensor
from population.registry import enter
from population.scene import Scene
from population.waves import Sine
from population.worn import Spot, dip, flat, lift_at_rest, rough, step, wear

Range = tuple[float, float]
ANYWHERE: Range = (0.02, 0.98)


def _place(rng: Rng, bounds: Range) -> float:
    """A place; without a special wish, half of them near the closed end, where wear is commonest."""
    if bounds == ANYWHERE and rng.uniform() < 0.5:
        return float(rng.uniform(0.02, 0.25))
    return float(rng.uniform(*bounds))


def _spot(
    name: str,
    text: str,
    *,
    word: str = "plain",
    place: Range = ANYWHERE,
    lift: Range = (0.001, 0.06),
    left: Range = (0.0, 0.0),
    width: Range = (0.003, 0.012),
    count: int = 1,
    share: float = 1.0,
    floats: bool = False,
    micro: bool = False,
    chatter: bool = False,
    direction: int = 0,
    build: str | None = None,
    falling: bool = False,
) -> None:
    def make(rng: Rng) -> Scene:
        part = sensor(rng, form="pot", falling=falling)
        scene = rig_scene(rng, word, part=part, build=build)
        for _ in range(count):
            where, wide, rest = _place(rng, place), float(rng.uniform(*width)), float(rng.uniform(*left))
            wear(scene, Spot(where, wide, lift, rest, share, floats, micro, chatter, direction))
        if falling:
            scene.notes.append("Falling sense.")
        return scene

    enter(f"worn-{name}", "worn", text, make, sound=False)


def _lasting(name: str, text: str, put: Callable[[Scene, Rng], None], word: str = "plain") -> None:
    def make(rng: Rng) -> Scene:
        scene = rig_scene(rng, word, part=sensor(rng, form="pot"))
        put(scene, rng)
        return scene

    enter(f"worn-{name}", "worn", text, make, sound=False)


def _spots_depths() -> None:
    _spot("lift", "The wiper lifts for 1 to 60 ms at one place in every pass.")
    _spot("lift-full-build", "Lifts of 1 to 60 ms, high burden.", build="full")
    _spot("lift-plain-build", "Lifts of 1 to 60 ms, low burden.", build="plain")
    _spot(
        "lift-shallow", "High contact resistance: 60 to 95 percent of the signal is left.", left=(0.6, 0.95)
    )
    _spot("lift-sub-ms", "Lifts of 0.2 to 1 ms at one place.", lift=(2e-4, 1e-3), micro=True)
    _spot("lift-micro", "Lifts of 50 to 200 us at one place.", lift=(5e-5, 2e-4), micro=True)
    _spot(
        "lift-micro-shallow",
        "Lifts of 50 us to 1 ms, 50 to 85 percent of the signal left.",
        lift=(5e-5, 1e-3),
        micro=True,
        left=(0.5, 0.85),
    )
    _spot("lift-40-percent", "Lifts at one place in 40 percent of the passes.", share=0.4, word="many")
    _spot("lift-40-percent-few", "Lifts at one place in 40 percent of few passes.", share=0.4)
    _spot(
        "micro-40-percent",
        "Lifts below 1 ms in 40 percent of the passes.",
        share=0.4,
        word="many",
        micro=True,
        lift=(1e-4, 1e-3),
    )
    _spot("near-closed", "A worn spot at 1 to 6 percent.", place=(0.01, 0.06))
    _spot("several-near-closed", "Three worn spots at 1 to 15 percent.", place=(0.01, 0.15), count=3)
    _spot("near-open", "A worn spot at 94 to 99 percent.", place=(0.94, 0.99))
    _spot("two-places", "Two worn spots anywhere.", count=2)


def _spots_places() -> None:
    _spot(
        "floats",
        "The lifted wiper floats: the voltage stays, then jumps.",
        floats=True,
        lift=(0.005, 0.06),
        width=(0.01, 0.03),
    )
    _spot("chatter", "Each lift is torn into pieces.", chatter=True, lift=(0.004, 0.06), width=(0.006, 0.02))
    _spot("opening-only", "Lifts only while opening.", direction=1, word="many")
    _spot("falling-sense", "A worn spot on a sensor of falling sense.", falling=True)
    _spot(
        "near-closed-falling",
        "A worn spot near the closed end, falling sense.",
        falling=True,
        place=(0.01, 0.06),
    )


def _spots() -> None:
    _spots_depths()
    _spots_places()


def _spots_by_hand() -> None:
    for word in (
        "quick",
        "slow",
        "long-creep",
        "stick-slip",
        "tremor",
        "hard-bouncing",
        "detent",
        "let-go",
        "brief-rests",
        "creeping-end",
        "partial-strokes",
        "begins-half-way",
        "press-varies",
    ):
        _spot(f"hand-{word}", f"A worn spot under the hand '{word}'.", word=word)
    _spot(
        "hand-pause-near-closed",
        "A worn spot at 2 to 8 percent; the hand pauses there.",
        word="pause-near-closed",
        place=(0.02, 0.08),
    )
    _spot(
        "hand-bounce-near-closed",
        "A worn spot at 1 to 4 percent; the lever bounces over it.",
        word="hard-bouncing",
        place=(0.01, 0.04),
    )
    _spot("hand-one-stroke", "A worn spot, but one stroke only.", word="one-stroke")


def _at_stop(scene: Scene, rng: Rng) -> None:
    lift_at_rest(scene, 0, 0.8)
    scene.undecided = True
    scene.notes.append("Wear right at the stop looks like a loose wire at rest.")


def _dips() -> None:
    _lasting(
        "dip",
        "A dip of 15 to 30 mV at one place.",
        lambda s, r: dip(s, _place(r, (0.05, 0.95)), between(r, 0.015, 0.030), between(r, 0.004, 0.015)),
    )
    _lasting(
        "dip-near-closed",
        "A dip of 15 to 30 mV at 2 to 8 percent.",
        lambda s, r: dip(s, between(r, 0.02, 0.08), between(r, 0.015, 0.030), between(r, 0.003, 0.01)),
    )
    _lasting(
        "dip-deep",
        "A dip of 60 to 200 mV at one place.",
        lambda s, r: dip(s, _place(r, (0.05, 0.95)), between(r, 0.06, 0.2), between(r, 0.004, 0.015)),
    )
    _lasting(
        "dip-slow-hand",
        "A dip of 15 to 30 mV under a slow hand.",
        lambda s, r: dip(s, _place(r, (0.05, 0.95)), between(r, 0.015, 0.030), between(r, 0.004, 0.015)),
        "slow",
    )
    _lasting(
        "rough",
        "A rough region of 2 to 15 percent, 20 to 80 mV rms.",
        lambda s, r: rough(s, _place(r, (0.1, 0.9)), between(r, 0.02, 0.15), between(r, 0.02, 0.08)),
    )
    _lasting(
        "rough-near-closed",
        "A rough region near the closed end.",
        lambda s, r: rough(s, between(r, 0.03, 0.10), between(r, 0.02, 0.06), between(r, 0.02, 0.08)),
    )


def _rough_and_flat() -> None:
    _lasting(
        "rough-tremor",
        "A rough region under a trembling hand.",
        lambda s, r: rough(s, between(r, 0.1, 0.9), between(r, 0.02, 0.15), between(r, 0.02, 0.08)),
        "tremor",
    )
    _lasting(
        "rough-everywhere",
        "The whole track is rough, 20 to 40 mV rms.",
        lambda s, r: rough(s, 0.5, 1.1, between(r, 0.02, 0.04)),
    )
    _lasting(
        "flat-narrow",
        "A flat spot of 0.5 to 1.5 percent.",
        lambda s, r: flat(s, _place(r, (0.06, 0.94)), between(r, 0.005, 0.015)),
    )
    _lasting(
        "flat-wide",
        "A flat spot of 2 to 5 percent.",
        lambda s, r: flat(s, _place(r, (0.08, 0.92)), between(r, 0.02, 0.05)),
    )
    _lasting(
        "flat-slow-hand",
        "A flat spot of 1 to 4 percent under a slow hand.",
        lambda s, r: flat(s, _place(r, (0.08, 0.92)), between(r, 0.01, 0.04)),
        "slow",
    )
    _lasting(
        "flat-stick-slip",
        "A flat spot of 1 to 4 percent; the lever sticks and slips: hard to tell.",
        _flat_stick,
        "stick-slip",
    )


def _flats_and_steps() -> None:
    _lasting(
        "step",
        "A step of 40 to 200 mV at one place.",
        lambda s, r: step(s, between(r, 0.1, 0.85), float(r.choice([-1, 1])) * between(r, 0.04, 0.2)),
    )
    _lasting("at-closed-stop", "Lifts while the lever rests at the closed stop.", _at_stop)


def _lastings() -> None:
    _dips()
    _rough_and_flat()
    _flats_and_steps()


def _flat_stick(scene: Scene, rng: Rng) -> None:
    flat(scene, float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.01, 0.04)))
    scene.undecided = True


def _wear_and_hum(rng: Rng) -> Scene:
    scene = rig_scene(rng, "plain", part=sensor(rng, form="pot"))
    wear(scene, Spot(_place(rng, ANYWHERE), 0.006))
    scene.waves.append(Sine("A", float(rng.uniform(0.01, 0.02)), float(rng.choice([50.0, 100.0, 150.0]))))
    scene.notes.append("Hum on the signal besides the wear.")
    return scene


def register() -> None:
    """Enter the kinds of this module."""
    _spots()
    _spots_by_hand()
    _lastings()
    enter(
        "worn-with-hum", "worn", "A worn spot; hum of 10 to 20 mV on the signal.", _wear_and_hum, sound=False
    )
