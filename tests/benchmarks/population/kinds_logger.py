"""Kinds: tables of a coarse logger, sound and faulty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from population import loose
from population.hands import hand
from population.makers import Rng, logger_scene
from population.registry import enter
from population.scene import Scene
from population.script import Hand
from population.waves import Sine
from population.worn import Spot, dip, flat, rough, wear

Put = Callable[[Scene, Rng], None]


def _sound(name: str, text: str, word: str = "plain", **fixed: object) -> None:
    enter(
        f"logger-{name}",
        "logger",
        f"Table of a sound sensor; {text}.",
        lambda rng: logger_scene(rng, word, **fixed),
        sound=True,
        source="table",
    )  # type: ignore[arg-type]


def _bad(
    name: str, text: str, put: Put, word: str = "plain", *, doubt: bool = False, **fixed: object
) -> None:
    def make(rng: Rng) -> Scene:
        scene = logger_scene(rng, word, **fixed)  # type: ignore[arg-type]
        put(scene, rng)
        scene.undecided = scene.undecided or doubt
        return scene

    enter(f"logger-{name}", "logger", f"Table; {text}.", make, sound=False, source="table")


def _short_table(rows: int) -> Callable[[Rng], Scene]:
    def make(rng: Rng) -> Scene:
        arm = hand(rng, "even")
        n = max(2, rows * 20)
        scene = logger_scene(rng, Hand(arm.x[:n], arm.label[:n], arm.word), rate=100.0)
        scene.undecided = True
        return scene

    return make


def _shown_rounded(rng: Rng) -> Scene:
    """The time column is rounded to 10 ms at 200 Hz: pairs of rows share a time."""
    scene = logger_scene(rng, "plain", rate=200.0)
    assert scene.logger is not None
    scene.logger = replace(scene.logger, shown_s=np.floor(scene.logger.shown_s * 100) / 100)
    scene.undecided = True
    scene.notes.append("Two rows share each time: a reader may refuse the table.")
    return scene


def _spot(
    place: tuple[float, float] = (0.02, 0.98),
    lift: tuple[float, float] = (0.001, 0.06),
    width: float = 0.008,
    floats: bool = False,
) -> Put:
    return lambda s, r: wear(s, Spot(float(r.uniform(*place)), width, lift, floats=floats))


def _drops(low: float, high: float) -> Put:
    return lambda s, r: loose.dropouts(s, "signal", loose.spread(s, int(r.integers(6, 20))), (low, high))


def _slip(scene: Scene, rng: Rng) -> None:
    track, size = scene.sensor.tracks[0], float(rng.uniform(0.03, 0.06))
    at = loose.times_in(scene, loose.moving(scene), 1)
    scene.slips.append((float(at[0]), size / ((track.open - track.closed) * scene.supply_v)))
    scene.changed()
    scene.add_fault("mount-slip", "sensor", "A", None, size)
    scene.undecided = True


def _stuck(scene: Scene, rng: Rng) -> None:
    level = float(rng.uniform(0.1, 0.9))
    scene.edits["A"].append(lambda u, ratio: np.full(len(u), level))
    scene.profiles.clear()
    scene.changed()
    scene.add_fault("stuck", "sensor", "A")


def _joined(scene: Scene, rng: Rng) -> None:
    scene.join_siemens = np.full(len(scene.hand.x), 1 / float(rng.uniform(0.1, 40.0)))
    scene.changed()
    scene.add_fault("tracks-joined", "wiring", "AB")


def _hum(scene: Scene, rng: Rng) -> None:
    """Hum near the logger's rate: aliases into a slow wave."""
    assert scene.logger is not None
    peak = float(rng.uniform(0.1, 0.25))
    scene.waves.append(Sine("A", peak, 100.0 + float(rng.uniform(-0.6, 0.6))))
    loose.disturbance(scene, peak)
    scene.undecided, scene.must_not = True, ("worn",)


def _sound_rates() -> None:
    for rate in (50.0, 100.0, 200.0, 500.0, 1000.0):
        _sound(f"{rate:g}-hz", f"{rate:g} Hz", "any", rate=rate)
    for res in ("8", "10", "12", "16"):
        _sound(f"{res}-bit", f"{res} bits of 5 V", "any", res=res)
    _sound("1-mV", "text with 1 mV", "any", res="1mV")
    _sound("10-mV", "text with 10 mV", "any", res="10mV")
    _sound("jitter", "instants and time column jitter by half a period", "any", jitter=0.5)
    _sound("jitter-of-column", "only the time column jitters", "any", shown_jitter=0.6, rate=200.0)
    _sound("missing-rows", "4 percent of the rows and one hole are missing", "any", drop=0.04)
    _sound("8-bit-50-hz-quick", "8 bits, 50 Hz, quick strokes", "quick", res="8", rate=50.0)
    _sound(
        "8-bit-slow", "8 bits, slow strokes: steps of 20 mV look like flat spots", "slow", res="8", rate=200.0
    )
    _sound("10-mV-creep", "10 mV steps, a creep of 12 s", "long-creep", res="10mV", rate=100.0)
    _sound("supply-clipped", "a supply of 5.05 to 5.2 V reads as 5 V", "plain", res="10", supply_v=5.12)
    _sound("noisy", "8 mV rms of noise", "any", res="12", noise_v=0.008)
    _sound("two-tracks-half", "two tracks, the second reads half", "any", relation="half")
    _sound("two-tracks-opposed", "two tracks, opposed", "any", relation="opposed")
    _sound("two-tracks-parallel", "two tracks 30 mV apart, 10 bits", "any", relation="30-mV", res="10")
    _sound("idle-second-column", "the second column holds an open input near 0 V", "any", with_b=True)
    _sound("stick-slip-50-hz", "stick-slip at 50 Hz", "stick-slip", rate=50.0)
    _sound("let-go-100-hz", "the lever snaps shut between two rows", "let-go", rate=100.0)
    enter(
        "logger-shown-rounded",
        "logger",
        "Table of a sound sensor; two rows share each time.",
        _shown_rounded,
        sound=True,
        source="table",
    )


def _sound_hands() -> None:
    for rows in (1, 3, 40):
        enter(
            f"logger-{rows}-rows",
            "logger",
            f"Table of a sound sensor; about {rows} rows.",
            _short_table(rows),
            sound=True,
            source="table",
        )


def _sound_tables() -> None:
    _sound_rates()
    _sound_hands()


def _bad_worn() -> None:
    pot = {"form": "pot"}
    _bad(
        "worn-1000-hz",
        "a worn spot with lifts of 5 to 60 ms at 1000 Hz",
        _spot(lift=(0.005, 0.06)),
        rate=1000.0,
        **pot,
    )
    _bad(
        "worn-200-hz",
        "a worn spot with lifts of 10 to 60 ms at 200 Hz",
        _spot(lift=(0.010, 0.06)),
        rate=200.0,
        **pot,
    )
    _bad(
        "worn-50-hz",
        "a worn spot with lifts of 1 to 15 ms at 50 Hz: mostly between the rows",
        _spot(lift=(0.001, 0.015)),
        "many",
        rate=50.0,
        **pot,
    )
    _bad(
        "worn-micro",
        "lifts below 1 ms at 200 Hz: between the rows",
        _spot(lift=(5e-5, 1e-3)),
        rate=200.0,
        **pot,
    )


def _bad_track() -> None:
    pot = {"form": "pot"}
    _bad(
        "worn-near-closed",
        "a worn spot at 1 to 6 percent at 500 Hz",
        _spot((0.01, 0.06), (0.005, 0.06)),
        rate=500.0,
        **pot,
    )
    _bad(
        "worn-floats",
        "a lifted wiper floats at 500 Hz",
        _spot(lift=(0.01, 0.06), width=0.03, floats=True),
        rate=500.0,
        res="12",
        **pot,
    )
    _bad(
        "flat",
        "a flat spot of 2 to 5 percent, 12 bits",
        lambda s, r: flat(s, float(r.uniform(0.1, 0.9)), float(r.uniform(0.02, 0.05))),
        rate=500.0,
        res="12",
        **pot,
    )
    _bad(
        "flat-8-bit",
        "a flat spot of 0.5 to 1 percent, 8 bits",
        lambda s, r: flat(s, float(r.uniform(0.1, 0.9)), float(r.uniform(0.005, 0.01))),
        res="8",
        doubt=True,
        **pot,
    )


def _bad_wiring() -> None:
    pot = {"form": "pot"}
    _bad(
        "dip-16-bit",
        "a dip of 20 to 30 mV, 16 bits, slow hand",
        lambda s, r: dip(s, float(r.uniform(0.1, 0.9)), float(r.uniform(0.02, 0.03)), 0.012),
        "slow",
        rate=500.0,
        res="16",
        **pot,
    )
    _bad(
        "rough",
        "a rough region of 40 to 80 mV rms",
        lambda s, r: rough(s, float(r.uniform(0.1, 0.9)), 0.12, float(r.uniform(0.04, 0.08))),
        rate=500.0,
        res="12",
        **pot,
    )
    _bad("loose", "dropouts of 20 to 200 ms at random times", _drops(0.02, 0.2), rate=200.0)
    _bad(
        "loose-short", "dropouts of 0.2 to 5 ms at 100 Hz: few rows show them", _drops(2e-4, 5e-3), rate=100.0
    )
    _bad(
        "unplugged",
        "the signal wire comes off half way",
        lambda s, r: loose.unplug(s, "signal", 0.5 * s.hand.duration_s),
    )
    _bad("sag", "the supply sags", lambda s, r: loose.sag(s, float(r.uniform(0.4, 1.0)), 3, (0.3, 1.0)))
    _bad("slip", "the mount slips by 30 to 60 mV", _slip, res="12", rate=200.0)
    _bad("stuck", "the output does not move", _stuck, form="hall")
    _bad("short-to-ground", "the signal lies on ground", lambda s, r: loose.short(s, "ground", 0.5))
    _bad("short-to-supply", "the signal lies on the supply", lambda s, r: loose.short(s, "supply", 0.5))
    _bad("tracks-joined", "two tracks, joined", _joined, relation="half", form="pot")
    _bad("hum-aliased", "hum near the rate of 100 Hz makes a slow wave", _hum, rate=100.0, res="12")


def _bad_rest() -> None:
    _bad(
        "one-of-two-worn",
        "two tracks, the second lifts",
        lambda s, r: wear(s, Spot(float(r.uniform(0.05, 0.6)), 0.01, (0.01, 0.06), channels="B")),
        rate=500.0,
        part=None,
        relation="half",
        form="pot",
    )


def _bad_tables() -> None:
    _bad_worn()
    _bad_track()
    _bad_wiring()
    _bad_rest()


def register() -> None:
    """Enter the kinds of this module."""
    _sound_tables()
    _bad_tables()
