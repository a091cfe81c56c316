"""Streams of conversions, captures made without firmware, and what the circuit says of events."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from support.bench_meter import BenchMeter, Meter, calibration_points
from sweepboard import wire
from sweeprig.errors import HookupError
from sweeprig.twin.capture import capture_of, play
from sweeprig.twin.render import ChannelPlay, Source, weights
from sweeprig.twin.scene import Disturbance
from sweeprig.twin.sensors import Fault, load_sensor
from sweeprig.twin.world import World

ON = wire.OUT_SUPPLY | wire.OUT_BURDEN


def records(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    windows = codes.reshape(-1, wire.WINDOW, wire.CHANNELS)
    return windows.sum(axis=1, dtype=np.uint32), windows.min(axis=1), windows.max(axis=1)


def test_a_seed_gives_the_same_codes_in_any_portions() -> None:
    asked = [(300, ON), (7, wire.OUT_SUPPLY), (1, ON), (400, ON), (92, 0)]
    one, other = World("loose-and-worn", seed=3), World("loose-and-worn", seed=3)
    whole = np.concatenate([one.raw(n, outputs) for n, outputs in asked])
    pieces = [other.raw(1, outputs) for n, outputs in asked for _ in range(n)]
    assert np.array_equal(whole, np.concatenate(pieces))
    assert not np.array_equal(whole[:5000], World("loose-and-worn", seed=4).raw(300, ON)[:5000])


def test_a_thrown_switch_acts_at_once_and_leaves_the_past_alone() -> None:
    world = World("good", seed=2)
    before = world.raw(10, ON).reshape(-1, 3)
    after = world.raw(10, 0).reshape(-1, 3)
    assert before[:, 2].min() > 3000
    assert after[:, 2].max() < 60


@pytest.mark.parametrize("name", ["loose-and-worn", "two-tracks-worn-b", "pwm"])
def test_a_capture_holds_exactly_what_the_conversions_come_to(name: str) -> None:
    seconds = 1.5
    capture = capture_of(name, seed=11, seconds=seconds, pooled_noise=False)
    sums, mins, maxs = records(World(name, seed=11).raw(len(capture.records), ON))
    assert np.array_equal(capture.records.sums, sums)
    assert np.array_equal(capture.records.mins, mins)
    assert np.array_equal(capture.records.maxs, maxs)


def test_pooled_noise_has_the_statistics_of_fresh_noise() -> None:
    """Means, extremes and spread of the windows of a still lever, noise of 1.2 LSB, 3000 windows each."""
    still = replace(load_sensor("good"), lever="still")
    found = []
    for pooled in (False, True):
        r = capture_of(
            still, seed=5, seconds=3.0, pooled_noise=pooled, noise_lsb=1.2, hum_v=0.0, chip="rp2350"
        ).records
        mean = r.sums[:, 0] / wire.WINDOW
        found.append((mean.mean(), mean.std(), r.mins[:, 0].mean(), r.maxs[:, 0].mean(), r.maxs[:, 0].std()))
    fresh, pool = np.array(found)
    assert pool == pytest.approx(fresh, abs=0.08)
    assert fresh[1] == pytest.approx(1.2 / np.sqrt(wire.WINDOW), abs=0.03)  # independent conversions
    assert fresh[3] - fresh[2] == pytest.approx(2 * 2.58 * 1.2, rel=0.1)  # range of 166 normal draws [memory]


def test_time_base_flags_and_index_of_a_capture() -> None:
    capture = capture_of("good", seconds=5.0)
    assert len(capture.records) == round(5.0 / (166 * 3 * 96 / 48e6))
    assert capture.window_s == pytest.approx(996e-6)
    assert np.array_equal(capture.records.index, np.arange(len(capture.records)))
    assert capture.records.flags[0] == wire.FLAG_SPLICE | wire.FLAG_SUPPLY_ON | wire.FLAG_BURDEN_ON
    assert (capture.records.flags[1:] == wire.FLAG_SUPPLY_ON | wire.FLAG_BURDEN_ON).all()
    assert (capture.records.position == wire.NO_POSITION).all()


def test_tapped_needs_a_build_that_may_tap() -> None:
    assert play("good", seconds=0.1, hookup="tapped").outputs == wire.OUT_TAPPED
    with pytest.raises(HookupError):
        play("good", seconds=0.1, hookup="tapped", build="plain")


def test_a_supply_dropout_is_on_all_channels_a_worn_spot_on_one() -> None:
    drop = Fault("supply-dropout", at_s=(0.2,), depth=0.9, duration_s=(2e-3, 2e-3))
    lift = Fault("loose", at_s=(0.3,), duration_s=(2e-3, 2e-3))
    spec = replace(load_sensor("two-tracks-half-scale"), faults=(drop, lift), lever="still")
    r = capture_of(spec, seconds=0.5).records
    low = r.mins < 0.5 * np.median(r.mins, axis=0)
    at_drop, at_lift = round(0.201 / 996e-6), round(0.301 / 996e-6)
    assert low[at_drop].all()
    assert low[at_lift].tolist() == [True, False, False]
    assert not low[: at_drop - 3].any()


def test_an_event_inside_another_of_its_channel_adds_nothing() -> None:
    outer = Disturbance(5e-3, 14e-3, 0, "lift", 1.0, 0)
    inner = Disturbance(7e-3, 9e-3, 0, "lift", 0.5, 0)
    net, knots = World("good").networks(ON)[0], np.ones(61)
    source = Source(2.0 * knots, knots / 500.0)
    drawn = []
    for events in ([outer], [outer, inner]):
        one = ChannelPlay(0)
        one.add(events)
        line = np.zeros(60 * 83)
        for first, volts in one.draw(1.2 * knots, 0.0, net, source, {}):
            line[first : first + volts.size] += volts
        drawn.append(line)
    assert np.array_equal(drawn[0], drawn[1])
    assert drawn[0].min() < -1.0


def test_a_lifted_ground_sends_the_signal_to_supply() -> None:
    lift = Fault("loose", wire="ground", at_s=(0.1,), duration_s=(5e-3, 5e-3))
    spec = replace(load_sensor("good"), faults=(lift,), lever="still")
    r = capture_of(spec, seconds=0.2).records
    assert r.maxs[:, 0].max() > 0.93 * np.median(r.maxs[:, 2])
    assert np.median(r.maxs[:, 0]) < 0.15 * np.median(r.maxs[:, 2])


def test_what_an_event_reached_agrees_with_the_codes() -> None:
    lift = Fault("loose", at_s=(0.1005,), duration_s=(90e-6, 90e-6))
    spec = replace(load_sensor("hall"), closed_v=3.0, faults=(lift,), lever="still")
    played = play(spec, seconds=0.2, noise_lsb=0.0, hum_v=0.0, pooled_noise=False)
    (seen,) = [r for r in played.reached() if r.event.channel == 0]
    codes = World(spec, seed=0, noise_lsb=0.0, hum_v=0.0).raw(200, ON).reshape(-1, 3)[:, 0].astype(float)
    zero = float(played.world.converter.codes(np.array([0.0]))[0])
    usual = np.median(codes)
    below = np.count_nonzero(codes - zero < (usual - zero) / 2)
    assert seen.half_s == pytest.approx(below * 6e-6, abs=8e-6)
    lsb_v = played.world.front_end.lsb_v
    assert seen.depth_v == pytest.approx((usual - codes.min()) * lsb_v, rel=0.03)
    assert seen.depth_percent == pytest.approx(100 * seen.depth_v / played.truth.supply_v)


def test_channels_are_converted_one_after_another() -> None:
    """Of equal ramps on all channels, B is read 2 us and supply 4 us after A: 1/249 and 2/249 of a step."""
    assert weights(0)[0] == 0.0
    assert weights(1)[0] * 83 * 6e-6 == pytest.approx(2e-6)
    assert weights(2)[-1] * 83 * 6e-6 == pytest.approx(82 * 6e-6 + 4e-6)


@pytest.mark.parametrize("name", ["loose-and-worn", "pwm"])
def test_a_switch_that_changes_nothing_changes_no_code(name: str) -> None:
    """The lower bias is blocked by its diode; what was drawn ahead is taken back and drawn once more."""
    straight, thrown = World(name, seed=3), World(name, seed=3)
    whole = straight.raw(1400, ON)
    pieces = [thrown.raw(7, ON | (wire.OUT_BIAS_DOWN if k % 2 else 0)) for k in range(200)]
    assert len(straight.scene.events) > 3 or name == "pwm"
    assert np.array_equal(whole, np.concatenate(pieces))


def test_hum_has_its_frequency_and_size() -> None:
    still = replace(load_sensor("hall"), lever="still", closed_v=2.2)
    quiet = capture_of(still, seconds=2.0, noise_lsb=0.3, hum_v=0.0).records.sums[:, 0] / wire.WINDOW
    loud = (
        capture_of(still, seconds=2.0, noise_lsb=0.3, hum_v=5e-3, hum_hz=60.0).records.sums[:, 0]
        / wire.WINDOW
    )
    spectrum = np.abs(np.fft.rfft(loud - loud.mean()))
    assert np.fft.rfftfreq(loud.size, 996e-6)[spectrum.argmax()] == pytest.approx(60.0, abs=0.5)
    lsb_v = World(still).front_end.lsb_v
    assert loud.std() * lsb_v * np.sqrt(2) == pytest.approx(5e-3, rel=0.15)
    assert quiet.std() * lsb_v < 0.4e-3


def test_a_plain_rig_carries_charge_from_channel_to_channel() -> None:
    """f C dV R: 166.7 kHz, 1 pF, 6 kohm and 1 kohm, from the supply's 2.8 V to A's 0.25 V (RP2350 datasheet: 1 pF)."""
    still = replace(load_sensor("hall"), lever="still", closed_v=0.45)
    shift = []
    for own in (4.7, 0.45):  # supply high, or as low as the signal
        spec = replace(still, own_supply_v=own, closed_v=0.45 * 5 / own, open_v=0.45 * 5 / own)
        codes = (
            World(spec, seed=3, build="plain", chip="rp2350", noise_lsb=1.0, hum_v=0.0)
            .raw(600, wire.OUT_SUPPLY)
            .reshape(-1, 3)
        )
        shift.append(codes[:, 0].mean())
    want_v = 166667 * 1e-12 * 7000 * 0.6 * (4.7 - 0.45)
    assert (shift[0] - shift[1]) * 3.3 / 4096 == pytest.approx(want_v, rel=0.1)


def test_slow_readings_of_a_still_sensor() -> None:
    still = replace(load_sensor("good"), lever="still", faults=(Fault("ground-shift", volts=0.1),))
    world = World(still, seed=1, battery_v=12.6)
    world.raw(200, ON)
    found = json.loads(json.dumps(world.slow(ON)))
    readings = {q: v for q, _, v in found["readings"]}
    node_v = {c: readings[q] * 1e-6 for c, q in enumerate((1, 2, 3))}
    assert node_v[2] / 0.6 == pytest.approx(world.supply_v(ON), rel=0.004)
    assert readings[wire.SLOW_GROUND] * 1e-6 == pytest.approx((0.1 + 3.3) / 2, rel=0.003)
    assert readings[wire.SLOW_BATTERY] * 1e-6 == pytest.approx(12.6 * 91 / (950 + 91), rel=0.003)
    assert readings[wire.SLOW_SUPPLY_CURRENT] == pytest.approx(world.supply_v(ON) / 5000.0 * 1e6, rel=0.01)
    assert found["fault"] is False
    assert len(World(still, seed=1, build="plain").slow(wire.OUT_SUPPLY)["readings"]) == 1  # type: ignore[arg-type]


def test_the_rig_stays_while_sensor_and_day_change() -> None:
    world = World("good", seed=1, rig_seed=9)
    other = world.like("falling", seed=2, vref_shift=0.001)
    assert np.array_equal(world.converter.levels, other.converter.levels)
    assert np.array_equal(world.board.r_top_ohm, other.board.r_top_ohm)
    assert other.vref_v == pytest.approx(world.vref_v * 1.001)
    assert not np.array_equal(world.converter.levels, World("good", seed=1).converter.levels)


def test_a_bench_meter_stays_within_what_its_maker_says() -> None:
    kind = Meter(percent_of_reading=0.05, counts=3, count_v=1e-4)
    errors = np.array([BenchMeter(kind, seed=s).read(4.0) - 4.0 for s in range(300)])
    assert np.abs(errors).max() <= 4.0 * 0.0005 + 3 * 1e-4 + 5e-5
    assert errors.std() > 0.0005


def test_calibration_points_tell_the_rigs_own_line() -> None:
    """Slope of code over true volts against divider, reference and gain of this very rig."""
    world = World("good", seed=3)
    meter = Meter(percent_of_reading=0.05, counts=3, count_v=1e-4)
    found = [r for r in calibration_points(world, [0.5, 1.5, 2.5, 3.5, 4.5], meter=meter) if r.channel == 0]
    slope = np.polyfit([r.true_v for r in found], [r.code for r in found], 1)[0]
    want = world.board.ratio(0) * world.lsb_per_v
    assert slope / want == pytest.approx(0.9935, abs=0.003)
    assert all(abs(r.reading_v - r.true_v) < 3e-3 for r in found)


def test_the_twin_knows_no_detector_and_no_judge() -> None:
    code = (
        "import sys, sweeprig.twin.capture, sweeprig.twin.simulated, sweeprig.twin.world;"
        "sys.exit(any(m.startswith(('sweeprig.analysis', 'sweeprig.judge')) for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
