"""The shipped sensors: files, truth, and what a rig sees of them."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.errors import InputError
from sweeprig.twin.capture import play
from sweeprig.twin.scene import KNOT_S
from sweeprig.twin.sensors import FAULT_KINDS, load_sensor, sensor_names, spec_from

TWO_LEVELS = ("pwm", "digital", "switch")
NO_ENDS = (
    "open-signal",
    "shorted-to-ground",
    "shorted-to-supply",
    "over-range",
    "over-range-12v",
    *TWO_LEVELS,
)


def test_every_sensor_loads_and_names_a_shipped_profile() -> None:
    profiles = {f.name for f in files("sweeprig.judge").joinpath("profiles").iterdir()}
    assert len(sensor_names()) >= 25
    for name in sensor_names():
        spec = load_sensor(name)
        assert f"{spec.profile}.toml" in profiles
        assert spec.title
        assert spec.two_tracks == spec.profile.startswith("two-tracks")


def test_every_kind_of_fault_is_in_some_sensor() -> None:
    shown = {f.kind for name in sensor_names() for f in load_sensor(name).faults}
    assert shown == set(FAULT_KINDS)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(InputError, match="two-tracks-opposed"):
        load_sensor("no-such")


@pytest.mark.parametrize("row", [{"title": "t", "colour": 1}, {"title": "t", "fault": [{"kind": "gremlin"}]}])
def test_a_mistake_in_a_file_is_named(row: dict[str, object]) -> None:
    with pytest.raises(TypeError, match=r"colour|gremlin"):
        spec_from("t", row)


@pytest.mark.parametrize("name", [n for n in sensor_names() if n not in NO_ENDS])
def test_the_ends_that_a_rig_sees_are_the_truth(name: str) -> None:
    """Rests at the stops by the rig's own converter levels, against the loaded divider, within 4 mV and the steps."""
    played = play(name, seed=6, seconds=3.0)
    x = played.world.scene.places[:-1:2][: len(played.capture.records)]
    codes = played.capture.records.sums[:, 0] / wire.WINDOW
    levels = played.world.converter.levels
    pin_v = np.interp(codes, np.arange(1, levels.size + 1) - 0.5, levels) / played.world.lsb_per_v
    seen = (pin_v - played.world.board.offset_v[0]) / played.world.board.ratio(0)
    floor = played.world.limits()[0] / 0.6
    if name in ("supply-sag", "ground-shift"):
        x = x[:1500]
    for end, want in ((0.0, played.truth.closed_v), (1.0, played.truth.open_v)):
        rests = seen[: x.size][np.abs(x - end) < (0.02 if name == "ends-wander" else 1e-9)]
        allowed = 0.1 if name == "ends-wander" else 0.012
        assert np.median(rests) == pytest.approx(max(want, floor), abs=allowed)


def test_truth_says_the_sense() -> None:
    assert load_sensor("good").truth.sense == "rising"
    assert load_sensor("falling").truth.sense == "falling"
    assert load_sensor("dead-band-closed").truth.closed_v == 0.0


@pytest.mark.parametrize("name", TWO_LEVELS)
def test_not_analogue_sensors_stand_at_two_levels(name: str) -> None:
    world = play(name, seed=1, seconds=2.0).world
    codes = world.like(name, seed=1).raw(2000, 3).reshape(-1, 3)[:, 0].astype(float)
    low, high = np.percentile(codes, (1, 99)) if name != "switch" else (codes.min(), codes.max())
    between = np.mean((codes > low + 0.15 * (high - low)) & (codes < high - 0.15 * (high - low)))
    assert high - low > 2500
    assert between < {"pwm": 0.03, "digital": 0.25, "switch": 0.001}[name]


def test_worn_events_keep_to_their_place_loose_ones_do_not() -> None:
    worn = [r.travel for r in play("worn", seed=2, seconds=12.0).reached()]
    loose = [r.travel for r in play("loose-connector", seed=2, seconds=12.0).reached()]
    assert len(worn) > 10
    assert np.abs(np.array(worn) - 0.18).max() < 0.01
    assert len(loose) > 10
    assert np.std(loose) > 0.2


def test_a_wiper_lifts_right_at_the_worn_spot() -> None:
    spec = load_sensor("worn")
    narrow = replace(spec, faults=(replace(spec.faults[0], width=0.0, chance=1.0, lifts=(1, 1)),))
    played = play(narrow, seed=2, seconds=6.0)
    knots = np.arange(played.world.scene.places.size) * KNOT_S
    at = np.interp([e.start_s for e in played.events], knots, played.world.scene.places)
    assert len(at) > 4
    assert at == pytest.approx(0.18, abs=1e-9)


def test_over_range_pins_the_converter() -> None:
    r = play("over-range-12v", seconds=3.0).capture.records
    assert (r.mins[:, 2] == 4095).all()
    assert r.maxs[:, 0].max() == 4095


@pytest.mark.parametrize("build", ["plain", "full"])
@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
def test_every_rig_reaches_its_last_code(build: str, chip: str) -> None:
    for seed in range(8):
        r = play("over-range-12v", seed=seed, seconds=0.3, build=build, chip=chip).capture.records
        assert (r.maxs[:, 2] == 4095).all()


def test_shorted_tracks_read_nearly_alike() -> None:
    r = play("two-tracks-shorted", seconds=3.0, noise_lsb=0.3).capture.records
    mean = r.sums / wire.WINDOW
    assert np.abs(mean[:, 0] - mean[:, 1]).max() < 12
    apart = play("two-tracks-half-scale", seconds=3.0).capture.records.sums / wire.WINDOW
    assert np.abs(apart[:, 0] - apart[:, 1]).max() > 1000


def test_a_burst_rings_to_both_sides() -> None:
    r = play("interference", seed=1, seconds=3.0, noise_lsb=0.3, hum_v=0.0)
    first = r.events[0]
    window = int(first.start_s / r.capture.window_s)
    part = slice(window, window + 2)
    before = r.capture.records.sums[window - 1, 0] / wire.WINDOW
    assert r.capture.records.maxs[part, 0].max() > before + 50
    assert r.capture.records.mins[part, 0].min() < before - 50


def test_play_shows_as_a_difference_of_up_and_down() -> None:
    played = play("hysteresis", seed=1, seconds=4.0)
    n = len(played.capture.records)
    x, code = played.world.scene.places[: 2 * n : 2], played.capture.records.sums[:, 0] / wire.WINDOW
    speed = np.gradient(x)
    middle = np.abs(x - 0.5) < 0.1
    line = np.polyfit(x[middle], code[middle], 1)
    rest = code - np.polyval(line, x)
    gap = rest[middle & (speed < 0)].mean() - rest[middle & (speed > 0)].mean()
    assert gap / line[0] == pytest.approx(0.03, abs=0.006)
