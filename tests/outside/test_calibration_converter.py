"""Converter linearity, wide codes and the loaded divider against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from sweeprig.calibration.codes import WIDE_CODES, chip_facts, departure_covariance, nominal_linearity
from sweeprig.calibration.density import ramp_density
from sweeprig.calibration.volts import unloaded
from sweeprig.frontend import front_end


def test_ramp_histogram_of_four_bits():
    """IEEE Std 1241, ramp histogram (example of 4 bits, computed apart from this project)."""
    counts = np.array([4, 5, 5, 7, 8, 7, 9, 5, 6, 3, 6, 7, 9, 6, 5, 9])
    found = ramp_density(counts)
    dnl = [-0.2045, -0.2045, 0.1136, 0.2727, 0.1136, 0.4318, -0.2045]
    dnl += [-0.0455, -0.5227, -0.0455, 0.1136, 0.4318, -0.0455, -0.2045]
    assert found.code.tolist() == list(range(1, 15))
    assert found.dnl_lsb == pytest.approx(dnl, abs=5e-5)
    inl = np.cumsum(found.dnl_lsb)  # terminal-based
    assert np.abs(inl).max() == pytest.approx(0.5227, abs=5e-5)
    assert inl[-1] == pytest.approx(0.0, abs=1e-12)


def test_wide_codes_stand_where_the_erratum_puts_them():
    """Erratum RP2040-E11 (RP2040 datasheet): codes 512, 1536, 2560, 3584; measured, the one below each."""
    assert [c + 1 for c in WIDE_CODES] == [512, 1536, 2560, 3584]
    error = nominal_linearity("rp2040")
    steps = [-np.diff(np.interp([c - 0.5, c + 0.5], error.code, error.error_lsb))[0] for c in WIDE_CODES]
    assert all(7.7 - 1 <= s <= 10.0 for s in steps)


@pytest.mark.parametrize(("chip", "low", "high"), [("rp2040", 5.0, 6.1), ("rp2350", 1.8, 3.1)])
def test_assumed_departures_are_as_large_as_measured(chip: str, low: float, high: float):
    """Five boards of each chip, public data: INL (least squares) 5.7 to 6.1 LSB and 1.8 to 3.1 LSB."""
    code = np.arange(8.0, 4096.0, 16.0)
    root = np.linalg.cholesky(departure_covariance(code, code, chip=chip) + 1e-9 * np.eye(code.size))
    usual = nominal_linearity(chip)
    base = 0.0 if usual is None else np.interp(code, usual.code, usual.error_lsb)
    rng, largest = np.random.default_rng(5), []
    for _ in range(300):
        e = base + root @ rng.standard_normal(code.size)
        largest.append(np.abs(e - np.polyval(np.polyfit(code, e, 1), code)).max())
    assert low <= np.median(largest) <= high


# Five boards of each chip, public data, lowest and highest: slope of code against input less one, code at zero input.
MEASURED = [("rp2040", (-0.0071, -0.0059), (12, 19)), ("rp2350", (-0.0037, -0.0030), (0, 10))]


@pytest.mark.parametrize(("chip", "slopes", "codes"), MEASURED)
def test_the_line_of_an_uncalibrated_rig_holds_the_measured(chip: str, slopes: tuple, codes: tuple):
    facts = chip_facts(chip)
    assert facts.gain_error[0] <= slopes[0]
    assert facts.gain_error[1] >= slopes[1]
    assert facts.gain_error[1] < 0  # below one on all ten boards
    assert facts.zero_code[0] < codes[0]
    assert facts.zero_code[1] > codes[1] - 1.5  # boards read 1 to 2 above the line at 0 V


def test_rp2350_is_expected_to_step():
    """Every board steps by 1.5 to 2 LSB within 100 codes near 1500..1600, and near 2500..2600."""
    error = nominal_linearity("rp2350")
    for low in (1500, 2500):
        near = np.interp(np.arange(low, low + 100.0), error.code, error.error_lsb)
        assert 1.3 < near.max() - near.min() < 2.7


# Loaded divider, k = load / track: Vout/Vs = x / (1 + x (1 - x) / k); 4 / (27 k) for small errors (handbooks of
# potentiometer makers, public). Largest error in per cent and where it stands, computed apart from this project.
LOADING = [
    (1.0, 12.15851, 0.688892),
    (2.0, 6.67256, 0.678363),
    (10.0, 1.44933, 0.669109),
    (100.0, 0.14782, 0.666913),
]


@pytest.mark.parametrize(("k", "percent", "x"), LOADING)
def test_loading_is_taken_out(k: float, percent: float, x: float):
    loaded = np.array([(x - percent / 100) * 5.0])
    free = unloaded(loaded, supply_v=np.array([5.0]), track_ohm=1000.0, load_ohm=1000.0 * k)
    assert free[0] / 5.0 == pytest.approx(x, abs=2e-7 * 100)


def test_load_of_the_rig_on_a_track():
    """The same formula from the front end: the largest error of a track of a tenth of the load is 1.44933 %."""
    end = front_end("full")
    assert end.loading_error(track_ohm=end.load_ohm(burden_on=True) / 10, burden_on=True) == pytest.approx(
        0.0144933, abs=2e-7
    )
