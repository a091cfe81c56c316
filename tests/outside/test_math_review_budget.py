"""Budgets of several channels against the library uncertainties, which follows every error through the formula.

JCGM 100:2008, 5.2.2: contributions that are one and the same error add with their signs, others in squares.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from uncertainties import ufloat

from support.judge_cases import ADJUSTABLE, OPPOSED, RECTANGULAR, TRACE, check, end, given, seen
from support.outcomes import make_calibration
from sweeprig.analysis.model import TwoTracks
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance
from sweeprig.calibration.model import Calibration, ChannelCalibration, Line, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.slow import ground_half_width_v
from sweeprig.calibration.uncertainty import SINCE_CALIBRATION, calibration_lines
from sweeprig.frontend import front_end

POOR = Meter(percent_of_reading=0.5, counts=2.0, count_v=0.01)
LSB_V = 3.3 / 0.6 / 4096
VOLTS = (0.3, 1.4, 2.5, 3.6, 4.7)
A_LOW, A_HIGH, B_LOW, B_HIGH, SUPPLY = 0.45, 4.5, 0.5, 4.55, 5.0
TWO = TwoTracks("opposed", -1.0, 5.0, 0.01, 0.2, 50.0)
SEEN = seen(
    A_LOW,
    A_HIGH,
    supply=SUPPLY,
    low_b=end(B_LOW, supply=SUPPLY),
    high_b=end(B_HIGH, supply=SUPPLY),
    two_tracks=TWO,
)
BOTH = replace(TRACE, signal_b=TRACE.signal_a, board_temperature_c=21.5, smps_mode="pwm")


def poor_calibration() -> Calibration:
    """All channels fitted to the same readings of a poor meter, as a calibration does; departures left out."""
    import numpy as np

    points = tuple(CalibrationPoint(v / LSB_V, v) for v in VOLTS)
    cov = meter_covariance(np.array(VOLTS), POOR)
    lines = [fit_channel(c, points, cov_v=cov, chip="rp2350", bend=False).line for c in range(3)]
    return make_calibration(
        meter=POOR, channels=tuple(ChannelCalibration(c, line) for c, line in enumerate(lines))
    )


def meter_errors() -> tuple[object, object]:
    """Gain and zero of the one meter: the half count of rounding is left out, it is small and new at each point."""
    return ufloat(0.0, 0.005 / math.sqrt(3)), ufloat(0.0, 1.5 * 0.01 / math.sqrt(3))


def test_a_meters_zero_cancels_in_a_ratio_as_its_gain_does() -> None:
    """Signal and supply are calibrated to the same readings: (V (1+g) + z) / (S (1+g) + z)."""
    g, z = meter_errors()
    for value, key in ((A_LOW, "closed_ratio"), (A_HIGH, "open_ratio")):
        theirs = ((value * (1 + g) + z) / (SUPPLY * (1 + g) + z)).s
        rounding = 0.005 / math.sqrt(3) / SUPPLY  # of both fits at most
        ours = given(SEEN, OPPOSED, trace=BOTH, calibration=poor_calibration()).quantities[key].u
        assert theirs <= ours <= math.hypot(theirs, 1.5 * rounding), key


def test_sum_of_two_tracks_has_the_meters_gain_once() -> None:
    """A + B of four ends read with one gain: 0.29 % of 5 V is 14 mV, not the 9 mV of four independent errors."""
    own = replace(OPPOSED, supply=replace(OPPOSED.supply, ratiometric=False))
    g, z = meter_errors()
    theirs = (sum(v * (1 + g) + z for v in (A_LOW, A_HIGH, B_LOW, B_HIGH)) / 2).s
    ours = check(given(SEEN, own, trace=BOTH, calibration=poor_calibration()), "sum_b").u95
    assert ours == pytest.approx(1.96 * theirs, rel=0.05)


def test_the_sum_of_two_tracks_at_nominal_supply_has_one_supply() -> None:
    """One supply under all four ends, one offset of 3 mV in each channel."""
    exact = Meter(percent_of_reading=0.0, counts=0.5, count_v=1e-5)
    line = Line(0.0, LSB_V, 9e-6, 0.0, 0.0)
    calibration = make_calibration(meter=exact, channels=tuple(ChannelCalibration(c, line) for c in range(3)))
    a, b, s = (ufloat(0.0, 3e-3) for _ in range(3))
    theirs = (5.0 * (A_LOW + A_HIGH + 2 * a + B_LOW + B_HIGH + 2 * b) / 2 / (SUPPLY + s)).s
    ours = check(given(SEEN, OPPOSED, trace=BOTH, calibration=calibration), "sum_b").u95
    assert ours == pytest.approx(1.96 * theirs, rel=0.01)


def test_span_at_nominal_supply_holds_the_supply() -> None:
    """x = Vn (H - L) / (S - G): the supply's own 30 mV is as much a part of it as anything else."""
    exact = Meter(percent_of_reading=0.0, counts=0.5, count_v=1e-5)
    fine, rough = (Line(0.0, LSB_V, u * u, 0.0, 0.0) for u in (1e-4, 30e-3))
    calibration = make_calibration(
        meter=exact,
        channels=(ChannelCalibration(0, fine), ChannelCalibration(1, fine), ChannelCalibration(2, rough)),
    )
    theirs = (5.0 * (A_HIGH - A_LOW) / ufloat(SUPPLY, 30e-3)).s
    ours = check(given(seen(A_LOW, A_HIGH, supply=SUPPLY), calibration=calibration), "span").u95
    assert ours == pytest.approx(1.96 * theirs, rel=0.01)


def test_meter_gain_cancels_in_the_span_at_nominal_supply() -> None:
    g, z = meter_errors()
    theirs = (5.0 * (A_HIGH - A_LOW) * (1 + g) / (SUPPLY * (1 + g) + z)).s
    ours = check(
        given(seen(A_LOW, A_HIGH, supply=SUPPLY), trace=BOTH, calibration=poor_calibration()), "span"
    ).u95
    assert ours == pytest.approx(1.96 * theirs, rel=0.2)


def test_span_without_supply_counts_its_range() -> None:
    """Like the ends themselves: a supply taken as nominal may be anywhere in its range (JCGM 100, 4.3.7)."""
    blind = given(seen(A_LOW, A_HIGH, supply=math.nan), trace=replace(TRACE, supply=None))
    limits = ADJUSTABLE.limits.supply
    half = (limits.high - limits.low) / 2 / math.sqrt(3)
    assert check(blind, "span").u95 == pytest.approx(RECTANGULAR * half * (A_HIGH - A_LOW) / 5.0, rel=0.01)


def test_another_regulator_mode_widens_same_temperature_narrows() -> None:
    """Half-widths of the reference: 0.02 %, 0.005 % a kelvin (10 K where not known), 0.1 % in another mode; three
    independent rectangular terms.
    """

    def share(**of_trace: object) -> float:
        trace = replace(TRACE, **of_trace)
        budget = given(seen(A_LOW, A_HIGH, supply=SUPPLY), trace=trace).quantities["open_v"].budget
        parts = [b.contribution for b in budget if b.name in SINCE_CALIBRATION]
        return math.hypot(*parts) * math.sqrt(3) / A_HIGH

    assert share(board_temperature_c=21.5, smps_mode="pwm") == pytest.approx(2e-4)
    assert share(board_temperature_c=25.5, smps_mode="pwm") == pytest.approx(math.hypot(2e-4, 2e-4))
    assert share(board_temperature_c=21.5, smps_mode="psm") == pytest.approx(math.hypot(2e-4, 1e-3))
    assert share(smps_mode="pwm") == pytest.approx(math.hypot(2e-4, 5e-4))


def test_charge_of_the_channel_before_counts_for_supply() -> None:
    """f C R of the step from B, which may stand at 0 V: on a plain build 5 V of supply are shifted as 0 V of A are."""
    end_of, calibration = front_end("plain"), nominal_calibration({"build": "plain", "chip": "rp2040"})

    def share(value: float, channel: int) -> float:
        lines = calibration_lines(value, calibration=calibration, channel=channel, front_end=end_of)
        return next(b.contribution for b in lines if b.name == "charge of the channel before")

    assert share(5.0, 2) == pytest.approx(share(0.0, 0))
    assert share(5.0, 2) > 1e-3
    assert share(5.0, 0) == 0.0


def test_track_slope_has_both_bends_not_the_common_gain() -> None:
    """(B_high - B_low) / (A_high - A_low), every reading with the one gain g and 2 LSB of its own."""
    line = poor_calibration().channels[0].line
    calibration = make_calibration(
        meter=POOR,
        channels=tuple(ChannelCalibration(c, replace(line), u_linearity_lsb=2.0) for c in range(3)),
    )
    g, _ = meter_errors()
    a, b, c, d = (ufloat(0.0, 2.0 * line.gain_v) for _ in range(4))
    theirs = ((B_LOW + a - B_HIGH - b) * (1 + g) / ((A_HIGH + c - A_LOW - d) * (1 + g))).s
    rounding = 0.005 / math.sqrt(3) * math.sqrt(2) / (VOLTS[-1] - VOLTS[0])  # of both fits, small
    ours = check(given(SEEN, OPPOSED, trace=BOTH, calibration=calibration), "slope_b").u95
    assert theirs <= ours / 1.96 <= math.hypot(theirs, 1.5 * rounding)


def test_a_sensed_ground_is_as_uncertain_as_its_rail() -> None:
    """(V - G) / (S - G) with G = 80 mV ± 1 % of 3.3 V at the lift resistor (rectangular)."""
    import numpy as np

    end_of = front_end("full")
    half = ground_half_width_v(end_of)
    assert half == pytest.approx(0.033, rel=0.02)
    trace = replace(TRACE, ground_v=np.full(TRACE.t_s.size, 0.08))
    ground = ufloat(0.08, half / math.sqrt(3))
    analysis = seen(A_LOW, A_HIGH, supply=SUPPLY)
    for value, key in ((A_LOW, "closed_ratio"), (A_HIGH, "open_ratio")):
        theirs = ((value - ground) / (SUPPLY - ground)).s
        without = given(analysis).quantities[key].u
        ours = given(analysis, trace=trace, front_end=end_of).quantities[key].u
        assert ours == pytest.approx(math.hypot(theirs, without), rel=0.03), key
