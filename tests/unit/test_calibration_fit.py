"""The calibration of one channel: lines, departures, slips of the operator."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sweeprig.bench.calibration.text import channel_lines
from sweeprig.calibration.codes import departure_covariance, nodes, nominal_linearity, widest
from sweeprig.calibration.expected import expected_inverse
from sweeprig.calibration.fit import (
    CalibrationPoint,
    birge_ratio,
    fit_channel,
    fit_points,
    meter_covariance,
    prepare,
    wander_of,
)
from sweeprig.calibration.mistakes import refuse_mistakes
from sweeprig.calibration.model import Calibration, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.uncertainty import budget_of
from sweeprig.errors import CalibrationError
from sweeprig.frontend import front_end

METER = Meter(percent_of_reading=0.05, counts=3, count_v=1e-4)
VOLTS = (0.3, 1.4, 2.5, 3.6, 4.7)
GAIN, ZERO = 1.335e-3, 15.0
STRAIGHT = "straight"  # no chip that is known, so no departures are expected anywhere


def points(volts: tuple[float, ...] = VOLTS, *, gain: float = GAIN) -> tuple[CalibrationPoint, ...]:
    return tuple(CalibrationPoint(v / gain + ZERO, v) for v in volts)


def of_chip(chip: str, volts: tuple[float, ...] = VOLTS) -> tuple[CalibrationPoint, ...]:
    """Points of a converter that departs exactly as the chip's boards do in the mean."""
    usual = nominal_linearity(chip)
    straight = np.array(volts) / GAIN + ZERO
    codes = np.interp(straight, usual.code - usual.error_lsb, usual.code)
    return tuple(CalibrationPoint(float(c), v) for c, v in zip(codes, volts, strict=True))


def fitted(given: tuple[CalibrationPoint, ...], chip: str = "rp2350", meter: Meter = METER, **more: bool):
    cov = meter_covariance(np.array([p.reading_v for p in given]), meter)
    return fit_channel(0, given, cov_v=cov, chip=chip, **more)


def kriged_u(given: tuple[CalibrationPoint, ...], chip: str) -> np.ndarray:
    """What is left of the departures at the nodes [LSB], from the one system of universal kriging.

    N. Cressie, Statistics for Spatial Data, 1993, 3.4.2 (from memory): [V X; X' 0] s = [k; h]. The line's own share of
    the meter's errors is with the line.
    """
    ready = prepare(
        given,
        cov_v=meter_covariance(np.array([p.reading_v for p in given]), METER),
        linearity=nominal_linearity(chip),
    )
    wander, at = wander_of(ready, chip=chip), nodes(chip)
    fit = fit_points(ready, chip=chip, wander=wander)

    def cov(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return fit.slope**2 * departure_covariance(a, b, chip=chip, wander=wander)

    meter = ready.cov_v + fit.slope**2 * ready.cov_code
    design = np.stack([np.ones_like(ready.code), ready.code], axis=1)
    h = np.stack([np.ones_like(at), at])
    system = np.block([[cov(ready.code, ready.code) + meter, design], [design.T, np.zeros((2, 2))]])
    right = np.vstack([cov(ready.code, at), h])
    line = fit.weights.T @ h
    var = np.diag(cov(at, at) - np.linalg.solve(system, right).T @ right - line.T @ meter @ line)
    return np.sqrt(var) / fit.slope


def check(given: tuple[CalibrationPoint, ...], chip: str = "rp2350") -> None:
    nominal = nominal_calibration({"build": "full", "chip": chip}).channels[0]
    cov = meter_covariance(np.array([p.reading_v for p in given]), METER)
    refuse_mistakes(
        prepare(given, cov_v=cov, linearity=nominal.linearity), nominal=nominal, chip=chip, typed=given
    )


def test_a_straight_converter_gives_its_line_back():
    own = fitted(points(), STRAIGHT)
    assert own.line.gain_v == pytest.approx(GAIN, rel=1e-9)
    assert own.line.offset_v == pytest.approx(-ZERO * GAIN, abs=1e-9)
    assert np.abs(own.linearity.error_lsb).max() < 1e-6
    assert max(map(abs, own.residuals_v)) < 1e-9


def test_the_meters_gain_error_does_not_shrink_with_more_points():
    def u_at(volt: float, n: int) -> float:
        own = fitted(points(tuple(np.linspace(0.3, 4.7, n))))
        code = volt / GAIN + ZERO
        line = own.line
        return float(np.sqrt(line.var_offset + 2 * code * line.cov + code**2 * line.var_gain))

    common = 0.0005 * 4.7 / np.sqrt(3)
    assert u_at(4.7, 5) == pytest.approx(common, rel=0.05)
    assert u_at(4.7, 12) == pytest.approx(common, rel=0.05)


def test_two_points_are_enough_and_one_is_not():
    own = fitted(points((0.3, 4.7)))
    assert own.chi2 is None
    with pytest.raises(CalibrationError, match="too little of the rig's range"):
        fitted(points((2.5,)))


def test_points_close_together_are_refused():
    with pytest.raises(CalibrationError, match="range"):
        fitted(points((2.4, 2.5, 2.6)))


def test_a_bent_converter_is_straightened_by_many_points():
    volts = np.linspace(0.2, 4.8, 12)
    ideal = volts / GAIN + ZERO
    bent = ideal + 2.0 * np.sin(ideal / 4096 * 2 * np.pi)
    own = fitted(
        tuple(CalibrationPoint(float(c), float(v)) for c, v in zip(bent, volts, strict=True)), STRAIGHT
    )
    probe = np.linspace(0.4, 4.6, 50)
    code = probe / GAIN + ZERO
    code = code + 2.0 * np.sin(code / 4096 * 2 * np.pi)
    read = own.line.offset_v + own.line.gain_v * (
        code - np.interp(code, own.linearity.code, own.linearity.error_lsb)
    )
    straight = fitted(
        tuple(CalibrationPoint(float(c), float(v)) for c, v in zip(bent, volts, strict=True)),
        STRAIGHT,
        bend=False,
    )
    plain = straight.line.offset_v + straight.line.gain_v * code
    assert np.abs(read - probe).max() < 0.25e-3
    assert np.abs(plain - probe).max() > 1.2e-3


def test_wide_codes_are_taken_out():
    """A converter with exactly the usual wide codes reads true between its points."""
    usual = nominal_linearity("rp2040")
    straight = np.arange(0.0, 4096.0, 0.5)
    raw = np.interp(straight, np.asarray(usual.code - usual.error_lsb), usual.code)
    volts = GAIN * (straight - ZERO)

    def code_of(volt: float) -> float:
        return float(np.interp(volt, volts, raw))

    given = tuple(CalibrationPoint(code_of(v), v) for v in VOLTS)
    own = fitted(given, "rp2040")
    left = fitted(given, "rp2040", wide_removed=False, bend=False)

    def error(calibrated, volt: float) -> float:
        code = code_of(volt)
        if calibrated.linearity is not None:
            code = code - float(np.interp(code, calibrated.linearity.code, calibrated.linearity.error_lsb))
        return abs(calibrated.line.offset_v + calibrated.line.gain_v * code - volt)

    probe = np.linspace(0.35, 4.65, 200)
    assert max(error(own, v) for v in probe) < 1e-3
    assert max(error(left, v) for v in probe) > 5e-3


def test_uncertainty_is_larger_between_points_and_beyond_them():
    own = fitted(points((0.5, 2.5, 4.5)), bend=True)
    calibration = Calibration("line", "x", "full", "rp2350", (own,))
    end = front_end("full")

    def linearity(volt: float) -> float:
        return next(
            b.contribution
            for b in budget_of(volt, calibration=calibration, front_end=end).lines
            if b.name.startswith("linearity")
        )

    assert linearity(1.5) > linearity(2.5)
    assert linearity(5.2) > linearity(4.5)


def test_inside_a_wide_code_the_uncertainty_says_so():
    own = fitted(of_chip("rp2040"), "rp2040")
    calibration = Calibration("line", "x", "full", "rp2040", (own,))
    inside = own.line.offset_v + own.line.gain_v * float(
        expected_inverse(np.array([1535.0]), np.array([0.5]), own.linearity)[0]
    )
    names = [b.name for b in budget_of(inside, calibration=calibration, front_end=front_end("full")).lines]
    assert "inside a wide code" in names
    names = [
        b.name for b in budget_of(inside + 0.05, calibration=calibration, front_end=front_end("full")).lines
    ]
    assert "inside a wide code" not in names
    assert widest(1535.0, own.linearity) == pytest.approx(1 + 8.53, abs=0.3)  # measured, converters.toml


def test_good_points_pass():
    check(points())


def test_twelve_points_of_a_stepping_rp2350_are_not_refused():
    """Steps as measured on five boards: 1.5 to 2 LSB near 1536 and 2560, 0.4 to 2.3 at 2048, 0.2 to 1.2 between."""
    rng = np.random.default_rng(8)
    for _ in range(20):
        sizes = rng.uniform((0.2, 1.5, 0.4, 1.5), (1.2, 2.0, 2.3, 2.0))
        code = np.arange(4096.0)
        rise = sizes[0] * ((code // 256 + 1) // 2) - sizes[0] * code / 512
        falls = sum(
            s * ((code >= at) - code / 4096) for s, at in zip(sizes[1:], (1536, 2048, 2560), strict=True)
        )
        volts = tuple(float(v) for v in np.linspace(0.25, 4.75, 12))
        codes = np.interp(np.array(volts) / GAIN + ZERO, code + rise - falls, code)
        check(tuple(CalibrationPoint(float(c), round(v, 4)) for c, v in zip(codes, volts, strict=True)))


def test_swapped_points_are_named():
    given = points()
    swapped = (
        given[0],
        replace(given[1], reading_v=3.6),
        given[2],
        replace(given[3], reading_v=1.4),
        given[4],
    )
    with pytest.raises(CalibrationError, match=r"Points 2 and 4 of signal A look swapped"):
        check(swapped)


@pytest.mark.parametrize(
    ("number", "typed"), [(5, 0.47), (2, 14.0), (3, 5.2), (4, 3.7), (3, 2.52), (4, 3.61)]
)
def test_a_slipped_reading_is_named_and_no_number_proposed(number: int, typed: float):
    """A number that would fit invites to type it instead of reading the meter again."""
    given = list(points())
    meant = given[number - 1].reading_v
    given[number - 1] = replace(given[number - 1], reading_v=typed)
    with pytest.raises(CalibrationError) as caught:
        check(tuple(given))
    text = str(caught.value)
    assert f"Point {number} of signal A" in text
    assert "meant" not in text
    assert f"{meant:.1f}" not in text.replace(f"{typed:.4f}", "")


def test_with_two_points_the_parts_tell_a_slip():
    with pytest.raises(CalibrationError, match="does not fit"):
        check(points((0.3, 4.7), gain=GAIN * 1.1))


def test_many_small_errors_are_caught_together():
    rng = np.random.default_rng(3)
    given = tuple(
        replace(p, reading_v=p.reading_v + 0.006 * s)
        for p, s in zip(points(tuple(np.linspace(0.3, 4.7, 12))), rng.choice([-1, 1], 12), strict=True)
    )
    with pytest.raises(CalibrationError):
        check(given)


def test_residuals_larger_than_expected_widen_u():
    """R. T. Birge, Phys. Rev. 40, 1932 (from memory): sqrt(chi2 / dof), where chance hardly explains it."""
    assert birge_ratio(12.0, 3) == pytest.approx(2.0)
    assert birge_ratio(7.0, 3) == 1.0  # happens in 7 of 100
    assert birge_ratio(100.0, 0) == 1.0
    usual, odd = fitted(points(), STRAIGHT), list(points())
    for k, lsb in ((1, 8.0), (2, -8.0)):
        odd[k] = replace(odd[k], reading_v=odd[k].reading_v - GAIN * lsb)
    found = fitted(tuple(odd), STRAIGHT)
    assert usual.widened == 1.0
    assert found.widened > 1.3
    code, u = np.array(found.u_at).T
    ratio = u / np.array(usual.u_at)[:, 1]
    away = np.abs(code[:, None] - [p.code for p in odd]).min(axis=1) > 150
    assert ratio[away] == pytest.approx(found.widened, rel=0.02)
    assert u == pytest.approx(kriged_u(tuple(odd), STRAIGHT), rel=1e-3)
    unbent = fitted(tuple(odd), STRAIGHT, bend=False)
    ratio = np.array(unbent.u_at)[:, 1] / np.array(fitted(points(), STRAIGHT, bend=False).u_at)[:, 1]
    assert ratio == pytest.approx(unbent.widened, rel=0.02)
    assert "linearity error is larger than usual" in "\n".join(channel_lines(found))
    assert "departs" not in "\n".join(channel_lines(usual))


def test_residuals_that_chance_may_explain_widen_u_too():
    """Of five points on a converter unlike the boards, most leave residuals that chance alone makes in 1 of 10."""
    odd = list(points())
    for k, lsb in ((1, 3.0), (2, -3.0)):
        odd[k] = replace(odd[k], reading_v=odd[k].reading_v - GAIN * lsb)
    found = fitted(tuple(odd), STRAIGHT)
    assert 3.0 < found.chi2 < 7.8  # 3 degrees of freedom: more in 39 and in 5 of 100
    assert found.widened > 1.1
    assert np.array(found.u_at)[:, 1] == pytest.approx(kriged_u(tuple(odd), STRAIGHT), rel=1e-3)
    said = "\n".join(channel_lines(found))
    assert "which may be chance" in said
    assert "larger than usual" not in said


@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
def test_residuals_widen_u_most_half_way_between_points(chip: str) -> None:
    """A converter that wanders beyond the law is known at the points; chi-square then is its degrees of freedom."""
    odd = list(of_chip(chip))
    for k, lsb in ((1, 6.0), (2, -6.0), (3, 4.0)):
        odd[k] = replace(odd[k], reading_v=odd[k].reading_v - GAIN * lsb)
    cov = meter_covariance(np.array([p.reading_v for p in odd]), METER)
    ready = prepare(tuple(odd), cov_v=cov, linearity=nominal_linearity(chip))
    wander = wander_of(ready, chip=chip)
    assert fit_points(ready, chip=chip, wander=wander).chi2 == pytest.approx(3.0, rel=0.05)
    found = fitted(tuple(odd), chip)
    between = (ready.code[:-1] + ready.code[1:]) / 2
    now = np.interp(between, *np.array(found.u_at).T)
    assert now.max() < 1.1 * now.min()  # whatever the law says of each place: it does not hold here
    assert now.min() > 2 * np.interp(ready.code, *np.array(found.u_at).T).max()
