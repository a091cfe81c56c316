"""Codes to volts: wide codes under noise and movement, load, ground, angle, the charge of the channel before."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.calibration.codes import corrected, nominal_linearity
from sweeprig.calibration.expected import expected_inverse, mean_codes, mean_range, noise_lsb, spreads_lsb
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance
from sweeprig.calibration.model import Calibration, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.slow import battery_of_node, ground_at_sensor, ground_of_node
from sweeprig.calibration.uncertainty import (
    OUTSIDE,
    beyond_points,
    budget_of,
    calibration_lines,
    combine,
    loading_line,
    reference_lines,
)
from sweeprig.calibration.volts import angle_deg, to_trace, unloaded, without_carry_over
from sweeprig.capture.model import Capture, Channel, SweepSetup
from sweeprig.frontend import front_end
from sweeprig.link.messages import Records, SlowReading
from sweeprig.words import Hookup

RIG = {"uid": "00ff", "build": "full", "chip": "rp2040"}
FULL = front_end("full")
LIN = nominal_linearity("rp2040")


def staircase(inputs: np.ndarray) -> np.ndarray:
    """Codes of a converter with exactly the usual wide codes, for inputs on the corrected scale."""
    edges = corrected(np.arange(1, 4096) - 0.5, LIN)
    return np.searchsorted(edges, inputs, side="right")


@pytest.mark.parametrize("noise", [0.5, 0.9, 1.4])
@pytest.mark.parametrize("place", [-6.0, -2.0, 0.0, 2.0, 6.0, 300.0])
def test_a_mean_beside_a_wide_code_is_turned_back_into_its_input(noise: float, place: float):
    middle = float(corrected(np.array([1535.0]), LIN)[0])
    rng = np.random.default_rng(1)
    mean = staircase(middle + place + rng.normal(0, noise, 200_000)).mean()
    found = expected_inverse(np.array([mean]), np.array([noise]), LIN)[0]
    deep = abs(place) < 4 - 2 * noise  # deep inside the wide code nothing tells where
    assert found == pytest.approx(middle + place, abs=5.5 if deep else 0.15)


def test_correcting_the_mean_by_its_code_would_be_wrong_there():
    middle = float(corrected(np.array([1535.0]), LIN)[0])
    rng = np.random.default_rng(2)
    mean = staircase(middle + 4.4 + rng.normal(0, 0.9, 200_000)).mean()
    by_code = float(corrected(np.array([mean]), LIN)[0])
    found = expected_inverse(np.array([mean]), np.array([0.9]), LIN)[0]
    assert abs(by_code - middle - 4.4) > 5 * abs(found - middle - 4.4)


def test_a_ramp_across_a_wide_code_stays_straight():
    middle = float(corrected(np.array([2559.0]), LIN)[0])
    inputs = middle + np.linspace(-200, 200, 100 * wire.WINDOW)
    codes = staircase(inputs + np.random.default_rng(3).normal(0, 0.9, inputs.size)).reshape(100, wire.WINDOW)
    found = mean_codes(
        codes.sum(axis=1).astype(np.uint32), codes.min(axis=1).astype(np.uint16), codes.max(axis=1).astype(np.uint16),
        window=wire.WINDOW, linearity=LIN,
    )  # fmt: skip
    wanted = inputs.reshape(100, wire.WINDOW).mean(axis=1)
    assert np.abs(found - wanted).max() < 0.8
    uncorrected = codes.mean(axis=1) - wanted
    assert np.ptp(uncorrected) > 7


def test_nothing_is_corrected_without_departures():
    sums = np.array([166_000, 332_000], np.uint32)
    none = np.zeros(2, np.uint16)
    assert mean_codes(sums, none, none, window=166, linearity=None).tolist() == [1000.0, 2000.0]
    assert mean_codes(sums[:0], none[:0], none[:0], window=166, linearity=LIN).size == 0


def test_nan_stays_nan():
    found = expected_inverse(np.array([np.nan, 1000.0]), np.array([0.9, 0.9]), LIN)
    assert math.isnan(found[0])
    assert math.isfinite(found[1])


def test_noise_is_read_from_the_range_of_codes():
    rng = np.random.default_rng(4)
    codes = np.round(1000 + rng.normal(0, 1.2, (400, 166)))
    low, high = codes.min(axis=1).astype(np.uint16), codes.max(axis=1).astype(np.uint16)
    assert noise_lsb(low, high, window=166, linearity=LIN) == pytest.approx(1.2, rel=0.2)
    inside = np.full(50, 1535, np.uint16)
    assert noise_lsb(inside, inside, window=166, linearity=LIN) == pytest.approx(0.9)


def test_mean_range_of_normal_values():
    """d2 of control charts: 1.128 for 2, 2.326 for 5, 3.078 for 10, 3.735 for 20 (ASTM tables, from memory)."""
    assert [round(mean_range(n), 3) for n in (2, 5, 10, 20)] == pytest.approx(
        [1.128, 2.326, 3.078, 3.735], abs=2e-3
    )


def test_movement_widens_the_spread():
    steady = spreads_lsb(np.full(10, 700.0), 0.9)
    moving = spreads_lsb(np.arange(10) * 12.0, 0.9)
    assert steady == pytest.approx(np.full(10, 0.9))
    assert moving[5] == pytest.approx(math.hypot(0.9, 12 / math.sqrt(12)))


def capture(volts: tuple[float, float, float], *, n: int = 40, **more) -> Capture:
    """A capture whose codes are what the nominal calibration turns into these volts."""
    calibration = nominal_calibration(RIG).channels
    inputs = [(v - c.line.offset_v) / c.line.gain_v for v, c in zip(volts, calibration, strict=True)]
    raw = [float(np.interp(x, corrected(LIN.code, LIN), LIN.code)) for x in inputs]
    sums = np.tile(np.round(np.array(raw) * wire.WINDOW).astype(np.uint32), (n, 1))
    codes = np.tile(np.round(raw).astype(np.uint16), (n, 1))
    position = more.pop("position", np.full(n, wire.NO_POSITION, np.uint16))
    flags = more.pop("flags", np.zeros(n, np.uint16))
    records = Records(np.arange(n, dtype=np.int64), sums, codes, codes, position, flags)
    setup = more.pop("setup", SweepSetup())
    return Capture(records, RIG, setup, "", wire.WINDOW, float(wire.CONVERSION_HZ), **more)


def trace(volts: tuple[float, float, float], track_ohm: float | None = None, **more):
    made = capture(volts, **more)
    return to_trace(made, calibration=nominal_calibration(RIG), front_end=FULL, track_ohm=track_ohm)


def test_codes_come_out_as_the_volts_they_were():
    found = trace((2.0, 2.0, 2.0))
    assert found.signal_a.mean_v == pytest.approx(np.full(40, 2.0), abs=1e-4)
    assert found.supply.mean_v == pytest.approx(np.full(40, 2.0), abs=1e-4)
    assert found.lsb_v == pytest.approx(3.3 / 0.6 / 4096 / 0.9935, rel=0.001)  # slope 0.65 % below one
    assert 5.3 < found.full_scale_v < 5.6
    assert not found.gap_before.any()


def test_a_channel_on_which_nothing_stands_is_none():
    found = trace((2.0, 0.01, 4.9))
    assert found.signal_b is None
    assert found.supply is not None


def test_load_is_taken_out_with_known_track_and_own_supply():
    track = 5000.0
    load = FULL.load_ohm(burden_on=True)
    x = 0.6
    loaded = 5.0 * x / (1 + x * (1 - x) * track / load)
    burden = np.full(40, wire.FLAG_BURDEN_ON, np.uint16)
    taken_out, left_in = (
        trace((loaded, 0.01, 5.0), track, flags=burden),
        trace((loaded, 0.01, 5.0), flags=burden),
    )
    free, kept = taken_out.signal_a.mean_v[0], left_in.signal_a.mean_v[0]
    tapped = trace((loaded, 0.01, 5.0), track, flags=burden, setup=SweepSetup(hookup=Hookup.TAPPED))
    assert free == pytest.approx(3.0, abs=1.5e-3)
    assert kept == pytest.approx(loaded, abs=1.5e-3)
    assert tapped.signal_a.mean_v[0] == pytest.approx(loaded, abs=1.5e-3)
    assert free - kept > 20e-3
    assert (taken_out.load_ohm, left_in.load_ohm, tapped.load_ohm) == (None, load, load)
    assert trace((loaded, 0.01, 5.0)).load_ohm == FULL.load_ohm(burden_on=False)


def test_load_at_and_beyond_the_rails_changes_nothing():
    rails = np.array([0.0, 5.0, -0.02, 5.1, np.nan])
    found = unloaded(rails, supply_v=np.full(5, 5.0), track_ohm=1e4, load_ohm=1e5)
    assert found[:4] == pytest.approx(rails[:4])
    assert math.isnan(found[4])
    assert unloaded(np.array([1.0]), supply_v=np.array([0.0]), track_ohm=1e4, load_ohm=1e5)[0] == 1.0


def test_the_charge_of_the_channel_before_is_taken_off():
    plain = front_end("plain")
    true = [np.full(3, v) for v in (0.5, 2.5, 5.0)]
    per_volt = plain.divider_ratio * plain.memory_at_sensor_v(step_v=1.0, conversion_hz=5e5, channels=3)
    seen = [t + per_volt * (true[k - 1] - t) for k, t in enumerate(true)]
    channels = [Channel(s, s, s) for s in seen]
    found = without_carry_over(channels, front_end=plain, conversion_hz=5e5)
    assert abs(seen[0][0] - 0.5) > 3e-3
    assert found[0].mean_v[0] == pytest.approx(0.5, abs=2e-5)


def test_lost_conversions_and_splices_are_gaps():
    flags = np.zeros(40, np.uint16)
    flags[0] = flags[9] = wire.FLAG_SPLICE
    flags[20] = wire.FLAG_CONVERSIONS_LOST
    found = trace((2.0, 2.0, 5.0), flags=flags)
    assert np.flatnonzero(found.gap_before).tolist() == [9, 20]


def test_angle_unwraps_and_needs_an_encoder():
    assert angle_deg(np.full(5, wire.NO_POSITION, np.uint16)) is None
    found = angle_deg(np.array([4090, 4094, 2, 6], np.uint16))
    assert np.diff(found) == pytest.approx(np.full(3, 4 * 360 / 4096))
    holes = np.arange(200, dtype=np.uint16)
    holes[7] = wire.NO_POSITION
    assert angle_deg(holes)[7] == pytest.approx(6 * 360 / 4096)
    holes[:5] = wire.NO_POSITION
    assert angle_deg(holes) is None


def slow(volts: float, at: int = 0) -> SlowReading:
    node = (volts * 330e3 + 3.3 * 330e3) / 660e3
    return SlowReading(at, wire.SLOW_GROUND, 0, round(node * 1e6))


def test_ground_is_read_through_resistors_and_held():
    tapped = SweepSetup(hookup=Hookup.TAPPED)
    made = capture((2.0, 2.0, 5.0), setup=tapped, slow=(slow(0.1), slow(0.1, 5), slow(0.3, 20)))
    found = ground_at_sensor(made, FULL)
    assert found[:20] == pytest.approx(np.full(20, 0.1), abs=1e-5)
    assert found[20:] == pytest.approx(np.full(20, 0.3), abs=1e-5)


def test_a_ground_level_within_the_rails_doubt_is_none():
    tapped = SweepSetup(hookup=Hookup.TAPPED)
    made = capture((2.0, 2.0, 5.0), setup=tapped, slow=(slow(0.02), slow(0.02, 5), slow(0.12, 20)))
    found = ground_at_sensor(made, FULL)
    assert found[0] == pytest.approx(0.0, abs=1e-5)
    assert found[-1] == pytest.approx(0.1, abs=1e-5)


def test_ground_needs_a_lead_tapping_and_readings():
    tapped = SweepSetup(hookup=Hookup.TAPPED)
    assert ground_at_sensor(capture((2.0, 2.0, 5.0), slow=(slow(0.1),)), FULL) is None
    assert ground_at_sensor(capture((2.0, 2.0, 5.0), setup=tapped, slow=(slow(3.3),)), FULL) is None
    assert ground_at_sensor(capture((2.0, 2.0, 5.0), setup=tapped), FULL) is None
    bad = (replace(slow(0.1), status=1),)
    assert ground_at_sensor(capture((2.0, 2.0, 5.0), setup=tapped, slow=bad), FULL) is None


def test_nodes_to_leads():
    assert ground_of_node(np.array([1.65]), FULL)[0] == pytest.approx(0.0, abs=1e-12)
    assert battery_of_node(1.26, FULL) == pytest.approx(14.4, abs=0.05)  # as parts.toml says of R11


METER = Meter(percent_of_reading=0.05, counts=3, count_v=1e-4)


def calibrated(temperature: float | None = 25.0) -> Calibration:
    points = tuple(CalibrationPoint(v / 1.335e-3 + 15, v) for v in (0.3, 1.4, 2.5, 3.6, 4.7))
    cov = meter_covariance(np.array([p.reading_v for p in points]), METER)
    channels = tuple(fit_channel(c, points, cov_v=cov, chip="rp2350") for c in range(3))
    return Calibration("line", "x", "full", "rp2350", channels, temperature_c=temperature, smps_mode="pwm")


def moved_v(at_calibration: float | None, now: float, mode: str) -> float:
    """Standard uncertainty of 4 V for what the reference may have moved."""
    return combine(reference_lines(4.0, calibrated(at_calibration), temperature_c=now, smps_mode=mode)).u


def test_the_reference_may_have_moved_since_the_calibration():
    near, far = moved_v(25.0, 26.0, "pwm"), moved_v(25.0, 45.0, "pwm")
    assert near < moved_v(None, 26.0, "pwm") < far
    assert moved_v(25.0, 26.0, "psm") == pytest.approx(math.hypot(near, 4.0 * 1e-3 / math.sqrt(3)))


def test_an_uncalibrated_rig_is_known_far_less_well():
    nominal = budget_of(2.5, calibration=nominal_calibration(RIG), front_end=FULL).u95
    made = budget_of(2.5, calibration=calibrated(), front_end=FULL, temperature_c=25.0, smps_mode="pwm").u95
    assert made < 4e-3
    assert nominal > 25e-3


def test_data_that_no_rig_took_has_no_calibration():
    assert calibration_lines(2.5, calibration=None, channel=0, front_end=None) == ()


def test_scatter_enters_with_its_degrees_of_freedom():
    free = budget_of(2.5, calibration=calibrated(), front_end=FULL, type_a=(0.01, 2.0))
    assert free.lines[0].kind == "A"
    assert 2.0 <= free.dof < 2.5
    assert free.k == pytest.approx(4.30, abs=0.01)


def test_a_value_beyond_the_points_is_said():
    own = calibrated().channels[0]
    assert beyond_points(2.0, own) == ""
    assert beyond_points(5.1, own) == OUTSIDE
    assert beyond_points(2.0, nominal_calibration(RIG).channels[0]) == ""


def test_a_load_that_is_not_corrected_is_a_term():
    line = loading_line(5 * 2 / 3 * 0.9, supply_v=5.0, track_ohm=1e4, load_ohm=1e5)
    x = 2 / 3 * 0.9
    solved = next(t for t in np.linspace(0, 1, 200_001) if t / (1 + t * (1 - t) * 0.1) >= x)
    assert line.contribution == pytest.approx((solved - x) * 5 / math.sqrt(3), rel=1e-3)
    assert loading_line(0.0, supply_v=5.0, track_ohm=1e4, load_ohm=1e5).contribution == 0.0
