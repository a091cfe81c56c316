"""Kinds: sensors with two tracks, sound and faulty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from population import loose
from population.makers import Rng, rig_scene, sensor
from population.registry import enter
from population.scene import Scene
from population.worn import Spot, dip, flat, wear

Array = NDArray[np.float64]
SOUND: dict[str, str] = {
    "half": "the second reads half",
    "offset": "the second runs parallel, 150 to 220 mV away",
    "opposed": "the second falls",
    "ratio-0.97": "the second reads 0.97 of the first",
    "30-mV": "the second is 30 mV away",
}


def _sound(relation: str, word: str) -> None:
    tail = "" if word == "plain" else f"-{word}"
    enter(
        f"tracks-{relation}{tail}",
        "two-tracks",
        f"Two sound tracks; {SOUND[relation]}; hand: {word}.",
        lambda rng: rig_scene(rng, word, relation=relation),
        sound=True,
    )


def _add(
    name: str,
    text: str,
    put: Callable[[Scene, Rng], None],
    relation: str | None = None,
    word: str = "plain",
    form: str | None = None,
) -> None:
    def make(rng: Rng) -> Scene:
        chosen = str(rng.choice(["half", "offset", "opposed"])) if relation is None else relation
        scene = rig_scene(rng, word, part=sensor(rng, relation=chosen, form=form))
        put(scene, rng)
        return scene

    enter(f"tracks-{name}", "two-tracks", text, make, sound=False)


def _worn(channels: str) -> Callable[[Scene, Rng], None]:
    return lambda s, r: wear(
        s, Spot(float(r.uniform(0.02, 0.6)), float(r.uniform(0.003, 0.012)), channels=channels)
    )


def _bridge(low: float, high: float) -> Callable[[Scene, Rng], None]:
    def put(scene: Scene, rng: Rng) -> None:
        ohm = float(rng.uniform(low, high))
        scene.join_siemens = np.full(len(scene.hand.x), 1.0 / ohm)
        scene.changed()
        scene.add_fault("tracks-joined", "wiring", "AB", None, 0.0, scene.hand.duration_s)
        scene.must_not = ("sound", "worn")
        scene.notes.append(f"The outputs are joined through {ohm:.3g} ohm. Ends are with the bridge.")

    return put


def _bridge_part(scene: Scene, rng: Rng) -> None:
    """The bridge is there for a part of the record only."""
    a = float(rng.uniform(0.3, 0.5)) * scene.hand.duration_s
    b = a + float(rng.uniform(0.2, 0.4)) * scene.hand.duration_s
    inside = (scene.grid_s > a) & (scene.grid_s < b)
    scene.join_siemens = np.where(inside, 1.0 / 5.0, 1e-12)
    scene.changed()
    scene.add_fault("tracks-joined", "wiring", "AB", None, 0.0, b - a)
    scene.must_not = ("sound", "worn")


def _frozen_part(scene: Scene, rng: Rng) -> None:
    """The second track stands still over a part of the travel."""
    low, width = float(rng.uniform(0.1, 0.6)), float(rng.uniform(0.08, 0.3))
    flat(scene, low + width / 2, width, "B")
    last = scene.faults.pop()
    scene.faults.append(replace(last, cause="tracks-disagree"))


def _off_part(scene: Scene, rng: Rng) -> None:
    """The second track is off by 3 to 10 percent of the supply over a part of the travel."""
    low, high = float(rng.uniform(0.15, 0.4)), float(rng.uniform(0.5, 0.85))
    off = float(rng.uniform(0.03, 0.10) * rng.choice([-1, 1]))

    def edit(u: Array, ratio: Array) -> Array:
        inside = np.clip((u - low) / 0.01, 0, 1) * np.clip((high - u) / 0.01, 0, 1)
        return np.asarray(ratio + off * inside)

    scene.edits["B"].append(edit)
    scene.changed()
    scene.add_fault("tracks-disagree", "sensor", "B", (low + high) / 2, abs(off) * scene.supply_v)


def _wrong_gain(scene: Scene, rng: Rng) -> None:
    """The second track has another gain than any design: 0.75 to 0.9, and an offset."""
    gain = float(rng.uniform(0.75, 0.9))
    scene.edits["B"].append(lambda u, ratio: gain * ratio + 0.02)
    scene.changed()
    scene.add_fault("tracks-disagree", "sensor", "B", None, (1 - gain) * scene.supply_v)
    scene.undecided = True
    scene.notes.append("Without the maker's data this could be a design.")


def _stuck_b(scene: Scene, rng: Rng) -> None:
    level = float(rng.uniform(0.1, 0.9))
    scene.edits["B"].append(lambda u, ratio: np.full(len(u), level))
    scene.changed()
    scene.add_fault("stuck", "sensor", "B")


def _drifting_b(scene: Scene, rng: Rng) -> None:
    """The second track wanders by 60 to 200 mV during the record."""
    peak = float(rng.uniform(0.06, 0.2)) / scene.supply_v
    t = scene.grid_s
    scene.edits["B"].append(lambda u, ratio: ratio + peak * np.sin(2 * np.pi * t / t[-1] * 1.3))
    scene.changed()
    scene.add_fault("tracks-disagree", "sensor", "B", None, peak * scene.supply_v)


def _loose_b(scene: Scene, rng: Rng) -> None:
    loose.dropouts(scene, "signal-b", loose.spread(scene, int(rng.integers(5, 15))), (1e-3, 0.05))


def _b_away(scene: Scene, rng: Rng) -> None:
    at = float(rng.uniform(0.3, 0.6)) * scene.hand.duration_s
    loose.unplug(scene, "signal-b", at)


def _sound_tracks() -> None:
    for relation in SOUND:
        _sound(relation, "plain")
    for relation, word in (
        ("half", "tremor"),
        ("opposed", "stick-slip"),
        ("offset", "hard-bouncing"),
        ("ratio-0.97", "quick"),
        ("30-mV", "creeping-end"),
        ("half", "quick"),
    ):
        _sound(relation, word)
    _add("a-worn", "Two tracks; the first is worn at one place.", _worn("A"), form="pot")
    _add("b-worn", "Two tracks; the second is worn at one place.", _worn("B"), form="pot")
    _add("both-worn", "Two tracks; both lift at the same place and time.", _worn("AB"), form="pot")
    _add(
        "b-dip",
        "Two tracks; the second has a dip of 20 to 40 mV.",
        lambda s, r: dip(s, float(r.uniform(0.1, 0.9)), float(r.uniform(0.02, 0.04)), 0.01, "B"),
        form="pot",
    )
    _add(
        "joined-ideal-0.97",
        "Tracks at 0.97 ratio, joined without resistance.",
        _bridge(0.01, 0.1),
        "ratio-0.97",
    )
    _add("joined-ideal-30-mV", "Tracks 30 mV apart, joined without resistance.", _bridge(0.01, 0.1), "30-mV")
    _add("joined-ideal-half", "A full and a half track, joined.", _bridge(0.01, 0.1), "half", form="pot")


def _worn_and_joined() -> None:
    _add(
        "joined-ideal-opposed",
        "Opposed tracks, joined: both stand near the middle.",
        _bridge(0.01, 0.1),
        "opposed",
        form="pot",
    )
    _add(
        "joined-ohms-half",
        "A full and a half track, joined through 10 to 50 ohm.",
        _bridge(10, 50),
        "half",
        form="pot",
    )
    _add(
        "joined-ohms-offset",
        "Parallel tracks, joined through 10 to 50 ohm.",
        _bridge(10, 50),
        "offset",
        form="pot",
    )
    _add(
        "joined-ohms-30-mV",
        "Tracks 30 mV apart, joined through 10 to 50 ohm.",
        _bridge(10, 50),
        "30-mV",
        form="pot",
    )
    _add("joined-for-a-time", "Tracks joined for a part of the record.", _bridge_part, form="pot")
    _add("b-flat-part", "The second track stands still over 8 to 30 percent.", _frozen_part)
    _add("b-off-part", "The second track is off by 3 to 10 percent over a part.", _off_part)
    _add("b-wrong-gain", "The second track has an odd gain.", _wrong_gain, "half")
    _add("b-stuck", "The second track does not move.", _stuck_b)
    _add("b-drifts", "The second track wanders by 60 to 200 mV.", _drifting_b)


def _disagreeing() -> None:
    _add("b-loose", "The second signal wire drops out at random.", _loose_b)
    _add("b-unplugged", "The second signal wire comes off and stays off.", _b_away)


def register() -> None:
    """Enter the kinds of this module."""
    _sound_tracks()
    _worn_and_joined()
    _disagreeing()
