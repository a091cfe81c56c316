"""The front end's figures against published ones, other libraries and circuit laws written down another way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hardware import clamps
from scipy.integrate import solve_ivp

from sweeprig.frontend import front_end, response


@pytest.mark.parametrize(("k", "percent"), [(1, 12.15851), (2, 6.67256), (10, 1.44933), (100, 0.14782)])
@pytest.mark.parametrize("build", ["plain", "full"])
def test_loading_error_is_that_of_the_handbooks(build: str, k: float, percent: float) -> None:
    """Vout/Vs = x / (1 + x(1-x)/k): component makers' public handbooks on potentiometers."""
    end = front_end(build)
    assert 100 * end.loading_error(track_ohm=end.input_ohm / k) == pytest.approx(percent, abs=2e-5)


@pytest.mark.parametrize(("build", "percent"), [("plain", 0.80), ("full", 0.080)])
def test_divider_worst_case(build: str, percent: float) -> None:
    """+-2 t (1 - n); here by turning both resistors to their limits, which the first order leaves out."""
    end = front_end(build)
    t = end.resistor_tol
    high = end.r_bottom_ohm * (1 + t) / (end.r_bottom_ohm * (1 + t) + end.r_top_ohm * (1 - t))
    assert 100 * end.divider_ratio_tol == pytest.approx(percent, rel=1e-9)
    assert high / end.divider_ratio - 1 == pytest.approx(end.divider_ratio_tol, rel=0.01)


def test_corner_of_one_resistor_and_one_capacitor() -> None:
    """1 / (2 pi R C): 10 and 15 kohm with 100 nF give 265.26 Hz."""
    path = response.Path(
        cable_f=1e-12,
        load_ohm=np.inf,
        r_top_ohm=10e3,
        r_bottom_ohm=15e3,
        node_f=100e-9,
        buffered=False,
        r_pin_ohm=1.0,
        pin_f=1e-15,
    )
    assert response.corner_hz(path) == pytest.approx(265.26, abs=0.005)


@pytest.mark.parametrize(("volts", "milliamps"), [(16, 1.24), (35, 3.14), (101, 9.74)])
def test_clamp_current_through_ten_kilohms(volts: float, milliamps: float) -> None:
    """(V - 3.6 V) / 10 kohm: Ohm's law with the clamp taken as a fixed voltage; ours solves the diode."""
    got = clamps.clamped("plain", lead_v=volts, rail_v=3.3)
    assert 1e3 * got.lead_a == pytest.approx(milliamps, rel=5e-3)


@pytest.mark.parametrize("kind", ["short", "open"])
@pytest.mark.parametrize(("build", "hookup"), [("plain", "powered"), ("full", "powered"), ("full", "tapped")])
def test_dropout_depth_against_an_integrated_network(build: str, hookup: str, kind: str) -> None:
    """Kirchhoff's equations integrated step by step (scipy solve_ivp, Radau) instead of solved by modes."""
    end, seconds = front_end(build), 12e-6
    p = end.path(hookup)

    def slope(t: float, v: np.ndarray) -> list[float]:
        cable, node, pin = v
        during = t < seconds
        if kind == "short":
            source = ((0.0 if during else 1.0) - cable) / response.SOURCE_OHM
        else:
            source = 0.0 if during else (1.0 - cable) / response.SOURCE_OHM
        to_node = (cable - node) / p.r_top_ohm
        to_pin = (node - pin) / p.r_pin_ohm
        away = to_node - node / p.r_bottom_ohm - (0.0 if p.buffered else to_pin)
        return [(source - cable / p.load_ohm - to_node) / p.cable_f, away / p.node_f, to_pin / p.pin_f]

    rest = _rest(p)
    first = solve_ivp(slope, (0, seconds), rest, method="Radau", rtol=1e-7, atol=1e-10, max_step=2e-7)
    after = solve_ivp(
        slope, (seconds, 5e-5), first.y[:, -1], method="Radau", rtol=1e-7, atol=1e-10, max_step=2e-7
    )
    lowest = min(first.y[2].min(), after.y[2].min())
    got = (end.short_depth if kind == "short" else end.open_depth)(seconds, hookup)
    assert got == pytest.approx(1 - lowest / rest[2], abs=2e-4)


def _rest(p: response.Path) -> list[float]:
    arm = 1 / (p.r_top_ohm + p.r_bottom_ohm) + 1 / p.load_ohm
    cable = 1 / (1 + response.SOURCE_OHM * arm)
    node = cable * p.r_bottom_ohm / (p.r_top_ohm + p.r_bottom_ohm)
    return [cable, node, node]


def test_sure_to_be_seen_is_longer_than_two_conversions() -> None:
    """Conversions of one channel come every 6 us (3 channels at 500 kS/s): RP2040 datasheet 4.9, 96 cycles."""
    assert response.conversion_s() == pytest.approx(6e-6)
    end = front_end("full")
    seconds = end.shortest_open_s("tapped")
    share = 20 * end.lsb_v / 0.5
    for change, seen in ((1.01, True), (0.98, False)):
        below = response.below_s(end.path("tapped"), seconds=change * seconds, kind="open", share=share)
        assert (below >= response.conversion_s()) is seen


def test_no_claim_below_twelve_microseconds() -> None:
    for build in ("plain", "full", "driven"):
        end = front_end(build)
        for hookup in end.hookups:
            assert end.shortest_short_s(hookup) >= 12e-6
            assert end.shortest_open_s(hookup) >= 12e-6
            assert end.shortest_dropout_s(hookup) == max(
                end.shortest_short_s(hookup), end.shortest_open_s(hookup)
            )


def test_without_a_burden_a_lifted_wiper_is_hidden_for_longer() -> None:
    end = front_end("full")
    bare = replace(end, burden_ohm=None)
    assert bare.shortest_open_s("powered", cable_f=400e-12) > 2 * end.shortest_open_s(
        "powered", cable_f=400e-12
    )


def test_leakage_doubles_every_ten_kelvins() -> None:
    """Common practice, no source."""
    end = front_end("plain")
    assert end.leakage_at_sensor_v(temperature_c=45) == pytest.approx(
        4 * end.leakage_at_sensor_v(temperature_c=25)
    )
    assert end.leakage_at_sensor_v(temperature_c=25) == pytest.approx(0.5e-6 * 6e3 / 0.6)
